"""Spectral columns to reflectance factors: per cent or factor, and what no cloth reflects."""

from typing import Literal

import numpy as np
import pandas as pd

from dyelab import convert
from dyelab.errors import InputError, offer
from dyelab.read.rows import (
    Grid,
    Part,
    Roles,
    Rows,
    first_of_each_row,
    not_numbers,
    numbers,
    with_extras,
)

Scale = Literal["percent", "factor"]
LEAST, MOST = -0.2, 2.0  # reflectance factors beyond these are no reflectance of cloth
# A row this dark among rows this bright, in per cent, is a row of factors in the wrong file.
_FACTORS, _BRIGHT = 1.2, 20.0


def spectra(rows: Rows, role: Roles, scale: Scale | None) -> Part:
    """Reflectance factors of every row, with notes on their scale and the faults found.

    Raises
    ------
    InputError
        If the wavelengths are too far apart to say a colour.
    """
    bands = sorted(role.bands)
    cells = rows.grid.cells[[role.bands[nm] for nm in bands]]
    values, notes = numbers(cells)
    marked = False
    if values.isna().any(axis=None) and any(cells[n].str.endswith("%").any() for n in cells):
        cells, marked = cells.apply(lambda column: column.str.rstrip("% ")), True
        values, notes = numbers(cells)
    values.columns = pd.Index([f"{nm:g}" for nm in bands])
    norm, why = _norm(values, role.percent or marked, rows.grid, scale)
    percent, factors = norm == 100, values / norm
    faults = not_numbers(rows, values, cells, "a reflectance")
    faults += _impossible(rows, factors, cells, percent)
    if percent and scale is None and not (role.percent or marked):
        faults += _other_scale(rows, values)
    even, resampled = _evened(bands, factors, rows.name)
    notes += resampled
    frame = pd.concat([rows.samples.rename("sample"), even], axis=1).assign(source=rows.name)
    table = with_extras(frame, rows.grid, role)
    return Part(spectra=table, notes=(why, *notes), faults=tuple(faults))


def _evened(bands: list[float], factors: pd.DataFrame, name: str) -> tuple[pd.DataFrame, list[str]]:
    """The spectra on whole nm, evenly spaced, and a note if they had to be resampled for it."""
    try:
        at, values = convert.resample(bands, factors.to_numpy(float))
    except InputError as error:
        raise InputError(f"{name}: {error}") from None
    columns = pd.Index([f"{nm:.0f}" for nm in at])
    if np.array_equal(at, bands):
        return factors.set_axis(columns, axis=1), []
    gap = np.diff(bands)
    apart = f"{gap.min():g}" if np.ptp(gap) < 1e-6 else f"{gap.min():.3g} to {gap.max():.3g}"
    note = (
        f"wavelengths {apart} nm apart, {bands[0]:g} to {bands[-1]:g} nm: resampled to every "
        f"{at[1] - at[0]:g} nm by a cubic spline, as CIE 15 allows"
    )
    return pd.DataFrame(values, index=factors.index, columns=columns), [note]


def _norm(values: pd.DataFrame, marked: bool, grid: Grid, scale: Scale | None) -> tuple[float, str]:
    """What stands for the perfect reflector: as the caller says, else the file, else the rows.

    The median row decides, so that one slip of a decimal point can't rescale a file.
    """
    if scale is not None:
        word = "per cent" if scale == "percent" else "factors"
        return (100.0 if scale == "percent" else 1.0), f"reflectance read as {word}, as asked"
    if grid.norm and not marked:
        return grid.norm, f"reflectance is counted to {grid.norm:g}, as the file says"
    if marked or grid.scale:
        percent = marked or grid.scale == "percent"
        word = "per cent" if percent else "factors"
        return (100.0 if percent else 1.0), f"reflectance is in {word}, as the file says"
    largest = values.max(axis=1).dropna()
    typical = float(largest.median()) if len(largest) else 0.0
    word = "per cent" if typical > MOST else "factors (0 to 1)"
    rule = f"the brightest band of a typical row is {typical:g}; over {MOST:g} means per cent"
    return (100.0 if typical > MOST else 1.0), f"reflectance read as {word}: {rule}"


def _impossible(
    rows: Rows, factors: pd.DataFrame, cells: pd.DataFrame, percent: bool
) -> list[dict]:
    table = factors.to_numpy(float)
    with np.errstate(invalid="ignore"):
        bad = (table < LEAST) | (table > MOST)
    span = f"{LEAST:.0%} to {MOST:.0%}" if percent else f"{LEAST:g} to {MOST:g}"
    expected = f"is outside {span}, which no cloth reflects"
    remedy = "Check the value" + offer("skip_bad", ", or leave this row out: {}") + "."
    return [
        rows.fault(i, str(cells.columns[j]), str(cells.iat[i, j]), expected, remedy)
        for i, j in first_of_each_row(bad)
    ]


def _other_scale(rows: Rows, values: pd.DataFrame) -> list[dict]:
    """Rows that look like factors in a file of per cent: read so they would turn black."""
    largest = values.max(axis=1)
    if not largest.median() > _BRIGHT:
        return []
    expected = f"where a typical row of this file reaches {largest.median():g} per cent"
    remedy = "Is this row in factors? Multiply it by 100"
    remedy += offer("scale", "; if it is truly so dark, say {}") + "."
    return [
        rows.fault(int(i), "", f"its largest reflectance is {largest.iloc[i]:g}", expected, remedy)
        for i in np.flatnonzero(largest <= _FACTORS)
    ]
