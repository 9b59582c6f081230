"""Interval for the length of a difference whose noise is known, direction and all.

Noise that lies along one direction says nothing against a change along another. Writing d for the
measured difference, δ for the true one and Σ for the covariance of d, a length ψ is kept where
some δ of that length fits: T(ψ) = min over |δ| = ψ of (d - δ)ᵀ Σ⁻¹ (d - δ) ≤ c. The bound c is
that of χ² with one degree of freedom where the sphere |δ| = ψ, seen in units of the noise, is
flat, and of χ² with three where it has shrunk to a point; between the two it follows from the
sphere's two curvatures at the best δ, each of which adds what a circle of that curvature adds in
the plane. So zero is left out exactly where χ² with three degrees of freedom rejects it, and the
interval of zero difference is never a point.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import special

from dyelab.compare.formulas import MINUS, distance_gradient, metric, own_axes

_ROUNDS = 40  # halvings: the root is then exact to rounding over the ranges searched
_FLOOR = 1e-8  # smallest variance, as a share of the sum: a singular covariance has no inverse
_WIDE = 1e9  # ends of the search, in units of the variances


@dataclass(frozen=True)
class Move:
    """A measured difference along the axes of its noise.

    Attributes
    ----------
    parts : ndarray (n, 3)
        In units of the difference formula.
    powers : ndarray (n, 3)
        Variances along the same axes, ascending.
    stretch : ndarray (n,)
        Noise of the formula along the move over that of its metric at the middle of the pair.
    """

    parts: np.ndarray
    powers: np.ndarray
    stretch: np.ndarray

    @property
    def chance_if_equal(self) -> np.ndarray:
        """How often two equal colours would differ at least so, whatever the direction."""
        return special.chdtrc(3, (self.parts**2 / self.powers).sum(axis=1))


def move(formula, before: np.ndarray, after: np.ndarray, covariance: np.ndarray) -> Move:
    """Turn pairs of colours (n, 3) with joint covariance (n, 6, 6) into a formula's own units.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import compare, convert
    >>> before, after = np.array([[50.0, 10, 10]]), np.array([[45.0, 10, 10]])
    >>> one = compare.move(convert.dE00, before, after, np.eye(6)[None] / 8)
    >>> one.parts.shape
    (1, 3)
    """
    shape = metric(formula, (before + after) / 2)
    total, distance = MINUS @ covariance @ MINUS.T, formula(before, after)
    powers, parts = own_axes(shape, total, after - before, distance, _FLOOR)
    return Move(parts, powers, _stretch(formula, before, after, covariance, parts, powers))


def _stretch(formula, before, after, covariance, parts, powers) -> np.ndarray:
    """A long move's formula runs otherwise at its end than at its middle: by its own gradient."""
    size = (parts**2).sum(axis=1)
    gradient = distance_gradient(formula, before, after)
    own = np.einsum("ni,nij,nj->n", gradient, covariance, gradient)
    middle = (parts**2 * powers).sum(axis=1) / np.maximum(size, 1e-18)
    # Shorter ones are as long as their noise: no end to speak of.
    long = size > powers.sum(axis=1) * 4
    ratio = np.sqrt(np.maximum(own, 0) / np.maximum(middle, 1e-18))
    return np.where(long, np.clip(ratio, 0.5, 2.0), 1.0)


def directed_interval(one: Move, confidence: float = 0.95) -> tuple[np.ndarray, np.ndarray]:
    """Interval of the true length of each difference.

    Parameters
    ----------
    one : Move
        Of n pairs.
    confidence : float
        Between 0 and 1.

    Returns
    -------
    low, high : ndarray (n,)
        `low` is 0 exactly where the difference could be chance.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import compare, convert
    >>> before, after = np.array([[50.0, 10, 10]]), np.array([[45.0, 10, 10]])
    >>> one = compare.move(convert.dE00, before, after, np.eye(6)[None] / 8)
    >>> [end.round(1).tolist() for end in compare.directed_interval(one)]
    [[3.9], [5.9]]
    """
    largest = one.powers.max(axis=1)
    parts = np.where(np.abs(one.parts) > 1e-6, one.parts, 1e-6 * np.sqrt(one.powers))
    whole = np.linalg.norm(one.parts, axis=1)

    def apart(mu: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        damped = 1 + mu[:, None] * one.powers
        there = parts / damped
        square = (parts**2 * one.powers * mu[:, None] ** 2 / damped**2).sum(axis=1)
        return np.linalg.norm(there, axis=1), square - _bound(there, one.powers, confidence)

    far = _outermost(lambda t: apart((np.exp(-t) - 1) / largest), np.log(_WIDE), len(whole))
    near = _outermost(lambda t: apart(np.expm1(t) / largest), 3 * np.log(_WIDE), len(whole))
    low = np.maximum(whole - (whole - near) * one.stretch, 1e-3 * near)
    zero = one.chance_if_equal > 1 - confidence
    return np.where(zero, 0.0, np.minimum(low, whole)), whole + (far - whole) * one.stretch


def _outermost(apart, most: float, n: int) -> np.ndarray:
    """Length at which a search that starts on the measured difference leaves the interval."""
    inside, outside = np.zeros(n), np.full(n, most)
    for _ in range(_ROUNDS):
        middle = (inside + outside) / 2
        kept = apart(middle)[1] <= 0
        inside, outside = np.where(kept, middle, inside), np.where(kept, outside, middle)
    return apart(inside)[0]


def _bound(delta: np.ndarray, powers: np.ndarray, confidence: float) -> np.ndarray:
    """Largest T that a true difference δ (n, 3) shows with this confidence."""
    normal = np.sqrt(powers) * delta
    steep = np.maximum(np.linalg.norm(normal, axis=1), 1e-12)
    normal /= steep[:, None]
    total = (powers.sum(axis=1) - (powers * normal**2).sum(axis=1)) / steep
    others = powers[:, [1, 0, 0]] * powers[:, [2, 2, 1]]
    gauss = (others * normal**2).sum(axis=1) / steep**2
    half = np.sqrt(np.maximum(total**2 / 4 - gauss, 0))
    flat, plane, solid = (special.chdtri(k, 1 - confidence) for k in (1, 2, 3))
    added = sum(_circle(confidence)(total / 2 + turn * half) for turn in (-1, 1))
    # Two sharp curvatures add a little less than twice one does: scaled to meet at the point.
    joint = np.clip(added / (plane - flat) - 1, 0, 1)
    return flat + added * (1 - joint * (1 - (solid - flat) / (2 * (plane - flat))))


@lru_cache(maxsize=8)
def _circle(confidence: float):
    """What a circle's curvature in the plane adds to the bound for a straight line."""
    curvature = np.concatenate([[0.0], np.geomspace(0.01, 100, 200)])
    radius = 1 / np.maximum(curvature, 1e-3)
    low, high = np.zeros_like(radius), np.full_like(radius, 5.0)
    for _ in range(50):
        reach = (low + high) / 2
        inner = np.maximum(radius - reach, 0) ** 2
        below, within = (special.chndtr(at, 2, radius**2) for at in (inner, (radius + reach) ** 2))
        short = within - below < confidence
        low, high = np.where(short, reach, low), np.where(short, high, reach)
    flat = special.chdtri(1, 1 - confidence)
    return lambda kappa: np.interp(kappa, curvature, np.maximum(low**2 - flat, 0))
