"""Which swatches are one replicate: the pots of a variant, found from the bath of each step.

Swatches that lay in one bath share its water, heat and strength, so they are one replicate of that
step, however many they are. What two arms of a comparison share cancels; what only one of them
had does not. The pots of an arm are therefore the fewest distinct baths among the steps whose
baths the other arm doesn't share. A scour and a rinse count for nothing: they put no colour on.

The variance of a pot about its recipe is pooled where it is alike, and drawn together only so far.
Scatter isn't alike in CIELAB: a dark madder and a pale weld move by different amounts for one
error of dose. It is steadier in the logarithm of K/S, which three broad bands give from X, Y and
Z alone. In that measure each recipe's own scatter is drawn towards the series', by the degrees of
freedom that the recipes' differences among each other leave to the series: the moderated variance
of Smyth (2004), for a matrix.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

NO_COLOUR = ("scour", "rinse")
_MANY = 10**6


@dataclass(frozen=True)
class Cells:
    """Means of the swatches of one variant in one bath, for g variants and s kinds of step.

    The last kind is the swatch itself: every swatch a cell. Cells of one variant and kind follow
    one another, ordered by bath.

    Attributes
    ----------
    mean : ndarray (c, 3)
    pieces : ndarray (c,)
        Swatches in the cell.
    start, count : ndarray of int (g, s)
        Where the cells of a variant and kind begin, and how many there are.
    named : ndarray of bool (g, s)
        Whether each of these baths is recorded.
    mark : ndarray (g, s)
        Equal for equal sets of baths.
    told : ndarray of bool (g,)
        Whether the steps of the variant are recorded at all.
    """

    mean: np.ndarray
    pieces: np.ndarray
    start: np.ndarray
    count: np.ndarray
    named: np.ndarray
    mark: np.ndarray
    told: np.ndarray

    @property
    def repeats(self) -> np.ndarray:
        """Kind of step, a variant, whose baths tell how pots differ (g,).

        The one with the fewest baths of those with more than one; the swatches themselves where
        no step that colours was recorded; -1 where nothing repeats.
        """
        steps = self.count[:, :-1]
        many = np.where(steps > 1, steps, _MANY)
        best = many.argmin(axis=1) if steps.shape[1] else np.zeros(len(steps), int)
        swatch = np.where(self.count[:, -1] > 1, steps.shape[1], -1)
        none = ~(steps > 0).any(axis=1)
        found = np.where((steps > 1).any(axis=1), best, -1)
        return np.where(none, swatch, found)


@dataclass(frozen=True)
class Arms:
    """How often each of n comparisons is repeated, for its m arms.

    Attributes
    ----------
    pots : ndarray of int (n, m)
    kind : ndarray of int (n, m)
        Kind of step whose baths are these pots.
    assumed : ndarray of bool (n,)
        Whether baths that aren't recorded were taken for pots of their own.
    block : ndarray of int (n,)
        Kind of step whose baths pair the arms' swatches; -1 where they share none, or one.
    shares : ndarray of int (n,)
        The kinds of step shared, as bits.
    """

    pots: np.ndarray
    kind: np.ndarray
    assumed: np.ndarray
    block: np.ndarray
    shares: np.ndarray


def cells(lab: np.ndarray, variant: np.ndarray, baths: pd.Series, series: np.ndarray) -> Cells:
    """Average swatches by variant and bath.

    Parameters
    ----------
    lab : ndarray (n, 3)
        Colour of each swatch.
    variant, series : ndarray of int (n,)
    baths : Series of str (n,)
        As ``book.wide`` words them: ``scour=S1 mordant=M2 dye=``; blank where no step is known.
    """
    codes, known, told = _codes(baths, series)
    codes = np.column_stack([codes, np.arange(len(lab)) + codes.max(initial=0) + 1])
    known = np.column_stack([known, np.ones(len(lab), bool)])
    g, s = int(variant.max()) + 1, codes.shape[1]
    swatch, kind = np.nonzero(codes >= 0)
    code = codes[swatch, kind]
    order = np.lexsort([code, kind, variant[swatch]])
    swatch, kind, code = swatch[order], kind[order], code[order]
    group = variant[swatch] * s + kind
    new = np.ones(len(code), bool)
    new[1:] = (group[1:] != group[:-1]) | (code[1:] != code[:-1])
    cell = np.cumsum(new) - 1
    pieces = np.bincount(cell)
    mean = np.stack([np.bincount(cell, lab[swatch, i]) for i in range(3)], axis=1)
    count = np.bincount(group[new], minlength=g * s)
    marks = np.random.default_rng(0).integers(1, 2**62, int(codes.max()) + 1)
    mark = np.zeros(g * s, np.int64)
    np.add.at(mark, group[new], marks[code[new]])
    unknown = np.bincount(group, ~known[swatch, kind], minlength=g * s)
    shape = (g, s)
    return Cells(
        mean=mean / pieces[:, None],
        pieces=pieces,
        start=(np.cumsum(count) - count).reshape(shape),
        count=count.reshape(shape),
        named=(unknown == 0).reshape(shape),
        mark=mark.reshape(shape),
        told=np.bincount(variant, ~told, minlength=g) == 0,
    )


def _codes(baths: pd.Series, series: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Number of each swatch's bath, a column a kind of step: -1 without that step.

    An unrecorded bath gets a number of its own and False in the second table. The third says
    whether any step is known.
    """
    told = baths.to_numpy() != ""
    unique, first = np.unique(baths.to_numpy(str), return_inverse=True)
    parsed = [_steps(text) for text in unique]
    kinds = sorted({kind for steps in parsed for kind in steps})
    codes = np.full((len(baths), len(kinds)), -1)
    known = np.ones((len(baths), len(kinds)), bool)
    most = 0
    for at, kind in enumerate(kinds):
        names = np.array([steps.get(kind, "-") for steps in parsed], object)[first]
        has = names != "-"
        known[:, at] = ~has | (names != "")
        own = np.where(names == "", np.arange(len(baths)), -1)
        keys = pd.MultiIndex.from_arrays([series, names, own])
        codes[has, at] = pd.factorize(keys[has])[0] + most
        most = int(codes.max(initial=-1)) + 1
    return codes, known, told


