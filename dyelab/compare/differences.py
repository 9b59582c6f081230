"""Differences between variants, each with its interval, noise floor, verdict and words.

`contrast` is the same for sums of several variants' colours, such as a difference of differences.
"""

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd
from scipy import special

from dyelab import convert, table
from dyelab.compare import noise, verdicts
from dyelab.compare.directions import direction
from dyelab.compare.formulas import FORMULAS, PARTS, own_axes, part_gradients
from dyelab.compare.interval import Noise, chance_if_equal, distance_interval, noise_floor
from dyelab.compare.pots import Arms, arms
from dyelab.compare.variants import Variants, block_covariances, gather
from dyelab.compare.verdicts import verdict_of
from dyelab.errors import InputError, choose
from dyelab.numerics import semidefinite

__all__ = ["pairs", "to_reference", "widest_pair"]


def to_reference(
    frame: pd.DataFrame,
    reference: str,
    *,
    shared: pd.DataFrame | None = None,
    by: str = "sample",
    piece: str | None = None,
    series: str | None = None,
    formula: str = "dE00",
    confidence: float = 0.95,
    replicates_needed: bool = False,
) -> pd.DataFrame:
    """Compare every variant with one named reference.

    Parameters
    ----------
    frame : DataFrame
        One row a reading: `L, a, b, illuminant, observer`, the column `by`, and if known the
        covariances (`table.COVARIANCE`, or `u_L, u_a, u_b`).
    reference : str
        A value of `by`.
    shared : DataFrame, optional
        `table.SHARED` rows of these readings: errors that readings of one photo share.
    by, piece, series : str, optional
        Columns that name the variant, its replicate swatch (each row its own without it), and
        the series that pools its swatch-to-swatch variance (all rows without it).
    formula : str
        ``dE00``, ``dE76`` or ``dECMC``: what the noise floor and the verdict go by.
    confidence : float
        Of the intervals and of the verdict, between 0 and 1.
    replicates_needed : bool
        True: without replicates the verdict is *can't tell*, even where the readings state
        their uncertainty, because one swatch can't speak for a recipe.

    Returns
    -------
    DataFrame
        `reference, sample`; `dL, da, db, dC, dH, dE76, dE00, dECMC`, sample minus reference,
        each with `_low` and `_high`; `noise_floor`, `chance_if_equal`, `comparisons`,
        `verdict` and `caveat` (codes), `more_swatches` (pots of each that would settle it),
        `basis`, `pieces`, `pots` (of the arm that has fewer), `assumed` (baths not recorded),
        `moved`, `judged` (the verdict and what it rests on, in words) and `words` (all of it);
        `from_L` … `to_b`, the two colours compared.

    Raises
    ------
    InputError
        If columns are missing, white points mix, or the reference isn't there.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import compare
    >>> names, L = ["plain", "plain", "iron", "iron"], [50, 51, 40, 41]
    >>> cloths = pd.DataFrame({"sample": names, "L": L})
    >>> cloths = cloths.assign(a=20.0, b=10.0, illuminant="D65", observer=10)
    >>> compare.to_reference(cloths, "plain")[["sample", "dE00"]].round(2)
      sample  dE00
    0   iron  9.54
    """
    variants = _gather(frame, by, piece, shared, series)
    at = int(_rows(variants, [reference], by)[0])
    others = np.flatnonzero(np.arange(len(variants.names)) != at)
    if not len(others):
        raise InputError(
            f"compare: {reference!r} is the only {by} here. Add at least one to compare with it."
        )
    return between(
        variants, np.full(len(others), at), others, formula, confidence, replicates_needed
    )


