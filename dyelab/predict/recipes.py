"""Recipes as a model sees them: five steps, each a material and a dose with a true zero."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from dyelab import recipe
from dyelab.plan.factors import Part, parts
from dyelab.recipe import advice, sequence

# A step: its material column (or None: one salt only) and its dose column (or None: there or not).
STEPS: dict[str, tuple[str | None, str | None]] = {
    "fibre": ("fibre", None),
    "form": ("form", None),
    "ground": ("ground", None),
    "tannin": ("tannin", "tannin_wof"),
    "mordant": ("mordant", "mordant_wof"),
    "dye": ("dye", "dye_wof"),
    "over": ("dye", "dye_wof"),  # what lies over the first dye, of dyes that never stood alone
    **{metal: (None, column) for metal, column in recipe.metals.columns().items()},
    "modifier": ("modifier", None),
}
COLUMNS = list(dict.fromkeys(c for pair in STEPS.values() for c in pair if c))
CLOTH = ("fibre", "form", "ground")  # what can't be left out of a recipe
NONE = "none"
_ONE = (" + ", " x")  # what tells a dye of several layers or dips


def layers(dye: str, dose: float) -> list[Part]:
    """Dyes of a recipe in order, each with its own dose and dips, as a plan writes them.

    ``weld + indigo 5 x3`` at 50 % is weld 50 %, then three dips of indigo 5 %.

    Examples
    --------
    >>> from dyelab import predict
    >>> [str(part) for part in predict.layers("weld + indigo 5 x3", 50.0)]
    ['weld 50', 'indigo 5 x3']
    """
    if any(mark in dye for mark in _ONE):
        return parts(dye, dose)
    return [Part(dye, dose)] if dye != NONE else []


def strength(part: Part) -> float:
    """Dose of a dye, % WOF, as often as it was dipped; a dip where no dose is told."""
    return (part.dose if part.dose == part.dose else 1.0) * part.dips


def dye_columns(dyes: Sequence[Part]) -> tuple[str, float]:
    """What the columns `dye` and `dye_wof` say of these dyes.

    Examples
    --------
    >>> from dyelab import predict
    >>> predict.dye_columns(predict.layers("weld + indigo 5 x3", 50.0))
    ('weld + indigo 5 x3', 50.0)
    """
    first, *more = dyes
    return " + ".join([str(first._replace(dose=0.0)), *map(str, more)]), first.dose


def layers_of(made: pd.DataFrame) -> list[list[Part]]:
    """`layers` of every recipe."""
    return [layers(d, w) for d, w in zip(made["dye"], made["dye_wof"], strict=True)]


def with_dyes(made: pd.DataFrame, dyes: Sequence[Sequence[Part]]) -> pd.DataFrame:
    """Recipes with these dyes, one list of layers each, instead of their own."""
    said = [dye_columns(own) for own in dyes]
    return made.assign(dye=[dye for dye, _ in said], dye_wof=[dose for _, dose in said])


def with_layers(made: pd.DataFrame) -> pd.DataFrame:
    """Recipes with each dye's own dose and dips in `dye`, from what was done step by step."""
    if "recipe" not in made:
        return made
    said = {}
    for code in made["recipe"].unique():
        done = sequence.dyes(code)
        if len(done) > 1 or any(step.dips > 1 or step.amount != step.amount for step in done):
            doses = [step.amount if step.unit == "% WOF" else np.nan for step in done]
            said[code] = dye_columns(
                [Part(s.material, dose, s.dips) for s, dose in zip(done, doses, strict=True)]
            )
    own = zip(made["recipe"], made["dye"], made["dye_wof"], strict=True)
    both = [said.get(code, (dye, dose)) for code, dye, dose in own]
    return made.assign(dye=[dye for dye, _ in both], dye_wof=[dose for _, dose in both])


@dataclass(frozen=True)
class StepLevels:
    """What a book knows of one step.

    Attributes
    ----------
    name : str
    materials : tuple of str
        Those dyed, without ``none``; for a metal the metal itself.
    usual : ndarray (m,)
        Median dose of each, in % WOF; 1 where a step has no dose.
    top, least : ndarray (m,)
        Largest and smallest dose of each that was dyed.
    shares : ndarray (m, s)
        Materials as their parts: a mixture has a share in each of its own.
    families : ndarray (m, f)
        1 where materials are of one kind: a metal, protein or cellulose.
    """

    name: str
    materials: tuple[str, ...]
    usual: np.ndarray
    top: np.ndarray
    least: np.ndarray
    shares: np.ndarray
    families: np.ndarray


def steps_of(made: pd.DataFrame) -> tuple[StepLevels, ...]:
    """Steps of a book's recipes that a model can learn from.

    Left out: a step nobody took, a fibre, form or ground that is always the same, and a form
    or ground that the fibre settles.
    """
    found = [_step(name, made) for name in STEPS if not _is_settled(name, made)]
    return tuple(step for step in found if step.materials)


