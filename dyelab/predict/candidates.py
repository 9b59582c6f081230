"""Candidate recipes: every sensible joining of what a book holds, in doses one can weigh.

A grid is two tables whose rows all join with each other, so that a kernel that is a product over
steps needs no table of the whole.
"""

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dyelab import recipe, words
from dyelab.errors import InputError, choose
from dyelab.plan.factors import Part, without_mordant
from dyelab.predict.recipes import (
    CLOTH,
    COLUMNS,
    NONE,
    STEPS,
    StepLevels,
    dye_columns,
    dyes_of,
    layers,
    layers_of,
    name_and_dose,
)

METALS = recipe.metals.columns()
SIZE = 200_000
_LEFT = ("cloth", "tannin", "mordant")
_RIGHT = ("dye", "metals", "modifier")
# Doses a material of each step gets, finest first; the first that fits the size is taken.
_DOSED = ("tannin", "mordant", "dye", "metal", "over")
_COUNTS = [
    *((8, 8, 20, 16, 8), (6, 6, 16, 14, 7), (5, 5, 12, 10, 6), (4, 4, 10, 8, 5)),
    *((3, 3, 8, 7, 4), (3, 3, 5, 5, 3), (3, 3, 3, 3, 2), (2, 2, 2, 2, 2), (1, 1, 1, 1, 1)),
]
_DOSES = [dict(zip(_DOSED, counts, strict=True)) for counts in _COUNTS]
# What is drawn together when recipes are put together anew.
_TOGETHER = [
    *(CLOTH, ("tannin", "tannin_wof"), ("mordant", "mordant_wof"), ("dye", "dye_wof")),
    *(tuple(METALS.values()), ("modifier",)),
]
_DRAWN = 4  # draws for each recipe wanted: some come twice
_AT_ENDS = 0.3  # share of doses at an end of their range, where a curve is told best
_FIGURES = np.array(
    [
        *(1, 1.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.8, 2, 2.2, 2.5, 2.8, 3, 3.2, 3.5),
        *(4, 4.5, 5, 5.5, 6, 6.5, 7, 7.5, 8, 9, 10),
    ]
)


@dataclass(frozen=True)
class Limits:
    """What the user has, or will not use.

    Attributes
    ----------
    hold : mapping
        Column to the value or values allowed, such as ``{"fibre": "wool"}``.
    most : mapping
        Dose column to the most allowed, such as ``{"iron_wof": 2.0}``.
    without : tuple of str
        Materials left out; a metal such as ``"iron"`` stands for its salt.
    """

    hold: Mapping[str, Any]
    most: Mapping[str, float]
    without: tuple[str, ...]


NO_LIMITS = Limits({}, {}, ())


@dataclass(frozen=True)
class CandidateGrid:
    """Candidates: each row of `left` with each row of `right`, where `fits`."""

    left: pd.DataFrame
    right: pd.DataFrame
    fits: np.ndarray

    def __len__(self) -> int:
        return int(self.fits.sum())

    def recipes(self, places: np.ndarray) -> pd.DataFrame:
        """Candidates by their place in ``fits.ravel()``."""
        i, j = np.divmod(np.asarray(places, int), len(self.right))
        parts = (self.left.iloc[i], self.right.iloc[j])
        return pd.concat([part.reset_index(drop=True) for part in parts], axis=1)


def of_book(
    made: pd.DataFrame, steps: Sequence[StepLevels], limits: Limits = NO_LIMITS, size: int = SIZE
) -> CandidateGrid:
    """Join what a book holds into candidates.

    Raises
    ------
    InputError
        For an unknown column or material, or limits that leave nothing.
    """
    check_limits(made, limits)
    for counts in _DOSES:
        grid = _cross_steps(made, steps, limits, counts)
        if len(grid) <= size:
            break
    if not len(grid):
        raise InputError(words.say("predict.nothing_left"))
    return grid