def pairs(
    frame: pd.DataFrame,
    pairs: pd.DataFrame | Sequence[tuple[str, str]],
    *,
    shared: pd.DataFrame | None = None,
    by: str = "sample",
    piece: str | None = None,
    series: str | None = None,
    formula: str = "dE00",
    confidence: float = 0.95,
    replicates_needed: bool = False,
) -> pd.DataFrame:
    """Compare chosen pairs; parameters and result as `to_reference`.

    Parameters
    ----------
    frame : DataFrame
        See `to_reference`.
    pairs : DataFrame or sequence of (reference, sample)
        Columns `reference, sample` with values of `by`.
    shared, by, piece, series, formula, confidence, replicates_needed
        See `to_reference`.

    Returns
    -------
    DataFrame
        See `to_reference`; one row a pair, in the order given.

    Raises
    ------
    InputError
        If columns are missing, white points mix, a pair names something that isn't there, or
        there are no pairs.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import compare
    >>> names, L = ["plain", "plain", "iron", "iron"], [50, 51, 40, 41]
    >>> cloths = pd.DataFrame({"sample": names, "L": L})
    >>> cloths = cloths.assign(a=20.0, b=10.0, illuminant="D65", observer=10)
    >>> compare.pairs(cloths, [("plain", "iron")])[["dE00", "verdict"]].round(2)
       dE00 verdict
    0  9.54    real
    """
    wanted = pairs if isinstance(pairs, pd.DataFrame) else pd.DataFrame(list(pairs), dtype=object)
    if not isinstance(pairs, pd.DataFrame) and len(wanted):
        wanted.columns = ["reference", "sample"][: wanted.shape[1]]
    if wanted.empty:
        raise InputError("compare: no pairs given. List them as (reference, sample).")
    table.need(wanted, ["reference", "sample"], "pairs")
    variants = _gather(frame, by, piece, shared, series)
    first = _rows(variants, wanted["reference"], by)
    second = _rows(variants, wanted["sample"], by)
    return between(variants, first, second, formula, confidence, replicates_needed)


def _gather(
    frame: pd.DataFrame,
    by: str,
    piece: str | None,
    shared: pd.DataFrame | None,
    series: str | None,
) -> Variants:
    table.one_white(frame)
    return gather(frame, by=by, piece=piece, shared=shared, series=series)


def _rows(variants: Variants, names: Iterable[str], by: str) -> np.ndarray:
    """Row numbers of these variants; refuses a name that isn't there."""
    known = {str(one): row for row, one in enumerate(variants.names)}
    wanted = [str(name) for name in names]
    for name in wanted:
        if name not in known:
            choose(name, list(known), by, "in this table")
    return np.array([known[name] for name in wanted])


def between(
    variants: Variants,
    reference: np.ndarray,
    sample: np.ndarray,
    formula: str = "dE00",
    confidence: float = 0.95,
    replicates_needed: bool = False,
) -> pd.DataFrame:
    """Compare rows `reference[i]` and `sample[i]` of gathered variants; see `to_reference`.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import book, compare, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> found = compare.between(recipes.variants, np.array([0]), np.array([1]))
    >>> found[["dE00", "verdict"]].round(1)
       dE00 verdict
    0  23.7    real
    """
    choose(formula, list(FORMULAS), "difference formula", "in compare")
    if not 0 < confidence < 1:
        raise InputError(f"compare: confidence is {confidence}. Give a value between 0 and 1.")
    first, second = variants.mean[reference], variants.mean[sample]
    pair = noise.joint(variants, reference, sample)
    result = convert.differences(first, second)
    result.insert(0, "reference", variants.names[reference])
    result.insert(1, "sample", variants.names[sample])
    result = result.assign(**_part_intervals(result, first, second, pair, confidence))
    for name, function in FORMULAS.items():
        spread = noise.of_formula(function, first, second, pair)
        low, high = distance_interval(result[name].to_numpy(float), spread, confidence)
        result[f"{name}_low"], result[f"{name}_high"] = low, high
        if name == formula:
            result["noise_floor"] = noise_floor(spread, confidence)
            result["chance_if_equal"] = chance_if_equal(result[name].to_numpy(float), spread)
            judged = spread
    result["basis"] = pair.basis
    result["pots"], result["assumed"] = pair.pots, pair.assumed
    result["pieces"] = np.minimum(variants.pieces[reference], variants.pieces[sample])
    result["moved"] = direction(first, second)
    for i, name in enumerate(table.LAB):
        result[f"from_{name}"], result[f"to_{name}"] = first[:, i], second[:, i]
    return verdicts.judge(result, judged, pair, formula, confidence, replicates_needed)


