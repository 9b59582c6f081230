"""A model judged on the recipes it was not shown; spread and chances set by what that tells."""

import numpy as np
import pandas as pd
from scipy import optimize, special, stats

from dyelab import convert, table
from dyelab.predict.basis import Basis
from dyelab.predict.gp import folds, left_out, without_own
from dyelab.predict.overdyes import OverdyeErrors
from dyelab.predict.training import TrainingData

LEVEL = 0.90
LIMIT = float(stats.chi2.ppf(LEVEL, 3))
# Priors (mean, deviation), which a small book hardly moves: a scale of 1 within a factor of two,
# near misses of 6 degrees of freedom, log odds as drawn. `predict_truth.py find` shows their worth.
# With twice the freedom of the tail one book in ten took so few far misses for its rule that its
# regions were ten times too wide (`predict_pots.py`).
_SCALE_AND_TAIL = np.array([[0.0, np.log(6.0)], [0.7, 0.3]])
# Factor on the variance that books need on the whole, and how it grows where recipes are few:
# times exp((15 / recipes)²). `predict_pots.py stretch` shows what they need beside what they show
# of it: in both worlds the two are hardly related from book to book.
_USUAL, _FEW = 1.5, 15.0
_ODDS = np.array([[0.0, 1.0], [1.0, 0.25]])
_NEAR = (2.0, 3.0, 4.0, 6.0)  # ΔE00 that may count as landing
_DRAWS, _MOST = 200, 150  # swatches drawn and recipes looked at: more change the odds by under 0.01


def mahalanobis(off: np.ndarray, C: np.ndarray) -> np.ndarray:
    """Squared length of errors in units of their covariances."""
    return np.einsum("ni,nij,nj->n", off, np.linalg.inv(C), off)


def lab_covariance(J: np.ndarray, left: np.ndarray) -> np.ndarray:
    """Covariance (n, 3, 3) of CIELAB from variances (n, q) of the scores."""
    moves = J * np.sqrt(left)[:, None, :]
    return moves @ np.swapaxes(moves, 1, 2) + 1e-6 * np.eye(3)


def judge(
    known: TrainingData, twice: TrainingData, over: OverdyeErrors
) -> tuple[float, float, tuple[float, float], pd.DataFrame]:
    """Compare every swatch with what its book foretells without its recipe and its pots.

    Components and parameters come from the other folds; for cloths of several dyes (`twice`) from
    all of one dye. The spread is that of the whole book's parameters, which is what is stretched:
    by the folds' own, which are sometimes too sure, a few books were stretched tenfold. Returns
    what `Model` holds as `stretch, tail, odds, left_out`.
    """
    process, basis = over.dyes.process, over.dyes.basis
    n = len(known.recipe)
    lab, C, seen = np.empty((n, 3)), np.empty((n, 3, 3)), known.observations(basis)
    for fold, rest in folds(known.recipe):
        part = known.basis(rest)
        lab[fold] = part.lab(left_out(process, known.observations(part), fold, rest)[..., 0])
        C[fold] = _land(basis, without_own(process.inverses, seen.y, seen, fold))[1]
    if len(twice.recipe):
        more = _land(basis, over.left_out())
        lab, C = np.concatenate([lab, more[0]]), np.concatenate([C, more[1]])
    measured = basis.lab_of_bands(np.concatenate([known.bands, twice.bands]))
    off = measured - lab
    stretch, tail = stretch_and_tail(mahalanobis(off, C), len(known.made) + len(twice.made))
    left = pd.concat([_name(known), _name(twice)], ignore_index=True).assign(
        **dict(zip(table.LAB, measured.T, strict=True)),
        **dict(zip(["L_left", "a_left", "b_left"], lab.T, strict=True)),
        dE00=convert.dE00(measured, lab),
        distance=mahalanobis(off, stretch * C),
    )
    left["inside"] = left["distance"] <= LIMIT
    return stretch, tail, odds(lab, measured, stretch * C, tail), left


