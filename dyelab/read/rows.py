"""Rows of text cells, which every format is first turned into, on their way to readings.

Numbers, names, whites stated in words, and faults worded by place.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from dyelab import limits, table
from dyelab.errors import offer
from dyelab.read.conditions import column_conditions, geometry

_SPECTRAL = re.compile(
    r"^(?:spectral[ _]?(?:nm|pct|dec)?|spectrum|spec|reflectance|refl|ref|r%|%r|% r|pct nm|r|"
    r"wavelength|wave|wl|nm|w|λ)?[ _\-.:]*[(\[]?(\d{3,4}(?:[.,]\d+)?)[ _]*(?:nm)?[)\]]?"
    r"[ _]*(?:nm)?(?:[ _]*[(\[]?(?:%|pct)(?:[ _]*r)?[)\]]?)?$",
    re.I,
)
_BANDS = 8  # fewer numbers in headings may be anything; no instrument has so few wavelengths
_PERCENT = re.compile(r"pct|%|percent|per cent", re.I)
_LAB = {
    "L": {"l", "labl", "ciel", "lstar", "cielabl", "lightness"},
    "a": {"a", "laba", "ciea", "astar", "cielaba"},
    "b": {"b", "labb", "cieb", "bstar", "cielabb"},
}
_XYZ = {part: {part.lower(), f"xyz{part.lower()}", f"ciexyz{part.lower()}", f"cie{part.lower()}"}
        for part in "XYZ"}  # fmt: skip
_NUMBERED = ("sampleid", "id", "no", "nr")
_SAMPLE = ("samplename", "sample", "swatch", "name", "label", "reading", *_NUMBERED)
_NUMBER = (*_NUMBERED, "number", "reading")
_ILLUMINANT_NAMES = {"illuminant", "illum", "illuminantname"}
_OBSERVER_NAMES = {"observer", "obs", "observerangle", "observerdeg", "observerdegree"}


@dataclass(frozen=True)
class Roles:
    """Column names of a table by what they hold; None or empty where there are none."""

    sample: str | None
    lab: dict[str, str]
    bands: dict[float, str]
    illuminant: str | None
    observer: str | None
    percent: bool
    xyz: dict[str, str] = field(default_factory=dict)
    number: str | None = None  # a column that numbers the rows, beside the sample's name

    @property
    def others(self) -> set[str]:
        """Names that this reading has taken up."""
        named = {self.sample, self.illuminant, self.observer} - {None}
        return {str(n) for n in named}.union(
            self.lab.values(), self.xyz.values(), self.bands.values()
        )


def _plain(name: str) -> str:
    without = re.sub(r"[(\[].*?[)\]]", "", name[: limits.PHRASE])
    return re.sub(r"[^a-z0-9]", "", without.lower())


def wavelength(name: str) -> float | None:
    """Wavelength in nm that a column name states, or None."""
    found = _SPECTRAL.match(name.strip()[: limits.PHRASE])
    nm = float(found.group(1).replace(",", ".")) if found else 0
    return nm if 300 <= nm <= 1100 else None


def roles(names: Sequence[str]) -> Roles:
    """Find what each column of a table holds, by its name."""
    bands = {nm: name for name in names if (nm := wavelength(name)) is not None}
    lab, xyz = _parts(names, _LAB), _parts(names, _XYZ)
    sample = _first(names, _SAMPLE)
    number = _first([name for name in names if name != sample], _NUMBER)
    return Roles(
        sample,
        lab if len(lab) == 3 else {},
        bands if len(bands) >= _BANDS else {},
        next((name for name in names if _plain(name) in _ILLUMINANT_NAMES), None),
        next((name for name in names if _plain(name) in _OBSERVER_NAMES), None),
        any(_PERCENT.search(name) for name in bands.values()),
        xyz if len(xyz) == 3 else {},
        number,
    )


def _parts(names: Sequence[str], wanted: dict[str, set[str]]) -> dict[str, str]:
    every = ((part, name) for part in wanted for name in reversed(names))
    return {part: name for part, name in every if _plain(name) in wanted[part]}


def _first(names: Sequence[str], wanted: Sequence[str]) -> str | None:
    """Return the first of the wanted names that is there."""
    return next((name for want in wanted for name in names if _plain(name) == want), None)


def is_header(cells: Sequence[str]) -> bool:
    """Whether a row of cells names the columns of a table of readings."""
    if not cells:
        return False
    names = [str(cell).strip() for cell in cells]
    found = roles(names)
    # A row of whole numbers could pass for wavelengths: those of a header rise.
    bands = list(found.bands)
    rising = bands in (sorted(bands), sorted(bands, reverse=True))
    return bool(found.lab or found.xyz) or (bool(bands) and rising)


White = tuple[str | None, int | None]  # illuminant and observer, as far as they are known


@dataclass(frozen=True)
class Grid:
    """Text cells under column names, as found in a file.

    `rows` are the numbers a person sees beside each row: lines of a text, rows of a sheet.
    `white` is what the file itself says of illuminant and observer, `scale` whether it calls its
    reflectance per cent or factors, `norm` the number that stands for the perfect reflector, and
    `conditions` how it was read; blank where it says nothing. `told` are words of its head that
    may say that it is no reflectance at all.
    """

    cells: pd.DataFrame
    rows: list[int]
    white: tuple[str, int] | None = None
    scale: str = ""
    norm: float | None = None
    conditions: dict[str, str] = field(default_factory=dict)
    told: tuple[str, ...] = ()
    sheet: str = ""
    notes: tuple[str, ...] = ()
    faults: tuple[dict, ...] = ()
    row_word: str = "row"


_ILLUMINANT = re.compile(
    r"\b(D(?:50|55|60|65|75)|ID(?:50|65)|LED-[A-Z]+\d|FL?3\.\d+|FL?\d{1,2}|HP\d|[ABCE])\b"
)
_OBSERVER = re.compile(r"(?<![\d.])(10|2)(?![\d.])")


def illuminant_in(text: str) -> str | None:
    """CIE illuminant named in a text such as ``ILLUMINANT,D50``, or None."""
    found = _ILLUMINANT.search(text.upper().replace("ILLUMINANT", " ").replace("_", " "))
    if not found:
        return None
    name = found.group(1)
    return f"FL{name[1:]}" if re.fullmatch(r"F\d.*", name) else name


def observer_in(text: str) -> int | None:
    """Observer angle, 2 or 10, named in a text such as ``2 degree`` or ``CIE1964_10``, or None."""
    cleaned = re.sub(r"19(31|64)", " ", str(text)).replace("_", " ")
    cleaned = _ILLUMINANT.sub(" ", cleaned.upper())
    found = _OBSERVER.search(cleaned)
    if found:
        return int(found.group(1))
    return 2 if "1931" in str(text) else 10 if "1964" in str(text) else None


_PLAIN = "Expected a plain number: correct it" + offer("skip_bad", ", or leave it out: {}") + "."


@dataclass(frozen=True)
class Rows:
    """The rows being read: their grid, the file they are in, and what each sample is called."""

    grid: Grid
    name: str
    samples: pd.Series

    def fault(self, i: int, column: str, found: str, expected: str, remedy: str) -> dict:
        """Word a fault of the i-th row."""
        word, number = self.grid.row_word, self.grid.rows[i]
        label = str(self.samples.iloc[i])
        return table.fault(self.name, number, column, found, expected, remedy, label, word)

    def only(self, chosen: np.ndarray) -> "Rows":
        """These rows alone."""
        numbers = [number for number, kept in zip(self.grid.rows, chosen, strict=True) if kept]
        grid = replace(self.grid, cells=self.grid.cells[chosen], rows=numbers)
        return Rows(grid, self.name, self.samples[chosen])


@dataclass(frozen=True)
class TableReadings:
    """What one table of a file gave: readings, notes, faults; `stated` is its unneeded CIELAB."""

    lab: pd.DataFrame | None = None
    spectra: pd.DataFrame | None = None
    stated: pd.DataFrame | None = None
    notes: tuple[str, ...] = ()
    faults: tuple[dict, ...] = ()


def samples(grid: Grid, role: Roles) -> tuple[pd.Series, list[str]]:
    """What each row's sample is called, and what had to be decided about it."""
    cells = grid.cells
    if role.sample is not None:
        return _told_apart(cells[role.sample], cells, role)
    spare = [column for column in cells if column and column not in role.others]
    if spare:
        return cells[spare[0]], [f"the column {spare[0]!r} was taken as the sample's name"]
    numbers = [str(i) for i in range(1, len(cells) + 1)]
    return pd.Series(numbers, index=cells.index), ["no sample names: numbered 1, 2, 3"]


