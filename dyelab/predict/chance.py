"""How often a swatch lands near a wanted colour: drawn by what leave-one-out tells."""

import numpy as np
from scipy import optimize, special, stats

from dyelab import convert

LEVEL = 0.90
LIMIT = float(stats.chi2.ppf(LEVEL, 3))
_NEAR = (2.0, 3.0, 4.0, 6.0)  # ΔE00 that may count as landing
_DRAWS, _MOST = 200, 150
_PRIOR = np.array([[0.0, 1.0], [1.0, 0.25]])  # of the shift and slope: mean and deviation


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
    far = np.sqrt(_ratio(tail) * tail / rng.chisquare(tail, n))
    root = np.linalg.cholesky(C)
    return lab[:, None, :] + np.einsum("mij,nj->mni", root, normal * far[:, None])


def log_density(far: np.ndarray, C: np.ndarray, tail: float) -> np.ndarray:
    """Log density (m,) of such a colour, but for a constant, at a squared length from its mean."""
    size = 0.5 * np.linalg.slogdet(C)[1]
    return -size - 0.5 * (tail + 3) * np.log1p(far / (_ratio(tail) * tail))


def _ratio(tail: float) -> float:
    """Squared scale of a t distribution whose 90 % region is the normal one's."""
    return LIMIT / (3 * float(stats.f.ppf(LEVEL, 3, tail)))


def chances(away: np.ndarray, tolerance: float, odds: tuple[float, float]) -> np.ndarray:
    """Chance (m,) of landing from distances (m, n) of drawn swatches, its log odds corrected."""
    drawn = ((away <= tolerance).sum(axis=1) + 0.5) / (away.shape[1] + 1)
    return special.expit(odds[0] + odds[1] * special.logit(drawn))


def odds(lab: np.ndarray, measured: np.ndarray, C: np.ndarray, tail: float) -> tuple[float, float]:
    """Shift and slope of the log odds of landing: how often each left-out recipe landed.

    Parameters
    ----------
    lab, measured : ndarray (m, 3)
        Recipes as predicted without their swatches, and as measured: each aimed at its own
        prediction, as a recipe that was searched for is.
    C : ndarray (m, 3, 3)
    tail : float
    """
    lab, measured, C = lab[:_MOST], measured[:_MOST], C[:_MOST]
    away = convert.dE00(lab[:, None], draws(lab, C, tail, _DRAWS))
    off = convert.dE00(lab, measured)
    drawn = special.logit(np.stack([chances(away, near, (0.0, 1.0)) for near in _NEAR]))
    landed = np.stack([off <= near for near in _NEAR])

    def cost(p: np.ndarray) -> float:
        z = p[0] + p[1] * drawn
        fit = np.logaddexp(0, np.where(landed, -z, z)).mean(axis=0).sum()
        return float(fit + 0.5 * (((p - _PRIOR[0]) / _PRIOR[1]) ** 2).sum())

    shift, slope = optimize.minimize(cost, _PRIOR[0]).x
    return float(shift), float(slope)
