"""How a colour runs with exposure: shapes of fading, weighed by the evidence and averaged.

Dyed cloth has been seen to fade by first order, fast then slow (dye in two or three states), by a
power of the dose (a constant rate is the power 1), by its logarithm, and after a slow start. Each
is a curve f with f(0) = 0 and f(longest) = 1, and the colour is

    colour(x) = start + amplitude f(x; θ) + rest(x)

with one amplitude for each of L*, a*, b* and one θ for all three; with two rates θ holds both and
the share that goes fast. What no shape explains is `rest`: a smooth departure, a share of the
whole change in size, that grows beyond the longest exposure. Start and amplitudes are Gaussian,
so each shape's evidence is exact for a given θ, size of noise and size of rest. All are tried
over a grid, and every answer is their average, weighted by evidence times prior (Bayesian model
averaging: Hoeting and others 1999, Statistical Science 14(4); from memory). Noise that nobody
states is one more unknown of the grid; noise that is stated may be larger than stated.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from scipy import special

from dyelab.errors import InputError

SHAPES = (
    "no change",
    "first order",
    "two rates",
    "three rates",
    "power of dose",
    "logarithm",
    "slow start",
)
# Weight at which a shape counts as told: right in 90 of 100. This and the priors below are derived
# by tests/benchmarks/fading_recovery.py.
TOLD = 0.98
_START = 50.0  # prior standard deviation of the colour before, CIELAB units: as good as unknown
_LEAST = 0.3  # CIELAB units: amplitudes are never expected smaller
# Noise where nobody states it: CIELAB units, about a hand-held instrument's repeatability.
_NOISE, _NOISE_FACTOR = 0.15, 2.5
_NOISES = np.geomspace(0.03, 1.6, 8)
# How far stated noise may be too small, and how likely that is.
_SCALES, _SCALE_CHANCES = np.array([1.0, 1.6, 3.0, 6.0]), np.array([0.80, 0.12, 0.05, 0.03])
# The rest: share of the change, how likely, and the reach of its bends in log(u + 0.05).
_RESTS, _REST_CHANCES = np.array([0.0, 0.04, 0.15, 0.5]), np.array([0.1, 0.4, 0.35, 0.15])
_REACH, _NEAR = 0.7, 0.05
_EXPONENT, _EXPONENT_SPREAD = 0.75, 0.5  # prior middle and deviation (of its logarithm)
_RATIO = 4.0  # two rates nearer than this are one
_STARTS = (1.2, 1.4, 1.7, 2.2)  # powers of a slow start
_THIRDS = ((0.2, 0.6), (0.4, 0.4), (0.2, 0.3), (0.5, 0.2))  # of the fastest and slowest of three
_SHARES = (0.15, 0.3, 0.5, 0.7, 0.85)  # of the change at the longest exposure, by the fast rate
_KEPT = 90  # members of the average; together the others weigh next to nothing
_GROWS = 1.0  # power of the exposure by which the rest grows beyond the longest


@dataclass(frozen=True)
class ExposureSeries:
    """Colours of one piece over exposure, and their noise.

    Attributes
    ----------
    x : ndarray (n,)
        Exposure, at least 0; the colour before is at 0.
    lab : ndarray (n, 3)
    covariance : ndarray (3 n, 3 n)
        Of the rows of `lab` one after another; a unit matrix where not `stated`.
    stated : bool
        False: the size of the noise is judged from the readings.
    """

    x: np.ndarray
    lab: np.ndarray
    covariance: np.ndarray
    stated: bool = True

    @property
    def longest(self) -> float:
        """Longest exposure read."""
        return float(self.x.max())


@dataclass(frozen=True)
class Library:
    """Curves f(u; θ), u in longest exposures; f(0) = 0, f(1) = 1.

    Attributes
    ----------
    shapes : ndarray of str (c,)
        The first is *no change*, which has no curve.
    theta : ndarray (c, 5)
        Rate, exponent or scale; second rate or exponent of a slow start; share of the first
        rate; third rate and its share.
    chance : ndarray (c,)
        How likely each is before anything is read; they sum to one within a shape.
    """

    shapes: np.ndarray
    theta: np.ndarray
    chance: np.ndarray

    def at(self, u: np.ndarray) -> np.ndarray:
        """Values of the curves at u (q,): (q, c)."""
        one, two, share, three, rest = self.theta.T
        value = _exponential(one, u)
        power, bent = (self.shapes == name for name in ("power of dose", "logarithm"))
        value[:, power] = u[:, None] ** one[power]
        value[:, bent] = np.log1p(one[bent] * u[:, None]) / np.log1p(one[bent])
        both = np.isin(self.shapes, ["two rates", "three rates"])
        value[:, both] *= share[both]
        value[:, both] += (1 - share - rest)[both] * _exponential(two[both], u)
        value[:, both] += rest[both] * _exponential(three[both], u)
        late = self.shapes == "slow start"
        value[:, late] = _exponential(one[late], u[:, None] ** two[late])
        value[:, self.shapes == "no change"] = 0
        return value


def _exponential(k: np.ndarray, u: np.ndarray) -> np.ndarray:
    u = u if u.ndim > 1 else u[:, None]
    safe = np.where(k > 0, k, 1.0)
    return np.where(k > 0, np.expm1(-safe * u) / np.expm1(-safe), u)


@lru_cache(maxsize=16)
def candidate_curves(shortest: float) -> Library:
    """All curves worth telling apart; `shortest` is the first exposure over the longest."""
    powers = np.geomspace(0.15, 3.0, 22)
    likely = np.exp(-0.5 * (np.log(powers / _EXPONENT) / _EXPONENT_SPREAD) ** 2)
    late = [(k, p) for k in np.geomspace(0.1, 8, 10) for p in _STARTS]
    scales = np.geomspace(0.7, max(300.0, 20 / shortest), 14)
    every: list[Any] = [[0.0], *_rates(shortest), powers, scales, late]
    chance = [np.full(len(values), 1 / len(values)) for values in every]
    chance[SHAPES.index("power of dose")] = likely / likely.sum()
    theta = [np.resize([*np.atleast_1d(v), 0, 0, 0, 0], 5) for values in every for v in values]
    names = np.repeat(SHAPES, [len(values) for values in every])
    return Library(names, np.array(theta), np.concatenate(chance))


def _rates(shortest: float) -> tuple[np.ndarray, list[tuple], list[tuple]]:
    """Rates alone; two with the share of the fast one; three with the shares of first and last."""
    rates = np.geomspace(0.15, max(60.0, 4 / shortest), 20)
    pairs = [
        (fast, slow, share)
        for fast in rates[1::2]
        for slow in (0.0, *rates[::2])
        if fast > max(_RATIO * slow, 2.0)
        for share in _SHARES
    ]
    triples = [
        (fast, middle, share, slow, rest)
        for fast in rates[8::3]
        for middle in rates[4::3]
        for slow in (0.0, *rates[:9:4])
        if fast > _RATIO * middle and middle > _RATIO * slow
        for share, rest in _THIRDS
    ]
    return rates, pairs, triples


def _rest(u: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Covariance of the rest at u and v, for a rest as large as the change: (q, r)."""
    apart = np.log(u + _NEAR)[:, None] - np.log(v + _NEAR)[None]
    grown = [np.where(one > 1, one**_GROWS, np.sqrt(one)) for one in (u, v)]
    return grown[0][:, None] * grown[1][None] * np.exp(-(apart**2) / 2 / _REACH**2)


