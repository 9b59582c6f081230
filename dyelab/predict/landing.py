"""How often a swatch lands near a wanted colour: drawn by what leave-one-out tells."""

import numpy as np
from scipy import stats

LEVEL = 0.90
LIMIT = float(stats.chi2.ppf(LEVEL, 3))


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


def chances(away: np.ndarray, tolerance: float) -> np.ndarray:
    """Chance (m,) of landing from distances (m, n) of drawn swatches; never quite 0 or 1."""
    return ((away <= tolerance).sum(axis=1) + 0.5) / (away.shape[1] + 1)
