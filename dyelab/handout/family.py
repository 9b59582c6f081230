"""One dye on one cloth with every metal dose that was dyed, and the cloths that dyed nothing.

The panel and the iron page tell the same story from this: where the colour went, and what the
tannin alone and the bare fibre did with the same metal.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pandas as pd

from dyelab import compare, shift, words
from dyelab.errors import InputError
from dyelab.handout import variants

Dose = tuple[float, float]
START: Dose = (0.0, 0.0)
CONTROLS = ("tannin_only", "undyed")


@dataclass(frozen=True)
class Family:
    """Recipes that differ only in their metals.

    Attributes
    ----------
    picked : dict
        Fibre, dye, tannin and mordant.
    dyed : dict of (iron, copper) to row
        Doses in % WOF; a row is a dict of one recipe, as ``variants.variants`` gives it.
    controls : dict of name to dict of (iron, copper) to row
        ``tannin_only`` and ``undyed``, those that are there.
    compared : dict of recipe number to row
        Each recipe with a metal against its own start, as ``compare.pairs`` gives it; all of
        them were allowed for in the verdicts, because all of them can be looked at.
    """

    picked: dict[str, str]
    dyed: dict[Dose, dict[Any, Any]]
    controls: dict[str, dict[Dose, dict[Any, Any]]]
    compared: dict[int, dict[Any, Any]]

    def way(self, iron: float, copper: float) -> list[dict[Any, Any]]:
        """From the start over the rising doses dyed, one metal after the other."""
        doses = sorted(self.dyed)
        stops = [d for d in doses if d[1] == 0 and d[0] <= iron]
        stops += [d for d in doses if d[0] == iron and 0 < d[1] <= copper]
        return [self.dyed[d] for d in stops]

    def ends(self, name: str, iron: float, copper: float) -> list[dict[Any, Any]]:
        """A control without the metal and with it; those of the two that are there."""
        rows = self.controls.get(name, {})
        wanted = dict.fromkeys((START, (iron, copper)))
        return [rows[dose] for dose in wanted if dose in rows]

    def moved(self, row: dict[Any, Any]) -> dict[Any, Any] | None:
        """How far this recipe lies from its start; None where it is the start itself."""
        return self.compared.get(row["variant"])


def family(recipes: shift.Recipes, made: pd.DataFrame, **picked: str) -> Family:
    """Gather a family and compare each of it with its start.

    Parameters
    ----------
    recipes : Recipes
    made : DataFrame
        As ``variants.variants`` gives it.
    **picked
        ``fibre``, ``dye``, ``tannin`` and ``mordant``.

    Raises
    ------
    InputError
        If nothing of the kind was dyed, or there is no start to compare with.
    """
    dyed = _by_dose(variants.only(made, **picked))
    if START not in dyed:
        raise InputError(words.say("family.no_start", recipe=" · ".join(picked.values())))
    undyed = variants.only(made, fibre=picked["fibre"], dye="none")
    controls = {
        name: _by_dose(_nearest(variants.only(undyed, tannin=tannin), picked["mordant"]))
        for name, tannin in (("tannin_only", picked["tannin"]), ("undyed", "none"))
        if name == "undyed" or tannin != "none"
    }
    pairs = [pair for part in (dyed, *controls.values()) for pair in _pairs(part)]
    compared = variants.differences(recipes, pairs) if pairs else pd.DataFrame()
    known = {row["sample"]: row for row in compared.to_dict("records")}
    return Family(picked, dyed, {k: v for k, v in controls.items() if v}, known)


def _by_dose(part: pd.DataFrame) -> dict[Dose, dict[Any, Any]]:
    """One recipe a pair of doses; of several (a dye dose more), the best replicated."""
    found: dict[Dose, dict[Any, Any]] = {}
    for row in part.sort_values("pieces", ascending=False, kind="stable").to_dict("records"):
        found.setdefault((_dose(row["iron_wof"]), _dose(row["copper_wof"])), row)
    return dict(sorted(found.items()))


def _dose(value: Any) -> float:
    return 0.0 if pd.isna(value) else float(value)


def _nearest(part: pd.DataFrame, mordant: str) -> pd.DataFrame:
    """Controls with the same mordant where there are any, else with none, else as they are."""
    for wanted in (mordant, "none"):
        alike = variants.only(part, mordant=wanted)
        if len(alike):
            return alike
    return part


def _pairs(part: dict[Dose, dict[Any, Any]]) -> Iterator[tuple[int, int]]:
    if START in part:
        start = part[START]["variant"]
        yield from ((start, row["variant"]) for dose, row in part.items() if dose != START)


def twins(made: pd.DataFrame, metal: str) -> pd.DataFrame:
    """Recipes that differ in one metal alone: one row a pair, `reference` without it.

    Parameters
    ----------
    made : DataFrame
        As ``variants.variants`` gives it.
    metal : str
        ``iron`` or ``copper``.

    Returns
    -------
    DataFrame
        `reference, sample` (recipe numbers), `dose, dye, fibre, tannin, mordant`, and `cloth`
        (in words).
    """
    column = f"{metal}_wof"
    same = [name for name in variants.FACTORS if name in made and name != column]
    without = made.loc[made[column].fillna(0) == 0, [*same, "variant"]]
    having = made.loc[made[column] > 0, [*same, column, "variant"]]
    pairs = having.merge(without, on=same, suffixes=("_with", "_without")).rename(
        columns={"variant_without": "reference", "variant_with": "sample", column: "dose"}
    )
    kept = ["reference", "sample", "dose", "dye", "fibre", "tannin", "mordant"]
    return pairs[kept].assign(cloth=[_cloth(row) for row in pairs.to_dict("records")])


def _cloth(row: dict[Any, Any]) -> str:
    added = [str(row[name]) for name in ("tannin", "mordant") if row[name] not in ("none", "")]
    fibre = str(row["fibre"])
    return words.say("family.cloth", fibre=fibre, what=", ".join(added)) if added else fibre


def metals(iron: float, copper: float) -> str:
    """The metals in words: ``2 % iron and 1 % copper``."""
    doses = {"iron": iron, "copper": copper}
    parts = [words.say(f"family.{m}", dose=variants.dose(d)) for m, d in doses.items() if d > 0]
    return words.say("family.and").join(parts)


def distance(row: dict[Any, Any]) -> str:
    """How far a colour moved, with its interval where one is known."""
    if pd.isna(row["dE00_low"]) or pd.isna(row["dE00_high"]):
        return words.say("family.distance", value=f"{row['dE00']:.1f}")
    values = {k: f"{row[k]:.1f}" for k in ("dE00", "dE00_low", "dE00_high")}
    return words.say("family.span", **values)


def told(one: Family, iron: float, copper: float) -> str:
    """The answer in words: what the metals did to the dye, and to cloth without it."""
    row = one.moved(one.dyed[iron, copper])
    if row is None:
        return words.say("family.start", dye=one.picked["dye"], fibre=one.picked["fibre"])
    said = words.say(
        "family.answer",
        metals=metals(iron, copper),
        dye=one.picked["dye"],
        fibre=one.picked["fibre"],
        moved=row["moved"],
        distance=distance(row),
        verdict=compare.in_words(row),
    )
    for name in CONTROLS:
        ends = one.ends(name, iron, copper)
        change = one.moved(ends[-1]) if len(ends) == 2 else None
        if change is not None:
            shown = {"distance": distance(change), "moved": change["moved"]}
            said += " " + words.say(f"family.{name}_moved", **shown)
    return said


def gaps(one: Family, iron: float, copper: float) -> list[str]:
    """Controls that would tell more and were not dyed."""
    if (iron, copper) == START:
        return []
    wanted = [name for name in CONTROLS if name == "undyed" or one.picked["tannin"] != "none"]
    return [
        words.say(f"family.no_{name}", metals=metals(iron, copper), tannin=one.picked["tannin"])
        for name in wanted
        if len(one.ends(name, iron, copper)) < 2
    ]