@dataclass(frozen=True)
class Setting:
    """One size of noise and of rest, and every curve fitted under it.

    Attributes
    ----------
    noise, rest : float
    log_weight : ndarray (c,)
        Evidence times prior of each curve.
    coefficients : ndarray (c, 6)
        Start (beside the first reading) and amplitude of L*, a*, b*.
    covariance : ndarray (c, 6, 6)
        Their covariance.
    weights : ndarray (3 n, 3 n)
        Inverse covariance of the readings.
    """

    noise: float
    rest: float
    log_weight: np.ndarray
    coefficients: np.ndarray
    covariance: np.ndarray
    weights: np.ndarray


@dataclass(frozen=True)
class Average:
    """All shapes fitted to a series, and their average.

    Attributes
    ----------
    series : ExposureSeries
    library : Library
    settings : tuple of Setting
    members : ndarray of int (m, 2)
        Setting and curve of each member of the average.
    weights : ndarray (m,)
        Of the members, summing to one.
    evidence : dict of str to float
        Weight of each shape.
    smooth : float
        Weight of next to no rest, within the likeliest shape.
    size : float
        Expected size of an amplitude, CIELAB units.
    """

    series: ExposureSeries
    library: Library
    settings: tuple[Setting, ...]
    members: np.ndarray
    weights: np.ndarray
    evidence: dict[str, float]
    smooth: float
    size: float

    @property
    def shape(self) -> str:
        """The shape that the readings speak for most."""
        return max(self.evidence, key=self.evidence.__getitem__)

    @property
    def shows_shape(self) -> bool:
        """Whether the readings tell the shape: it has nearly all the weight, and explains them.

        Two rates are never told, since readings can't tell them from three or from many.
        """
        several_rates = self.shape in ("two rates", "three rates")
        return not several_rates and self.evidence[self.shape] * self.smooth >= TOLD

    @cached_property
    def noise(self) -> float:
        """Size of the noise: as a multiple of what is stated, else in CIELAB units."""
        sizes = np.array([self.settings[i].noise for i in self.members[:, 0]])
        return float(np.exp(self.weights @ np.log(sizes)))

    def theta(self, confidence: float = 0.95) -> tuple[float, float, float]:
        """First parameter of the likeliest shape and its interval; NaN where it has none."""
        curves = self.members[:, 1]
        mine = self.library.shapes[curves] == self.shape
        values, weights = self.library.theta[curves[mine], 0], self.weights[mine]
        if self.shape == SHAPES[0] or not len(values):
            return np.nan, np.nan, np.nan
        tails = (0.5, (1 - confidence) / 2, (1 + confidence) / 2)
        middle, low, high = (_quantile(values, weights, tail) for tail in tails)
        return middle, low, high

    @cached_property
    def start(self) -> np.ndarray:
        """Colour before, as all readings have it (3,)."""
        starts = np.array([self.settings[i].coefficients[j, :3] for i, j in self.members])
        return self.series.lab[0] + self.weights @ starts

    def each(self, x: np.ndarray, level: bool = False) -> tuple[np.ndarray, np.ndarray]:
        """Mean and covariance of the change since the start by each member, at x (q,).

        With `level`, of the colour itself beside the first reading.

        Returns
        -------
        mean : ndarray (m, q, 3)
        covariance : ndarray (m, q, 3, 3)
        """
        means = np.empty((len(self.members), len(x), 3))
        spreads = np.empty((len(self.members), len(x), 3, 3))
        for i in np.unique(self.members[:, 0]):
            at = self.members[:, 0] == i
            curves = self.members[at, 1]
            means[at], spreads[at] = self._under(self.settings[i], curves, x, float(level))
        return means, spreads

    def _under(
        self, setting: Setting, curves: np.ndarray, x: np.ndarray, level: float
    ) -> tuple[np.ndarray, np.ndarray]:
        """`each` of the curves under one setting."""
        u, own = np.asarray(x, float) / self.series.longest, self.series.x / self.series.longest
        later, here = (self.library.at(at)[:, curves].T for at in (u, own))  # (m, q), (m, n)
        b, covariance = setting.coefficients[curves], setting.covariance[curves]
        rows = np.zeros((*later.shape, 3, 6))
        rows[..., :3] = level * np.eye(3)
        rows[..., 3:] = later[..., None, None] * np.eye(3)
        mean = level * b[:, None, :3] + later[..., None] * b[:, None, 3:]
        if not setting.rest:
            return mean, rows @ covariance[:, None] @ np.swapaxes(rows, -1, -2)
        size = (setting.rest * self.size) ** 2
        across = np.kron(size * _rest(u, own), np.eye(3))
        gain = across @ setting.weights  # (3 q, 3 n)
        read = (self.series.lab - self.series.lab[0])[None]
        left = read - b[:, None, :3] - here[..., None] * b[:, None, 3:]
        mean = mean + (left.reshape(len(curves), -1) @ gain.T).reshape(mean.shape)
        parts = gain.reshape(len(u), 3, len(own), 3)
        rows[..., :3] -= parts.sum(axis=2)
        rows[..., 3:] -= np.einsum("qinj,mn->mqij", parts, here)
        known = np.einsum("qinj,qknj->qik", parts, across.reshape(parts.shape))
        alone = size * np.diag(_rest(u, u))[:, None, None] * np.eye(3) - known
        return mean, rows @ covariance[:, None] @ np.swapaxes(rows, -1, -2) + alone


