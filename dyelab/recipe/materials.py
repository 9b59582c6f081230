"""The materials list: what ships, what the user adds, any of their names, and what is unsafe."""

import re
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from dyelab import errors, files, table, words
from dyelab.errors import InputError
from dyelab.recipe import metals
from dyelab.recipe.formula import atoms, metal_percent, molar_mass

_SHIPPED = Path(__file__).with_name("materials.csv")

# Never offered, whatever a list says; reasons are GHS classes of their usual salts, from memory.
_UNSAFE = pd.read_csv(Path(__file__).with_name("unsafe.csv"), keep_default_na=False)

# Names that stand for two things which hold different metal: asked, never guessed.
_AMBIGUOUS = {"aa": ("aluminium acetate", "basic aluminium acetate", "dibasic aluminium acetate")}


def materials(own: pd.DataFrame | None = None) -> pd.DataFrame:
    """Return everything a recipe may name, one row a material.

    Parameters
    ----------
    own : DataFrame, optional
        The user's additions, with the columns of `table.MATERIALS`. One with a name that
        ships already takes its place, so an own bag of aluminium acetate can be stated.

    Returns
    -------
    DataFrame
        The columns of `table.MATERIALS` and `molar_mass` (g/mol); `metal_percent` is worked
        out from the formula where there is one.

    Raises
    ------
    InputError
        If an added material is unsafe to offer, or its formula can't be read.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.materials()[["material", "role", "metal"]].head(2)
            material     role metal
    0    potash alum  mordant    Al
    1  ammonium alum  mordant    Al
    """
    listed = shipped_materials()
    if own is None or own.empty:
        return listed.copy()
    added = _worked_out(table.as_typed(table.as_text(own, table.MATERIALS), table.MATERIALS))
    kept = listed[~listed["material"].isin(added["material"])]
    return pd.concat([kept, added], ignore_index=True)


@cache
def shipped_materials() -> pd.DataFrame:
    """Return the materials that come with dyelab."""
    cells, _ = files.cells(_SHIPPED)
    more = metals.metals().rename(columns={"salt": "material"}).drop(columns="metal")
    more = more[~more["material"].isin(cells["material"])].rename(columns={"symbol": "metal"})
    more = table.as_text(more.assign(role="mordant"), table.MATERIALS)
    return _worked_out(table.as_typed(pd.concat([cells, more]).fillna(""), table.MATERIALS))


def _worked_out(frame: pd.DataFrame) -> pd.DataFrame:
    for name, formula, metal in frame[["material", "formula", "metal"]].itertuples(index=False):
        refuse_unsafe(name, formula or metal)
    mass = [molar_mass(text) if text else np.nan for text in frame["formula"]]
    metal = [
        metal_percent(text, metal) if text and metal else stated
        for text, metal, stated in zip(
            frame["formula"], frame["metal"], frame["metal_percent"], strict=True
        )
    ]
    return frame.assign(molar_mass=mass, metal_percent=metal)


def refuse_unsafe(name: str, formula: str = "") -> None:
    """Raise if a material must not be offered to a dyer, whatever the recipe.

    Raises
    ------
    InputError
        Names the material, why, and what to use instead.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.refuse_unsafe("potash alum", "KAl(SO4)2·12H2O")
    """
    poisons = _poisons(name, formula)
    if poisons:
        raise InputError(
            f"{name!r} is not offered: {poisons[0]['name']} compounds are too dangerous for a "
            f"dye studio ({poisons[0]['reason']}). Use alum or aluminium acetate instead."
        )


def is_unsafe(name: str) -> bool:
    """Whether a material must not be offered to a dyer, whatever the recipe.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.is_unsafe("potassium dichromate")
    True
    """
    return bool(_poisons(name))


def _poisons(name: str, formula: str = "") -> list[dict[Any, Any]]:
    """Rows of `unsafe.csv` that a material falls under."""
    said, held = set(re.findall(r"[a-z]+", name.lower())), atoms(formula) if formula else ()
    rows = _UNSAFE.to_dict("records")
    poisons = [row for row in rows if row["symbol"] in held]
    return poisons + [row for row in rows if set(row["name"].split()) <= said]


def find(name: str, listed: pd.DataFrame | None = None) -> pd.Series:
    """Find a material by its name or one of its other names, whatever the capitals.

    Raises
    ------
    InputError
        If there is none; the message gives the nearest names.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.find("copperas")["material"]
    'ferrous sulfate'
    """
    listed = shipped_materials() if listed is None else listed
    known = _by_name(listed)
    key = _fold(name)
    if key in _AMBIGUOUS:
        said = ", ".join(_AMBIGUOUS[key])
        raise InputError(
            f"{name!r} is sold for several salts that hold different amounts of metal: {said}. "
            "Read the bag, and name the one you have."
        )
    if key not in known:
        refuse_unsafe(name)
        try:
            errors.choose(name, listed["material"], "material", "in the materials list")
        except InputError as unknown:
            raise InputError(f"{unknown} {words.say('recipe.own_material')}") from None
    return listed.iloc[known[key]]


# Nobody states a most for a dose; past twice the usual high end we have met none that was meant
# (common practice).
_MOST = 2.0


def usual_range(name: str, listed: pd.DataFrame | None = None) -> tuple[float, float, float]:
    """Return the usual low and high dose of a material and the most, in % WOF.

    Raises
    ------
    InputError
        If it isn't listed, or the list states no range for it: a dose must then be given.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.usual_range("madder")
    (30.0, 100.0, 200.0)
    """
    row = find(name, listed)
    low, high = float(row["low_wof"]), float(row["high_wof"])
    if not high > 0:
        raise InputError(words.say("recipe.no_range", material=row["material"]))
    return (low if low >= 0 else 0.0), high, _MOST * high


def known_name(name: str, listed: pd.DataFrame | None = None) -> str:
    """Return the listed name of a material, or the name as it is where the list has none.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.known_name("lye")
    'sodium hydroxide'
    """
    listed = shipped_materials() if listed is None else listed
    at = _by_name(listed).get(_fold(name))
    return str(listed["material"].iloc[at]) if at is not None else name


def _fold(name: str) -> str:
    return " ".join(str(name).lower().replace("sulphate", "sulfate").split())


def _by_name(listed: pd.DataFrame) -> dict[str, int]:
    return _number_names(tuple(listed["material"]), tuple(listed["also"]))


@lru_cache(8)
def _number_names(materials: tuple[str, ...], also: tuple[str, ...]) -> dict[str, int]:
    names: dict[str, int] = {}
    for i, others in enumerate(also):
        names.update({_fold(other): i for other in str(others).split(";") if other.strip()})
    names.update({_fold(name): i for i, name in enumerate(materials)})
    return names
