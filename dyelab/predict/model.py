"""The model: learned from a book, judged on swatches it was not shown, then asked.

It answers with a colour and its covariance, what that leans on, and when it guesses.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from dyelab import numerics, shift, table, words
from dyelab.errors import InputError, choose
from dyelab.predict import calibration, gp, overdyes
from dyelab.predict.basis import Basis
from dyelab.predict.candidates import vats
from dyelab.predict.gp import Posterior
from dyelab.predict.recipes import (
    CLOTH,
    NONE,
    STEPS,
    StepCodes,
    StepLevels,
    code_step,
    dye_columns,
    dyes_of,
    layers,
    layers_of,
    levels,
    name_and_dose,
    steps_of,
)
from dyelab.predict.training import gather, require_enough
from dyelab.recipe import sequence

NEW_POT, KNOWN_POT, RECIPE = OF = ("new_pot", "known_pot", "recipe")
_FAR = 0.3  # share of the prior variance left: little is known there
_LEAN, _MOST_LEANT = 0.08, 4  # least weight worth naming, and how many are named
_SLACK = 1.001  # on the largest and smallest dose
_CHI2_50 = 2.366  # three degrees of freedom


@dataclass(frozen=True, repr=False)
class Model:
    """What a book teaches about recipes it doesn't hold.

    Attributes
    ----------
    made : DataFrame
        One row a recipe measured: its columns, `L, a, b`, `pieces`, `swatch`, `recipe` in words.
        Those with several dyes last, ``dye = "weld + indigo 5 x3"`` with the first one's dose.
    white : (illuminant, observer)
        Of the book.
    basis : Basis
    steps : tuple of StepLevels
        Steps of a recipe that vary, or could.
    levels : mapping of str to tuple of str
        Materials that the book holds of every step, ``none`` where it was left out.
    process : gp.Process
        One Gaussian process for each score of `basis`, of the recipes with one dye.
    over : OverdyeErrors
        What the recipes with several dyes were off by.
    mates : ndarray (n, m)
        Share of their baths that the n swatches of `left_out` have in common with the first m.
    stretch : float
        Factor on predicted covariances that makes the 90 % regions hold what they should.
    tail : float
        Degrees of freedom of the t distribution that the leave-one-out errors follow: large is
        normal, small has many near misses and a few far ones.
    odds : (shift, slope)
        Of the log odds of landing, from how often the left-out recipes landed.
    left_out : DataFrame
        One row a swatch, predicted without its recipe and its pots: `swatch, recipe, L, a, b` as
        measured, `L_left, a_left, b_left` as predicted, `dE00`, `distance` (squared, in units of
        its covariance), `inside` (within the 90 % region).
    notes : tuple of str
    """

    made: pd.DataFrame
    white: tuple[str, int]
    basis: Basis
    steps: tuple[StepLevels, ...]
    levels: Mapping[str, tuple[str, ...]]
    process: gp.Process
    over: overdyes.OverdyeErrors
    mates: np.ndarray
    stretch: float
    tail: float
    odds: tuple[float, float]
    left_out: pd.DataFrame
    notes: tuple[str, ...]

    def __repr__(self) -> str:
        return (
            f"Model of {len(self.made)} recipes: left out one by one, half of their swatches are "
            f"predicted within {self.error:.1f} ΔE00, and {100 * self.inside:.0f} % lie in their "
            f"{100 * calibration.LEVEL:.0f} % region"
        )

    @property
    def error(self) -> float:
        """Median ΔE00 of the leave-one-out predictions."""
        return float(self.left_out["dE00"].median())

    @property
    def error_90(self) -> float:
        """ΔE00 that nine in ten of them keep within."""
        return float(self.left_out["dE00"].quantile(0.9))

    @property
    def inside(self) -> float:
        """Share of the swatches, 0 to 1, that lie in the 90 % region foretold without them."""
        return float(self.left_out["inside"].mean())

    @property
    def spectral(self) -> bool:
        """Whether it was learned from spectra, so that any light can be shown."""
        return self.basis.wavelengths is not None

    @cached_property
    def usual(self) -> dict[str, tuple[str, dict[str, str]]]:
        """Commonest fibre, form and ground: of all recipes, and of those on each fibre."""
        made, found = self.made, dict[str, tuple[str, dict[str, str]]]()
        for column in (name for name in CLOTH if name in made):
            common = made[column].mode().iloc[0]
            on = made.groupby("fibre")[column]
            by_fibre = {str(fibre): str(texts.mode().iloc[0]) for fibre, texts in on}
            found[column] = (str(common), {} if column == "fibre" else by_fibre)
        return found

    @cached_property
    def undosed(self) -> frozenset[str]:
        """Vats of which no dose is known: they are told in dips."""
        parts = [part for own in layers_of(self.made) for part in own]
        return frozenset(part.material for part in parts if part.dose != part.dose)

    def codes(self, recipes: pd.DataFrame) -> list[StepCodes]:
        """Recipes as the kernels see them, step by step."""
        return self.over.dyes.codes(recipes)

    def posterior(self, recipes: pd.DataFrame, beside: int | None = None) -> gp.Posterior:
        """Weigh what was measured for each of these recipes; `weights` are of the book's recipes.

        `beside` is the place of a measured swatch whose pots they lie in, every bath of it.
        """
        several = self.over.dyes.joins(recipes)
        mates = None if beside is None else self.mates[beside]
        one = self.process.posterior(self.codes(recipes[~several]), mates)
        n, swatches = self.mates.shape[1], len(self.mates)
        more = np.zeros((len(recipes), swatches))
        more[~several, :n] = one.weights
        whole = {name: _fill(getattr(one, name), ~several) for name in ("mean", "left", "prior")}
        if several.any():
            two = self.over.posterior(recipes[several], n)
            more[several] = two.weights
            for name, values in whole.items():
                values[several] = getattr(two, name)
        singles = self.process.seen.recipe
        places = np.concatenate([singles, self.over.seen.recipe + singles.max() + 1])
        return gp.Posterior(**whole, weights=more @ np.eye(len(self.made))[places], more=one.more)

    def under(self, recipes: pd.DataFrame, white: tuple[str, int]) -> tuple[np.ndarray, np.ndarray]:
        """CIELAB (m, 3) and covariance (m, 3, 3) of a swatch of each recipe under any light."""
        return _land(self, self.posterior(recipes), white)

    def report(self) -> pd.DataFrame:
        """How good the model is on swatches it was not shown.

        Returns
        -------
        DataFrame
            `check, value, means`: number of recipes and swatches, median and 90th percentile of
            the leave-one-out ΔE00, share inside the 50 % and 90 % regions, the stretch applied
            to the model's own spread, swatch-to-swatch ΔE*ab.
        """
        left, repeats = self.left_out, len(self.left_out) - len(self.made)
        rows: list[tuple[str, float, str]] = [
            ("recipes", len(self.made), ""),
            ("swatches", len(left), ""),
            ("error", self.error, ""),
            ("error_90", self.error_90, ""),
            ("inside_50", 100 * float((left["distance"] <= _CHI2_50).mean()), ""),
            ("inside_90", 100 * self.inside, ""),
            ("stretch", self.stretch, ""),
            ("scatter", _scatter(self), "" if repeats else words.say("predict.no_repeats")),
        ]
        said = [
            (words.say(f"predict.check_{key}"), value, more or words.say(f"predict.means_{key}"))
            for key, value, more in rows
        ]
        return pd.DataFrame(said, columns=["check", "value", "means"])

    def colour(
        self,
        recipes: pd.DataFrame,
        *,
        illuminant: str | None = None,
        observer: int | None = None,
        of: str = NEW_POT,
        beside: str = "",
    ) -> pd.DataFrame:
        """Predict the colour of recipes.

        Parameters
        ----------
        recipes : DataFrame
            One row a recipe, in the columns of ``book.recipes``; what is missing is left out
            of the recipe, except the fibre's usual form and ground. Several dyes in order, each
            with its own dose and dips: ``dye = "weld + indigo 4 x3"``, ``dye_wof = 40``.
        illuminant, observer : optional
            Light to show it under; the book's own without.
        of : str
            What the covariance is of: `NEW_POT` (one swatch in a new pot), `KNOWN_POT`
            (one more in the pots of the swatch `beside`) or `RECIPE` (the recipe's own colour,
            which many pots would have in the middle).
        beside : str
            Code of a swatch of the book, for `KNOWN_POT`.

        Returns
        -------
        DataFrame
            The recipe's columns, `recipe` in words, `L, a, b, illuminant, observer`, the
            covariance columns, `leans_on` (codes of the swatches it rests on),
            `extrapolates` (why it is outside what was dyed; blank inside), `flags`.

        Raises
        ------
        InputError
            For a material or a swatch that the book doesn't know, or an unknown light.
        """
        full, place = complete(self, recipes), _place(self, of, beside)
        white = (illuminant or self.white[0], observer or self.white[1])
        weighed = self.posterior(full, place)
        lab, C = _land(self, weighed, white, of)
        answered: dict[str, Any] = dict(zip(table.LAB, lab.T, strict=True))
        answered |= {"illuminant": white[0], "observer": white[1]}
        answered["leans_on"] = support(self, weighed)
        answered["extrapolates"] = outside(self, full, weighed)
        answered["flags"] = "" if self.spectral or white == self.white else "adapted"
        return table.with_covariances(full.assign(recipe=recipe_names(full), **answered), C)


@numerics.one_thread
def fit(wide: pd.DataFrame, *, spectra: pd.DataFrame | None = None) -> Model:
    """Learn from a book's readings as dyed.

    Parameters
    ----------
    wide : DataFrame
        As ``book.wide`` gives it: readings with their recipes.
    spectra : DataFrame, optional
        The book's spectra. Where every swatch has one, colours are predicted under any light.

    Returns
    -------
    Model
        Look at `Model.report` before asking for anything.

    Raises
    ------
    InputError
        Too few recipes (it says how many, and which to dye next), all readings alike, missing
        columns, mixed white points.

    Examples
    --------
    >>> from dyelab import book, predict, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> model = predict.fit(wide, spectra=bk.spectra)
    >>> len(model.made)
    90
    """
    both = gather(wide, spectra)
    known, twice, shared = both.split_overdyes()
    steps = steps_of(known.made)
    require_enough(known, steps)
    kernels = tuple(gp.Likeness(step) for step in steps)
    each = known.made.iloc[known.recipe]
    codes = tuple(code_step(step, each) for step in steps)
    basis = both.basis()
    process = gp.learn(kernels, codes, known.observations(basis))
    alone = frozenset(dyes[0] for dyes in dyes_of(known.made) if len(dyes) == 1)
    dyes = overdyes.Dyes(steps, process, basis, alone, frozenset(vats(known.made)))
    over = overdyes.learn_overdyes(dyes, twice.made.iloc[twice.recipe], twice.observations(basis))
    made = pd.concat([known.made, twice.made], ignore_index=True)
    judged = calibration.judge(known, twice, over)
    learned = made, basis.white, basis, steps, levels(made), process, over, shared
    return Model(*learned, *judged, both.notes)


def _fill(values: np.ndarray, rows: np.ndarray) -> np.ndarray:
    full = np.zeros((len(rows), values.shape[1]))
    full[rows] = values
    return full


def recipe_names(recipes: pd.DataFrame) -> list[str]:
    """Recipes in words, each of several dyes with its own dose and dips."""
    lines = [
        sequence.of_dyes(own) if len(own) > 1 or any(part.dips > 1 for part in own) else ""
        for own in layers_of(recipes)
    ]
    return shift.recipe_names(recipes.assign(rest=lines))


def predict_swatches(model: Model, recipes: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """CIELAB (n, 3) and covariance (n, 3, 3) of a swatch of each recipe, all of known materials."""
    return _land(model, model.posterior(recipes), None)


def _place(model: Model, of: str, beside: str) -> int | None:
    """Place of the swatch whose pots are meant, if any are."""
    choose(of, OF, "colour", "that can be predicted")
    if of != KNOWN_POT:
        return None
    codes = list(model.left_out["swatch"])
    return codes.index(choose(beside, codes, "swatch", "in this book"))


def _land(
    model: Model, weighed: Posterior, white: tuple[str, int] | None, of: str = NEW_POT
) -> tuple[np.ndarray, np.ndarray]:
    J = model.basis.slopes(weighed.mean, white)
    C = calibration.lab_covariance(J, weighed.left + (0.0 if of == RECIPE else weighed.more))
    return model.basis.lab(weighed.mean, white), model.stretch * C


def outside(model: Model, recipes: pd.DataFrame, weighed: Posterior) -> list[str]:
    """Why a recipe lies outside what was dyed; blank inside."""
    said: list[list[str]] = [[] for _ in range(len(recipes))]
    several = model.over.dyes.joins(recipes)
    for step, code in zip(model.steps, model.codes(recipes), strict=True):
        for i, text in _doses_outside(model, step, code):
            said[i].append(text)
    for at in np.flatnonzero(several):
        said[at] += _over_outside(model, recipes.iloc[at])
    far = (weighed.left / weighed.prior).mean(axis=1) > _FAR
    for at in np.flatnonzero(far & ~several):
        said[at].append(words.say("predict.far"))
    return ["; ".join(texts) for texts in said]


def _over_outside(model: Model, row: pd.Series) -> list[str]:
    """Doses of dyes that lie over others, and dyes never put over one another."""
    dyes = layers(row["dye"], row["dye_wof"])
    alone = pd.DataFrame([dye_columns([part]) for part in dyes[1:]], columns=["dye", "dye_wof"])
    (step,) = (step for step in model.steps if step.name == "dye")
    said = [text for _, text in _doses_outside(model, step, code_step(step, alone))]
    if not model.over.knows(row["dye"]):
        named = ", ".join(part.material for part in dyes)
        said.append(words.say("predict.joined", dyes=named))
    return said


def _doses_outside(model: Model, step: StepLevels, code: StepCodes) -> list[tuple[int, str]]:
    if STEPS[step.name][1] is None:
        return []
    found = []
    in_book = model.levels[step.name]
    for i, (kind, relative) in enumerate(zip(code.kind, code.dose, strict=True)):
        if kind < 0:
            if NONE not in in_book:
                found.append((i, words.say("predict.never_without", step=step.name)))
            continue
        dose, top, least = relative * step.usual[kind], step.top[kind], step.least[kind]
        told = {"material": step.materials[kind], "dose": f"{dose:.3g}"}
        if dose > top * _SLACK:
            found.append((i, words.say("predict.above", limit=f"{top:.3g}", **told)))
        elif dose < least / _SLACK and NONE not in in_book:
            found.append((i, words.say("predict.below", limit=f"{least:.3g}", **told)))
    return found


def support(model: Model, weighed: Posterior) -> list[str]:
    """Swatches whose colours weigh most in each prediction."""
    weights = np.abs(weighed.weights)
    codes = model.made["swatch"].to_numpy()
    best = np.argsort(-weights, axis=1)[:, :_MOST_LEANT]
    return [
        ", ".join(codes[j] for n, j in enumerate(own) if n == 0 or line[j] > _LEAN)
        for own, line in zip(best, weights, strict=True)
    ]


def _scatter(model: Model) -> float:
    """Root mean square ΔE*ab of one swatch of a recipe about the recipe."""
    J = model.basis.slopes(model.process.seen.y)
    C = calibration.lab_covariance(J, np.tile(model.process.nuggets, (len(J), 1)))
    return float(np.sqrt(np.median(np.trace(C, axis1=1, axis2=2))))


def complete(model: Model, recipes: pd.DataFrame) -> pd.DataFrame:
    """Recipes with every column a model needs, and only materials it knows.

    Raises
    ------
    InputError
        Naming the row, the material and those the book knows.
    """
    full = {str(name): recipes[name].to_numpy() for name in recipes}
    blank = np.full(len(recipes), "", object)
    for name, (material, dose) in STEPS.items():
        if material and name not in CLOTH:
            full[material] = _texts(full.get(material, blank), NONE)
        if dose:
            full[dose] = _doses(full.get(dose, np.zeros(len(recipes))))
    for column, (common, by_fibre) in model.usual.items():
        given = _texts(full.get(column, blank), "")
        fibres = given if column == "fibre" else full["fibre"]
        usual = np.array([by_fibre.get(fibre, common) for fibre in fibres], object)
        full[column] = np.where(given == "", usual, given)
    table = pd.DataFrame(_without_salts(full))
    in_dips = table["dye_wof"].eq(0) & table["dye"].map(_first).isin(model.undosed)
    table["dye_wof"] = table["dye_wof"].mask(in_dips)
    for name in STEPS:
        _check_known(model, table, name)
    return table


def _first(dye: str) -> str:
    return next((part.material for part in layers(dye, 1.0)), NONE)


def _texts(cells: Any, missing: str) -> np.ndarray:
    """Texts, with one of them for what is blank."""
    return np.array([missing if _blank(cell) else str(cell) for cell in cells], object)


def _blank(cell: Any) -> bool:
    return cell is None or cell == "" or cell != cell


def _doses(cells: np.ndarray) -> np.ndarray:
    """Doses, 0 where blank."""
    try:
        doses = pd.to_numeric(pd.Series(cells)).to_numpy(float)
    except (ValueError, TypeError):
        raise InputError(words.say("predict.doses", found=list(cells))) from None
    return np.where(np.isnan(doses), 0.0, doses)


def _without_salts(full: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Shifting metals are told by their doses alone, as in the book's own recipes."""
    alone = np.isin(full["mordant"].astype(str), list(shift.shifting_salts()))
    mordant = np.where(alone, NONE, full["mordant"])
    return {**full, "mordant": mordant, "mordant_wof": np.where(alone, 0.0, full["mordant_wof"])}