def _land(basis: Basis, told: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return basis.lab(told[..., 0]), lab_covariance(basis.slopes(told[..., 0]), told[..., 1])


def _name(known: TrainingData) -> pd.DataFrame:
    recipes = known.made["recipe"].to_numpy()[known.recipe]
    return pd.DataFrame({"swatch": known.swatches, "recipe": recipes})


def stretch_and_tail(far: np.ndarray, recipes: int) -> tuple[float, float]:
    """Fit a t distribution to leave-one-out errors, held back where few tell.

    Squared errors in units of their covariance follow 3 c F(3, tail). Returns the factor on the
    variance that brings the normal 90 % region to 90 % of what comes next, and the tail. Of g
    recipes judged, the next one lies beyond the widest once in g + 1, so the share asked of them
    is (g + 1)/g of 90 % (as for a split conformal region). The factor is drawn half way to the
    usual one: what one book shows of it says little of what its next cloths need.
    """

    def cost(p: np.ndarray) -> float:
        fit = (p[0] - stats.f.logpdf(far / (3 * np.exp(p[0])), 3, np.exp(p[1]))).sum()
        return float(fit + 0.5 * (((p - _SCALE_AND_TAIL[0]) / _SCALE_AND_TAIL[1]) ** 2).sum())

    scale, tail = np.exp(optimize.minimize(cost, _SCALE_AND_TAIL[0], method="Nelder-Mead").x)
    share = min(LEVEL * (recipes + 1) / recipes, 0.99)
    shown = scale * 3 * stats.f.ppf(share, 3, tail) / LIMIT
    return float(np.sqrt(shown * usual_stretch(recipes))), float(tail)


def usual_stretch(recipes: int) -> float:
    """Factor on the variance that a book of so many recipes needs on the whole."""
    return float(_USUAL * np.exp((_FEW / recipes) ** 2))


def simulate(lab: np.ndarray, C: np.ndarray, tail: float, n: int) -> np.ndarray:
    """Colours (m, n, 3) that single swatches may have: a t distribution, seeded.

    Parameters
    ----------
    lab : ndarray (m, 3)
    C : ndarray (m, 3, 3)
        Covariances whose normal 90 % region is right.
    tail : float
        Degrees of freedom.
    n : int
    """
    rng = np.random.default_rng(0)
    normal = rng.standard_normal((n, 3))
    scale = LIMIT / (3 * float(stats.f.ppf(LEVEL, 3, tail)))
    away = np.sqrt(scale * tail / rng.chisquare(tail, n))
    root = np.linalg.cholesky(C)
    return lab[:, None, :] + np.einsum("mij,nj->mni", root, normal * away[:, None])


def chances(away: np.ndarray, tolerance: float, odds: tuple[float, float]) -> np.ndarray:
    """Chance (m,) of landing from distances (m, n) of drawn swatches, its log odds corrected."""
    drawn = ((away <= tolerance).sum(axis=1) + 0.5) / (away.shape[1] + 1)
    return special.expit(odds[0] + odds[1] * special.logit(drawn))


def odds(lab: np.ndarray, measured: np.ndarray, C: np.ndarray, tail: float) -> tuple[float, float]:
    """Shift and slope of the log odds of landing: how often each left-out recipe landed.

    Parameters
    ----------
    lab, measured : ndarray (m, 3)
        Recipes as predicted without their swatches, and as measured: each aimed at its own
        prediction, as a recipe that was searched for is.
    C : ndarray (m, 3, 3)
    tail : float
    """
    lab, measured, C = lab[:_MOST], measured[:_MOST], C[:_MOST]
    away = convert.dE00(lab[:, None], simulate(lab, C, tail, _DRAWS))
    off = convert.dE00(lab, measured)
    drawn = special.logit(np.stack([chances(away, near, (0.0, 1.0)) for near in _NEAR]))
    landed = np.stack([off <= near for near in _NEAR])

    def cost(p: np.ndarray) -> float:
        z = p[0] + p[1] * drawn
        fit = np.logaddexp(0, np.where(landed, -z, z)).mean(axis=0).sum()
        return float(fit + 0.5 * (((p - _ODDS[0]) / _ODDS[1]) ** 2).sum())

    shift, slope = optimize.minimize(cost, _ODDS[0]).x
    return float(shift), float(slope)
