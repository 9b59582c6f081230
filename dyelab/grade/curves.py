"""How a quantity runs with exposure: four shapes of fading, fitted and chosen by evidence.

The shapes are those that Giles told apart for dyed cloth, from no change up to fast then slow;
each contains the ones before it:

- ``no change``: y = y0
- ``constant rate``: y = y0 + r x
- ``first order``: y = y0 + A (1 - exp(-k x))
- ``two rate``: y = y0 + A (1 - exp(-k x)) + r x, a fast part and a slow one

For a given k all are linear, so the fit is a generalised least-squares line over a row of k, and
every interval below is the profile likelihood's: exact in the linear parameters, and free of the
symmetry that a rate's interval doesn't have. With stated noise its bound is χ²; with noise judged
from the fit's own residuals it is F.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import special

from dyelab.errors import InputError

SHAPES = ("no change", "constant rate", "first order", "two rate")
PARAMETERS = dict(zip(SHAPES, (0, 1, 2, 3), strict=True))  # beside the start
# k times the longest exposure: below the first a curve is straight, above the second a step.
_SLOWEST, _FASTEST, _TWO_RATE_SLOWEST = 0.02, 100.0, 0.3
_COARSE, _FINE, _ROUNDS = 60, 40, 3
_BAD_FIT = 0.001  # chance under which stated noise is no longer believed
TIE = 2.0  # AICc: support is substantial within this of the best (Burnham and Anderson)
_NO_BETTER = 1.0  # a needless parameter fits this much noise on average: 2 less χ² of mean 1
IN_PLAY = 4.0  # AICc: shapes further off are left out of the band


@dataclass(frozen=True)
class Series:
    """Values of one quantity over exposure, and their noise.

    Attributes
    ----------
    x : ndarray (n,)
        Exposure, at least 0.
    y : ndarray (n,)
    covariance : ndarray (n, n)
        Of y; up to a factor where `stated` is False.
    start : float or None
        y at x = 0 where it is known without error (0 for a difference); None to fit it.
    stated : bool
        False: the size of the noise is judged from the residuals.
    """

    x: np.ndarray
    y: np.ndarray
    covariance: np.ndarray
    start: float | None = None
    stated: bool = True

    @property
    def span(self) -> float:
        """Longest exposure read."""
        return float(self.x.max())

    def count(self, shape: str) -> int:
        """Parameters that a shape fits here."""
        return PARAMETERS[shape] + (self.start is None)


@dataclass(frozen=True)
class Fade:
    """One shape fitted to a series, for a row of k.

    Attributes
    ----------
    series : Series
    shape : str
    rates : ndarray (m,)
        k, per unit of exposure; NaN where the shape has none.
    coefficients : ndarray (m, p)
        Start (where fitted), then what the exponential part and the straight part change by the
        longest exposure; whichever the shape has.
    inverse : ndarray (m, p, p)
        Covariance of the coefficients at this k, before `scale`.
    squares : ndarray (m,)
        Weighted sum of squared residuals.
    scale, freedom : float
        Variance of the residuals, 1 where the noise is stated, and its degrees of freedom.
    """

    series: Series
    shape: str
    rates: np.ndarray
    coefficients: np.ndarray
    inverse: np.ndarray
    squares: np.ndarray
    scale: float
    freedom: float

    @cached_property
    def best(self) -> int:
        """Row of the best k."""
        return int(np.argmin(self.squares))

    def bound(self, confidence: float = 0.95) -> float:
        """How far the weighted sum of squares may rise above its least."""
        if np.isinf(self.freedom):
            return float(special.chdtri(1, 1 - confidence))
        return self.scale * float(special.fdtri(1, self.freedom, confidence))

    def at(self, x: np.ndarray) -> np.ndarray:
        """Best curve at exposures x (q,)."""
        return self._curves(np.asarray(x, float))[self.best]

    def _curves(self, x: np.ndarray) -> np.ndarray:
        rows = _basis(self.shape, self.rates, x, self.series)
        return np.einsum("mqp,mp->mq", rows, self.coefficients) + (self.series.start or 0.0)

    def band(self, x: np.ndarray, confidence: float = 0.95) -> tuple[np.ndarray, np.ndarray]:
        """Interval of the curve (not of a reading) at exposures x: low (q,), high (q,)."""
        x = np.asarray(x, float)
        rows = _basis(self.shape, self.rates, x, self.series)
        middle = np.einsum("mqp,mp->mq", rows, self.coefficients) + (self.series.start or 0.0)
        variance = np.einsum("mqp,mpr,mqr->mq", rows, self.inverse, rows)
        left = self.bound(confidence) - (self.squares - self.squares[self.best])
        held = left >= 0
        reach = np.sqrt(left[held, None] * np.maximum(variance[held], 0))
        return (middle[held] - reach).min(axis=0), (middle[held] + reach).max(axis=0)

    def rate(self, confidence: float = 0.95) -> tuple[float, float, float]:
        """Rate and its interval: k per unit of exposure, or r for a constant rate.

        A k whose interval reaches as low as a straight line or as high as a step ends at 0 or
        at infinity. NaN where the shape has no rate.
        """
        if self.shape == "no change":
            return np.nan, np.nan, np.nan
        if self.shape == "constant rate":
            reach = np.sqrt(self.bound(confidence) * self.inverse[0, -1, -1]) / self.series.span
            slope = float(self.coefficients[0, -1]) / self.series.span
            return slope, slope - reach, slope + reach
        rise = self.squares - self.squares[self.best] - self.bound(confidence)
        low = _crossing(np.log(self.rates), rise, self.best, -1)
        high = _crossing(np.log(self.rates), rise, self.best, 1)
        return float(self.rates[self.best]), float(np.exp(low)), float(np.exp(high))


def _crossing(x: np.ndarray, rise: np.ndarray, start: int, step: int) -> float:
    """Where `rise` first passes zero, going from `start`; ±infinity if it never does."""
    i = start
    while 0 <= i + step < len(x):
        if rise[i + step] > 0:
            share = rise[i] / (rise[i] - rise[i + step])
            return float(x[i] + share * (x[i + step] - x[i]))
        i += step
    return step * np.inf


def _basis(shape: str, rates: np.ndarray, x: np.ndarray, series: Series) -> np.ndarray:
    """Columns of the linear fit at each k: (m, q, p)."""
    columns = [np.ones((len(rates), len(x)))] if series.start is None else []
    if shape in ("first order", "two rate"):
        k = rates[:, None]
        columns.append(np.expm1(-k * x) / np.expm1(-k * series.span))
    if shape in ("constant rate", "two rate"):
        columns.append(np.broadcast_to(x / series.span, (len(rates), len(x))))
    return np.stack(columns, axis=-1) if columns else np.empty((len(rates), len(x), 0))


def fit(series: Series, shape: str, scale: float | None = None, freedom: float = np.inf) -> Fade:
    """Fit one shape.

    Parameters
    ----------
    series : Series
    shape : str
        One of `SHAPES`.
    scale, freedom : float, optional
        Variance of the residuals and its degrees of freedom, where judged elsewhere. Without
        them: 1 for stated noise, else from this fit's own residuals.

    Raises
    ------
    InputError
        If there are fewer readings than parameters.
    """
    n, p = len(series.x), series.count(shape)
    estimated = not series.stated and scale is None
    if n < p + estimated:
        raise InputError(
            f"fading: {n} readings can't tell a {shape} curve, which has {p} parameters. "
            f"Read the swatch at {p + estimated - n} more exposures."
        )
    whiten = np.linalg.inv(np.linalg.cholesky(series.covariance))
    rates = _coarse(series, shape)
    parts = _solved(series, shape, rates, whiten)
    for _ in range(_ROUNDS if len(rates) > 1 else 0):
        size = _size(parts[2].min(), n - p, estimated, scale)
        finer = _around(rates, parts[2], 8 * size * (50 if n - p < 3 and estimated else 1))
        more = _solved(series, shape, finer, whiten)
        rates, order = np.unique(np.concatenate([rates, finer]), return_index=True)
        one, two, three = (np.concatenate(p)[order] for p in zip(parts, more, strict=True))
        parts = one, two, three
    size = _size(parts[2].min(), n - p, estimated, scale)
    return Fade(series, shape, rates, *parts, size, float(n - p) if estimated else freedom)


def _size(square: float, freedom: int, estimated: bool, scale: float | None) -> float:
    if estimated:
        return max(float(square) / freedom, 1e-300)
    return 1.0 if scale is None else scale


def _coarse(series: Series, shape: str) -> np.ndarray:
    if shape not in ("first order", "two rate"):
        return np.array([np.nan])
    shortest = series.x[series.x > 0].min()
    slowest = _SLOWEST if shape == "first order" else _TWO_RATE_SLOWEST
    fastest = max(_FASTEST, 10 * series.span / shortest)
    return np.geomspace(slowest, fastest, _COARSE) / series.span


def _around(rates: np.ndarray, squares: np.ndarray, rise: float) -> np.ndarray:
    """A finer row of k where the sum of squares lies within `rise` of its least."""
    inside = np.flatnonzero(squares - squares.min() <= rise)
    low, high = max(inside[0] - 1, 0), min(inside[-1] + 1, len(rates) - 1)
    return np.geomspace(rates[low], rates[high], _FINE)


def _solved(
    series: Series, shape: str, rates: np.ndarray, whiten: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Coefficients, their covariance and the sum of squares at each k."""
    rows = whiten @ _basis(shape, rates, series.x, series)
    target = whiten @ (series.y - (series.start or 0.0))
    if not rows.shape[-1]:
        empty = np.empty((len(rates), 0))
        return empty, np.empty((len(rates), 0, 0)), np.full(len(rates), target @ target)
    inverse = np.linalg.inv(np.swapaxes(rows, 1, 2) @ rows)
    coefficients = np.einsum("mpr,mnr,n->mp", inverse, rows, target)
    rest = target - np.einsum("mnp,mp->mn", rows, coefficients)
    return coefficients, inverse, np.einsum("mn,mn->m", rest, rest)


