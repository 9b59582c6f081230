"""Columns to readings: reflectance factors, and CIELAB or XYZ under the white that is stated."""

from typing import Literal

import numpy as np
import pandas as pd

from dyelab import convert
from dyelab.errors import InputError, offer
from dyelab.read.rows import (
    Grid,
    Roles,
    Rows,
    TableReadings,
    White,
    first_of_each_row,
    illuminant_in,
    not_numbers,
    numbers,
    observer_in,
    with_extras,
)
from dyelab.table import LAB, WHITE

Scale = Literal["percent", "factor"]
# Reflectance factors beyond these are no reflectance of cloth: measured surfaces have 0 to 1.09,
# and an instrument's noise about black, or a brightener, goes less far beyond than this.
LEAST, MOST = -0.2, 2.0
# A row this dark among rows this bright, in per cent, is a row of factors in the wrong file: no
# dyed cloth and no measured surface is so dark at its brightest (3.4), seven in eight reach the
# other. Both by tests/benchmarks/reflectance_constants.py.
FACTORS, BRIGHT = 1.2, 20.0


def spectra(rows: Rows, role: Roles, scale: Scale | None) -> TableReadings:
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
    even, resampled = _even_out(bands, factors, rows.name)
    notes += resampled
    frame = pd.concat([rows.samples.rename("sample"), even], axis=1).assign(source=rows.name)
    table = with_extras(frame, rows.grid, role)
    return TableReadings(spectra=table, notes=(why, *notes), faults=tuple(faults))


def _even_out(
    bands: list[float], factors: pd.DataFrame, name: str
) -> tuple[pd.DataFrame, list[str]]:
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
    if not largest.median() > BRIGHT:
        return []
    expected = f"where a typical row of this file reaches {largest.median():g} per cent"
    remedy = "Is this row in factors? Multiply it by 100"
    remedy += offer("scale", "; if it is truly so dark, say {}") + "."
    return [
        rows.fault(int(i), "", f"its largest reflectance is {largest.iloc[i]:g}", expected, remedy)
        for i in np.flatnonzero(largest <= FACTORS)
    ]


_LIMITS = {"L": (0, 100), "a": (-160, 160), "b": (-160, 160)}
_RGB = "Is this an RGB value? Convert it first: convert.screen_to_lab."
_SAY_WHITE = (
    "Say under which white it was computed: add the columns illuminant and observer, such as D50 "
    "and 2" + offer("white", ", or give it: {}") + "."
)
_ONE = 1.6  # XYZ whose largest value is no larger count the perfect reflector as 1
_FAR = 0.5  # ΔE*ab: above what different weighting tables make of one spectrum


def labs(rows: Rows, role: Roles, white: White) -> TableReadings:
    """CIELAB of every row, with notes and the faults found."""
    held, what = (role.lab, "CIELAB") if role.lab else (role.xyz, "XYZ")
    cells = rows.grid.cells[list(held.values())]
    values, notes = numbers(cells)
    faults = not_numbers(rows, values, cells, f"a {what} value")
    whites, more, unknown = _whites(rows, role, white)
    if not role.lab:
        values, note = _from_xyz(rows, values, whites)
        notes = [*notes, note]
    values.columns = pd.Index(LAB)
    faults += _outside(rows, values)
    frame = pd.concat([rows.samples.rename("sample"), values, whites], axis=1)
    table = with_extras(frame.assign(source=rows.name), rows.grid, role)
    return TableReadings(lab=table, notes=(*notes, *more), faults=(*faults, *unknown))


def _from_xyz(rows: Rows, values: pd.DataFrame, whites: pd.DataFrame) -> tuple[pd.DataFrame, str]:
    """CIELAB (CIE 15) of XYZ under each row's white, on whatever scale the file counts light."""
    xyz = values.to_numpy(float)
    norm = rows.grid.norm or (1.0 if np.nanmax(xyz, initial=0.0) <= _ONE else 100.0)
    lab = np.full(xyz.shape, np.nan)
    for (light, angle), at in whites.dropna().groupby(WHITE).indices.items():
        known = whites.dropna().index[at]
        where = values.index.get_indexer(known)
        lab[where] = convert.xyz_to_lab(
            xyz[where] * 100 / norm, convert.white(str(light), int(str(angle)))
        )
    note = f"CIELAB computed from XYZ, on which the perfect reflector is Y = {norm:g}"
    return pd.DataFrame(lab, index=values.index), note


