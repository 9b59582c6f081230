"""Intervals for the length of a difference whose noise is known only from a few replicates.

A measured distance is never negative and never zero on average: noise alone makes two equal
cloths differ. Writing d for the measured difference vector, δ for the true one and Σ for the
covariance of d, |d|² is a noncentral quadratic form. It is matched here in mean and variance by
a scaled noncentral chi-square (Patnaik 1949), with a spread that is itself estimated and so
averaged over its chi distribution: at |δ| = 0 that is the F test of Dempster (1958) on the
trace, far from zero it is Student's t along the direction moved, and between the two the noise is
taken where a difference of the length in question most likely points.

With known noise whose direction were known too, coverage would be what is promised at every
distance. What is left over comes from the direction: a true difference along the noise's short
axis is hard to tell from one along its long axis, and its interval is somewhat too wide at one to
four times the noise; obliquely to the axes the errors of the upper and lower limits cancel.

The interval inverts a family of tests of size 1 - confidence whose lower tail grows from nothing
at |δ| = 0 to half the size at the noise floor. It is therefore never empty, it excludes zero
exactly when the distance passes the noise floor, and both limits rise with the distance.

`directed_interval` is for noise that is known, direction and all. Noise that lies along one
direction says nothing against a change along another. Writing d for the measured difference, δ
for the true one and Σ for the covariance of d, a length ψ is kept where some δ of that length
fits: T(ψ) = min over |δ| = ψ of (d - δ)ᵀ Σ⁻¹ (d - δ) ≤ c. The bound c is that of χ² with one
degree of freedom where the sphere |δ| = ψ, seen in units of the noise, is flat, and of χ² with
three where it has shrunk to a point; between the two it follows from the sphere's two curvatures
at the best δ, each of which adds what a circle of that curvature adds in the plane. So zero is
left out exactly where χ² with three degrees of freedom rejects it, and the interval of zero
difference is never a point.
"""

from dataclasses import dataclass, replace
from functools import cache, lru_cache

import numpy as np
from scipy import special

from dyelab import numerics
from dyelab.compare.formulas import distance_gradient, metric

_MOST_DF = 1e4  # beyond this a chi distribution is as good as a point
# How far a difference longer than the measured one is turned towards the noise's long axis: 1
# goes all the way to the likeliest. Set by tests/benchmarks/coverage.py, where the upper limits
# come out too wide with 1 and too narrow with 0.
_TURN = 0.7

# Twenty chances that crowd towards both tails, to average over a chi-square distribution.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(20)
_HALF = (_NODES[:, None] + 1) / 2
_RANKS, _SHARES = _HALF**2 * (3 - 2 * _HALF), _WEIGHTS[:, None] * 3 * _HALF * (1 - _HALF)


@dataclass(frozen=True)
class Noise:
    """Noise of a distance, one value a pair.

    Attributes
    ----------
    radial : ndarray (n,)
        Variance along the direction moved.
    trace : ndarray (n,)
        Sum of the variances over the three directions, tr Σ.
    square : ndarray (n,)
        tr Σ², allowing for how uneven few replicates make round noise look; see `evened`.
    df_far, df_near : ndarray (n,)
        Degrees of freedom behind `radial` and behind `trace`; infinite where known.
    powers, parts : ndarray (n, 3), optional
        Variances along the noise's own axes, and the measured difference along them. With
        them, `radial` is looked up where a true difference of each length most likely points.
    """

    radial: np.ndarray
    trace: np.ndarray
    square: np.ndarray
    df_far: np.ndarray
    df_near: np.ndarray
    powers: np.ndarray | None = None
    parts: np.ndarray | None = None

    def __getitem__(self, rows: np.ndarray) -> "Noise":
        held = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return replace(self, **{k: v[rows] for k, v in held.items() if v is not None})

    @property
    def dimensions(self) -> np.ndarray:
        """Number of directions the noise really fills, 1 to 3: (tr Σ)² / tr Σ²."""
        return self.trace**2 / self.square


