"""Variance of a pot about its recipe: pooled where it is alike, drawn together only so far.

Scatter isn't alike in CIELAB: a dark madder and a pale weld move by different amounts for one
error of dose. It is steadier in the logarithm of K/S, which three broad bands give from X, Y and
Z alone. In that measure each recipe's own scatter is drawn towards the series', by the degrees of
freedom that the recipes' differences among each other leave to the series: the moderated variance
of Smyth (2004), for a matrix.
"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from dyelab.compare.pots import Cells, scatter

# Added to K/S, so that the noise of reading near-white cloth doesn't outweigh everything. Set by
# tests/benchmarks/scatter_measure.py, which takes what makes recipes' scatter most alike.
_FLOOR = 0.005
# How unlike the recipes of one series are before anything is known: degrees of freedom that the
# series lends to a recipe, and how sure that is (standard deviation of the logarithm). By trial in
# tests/benchmarks/pots_truth.py: where recipes' scatter differs by a factor of four, ΔE00 of the
# worst held in 85 of a hundred with 6 and 0.8, in 91 with these; less lent costs power.
_LENT, _SURE = 2.0, 0.35
_GRID = np.geomspace(0.7, 120, 26)
_WHITE, _BLACK = 0.97, 0.004


@dataclass(frozen=True)
class Spread:
    """Covariance of one pot about each variant, by kind of step: what the comparisons ask for.

    Attributes
    ----------
    products : ndarray (g, s, 3, 3)
        Scatter in log K/S of the cells of each variant and kind.
    free : ndarray (g, s)
        Their degrees of freedom.
    pots : ndarray (g, s)
        Pots of equal size behind the mean.
    lent : ndarray (g, 3, 3)
        What the other recipes of the series show.
    lent_df : ndarray (g,)
        Degrees of freedom it is worth for this recipe; 0 where there is none.
    others : ndarray (g,)
        Degrees of freedom that all the other recipes have together.
    back : ndarray (g, 3, 3)
        From log K/S to CIELAB at each mean.
    """

    products: np.ndarray
    free: np.ndarray
    pots: np.ndarray
    lent: np.ndarray
    lent_df: np.ndarray
    others: np.ndarray
    back: np.ndarray

    def of(self, rows: np.ndarray, kind: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Covariance of the means of variants `rows` over pots of `kind`, and its df: (n, 3, 3)."""
        lent, free = self.lent_df[rows], self.free[rows, kind]
        total = np.maximum(lent + free, 1e-9)
        own = self.products[rows, kind]
        drawn = (lent[:, None, None] * self.lent[rows] + own) / total[:, None, None]
        back = self.back[rows]
        pots = np.maximum(self.pots[rows, kind], 1.0)
        lab = back @ drawn @ np.swapaxes(back, 1, 2) / pots[:, None, None]
        return lab, np.where(lent + free > 0, lent + free, 0.0)


def spread(found: Cells, mean: np.ndarray, series: np.ndarray) -> Spread:
    """Gather what the pots of every variant show, and what its series lends it."""
    lab, pots = scatter(found)
    out = to_log(mean)
    products = out[:, None] @ lab @ np.swapaxes(out, 1, 2)[:, None]
    free = np.maximum(found.count - 1, 0).astype(float)
    kind = found.repeats
    at = np.arange(len(mean))
    own = np.where((kind >= 0)[:, None, None], products[at, kind], 0.0)
    own_df = np.where(kind >= 0, free[at, kind], 0.0)
    lent, lent_df, others = _lent(own, own_df, series)
    return Spread(products, free, pots, lent, lent_df, others, np.linalg.inv(out))


def to_log(lab: np.ndarray) -> np.ndarray:
    """Derivative of the logarithm of K/S in three broad bands by L*, a*, b*: (n, 3, 3).

    X, Y and Z over those of white are taken for the reflectance of the bands; K/S by Kubelka and
    Munk (1931).
    """
    to_f = np.array([[1 / 116, 1 / 500, 0], [1 / 116, 0, 0], [1 / 116, 0, -1 / 200]])
    f = lab @ to_f.T + np.array([16 / 116, 16 / 116, 16 / 116])
    low = f <= 6 / 29
    slope = np.where(low, 3 * (6 / 29) ** 2, 3 * f**2)
    band = np.clip(np.where(low, 3 * (6 / 29) ** 2 * (f - 4 / 29), f**3), _BLACK, _WHITE)
    ks = (1 - band) ** 2 / (2 * band)
    by_band = (band**2 - 1) / (2 * band**2) / (ks + _FLOOR)
    return (by_band * slope)[:, :, None] * to_f


def _lent(
    own: np.ndarray, df: np.ndarray, series: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What the other recipes of a series lend each: covariance, worth, and their own freedom."""
    count = int(series.max(initial=0)) + 1
    total, freedom = np.zeros((count, 3, 3)), np.bincount(series, df, count)
    np.add.at(total, series, own)
    near = (freedom > 0)[series]
    rest = np.where(near[:, None, None], total[series], total.sum(axis=0)) - own
    others = np.maximum(np.where(near, freedom[series], freedom.sum()) - df, 0.0)
    alike = _alike(own, df, series, total, freedom)[series]
    pooled = rest / np.maximum(others, 1e-9)[:, None, None]
    worth = np.where(others > 0, 1 / (1 / alike + 1 / np.maximum(others, 1e-9)), 0.0)
    return pooled, worth, others


def _alike(
    own: np.ndarray, df: np.ndarray, series: np.ndarray, total: np.ndarray, freedom: np.ndarray
) -> np.ndarray:
    """How alike the recipes of each series are, in degrees of freedom.

    Each recipe's variance along the series' own axes over the series' is F with its degrees of
    freedom and those sought (Smyth 2004); the likeliest on a grid, given what is usual.
    """
    use = np.flatnonzero(df > 0)
    count = len(freedom)
    if not len(use):
        return np.full(count, _LENT)
    pooled = total / np.maximum(freedom, 1)[:, None, None]
    floor = 1e-6 * np.trace(pooled, axis1=1, axis2=2)[:, None, None] + 1e-12
    root = np.linalg.inv(np.linalg.cholesky(pooled + floor * np.eye(3)))[series[use]]
    seen = np.einsum("nij,njk,nik->ni", root, own[use], root) / df[use, None]
    chance = np.zeros((count, len(_GRID)))
    for i, lent in enumerate(_GRID):
        np.add.at(chance[:, i], series[use], _log_f(seen, df[use, None], lent))
    return _GRID[(chance - 0.5 * (np.log(_GRID / _LENT) / _SURE) ** 2).argmax(axis=1)]


def _log_f(ratio: np.ndarray, df: np.ndarray, lent: float) -> np.ndarray:
    """Log density of F ratios with `df` and `lent` degrees of freedom, summed over the axes."""
    half, other = df / 2, lent / 2
    ratio = np.maximum(ratio, 1e-6)
    log = half * np.log(df / lent) + (half - 1) * np.log(ratio)
    log = log - (half + other) * np.log1p(df * ratio / lent) - special.betaln(half, other)
    return log.sum(axis=1)
