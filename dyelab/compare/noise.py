"""The noise of a pair: what replicates show, what readings state, what photos share."""

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from dyelab.compare.formulas import MINUS, distance_gradient, metric, own_axes
from dyelab.compare.interval import Noise, even_out
from dyelab.compare.pots import Arms, arms, pairing_scatter
from dyelab.compare.variants import Variants, block_covariances
from dyelab.numerics import semidefinite

# The approximation of a length's distribution runs up to 7 % over its size where the noise is
# drawn out; this much more variance near zero pays for that (tests/benchmarks/coverage.py, the
# column of false "real").
_MARGIN = 1.03
_STILL = 1e-6  # a difference without a direction, in units of its formula
REPLICATES, STATED, NOTHING = "replicates", "stated uncertainties", "nothing"


# Directions that the noise of one recipe fills, at most: an error of dose moves a colour along a
# line, and pooling many recipes' lines only looks round. In tests/benchmarks/pots_truth.py, with
# 3, equal cloths were called real in 15 books of a hundred; with this, in 5.
_LINES = 1.4
# Pairs worth of doubt with which a series tells how much pairing within baths takes off; set by
# tests/benchmarks/pots_truth.py, where one lucky pair would otherwise shorten its own interval.
_UNPAIRED = 2.0


@dataclass(frozen=True)
class Joint:
    """Covariance of a pair's two means, reference first: all (n, 6, 6) but the (n,) others.

    `estimated` rests on `df` degrees of freedom as a whole, on `df_along` along one direction,
    `known` on statement; `basis` says which of the two the intervals rest on. `pots` is the fewer
    of the two arms' pots, `assumed` whether baths that aren't recorded were taken for pots of
    their own.
    """

    estimated: np.ndarray
    known: np.ndarray
    df: np.ndarray
    df_along: np.ndarray
    basis: np.ndarray
    pots: np.ndarray
    assumed: np.ndarray

    @property
    def total(self) -> np.ndarray:
        return self.estimated + self.known

    @property
    def share_of_pots(self) -> np.ndarray:
        """Share of the difference's variance that the scatter of pots makes (n,); 0 of none."""
        own, whole = (
            np.einsum("ki,nij,kj->n", MINUS, one, MINUS) for one in (self.estimated, self.total)
        )
        return np.divide(own, whole, out=np.zeros_like(own), where=whole > 0)


def joint(variants: Variants, reference: np.ndarray, sample: np.ndarray) -> Joint:
    """Covariance of the means `reference[i]` and `sample[i]` (row numbers of `variants`)."""
    rows = np.stack([reference, sample], axis=1)
    pots = arms(variants.cells, rows)
    parts, df = between_pots(variants, rows, pots)
    parts = parts * share_left(variants, rows, pots, np.array([-1.0, 1.0]))[:, None, None, None]
    shared = block_covariances(_pair_loadings(variants.loadings, reference, sample), size=6)
    explained = shared_part(variants, rows)
    double = _blocks(*(explained / variants.pieces[end][:, None, None] for end in rows.T))
    stated = _blocks(variants.stated[reference], variants.stated[sample])
    replicated = df[:, :1, None] > 0
    known = np.where(replicated, semidefinite(shared - double), stated + shared)
    estimated = np.where(replicated, _blocks(parts[:, 0], parts[:, 1]), 0.0)
    least = pots.pots.min(axis=1)
    whole, along = df.T
    return Joint(estimated, known, whole, along, basis_of(whole, stated), least, pots.assumed)


def basis_of(df: np.ndarray, stated: np.ndarray) -> np.ndarray:
    """What each interval rests on: replicates, stated uncertainties, or nothing."""
    known = np.isfinite(stated).all(axis=(1, 2))
    return np.where(df > 0, REPLICATES, np.where(known, STATED, NOTHING))


def between_pots(variants: Variants, rows: np.ndarray, pots: Arms) -> tuple[np.ndarray, np.ndarray]:
    """Covariance of the means of the variants in `rows` (n, m) over their pots: (n, m, 3, 3).

    Returns
    -------
    covariances : ndarray (n, m, 3, 3)
    df : ndarray (n, 2)
        Degrees of freedom behind their sum, as a whole and along one direction; 0 where a variant
        neither repeats nor can borrow. As a whole by Welch (1947) and Satterthwaite (1946), but
        of what is lent to the variants half is the same for all. Along one direction by Cochran
        (1964), for whom a second arm adds none: both err where the shape they borrow isn't
        theirs.
    """
    found = [variants.pot_scatter.of(rows[:, i], pots.kind[:, i]) for i in range(rows.shape[1])]
    sizes = np.stack([np.trace(one[0], axis1=1, axis2=2) for one in found], axis=1)
    free = np.stack([one[1] for one in found], axis=1)
    own = sum(variants.pot_scatter.free[rows[:, i], pots.kind[:, i]] for i in range(rows.shape[1]))
    with np.errstate(divide="ignore", invalid="ignore"):
        share = sizes / sizes.sum(axis=1, keepdims=True)
        welch = 1 / (share**2 / free).sum(axis=1)
        whole = np.minimum(welch, own + variants.pot_scatter.weight[rows].min(axis=1) / 2)
        df = np.stack([whole, 1 / (share / free).sum(axis=1)], axis=1)
    df = np.where((free > 0).all(axis=1, keepdims=True), df, 0.0)
    return np.stack([one[0] for one in found], axis=1), np.nan_to_num(df)


