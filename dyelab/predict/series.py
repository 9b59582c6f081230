"""The next swatches to dye: those that teach most about where the user is looking."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from dyelab import convert, shift
from dyelab.predict import asking, completing, factors, grid, process, wanted
from dyelab.predict.grid import Limits
from dyelab.predict.model import Model

_POOL, _PLACES = 400, 250


def next_swatches(
    model: Model,
    n: int = 4,
    *,
    around: Any = None,
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
        the usual standard uncertainty (ΔE*ab) over the region looked at, before this swatch is
        measured and after.

    Raises
    ------
    InputError
        For limits that leave nothing.
    """
    candidates = grid.of_book(
        model.made, model.steps, Limits(hold or {}, most or {}, tuple(without))
    )
    pool, places = grid.sample(candidates, _POOL, seed), grid.sample(candidates, _PLACES, seed + 1)
    pool = completing.completed(model, pool)
    at = [model.coded(t) for t in (pool, completing.completed(model, places))]
    weights = _weights(model, at[1], around, near)
    chosen, spreads = _greedy(model, at, weights, n)
    lab, _ = asking.landed(model, pool.iloc[chosen])
    named = pool.iloc[chosen].reset_index(drop=True)
    named["recipe"] = shift.label(named)
    named[["L", "a", "b"]] = lab
    return named.assign(u_before=spreads[:-1], u_after=spreads[1:])


def _weights(model: Model, places: process.Codes, around: Any, near: float) -> np.ndarray:
    """How much each score's variance at each place counts, (r, q): squared CIELAB slopes."""
    mean = model.weighed(places).mean
    sensitive = (model.basis.slopes(mean) ** 2).sum(axis=1)
    if around is None:
        return sensitive / len(sensitive)
    target = wanted.colour(model, around)
    far = convert.dE00(np.broadcast_to(target, (len(mean), 3)), model.basis.lab(mean))
    looked = np.exp(-0.5 * (far / near) ** 2) + 1e-6
    return sensitive * (looked / looked.sum())[:, None]


def _greedy(
    model: Model, at: Sequence[process.Codes], weights: np.ndarray, n: int
) -> tuple[list[int], np.ndarray]:
    """Rows of the pool, best first, and the usual uncertainty before and after each."""
    pool = at[0]
    many = len(pool[0].kind)
    both = [_concatenated(a, b) for a, b in zip(*at, strict=True)]
    Ks = [_posterior(model, learned, pool, both) for learned in model.scores]
    lefts = list(model.weighed(at[1]).left.T)
    chosen: list[int] = []
    spreads = [_spread(model, lefts, weights)]
    for _ in range(min(n, many)):
        gains = np.zeros(many)
        for c, (K, learned) in enumerate(zip(Ks, model.scores, strict=True)):
            gains += (K[:, many:] ** 2 @ weights[:, c]) / (np.diag(K) + learned.nugget)
        gains[chosen] = -1.0
        chosen.append(int(np.argmax(gains)))
        for c, learned in enumerate(model.scores):
            row = Ks[c][chosen[-1]] / np.sqrt(Ks[c][chosen[-1], chosen[-1]] + learned.nugget)
            Ks[c] = Ks[c] - np.outer(row[:many], row)
            lefts[c] = lefts[c] - row[many:] ** 2
        spreads.append(_spread(model, lefts, weights))
    return chosen, np.array(spreads)


def _spread(model: Model, lefts: Sequence[np.ndarray], weights: np.ndarray) -> float:
    total = sum(float(np.maximum(v, 0) @ weights[:, c]) for c, v in enumerate(lefts))
    return float(np.sqrt(total * model.stretch.whole))


def _posterior(
    model: Model, learned: process.Learned, one: process.Codes, two: process.Codes
) -> np.ndarray:
    k, kk = (process.cross(learned.p, model.kernels, rows, model.codes) for rows in (one, two))
    return process.cross(learned.p, model.kernels, one, two) - k @ learned.inverse @ kk.T


def _concatenated(one: factors.Coded, two: factors.Coded) -> factors.Coded:
    return factors.Coded(np.append(one.kind, two.kind), np.append(one.dose, two.dose))
