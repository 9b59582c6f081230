"""``dyelab convert``: measurement files to one CIELAB table."""

from pathlib import Path

import click
import pandas as pd

from dyelab import convert, files, read
from dyelab.errors import InputError
from dyelab.table import LAB, WHITE

FIRST = ["sample", *LAB, *WHITE, "source"]


@click.command("convert")
@click.argument("sources", metavar="FILE...", nargs=-1, required=True, type=click.Path())
@click.option("-o", "--out", required=True, metavar="OUT.csv", type=click.Path(dir_okay=False))
@click.option("--illuminant", default="D65", show_default=True, help="CIE illuminant wanted.")
@click.option(
    "--observer",
    default="10",
    show_default=True,
    type=click.Choice(["2", "10"]),
    help="In degrees.",
)
@click.option(
    "--measured-under",
    metavar="D50/2",
    help="White of CIELAB values whose file doesn't state one.",
)
@click.option(
    "--scale",
    type=click.Choice(["percent", "factor"]),
    help="What reflectance numbers are, where the files don't make it plain.",
)
@click.option("--skip-bad", is_flag=True, help="Leave faulty rows out, and name each of them.")
def command(
    sources: tuple[str, ...],
    out: str,
    illuminant: str,
    observer: str,
    measured_under: str | None,
    scale: read.Scale | None,
    skip_bad: bool,
) -> None:
    """Turn measurement files into one CIELAB table.

    Spectra are computed under the illuminant and observer you ask for. Files that hold CIELAB
    only are adapted to it by CAT16, an estimate, and flagged "adapted".
    """
    light, angle = _white(measured_under)
    convert.white(illuminant, int(observer))  # refuse an unknown light before reading anything
    tables = []
    for source in sources:
        found = read.measurements(
            source, illuminant=light, observer=angle, scale=scale, skip_bad=skip_bad
        )
        _say(Path(source).name, found)
        tables += _labs(found, illuminant, int(observer))
    table = pd.concat(tables, ignore_index=True)
    _refuse_repeats(table)
    with files.whole(out) as file:
        table[_order(table)].to_csv(file, index=False, float_format="%.6g", lineterminator="\n")
    click.echo(f"{len(table)} samples under {illuminant}/{observer}° written to {out}")


def _white(text: str | None) -> tuple[str | None, int | None]:
    if text is None:
        return None, None
    light, _, angle = text.partition("/")
    if angle.rstrip("°") not in ("2", "10"):
        raise click.UsageError(f"--measured-under {text}: write illuminant/observer, such as D50/2")
    convert.white(light, int(angle.rstrip("°")))
    return light, int(angle.rstrip("°"))


def _say(name: str, found: read.Measurements) -> None:
    for note in found.notes:
        click.echo(f"{name}: {note}", err=True)
    for text in found.faults["text"]:
        click.echo(f"left out: {text}", err=True)


def _labs(found: read.Measurements, illuminant: str, observer: int) -> list[pd.DataFrame]:
    """CIELAB tables under the white wanted, with a `flags` column."""
    tables = []
    if found.spectra is not None:
        bands = convert.wavelength_columns(found.spectra)
        table = convert.spectra_to_lab(found.spectra, illuminant, observer)
        flag = "ends" if convert.missing_ends([float(band) for band in bands]) else ""
        tables.append(table.assign(flags=flag))
    if found.lab is not None:
        tables.append(convert.adapt(found.lab, illuminant, observer))
    return tables


def _refuse_repeats(table: pd.DataFrame) -> None:
    again = table["sample"].duplicated()
    if again.any():
        sample = table.loc[again, "sample"].iloc[0]
        places = table.loc[table["sample"] == sample, "source"]
        raise InputError(
            f"the sample {sample!r} is in {' and in '.join(places)}. Expected each sample once: "
            "give the measurements names of their own, or convert the files one by one."
        )


def _order(table: pd.DataFrame) -> list[str]:
    rest = [column for column in table.columns if column not in (*FIRST, "flags")]
    return [*FIRST, "flags", *rest]
