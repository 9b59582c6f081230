"""One recipe with every metal dose that was dyed, and the cloths of it that dyed nothing."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dyelab import words
from dyelab.errors import InputError
from dyelab.shift.pairs import pairs
from dyelab.shift.recipes import (
    FACTORS,
    METALS,
    Recipes,
    group_numbers,
    in_words,
    recipe_names,
    which_have,
)

Dose = tuple[float, ...]  # % WOF of each metal's salt, in the order of METALS
Row = dict[Any, Any]
START: Dose = (0.0,) * len(METALS)
CONTROLS = ("tannin_only", "undyed")


def doses_of(**metals: float) -> Dose:
    """Doses of some metals as a `Dose`: ``doses_of(iron=2.0)``.

    Examples
    --------
    >>> from dyelab import shift
    >>> shift.doses_of(iron=2.0)
    (2.0, 0.0, 0.0, 0.0, 0.0)
    """
    return tuple(float(metals.get(name, 0.0)) for name in METALS)


def with_only(dose: Dose, metal: str) -> bool:
    """Whether a dose has this metal and no other, or none at all.

    Examples
    --------
    >>> from dyelab import shift
    >>> shift.with_only(shift.doses_of(iron=2.0, copper=1.0), "iron")
    False
    """
    return all(amount == 0 or name == metal for name, amount in zip(METALS, dose, strict=True))


@dataclass(frozen=True)
class Family:
    """Recipes that differ in their metals and in nothing else.

    Attributes
    ----------
    picked : dict
        Every factor they share: form, fibre, ground, tannin, mordant and dye with their doses,
        modifier, method of reading. The metals all went in at one place of the recipe.
    name : str
        The recipe without metals, in words.
    dyed : dict of Dose to row
        A row is a dict of one row of ``Recipes.made``.
    controls : dict of name to dict of Dose to row
        ``tannin_only`` (the same recipe without the dye) and ``undyed`` (without dye and
        tannin), those that are there. Their mordant is the family's or, failing that, none.
    moves : dict of (row number, row number) to row
        As `metal_moves` gives it.
    """

    picked: dict[str, Any]
    name: str
    dyed: dict[Dose, Row]
    controls: dict[str, dict[Dose, Row]]
    moves: dict[tuple[int, int], Row]

    def way(self, dose: Dose) -> list[Row]:
        """From the start over the rising doses dyed, one metal after the other."""
        stops = []
        for at in range(len(dose)):
            before, after = dose[:at], START[at + 1 :]
            found = [d for d in sorted(self.dyed) if d[:at] == before and d[at + 1 :] == after]
            stops += [d for d in found if d[at] <= dose[at]]
        return [self.dyed[d] for d in dict.fromkeys([START, *stops])]

    def ends(self, name: str, dose: Dose) -> list[Row]:
        """A control without the metal and with it; those of the two that are there."""
        rows = self.controls.get(name, {})
        return [rows[one] for one in dict.fromkeys((START, dose)) if one in rows]

    def from_start(self, row: Row) -> Row | None:
        """How far this recipe lies from its start; None where it is the start itself."""
        for rows in (self.dyed, *self.controls.values()):
            if START in rows:
                found = self.moves.get((rows[START]["variant"], row["variant"]))
                if found is not None:
                    return found
        return None


def metal_moves(recipes: Recipes) -> dict[tuple[int, int], Row]:
    """Every pair of recipes that differ in their metals alone, by their row numbers.

    Rows as ``of_step`` gives them. A pair that differs in one metal is judged among all pairs of
    that metal, one that differs in several among all that were dyed with and without metals.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> len(shift.metal_moves(recipes))
    58
    """
    found = [pairs(recipes, what).to_dict("records") for what in ("metals", *METALS)]
    return {(int(row["from_row"]), int(row["to_row"])): row for rows in found for row in rows}


def families(made: pd.DataFrame) -> np.ndarray:
    """Number rows of ``Recipes.made`` alike that differ in their metals alone.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> len(set(shift.families(recipes.made)))
    42
    """
    return group_numbers(made, shared_factors(made))


def with_metal(made: pd.DataFrame) -> np.ndarray:
    """Which recipes have a metal.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> int(shift.with_metal(recipes.made).sum())
    57
    """
    return (made[list(METALS.values())] != 0).any(axis=1).to_numpy()  # NaN: of unknown dose


def without_metals(made: pd.DataFrame) -> list[str]:
    """Each recipe in words without its metals: what a family is known by.

    Where one family had a metal put in at several times, as before the dye and after it, the words
    say when.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> shift.without_metals(recipes.made)[5]
    'madder 50 % on wool, potash alum 15 %'
    """
    left_out = (*METALS, "area")
    timed, plain = recipe_names(made, left_out), recipe_names(made, (*left_out, "metals_at"))
    dosed = made.assign(_family=families(made))[with_metal(made)]
    times = dosed.get("metals_at", pd.Series("", dosed.index)).groupby(dosed["_family"]).nunique()
    several = set(times[times > 1].index)
    apart = np.isin(families(made), list(several))
    return list(np.where(apart, np.array(timed, object), np.array(plain, object)))


def shared_factors(made: pd.DataFrame) -> list[str]:
    """Factors that recipes of one family share.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> shift.shared_factors(recipes.made)[:4]
    ['form', 'fibre', 'ground', 'tannin']
    """
    own = (*METALS.values(), "metals_at")
    return [name for name in FACTORS if name in made and name not in own]


def family(
    recipes: Recipes,
    moves: dict[tuple[int, int], Row] | None = None,
    *,
    metal: str | None = None,
    **picked: Any,
) -> Family:
    """Gather the recipe that was dyed with most metals, of those that have what is picked.

    Parameters
    ----------
    recipes : Recipes
    moves : dict, optional
        As `metal_moves` gives it, where it is at hand.
    metal : str, optional
        Gather the recipe that was dyed at most doses of this metal alone.
    **picked
        Factors, such as ``fibre``, ``dye``, ``tannin``, ``mordant``, ``dye_wof``.

    Raises
    ------
    InputError
        If nothing of the kind was dyed without a metal, so that there is nothing to start from.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> shift.family(recipes, fibre="wool", dye="madder", mordant="potash alum").name
    'madder 50 % on wool, potash alum 15 %'
    """
    made = recipes.made
    known = made[made[list(METALS.values())].notna().all(axis=1)]
    started = [part for part in _parts(known, picked) if START in part]
    if not started:
        said = in_words({"dye": "none", **picked}, ("form", "ground", "rest", "metals_at"))
        raise InputError(words.say("family.no_start", recipe=said))
    dyed = max(started, key=lambda rows: _richness(rows, metal))
    own = {name: dyed[START][name] for name in shared_factors(made)}
    return Family(
        picked=own,
        name=in_words(own, ("form", "ground", "rest")),
        dyed=dyed,
        controls=_controls(known, own),
        moves=metal_moves(recipes) if moves is None else moves,
    )


def _parts(made: pd.DataFrame, picked: dict[str, Any]) -> list[dict[Dose, Row]]:
    """Each recipe that has what is picked, by its metals; apart by when they went in."""
    like = made[which_have(made, {k: v for k, v in picked.items() if k != "metals_at"})]
    found = []
    for _, part in like.groupby(families(like), sort=False):
        at = part.get("metals_at", pd.Series("", part.index))
        start = (part[list(METALS.values())] == 0).all(axis=1)
        places = [picked["metals_at"]] if "metals_at" in picked else list(at[~start].unique())
        found += [_by_dose(part[start | (at == place)]) for place in places or [""]]
    return found


def _richness(rows: dict[Dose, Row], metal: str | None) -> tuple[int, int, int]:
    """Doses of this metal alone, doses of any, pieces."""
    alone = 0 if metal is None else sum(with_only(dose, metal) for dose in rows)
    return alone, len(rows), sum(row["pieces"] for row in rows.values())


def _by_dose(part: pd.DataFrame) -> dict[Dose, Row]:
    rows = part.sort_values("pieces", kind="stable").to_dict("records")
    found = {tuple(float(row[column]) for column in METALS.values()): row for row in rows}
    return dict(sorted(found.items()))


def _controls(made: pd.DataFrame, own: dict[str, Any]) -> dict[str, dict[Dose, Row]]:
    """The same recipe without the dye, and without dye and tannin."""
    undyed = {**own, "dye": "none", "dye_wof": 0.0}
    bare = {**undyed, "tannin": "none", "tannin_wof": 0.0}
    tannin = own.get("tannin", "none") != "none"
    wanted = {**({"tannin_only": undyed} if tannin else {}), "undyed": bare}
    found = {}
    for name, cell in wanted.items():
        plain = {**cell, "mordant": "none", "mordant_wof": 0.0}
        rows = [_by_dose(made[which_have(made, one)]) for one in (cell, plain)]
        found[name] = next((part for part in rows if part), {})
    return {name: rows for name, rows in found.items() if rows}
