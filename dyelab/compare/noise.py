"""The noise of a pair: what replicates show, what readings state, what photos share."""

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from dyelab.compare.formulas import distance_gradient, metric
from dyelab.compare.interval import Noise, evened
from dyelab.compare.variants import Variants, inner, semidefinite

# The approximation of a length's distribution runs up to 7 % over its size where the noise is
# drawn out; this much more variance near zero pays for that.
_MARGIN = 1.03
OWN_ENOUGH = 8  # degrees of freedom at which a pair's own replicates speak for themselves
REPLICATES, STATED, NOTHING = "replicates", "stated uncertainties", "nothing"


@dataclass(frozen=True)
class Joint:
    """Covariance of a pair's two means, reference first: all (n, 6, 6) but `df` and `basis`.

    `estimated` rests on `df` degrees of freedom (n,), `known` on statement. `basis` says which
    of the two the intervals rest on.
    """

    estimated: np.ndarray
    known: np.ndarray
    df: np.ndarray
    basis: np.ndarray

    @property
    def total(self) -> np.ndarray:
        return self.estimated + self.known


def joint(variants: Variants, reference: np.ndarray, sample: np.ndarray) -> Joint:
    """Covariance of the means `reference[i]` and `sample[i]` (row numbers of `variants`)."""
    spread, explained, df = pooled(variants, np.stack([reference, sample], axis=1))
    shared = inner(_pair_loadings(variants.loadings, reference, sample), size=6)
    parts = 1 / variants.pieces[reference], 1 / variants.pieces[sample]
    estimated = _blocks(spread * parts[0][:, None, None], spread * parts[1][:, None, None])
    double = _blocks(explained * parts[0][:, None, None], explained * parts[1][:, None, None])
    stated = _blocks(variants.stated[reference], variants.stated[sample])
    replicated = df > 0
    known = np.where(replicated[:, None, None], semidefinite(shared - double), stated + shared)
    basis = np.where(
        replicated,
        REPLICATES,
        np.where(np.isfinite(stated).all(axis=(1, 2)), STATED, NOTHING),
    )
    return Joint(np.where(replicated[:, None, None], estimated, 0.0), known, df, basis)