def check_limits(made: pd.DataFrame, limits: Limits) -> None:
    """Raise for limits that name a column or a material that isn't there."""
    known = [m for name in STEPS for m in dict.fromkeys(name_and_dose(made, name)[0])]
    known += [part for name in known for part in name.split(" + ")]
    for name in limits.without:
        choose(name, [*dict.fromkeys(known), *METALS], "material", "in this book")
    for name in (*limits.hold, *limits.most):
        choose(name, COLUMNS, "column", "of a recipe")
    for column, wanted in limits.hold.items():
        if column in made and not column.endswith("_wof"):
            for value in _as_list(wanted):
                choose(value, list(dict.fromkeys(_names_in(made[column]))), column, "in this book")


def _cross_steps(
    made: pd.DataFrame, steps: Sequence[StepLevels], limits: Limits, counts: Mapping[str, int]
) -> CandidateGrid:
    by_name = {step.name: step for step in steps}
    tables = {"cloth": _cloths(made), "metals": _metals(made, by_name, limits, counts)}
    for name in ("tannin", "mordant", "dye", "modifier"):
        tables[name] = _levels(made, by_name.get(name), name, limits, counts.get(name, 1))
    over = _overdyes(made, limits.most.get("dye_wof"), counts["over"])
    if len(over):
        tables["dye"] = pd.concat([tables["dye"], over], ignore_index=True)
    kept = {name: _allow(table, limits) for name, table in tables.items()}
    left, right = _join(kept, _LEFT), _join(kept, _RIGHT)
    mordanted = left["mordant"].ne(NONE).to_numpy()[:, None]
    return CandidateGrid(left, right, ~(mordanted & _in_plain_vats(made, right)))


def _in_plain_vats(made: pd.DataFrame, recipes: pd.DataFrame) -> np.ndarray:
    """Which recipes take no mordant: those dyed in a vat, unless the book holds one that did."""
    return np.isin(_names_in(recipes["dye"]), list(vats(made)))


def vats(made: pd.DataFrame) -> set[str]:
    """Vat dyes that no recipe of the book mordanted."""
    if "vat" not in made:
        return set()
    names = pd.Series(_names_in(made["dye"]), made.index)
    return set(names[made["vat"].astype(bool)]) - {NONE} - set(names[made["mordant"] != NONE])


def _cloths(made: pd.DataFrame) -> pd.DataFrame:
    return made[[c for c in CLOTH if c in made]].drop_duplicates().reset_index(drop=True)


def _levels(
    made: pd.DataFrame, step: StepLevels | None, name: str, limits: Limits, count: int
) -> pd.DataFrame:
    """Materials of a step in doses between those dyed, and the step left out where it was."""
    column, amount = (str(part) for part in STEPS[name])
    material, _ = name_and_dose(made, name)
    rows: list[dict[str, Any]] = [{column: NONE, amount: 0.0}] if NONE in material else []
    alone = {own[0] for own in dyes_of(made) if len(own) == 1}
    kinds = step.materials if step else dict.fromkeys(m for m in material if m != NONE)
    for i, kind in enumerate(kinds):
        if name == "dye" and kind not in alone:
            continue
        for dose in _doses(step, i, limits.most.get(amount), count, NONE in material):
            rows.append({column: kind, amount: dose})
    frame = pd.DataFrame(rows, columns=[column, amount])
    return frame if STEPS[name][1] else frame[[column]]


def _overdyes(made: pd.DataFrame, most: float | None, count: int) -> pd.DataFrame:
    """Dyes over one another as the book holds them, each in doses between those dyed."""
    found: dict[tuple, list[list[float]]] = {}
    for own in layers_of(made):
        if len(own) > 1:
            key = tuple((part.material, part.dips) for part in own)
            found.setdefault(key, []).append([part.dose for part in own])
    rows = []
    for key, dyed in found.items():
        ladders = [_ladder(np.array(doses), most, count) for doses in zip(*dyed, strict=True)]
        for doses in itertools.product(*ladders):
            parts = [Part(m, dose, dips) for (m, dips), dose in zip(key, doses, strict=True)]
            rows.append(dye_columns(parts))
    return pd.DataFrame(rows, columns=["dye", "dye_wof"]).drop_duplicates()


