"""Measurement files to readings: what was decided is said, what is wrong is refused."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
import pandas as pd

from dyelab.errors import InputError
from dyelab.read import cgats, cxf, sheet, text
from dyelab.read.columns import Roles, roles
from dyelab.read.grid import Grid, illuminant_in, observer_in
from dyelab.table import LAB, STANDARD_UNCERTAINTIES, WHITE, fault

Scale = Literal["percent", "factor"]
LEAST, MOST = -0.2, 2.0  # reflectance factors beyond these are no reflectance of cloth
_LIMITS = {"L": (0, 100), "a": (-160, 160), "b": (-160, 160)}
_RGB = "Is this an RGB value? Convert it first: convert.screen_to_lab."


@dataclass(frozen=True)
class Measurements:
    """What a measurement file holds.

    Attributes
    ----------
    lab : DataFrame or None
        `sample, L, a, b, illuminant, observer, source`, then other columns of the file.
    spectra : DataFrame or None
        `sample`, one column a wavelength in nm named ``"400"`` and so on with reflectance
        factors, `source`, then other columns of the file.
    notes : tuple of str
        What had to be decided: scale, encoding, names.
    faults : DataFrame
        Rows left out with ``skip_bad``: `file, row, column, found, expected, remedy, text`.
    """

    lab: pd.DataFrame | None
    spectra: pd.DataFrame | None
    notes: tuple[str, ...]
    faults: pd.DataFrame


def measurements(
    path: str | Path,
    *,
    illuminant: str | None = None,
    observer: int | None = None,
    scale: Scale | None = None,
    skip_bad: bool = False,
) -> Measurements:
    """Read CGATS text, CxF3 XML, or a CSV, TSV or XLSX table of spectra or CIELAB values.

    Parameters
    ----------
    path : str or Path
        The file. Its content decides the format, not its name.
    illuminant, observer : optional
        White of CIELAB values whose file doesn't state one. What a file states is never
        overridden.
    scale : {"percent", "factor"}, optional
        What the reflectance numbers are. By default what the file says, else per cent if the
        largest value is over 2 and factors if not.
    skip_bad : bool
        Leave faulty rows out and list them in `faults`, instead of refusing the file.

    Returns
    -------
    Measurements

    Raises
    ------
    InputError
        If the file can't be read, or has a faulty row and `skip_bad` is off; the first fault is
        named in full, and how many more there are.
    """
    path = Path(path)
    found, notes = _grids(path)
    if not any(len(grid.cells) or grid.faults for grid in found):
        raise InputError(
            f"{path.name}: the columns are named, but no row of data follows: the table is empty. "
            "Expected a row for each sample: export the measurements again."
        )
    parts = [_readings(grid, path.name, (illuminant, observer), scale) for grid in found]
    faults = [record for part in parts for record in part.faults]
    if faults and not skip_bad:
        more = f" ({len(faults) - 1} more faults in this file.)" if len(faults) > 1 else ""
        raise InputError(faults[0]["text"] + more)
    result = Measurements(
        _joined([part.lab for part in parts]),
        _joined([part.spectra for part in parts]),
        tuple(dict.fromkeys([*notes, *(note for part in parts for note in part.notes)])),
        pd.DataFrame(faults, columns=list(fault("", 1, "", "", "", ""))),
    )
    if result.lab is None and result.spectra is None:
        raise InputError(f"{path.name}: no row could be read; the first fault: {faults[0]['text']}")
    return _only_once(result, path.name)


@dataclass(frozen=True)
class _Rows:
    """The rows being read: their grid, the file they are in, and what each sample is called."""

    grid: Grid
    name: str
    samples: pd.Series

    def fault(self, i: int, column: str, found: str, expected: str, remedy: str) -> dict:
        """Word a fault of the i-th row."""
        word, number = self.grid.row_word, self.grid.rows[i]
        label = str(self.samples.iloc[i])
        return fault(self.name, number, column, found, expected, remedy, label, word)


@dataclass(frozen=True)
class _Part:
    lab: pd.DataFrame | None = None
    spectra: pd.DataFrame | None = None
    notes: tuple[str, ...] = ()
    faults: tuple[dict, ...] = ()


def _grids(path: Path) -> tuple[list[Grid], list[str]]:
    data = text.content(path)
    if cxf.looks_like(data):
        return cxf.grids(data, path.name), []
    if data.startswith(b"PK\x03\x04"):
        return [sheet.from_workbook(data, path.name)], []
    content, notes = text.decoded(data, path.name)
    if cgats.looks_like(content):
        return cgats.grids(content, path.name), notes
    _not_cut_off(content, path.name)
    return [sheet.from_text(content, path.name)], notes


def _not_cut_off(content: str, name: str) -> None:
    """A CGATS file that ends before its data would else be taken for a table without a header."""
    if content.lstrip().startswith(("CGATS", "ISO28178", "NUMBER_OF_", "BEGIN_DATA")):
        raise InputError(
            f"{name}: the file breaks off before its data: no BEGIN_DATA line found. "
            "Copy or export the whole file again."
        )


def _readings(
    grid: Grid, name: str, white: tuple[str | None, int | None], scale: Scale | None
) -> _Part:
    columns = list(grid.cells.columns)
    twice = next((column for column in columns if column and columns.count(column) > 1), None)
    if twice:
        raise InputError(
            f"{name}: the column {twice!r} is there {columns.count(twice)} times. "
            "Expected each name once: rename or remove the others."
        )
    role = roles(columns)
    if not role.lab and not role.bands:
        raise InputError(
            f"{name}: no L, a, b and no wavelength columns found among "
            f"{', '.join(columns[:10])}. Export the file with spectra or CIELAB."
        )
    samples, notes = _samples(grid, role)
    rows = _Rows(grid, name, samples)
    lab = spectra = None
    if role.bands:
        spectra, more, faults = _spectra(rows, role, scale)
    else:
        lab, more, faults = _labs(rows, role, white)
    faults = [*grid.faults, *_name_faults(rows), *faults]
    bad = {record["row"] for record in faults}
    good = [number not in bad for number in grid.rows]
    return _Part(
        lab[good].reset_index(drop=True) if lab is not None else None,
        spectra[good].reset_index(drop=True) if spectra is not None else None,
        (*grid.notes, *notes, *more),
        tuple(sorted(faults, key=lambda record: record["row"] or 0)),
    )


def _samples(grid: Grid, role: Roles) -> tuple[pd.Series, list[str]]:
    if role.sample is not None:
        cells = grid.cells[role.sample]
        numbers = [c for c in grid.cells if str(c).lower().replace("_", "") == "sampleid"]
        if numbers and not cells.str.strip().any():
            return grid.cells[numbers[0]], ["sample names are blank: the numbers were taken"]
        return cells, []
    taken = role.others
    spare = [column for column in grid.cells if column not in taken]
    if spare:
        return grid.cells[spare[0]], [f"the column {spare[0]!r} was taken as the sample's name"]
    numbers = [str(i) for i in range(1, len(grid.cells) + 1)]
    return pd.Series(numbers, index=grid.cells.index), ["no sample names: numbered 1, 2, 3"]


def _name_faults(rows: _Rows) -> list[dict]:
    seen: dict[str, int] = {}
    faults = []
    for i, sample in enumerate(rows.samples):
        if not sample.strip():
            faults.append(rows.fault(i, "sample", "blank", "is no name", "Name the sample."))
        elif sample in seen:
            there = f"is also on {rows.grid.row_word} {rows.grid.rows[seen[sample]]}"
            remedy = "Give each measurement a name of its own, such as K-07 and K-07 again."
            faults.append(rows.fault(i, "sample", repr(sample), there, remedy))
        else:
            seen[sample] = i
    return faults


def _numbers(cells: pd.DataFrame) -> tuple[pd.DataFrame, bool]:
    """Cells as numbers, NaN where they aren't; decimal commas are read when there are any."""
    comma = cells.apply(lambda column: column.str.match(r"^-?\d*,\d+$").any()).any()
    if comma:
        cells = cells.apply(lambda column: column.str.replace(",", ".", regex=False))
    return cells.apply(pd.to_numeric, errors="coerce"), bool(comma)


