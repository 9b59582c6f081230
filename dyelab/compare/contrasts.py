"""Sums and differences of several variants' colours, such as a difference of differences."""

import numpy as np
import pandas as pd
from scipy import special

from dyelab.compare import noise
from dyelab.compare.directions import direction
from dyelab.compare.interval import Noise, chance_if_equal, distance_interval, noise_floor
from dyelab.compare.pots import Arms, arms
from dyelab.compare.variants import Variants, inner
from dyelab.compare.verdicts import verdict_of
from dyelab.numerics import semidefinite


def contrast(
    variants: Variants,
    rows: np.ndarray,
    weights: np.ndarray,
    start: np.ndarray,
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Weighted sums of the variants' L*, a*, b* with intervals.

    Parameters
    ----------
    variants : Variants
    rows : ndarray of int (n, m)
        Row numbers of m variants for each of n sums.
    weights : ndarray (m,)
        Summing to zero for a comparison.
    start : ndarray (n, 3)
        Colours from which the way is said in words.
    confidence : float

    Returns
    -------
    DataFrame
        `dL, da, db` and the length `distance` (ΔE*ab), each with `_low`, `_high`;
        `noise_floor`, `chance_if_equal`, `pots`, `basis`, `verdict`, `caveat`, `moved`.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import book, compare, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> rows, start = np.array([[0, 1]]), recipes.variants.mean[[0]]
    >>> found = compare.contrast(recipes.variants, rows, np.array([-1.0, 1.0]), start)
    >>> found[["distance", "verdict"]].round(1)
       distance verdict
    0      30.2    real
    """
    vector = np.einsum("m,nmi->ni", weights, variants.mean[rows])
    pots = arms(variants.cells, rows)
    estimated, known, df, basis = _covariance(variants, rows, weights, pots)
    total = estimated + known
    variance = np.diagonal(total, axis1=1, axis2=2)
    with np.errstate(divide="ignore", invalid="ignore"):
        own = np.diagonal(estimated, axis1=1, axis2=2)
        free = np.where(own > 0, df[:, None] * (variance / own) ** 2, np.inf)
    reach = special.stdtrit(np.minimum(free, 1e6), (1 + confidence) / 2) * np.sqrt(variance)
    result = pd.DataFrame()
    for i, name in enumerate(("dL", "da", "db")):
        result[name] = vector[:, i]
        result[f"{name}_low"], result[f"{name}_high"] = (
            vector[:, i] - reach[:, i],
            vector[:, i] + reach[:, i],
        )
    spread = _length_noise(vector, estimated, total, df)
    result["moved"] = direction(start, start + vector)
    pieces = variants.pieces[rows].min(axis=1)
    told = result.assign(basis=basis, pieces=pieces)
    told = told.assign(pots=pots.pots.min(axis=1), assumed=pots.assumed)
    return _with_length(told, vector, spread, confidence)


def mean_covariances(variants: Variants) -> np.ndarray:
    """Covariance of each variant's mean: scatter of its pots and what its readings share.

    Where pots were repeated their scatter speaks, else what the readings state.

    Returns
    -------
    ndarray (g, 3, 3)
        NaN where neither is known.

    Examples
    --------
    >>> from dyelab import book, compare, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> compare.mean_covariances(recipes.variants).shape
    (98, 3, 3)
    """
    rows = np.arange(len(variants.mean))[:, None]
    pots = arms(variants.cells, rows)
    estimated, known, _, _ = _covariance(variants, rows, np.ones(1), pots)
    return estimated + known


def _covariance(
    variants: Variants, rows: np.ndarray, weights: np.ndarray, pots: Arms
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Estimated and known covariance of each sum, degrees of freedom, and what it rests on."""
    parts, df = noise.between_pots(variants, rows, pots)
    explained = noise.explained_by_shared(variants, rows)
    share = (weights**2 / variants.pieces[rows]).sum(axis=1)[:, None, None]
    shares = sum(
        float(weight) * variants.loadings[(3 * rows[:, [j]] + np.arange(3)).ravel()]
        for j, weight in enumerate(weights)
    )
    shared = inner(shares)
    stated = np.einsum("m,nmij->nij", weights**2, variants.stated[rows])
    replicated = (df > 0)[:, None, None]
    known = np.where(replicated, semidefinite(shared - share * explained), stated + shared)
    estimated = np.einsum("m,nmij->nij", weights**2, parts)
    estimated = estimated * noise.left(variants, rows, pots, weights)[:, None, None]
    return np.where(replicated, estimated, 0.0), known, df, noise.resting(df, stated)


def _length_noise(
    vector: np.ndarray, estimated: np.ndarray, total: np.ndarray, df: np.ndarray
) -> Noise:
    size = np.einsum("ni,ni->n", vector, vector)
    along = np.einsum("ni,nij,nj->n", vector, total, vector)
    own_along = np.einsum("ni,nij,nj->n", vector, estimated, vector)
    trace, square, near = noise.of_length(estimated, total, df)
    with np.errstate(divide="ignore", invalid="ignore"):
        far = np.where(own_along > 0, df * (along / own_along) ** 2, np.inf)
        radial = np.where(size > 0, along / size, trace)
    powers, axes = np.linalg.eigh(np.nan_to_num(total))
    floor = 1e-6 * np.maximum(powers.sum(axis=1), 1e-30)[:, None]
    parts = np.einsum("nji,nj->ni", axes, vector)
    radial = np.minimum(radial, trace)
    return Noise(radial, trace, square, far, near, np.maximum(powers, floor), parts)


def _with_length(
    result: pd.DataFrame, vector: np.ndarray, spread: Noise, confidence: float
) -> pd.DataFrame:
    distance = np.linalg.norm(vector, axis=1)
    low, high = distance_interval(distance, spread, confidence)
    chance = chance_if_equal(distance, spread)
    return result.assign(
        distance=distance,
        distance_low=low,
        distance_high=high,
        noise_floor=noise_floor(spread, confidence),
        chance_if_equal=chance,
        **verdict_of(chance, result, 1 - confidence, replicates_needed=True),
    )