def _quantile(values: np.ndarray, weights: np.ndarray, share: float) -> float:
    order = np.argsort(values)
    total = np.cumsum(weights[order]) / weights.sum()
    return float(values[order][min(int(np.searchsorted(total, share)), len(values) - 1)])


def average_fit(series: ExposureSeries) -> Average:
    """Fit every shape to a series and average them by evidence.

    Raises
    ------
    InputError
        With fewer than two exposures above 0.
    """
    need_several(series.x)
    u = series.x / series.longest
    curves = candidate_curves(round(float(u[u > 0].min()), 3))
    away = np.linalg.norm(series.lab - series.lab[0], axis=1).max() / np.sqrt(3)
    size = max(float(away), _LEAST)  # to expect in each of L*, a*, b*: as the largest change read
    settings = tuple(_settings(series, curves, size))
    logs = np.array([setting.log_weight for setting in settings])
    weights = special.softmax(logs)
    evidence = {name: float(weights[:, curves.shapes == name].sum()) for name in SHAPES}
    told = curves.shapes == max(evidence, key=evidence.__getitem__)
    small = np.array([setting.rest <= _RESTS[1] for setting in settings])
    smooth = float(weights[np.ix_(small, told)].sum() / max(weights[:, told].sum(), 1e-300))
    order = np.argsort(weights, axis=None)[::-1][:_KEPT]
    members = np.stack(np.unravel_index(np.sort(order), weights.shape), axis=1)
    kept = weights[members[:, 0], members[:, 1]]
    members, kept = members[kept > 1e-4 * kept.max()], kept[kept > 1e-4 * kept.max()]
    return Average(series, curves, settings, members, kept / kept.sum(), evidence, smooth, size)


