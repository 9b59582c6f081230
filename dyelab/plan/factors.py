"""Factors and levels as a dyer writes them, and every recipe they can be crossed to."""

import itertools
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from dyelab import errors, recipe, table
from dyelab.errors import InputError

MATERIALS = ("tannin", "mordant", "dye", "modifier")
METALS = tuple(recipe.metals.columns())
FACTORS = ("fibre", "tannin", "mordant", "dye", *METALS, "modifier")
MOST = 5000  # recipes of one plan: nobody dyes more, and a slip asks for millions


@dataclass(frozen=True)
class Level:
    """One level: a material and its dose in % WOF; a metal is its dose alone."""

    name: str
    dose: float = 0.0

    def __str__(self) -> str:
        return self.name if not self.dose else in_words(self.name, self.dose)


Levels = Mapping[str, Sequence[Level]]  # of each factor


class Part(NamedTuple):
    """One material of a level: its dose in % WOF (NaN where none is told), and its dips."""

    material: str
    dose: float
    dips: int = 1

    def in_words(self, sign: str = "") -> str:
        """The material, its dose with this sign behind, and its dips."""
        dose = f" {self.dose:g}{sign}" if self.dose > 0 else ""
        return f"{self.material}{dose}{f' x{self.dips}' if self.dips > 1 else ''}"

    def __str__(self) -> str:
        return self.in_words()


def parts(name: str, dose: float) -> list[Part]:
    """Take a level apart: ``weld + indigo x3`` at 50 % is weld 50 %, then three dips of indigo.

    Parameters
    ----------
    name : str
        What lies first, then what is put over it (a dye) or into its bath (an assist), each
        further one with a dose of its own.
    dose : float
        Of the first, % WOF.
    """
    first, *more = [_part(text) for text in name.split(" + ")]
    return [first._replace(dose=dose), *more]


def in_words(name: str, dose: float) -> str:
    """Say a level: ``weld 50 %``, ``weld 50 % + indigo 10 % x3``."""
    return " + ".join(part.in_words(" %") for part in parts(name, dose))


def _part(text: str) -> Part:
    held, _, dips = text.rpartition(" x")
    text, count = (held, int(dips)) if held and dips.isdigit() else (text, 1)
    name, _, last = text.rpartition(" ")
    if name and re.fullmatch(r"[\d.,]*\d", last):
        return Part(name, table.number(last), count)
    return Part(text, np.nan, count)


def levels(
    factors: Mapping[str, Sequence[Any]], listed: pd.DataFrame | None = None
) -> dict[str, tuple[Level, ...]]:
    """Read factors and levels as written.

    Parameters
    ----------
    factors : mapping of str to sequence
        By factor: `fibre` names; `tannin`, `mordant`, `dye`, `modifier` as ``"none"`` or a
        material with its dose in % WOF, such as ``"gallnut 8"`` (without a dose: the middle
        of the usual range); further ones behind a plus, such as ``"potash alum 15 + cream of
        tartar 6"`` in one bath, ``"weld 50 + indigo 5 x3"`` for three dips over weld, or
        ``"indigo 5 + soda ash 10 + sodium dithionite 10"`` for a vat of one's own; a metal of
        `recipe.metals`, such as `iron`, as doses of its salt in % WOF, 0 for none.
    listed : DataFrame, optional
        The materials list.

    Raises
    ------
    InputError
        If a factor or a material is unknown, unsafe, or a level is given twice.

    Examples
    --------
    >>> from dyelab import plan
    >>> chosen = plan.levels({"fibre": ["wool"], "dye": ["madder", "weld 50 + indigo 5 x3"]})
    >>> [str(level) for level in chosen["dye"]]
    ['madder 65 %', 'weld 50 % + indigo 5 % x3']
    """
    read = {}
    for name, given in factors.items():
        errors.choose(name, FACTORS, "factor", "in a series")
        if isinstance(given, str):
            raise InputError(f"{name}: give a list of levels, such as [{given!r}].")
        read[name] = tuple(level_of(name, value, listed) for value in given)
        if len(set(map(str, read[name]))) < len(read[name]) or not read[name]:
            found = ", ".join(map(str, given)) or "none"
            raise InputError(f"{name}: give each level once, and at least one. Found: {found}.")
    if "fibre" not in read:
        raise InputError('a series needs a fibre: fibre=["wool"], or ["wool", "cotton"].')
    return {name: read[name] for name in FACTORS if name in read}


def level_of(factor: str, value: Any, listed: pd.DataFrame | None) -> Level:
    """Read one level of a factor as written."""
    if factor == "fibre":
        return Level(str(value).strip().lower())
    if factor in METALS:
        return Level(factor if _dose(factor, value) else f"no {factor}", _dose(factor, value))
    first, *more = [_know(factor, text, listed) for text in str(value).split("+")]
    named = [str(first._replace(dose=0.0)), *(str(part) for part in more)]
    return Level(" + ".join(named), first.dose) if first.material != "none" else Level("none")