def colouring(baths: str) -> list[str]:
    """Split the baths of a swatch into steps, ``mordant=M2``, without scour and rinse.

    Examples
    --------
    >>> from dyelab import compare
    >>> compare.colouring("scour=S1 mordant=M2 dye=D1 rinse=R1")
    ['mordant=M2', 'dye=D1']
    """
    return [part for part in baths.split() if part.partition("=")[0] not in NO_COLOUR]


def _steps(text: str) -> dict[str, str]:
    """Bath by step, such as ``{"mordant": "M2", "modifier": "X1", "modifier 2": ""}``."""
    found: dict[str, str] = {}
    for part in colouring(text):
        kind, _, bath = part.partition("=")
        again = sum(name.split()[0] == kind for name in found)
        found[f"{kind} {again + 1}" if again else kind] = bath
    return found


def arms(found: Cells, rows: np.ndarray) -> Arms:
    """Count the pots behind each comparison of the variants in `rows` (n, m)."""
    steps = found.count.shape[1] - 1
    count, mark = found.count[rows], found.mark[rows]
    named = found.named[rows]
    there = count[:, :, :steps] > 0
    alike = (mark == mark[:, :1]).all(axis=1)[:, :steps] & named.all(axis=1)[:, :steps]
    shared = alike & there.all(axis=1) & (rows.shape[1] > 1)  # one alone shares with nobody
    own = there & ~shared[:, None, :]
    many = np.where(own, count[:, :, :steps], _MANY)
    many = np.concatenate([many, count[:, :, steps:]], axis=2)
    kind = many.argmin(axis=2)
    assumed = (own & ~named[:, :, :steps]).any(axis=(1, 2)) | ~found.told[rows].all(axis=1)
    blocks = np.where(shared, count[:, 0, :steps], 0)
    block = blocks.argmax(axis=1) if steps else np.zeros(len(rows), int)
    paired = blocks.max(axis=1, initial=0) > 1
    return Arms(
        pots=many.min(axis=2),
        kind=kind,
        assumed=assumed,
        block=np.where(paired, block, -1),
        shares=shared @ (1 << np.arange(steps)),
    )