def _part_intervals(
    result: pd.DataFrame,
    first: np.ndarray,
    second: np.ndarray,
    pair: noise.Joint,
    confidence: float,
) -> dict[str, np.ndarray]:
    """Student's t intervals of dL, da, db, dC, dH."""
    gradients = part_gradients(first, second)
    columns = {}
    for i, name in enumerate(PARTS):
        variance, df = noise.variance_along(gradients[:, i], pair)
        reach = special.stdtrit(np.minimum(df, 1e6), (1 + confidence) / 2) * np.sqrt(variance)
        columns[f"{name}_low"] = result[name].to_numpy(float) - reach
        columns[f"{name}_high"] = result[name].to_numpy(float) + reach
    return columns


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
        free = np.where(own > 0, df[:, 1:] * (variance / own) ** 2, np.inf)
    reach = special.stdtrit(np.minimum(free, 1e6), (1 + confidence) / 2) * np.sqrt(variance)
    result = pd.DataFrame()
    for i, name in enumerate(("dL", "da", "db")):
        result[name] = vector[:, i]
        result[f"{name}_low"] = vector[:, i] - reach[:, i]
        result[f"{name}_high"] = vector[:, i] + reach[:, i]
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
    explained = noise.shared_part(variants, rows)
    share = (weights**2 / variants.pieces[rows]).sum(axis=1)[:, None, None]
    shares = sum(
        float(weight) * variants.loadings[(3 * rows[:, [j]] + np.arange(3)).ravel()]
        for j, weight in enumerate(weights)
    )
    shared = block_covariances(shares)
    stated = np.einsum("m,nmij->nij", weights**2, variants.stated[rows])
    replicated = df[:, :1, None] > 0
    known = np.where(replicated, semidefinite(shared - share * explained), stated + shared)
    estimated = np.einsum("m,nmij->nij", weights**2, parts)
    estimated = estimated * noise.share_left(variants, rows, pots, weights)[:, None, None]
    return np.where(replicated, estimated, 0.0), known, df, noise.basis_of(df[:, 0], stated)


def _length_noise(
    vector: np.ndarray, estimated: np.ndarray, total: np.ndarray, df: np.ndarray
) -> Noise:
    size = np.einsum("ni,ni->n", vector, vector)
    along = np.einsum("ni,nij,nj->n", vector, total, vector)
    own_along = np.einsum("ni,nij,nj->n", vector, estimated, vector)
    trace, square, near = noise.of_length(estimated, total, df[:, 0])
    with np.errstate(divide="ignore", invalid="ignore"):
        far = np.where(own_along > 0, df[:, 1] * (along / own_along) ** 2, np.inf)
        radial = np.where(size > 0, along / size, trace)
    powers, parts = own_axes(np.eye(3)[None], total, vector, np.sqrt(size))
    return Noise(np.minimum(radial, trace), trace, square, far, near, powers, parts)


def _with_length(
    result: pd.DataFrame, vector: np.ndarray, spread: Noise, confidence: float
) -> pd.DataFrame:
    distance = np.linalg.norm(vector, axis=1)
    low, high = distance_interval(distance, spread, confidence)
    chance, floor = chance_if_equal(distance, spread), noise_floor(spread, confidence)
    told = verdict_of(chance, result, 1 - confidence, replicates_needed=True)
    result = result.assign(distance=distance, distance_low=low, distance_high=high)
    return result.assign(noise_floor=floor, chance_if_equal=chance, **told)


def widest_pair(lab: np.ndarray) -> tuple[float, int, int]:
    """How far apart the two colours of several lie that differ most.

    Parameters
    ----------
    lab : ndarray (n, 3)
        CIELAB under one white point, two colours or more.

    Returns
    -------
    tuple of (float, int, int)
        Their ΔE00 (CIE 142), and their rows: the lighter first.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import compare
    >>> compare.widest_pair(np.array([[50.0, 0, 0], [60, 0, 0], [55, 0, 0]]))[1:]
    (1, 0)
    """
    lab = np.asarray(lab, float)
    off = np.array([convert.dE00(np.broadcast_to(one, lab.shape), lab) for one in lab])
    first, second = sorted(np.unravel_index(off.argmax(), off.shape), key=lambda at: -lab[at, 0])
    return float(off.max()), int(first), int(second)


def rank_ranges(values: np.ndarray, alike: float = 0.0) -> np.ndarray:
    """First and last place (n, 2) of each value from least to most, which those alike share.

    Parameters
    ----------
    values : ndarray (n,)
    alike : float
        How far apart two values may lie and still not be put in order.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import compare
    >>> compare.rank_ranges(np.array([40.0, 90.0, 40.6]), alike=1.0).tolist()
    [[1, 2], [3, 3], [1, 2]]
    """
    off = np.asarray(values, float)[:, None] - np.asarray(values, float)
    return np.column_stack([1 + (off > alike).sum(axis=1), (off >= -alike).sum(axis=1)])
