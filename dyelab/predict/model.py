"""The model: learned from a book, judged on swatches it was not shown, then asked."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import optimize, stats

from dyelab import convert, table
from dyelab.predict import asking, factors, process, scarce
from dyelab.predict.basis import Basis
from dyelab.predict.gathering import Gathered, gathered
from dyelab.predict.kernel import Likeness
from dyelab.predict.process import Learned

LEVEL = 0.90
_LIMIT = float(stats.chi2.ppf(LEVEL, 3))
_SCALE, _TAIL = 0.7, (float(np.log(6.0)), 0.6)  # priors of the logs of scale and tail


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
        The recipes measured, step by step.
    scores : tuple of Learned
        One Gaussian process for each score of `basis`.
    stretch : float
        Factor on the model's variances that makes its 90 % regions hold what they should, from
        leave-one-out.
    tail : float
        Degrees of freedom of the t distribution that the leave-one-out errors follow: large is
        normal, small has many near misses and a few far ones.
    left_out : DataFrame
        One row a recipe, predicted without it: `swatch, recipe, L, a, b` as measured, `L_left,
        a_left, b_left` as predicted, `dE00`, `inside` (within the 90 % region).
    notes : tuple of str
    """

    made: pd.DataFrame
    white: tuple[str, int]
    basis: Basis
    steps: tuple[factors.Step, ...]
    levels: Mapping[str, tuple[str, ...]]
    kernels: tuple[Likeness, ...]
    codes: tuple[factors.Coded, ...]
    scores: tuple[Learned, ...]
    stretch: float
    tail: float
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

    def report(self) -> pd.DataFrame:
        """How good the model is on swatches it was not shown.

        Returns
        -------
        DataFrame
            `check, value, means`: number of recipes and swatches, median and 90th percentile of
            the leave-one-out ΔE00, share inside the 50 % and 90 % regions, the stretch applied
            to the model's own spread, swatch-to-swatch ΔE*ab.
        """
        return asking.report(self)

    def colour(
        self,
        recipes: pd.DataFrame,
        *,
        illuminant: str | None = None,
        observer: int | None = None,
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

        Returns
        -------
        DataFrame
            The recipe's columns, `recipe` in words, `L, a, b, illuminant, observer`, the
            covariance columns (of one new swatch of that recipe: what the model doesn't know
            and how swatches scatter), `leans_on` (codes of the swatches it rests on),
            `extrapolates` (why it is outside what was dyed; blank inside), `flags`.

        Raises
        ------
        InputError
            For a material that the book doesn't know, or an unknown light.
        """
        return asking.colour(self, recipes, (illuminant, observer))

    def spread(self, recipes: pd.DataFrame, *, swatch: bool = True) -> tuple[np.ndarray, ...]:
        """Mean scores (n, q) and their variances (n, q), without words; see `colour`."""
        rows = [factors.coded(step, recipes) for step in self.steps]
        parts = [self._one(learned, rows) for learned in self.scores]
        mean = np.stack([m for m, _ in parts], axis=1)
        spread = np.stack([v for _, v in parts], axis=1)
        if swatch:
            spread = spread + np.array([learned.nugget for learned in self.scores])
        return mean, spread * self.stretch

    def _one(self, learned: Learned, rows: process.Codes) -> tuple[np.ndarray, np.ndarray]:
        k = process.cross(learned.p, self.kernels, rows, self.codes)
        prior = process.alone(learned.p, self.kernels, rows)
        left = prior - np.einsum("ij,ij->i", k @ learned.inverse, k)
        return k @ learned.alpha, np.maximum(left, 1e-9)


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
    steps = factors.steps_of(known.made)
    scarce.enough(known, steps)
    kernels = tuple(Likeness(step) for step in steps)
    codes = tuple(factors.coded(step, known.made) for step in steps)
    scores = tuple(process.learn(kernels, codes, known.seen))
    left, far = _judged(known, scores)
    stretch, tail = _calibrated(far)
    left = left.assign(distance=far / stretch, inside=far / stretch <= _LIMIT)
    basis, levels = known.basis, factors.levels(known.made)
    return Model(
        *(known.made, basis.white, basis, steps, levels, kernels, codes, scores),
        *(stretch, tail, left, known.notes),
    )


def _judged(known: Gathered, scores: tuple[Learned, ...]) -> tuple[pd.DataFrame, np.ndarray]:
    """Compare every recipe with its prediction without it; the errors in units of the spread."""
    basis, made = known.basis, known.made
    without = np.stack([s.left_out for s in scores], axis=1)
    at, spread = without[..., 0], without[..., 1]
    measured, lab = basis.lab(known.seen.y), basis.lab(at)
    J = basis.slopes(at)
    C = np.einsum("niq,nq,njq->nij", J, spread, J) + 1e-6 * np.eye(3)
    off = measured - lab
    far = np.einsum("ni,nij,nj->n", off, np.linalg.inv(C), off)
    left = made[["swatch", "recipe"]].assign(
        **dict(zip(table.LAB, measured.T, strict=True)),
        **dict(zip(["L_left", "a_left", "b_left"], lab.T, strict=True)),
        dE00=convert.dE00(measured, lab),
    )
    return left, far


def _calibrated(far: np.ndarray) -> tuple[float, float]:
    """Fit a t distribution to leave-one-out errors, held back where few tell.

    Squared errors in units of their covariance follow 3 c F(3, tail). Returns the factor on the
    variance that brings the normal 90 % region to 90 %, and the tail.
    """

    def cost(p: np.ndarray) -> float:
        scale, tail = np.exp(p)
        fit = -stats.f.logpdf(far / (3 * scale), 3, tail).sum() + len(far) * p[0]
        return float(fit + 0.5 * (p[0] / _SCALE) ** 2 + 0.5 * ((p[1] - _TAIL[0]) / _TAIL[1]) ** 2)

    p = optimize.minimize(cost, [0.0, _TAIL[0]], method="Nelder-Mead").x
    scale, tail = np.exp(p)
    return float(scale * 3 * stats.f.ppf(LEVEL, 3, tail) / _LIMIT), float(tail)
