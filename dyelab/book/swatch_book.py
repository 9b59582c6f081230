"""What a book is in memory: frozen, its tables typed, its faults beside them."""

from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from dyelab import table

TABLES = {
    "swatches": table.SWATCHES,
    "tests": table.TESTS,
    "steps": table.STEPS,
    "readings": table.READINGS,
    "spectra": table.spectra_table([]),
    "shared": table.SHARED,
    "photos": table.PHOTOS,
    "materials": table.MATERIALS,
}
ASIDE = "set_aside"
PACKAGE = "datapackage.json"
ASIDE_FILES = {name: f"{ASIDE}/{name}.csv" for name in [*TABLES, "lines", "cells"]}
TABLE_FILES = {name: f"{name}.csv" for name in TABLES}
# All that a version holds; nothing else in the folder is ever written over or deleted.
FILES = (PACKAGE, *TABLE_FILES.values(), *ASIDE_FILES.values())
FAULT_COLUMNS = table.FAULT
LINES = ["table", "line"]
CELLS = ["table", "key", "column", "found"]


@dataclass(frozen=True)
class Aside:
    """What has a fault and waits to be mended; kept in the folder ``set_aside``.

    Whole rows by table (text cells), lines that are no rows, and single cells whose row is
    otherwise in use.
    """

    rows: dict[str, pd.DataFrame] = field(default_factory=dict)
    lines: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=LINES, dtype=str))
    cells: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=CELLS, dtype=str))


@dataclass(frozen=True, eq=False, repr=False)
class Book:
    """A swatch book as opened: typed tables, and the list of faults found on the way.

    Attributes
    ----------
    path : Path
        Its folder.
    title : str
    white : (illuminant, observer)
        Chosen when the book begins; photos and spectra are computed for it.
    swatches, steps, readings, shared, tests, photos, materials : DataFrame
        As described in `dyelab.table`. `materials` are the user's own additions.
    spectra : DataFrame
        `reading`, then one column a wavelength in nm; reflectance factors.
    faults : DataFrame
        `file, row, column, found, expected, remedy, text`, one row a fault.
    notes : tuple of str
        What was understood rather than refused, such as decimal commas.
    outside : tuple of str
        What is not as dyelab left it: numbers changed by another program, links, a damaged
        history. Said until the book is saved or mended.
    """

    path: Path
    title: str
    swatches: pd.DataFrame
    steps: pd.DataFrame
    readings: pd.DataFrame
    spectra: pd.DataFrame
    shared: pd.DataFrame
    tests: pd.DataFrame
    photos: pd.DataFrame
    materials: pd.DataFrame
    faults: pd.DataFrame
    white: table.White = table.DEFAULT_WHITE
    notes: tuple[str, ...] = ()
    outside: tuple[str, ...] = ()
    aside: Aside = field(default_factory=Aside)
    base: dict[str, pd.DataFrame] = field(default_factory=dict)
    stamp: dict[str, str] = field(default_factory=dict)

    def __repr__(self) -> str:
        return (
            f"Book({self.path.name!r}: {len(self.swatches)} swatches, {len(self.steps)} steps, "
            f"{len(self.readings)} readings, {len(self.faults)} faults)"
        )


def tables(bk: Book) -> dict[str, pd.DataFrame]:
    """Return the book's tables by name, in the order they depend on each other.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> bk = book.open(synth.example())
    >>> list(book.tables(bk))
    ['swatches', 'tests', 'steps', 'readings', 'spectra', 'shared', 'photos', 'materials']
    """
    return {name: getattr(bk, name) for name in TABLES}


def description(name: str, frame: pd.DataFrame) -> table.Table:
    """Return the description of one of the book's tables; that of spectra follows its columns."""
    return table.spectra_table(frame.columns[1:]) if name == "spectra" else TABLES[name]


def key_columns(name: str) -> list[str]:
    """Columns that tell a row of a table from the others."""
    return list(TABLES[name].key) or ["photo", "swatch"]


def keys(name: str, frame: pd.DataFrame) -> pd.Series:
    """One text a row that tells it from the others."""
    first, *more = (frame[column].astype(str) for column in key_columns(name))
    return first.str.cat(more, " | ") if more else first