def _spectra(
    rows: _Rows, role: Roles, scale: Scale | None
) -> tuple[pd.DataFrame, list[str], list[dict]]:
    bands = sorted(role.bands)
    cells = rows.grid.cells[[role.bands[nm] for nm in bands]]
    values, comma = _numbers(cells)
    values.columns = pd.Index([str(nm) for nm in bands])
    percent, why = _is_percent(values, role, rows.grid, scale)
    factors = values / 100 if percent else values
    faults = _not_numbers(rows, values, cells, "a reflectance")
    faults += _impossible(rows, factors, cells, percent)
    notes = [why, *(["decimal commas were read as points"] if comma else [])]
    frame = pd.concat([rows.samples.rename("sample"), factors], axis=1).assign(source=rows.name)
    return _with_extras(frame, rows.grid, role), notes, faults


def _is_percent(
    values: pd.DataFrame, role: Roles, grid: Grid, scale: Scale | None
) -> tuple[bool, str]:
    """Per cent or factor: as the caller says, else the file, else by the largest value."""
    if scale is not None:
        return scale == "percent", f"reflectance read as {scale}, as asked"
    if role.percent or grid.scale:
        percent = role.percent or grid.scale == "percent"
        return (
            percent,
            f"reflectance is in {'per cent' if percent else 'factors'}, as the file says",
        )
    largest = np.nanmax(values.to_numpy(float), initial=0)
    percent = bool(largest > MOST)
    word = "per cent" if percent else "factors (0 to 1)"
    return percent, f"reflectance read as {word}: the largest value is {largest:g}"


