"""From readings to one mean a variant, with what is known of its noise.

A variant is one recipe; its pieces are the swatches dyed to it; a piece may be read more than
once, and pieces may have lain in one bath: then they are one replicate. Pots of one variant
scatter: that is the variance of a pot, with the independent part of the measurement already in
it; `dyelab.compare.pots` says how recipes lend each other theirs. What readings share, such as
one photo's calibration, is carried as loadings, so that a difference of two readings of one photo
doesn't count it twice.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import sparse

from dyelab import table
from dyelab.compare.pots import BathMeans, bath_means
from dyelab.compare.scatter import PotScatter, pot_scatter
from dyelab.errors import InputError
from dyelab.numerics import semidefinite


@dataclass(frozen=True)
class Variants:
    """Means of g variants and their noise.

    Attributes
    ----------
    names : ndarray of str (g,)
    mean : ndarray (g, 3)
        L*, a*, b*.
    pieces : ndarray of int (g,)
        Swatches behind each mean.
    scatter : ndarray (g, 3, 3)
        Sum of squares and products of the pieces about their mean.
    series : ndarray (g,)
        Whole number: variants of one series share their swatch-to-swatch variance.
    stated : ndarray (g, 3, 3)
        Covariance of the mean by the readings' own statement, without what is shared; NaN where
        nothing is stated.
    loadings : sparse array (3 g, q)
        How far each of q shared factors moves L*, a*, b* of the mean.
    shared_scatter : ndarray (g, 3, 3)
        The part of `scatter` that the shared factors explain.
    cells : BathMeans
        The same swatches bath by bath.
    pot_scatter : PotScatter
        Variance of a pot about each variant.
    """

    names: np.ndarray
    mean: np.ndarray
    pieces: np.ndarray
    scatter: np.ndarray
    series: np.ndarray
    stated: np.ndarray
    loadings: sparse.csr_array
    shared_scatter: np.ndarray
    cells: BathMeans
    pot_scatter: PotScatter


def gather(
    frame: pd.DataFrame,
    *,
    by: str = "sample",
    piece: str | None = None,
    shared: pd.DataFrame | None = None,
    series: str | None = None,
    baths: str = "baths",
    dyed: str | None = None,
) -> Variants:
    """Average readings to pieces, and pieces to variants.

    Parameters
    ----------
    frame : DataFrame
        One row a reading: `L, a, b`, the column `by`, and if known `table.COVARIANCE` or
        `u_L, u_a, u_b`.
    by : str
        Column that names the variant.
    piece : str, optional
        Column that names the swatch; each row is a swatch of its own without it.
    shared : DataFrame, optional
        `table.SHARED` rows: what readings of one source share. Needs a column `reading`.
    series : str, optional
        Column whose values pool their swatch-to-swatch variance; all rows pool without it.

    baths : str
        Column that names the bath of each step, as ``book.wide`` gives it. Without it every
        piece is taken for a pot of its own, and the verdicts say so.
    dyed : str, optional
        Column that names the dyed cloth where a variant is one state of it, such as before and
        after a test: readings of photos that go together share what the camera gets wrong of it.

    Returns
    -------
    Variants
        In order of first appearance.

    Raises
    ------
    InputError
        If columns are missing or there are no rows.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import compare
    >>> names, L = ["plain", "plain", "iron", "iron"], [50, 51, 40, 41]
    >>> cloths = pd.DataFrame({"sample": names, "L": L})
    >>> cloths = cloths.assign(a=20.0, b=10.0, illuminant="D65", observer=10)
    >>> compare.gather(cloths).mean.round(2).tolist()
    [[50.5, 20.0, 10.0], [40.5, 20.0, 10.0]]
    """
    wanted = [by, *table.LAB] + [name for name in (piece, series) if name]
    table.need(frame, wanted, "compare")
    if frame.empty:
        raise InputError("compare: the table has no rows. Give at least two samples.")
    variant, names = pd.factorize(frame[by])
    own = pd.Series(np.arange(len(frame))) if piece is None else frame[piece].reset_index(drop=True)
    swatch, _ = pd.factorize(pd.MultiIndex.from_arrays([variant, own]))
    to_piece = _average_by(swatch)
    first = np.unique(swatch, return_index=True)[1]
    to_variant = _average_by(variant[first])
    lab = to_piece @ frame[table.LAB].to_numpy(float)
    cloth = None if dyed is None else pd.factorize(frame[dyed])[0]
    shares, blocks = _loadings(frame, shared, variant, cloth)
    stated = _state(frame, blocks, to_variant @ to_piece)
    kinds = np.zeros(len(frame), int) if series is None else pd.factorize(frame[series])[0]
    mean, group = to_variant @ lab, kinds[np.unique(variant, return_index=True)[1]]
    named = frame[baths].fillna("") if baths in frame else pd.Series("", frame.index)
    found = bath_means(lab, variant[first], named.iloc[first].reset_index(drop=True), kinds[first])
    return Variants(
        names=np.asarray(names, object),
        mean=mean,
        pieces=np.bincount(variant[first]),
        scatter=_scatter(lab, variant[first], to_variant),
        series=group,
        stated=stated,
        loadings=_spread(to_variant @ to_piece) @ shares,
        shared_scatter=_shared_scatter(_spread(to_piece) @ shares, variant[first], to_variant),
        cells=found,
        pot_scatter=pot_scatter(found, mean, group),
    )


def _average_by(labels: np.ndarray) -> sparse.csr_array:
    """Matrix that averages rows with the same label 0, 1, 2, …"""
    counts = np.bincount(labels)
    rows = np.arange(len(labels))
    return sparse.csr_array((1 / counts[labels], (labels, rows)), (len(counts), len(labels)))


def _spread(matrix: sparse.csr_array) -> sparse.csr_array:
    """The same averaging for rows that hold L*, a*, b* of one reading after another."""
    return sparse.csr_array(sparse.kron(matrix, sparse.eye_array(3), format="csr"))


def _scatter(lab: np.ndarray, variant: np.ndarray, mean: sparse.csr_array) -> np.ndarray:
    rest = lab - (mean @ lab)[variant]
    products = (rest[:, :, None] * rest[:, None, :]).reshape(-1, 9)
    counts = np.bincount(variant)
    return ((mean @ products) * counts[:, None]).reshape(-1, 3, 3)


def _loadings(
    frame: pd.DataFrame,
    shared: pd.DataFrame | None,
    variant: np.ndarray,
    cloth: np.ndarray | None = None,
) -> tuple[sparse.csr_array, np.ndarray]:
    """Loadings of each reading as a (3 n, q) matrix, and their own covariance (n, 3, 3).

    Replicates of one variant have the same dyed spectrum, so what the camera gets wrong about it
    is the same for all of them: averaging doesn't make it smaller, and scatter doesn't show it.
    """
    n = len(frame)
    blocks = np.zeros((n, 3, 3))
    if shared is None or shared.empty or "reading" not in frame:
        return sparse.csr_array((3 * n, 1)), blocks
    place = pd.Series(np.arange(n), index=frame["reading"].to_numpy())
    rows = shared[shared["reading"].isin(place.index)]
    at = place.loc[rows["reading"]].to_numpy()
    of_recipe = rows.get("scope", pd.Series("", rows.index)).to_numpy() == "recipe"
    recipe = np.where(of_recipe, variant[at], -1)
    source = rows["source"].where(~of_recipe, "")  # another photo by that camera errs the same way
    if cloth is not None and "source" in frame:
        own = frame["source"].to_numpy()[at]
        several = set(rows["source"][rows["source"].to_numpy() != own])  # sources of more photos
        linked = of_recipe & rows["source"].isin(several).to_numpy()
        recipe = np.where(linked, cloth[at], recipe)
        source = source.where(~linked, rows["source"])
    keys = pd.MultiIndex.from_arrays([source, rows["factor"], recipe])
    factor = pd.factorize(keys)[0] if len(keys) else np.empty(0, int)  # pandas 2 refuses none
    values = rows[table.LAB].to_numpy(float)
    np.add.at(blocks, at, values[:, :, None] * values[:, None, :])
    where = (3 * at[:, None] + np.arange(3)).ravel()
    shape = (3 * n, int(factor.max(initial=0)) + 1)
    return sparse.csr_array((values.ravel(), (where, np.repeat(factor, 3))), shape), blocks


def _state(frame: pd.DataFrame, blocks: np.ndarray, mean: sparse.csr_array) -> np.ndarray:
    """Covariance of each mean by the readings' own statement, less what they share."""
    own = semidefinite(table.covariances(frame) - blocks)
    weights = mean.power(2)
    return (weights @ own.reshape(-1, 9)).reshape(-1, 3, 3)


def _shared_scatter(
    shares: sparse.csr_array, variant: np.ndarray, mean: sparse.csr_array
) -> np.ndarray:
    if shares.nnz == 0:
        return np.zeros((mean.shape[0], 3, 3))
    rest = shares - _spread(sparse.csr_array(mean[variant])) @ shares
    products = block_covariances(sparse.csr_array(rest)).reshape(-1, 9)
    return ((mean @ products) * np.bincount(variant)[:, None]).reshape(-1, 3, 3)


def block_covariances(loadings: sparse.csr_array, size: int = 3) -> np.ndarray:
    """Covariance of each block of `size` rows: (n, size, size) from (size n, q)."""
    parts = [sparse.csr_array(loadings[i::size]) for i in range(size)]
    result = np.empty((parts[0].shape[0], size, size))
    for i in range(size):
        for j in range(i + 1):
            result[:, i, j] = result[:, j, i] = parts[i].multiply(parts[j]).sum(axis=1)
    return result