@dataclass(frozen=True)
class Choice:
    """The shapes fitted to a series, and which one the readings speak for.

    Attributes
    ----------
    fades : tuple of Fade
        Those with readings enough, in the order of `SHAPES`.
    support : ndarray
        Criterion (AIC, AICc) of each above the least; the larger, the less supported.
    stated : bool
        False where the readings scatter more than they state, or state nothing.
    """

    fades: tuple[Fade, ...]
    support: np.ndarray
    stated: bool

    @property
    def chosen(self) -> Fade:
        """The simplest shape that the evidence doesn't speak against."""
        return self.fades[int(np.flatnonzero(self.support <= TIE)[0])]

    @property
    def in_play(self) -> tuple[Fade, ...]:
        """Shapes that the readings leave open, the chosen one among them.

        A richer shape stays in play until it is needed: leaving it out makes forecasts too sure.
        """
        return tuple(f for f, far in zip(self.fades, self.support, strict=True) if far <= IN_PLAY)

    @property
    def told(self) -> bool:
        """Whether the readings tell the shape: every simpler one is ruled out, no richer better.

        A richer shape contains the simpler and so is never ruled out itself; it counts as no
        better where it does no more than fit noise.
        """
        at = self.fades.index(self.chosen)
        richer = self.support[at + 1 :] - self.support[at]
        return bool((self.support[:at] > IN_PLAY).all() and (richer >= _NO_BETTER).all())

    def at(self, x: np.ndarray) -> np.ndarray:
        """Best curve of the chosen shape at exposures x (q,)."""
        return self.chosen.at(x)

    def band(self, x: np.ndarray, confidence: float = 0.95) -> tuple[np.ndarray, np.ndarray]:
        """Interval of the curve at exposures x over every shape still in play."""
        bands = [fade.band(x, confidence) for fade in self.in_play]
        return np.min([b[0] for b in bands], axis=0), np.max([b[1] for b in bands], axis=0)