def _told_apart(names: pd.Series, cells: pd.DataFrame, role: Roles) -> tuple[pd.Series, list[str]]:
    """Names with their number behind, where names repeat and a column numbers the rows."""
    again = names.duplicated(keep=False)
    if role.number is None or not again.any() or cells[role.number].duplicated().any():
        return names, []
    if not names.str.strip().any():
        return cells[role.number], ["sample names are blank: the numbers were taken"]
    longer = names.where(~again, names + " (" + cells[role.number] + ")")
    example = longer[again].iloc[0]
    note = f"{again.sum()} names repeat: told apart by {role.number}, such as {example!r}"
    return longer, [note]


def name_faults(rows: Rows) -> list[dict]:
    """Faults of blank and repeated names."""
    seen: dict[tuple[str, ...], int] = {}
    faults = []
    names = rows.grid.cells.columns
    apart = rows.grid.cells[[*column_conditions(names), *table.exposure_columns(names)]]
    for i, (sample, *how) in enumerate(zip(rows.samples, *apart.T.to_numpy(), strict=True)):
        key = (sample, *how)
        if not sample.strip():
            faults.append(rows.fault(i, "sample", "blank", "is no name", "Name the sample."))
        elif key in seen:
            there = f"is also on {rows.grid.row_word} {rows.grid.rows[seen[key]]}"
            remedy = "Give each measurement a name of its own, such as K-07 and K-07 again."
            faults.append(rows.fault(i, "sample", repr(sample), there, remedy))
        else:
            seen[key] = i
    return faults