def _not_numbers(rows: _Rows, values: pd.DataFrame, cells: pd.DataFrame, what: str) -> list[dict]:
    bad = ~np.isfinite(values.to_numpy(float))
    remedy = "Expected a plain number: correct it, or leave this row out with --skip-bad."
    return [
        rows.fault(i, str(cells.columns[j]), repr(cells.iat[i, j]), f"is not {what}", remedy)
        for i, j in _first_of_each_row(bad)
    ]


def _impossible(
    rows: _Rows, factors: pd.DataFrame, cells: pd.DataFrame, percent: bool
) -> list[dict]:
    table = factors.to_numpy(float)
    with np.errstate(invalid="ignore"):
        bad = (table < LEAST) | (table > MOST)
    span = f"{LEAST:.0%} to {MOST:.0%}" if percent else f"{LEAST:g} to {MOST:g}"
    expected = f"is outside {span}, which no cloth reflects"
    remedy = "Check the value, or leave this row out with --skip-bad."
    return [
        rows.fault(i, str(cells.columns[j]), str(cells.iat[i, j]), expected, remedy)
        for i, j in _first_of_each_row(bad)
    ]


def _first_of_each_row(bad: np.ndarray) -> list[tuple[int, int]]:
    return [(int(i), int(np.argmax(bad[i]))) for i in np.flatnonzero(bad.any(axis=1))]


def _labs(
    rows: _Rows, role: Roles, white: tuple[str | None, int | None]
) -> tuple[pd.DataFrame, list[str], list[dict]]:
    cells = rows.grid.cells[[role.lab[part] for part in LAB]]
    values, comma = _numbers(cells)
    values.columns = pd.Index(LAB)
    whites, notes, unknown = _whites(rows, role, white)
    faults = [*_not_numbers(rows, values, cells, "a CIELAB value"), *_outside(rows, values)]
    if comma:
        notes.append("decimal commas were read as points")
    frame = pd.concat([rows.samples.rename("sample"), values, whites], axis=1)
    return _with_extras(frame.assign(source=rows.name), rows.grid, role), notes, faults + unknown


