"""The model: learned from a book, judged on swatches it was not shown, then asked."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from dyelab.predict import answers, calibration, gp
from dyelab.predict.basis import Basis
from dyelab.predict.recipes import CLOTH, Coded, Step, coded, levels, steps_of
from dyelab.predict.training import enough, gathered


@dataclass(frozen=True)
class Weighed:
    """What was measured, weighed for m recipes.

    Attributes
    ----------
    mean : ndarray (m, q)
        Scores.
    left : ndarray (m, q)
        Their variances, without nugget and not stretched.
    prior : ndarray (m, q)
        Their variances before anything was measured.
    weights : ndarray (m, g)
        Of the g recipes measured, in the first score.
    more : ndarray (q,)
        Variance of a swatch about that: of its pot and its own, or its own alone.
    """

    mean: np.ndarray
    left: np.ndarray
    prior: np.ndarray
    weights: np.ndarray
    more: np.ndarray


@dataclass(frozen=True, repr=False)
class Model:
    """What a book teaches about recipes it doesn't hold.

    Attributes
    ----------
    made : DataFrame
        One row a recipe measured: its columns, `L, a, b`, `pieces`, `swatch`, `recipe` in words.
    white : (illuminant, observer)
        Of the book.
    basis : Basis
    steps : tuple of Step
        Steps of a recipe that vary, or could.
    levels : mapping of str to tuple of str
        Materials that the book holds of every step, ``none`` where it was left out.
    kernels : tuple of Likeness
    codes : tuple of Coded
        The recipes of the n swatches measured, step by step.
    seen : Seen
        The swatches measured, in the order of `left_out`.
    scores : tuple of Learned
        One Gaussian process for each score of `basis`.
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
    steps: tuple[Step, ...]
    levels: Mapping[str, tuple[str, ...]]
    kernels: tuple[gp.Likeness, ...]
    codes: tuple[Coded, ...]
    seen: gp.Seen
    scores: tuple[gp.Learned, ...]
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
    def p(self) -> np.ndarray:
        """Parameters of every score, (q, p)."""
        return np.stack([learned.p for learned in self.scores])

    @cached_property
    def inverses(self) -> np.ndarray:
        """Inverse covariance of the recipes' means, score by score, (q, n, n)."""
        return np.stack([learned.inverse for learned in self.scores])

    @cached_property
    def nuggets(self) -> np.ndarray:
        """Variance of every score from a swatch to one of the same recipe in another pot."""
        return np.array([learned.nugget for learned in self.scores])

    @cached_property
    def pots(self) -> np.ndarray:
        """Part of that which swatches of one pot share, (q,)."""
        return np.array([learned.pot for learned in self.scores])

    def coded(self, recipes: pd.DataFrame) -> list[Coded]:
        """Recipes as the kernels see them, step by step."""
        return [coded(step, recipes) for step in self.steps]

    def weighed(self, rows: gp.Codes, beside: int | None = None) -> Weighed:
        """Weigh what was measured for each of these recipes.

        `beside` is the place of a measured swatch whose pots they lie in, every bath of it.
        """
        k = gp.cross(self.p, self.kernels, rows, self.codes)
        prior = gp.alone(self.p, self.kernels, rows)
        more = self.nuggets
        if beside is not None:
            k = k + self.pots[:, None, None] * self.seen.mates[beside]
            prior, more = prior + self.pots[:, None], more - self.pots
        weights = k @ self.inverses
        left = np.maximum(prior - np.einsum("qmn,qmn->qm", weights, k), 1e-9)
        mean = np.einsum("qmn,nq->mq", k, self._alphas)
        by_recipe = weights[0] @ np.eye(len(self.made))[self.seen.recipe]
        return Weighed(mean, left.T, prior.T, by_recipe, more)

    def under(self, recipes: pd.DataFrame, white: tuple[str, int]) -> np.ndarray:
        """CIELAB (m, 3) predicted for recipes under any light."""
        return self.basis.lab(self.weighed(self.coded(recipes)).mean, white)

    @cached_property
    def _alphas(self) -> np.ndarray:
        return np.stack([learned.alpha for learned in self.scores], axis=1)

    def report(self) -> pd.DataFrame:
        """How good the model is on swatches it was not shown.

        Returns
        -------
        DataFrame
            `check, value, means`: number of recipes and swatches, median and 90th percentile of
            the leave-one-out ΔE00, share inside the 50 % and 90 % regions, the stretch applied
            to the model's own spread, swatch-to-swatch ΔE*ab.
        """
        return answers.report(self)

    def colour(
        self,
        recipes: pd.DataFrame,
        *,
        illuminant: str | None = None,
        observer: int | None = None,
        of: str = answers.NEW_POT,
        beside: str = "",
    ) -> pd.DataFrame:
        """Predict the colour of recipes.

        Parameters
        ----------
        recipes : DataFrame
            One row a recipe, in the columns of ``book.recipes``; what is missing is left out
            of the recipe, except the fibre's usual form and ground. Two dyes of the book that
            were never joined: ``dye = "weld + indigo"``, ``dye_wof = "40 + 4"``.
        illuminant, observer : optional
            Light to show it under; the book's own without.
        of : str
            What the covariance is of: `answers.NEW_POT` (one swatch in a new pot), `KNOWN_POT`
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
        return answers.colour(self, recipes, (illuminant, observer), of, beside)


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
    """
    known = gathered(wide, spectra)
    steps = steps_of(known.made)
    enough(known, steps)
    kernels = tuple(gp.Likeness(step) for step in steps)
    each = known.made.iloc[known.recipe]
    codes = tuple(coded(step, each) for step in steps)
    basis = known.basis()
    seen = known.seen(basis)
    scores = tuple(gp.learn(kernels, codes, seen))
    left, off, C = calibration.judged(known, kernels, codes, basis, scores)
    stretch, tail = calibration.stretch_and_tail(calibration.far(off, C), len(known.made))
    far = calibration.far(off, stretch * C)
    left = left.assign(distance=far, inside=far <= calibration.LIMIT)
    lab = left[["L_left", "a_left", "b_left"]].to_numpy(float)
    odds = calibration.odds(lab, lab + off, stretch * C, tail)
    return Model(
        *(known.made, basis.white, basis, steps, levels(known.made), kernels, codes),
        *(seen, scores, stretch, tail, odds, left, known.notes),
    )