def numbers(cells: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """Cells as numbers, NaN where they aren't; decimal commas are read when there are any."""
    values = cells.apply(table.as_floats)
    comma = r"^[-+]?\d*,\d+(?:[eE]|$)"
    if not (values.isna().any(axis=None) and any(cells[n].str.match(comma).any() for n in cells)):
        return values, []
    points = table.decimal_points(cells)
    return points.apply(table.as_floats), ["decimal commas were read as points"]


def not_numbers(rows: Rows, values: pd.DataFrame, cells: pd.DataFrame, what: str) -> list[dict]:
    """A fault for the first cell of each row that is no finite number."""
    bad = ~np.isfinite(values.to_numpy(float))
    return [
        rows.fault(i, str(cells.columns[j]), _show(str(cells.iat[i, j])), f"is not {what}", _PLAIN)
        for i, j in first_of_each_row(bad)
    ]


def _show(cell: str) -> str:
    return repr(cell if len(cell) <= 40 else f"{cell[:40]}…") if cell else "blank"


def first_of_each_row(bad: np.ndarray) -> list[tuple[int, int]]:
    """Place (row, column) of the first true cell in each row that has one."""
    return [(int(i), int(np.argmax(bad[i]))) for i in np.flatnonzero(bad.any(axis=1))]


def with_extras(frame: pd.DataFrame, grid: Grid, role: Roles) -> pd.DataFrame:
    """Add how it was read and the file's other columns, uncertainties as numbers."""
    taken = set(frame.columns) | role.others
    extra = grid.cells[[column for column in grid.cells if column and column not in taken]].copy()
    for column in set(table.STANDARD_UNCERTAINTIES) & set(extra.columns):
        extra[column] = table.as_floats(extra[column])
    known = column_conditions(extra.columns)
    extra = extra.rename(columns={c: n for c, n in known.items() if n not in extra.columns})
    if "geometry" in extra:
        extra["geometry"] = extra["geometry"].map(geometry)
    stated = {name: cell for name, cell in grid.conditions.items() if name not in extra}
    return pd.concat([frame.assign(**stated), table.with_exposure(extra, rows=grid.rows)], axis=1)