def choose(series: Series, shapes: Sequence[str] = SHAPES) -> Choice:
    """Fit every shape that the readings suffice for, and choose by evidence.

    With stated noise by Akaike's criterion. Stated noise is believed unless even the two-rate
    shape leaves residuals too large for it (chance under 0.001). Else by the criterion corrected
    for a small sample (AICc), or, with too few readings for that, by the F ratio to the richest
    shape, put on the same scale.

    Raises
    ------
    InputError
        With fewer than two exposures above 0.
    """
    n = len(series.x)
    several(series.x)
    able = [shape for shape in shapes if n >= series.count(shape) + (not series.stated)]
    fades = tuple(fit(series, shape) for shape in able)
    spare = [fade for fade in fades if n > series.count(fade.shape)]
    if series.stated and (spare != list(fades) or _believed(fades[-1])):
        values = [_square(fade) + 2 * series.count(fade.shape) for fade in fades]
        return Choice(fades, _above_least(values), True)
    if not series.stated and n > series.count(fades[-1].shape) + 2:
        return Choice(fades, _above_least([_aicc(fade) for fade in fades]), False)
    return _by_ratio(series, tuple(spare))


def several(x: np.ndarray) -> None:
    """Refuse exposures x that make no curve: fewer than two above 0."""
    if len(np.unique(x[x > 0])) < 2:
        raise InputError(
            "fading: one exposure gives no curve. Read the swatch after at least two amounts, "
            "such as 1, 5 and 10 washes."
        )


