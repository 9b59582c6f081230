"""``dyelab convert``: measurement files to one CIELAB table."""

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import click
import numpy as np
import pandas as pd

from dyelab import convert, files, read, words
from dyelab.cli import options
from dyelab.errors import InputError
from dyelab.table import COVARIANCE, EXPOSURE, LAB, STANDARD_UNCERTAINTIES, WHITE, covariances
from dyelab.table.white import with_uncertainties

_COARSE = 0.3  # ΔE*ab: about what a handheld repeats to
_OPTIONS = {
    "white": "--measured-under D50/2",
    "scale": "--scale percent",
    "skip_bad": "--skip-bad",
    "sheet": '--sheet "{}"',
    "reading": '--geometry "{}"',
}
FIRST = ["sample", *LAB, *WHITE, "source"]


@click.command("convert")
@click.argument("sources", metavar="FILE...", nargs=-1, required=True, type=click.Path())
@click.option("-o", "--out", metavar="OUT.csv", type=click.Path(dir_okay=False))
@click.option(
    "--into", metavar="BOOK", type=click.Path(), help="Swatch book to add the readings to."
)
@options.treatment(
    "what had happened to the cloth, where the files don't say (columns exposure, amount, unit, or "
    "one such as dose (Mlx h))."
)
@click.option("--illuminant", default="D65", show_default=True, help="CIE illuminant wanted.")
@click.option(
    "--observer",
    default="10",
    show_default=True,
    type=click.Choice(["2", "10"]),
    help="In degrees.",
)
@click.option(
    "--measured-under", metavar="D50/2", help="White of CIELAB values whose file doesn't state one."
)
@click.option(
    "--scale",
    type=click.Choice(["percent", "factor"]),
    help="What reflectance numbers are, where the files don't make it plain.",
)
@click.option("--sheet", metavar="NAME", help="Of a workbook with several: read this one alone.")
@click.option(
    "--geometry",
    metavar="45/0",
    help="Where samples were read under several conditions: take the readings under these (such as "
    "45/0, M1, or both), or all, each as a sample of its own.",
)
@click.option("--skip-bad", is_flag=True, help="Leave faulty rows out, and name each of them.")
def command(
    sources: tuple[str, ...],
    out: str | None,
    into: str | None,
    illuminant: str,
    observer: str,
    measured_under: str | None,
    **told: Any,
) -> None:
    """Turn measurement files into one CIELAB table.

    FILE is CGATS text, CxF3, or a CSV, TSV or XLSX table. Spectra are computed under the
    illuminant and observer you ask for. CIELAB and XYZ under another white are adapted to it: an
    estimate, flagged "adapted", whose error on dyed cloth stands in u_L, u_a, u_b. "ends" marks
    spectra that stop short of 360 or 780 nm, "fluorescent" those that pass 1. With --into, the
    samples that are swatches of a book go into it, under the book's own white.
    """
    if out is None and into is None:
        raise click.UsageError("nowhere to put the colours. Give -o OUT.csv, --into BOOK, or both.")
    options.keep_sources(out, sources)
    light, angle = _white(measured_under)
    convert.white(illuminant, int(observer))  # refuse an unknown light before reading anything
    state = {name: told.pop(name) for name in ("exposure", "amount", "unit")}
    given = {"illuminant": light, "observer": angle, "options": _OPTIONS, **told}
    every = {source: read.measurements(source, **given) for source in _slowly(sources)}
    if into is not None:
        _add(into, every, state)
    if out is None:
        return
    tables = [_lab(found, Path(s).name, illuminant, int(observer)) for s, found in every.items()]
    table = pd.concat(tables, ignore_index=True)
    _refuse_repeats(table)
    files.write_table(table[_order(table)], out, "%.6g")
    told = {"samples": len(table), "white": f"{illuminant}/{observer}°", "path": out}
    click.echo(words.say("cli.converted", **told))