def share_left(variants: Variants, rows: np.ndarray, pots: Arms, weights: np.ndarray) -> np.ndarray:
    """Share of the pots' variance that is left when arms are paired within shared baths.

    Told by all sums of a series whose arms share the same kinds of step: the scatter of the
    weighted sums, bath by bath, over the scatter of the arms apart.
    """
    paired, apart = pairing_scatter(variants.cells, rows, pots, weights)
    use = apart > 0
    if not use.any():
        return np.ones(len(rows))
    kinds = np.stack([variants.series[rows[:, 0]], pots.shares])
    alike = np.unique(kinds, axis=1, return_inverse=True)[1].ravel()
    many = int(alike.max()) + 1
    # each pair counts alike, however large its colours' scatter
    size = np.bincount(alike, use, many)
    ratio = np.divide(paired, apart, out=np.ones(len(rows)), where=use)
    share = (np.bincount(alike, np.where(use, ratio, 0.0), many) + _UNPAIRED) / (size + _UNPAIRED)
    return np.where(use, share[alike], 1.0)


def shared_part(variants: Variants, rows: np.ndarray) -> np.ndarray:
    """The part of one piece's variance that shared factors explain, pooled by series: (n, 3, 3)."""
    if not variants.loadings.nnz:
        return np.zeros((len(rows), 3, 3))
    free = variants.pieces - 1
    count = int(variants.series.max(initial=0)) + 1
    total, df = np.zeros((count, 3, 3)), np.bincount(variants.series, free, minlength=count)
    np.add.at(total, variants.series, variants.shared_scatter)
    first = variants.series[rows[:, 0]]
    near = df[first] > 0
    wider = np.where(near[:, None, None], total[first], total.sum(axis=0))
    return wider / np.maximum(np.where(near, df[first], free.sum()), 1)[:, None, None]


def _pair_loadings(
    loadings: sparse.csr_array, reference: np.ndarray, sample: np.ndarray
) -> sparse.csr_array:
    both = np.stack([reference, sample], axis=1)
    rows = 3 * both[:, :, None] + np.arange(3)
    return sparse.csr_array(loadings[rows.ravel()])


def _blocks(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    result = np.zeros((len(first), 6, 6))
    result[:, :3, :3], result[:, 3:, 3:] = first, second
    return result


def variance_along(gradient: np.ndarray, pair: Joint) -> tuple[np.ndarray, np.ndarray]:
    """Variance of a quantity with this gradient (n, 6), and its degrees of freedom.

    Welch and Satterthwaite: known variance lends its certainty to the estimated one.
    """
    estimated = np.einsum("ni,nij,nj->n", gradient, pair.estimated, gradient)
    total = np.maximum(np.einsum("ni,nij,nj->n", gradient, pair.total, gradient), 0)
    return total, _satterthwaite(total, estimated, pair)


def _satterthwaite(total: np.ndarray, estimated: np.ndarray, pair: Joint) -> np.ndarray:
    with np.errstate(divide="ignore", invalid="ignore"):
        df = pair.df_along * (total / estimated) ** 2
    return np.where(estimated > 0, df, np.inf)


def of_formula(formula, reference: np.ndarray, sample: np.ndarray, pair: Joint) -> Noise:
    """Noise of a difference formula between two measured means (n, 3)."""
    shape = metric(formula, (reference + sample) / 2)
    estimated, total = (MINUS @ one @ MINUS.T for one in (pair.estimated, pair.total))
    trace, square, df_near = of_length(shape @ estimated, shape @ total, pair.df)
    variance, df_far = variance_along(_gradient(formula, shape, reference, sample), pair)
    still = (formula(reference, sample) < _STILL) & (trace > 0)
    variance = np.divide(square, trace, out=variance, where=still)
    axes = own_axes(shape, total, sample - reference, formula(reference, sample))
    return Noise(np.minimum(variance, trace), trace, square, df_far, df_near, *axes)


def of_length(
    estimated: np.ndarray, total: np.ndarray, df: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return tr Σ and tr Σ² of a difference's noise, and the degrees of freedom behind tr Σ.

    `estimated` is the part of the covariance `total` (n, 3, 3) that rests on `df` degrees.
    """
    trace, own = np.trace(total, axis1=1, axis2=2), _product(estimated, estimated)
    own_trace = np.trace(estimated, axis1=1, axis2=2)
    even, free = even_out(own_trace, own, df)
    even = np.maximum(even, own_trace**2 / _LINES)
    square = np.clip(_product(total, total) - own + even, trace**2 / 3, trace**2)
    trace, square = _MARGIN * trace, _MARGIN**2 * square
    with np.errstate(divide="ignore", invalid="ignore"):
        df_near = np.where(own > 0, free * (trace / (_MARGIN * own_trace)) ** 2, np.inf)
    return trace, square, df_near


def _product(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    return np.einsum("nij,nji->n", one, other)


def _gradient(formula, shape: np.ndarray, reference: np.ndarray, sample: np.ndarray) -> np.ndarray:
    """Gradient to both colours; where they almost meet, along the measured difference."""
    move = sample - reference
    size = np.sqrt(np.maximum(np.einsum("ni,nij,nj->n", move, shape, move), 1e-18))
    near = np.einsum("nij,nj->ni", shape, move) / size[:, None]
    far = distance_gradient(formula, reference, sample)
    return np.where((size < 0.1)[:, None], near @ MINUS, far)