def _ladder(doses: np.ndarray, most: float | None, count: int) -> list[float]:
    """Doses one can weigh between those dyed; none told stays so."""
    if np.isnan(doses).any():
        return [np.nan]
    top = min(doses.max(), most if most is not None else np.inf)
    if top < doses.min():
        return []
    steps = np.geomspace(doses.min(), top, count) if top > doses.min() else np.array([top])
    return list(dict.fromkeys(_weighable(dose, top) for dose in steps))


def _metals(
    made: pd.DataFrame, steps: Mapping[str, StepLevels], limits: Limits, counts: Mapping[str, int]
) -> pd.DataFrame:
    """Each metal or none; several at once only where the book holds those together."""
    doses = {}
    for name, column in METALS.items():
        step = steps.get(name)
        absent = NONE in name_and_dose(made, name)[0]
        most = limits.most.get(column)
        some = _doses(step, 0, most, counts["metal"], absent) if step else []
        doses[column] = ([0.0] if absent else []) + [d for d in some if d > 0]
    frame = pd.DataFrame(itertools.product(*doses.values()), columns=list(doses))
    dyed = made[[c for c in doses if c in made]].reindex(columns=list(doses), fill_value=0.0) > 0
    seen = set(dyed.itertuples(index=False, name=None))
    there = frame > 0
    keep = there.sum(axis=1) < 2
    keep |= np.array([one in seen for one in there.itertuples(index=False, name=None)], bool)
    return frame[keep].reset_index(drop=True)


def _doses(
    step: StepLevels | None, i: int, most: float | None, count: int, absent: bool
) -> list[float]:
    if step is None or STEPS[step.name][1] is None:
        return [1.0]
    top = min(step.top[i], most if most is not None else np.inf)
    # Below the least dose lies 0, which is known too: half of it is between the two. Of a mordant
    # less than was dyed is no recipe to offer: such cloth bleeds and fades (common practice).
    between = absent and step.top[i] > step.least[i] and step.name != "mordant"
    low = min(step.least[i] * (0.5 if between else 1.0), top)
    if top <= 0 or (not absent and top < step.least[i]):
        return []
    ladder = np.geomspace(low, top, count) if count > 1 and top > low else np.array([top])
    return list(dict.fromkeys(_weighable(dose, top) for dose in ladder))


def _weighable(dose: float, top: float) -> float:
    """Round to a figure one would weigh, never above the most."""
    size = 10.0 ** np.floor(np.log10(dose))
    rounded = float(f"{size * _FIGURES[np.abs(_FIGURES - dose / size).argmin()]:.6g}")
    return rounded if rounded <= top else float(top)


def _allow(table: pd.DataFrame, limits: Limits) -> pd.DataFrame:
    return table[which_allowed(table, limits)].reset_index(drop=True)


def which_allowed(table: pd.DataFrame, limits: Limits = NO_LIMITS) -> np.ndarray:
    """Which recipes, or parts of recipes, keep to limits and hold nothing unsafe."""
    keep, banned = np.ones(len(table), bool), set(limits.without)
    for column in map(str, table):
        if column in limits.hold:
            keep &= np.isin(_names_in(table[column]), _as_list(limits.hold[column]))
        if column in limits.most:
            keep &= (table[column] <= limits.most[column] + 1e-9).to_numpy()
        metal = column.removesuffix("_wof")
        if metal in METALS and {metal, recipe.metals.salts()[metal]} & banned:
            keep &= (table[column] == 0).to_numpy()
        elif not column.endswith("_wof") and column not in CLOTH:
            names = _names_in(table[column].astype(str))
            out = {n: _is_out(n.split(" + "), banned) for n in set(names)}
            keep &= ~np.array([out[n] for n in names], bool)
    return keep


def _is_out(materials: Iterable[str], banned: set[str]) -> bool:
    """Whether one of these is not wanted, or must never be offered."""
    return any(name in banned or recipe.is_unsafe(name) for name in materials)


def _names_in(column: pd.Series) -> list:
    """Materials of a column without doses and dips: ``weld + indigo``; a dose as it is."""
    if column.name != "dye":
        return list(column)
    return [" + ".join(part.material for part in layers(dye, 1.0)) or NONE for dye in column]


