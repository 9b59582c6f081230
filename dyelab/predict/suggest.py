"""The next swatches to dye: those that teach most about where the user is looking."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from dyelab import convert
from dyelab.compare.formulas import metric
from dyelab.predict.candidates import Limits, anew, keep_within
from dyelab.predict.model import Model, complete, labels, predict_swatches
from dyelab.predict.search import wanted_colour

# Of 1,500 candidates the ten chosen left a mean error 0.27 smaller than of 400, over 8 worlds of
# `predict_truth.py next`; 1,000 and 600 places take about a second.
_POOL, _PLACES = 1000, 600


def next_swatches(
    model: Model,
    n: int = 4,
    *,
    around: Any = None,
    among: pd.DataFrame | None = None,
    near: float = 15.0,
    hold: Mapping[str, Any] | None = None,
    most: Mapping[str, float] | None = None,
    without: Sequence[str] = (),
    seed: int = 0,
) -> pd.DataFrame:
    """Choose the recipes whose measurement would most reduce the model's uncertainty.

    Parameters
    ----------
    model : Model
    n : int
        Swatches to dye.
    around : optional
        A wanted colour, as for `find`: recipes predicted near it count most. Without it all
        recipes within the limits count alike.
    among : DataFrame, optional
        Recipes that one would dye, as for `Model.colour`: swatches are chosen from them, to teach
        most about them. Without it, recipes of the book's materials, all alike often, in doses
        from the least to the largest that was dyed or is usual.
    near : float
        ΔE00 at which a recipe counts 0.6 as much as one on the spot.
    hold, most, without
        Limits, as for `find`.
    seed : int
        Of the candidates looked at.

    Returns
    -------
    DataFrame
        The recipe's columns, `recipe` in words, `L, a, b` as predicted and `u_before, u_after`:
        the usual standard uncertainty (in ΔE00) over the region looked at, before this swatch
        is measured and after.

    Raises
    ------
    InputError
        For limits that leave nothing.

    Notes
    -----
    Each is the one that leaves the least mean standard deviation, not variance: a sum of variances
    would spare the largest errors alone. ``tests/benchmarks/predict_truth.py next`` holds them
    against random swatches in two worlds: ten leave smaller errors than ten at random, and larger
    ones in the middle, though not at the far end, than twenty.

    Examples
    --------
    >>> from dyelab import book, predict, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> model = predict.fit(wide, spectra=bk.spectra)
    >>> predict.next_swatches(model, 1, hold={"fibre": "wool"})[["fibre"]]
      fibre
    0  wool
    """
    limits = Limits(hold or {}, most or {}, tuple(without))
    pool, places = (
        complete(model, _asked(model, among, limits, many, seed + i))
        for i, many in enumerate((_POOL, _PLACES))
    )
    chosen, spreads = _greedy(model, (pool, places), *_looked_at(model, places, around, near), n)
    lab, _ = predict_swatches(model, pool.iloc[chosen])
    named = pool.iloc[chosen].reset_index(drop=True)
    named["recipe"] = labels(named)
    named[["L", "a", "b"]] = lab
    return named.assign(u_before=spreads[:-1], u_after=spreads[1:])


def _asked(
    model: Model, among: pd.DataFrame | None, limits: Limits, many: int, seed: int
) -> pd.DataFrame:
    """Recipes to look at; sums of dyes, which are learned one by one, are left out."""
    if among is None:
        return anew(model.made[~model.over.dyes.joins(model.made)], limits, many, seed)
    full = complete(model, among)
    full = keep_within(full[~model.over.dyes.joins(full)], limits)
    return full.sample(min(many, len(full)), random_state=seed)


def _looked_at(
    model: Model, places: pd.DataFrame, around: Any, near: float
) -> tuple[np.ndarray, np.ndarray]:
    """Squared ΔE00 for one unit of each score at each place, (r, q), and how much it counts, (r,).

    The places count in all as 1.
    """
    weighed = model.weighed(places)
    lab, J = model.basis.lab(weighed.mean), model.basis.slopes(weighed.mean)
    sensitive = np.einsum("niq,nij,njq->nq", J, metric(convert.dE00, lab), J)
    if around is None:
        return sensitive, np.full(len(lab), 1 / len(lab))
    away = convert.dE00(np.broadcast_to(wanted_colour(model, around), lab.shape), lab)
    unsure = (sensitive * (weighed.left + weighed.more)).sum(axis=1) / 3
    room = near**2 + unsure * model.stretch
    looked = np.exp(-0.5 * away**2 / room) * room**-1.5 + 1e-12
    return sensitive, looked / looked.sum()


def _greedy(
    model: Model,
    rows: tuple[pd.DataFrame, pd.DataFrame],
    sensitive: np.ndarray,
    counts: np.ndarray,
    n: int,
) -> tuple[list[int], np.ndarray]:
    """Rows of the pool, best first, and the usual uncertainty before and after each."""
    process, many = model.process, len(rows[0])
    pool, both = model.codes(rows[0]), model.codes(pd.concat(rows, ignore_index=True))
    K = process.posterior(pool, both)
    left = (model.weighed(rows[1]).left * sensitive).sum(axis=1)
    chosen: list[int] = []
    spreads = [float(np.sqrt(np.maximum(left, 0)) @ counts)]
    for _ in range(min(n, many)):
        own = np.einsum("qmm->qm", K[:, :, :many]) + process.nuggets[:, None]
        gain = np.einsum("qmr,rq->mr", K[:, :, many:] ** 2 / own[:, :, None], sensitive)
        after = np.sqrt(np.maximum(left - gain, 0)) @ counts
        after[chosen] = np.inf
        best = int(np.argmin(after))
        chosen.append(best)
        spreads.append(float(after[best]))
        left = left - gain[best]
        row = K[:, best] / np.sqrt(own[:, best, None])
        K = K - row[:, :many, None] * row[:, None, :]
    return chosen, np.sqrt(model.stretch) * np.array(spreads)