def _square(fade: Fade) -> float:
    return float(fade.squares[fade.best])


def _believed(judge: Fade) -> bool:
    freedom = len(judge.series.x) - judge.series.count(judge.shape)
    return bool(special.chdtrc(freedom, _square(judge)) >= _BAD_FIT)


def _aicc(fade: Fade) -> float:
    n, p = len(fade.series.x), fade.series.count(fade.shape)
    return n * np.log(max(_square(fade), 1e-300) / n) + 2 * (p + 1) * n / (n - p - 2)


def _by_ratio(series: Series, fades: tuple[Fade, ...]) -> Choice:
    """Judge all by the richest shape's residuals; its F ratios as the χ² of the same chance."""
    judge = fades[-1]
    most = series.count(judge.shape)
    freedom = len(series.x) - most
    scale = max(_square(judge) / freedom, 1e-300)
    again = tuple(fit(series, fade.shape, scale, float(freedom)) for fade in fades)
    values = []
    for fade in again:
        fewer = most - series.count(fade.shape)
        rise = max(_square(fade) - _square(judge), 0.0) / scale
        chance = special.fdtrc(fewer, freedom, rise / fewer) if fewer else 1.0
        equal = special.chdtri(fewer, max(chance, 1e-300)) if fewer else 0.0
        values.append(equal + 2 * series.count(fade.shape))
    return Choice(again, _above_least(values), False)


def _above_least(values: Sequence[float]) -> np.ndarray:
    return np.asarray(values, float) - min(values)


def reaches(
    choice: Choice, level: float, horizon: float, confidence: float = 0.95
) -> tuple[float, float, float]:
    """Exposure at which the curve first reaches a level, and its interval.

    Parameters
    ----------
    choice : Choice
    level : float
        In units of y, above the start.
    horizon : float
        Longest exposure looked at; infinity stands for *not within it*.

    Returns
    -------
    middle, earliest, latest : float
    """
    x = np.concatenate([[0.0], np.geomspace(horizon / 2000, horizon, 400)])
    low, high = choice.band(x, confidence)
    return tuple(_first(x, curve, level) for curve in (choice.at(x), high, low))  # type: ignore[return-value]


def _first(x: np.ndarray, curve: np.ndarray, level: float) -> float:
    over = np.flatnonzero(curve >= level)
    if not len(over):
        return np.inf
    i = int(over[0])
    if i == 0:
        return float(x[0])
    share = (level - curve[i - 1]) / (curve[i] - curve[i - 1])
    return float(x[i - 1] + share * (x[i] - x[i - 1]))