def materials_of(factor: str, value: Any, listed: pd.DataFrame | None = None) -> list[str]:
    """Return the materials that a level as written takes, what keeps its vat alive included.

    Parameters
    ----------
    factor, value
        As in the factors and levels that `levels` reads.
    listed : DataFrame, optional
        The materials list.

    Examples
    --------
    >>> from dyelab import plan
    >>> plan.materials_of("dye", "weld 50 + indigo 5 x3")
    ['weld', 'indigo', 'hydrated lime', 'fructose']
    """
    level = level_of(factor, value, listed)
    if factor in METALS:
        return [recipe.metals.salts()[factor]] if level.dose else []
    found = parts(level.name, level.dose)
    helped = with_vat_help(found, roles_of(listed))
    return [part.material for part in helped if part.material != "none"]


def roles_of(listed: pd.DataFrame | None) -> dict[str, str]:
    """Role of each listed material."""
    known = recipe.materials() if listed is None else listed
    return dict(zip(known["material"], known["role"], strict=True))


# An indigo vat of lime and fruit sugar, by weight of indigo: one, two, three (common practice).
VAT = {"hydrated lime": 2.0, "fructose": 3.0}
HELP = ("assist", "modifier")  # roles of what goes into the bath of the dye or vat before it


def with_vat_help(level: Sequence[Part], roles: Mapping[str, str]) -> list[Part]:
    """Put alkali and reducer behind each vat that is written without any of its own.

    Parameters
    ----------
    level : sequence of Part
        Materials of one level.
    roles : mapping of str to str
        Role of each listed material.
    """
    found: list[Part] = []
    for part, following in itertools.zip_longest(level, level[1:]):
        found.append(part)
        own = following is not None and roles.get(following.material) in HELP
        if roles.get(part.material) == "vat" and part.dose > 0 and not own:
            found += [Part(name, part.dose * times) for name, times in VAT.items()]
    return found


def _know(factor: str, text: str, listed: pd.DataFrame | None) -> Part:
    """One material of a level under its listed name, with the usual dose where none is told."""
    plain = re.sub(r"\s*[x×]\s*(\d+)\s*$", r" x\1", text.strip()).replace("%", "")
    part = _part(" ".join(plain.split()))
    if part.material.lower() in ("none", ""):
        return Part("none", 0.0)
    recipe.refuse_unsafe(part.material)
    row = recipe.find(part.material, listed)
    if part.dose == part.dose:
        dose = _dose(factor, f"{part.dose:g}")
    else:
        low, high, _ = recipe.usual_range(part.material, listed)
        dose = round((low + high) / 2, 1)
    return Part(str(row["material"]), dose, part.dips)


def _dose(factor: str, value: Any) -> float:
    dose = table.number(str(value).strip().removesuffix("%"), factor, most=300)
    if not 0 <= dose <= 300:
        raise InputError(f"{factor}: {value!r} is no dose. Write % WOF as a number from 0 to 300.")
    return dose


def full_factorial(chosen: Levels, listed: pd.DataFrame | None = None) -> pd.DataFrame:
    """Return every recipe of the levels, one column a factor holding the level's text.

    A vat dye takes no mordant: its recipes are kept without one, and once.

    Examples
    --------
    >>> from dyelab import plan
    >>> factors = {"fibre": ["wool"], "dye": ["madder 50", "weld 50"], "iron": [0, 2]}
    >>> chosen = plan.levels(factors)
    >>> len(plan.full_factorial(chosen))
    4
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
        none = bare.index("none") if "none" in bare else 0
        frame.loc[_vats(frame, chosen, listed), "mordant"] = none
    return frame.drop_duplicates(ignore_index=True)


def _vats(frame: pd.DataFrame, chosen: Levels, listed: pd.DataFrame | None) -> np.ndarray:
    """Which rows are dyed in a vat."""
    if "dye" not in chosen:
        return np.zeros(len(frame), bool)
    vat = np.array([_is_vat(level, listed) for level in chosen["dye"]])
    return vat[frame["dye"].to_numpy(int)]


def _is_vat(level: Level, listed: pd.DataFrame | None) -> bool:
    if level.name == "none":
        return False
    named = [part.material for part in parts(level.name, level.dose)]
    return all(recipe.find(name, listed)["role"] == "vat" for name in named)


def recipes(
    indices: pd.DataFrame, chosen: Levels, listed: pd.DataFrame | None = None
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
    return without_mordant(frame, _vats(indices, chosen, listed))


def without_mordant(recipes: pd.DataFrame, vat: np.ndarray) -> pd.DataFrame:
    """Recipes whose mordant is left out where they are dyed in a vat."""
    bare = {"mordant": recipes["mordant"].mask(vat, "none")}
    return recipes.assign(**bare, mordant_wof=recipes["mordant_wof"].mask(vat, 0.0))
