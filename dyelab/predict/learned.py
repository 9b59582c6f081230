"""What was learned from a book, in numbers; the model that answers is built on it."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from dyelab.predict import coded_recipes, gp
from dyelab.predict.basis import Basis
from dyelab.predict.calibration import Stretch
from dyelab.predict.chance import LEVEL
from dyelab.predict.gp import Learned
from dyelab.predict.kernel import Likeness


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
    weights : ndarray (m, n)
        Of the n recipes measured, in the first score.
    """

    mean: np.ndarray
    left: np.ndarray
    prior: np.ndarray
    weights: np.ndarray


@dataclass(frozen=True, repr=False)
class Taught:
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
        The recipes measured, step by step.
    scores : tuple of Learned
        One Gaussian process for each score of `basis`.
    together : ndarray (q, q)
        Correlation of the scores' errors.
    stretch : Stretch
        Makes the 90 % regions hold what they should.
    tail : float
        Degrees of freedom of the t distribution that the leave-one-out errors follow: large is
        normal, small has many near misses and a few far ones.
    odds : (shift, slope)
        Of the log odds of landing, from how often the left-out recipes landed.
    left_out : DataFrame
        One row a recipe, predicted without it: `swatch, recipe, L, a, b` as measured, `L_left,
        a_left, b_left` as predicted, `dE00`, `inside` (within the 90 % region).
    notes : tuple of str
    """

    made: pd.DataFrame
    white: tuple[str, int]
    basis: Basis
    steps: tuple[coded_recipes.Step, ...]
    levels: Mapping[str, tuple[str, ...]]
    kernels: tuple[Likeness, ...]
    codes: tuple[coded_recipes.Coded, ...]
    scores: tuple[Learned, ...]
    together: np.ndarray
    stretch: Stretch
    tail: float
    odds: tuple[float, float]
    left_out: pd.DataFrame
    notes: tuple[str, ...]

    def __repr__(self) -> str:
        error, inside = self.error, 100 * self.left_out["inside"].mean()
        return (
            f"Model of {len(self.made)} recipes: left out one at a time, half are predicted "
            f"within {error:.1f} ΔE00, and {inside:.0f} % lie in their {100 * LEVEL:.0f} % region"
        )

    @property
    def error(self) -> float:
        """Median ΔE00 of the leave-one-out predictions."""
        return float(self.left_out["dE00"].median())

    @property
    def spectral(self) -> bool:
        """Whether it was learned from spectra, so that any light can be shown."""
        return self.basis.wavelengths is not None

    @cached_property
    def usual(self) -> dict[str, tuple[str, dict[str, str]]]:
        """Commonest fibre, form and ground: of all recipes, and of those on each fibre."""
        made, found = self.made, dict[str, tuple[str, dict[str, str]]]()
        for column in (name for name in coded_recipes.CLOTH if name in made):
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
        """Variance of every score from one swatch of a recipe to the next, (q,)."""
        return np.array([learned.nugget for learned in self.scores])

    def coded(self, recipes: pd.DataFrame) -> list[coded_recipes.Coded]:
        """Recipes as the kernels see them, step by step."""
        return [coded_recipes.coded(step, recipes) for step in self.steps]

    def weighed(self, rows: gp.Codes) -> Weighed:
        """Weigh what was measured for each of these recipes."""
        k = gp.cross(self.p, self.kernels, rows, self.codes)
        prior = gp.alone(self.p, self.kernels, rows)
        weights = k @ self.inverses
        left = np.maximum(prior - np.einsum("qmn,qmn->qm", weights, k), 1e-9)
        mean = np.einsum("qmn,nq->mq", k, self._alphas)
        return Weighed(mean, left.T, prior.T, weights[0])

    def under(self, recipes: pd.DataFrame, white: tuple[str, int]) -> np.ndarray:
        """CIELAB (m, 3) predicted for recipes under any light."""
        return self.basis.lab(self.weighed(self.coded(recipes)).mean, white)

    @cached_property
    def _alphas(self) -> np.ndarray:
        return np.stack([learned.alpha for learned in self.scores], axis=1)
