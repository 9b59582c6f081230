"""A model judged on the recipes it was not shown, and its spread set by what that tells."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import optimize, stats

from dyelab import convert, table
from dyelab.predict.chance import LEVEL, LIMIT
from dyelab.predict.gp import Learned
from dyelab.predict.training import Gathered

# Priors of the calibration: log of the scale, log of the tail, power of the spread.
_CALIBRATION = np.array([[0.0, np.log(6.0), 0.0], [0.7, 0.6, 0.4]])
_HEAVY, _NONE = 4.0, 8.0  # degrees of freedom; recipes that no correlation weighs as much as


@dataclass(frozen=True)
class Stretch:
    """Factor on a predicted covariance, from leave-one-out.

    Attributes
    ----------
    whole : float
        For a covariance of usual size.
    power : float
        Of the covariance's trace over the usual one.
    usual : float
        Log of the usual trace.
    """

    whole: float
    power: float
    usual: float

    def __call__(self, C: np.ndarray) -> np.ndarray:
        """Stretch covariances (..., 3, 3)."""
        size = np.log(np.trace(C, axis1=-2, axis2=-1)) - self.usual
        return C * (self.whole * np.exp(self.power * size))[..., None, None]


def far(off: np.ndarray, C: np.ndarray) -> np.ndarray:
    """Squared length of errors in units of their covariances."""
    return np.einsum("ni,nij,nj->n", off, np.linalg.inv(C), off)


def together(scores: Sequence[Learned], y: np.ndarray) -> np.ndarray:
    """Correlation (q, q) of the scores' errors, from leave-one-out.

    The scores are learned one by one, but a dye that takes more than expected moves them all.
    A few wide misses count for less (weights of a t distribution), and few recipes draw the
    correlation towards none.
    """
    without = np.stack([s.left_out for s in scores], axis=1)
    z = (y - without[..., 0]) / np.sqrt(without[..., 1])
    q = z.shape[1]
    weight = (_HEAVY + q) / (_HEAVY + (z**2).sum(axis=1))
    S = (z * weight[:, None]).T @ z
    S = S / len(z) + _NONE / len(z) * np.diag(np.diag(S) / len(z) + 1e-12)
    sd = np.sqrt(np.diag(S))
    return S / np.outer(sd, sd)


def spread(J: np.ndarray, left: np.ndarray, R: np.ndarray) -> np.ndarray:
    """Covariance (n, 3, 3) of CIELAB from variances (n, q) of scores and their correlation."""
    moves = J * np.sqrt(left)[:, None, :]
    return moves @ R @ np.swapaxes(moves, 1, 2) + 1e-6 * np.eye(3)


def judged(
    known: Gathered, scores: Sequence[Learned], R: np.ndarray
) -> tuple[pd.DataFrame, np.ndarray, np.ndarray]:
    """Compare every recipe with its prediction without it: table, errors, their covariances."""
    basis, made = known.basis, known.made
    without = np.stack([s.left_out for s in scores], axis=1)
    measured, lab = basis.lab(known.seen.y), basis.lab(without[..., 0])
    C = spread(basis.slopes(without[..., 0]), without[..., 1], R)
    off = measured - lab
    left = made[["swatch", "recipe"]].assign(
        **dict(zip(table.LAB, measured.T, strict=True)),
        **dict(zip(["L_left", "a_left", "b_left"], lab.T, strict=True)),
        dE00=convert.dE00(measured, lab),
    )
    return left, off, C


def calibrated(far: np.ndarray, size: np.ndarray) -> tuple[Stretch, float]:
    """Fit a t distribution to leave-one-out errors, held back where few tell.

    Squared errors in units of their covariance follow 3 c F(3, tail), where c is a power of the
    covariance's trace. Returns the factor on the variance that brings the normal 90 % region to
    90 %, and the tail.
    """
    middle = float(np.median(np.log(size)))
    above = np.log(size) - middle

    def cost(p: np.ndarray) -> float:
        log_scale, tail = p[0] + p[2] * above, np.exp(p[1])
        fit = (log_scale - stats.f.logpdf(far / (3 * np.exp(log_scale)), 3, tail)).sum()
        return float(fit + 0.5 * (((p - _CALIBRATION[0]) / _CALIBRATION[1]) ** 2).sum())

    scale, tail, power = optimize.minimize(cost, _CALIBRATION[0], method="Nelder-Mead").x
    tail = float(np.exp(tail))
    whole = float(np.exp(scale) * 3 * stats.f.ppf(LEVEL, 3, tail) / LIMIT)
    return Stretch(whole, float(power), middle), tail