def evened(trace: np.ndarray, square: np.ndarray, df: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Correct tr Σ² of an estimated covariance, and count the degrees of freedom of its trace.

    A covariance from few replicates looks more drawn out than the true one. Ratios of the
    unbiased estimates of (tr Σ)² and tr Σ² (Bai and Saranadasa 1996) mend that on average, but
    stray where the noise really is drawn out; so the correction grows with the number of
    directions seen to be filled. Its power, and the half degree of freedom taken off, are set by
    simulation so that the test at zero keeps its size.

    Parameters
    ----------
    trace, square : ndarray (n,)
        tr Σ and tr Σ² as estimated.
    df : ndarray (n,)
        Degrees of freedom of the estimate.

    Returns
    -------
    square, df : ndarray (n,)
        tr Σ² corrected, and degrees of freedom behind tr Σ; infinite where nothing is estimated.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        seen = np.clip(trace**2 / square, 1, 3)
        inner = df**2 / ((df - 1) * (df + 2)) * (square - trace**2 / df)
        fair = np.where(inner > 0, np.clip((trace**2 - 2 * inner / df) / inner, 1, 3), 3.0)
        filled = seen + ((seen - 1) / 2) ** 1.5 * (fair - seen)
        filled = np.where(df > 1, filled, seen)
        free = np.where(square > 0, filled * np.maximum(df - 0.5, 0.5), np.inf)
        return np.where(square > 0, trace**2 / filled, 0.0), free


def noise_floor(noise: Noise, confidence: float = 0.95) -> np.ndarray:
    """Distance that two equal cloths pass only once in 1 / (1 - confidence) tries.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import compare
    >>> noise = compare.Noise(*(np.array([x]) for x in (0.2, 0.6, 0.12, 20.0, 60.0)))
    >>> compare.noise_floor(noise).round(2).tolist()
    [1.29]
    """
    df = np.minimum(noise.df_near, _MOST_DF)
    return np.sqrt(noise.trace * special.fdtri(noise.dimensions, df, confidence))


def chance_if_equal(distance: np.ndarray, noise: Noise) -> np.ndarray:
    """How often two equal cloths would measure at least this far apart."""
    df = np.minimum(noise.df_near, _MOST_DF)
    return special.fdtrc(noise.dimensions, df, distance**2 / noise.trace)


def chance_within(distance: np.ndarray, true: np.ndarray, noise: Noise) -> np.ndarray:
    """Chance that cloths `true` apart measure at most `distance` apart; all arrays (n,)."""
    far = 2 * true**2 / (noise.trace + 2 * true**2)
    scale = (1 - far) * noise.square / noise.trace + far * _radial(true, noise)
    near_df, far_df = np.minimum(noise.df_near, _MOST_DF), np.minimum(noise.df_far, _MOST_DF)
    df = 1 / ((1 - far) / near_df + far / far_df)
    chi = _chi_square_over_df(df)
    inside = special.chndtr(distance**2 * chi / scale, noise.trace / scale, true**2 * chi / scale)
    return np.sum(_SHARES * inside, axis=0)


def _radial(true: np.ndarray, noise: Noise) -> np.ndarray:
    """Variance along the likeliest true difference of each length, given what was measured.

    The likeliest δ with |δ| fixed is (1 + μ Σ)⁻¹ d; μ by Newton's method on the reciprocal of
    its length, which is nearly straight in μ (Moré and Sorensen 1983). Noise that happened to
    point along its own long axis isn't taken for the way the colour moved.
    """
    if noise.powers is None or noise.parts is None:
        return noise.radial
    powers, squares = noise.powers, noise.parts**2
    measured = squares.sum(axis=1)
    wanted = np.maximum(true, 1e-3 * np.sqrt(noise.trace))
    least = -_TURN / powers.max(axis=1)
    mu = np.zeros_like(true)
    for _ in range(8):
        damped = 1 + mu[:, None] * powers
        length = np.sqrt(np.maximum((squares / damped**2).sum(axis=1), 1e-300))
        slope = np.maximum((squares * powers / damped**3).sum(axis=1), 1e-300)
        mu = np.maximum(mu + length**2 / slope * (length - wanted) / wanted, least)
    way = squares / (1 + mu[:, None] * powers) ** 2
    there = (way * powers).sum(axis=1) / np.maximum(way.sum(axis=1), 1e-300)
    here = (squares * powers).sum(axis=1) / np.maximum(measured, 1e-300)
    return noise.radial * np.where(here > 0, there / np.where(here > 0, here, 1), 1)


@cache
def _chi_table() -> tuple[np.ndarray, np.ndarray]:
    """Logarithm of χ² / df at the twenty chances, over a grid of 1 / df."""
    grid = np.linspace(1 / _MOST_DF, 1, 1500)
    return grid, np.log(special.gammaincinv(1 / grid / 2, _RANKS) * 2 * grid)


def _chi_square_over_df(df: np.ndarray) -> np.ndarray:
    """Values of χ² / df at the twenty chances: (20, n); interpolated, since it is asked often."""
    grid, logs = _chi_table()
    place = (1 / np.clip(df, 1, _MOST_DF) - grid[0]) / (grid[1] - grid[0])
    left = np.minimum(place.astype(int), len(grid) - 2)
    part = place - left
    return np.exp(logs[:, left] * (1 - part) + logs[:, left + 1] * part)


def distance_interval(
    distance: np.ndarray, noise: Noise, confidence: float = 0.95
) -> tuple[np.ndarray, np.ndarray]:
    """Interval for the true distance, exact near zero as well as far from it.

    Parameters
    ----------
    distance : ndarray (n,)
        Measured distances, at least 0.
    noise : Noise
        Of the same n pairs.
    confidence : float
        Between 0 and 1.

    Returns
    -------
    low, high : ndarray (n,)
        NaN where the noise isn't known. `low` is 0 below the noise floor.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import compare
    >>> noise = compare.Noise(*(np.array([x]) for x in (0.2, 0.6, 0.12, 20.0, 60.0)))
    >>> [end.round(1).tolist() for end in compare.distance_interval(np.array([5.0]), noise)]
    [[4.0], [5.9]]
    """
    low, high = np.full_like(distance, np.nan), np.full_like(distance, np.nan)
    known = np.isfinite(noise.trace) & (noise.df_far > 0) & (noise.df_near > 0)
    certain = known & (noise.trace <= 0)
    low[certain] = high[certain] = distance[certain]
    known &= noise.trace > 0
    far_low, far_high = _far_interval(distance, noise, confidence)
    with np.errstate(invalid="ignore"):
        far = known & (far_low > 2 * noise_floor(noise, confidence))
    low[far], high[far] = far_low[far], far_high[far]
    near = known & ~far
    if near.any():
        low[near], high[near] = _invert(distance[near], noise[near], confidence)
    return low, high


def _far_interval(
    distance: np.ndarray, noise: Noise, confidence: float
) -> tuple[np.ndarray, np.ndarray]:
    """Student's t along the direction moved; the cross-wise noise only lengthens."""
    df = np.minimum(np.maximum(noise.df_far, 1e-3), _MOST_DF)
    reach = special.stdtrit(df, (1 + confidence) / 2) * np.sqrt(noise.radial)
    centre = np.sqrt(np.maximum(distance**2 - (noise.trace - noise.radial), 0))
    return centre - reach, centre + reach


def _invert(distance: np.ndarray, noise: Noise, confidence: float) -> tuple[np.ndarray, np.ndarray]:
    size = 1 - confidence
    floor = noise_floor(noise, confidence)

    def lower_tail(true: np.ndarray) -> np.ndarray:
        return size / 2 * np.minimum(1, true / floor) ** 2

    def for_high(true: np.ndarray) -> np.ndarray:
        return chance_within(distance, true, noise) - lower_tail(true)

    def for_low(true: np.ndarray) -> np.ndarray:
        return chance_within(distance, true, noise) - (confidence + lower_tail(true))

    reach = special.stdtrit(np.minimum(noise.df_far, _MOST_DF), 1 - size / 4)
    top = distance + 1.5 * reach * np.sqrt(np.maximum(noise.radial, noise.trace)) + floor
    low = np.where(distance > floor, _root(for_low, np.zeros_like(distance), distance), 0.0)
    return low, _root(for_high, np.zeros_like(distance), top)


def _root(falling, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Where a falling function of each element passes zero: the Illinois form of false position."""
    at_low, at_high = falling(low), falling(high)
    for _ in range(14):
        with np.errstate(invalid="ignore", divide="ignore"):
            guess = high - at_high * (high - low) / (at_high - at_low)
        guess = np.where(np.isfinite(guess), np.clip(guess, low, high), (low + high) / 2)
        value = falling(guess)
        above = value > 0
        at_high = np.where(above, at_high / 2, value)
        at_low = np.where(above, value, at_low / 2)
        low, high = np.where(above, guess, low), np.where(above, high, guess)
    return np.where(at_low < -at_high, low, high)


_ROUNDS = 40  # halvings: the root is then exact to rounding over the ranges searched
_FLOOR = 1e-8  # smallest variance, as a share of the sum: a singular covariance has no inverse
_WIDE = 1e9  # ends of the search, in units of the variances
_MINUS = np.hstack([-np.eye(3), np.eye(3)])


@dataclass(frozen=True)
class Seen:
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


def seen(formula, before: np.ndarray, after: np.ndarray, covariance: np.ndarray) -> Seen:
    """Turn pairs of colours (n, 3) with joint covariance (n, 6, 6) into a formula's own units.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import compare, convert
    >>> before, after = np.array([[50.0, 10, 10]]), np.array([[45.0, 10, 10]])
    >>> one = compare.seen(convert.dE00, before, after, np.eye(6)[None] / 8)
    >>> one.parts.shape
    (1, 3)
    """
    shape = metric(formula, (before + after) / 2)
    root = numerics.symmetric_root(shape)
    powers, axes = np.linalg.eigh(root @ (_MINUS @ covariance @ _MINUS.T) @ root)
    powers = np.maximum(powers, _FLOOR * np.maximum(powers.sum(axis=1), 1e-20)[:, None])
    parts = np.einsum("nji,njk,nk->ni", axes, root, after - before)
    size, distance = np.linalg.norm(parts, axis=1), formula(before, after)
    parts *= np.where(size > 1e-9, distance / np.maximum(size, 1e-9), 0.0)[:, None]
    return Seen(parts, powers, _stretch(formula, before, after, covariance, parts, powers))


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


def directed_interval(one: Seen, confidence: float = 0.95) -> tuple[np.ndarray, np.ndarray]:
    """Interval of the true length of each difference.

    Parameters
    ----------
    one : Seen
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
    >>> one = compare.seen(convert.dE00, before, after, np.eye(6)[None] / 8)
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