def _is_settled(name: str, made: pd.DataFrame) -> bool:
    if STEPS[name][1] is not None:
        return False
    material = pd.Series(name_and_dose(made, name)[0])
    if name not in ("form", "ground"):
        return material.nunique() < 2
    fibre = pd.Series(name_and_dose(made, "fibre")[0])
    return bool((material.groupby(fibre).nunique() < 2).all())


def _step(name: str, made: pd.DataFrame) -> StepLevels:
    material, dose = name_and_dose(made, name)
    there = np.array([m != NONE for m in material]) & ((dose > 0) | (STEPS[name][1] is None))
    kinds = tuple(dict.fromkeys(m for m, ok in zip(material, there, strict=True) if ok))
    of_kind = [dose[there & (np.array(material) == kind)] for kind in kinds]
    return StepLevels(
        name,
        kinds,
        np.array([np.median(d) for d in of_kind]),
        np.array([d.max() for d in of_kind]),
        np.array([d.min() for d in of_kind]),
        _indicators([kind.split(" + ") for kind in kinds]),
        _indicators([[_family(name, kind)] for kind in kinds]),
    )


def name_and_dose(made: pd.DataFrame, name: str) -> tuple[list[str], np.ndarray]:
    """Material and dose of a step, row by row; a dose of 0 is ``none``.

    Of several dyes the first is the `dye`; those over it, joined, are `over`.
    """
    if name in ("dye", "over") and "dye" in made:
        return _dyes_and_doses(made, name)
    column, amount = STEPS[name]
    full = np.ones(len(made))
    dose = made[amount].to_numpy(float) if amount and amount in made else full
    if column is None:
        dose = dose if amount in made else 0 * full
        return [name if d > 0 else NONE for d in dose], dose
    texts = made[column] if column in made else pd.Series(NONE, index=made.index)
    material = [str(t) if str(t) not in ("", "nan") else NONE for t in texts]
    if amount:
        material = [m if d > 0 else NONE for m, d in zip(material, dose, strict=True)]
    dose = np.where(np.array(material, object) == NONE, 0.0, dose)
    return material, dose


def _dyes_and_doses(made: pd.DataFrame, name: str) -> tuple[list[str], np.ndarray]:
    doses = made["dye_wof"] if "dye_wof" in made else np.ones(len(made))
    chosen = slice(0, 1) if name == "dye" else slice(1, None)
    material, dose = [], []
    for text, amount in zip(made["dye"], doses, strict=True):
        own = [part for part in layers(str(text), float(amount))[chosen] if strength(part) > 0]
        material.append(" + ".join(part.material for part in own) or NONE)
        dose.append(float(sum(map(strength, own))))
    return material, np.array(dose)


def levels(made: pd.DataFrame) -> dict[str, tuple[str, ...]]:
    """Materials of every step in these recipes, ``none`` where it was left out."""
    return {name: tuple(dict.fromkeys(name_and_dose(made, name)[0])) for name in STEPS}


def dyes_of(made: pd.DataFrame) -> list[tuple[str, ...]]:
    """Names of the dyes of each recipe, in order."""
    return [tuple(part.material for part in own) for own in layers_of(made)]


def _indicators(lists: Iterable[list[str]]) -> np.ndarray:
    """One row a material, one column a name, rows of unit length."""
    parts = [list(names) for names in lists]
    columns = list(dict.fromkeys(name for names in parts for name in names))
    cells = [float(c in names) for names in parts for c in columns]
    hits = np.array(cells).reshape(len(parts), len(columns))
    return hits / np.maximum(np.linalg.norm(hits, axis=1, keepdims=True), 1e-12)


def _family(step: str, kind: str) -> str:
    """What a material has in common with others, by chemistry alone."""
    if step == "fibre":
        groups = {"protein": advice.PROTEIN, "cellulose": advice.CELLULOSE}
        return next((name for name, held in groups.items() if kind.lower() in held), kind)
    if step == "mordant":
        listed = recipe.materials()
        metal = listed.loc[listed["material"] == kind, "metal"]
        return str(metal.iloc[0]) if len(metal) and metal.iloc[0] else kind
    return kind


@dataclass(frozen=True)
class StepCodes:
    """Rows of one step as numbers: which material (-1 none), and dose over its usual dose."""

    kind: np.ndarray
    dose: np.ndarray

    @cached_property
    def levels(self) -> tuple["StepCodes", np.ndarray]:
        """Rows that differ, and the place of every row among them: far fewer in most books."""
        _, first, place = np.unique(
            self.kind + 1j * self.dose, return_index=True, return_inverse=True
        )
        return StepCodes(self.kind[first], self.dose[first]), place.ravel()


def code_step(step: StepLevels, made: pd.DataFrame) -> StepCodes:
    """Code recipes for a step; a material the book doesn't know is coded -2."""
    material, dose = name_and_dose(made, step.name)
    place = {kind: i for i, kind in enumerate(step.materials)} | {NONE: -1}
    kind = np.array([place.get(m, -2) for m in material], int)
    usual = np.append(step.usual, 1.0)[np.where(kind >= 0, kind, -1)]
    return StepCodes(kind, np.where(kind >= 0, dose / usual, 0.0))