def _as_list(value: Any) -> list[Any]:
    return list(value) if isinstance(value, Iterable) and not isinstance(value, str) else [value]


def _join(tables: Mapping[str, pd.DataFrame], names: Sequence[str]) -> pd.DataFrame:
    full = tables[names[0]]
    for name in names[1:]:
        full = full.merge(tables[name], how="cross")
    return full


def untried_recipes(made: pd.DataFrame, limits: Limits, n: int, seed: int = 0) -> pd.DataFrame:
    """At most n recipes that somebody with a book's materials may dye.

    Every material of a step comes as often as another: one that a small book holds once is no
    rarer outside it. Doses are free, between the ends of what was dyed and of what is usual in the
    trade, and often at these ends; a dose that was never varied stays as it is.

    Raises
    ------
    InputError
        For an unknown column or material, or limits that leave nothing.
    """
    check_limits(made, limits)
    rng = np.random.default_rng(seed)
    parts = []
    for columns in _TOGETHER:
        steps = keep_within(made[[c for c in columns if c in made]], limits)
        if steps.columns.size:
            doses = [c for c in steps if str(c).endswith("_wof")]
            once = steps[~steps.assign(**{str(c): steps[c] > 0 for c in doses}).duplicated()]
            drawn = once.iloc[rng.integers(len(once), size=_DRAWN * n)].reset_index(drop=True)
            parts.append(_cap(_free_doses(drawn, steps, rng), limits))
    joined = pd.concat(parts, axis=1)
    joined = keep_within(without_mordant(joined, _in_plain_vats(made, joined)), limits)
    return joined.drop_duplicates().head(n).reset_index(drop=True)


def keep_within(recipes: pd.DataFrame, limits: Limits) -> pd.DataFrame:
    """Recipes within limits, doses brought down to the most allowed.

    Raises
    ------
    InputError
        Where none is left.
    """
    kept = _allow(_cap(recipes, limits), limits)
    if recipes.columns.size and kept.empty:
        raise InputError(words.say("predict.nothing_left"))
    return kept


def _free_doses(drawn: pd.DataFrame, steps: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Drawn steps with doses of their own, evenly on a log scale between the ends or at one."""
    changed = {}
    for amount in (str(c) for c in drawn if str(c).endswith("_wof")):
        name, there, taken = amount.removesuffix("_wof"), steps[amount] > 0, drawn[amount] > 0
        material, kinds = (t.get(name, pd.Series(name, t.index)) for t in (steps, drawn))
        dyed = steps[there].groupby(material[there])[amount]
        ends = {kind: _ends(str(kind), doses) for kind, doses in dyed}
        low, high = np.array([ends[kind] for kind in kinds[taken]]).reshape(-1, 2).T
        at = rng.random(len(low))
        at = np.where(rng.random(len(low)) < _AT_ENDS, np.round(at), at)
        changed[amount] = drawn[amount].to_numpy(float, copy=True)
        doses = zip(low * (high / low) ** at, high, strict=True)
        changed[amount][taken] = [_weighable(dose, top) for dose, top in doses]
    return drawn.assign(**changed)


def _ends(kind: str, doses: pd.Series) -> tuple[float, float]:
    """Least and largest dose of a material or metal: dyed, or usual if its dose was varied."""
    low, high = float(doses.min()), float(doses.max())
    if low == high:
        return low, high
    try:
        least, usual, _ = recipe.usual_range(recipe.metals.salts().get(kind, kind))
    except InputError:  # the book's own material, or several: no usual dose is known
        return low, high
    return min(low, least or low), max(high, usual)


def _cap(steps: pd.DataFrame, limits: Limits) -> pd.DataFrame:
    most = {column: top for column, top in limits.most.items() if column in steps}
    return steps.assign(**{column: steps[column].clip(upper=top) for column, top in most.items()})


def sample(grid: CandidateGrid, n: int, seed: int = 0) -> pd.DataFrame:
    """At most n candidates drawn at random, the same each time."""
    places = np.flatnonzero(grid.fits)
    if len(places) > n:
        places = np.sort(np.random.default_rng(seed).choice(places, n, replace=False))
    return grid.recipes(places)
