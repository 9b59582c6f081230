"""How far pots of one recipe scatter, by their own account and by what other recipes lend.

Scatter isn't alike in CIELAB: a dark madder and a pale weld move by different amounts for one
error of dose. It is steadier in the logarithm of K/S, which three broad bands give from X, Y and
Z alone. Even there recipes differ, in size more than in shape. So the shape is pooled over the
series, each recipe counted by its size; and how sizes are spread is learned from the series
itself: chances on a grid of sizes, by expectation and maximisation (Kiefer and Wolfowitz 1956,
Laird 1978), with a few recipes' worth of belief in an inverse chi-square, which is what Smyth
(2004) takes for the whole. A recipe is lent the shape of the others at its own likeliest size, as
their sizes make it seem. The doubt left about that size lowers the degrees of freedom: mean and
variance of the logarithm are those of a chi-square with so many (Smyth 2004).
"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from dyelab.compare.pots import BathMeans

# Added to K/S, so that the noise of reading near-white cloth doesn't outweigh everything. Set by
# tests/benchmarks/scatter_measure.py, which takes what makes recipes' scatter most alike.
FLOOR = 0.005
# Reflectances between which a colour is put before K/S is taken: beyond the whitest and the
# deepest cloth, where K/S would magnify the noise of reading.
_WHITE, _BLACK = 0.97, 0.004
# Degrees of freedom that what others lend counts for beside a recipe's own, and the directions
# that its scatter fills when its size is judged: an error of dose moves a colour along a line. By
# trial: tests/benchmarks/scatter_measure.py prints what other values give.
LENT, FILLED = 3.5, 1.5
# Recipes' worth of belief in sizes spread as the inverse of a chi-square with two degrees.
BELIEF = 3.0
# Logarithms of a recipe's size over the usual one of its series: from a fortieth to forty times.
_SIZES = np.linspace(-3.7, 3.7, 17)
_USUAL = np.exp(-_SIZES - np.euler_gamma - np.exp(-_SIZES - np.euler_gamma))
_USUAL /= _USUAL.sum()
_ROUNDS = 20  # of learning sizes and shape by turns


@dataclass(frozen=True)
class PotScatter:
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
        Covariance that the other recipes of the series lend.
    weight : ndarray (g,)
        Degrees of freedom that it counts for beside the variant's own; 0 where there is none.
    doubt : ndarray (g,)
        Variance of the logarithm of the size of `lent`.
    back : ndarray (g, 3, 3)
        From log K/S to CIELAB at each mean.
    """

    products: np.ndarray
    free: np.ndarray
    pots: np.ndarray
    lent: np.ndarray
    weight: np.ndarray
    doubt: np.ndarray
    back: np.ndarray

    @property
    def lent_df(self) -> np.ndarray:
        """Degrees of freedom behind `lent` alone (g,)."""
        free = _freedom(self.doubt, np.maximum(self.weight, 1e-9))
        return np.where(self.weight > 0, free, 0.0)

    def of(self, rows: np.ndarray, kind: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Covariance of the means of variants `rows` over pots of `kind`, and its df: (n, 3, 3)."""
        weight = self.weight[rows]
        both = weight + self.free[rows, kind]
        total = np.maximum(both, 1e-9)
        drawn = weight[:, None, None] * self.lent[rows] + self.products[rows, kind]
        df = _freedom(self.doubt[rows] * (weight / total) ** 2, total)
        size = np.exp(_low(total) - _low(df)) / total / np.maximum(self.pots[rows, kind], 1.0)
        back = self.back[rows]
        lab = back @ (drawn * size[:, None, None]) @ np.swapaxes(back, 1, 2)
        return lab, np.where(both > 0, df, 0.0)


def _freedom(doubt: np.ndarray, df: np.ndarray) -> np.ndarray:
    """Degrees of freedom left where the logarithm of a size is in doubt by this variance besides.

    A chi-square's logarithm has a variance of about 2 / df + 2 / df².
    """
    whole = doubt + 2 / df + 2 / df**2
    return (1 + np.sqrt(1 + 2 * whole)) / whole


def _low(df: np.ndarray) -> np.ndarray:
    """How far the logarithm of chi-square over its degrees of freedom lies below 0, on average."""
    return np.log(df / 2) - special.digamma(df / 2)


def pot_scatter(found: BathMeans, mean: np.ndarray, series: np.ndarray) -> PotScatter:
    """Gather what the pots of every variant show, and what its series lends it."""
    lab, pots = scatter(found)
    out = to_log(mean)
    products = out[:, None] @ lab @ np.swapaxes(out, 1, 2)[:, None]
    free = np.maximum(found.count - 1, 0).astype(float)
    kind = found.repeats
    at = np.arange(len(mean))
    own = np.where((kind >= 0)[:, None, None], products[at, kind], 0.0)
    own_df = np.where(kind >= 0, free[at, kind], 0.0)
    return PotScatter(products, free, pots, *lend(own, own_df, series), np.linalg.inv(out))


def scatter(found: BathMeans) -> tuple[np.ndarray, np.ndarray]:
    """Scatter of cell means about their mean, a variant and kind, and the cells it counts for.

    Returns
    -------
    products : ndarray (g, s, 3, 3)
        Sum of squares and products.
    pots : ndarray (g, s)
        Cells of equal size that would fix the mean as well: 1 / Σ (share of the swatches)².
    """
    g, s = found.count.shape
    group = np.repeat(np.arange(g * s), found.count.ravel())
    count = np.maximum(found.count.ravel(), 1)
    middle = np.stack([np.bincount(group, found.mean[:, i], g * s) for i in range(3)], axis=1)
    rest = found.mean - (middle / count[:, None])[group]
    products = np.zeros((g * s, 3, 3))
    np.add.at(products, group, rest[:, :, None] * rest[:, None, :])
    total = np.bincount(group, found.pieces, g * s)
    square = np.bincount(group, found.pieces.astype(float) ** 2, g * s)
    pots = np.divide(total**2, square, out=np.zeros(g * s), where=square > 0)
    return products.reshape(g, s, 3, 3), pots.reshape(g, s)


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
    by_band = (band**2 - 1) / (2 * band**2) / (ks + FLOOR)
    return (by_band * slope)[:, :, None] * to_f


def lend(
    own: np.ndarray, df: np.ndarray, series: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What the other recipes of a series lend each: `lent`, `weight` and `doubt` of `PotScatter`.

    Parameters
    ----------
    own : ndarray (n, 3, 3)
        Sum of squares and products of each recipe's pots, in log K/S.
    df : ndarray (n,)
        Its degrees of freedom.
    series : ndarray of int (n,)
        A series that repeats nothing borrows from all the others.
    """
    n, count = len(df), int(series.max(initial=0)) + 1
    lone = (np.bincount(series, df, count) == 0)[series]
    if lone.any():
        again = np.flatnonzero(df > 0)
        own, df = np.concatenate([own, own[again]]), np.concatenate([df, df[again]])
        series = np.concatenate([np.where(lone, count, series), np.full(len(again), count)])
    size = np.zeros(len(df))
    belief = np.tile(_USUAL, (count + 1, 1))
    repeated = df > 0
    for _ in range(_ROUNDS):
        shape, lent, others = _shape(own * np.exp(-size)[:, None, None], df, series)
        seen = _chances(own, shape, df)
        sizes, belief = _learn(seen, belief, series, repeated)
        size = sizes @ _SIZES
        size = size - _mean(size, repeated, series)
    doubt = sizes @ _SIZES**2 - (sizes @ _SIZES) ** 2 + 2 / np.maximum(others, 1e-9)
    weight = np.where(others > 0, LENT, 0.0)
    lent = lent * np.exp(size)[:, None, None]
    return lent[:n], weight[:n], np.where(others > 0, doubt, 0.0)[:n]


def _shape(
    own: np.ndarray, df: np.ndarray, series: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Covariance of each series with and without each recipe, and what df the others have."""
    freedom = np.bincount(series, df)
    total = np.zeros((len(freedom), 3, 3))
    np.add.at(total, series, own)
    others = freedom[series] - df
    pooled = total / np.maximum(freedom, 1e-9)[:, None, None]
    floor = 1e-6 * np.trace(pooled, axis1=1, axis2=2)[:, None, None] + 1e-12
    without = (total[series] - own) / np.maximum(others, 1e-9)[:, None, None]
    return (pooled + floor * np.eye(3))[series], without, others


def _chances(own: np.ndarray, shape: np.ndarray, df: np.ndarray) -> np.ndarray:
    """Chance of each recipe's scatter at each size: (n, sizes).

    By its trace in units of the shape, a chi-square with `FILLED` directions a degree of freedom.
    """
    trace = np.trace(np.linalg.inv(shape) @ own, axis1=1, axis2=2)[:, None] / 3
    log = -FILLED / 2 * (df[:, None] * _SIZES + trace * np.exp(-_SIZES))
    return np.exp(log - log.max(axis=1, keepdims=True))


def _learn(
    seen: np.ndarray, belief: np.ndarray, series: np.ndarray, repeated: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Chances of each recipe's size as the others of its series have it, and the series' own."""
    chance = seen * belief[series]
    chance *= (repeated / chance.sum(axis=1))[:, None]
    total = np.zeros_like(belief)
    np.add.at(total, series, chance)
    total += BELIEF * _USUAL
    sizes = seen * (total[series] - chance)
    return sizes / sizes.sum(axis=1, keepdims=True), total / total.sum(axis=1, keepdims=True)


def _mean(values: np.ndarray, use: np.ndarray, series: np.ndarray) -> np.ndarray:
    """Mean over each series of the values in use, at each of its rows."""
    return (np.bincount(series, values * use) / np.maximum(np.bincount(series, use), 1))[series]