def _check_known(model: Model, full: pd.DataFrame, name: str) -> None:
    """Raise for a material the book holds no swatch of."""
    in_book = model.levels[name]
    learned = any(step.name == name for step in model.steps)
    if name == "over" or (not learned and name in CLOTH[1:]):
        return
    for i, text in enumerate(name_and_dose(full, name)[0]):
        parts = [text] if text in in_book else text.split(" + ")
        known = all(part in in_book or part == NONE for part in parts)
        if name == "dye" and text != NONE:
            known = _dyes_known(model, full["dye"].iloc[i])
            text = full["dye"].iloc[i]
        if not known or (text == NONE and not learned and NONE not in in_book):
            listed = ", ".join(kind for kind in in_book if kind != NONE) or NONE
            told = {"row": i + 1, "step": name, "found": text, "known": listed}
            raise InputError(words.say("predict.unknown", **told))


def _dyes_known(model: Model, dye: str) -> bool:
    """Whether dyes are known each alone, or over one another.

    Raises
    ------
    InputError
        If one over another has no dose, though this book doses it.
    """
    first, *more = layers(dye, 1.0)
    if any(part.dose != part.dose and part.material not in model.undosed for part in more):
        raise InputError(words.say("predict.doses", found=dye))
    names = [part.material for part in (first, *more)]
    if model.over.dyes.alone.issuperset(names):
        return True
    over = " + ".join(names[1:]) or NONE
    return names[0] in model.levels["dye"] and over in model.levels["over"]