def need_several(x: np.ndarray) -> None:
    """Refuse exposures x that make no curve: fewer than two above 0."""
    if len(np.unique(x[x > 0])) < 2:
        raise InputError(
            "fading: one exposure gives no curve. Read the swatch after at least two amounts, "
            "such as 1, 5 and 10 washes."
        )


def _settings(series: ExposureSeries, curves: Library, size: float) -> Iterator[Setting]:
    """Every size of noise and rest, each with all curves fitted."""
    u = series.x / series.longest
    values, rest = curves.at(u), np.kron(_rest(u, u), np.eye(3)) * size**2
    noises, chances = _SCALES, _SCALE_CHANCES
    if not series.stated:
        noises = _NOISES
        chances = np.exp(-0.5 * (np.log(noises / _NOISE) / np.log(_NOISE_FACTOR)) ** 2)
        chances /= chances.sum()
    read = (series.lab - series.lab[0]).ravel()
    for noise, likely in zip(noises, chances, strict=True):
        for share, chance in zip(_RESTS, _REST_CHANCES, strict=True):
            total = noise**2 * series.covariance + share**2 * rest
            prior = np.log(curves.chance * likely * chance)
            if share:  # a rest without a shape is a shape
                prior = np.where(curves.shapes == "no change", -np.inf, prior)
            yield _fit(float(noise), float(share), total, values, read, size, prior)


def _fit(noise, rest, total, values, read, size, prior) -> Setting:
    """Gaussian start and amplitudes given each curve, and the evidence for it."""
    n, count = values.shape
    factor = np.linalg.inv(np.linalg.cholesky(total + 1e-9 * np.eye(3 * n)))
    split = factor.reshape(3 * n, n, 3)
    design = np.empty((count, 3 * n, 6))
    design[..., :3] = split.sum(axis=1)
    design[..., 3:] = np.tensordot(values.T, split, axes=(1, 1))
    target, before = factor @ read, np.array([_START] * 3 + [size] * 3) ** -2.0
    inside = np.swapaxes(design, 1, 2) @ design + np.diag(before)
    right = target @ design
    covariance = np.linalg.inv(inside)
    coefficients = np.einsum("cpr,cr->cp", covariance, right)
    fit = target @ target - np.einsum("cp,cp->c", right, coefficients)
    grown = np.linalg.slogdet(inside)[1] - np.log(before).sum()
    log_size = -2 * np.log(np.diag(factor)).sum()
    weight = prior - 0.5 * (fit + grown + log_size)
    return Setting(noise, rest, weight, coefficients, covariance, factor.T @ factor)
