"""How often a swatch lands near a wanted colour: drawn, then held to leave-one-out."""

import numpy as np
import pandas as pd
from scipy import optimize, special, stats

from dyelab import convert, table

LEVEL = 0.90
LIMIT = float(stats.chi2.ppf(LEVEL, 3))
_NEAR, _FEW = 3.0, 200  # ΔE00 that counts as landing, draws
_LOOKED = 4.0  # predictions further off than so many tolerances are never offered
_PRIOR = np.array([[0.0, 1.0], [0.7, 0.25]])  # of the shift and slope of the log odds
_MOST = 150


def draws(lab: np.ndarray, C: np.ndarray, tail: float, n: int) -> np.ndarray:
    """Colours (m, n, 3) that single swatches may have: a t distribution, seeded.

    Parameters
    ----------
    lab : ndarray (m, 3)
    C : ndarray (m, 3, 3)
        Covariances whose normal 90 % region is right.
    tail : float
        Degrees of freedom.
    n : int
    """
    rng = np.random.default_rng(0)
    normal = rng.standard_normal((n, 3))
    ratio = LIMIT / (3 * stats.f.ppf(LEVEL, 3, tail))
    far = np.sqrt(ratio * tail / rng.chisquare(tail, n))
    root = np.linalg.cholesky(C)
    return lab[:, None, :] + np.einsum("mij,nj->mni", root, normal * far[:, None])


def chances(away: np.ndarray, tolerance: float, odds: tuple[float, float]) -> np.ndarray:
    """Chance (m,) of landing from distances (m, n) of drawn swatches, its odds corrected."""
    n = away.shape[1]
    drawn = ((away <= tolerance).sum(axis=1) + 0.5) / (n + 1)
    return special.expit(odds[0] + odds[1] * special.logit(drawn))


def odds(left: pd.DataFrame, C: np.ndarray, tail: float) -> tuple[float, float]:
    """Look for every recipe's colour among the others as predicted without their swatches.

    A wanted colour is one that cloth can have, and such colours lie close together; a prediction
    that comes near one is nearer than its spread alone would say. How much, the book tells.
    """
    left, C = left.head(_MOST), C[:_MOST]
    measured = left[table.LAB].to_numpy(float)
    middle = left[["L_left", "a_left", "b_left"]].to_numpy(float)
    gap = convert.dE00(measured[:, None], middle[None])
    np.fill_diagonal(gap, np.inf)
    i, j = np.nonzero(gap < _LOOKED * _NEAR)
    if not len(i):
        return 0.0, 1.0
    swatches = draws(middle, C, tail, _FEW)
    away = convert.dE00(measured[i][:, None], swatches[j])
    drawn = special.logit(chances(away, _NEAR, (0.0, 1.0)))
    landed = convert.dE00(measured[i], measured[j]) <= _NEAR

    def cost(p: np.ndarray) -> float:
        z = p[0] + p[1] * drawn
        fit = np.logaddexp(0, np.where(landed, -z, z)).sum()
        return float(fit + 0.5 * (((p - _PRIOR[0]) / _PRIOR[1]) ** 2).sum())

    shift, slope = optimize.minimize(cost, _PRIOR[0]).x
    return float(shift), float(slope)