def pooled(variants: Variants, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Variance of one piece about its variant, the part shared factors explain, and its df.

    Parameters
    ----------
    variants : Variants
    rows : ndarray of int (n, m)
        The variants that each of n comparisons involves.

    Returns
    -------
    spread, explained : ndarray (n, 3, 3)
    df : ndarray (n,)
        From the variants themselves where they have enough replicates, else from the series of
        the first, else from all.
    """
    free = variants.pieces - 1
    first = variants.series[rows[:, 0]]
    count = int(variants.series.max(initial=0)) + 1
    series_df = np.bincount(variants.series, free, minlength=count)
    own = free[rows].sum(axis=1) >= OWN_ENOUGH
    near = series_df[first] > 0
    df = np.where(own, free[rows].sum(axis=1), np.where(near, series_df[first], free.sum()))
    spreads = []
    for scatter in (variants.scatter, variants.shared_scatter):
        by_series = np.zeros((count, 3, 3))
        np.add.at(by_series, variants.series, scatter)
        wider = np.where(near[:, None, None], by_series[first], scatter.sum(axis=0))
        total = np.where(own[:, None, None], scatter[rows].sum(axis=1), wider)
        spreads.append(total / np.maximum(df, 1)[:, None, None])
    return spreads[0], spreads[1], df.astype(float)


def _pair_loadings(
    loadings: sparse.csr_array, reference: np.ndarray, sample: np.ndarray
) -> sparse.csr_array:
    axes = np.arange(3)
    rows = np.concatenate(
        [3 * reference[:, None] + axes, 3 * sample[:, None] + axes], axis=1
    ).ravel()
    return sparse.csr_array(loadings[rows])


def _blocks(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    result = np.zeros((len(first), 6, 6))
    result[:, :3, :3], result[:, 3:, 3:] = first, second
    return result


_MINUS = np.hstack([-np.eye(3), np.eye(3)])


def along(gradient: np.ndarray, pair: Joint) -> tuple[np.ndarray, np.ndarray]:
    """Variance of a quantity with this gradient (n, 6), and its degrees of freedom.

    Welch and Satterthwaite: known variance lends its certainty to the estimated one.
    """
    estimated = np.einsum("ni,nij,nj->n", gradient, pair.estimated, gradient)
    total = np.einsum("ni,nij,nj->n", gradient, pair.total, gradient)
    return total, _satterthwaite(total, estimated, pair)


def _satterthwaite(total: np.ndarray, estimated: np.ndarray, pair: Joint) -> np.ndarray:
    with np.errstate(divide="ignore", invalid="ignore"):
        df = pair.df * (total / estimated) ** 2
    return np.where(estimated > 0, df, np.inf)


def of_formula(formula, reference: np.ndarray, sample: np.ndarray, pair: Joint) -> Noise:
    """Noise of a difference formula between two measured means (n, 3)."""
    shape = metric(formula, reference, sample)
    estimated = shape @ (_MINUS @ pair.estimated @ _MINUS.T)
    total = shape @ (_MINUS @ pair.total @ _MINUS.T)
    trace, square, df_near = of_length(estimated, total, pair.df)
    variance, df_far = along(_gradient(formula, shape, reference, sample), pair)
    axes = own_axes(shape, pair, sample - reference, formula(reference, sample))
    return Noise(np.minimum(variance, trace), trace, square, df_far, df_near, *axes)


def of_length(
    estimated: np.ndarray, total: np.ndarray, df: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return tr Σ and tr Σ² of a difference's noise, and the degrees of freedom behind tr Σ.

    `estimated` is the part of the covariance `total` (n, 3, 3) that rests on `df` degrees.
    """
    trace, own = np.trace(total, axis1=1, axis2=2), _product(estimated, estimated)
    even, free = evened(np.trace(estimated, axis1=1, axis2=2), own, df)
    square = np.clip(_product(total, total) - own + even, trace**2 / 3, trace**2)
    trace, square = _MARGIN * trace, _MARGIN**2 * square
    own_trace = np.trace(estimated, axis1=1, axis2=2)
    with np.errstate(divide="ignore", invalid="ignore"):
        df_near = np.where(own > 0, free * (trace / (_MARGIN * own_trace)) ** 2, np.inf)
    return trace, square, df_near


def own_axes(
    shape: np.ndarray, pair: Joint, move: np.ndarray, distance: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Variances along the noise's own axes in the formula's space, and the move along them.

    The move is scaled to the formula's own distance, since M holds for small moves.
    """
    values, vectors = np.linalg.eigh(shape)
    root = (vectors * np.sqrt(np.maximum(values, 0))[:, None, :]) @ np.swapaxes(vectors, 1, 2)
    spread = np.nan_to_num(root @ (_MINUS @ pair.total @ _MINUS.T) @ root)
    powers, axes = np.linalg.eigh(spread)
    parts = np.einsum("nji,nj->ni", axes, np.einsum("nij,nj->ni", root, move))
    size = np.linalg.norm(parts, axis=1)
    scale = np.where(size > 1e-12, distance / np.where(size > 1e-12, size, 1), 0.0)
    floor = 1e-6 * np.maximum(powers.sum(axis=1), 1e-30)[:, None]
    return np.maximum(powers, floor), parts * scale[:, None]


def _product(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    return np.einsum("nij,nji->n", one, other)


def _gradient(formula, shape: np.ndarray, reference: np.ndarray, sample: np.ndarray) -> np.ndarray:
    """Gradient to both colours; where they almost meet, along the measured difference."""
    move = sample - reference
    size = np.sqrt(np.maximum(np.einsum("ni,nij,nj->n", move, shape, move), 1e-18))
    near = np.einsum("nij,nj->ni", shape, move) / size[:, None]
    far = distance_gradient(formula, reference, sample)
    return np.where((size < 0.1)[:, None], near @ _MINUS, far)
