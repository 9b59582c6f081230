"""``dyelab compare``: differences between the samples of a table, with grades."""

from pathlib import Path

import click
import pandas as pd

from dyelab import compare, files, grade, table
from dyelab.cli import options
from dyelab.errors import InputError
from dyelab.table.columns import describe

COLOURS, PAIRS = describe("colours", "sample"), describe("pairs")
OUT = [
    *("reference", "sample", "dL", "da", "db", "dC", "dH", "dE76", "dE00", "dECMC"),
    *("dE00_low", "dE00_high", "verdict", "change_value", "change_grade"),
    *("staining_value", "staining_grade"),
]


@click.command("compare")
@click.argument("colours", metavar="IN.csv", type=options.PATH)
@click.option("--reference", metavar="SAMPLE", help="Compare every other sample with this one.")
@options.path(
    "--pairs",
    "pairs_file",
    metavar="PAIRS.csv",
    help="Compare these pairs: columns reference, sample.",
)
@options.path("-o", "--out", metavar="OUT.csv", required=True, help="The table to write.")
@click.option("--skip-bad", is_flag=True, help="Leave out faulty rows, naming each, and go on.")
def command(
    colours: Path, reference: str | None, pairs_file: Path | None, out: Path, skip_bad: bool
) -> None:
    """Differences between the samples of IN.csv, with intervals, a verdict and fastness grades.

    IN.csv has sample, L, a, b and, if known, illuminant, observer and the standard
    uncertainties u_L, u_a, u_b. Rows of one sample with different entries in a column `swatch`
    are replicates; in a column `pot`, which pot each lay in: those of one pot count as one.
    Differences are sample minus reference.
    """
    if (reference is None) == (pairs_file is None):
        raise click.UsageError("Give either --reference SAMPLE or --pairs PAIRS.csv.")
    options.keep_sources(out, (colours, pairs_file))
    frame = _with_white(_check(colours, _description(colours), skip_bad), colours)
    if "pot" in frame and "baths" not in frame:
        frame = frame.assign(baths="pot=" + frame["pot"].map(lambda name: "_".join(name.split())))
    piece = "swatch" if "swatch" in frame else None
    if pairs_file is None:
        result = compare.to_reference(frame, str(reference), piece=piece)
    else:
        wanted = _check(pairs_file, PAIRS, skip_bad)
        result = compare.pairs(frame, _find_known(wanted, frame, pairs_file, skip_bad), piece=piece)
    files.write_table(compare.readable(_grade(result, frame)), out)
    _tell_conditions(result, frame, colours)
    _tell(result, frame)


def _description(path: Path) -> table.Table:
    """Replicates may share a sample's name when a column `swatch` tells them apart."""
    heads, _ = files.cells(path)
    key = ("sample", "swatch") if "swatch" in heads else ("sample",)
    return table.Table(COLOURS.name, COLOURS.columns, key=key)


def _check(path: Path, description: table.Table, skip_bad: bool) -> pd.DataFrame:
    """Typed rows of a CSV file; refuses faulty ones, or names and leaves them out."""
    text, ragged = files.cells(path)
    needed = [column.name for column in description.columns if column.required]
    table.need(text, needed, path.name)
    faults = table.check(text, description, path.name)
    places = [*ragged, *faults["row"].fillna(1).astype(int)]
    texts = [*ragged.values(), *faults["text"]]
    rows = set(places)
    messages = [said for _, said in sorted(zip(places, texts, strict=True), key=lambda one: one[0])]
    if messages and not skip_bad:
        more = f" And {len(messages) - 1} more." if len(messages) > 1 else ""
        raise InputError(f"{messages[0]}{more} Or leave such rows out with --skip-bad.")
    for message in messages:
        click.echo(f"left out: {message}", err=True)
    good = text[[number not in rows for number in range(2, len(text) + 2)]]
    if good.empty:
        raise InputError(f"{path.name}: no good row is left. Mend the rows named above.")
    return table.as_typed(good.reset_index(drop=True), description)


def _with_white(frame: pd.DataFrame, path: Path) -> pd.DataFrame:
    """The white point as stated; where none is, it says so and takes the values as they are."""
    blank = frame["illuminant"].eq("") | frame["observer"].isna()
    if blank.all():
        illuminant, observer = table.DEFAULT_WHITE
        click.echo(
            f"{path.name}: no illuminant and observer are stated. The differences hold if all "
            "rows share one; add the columns illuminant and observer to be sure.",
            err=True,
        )
        return frame.assign(illuminant=illuminant, observer=observer)
    if blank.any():
        names = ", ".join(frame.loc[blank, "sample"].head(5))
        raise InputError(
            f"{path.name}: illuminant or observer is blank for {names}, and stated for others. "
            "Fill them in for every row."
        )
    return frame.assign(observer=frame["observer"].astype(int))


def _find_known(
    wanted: pd.DataFrame, frame: pd.DataFrame, path: Path, skip_bad: bool
) -> pd.DataFrame:
    """Pairs whose two samples are there; the others are named and left out if so asked."""
    if not skip_bad:
        return wanted
    there = wanted["reference"].isin(frame["sample"]) & wanted["sample"].isin(frame["sample"])
    for row in wanted[~there].itertuples():
        click.echo(
            f"left out: {path.name}: pair {row.reference}, {row.sample} names an unknown sample.",
            err=True,
        )
    return wanted[there]


def _grade(result: pd.DataFrame, frame: pd.DataFrame) -> pd.DataFrame:
    means = frame.groupby("sample")[table.LAB].mean()
    first = means.loc[result["reference"]].to_numpy()
    second = means.loc[result["sample"]].to_numpy()
    parts = [result, grade.change_grade(first, second), grade.staining_grade(first, second)]
    merged = pd.concat([part.reset_index(drop=True) for part in parts], axis=1)
    return merged[[*OUT, "caveat"]]


def _tell_conditions(result: pd.DataFrame, frame: pd.DataFrame, path: Path) -> None:
    """Say which pairs were read under conditions that clash, or of which one was adapted."""
    rows = frame.drop_duplicates("sample").set_index("sample")
    for row in result.itertuples():
        ends = rows.loc[[row.reference, row.sample]]
        if table.reading_ways(ends.assign(method="read")).nunique() < 2:
            continue
        flags = ends.get("flags", pd.Series("", index=ends.index)).fillna("")
        told = ends.apply(table.conditions_text, axis=1) + flags.map(_say_adapted)
        first, second = (text.strip(", ") or "conditions not stated" for text in told)
        click.echo(
            f"{path.name}: {row.reference} was read under {first}, {row.sample} under {second}: "
            "their difference holds that of the readings too.",
            err=True,
        )


def _say_adapted(flags: str) -> str:
    return ", adapted from another white" if "adapted" in str(flags).split() else ""


def _tell(result: pd.DataFrame, frame: pd.DataFrame) -> None:
    """Say on standard error what the verdicts rest on."""
    counts = compare.readable(result)["verdict"].value_counts().to_dict()
    click.echo("; ".join(f"{verdict}: {count}" for verdict, count in counts.items()), err=True)
    bases = set(result["basis"])
    if "stated uncertainties" in bases:
        click.echo(
            "No replicates: the intervals hold for these very swatches, by the stated "
            "uncertainties; another swatch of the same recipe may differ by more.",
            err=True,
        )
    told = result["verdict"].ne(compare.CANNOT_TELL).sum()
    if told > 1:
        click.echo(
            f"The verdicts allow for {told} comparisons at once (Holm); each interval stands "
            "alone at 95 %.",
            err=True,
        )
