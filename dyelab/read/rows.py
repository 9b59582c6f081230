"""Rows on their way from cells to readings: numbers, names, and faults worded by place."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from dyelab import table
from dyelab.errors import offer
from dyelab.read.columns import Roles
from dyelab.read.conditions import column_conditions, geometry
from dyelab.read.grid import Grid
from dyelab.table import STANDARD_UNCERTAINTIES, decimal_points, exposed, exposure_columns, fault

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
        return fault(self.name, number, column, found, expected, remedy, label, word)

    def only(self, chosen: np.ndarray) -> "Rows":
        """These rows alone."""
        numbers = [number for number, kept in zip(self.grid.rows, chosen, strict=True) if kept]
        grid = replace(self.grid, cells=self.grid.cells[chosen], rows=numbers)
        return Rows(grid, self.name, self.samples[chosen])


@dataclass(frozen=True)
class Part:
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
    apart = rows.grid.cells[[*column_conditions(names), *exposure_columns(names)]]
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
    if not values.isna().any(axis=None):
        return values, []
    comma = any(cells[name].str.match(r"^[-+]?\d*,\d+(?:[eE]|$)").any() for name in cells)
    if not comma:
        return values, []
    points = decimal_points(cells)
    return points.apply(table.as_floats), ["decimal commas were read as points"]


def not_numbers(rows: Rows, values: pd.DataFrame, cells: pd.DataFrame, what: str) -> list[dict]:
    """A fault for the first cell of each row that is no finite number."""
    bad = ~np.isfinite(values.to_numpy(float))
    return [
        rows.fault(i, str(cells.columns[j]), _shown(str(cells.iat[i, j])), f"is not {what}", _PLAIN)
        for i, j in first_of_each_row(bad)
    ]


def _shown(cell: str) -> str:
    return repr(cell if len(cell) <= 40 else f"{cell[:40]}…") if cell else "blank"


def first_of_each_row(bad: np.ndarray) -> list[tuple[int, int]]:
    """Place (row, column) of the first true cell in each row that has one."""
    return [(int(i), int(np.argmax(bad[i]))) for i in np.flatnonzero(bad.any(axis=1))]


def with_extras(frame: pd.DataFrame, grid: Grid, role: Roles) -> pd.DataFrame:
    """Add how it was read and the file's other columns, uncertainties as numbers."""
    taken = set(frame.columns) | role.others
    extra = grid.cells[[column for column in grid.cells if column and column not in taken]].copy()
    for column in set(STANDARD_UNCERTAINTIES) & set(extra.columns):
        extra[column] = table.as_floats(extra[column])
    known = column_conditions(extra.columns)
    extra = extra.rename(columns={c: n for c, n in known.items() if n not in extra.columns})
    if "geometry" in extra:
        extra["geometry"] = extra["geometry"].map(geometry)
    stated = {name: cell for name, cell in grid.conditions.items() if name not in extra}
    return pd.concat([frame.assign(**stated), exposed(extra, rows=grid.rows)], axis=1)