def _add(into: str, every: dict[str, read.Measurements], told: dict[str, Any]) -> None:
    """Add what the files hold of a book's swatches, and save it once."""
    from dyelab import book

    bk, count = options.own_book(into), 0
    for source, found in every.items():
        made = book.instrument_readings(bk, found.lab, found.spectra, **told)
        if len(made.left):
            names = ", ".join(made.left["sample"].unique()[:12])
            click.echo(f"{Path(source).name}: no swatch of this book, left out: {names}", err=True)
        bk, count = book.add_readings(bk, made), count + len(made.readings)
    book.save(bk)
    click.echo(words.say("cli.added", readings=count, path=bk.path))


def _white(text: str | None) -> tuple[str | None, int | None]:
    if text is None:
        return None, None
    light, _, angle = text.partition("/")
    if angle.rstrip("°") not in ("2", "10"):
        raise click.UsageError(f"--measured-under {text}: write illuminant/observer, such as D50/2")
    convert.white(light, int(angle.rstrip("°")))
    return light, int(angle.rstrip("°"))


def _slowly(sources: tuple[str, ...]) -> Iterable[str]:
    """The files, with a bar on a terminal once it takes over a second."""
    from tqdm import tqdm

    return tqdm(sources, delay=1, disable=None, leave=False, unit="file", file=sys.stderr)


def _lab(found: read.Measurements, name: str, illuminant: str, observer: int) -> pd.DataFrame:
    """CIELAB of one file under the white wanted, with a `flags` column; says what was decided."""
    tables, notes = [], list(found.notes)
    if found.spectra is not None:
        try:
            table, ends = _from_spectra(found.spectra, illuminant, observer)
        except InputError as error:
            raise InputError(f"{name}: {error}") from None
        tables.append(table)
        notes += ends
    if found.lab is not None:
        table = _sure(convert.adapt(found.lab, illuminant, observer))
        tables.append(table)
        adapted = table["flags"].str.contains("adapted")
        if adapted.any():
            far = np.median(np.linalg.norm(table.loc[adapted, STANDARD_UNCERTAINTIES], axis=1))
            notes.append(
                f"{adapted.sum()} colours adapted to {illuminant}/{observer}°, an estimate that is "
                f"off by about {far:.1f} ΔE*ab on dyed cloth; spectra would give the colour itself"
            )
    for note in notes:
        click.echo(f"{name}: {note}", err=True)
    for text in found.faults["text"]:
        click.echo(f"left out: {text}", err=True)
    return pd.concat(tables, ignore_index=True)


def _sure(table: pd.DataFrame) -> pd.DataFrame:
    """The table with standard uncertainties, where there are any, in place of covariances."""
    spread = covariances(table)
    table = table.drop(columns=COVARIANCE)
    return table if np.isnan(spread).all() else with_uncertainties(table, spread)


def _from_spectra(
    spectra: pd.DataFrame, illuminant: str, observer: int
) -> tuple[pd.DataFrame, list[str]]:
    table = convert.spectra_to_lab(spectra, illuminant, observer)
    old = table["flags"].fillna("") if "flags" in table else ""
    table, notes = table.assign(flags=old), []
    for bands, rows in convert.same_bands(spectra):
        bright = convert.is_brightened(spectra.loc[rows, [f"{band}" for band in bands]])
        table.loc[np.flatnonzero(rows)[bright], "flags"] += " fluorescent"
        off = convert.coarse_error(bands[1] - bands[0], illuminant, observer)
        if off > _COARSE:
            notes.append(
                f"bands every {bands[1] - bands[0]} nm say too little of the colour under "
                f"{illuminant}: one in twenty is off by over {off:.1f} ΔE*ab. Measure every 10 nm"
            )
        if convert.missing_ends(bands):
            table.loc[rows, "flags"] = table.loc[rows, "flags"] + " ends"
            notes.append(
                f"measured from {bands[0]} to {bands[-1]} nm: beyond, the last value was taken "
                "as ASTM E308 says (flagged ends)"
            )
    return table.assign(flags=table["flags"].str.strip()), notes


def _refuse_repeats(table: pd.DataFrame) -> None:
    moment = ["sample", *(name for name in EXPOSURE if name in table)]
    again = table[moment].duplicated()
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
