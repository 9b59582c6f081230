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
exactly when the distance passes the noise floor, and both limits rise with the distance; two
colours that came out the same by luck have the upper limit of a common distance.
"""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from scipy import special

_MOST_DF = 1e4  # beyond this a chi distribution is as good as a point
# How far a difference longer than the measured one is turned towards the noise's long axis: 1
# goes all the way to the likeliest. Set by tests/benchmarks/coverage.py, where the upper limits
# come out too wide with 1 and too narrow with 0.
_TURN = 0.7

# Equal cloths measure nearer than this one time in six. A distance below it is luck, not knowledge:
# its upper limit is that of the sixth, as power-constrained limits have it
# (Cowan, Cranmer, Gross and Vitells 2011; from memory), one standard deviation of luck.
_LUCK = 0.16

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
        tr Σ², allowing for how uneven few replicates make round noise look; see `even_out`.
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


def even_out(
    trace: np.ndarray, square: np.ndarray, df: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
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
    at_least = np.maximum(distance, noise_floor(noise, _LUCK))

    def lower_tail(true: np.ndarray) -> np.ndarray:
        return size / 2 * np.minimum(1, true / floor) ** 2

    def for_high(true: np.ndarray) -> np.ndarray:
        return chance_within(at_least, true, noise) - lower_tail(true)

    def for_low(true: np.ndarray) -> np.ndarray:
        return chance_within(distance, true, noise) - (confidence + lower_tail(true))

    reach = special.stdtrit(np.minimum(noise.df_far, _MOST_DF), 1 - size / 4)
    top = at_least + 1.5 * reach * np.sqrt(np.maximum(noise.radial, noise.trace)) + floor
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