def _outside(rows: Rows, values: pd.DataFrame) -> list[dict]:
    faults = []
    for part, (low, high) in _LIMITS.items():
        column = values[part].to_numpy(float)
        for i in np.flatnonzero((column < low) | (column > high)).tolist():
            expected = f"is outside {low} to {high}"
            faults.append(rows.fault(i, part, f"{column[i]:g}", expected, _RGB))
    return faults


def _whites(rows: Rows, role: Roles, given: White) -> tuple[pd.DataFrame, list[str], list[dict]]:
    """White of each row: its own columns, else the file's head, else what the caller gave."""
    stated = rows.grid.white or _in_headings(role)
    head = (stated[0] or given[0], stated[1] or given[1])
    own = _own_whites(rows.grid.cells, role)
    what = "CIELAB" if role.lab else "XYZ"
    lights = [light or head[0] for light, _ in own]
    angles = [angle or head[1] for _, angle in own]
    faults = []
    for i in (i for i in range(len(own)) if not (lights[i] and angles[i])):
        lacks = f"{what} without its {'observer' if lights[i] else 'illuminant'}"
        faults.append(rows.fault(i, "", lacks, "means nothing", _SAY_WHITE))
    taken = given != (None, None) and any(
        (light or stated[0], angle or stated[1]) != (lights[i], angles[i])
        for i, (light, angle) in enumerate(own)
    )
    notes = [f"CIELAB taken as {head[0]}/{head[1]}°: the file doesn't say"] if taken else []
    frame = {"illuminant": lights, "observer": pd.array(angles, dtype="Int64")}
    return pd.DataFrame(frame, index=rows.grid.cells.index), notes, faults


def _own_whites(cells: pd.DataFrame, role: Roles) -> list[White]:
    """White in each row's own columns, also where one cell holds both, such as ``D65/10``."""
    blank = [""] * len(cells)
    lights = cells[role.illuminant].tolist() if role.illuminant else blank
    angles = cells[role.observer].tolist() if role.observer else blank
    known = {
        pair: (illuminant_in(pair[0]), observer_in(pair[1]) or observer_in(pair[0]))
        for pair in set(zip(lights, angles, strict=True))
    }
    return [known[pair] for pair in zip(lights, angles, strict=True)]


def _in_headings(role: Roles) -> White:
    """White in the headings themselves, such as ``L* (D65/10°)``."""
    inside = next(iter((role.lab or role.xyz).values())).partition("(")[2]
    return illuminant_in(inside), observer_in(inside)


def agreement(spectra: pd.DataFrame, stated: pd.DataFrame) -> str:
    """Say how far a file's own CIELAB is from the colour of its spectra, under the same white."""
    both = stated.dropna(subset=[*LAB, *WHITE]).merge(spectra, on="sample", suffixes=("", "_2"))
    worst, sample, white = 0.0, "", ""
    for (light, angle), rows in both.groupby(WHITE):
        try:
            ours = convert.spectra_to_lab(rows.drop(columns=LAB), str(light), int(str(angle)))
        except InputError:
            continue  # what can't be converted is refused where conversion is asked for
        apart = convert.dE76(ours[LAB], rows[LAB])
        if apart.max() >= worst:
            worst, sample = float(apart.max()), str(rows["sample"].iloc[int(apart.argmax())])
            white = f"{light}/{angle}°"
    if not sample:
        return ""
    if worst <= _FAR:
        return f"the file's own CIELAB ({white}) agrees: at most {worst:.2f} ΔE*ab away"
    return (
        f"the file's own CIELAB ({white}) differs by up to {worst:.1f} ΔE*ab ({sample}): check "
        "that wavelengths, scale and the stated white are right"
    )