def scatter(found: Cells) -> tuple[np.ndarray, np.ndarray]:
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


def left_by_pairing(
    found: Cells, rows: np.ndarray, pots: Arms, weights: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Scatter of the weighted sum of arms paired in a bath, and of the arms apart: traces (n,).

    Zero where the arms share no baths that repeat.
    """
    paired, apart = np.zeros(len(rows)), np.zeros(len(rows))
    use = np.flatnonzero(pots.block >= 0)
    if not len(use):
        return paired, apart
    kind = pots.block[use]
    many = found.count[rows[use, 0], kind]
    owner = np.repeat(np.arange(len(use)), many)
    step = np.arange(len(owner)) - np.repeat(np.cumsum(many) - many, many)
    ends = [
        weight * found.mean[found.start[rows[use, i], kind][owner] + step]
        for i, weight in enumerate(weights)
    ]
    paired[use] = _scattered(sum(ends), owner, many)
    apart[use] = sum(_scattered(end, owner, many) for end in ends)
    return paired, apart


def _scattered(values: np.ndarray, owner: np.ndarray, many: np.ndarray) -> np.ndarray:
    """Trace of the sum of squares about each owner's mean."""
    mean = np.stack([np.bincount(owner, values[:, i]) for i in range(3)], axis=1) / many[:, None]
    return np.bincount(owner, ((values - mean[owner]) ** 2).sum(axis=1))


# Added to K/S, so that the noise of reading near-white cloth doesn't outweigh everything. Set by
# tests/benchmarks/scatter_measure.py, which takes what makes recipes' scatter most alike.
FLOOR = 0.005
# How unlike the recipes of one series are before anything is known: degrees of freedom that the
# series lends to a recipe, and how sure that is (standard deviation of the logarithm). By trial in
# tests/benchmarks/pots_truth.py: where recipes' scatter differs by a factor of four, ΔE00 of the
# worst held in 85 of a hundred with 6 and 0.8, in 91 with these; less lent costs power.
_LENT, _SURE = 2.0, 0.35
# Degrees of freedom looked through, from less than one swatch's to as good as alike;
# tests/benchmarks/scatter_measure.py shows what a finer, wider grid would find.
GRID = np.geomspace(0.7, 120, 26)
# Reflectances between which a colour is put before K/S is taken: beyond the whitest and the
# deepest cloth, where K/S would magnify the noise of reading.
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
    by_band = (band**2 - 1) / (2 * band**2) / (ks + FLOOR)
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
    alike = likeness(own, df, series, total, freedom)[series]
    pooled = rest / np.maximum(others, 1e-9)[:, None, None]
    worth = np.where(others > 0, 1 / (1 / alike + 1 / np.maximum(others, 1e-9)), 0.0)
    return pooled, worth, others


def likeness(
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
    chance = np.zeros((count, len(GRID)))
    for i, lent in enumerate(GRID):
        np.add.at(chance[:, i], series[use], _log_f(seen, df[use, None], lent))
    return GRID[(chance - 0.5 * (np.log(GRID / _LENT) / _SURE) ** 2).argmax(axis=1)]


def _log_f(ratio: np.ndarray, df: np.ndarray, lent: float) -> np.ndarray:
    """Log density of F ratios with `df` and `lent` degrees of freedom, summed over the axes."""
    half, other = df / 2, lent / 2
    ratio = np.maximum(ratio, 1e-6)
    log = half * np.log(df / lent) + (half - 1) * np.log(ratio)
    log = log - (half + other) * np.log1p(df * ratio / lent) - special.betaln(half, other)
    return log.sum(axis=1)
