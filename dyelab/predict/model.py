"""The model: learned from a book, judged on swatches it was not shown, then asked."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import optimize, stats

from dyelab import convert, table
from dyelab.predict import asking, factors, landing, process, scarce
from dyelab.predict.basis import Basis
from dyelab.predict.gathering import Gathered, gathered
from dyelab.predict.kernel import Likeness
from dyelab.predict.landing import LEVEL, LIMIT
from dyelab.predict.process import Learned

# Priors of the calibration: log of the scale, log of the tail, power of the spread.
_CALIBRATION = np.array([[0.0, np.log(6.0), 0.0], [0.7, 0.6, 0.4]])


@dataclass(frozen=True)
class Stretch:
    """Factor on a predicted covariance, from leave-one-out.

    Attributes
    ----------
    whole : float
        For a covariance of usual size.
    power : float
        Of the covariance's trace over the usual one.
    usual : float
        Log of the usual trace.
    """

    whole: float
    power: float
    usual: float

    def __call__(self, C: np.ndarray) -> np.ndarray:
        """Stretch covariances (..., 3, 3)."""
        size = np.log(np.trace(C, axis1=-2, axis2=-1)) - self.usual
        return C * (self.whole * np.exp(self.power * size))[..., None, None]


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
    stretch : Stretch
        Makes the 90 % regions hold what they should.
    tail : float
        Degrees of freedom of the t distribution that the leave-one-out errors follow: large is
        normal, small has many near misses and a few far ones.
    odds : (shift, slope)
        Of the log odds of landing, from looking for every recipe's colour among the others.
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
        """Mean scores (n, q) and their own variances (n, q), not stretched; see `colour`."""
        rows = [factors.coded(step, recipes) for step in self.steps]
        parts = [self._one(learned, rows) for learned in self.scores]
        mean = np.stack([m for m, _ in parts], axis=1)
        spread = np.stack([v for _, v in parts], axis=1)
        if swatch:
            spread = spread + np.array([learned.nugget for learned in self.scores])
        return mean, spread

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
    left, off, C = _judged(known, scores)
    far = _far(off, C)
    stretch, tail = _calibrated(far, np.trace(C, axis1=1, axis2=2))
    far = _far(off, stretch(C))
    left = left.assign(distance=far, inside=far <= LIMIT)
    basis, levels = known.basis, factors.levels(known.made)
    return Model(
        *(known.made, basis.white, basis, steps, levels, kernels, codes, scores),
        *(stretch, tail, landing.odds(left, stretch(C), tail), left, known.notes),
    )


def _far(off: np.ndarray, C: np.ndarray) -> np.ndarray:
    """Squared length of errors in units of their covariances."""
    return np.einsum("ni,nij,nj->n", off, np.linalg.inv(C), off)


def _judged(
    known: Gathered, scores: tuple[Learned, ...]
) -> tuple[pd.DataFrame, np.ndarray, np.ndarray]:
    """Compare every recipe with its prediction without it: table, errors, their covariances."""
    basis, made = known.basis, known.made
    without = np.stack([s.left_out for s in scores], axis=1)
    at, spread = without[..., 0], without[..., 1]
    measured, lab = basis.lab(known.seen.y), basis.lab(at)
    J = basis.slopes(at)
    C = np.einsum("niq,nq,njq->nij", J, spread, J) + 1e-6 * np.eye(3)
    off = measured - lab
    left = made[["swatch", "recipe"]].assign(
        **dict(zip(table.LAB, measured.T, strict=True)),
        **dict(zip(["L_left", "a_left", "b_left"], lab.T, strict=True)),
        dE00=convert.dE00(measured, lab),
    )
    return left, off, C


def _calibrated(far: np.ndarray, size: np.ndarray) -> tuple[Stretch, float]:
    """Fit a t distribution to leave-one-out errors, held back where few tell.

    Squared errors in units of their covariance follow 3 c F(3, tail), where c is a power of the
    covariance's trace. Returns the factor on the variance that brings the normal 90 % region to
    90 %, and the tail.
    """
    middle = float(np.median(np.log(size)))
    above = np.log(size) - middle

    def cost(p: np.ndarray) -> float:
        log_scale, tail = p[0] + p[2] * above, np.exp(p[1])
        fit = (log_scale - stats.f.logpdf(far / (3 * np.exp(log_scale)), 3, tail)).sum()
        return float(fit + 0.5 * (((p - _CALIBRATION[0]) / _CALIBRATION[1]) ** 2).sum())

    scale, tail, power = optimize.minimize(cost, _CALIBRATION[0], method="Nelder-Mead").x
    tail = float(np.exp(tail))
    whole = float(np.exp(scale) * 3 * stats.f.ppf(LEVEL, 3, tail) / LIMIT)
    return Stretch(whole, float(power), middle), tail
