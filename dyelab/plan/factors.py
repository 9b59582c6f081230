"""Factors and levels as a dyer writes them, and every recipe they can be crossed to."""

import itertools
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dyelab import errors, recipe, table
from dyelab.errors import InputError

MATERIALS = ("tannin", "mordant", "dye", "modifier")
METALS = tuple(recipe.metals.columns())
FACTORS = ("fibre", "tannin", "mordant", "dye", *METALS, "modifier")
MOST = 5000


@dataclass(frozen=True)
class Level:
    """One level: a material and its dose in % WOF; a metal is its dose alone."""

    name: str
    dose: float = 0.0

    def __str__(self) -> str:
        return self.name if not self.dose else f"{self.name} {self.dose:g} %"


def levels(
    factors: Mapping[str, Sequence[Any]], listed: pd.DataFrame | None = None
) -> dict[str, tuple[Level, ...]]:
    """Read factors and levels as written.

    Parameters
    ----------
    factors : mapping of str to sequence
        By factor: `fibre` names; `tannin`, `mordant`, `dye`, `modifier` as ``"none"`` or a
        material with its dose in % WOF, such as ``"gallnut 8"`` (without a dose: the middle
        of the usual range); a metal of
        `recipe.metals`, such as `iron`, as doses of its salt in % WOF, 0 for none.
    listed : DataFrame, optional
        The materials list.

    Raises
    ------
    InputError
        If a factor or a material is unknown, unsafe, or a level is given twice.
    """
    read = {}
    for name, given in factors.items():
        errors.choose(name, FACTORS, "factor", "in a series")
        found = tuple(level_of(name, value, listed) for value in given)
        if len(set(map(str, found))) < len(found) or not found:
            raise InputError(
                f"{name}: give each level once, and at least one. Found: {list(given)}."
            )
        read[name] = found
    if "fibre" not in read:
        raise InputError('a series needs a fibre: fibre=["wool"], or ["wool", "cotton"].')
    return {name: read[name] for name in FACTORS if name in read}


def level_of(factor: str, value: Any, listed: pd.DataFrame | None) -> Level:
    """Read one level of a factor as written."""
    if factor == "fibre":
        return Level(str(value).strip().lower())
    if factor in METALS:
        return Level(factor if _dose(factor, value) else f"no {factor}", _dose(factor, value))
    name, _, last = str(value).strip().removesuffix("%").strip().rpartition(" ")
    text, dose = (name, last) if name and _is_number(last) else (str(value).strip(), "")
    if text.lower() in ("none", ""):
        return Level("none")
    recipe.refuse_unsafe(text)
    row = recipe.find(text, listed)
    if dose:
        return Level(str(row["material"]), _dose(factor, dose))
    low, high, _ = recipe.usual_range(text, listed)
    return Level(str(row["material"]), round((low + high) / 2, 1))


def _is_number(text: str) -> bool:
    return bool(re.fullmatch(r"[\d.,]*\d", text))


def _dose(factor: str, value: Any) -> float:
    dose = table.number(str(value).strip().removesuffix("%"), factor, most=300)
    if not 0 <= dose <= 300:
        raise InputError(f"{factor}: {value!r} is no dose. Write % WOF as a number from 0 to 300.")
    return dose


def crossed(
    chosen: Mapping[str, Sequence[Level]], listed: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Return every recipe of the levels, one column a factor holding the level's text.

    A vat dye takes no mordant: its recipes are kept without one, and once.
    """
    total = int(np.prod([len(found) for found in chosen.values()]))
    if total > MOST:
        raise InputError(
            f"these levels cross to {total:,} recipes; {MOST:,} is the most. Leave out a factor "
            "or some levels, or plan two series."
        )
    rows = list(itertools.product(*(range(len(found)) for found in chosen.values())))
    frame = pd.DataFrame(rows, columns=list(chosen))
    if "mordant" in chosen:
        bare = [level.name for level in chosen["mordant"]]
        frame.loc[_vats(frame, chosen, listed), "mordant"] = (
            bare.index("none") if "none" in bare else 0
        )
    return frame.drop_duplicates(ignore_index=True)


def _vats(
    frame: pd.DataFrame, chosen: Mapping[str, Sequence[Level]], listed: pd.DataFrame | None
) -> np.ndarray:
    """Which rows are dyed in a vat."""
    if "dye" not in chosen:
        return np.zeros(len(frame), bool)
    vat = np.array([_is_vat(level, listed) for level in chosen["dye"]])
    return vat[frame["dye"].to_numpy(int)]


def _is_vat(level: Level, listed: pd.DataFrame | None) -> bool:
    return level.name != "none" and recipe.find(level.name, listed)["role"] == "vat"


def recipes(
    indices: pd.DataFrame,
    chosen: Mapping[str, Sequence[Level]],
    listed: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Turn level numbers into recipe columns: names and doses, ``none`` and 0 where absent."""
    columns: dict[str, Any] = {}
    for name in FACTORS:
        found = [chosen[name][i] for i in indices[name]] if name in chosen else None
        if name in METALS:
            columns[f"{name}_wof"] = [x.dose for x in found] if found else 0.0
        else:
            columns[name] = [x.name for x in found] if found else "none"
            if name in MATERIALS:
                columns[f"{name}_wof"] = [x.dose for x in found] if found else 0.0
    frame = pd.DataFrame(columns, index=indices.index)
    vat = _vats(indices, chosen, listed)
    bare = {"mordant": frame["mordant"].mask(vat, "none")}
    return frame.assign(**bare, mordant_wof=frame["mordant_wof"].mask(vat, 0.0))
