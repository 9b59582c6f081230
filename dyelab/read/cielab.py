"""CIELAB columns to readings, each under the white that the file or the caller states."""

import numpy as np
import pandas as pd

from dyelab import convert
from dyelab.errors import InputError, offer
from dyelab.read.rows import (
    Part,
    Roles,
    Rows,
    White,
    illuminant_in,
    not_numbers,
    numbers,
    observer_in,
    with_extras,
)
from dyelab.table import LAB, WHITE

_LIMITS = {"L": (0, 100), "a": (-160, 160), "b": (-160, 160)}
_RGB = "Is this an RGB value? Convert it first: convert.screen_to_lab."
_SAY_WHITE = (
    "Say under which white it was computed: add the columns illuminant and observer, such as D50 "
    "and 2" + offer("white", ", or give it: {}") + "."
)
_ONE = 1.6  # XYZ whose largest value is no larger count the perfect reflector as 1
_FAR = 0.5  # ΔE*ab: above what different weighting tables make of one spectrum


def labs(rows: Rows, role: Roles, white: White) -> Part:
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
    return Part(lab=table, notes=(*notes, *more), faults=(*faults, *unknown))


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