def _outside(rows: _Rows, values: pd.DataFrame) -> list[dict]:
    faults = []
    for part, (low, high) in _LIMITS.items():
        column = values[part].to_numpy(float)
        for i in np.flatnonzero((column < low) | (column > high)).tolist():
            expected = f"is outside {low} to {high}"
            faults.append(rows.fault(i, part, f"{column[i]:g}", expected, _RGB))
    return faults


def _whites(
    rows: _Rows, role: Roles, given: tuple[str | None, int | None]
) -> tuple[pd.DataFrame, list[str], list[dict]]:
    """White of each row: its own columns, else the file's head, else what the caller gave."""
    cells, stated = rows.grid.cells, rows.grid.white or (None, None)
    head = (stated[0] or given[0], stated[1] or given[1])
    blank = pd.Series("", index=cells.index)
    own_lights = cells[role.illuminant] if role.illuminant else blank
    own_angles = cells[role.observer] if role.observer else blank
    lights = [illuminant_in(cell) or head[0] for cell in own_lights]
    angles = [observer_in(cell) or head[1] for cell in own_angles]
    faults = [
        rows.fault(
            i,
            "",
            f"CIELAB without its {'observer' if lights[i] else 'illuminant'}",
            "means nothing",
            "Say under which white it was computed, such as D50 and 2: add the columns "
            "illuminant and observer, or give that white to read.measurements "
            "(--measured-under D50/2).",
        )
        for i in range(len(cells))
        if not (lights[i] and angles[i])
    ]
    unsaid = given[0] is not None and not (role.illuminant or rows.grid.white)
    notes = [f"CIELAB taken as {given[0]}/{given[1]}°: the file doesn't say"] if unsaid else []
    frame = {"illuminant": lights, "observer": pd.array(angles, dtype="Int64")}
    return pd.DataFrame(frame, index=cells.index), notes, faults


def _with_extras(frame: pd.DataFrame, grid: Grid, role: Roles) -> pd.DataFrame:
    """Add the file's other columns, the standard uncertainties as numbers."""
    taken = set(frame.columns) | role.others
    extra = grid.cells[[column for column in grid.cells if column and column not in taken]].copy()
    for column in set(STANDARD_UNCERTAINTIES) & set(extra.columns):
        extra[column] = pd.to_numeric(extra[column], errors="coerce")
    return pd.concat([frame, extra], axis=1)


def _joined(tables: list[pd.DataFrame | None]) -> pd.DataFrame | None:
    present = [table for table in tables if table is not None and len(table)]
    if not present:
        return None
    joined = pd.concat(present, ignore_index=True) if len(present) > 1 else present[0]
    if set(WHITE) <= set(joined.columns):
        joined["observer"] = joined["observer"].astype(int)
    return joined


def _only_once(result: Measurements, name: str) -> Measurements:
    """Drop the CIELAB of samples whose spectra are there too, and refuse repeats across tables."""
    for table in (result.lab, result.spectra):
        if table is not None and table["sample"].duplicated().any():
            again = table.loc[table["sample"].duplicated(), "sample"].iloc[0]
            raise InputError(
                f"{name}: the sample {again!r} is in several tables of this file. "
                "Give each measurement a name of its own."
            )
    if result.lab is None or result.spectra is None:
        return result
    alone = ~result.lab["sample"].isin(result.spectra["sample"])
    note = "colour comes from the spectra; the file's own CIELAB was not needed"
    lab = result.lab[alone].reset_index(drop=True) if alone.any() else None
    return replace(result, lab=lab, notes=(*result.notes, note))
