"""A piece's colour over cycles or dose: its curves, forecasts, when it shows, when it fails.

One fit of the colour itself (see `shapes`) serves every quantity, so lightness, chroma, hue and
the differences from before can't contradict one another; readings are shown as they are, with
the interval they have in the table of grades.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from dyelab import compare, convert, numerics, table, words
from dyelab.compare import noise
from dyelab.errors import InputError, choose
from dyelab.grade import scales, shapes
from dyelab.grade.blue_wool import NOTICED
from dyelab.grade.grades import grade_text, interval, variants_of
from dyelab.grade.pairing import MADE, WHERE, Pairing

QUANTITIES = ("L", "C", "h", "dE00", "dEF")
DISTANCES: dict[str, Callable] = {"dE00": convert.dE00, "dEF": scales.grey_scale_difference}
VISIBLE = 1.0  # ΔE00 that an eye beside the original just sees (common practice)
HORIZON = 2.0  # times the longest exposure read: nothing is forecast beyond it
_NEUTRAL = 5.0  # C*ab under which a hue angle says nothing
_GRID = 40  # steps of a curve from the start to the horizon, beside its readings
_DRAWS = 300  # of the average of shapes; limits then stray by a twentieth of their width
# χ² of a change above which its limits are read off the draws, and between which the two ways
# blend: below, where it could be chance, the limits are those of a reading of the same noise.
# tests/benchmarks/fading_recovery.py measures whether bands hold with these.
_SURE, _BLEND = 8.0, 20.0
GROUP = [*WHERE, "exposure", "unit", "test", *MADE, "first"]


@dataclass(frozen=True)
class Fan:
    """The average of shapes over a row of exposures.

    Attributes
    ----------
    x : ndarray (q,)
    start : ndarray (3,)
        Colour before, as all readings have it.
    change, level : ndarray (q, 3)
        Mean change since the start, and mean colour.
    covariance : ndarray (q, 3, 3)
        Covariance of the change.
    changes, levels : ndarray (draws, q, 3)
    """

    x: np.ndarray
    start: np.ndarray
    change: np.ndarray
    level: np.ndarray
    covariance: np.ndarray
    changes: np.ndarray
    levels: np.ndarray


def fan(fit: shapes.Average, x: np.ndarray) -> Fan:
    """Average the members of a fit at exposures x."""
    change, covariance, changes = _average(fit, x, level=False)
    level, _, levels = _average(fit, x, level=True)
    first = fit.series.lab[0]
    return Fan(x, fit.start, change, first + level, covariance, changes, first + levels)


def _average(
    fit: shapes.Average, x: np.ndarray, level: bool
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Mean, covariance and draws."""
    means, spreads = fit.each(x, level)
    mean = np.einsum("m,mqi->qi", fit.weights, means)
    off = means - mean
    total = np.einsum("m,mqij->qij", fit.weights, spreads)
    total += np.einsum("m,mqi,mqj->qij", fit.weights, off, off)
    at = np.searchsorted(np.cumsum(fit.weights), (np.arange(_DRAWS) + 0.5) / _DRAWS)
    at = np.minimum(at, len(means) - 1)
    roots = numerics.symmetric_root(spreads)
    noise_drawn = np.random.default_rng(0).normal(size=(_DRAWS, 3))
    return mean, total, means[at] + np.einsum("sqij,sj->sqi", roots[at], noise_drawn)


@dataclass(frozen=True)
class Curve:
    """One quantity over exposure.

    Attributes
    ----------
    name : str
        One of `QUANTITIES`.
    of : Drift
        Whose curve it is.
    """

    name: str
    of: "Drift"

    @property
    def fan(self) -> Fan:
        """The average of shapes that it is read off."""
        return self.of.fan

    @cached_property
    def readings(self) -> pd.DataFrame:
        """`x, y, low, high`: every reading as in the table, its interval where it has one there."""
        if self.name in DISTANCES:
            y, low, high = self.of.distances[self.name]
            return pd.DataFrame({"x": self.of.amounts[1:], "y": y, "low": low, "high": high})
        values = _coordinate(self.name, self.of.lab)
        return pd.DataFrame({"x": self.of.amounts, "y": values, "low": np.nan, "high": np.nan})

    def at(self, x: np.ndarray) -> np.ndarray:
        """Curve at exposures x (q,), up to the horizon."""
        return np.interp(x, self.fan.x, self._middle)

    def band(self, x: np.ndarray, confidence: float = 0.95) -> tuple[np.ndarray, np.ndarray]:
        """Interval of the curve (not of a reading) at exposures x: low (q,), high (q,)."""
        low, high = self._limits if confidence == 0.95 else self._band(confidence)
        return np.interp(x, self.fan.x, low), np.interp(x, self.fan.x, high)

    @property
    def is_declined(self) -> bool:
        """Whether the band at the horizon is wider than the change already read."""
        low, high = self.band(np.array([HORIZON * self.of.longest]))
        now, before = self.at(np.array([self.of.longest, 0.0]))
        return bool(high[0] - low[0] > abs(now - before))

    @cached_property
    def _middle(self) -> np.ndarray:
        if self.name not in DISTANCES:
            return _coordinate(self.name, self.fan.level)
        return DISTANCES[self.name](self.fan.start, self.fan.start + self.fan.change)

    @cached_property
    def _limits(self) -> tuple[np.ndarray, np.ndarray]:
        return self._band(0.95)

    def _band(self, confidence: float) -> tuple[np.ndarray, np.ndarray]:
        if self.name in DISTANCES:
            return distance_band(DISTANCES[self.name], self.fan, confidence)
        drawn = _coordinate(self.name, self.fan.levels)
        if self.name == "h":  # round the circle from the middle
            drawn = self._middle + (drawn - self._middle + 180) % 360 - 180
        low, high = np.quantile(drawn, [(1 - confidence) / 2, (1 + confidence) / 2], axis=0)
        return low, high


def _coordinate(name: str, lab: np.ndarray) -> np.ndarray:
    """L*, C*ab or h (degrees, unwrapped along the exposures) of colours (..., q, 3)."""
    L, C, h = np.moveaxis(convert.lab_to_lch(lab), -1, 0)
    if name == "h":
        return np.degrees(np.unwrap(np.radians(h), axis=-1))
    return L if name == "L" else C


def distance_band(formula: Callable, one: Fan, confidence: float) -> tuple[np.ndarray, np.ndarray]:
    """Limits of a difference from before: as a reading's where it is unsure, else as drawn."""
    start = np.broadcast_to(one.start, one.change.shape)
    joint = np.zeros((len(one.x), 6, 6))
    joint[:, 3:, 3:] = one.covariance
    seen = compare.move(formula, start, start + one.change, joint)
    low, high = compare.directed_interval(seen, confidence)
    far = formula(np.broadcast_to(one.start, one.changes.shape), one.start + one.changes)
    along = far * np.sign(np.einsum("sqi,qi->sq", one.changes, one.change))
    tails = (1 - confidence) / 2, (1 + confidence) / 2
    drawn = np.quantile(along, tails[0], axis=0), np.quantile(far, tails[1], axis=0)
    size = (seen.parts**2 / seen.powers).sum(axis=1)
    sure = np.clip((size - _SURE) / _BLEND, 0, 1)
    low = (1 - sure) * low + sure * np.maximum(drawn[0], 0)
    high = (1 - sure) * high + sure * drawn[1]
    still = one.x == 0  # no change since the start, whatever the start was
    return np.where(still, 0.0, low), np.where(still, 0.0, high)


@dataclass(frozen=True)
class Drift:
    """One piece in one test.

    Attributes
    ----------
    swatch, part, area, exposure, unit, test : str
    series : ExposureSeries
        Exposures (the first is 0, before the test), colours and their covariance.
    distances : dict of str to ndarray (3, n - 1)
        Readings by distance: from before, with its limits, as in the table of grades.
    left_out : dict of str to str
        Why a quantity has no curve.
    """

    swatch: str
    part: str
    area: str
    exposure: str
    unit: str
    test: str
    series: shapes.ExposureSeries
    distances: dict[str, np.ndarray]
    left_out: dict[str, str]

    @property
    def amounts(self) -> np.ndarray:
        """Exposure of each reading (n,)."""
        return self.series.x

    @property
    def lab(self) -> np.ndarray:
        """Colour of each reading (n, 3)."""
        return self.series.lab

    @property
    def longest(self) -> float:
        """Longest exposure read."""
        return self.series.longest

    @cached_property
    def fit(self) -> shapes.Average:
        """All shapes, averaged by evidence."""
        return shapes.average_fit(self.series)

    @cached_property
    def fan(self) -> Fan:
        """The average over a grid from the start to the horizon."""
        far = HORIZON * self.longest
        even, early = np.linspace(0, far, _GRID + 1), np.geomspace(far / 500, far, 12)
        return fan(self.fit, np.unique(np.concatenate([even, early, self.amounts])))

    @cached_property
    def curves(self) -> dict[str, Curve]:
        """Curves by quantity: `L`, `C`, `h` (degrees), `dE00`, `dEF` (from the colour before)."""
        return {name: Curve(name, self) for name in QUANTITIES if name not in self.left_out}


def drift(
    found: Pairing,
    swatch: str,
    exposure: str,
    *,
    area: str = "whole",
    test: str | None = None,
    shared: pd.DataFrame | None = None,
) -> Drift:
    """Fit the curves of one swatch in one test.

    Parameters
    ----------
    found : Matched
        From `matched`.
    swatch, exposure, area : str
    test : str, optional
        Row of the tests table, where the swatch went through several of this exposure.
    shared : DataFrame, optional
        `table.SHARED` rows.

    Raises
    ------
    InputError
        If the swatch wasn't tested so, or after fewer than two amounts.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> found = grade.pair(wide)
    >>> one = grade.drift(found, "W01", "wash")
    >>> one.swatch, one.exposure
    ('W01', 'wash')
    """
    tested = found.pairs[found.pairs["part"].eq("swatch")]
    choose(str(swatch), tested["swatch"].unique(), "tested swatch")
    rows = tested[tested["swatch"].eq(swatch) & tested["area"].eq(area)]
    choose(exposure, rows["exposure"].unique(), "exposure", f"for swatch {swatch}")
    rows = rows[rows["exposure"].eq(exposure) & (rows["test"].eq(test) if test else True)]
    rows = rows[rows["amount"].gt(0)]
    if rows.empty:
        raise InputError(words.say("grade.no_amounts"))
    most = max(rows.groupby(GROUP, sort=False).groups.values(), key=len)
    variants = variants_of(found, shared)
    return _gather(_columns(_with_distances(rows.loc[most], variants)), variants)


def drifts(
    found: Pairing,
    *,
    shared: pd.DataFrame | None = None,
    progress: Callable[[float], None] | None = None,
) -> list[Drift]:
    """Fit every swatch and test with at least two amounts; see `drift`.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> found = grade.pair(wide)
    >>> few = grade.pair(wide[wide["swatch"] == "W01"])
    >>> [(one.swatch, one.exposure) for one in grade.drifts(few)]
    [('W01', 'wash'), ('W01', 'light')]
    """
    variants = variants_of(found, shared)
    tested = found.pairs[found.pairs["part"].eq("swatch") & found.pairs["amount"].gt(0)]
    places = sorted(tested.groupby(GROUP).indices.values(), key=lambda at: at[0])
    groups = [at for at in places if len(at) > 1]
    columns = _columns(_with_distances(tested, variants))
    made = []
    for i, at in enumerate(groups):
        made.append(_gather({name: of[at] for name, of in columns.items()}, variants))
        if progress:
            progress((i + 1) / len(groups))
    return made


def _columns(rows: pd.DataFrame) -> dict[str, np.ndarray]:
    """What a drift takes of its rows, as arrays: thousands of small frames would take seconds."""
    ends = [f"{name}{end}" for name in DISTANCES for end in ("", "_low", "_high")]
    used = [*WHERE, "exposure", "unit", "test", "first", "second", "amount", *ends]
    return {name: rows[name].to_numpy() for name in used}


def _gather(rows: dict[str, np.ndarray], variants: compare.Variants) -> Drift:
    """Gather the readings that share one test, one instrument and one before-reading."""
    order = np.argsort(rows["amount"], kind="stable")
    rows = {name: column[order] for name, column in rows.items()}
    at = [int(rows["first"][0]), *map(int, rows["second"])]
    lab, amounts = variants.mean[at], np.array([0.0, *rows["amount"]])
    shapes.need_several(amounts[1:])
    grey = convert.lab_to_lch(lab)[:, 1].min() < _NEUTRAL
    told = {name: str(rows[name][0]) for name in (*WHERE, "exposure", "unit", "test")}
    ends = {name: [rows[f"{name}{end}"] for end in ("", "_low", "_high")] for name in DISTANCES}
    return Drift(
        **told,
        series=shapes.ExposureSeries(amounts, lab, *_joint(variants, at)),
        distances={name: np.stack(own) for name, own in ends.items()},
        left_out={"h": words.say("grade.neutral")} if grey else {},
    )


def _with_distances(rows: pd.DataFrame, variants: compare.Variants) -> pd.DataFrame:
    """Add every distance from before with its interval, as `grades` has them."""
    first, second = rows["first"].to_numpy(), rows["second"].to_numpy()
    before, after = variants.mean[first], variants.mean[second]
    joint = noise.joint(variants, first, second)
    made: dict[str, np.ndarray] = {}
    for name, formula in DISTANCES.items():
        low, high, _ = interval(formula, before, after, joint, 0.95)
        made |= {name: formula(before, after), f"{name}_low": low, f"{name}_high": high}
    return rows.assign(**made)


def _joint(variants: compare.Variants, at: list[int]) -> tuple[np.ndarray, bool]:
    """Covariance of these means, one after another, with what they share."""
    own = variants.stated[at]
    if not np.isfinite(own).all():
        return np.eye(3 * len(at)), False
    rows = (3 * np.array(at)[:, None] + np.arange(3)).ravel()
    loadings = variants.loadings[rows].toarray()
    covariance = loadings @ loadings.T
    for i, block in enumerate(own):
        covariance[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] += block
    return covariance, True


@dataclass(frozen=True)
class Moment:
    """When a curve reaches a level: exposure, earliest and latest; infinity is *not in sight*.

    `declined` says that a forecast would be wider than the change read.
    """

    middle: float
    earliest: float
    latest: float
    longest: float
    declined: bool = False

    @property
    def forecast(self) -> bool:
        """Whether it lies beyond the longest exposure read."""
        return self.middle > self.longest


BEFORE, READ, BETWEEN, FORECAST, UNTOLD = "before", "read", "between", "forecast", "untold"


def along(one: Drift, amounts: np.ndarray) -> pd.DataFrame:
    """Colour and grade of a piece along its curve, as far as that may be told.

    Parameters
    ----------
    one : Drift
    amounts : ndarray (n,)
        Exposures, in the unit of `one`.

    Returns
    -------
    DataFrame
        One row an amount: `amount, L, a, b`; `least_L` to `most_b`, the colours that lie as far
        from before as the limits of the change (95 %) on the same way; `difference` (ΔE_F of ISO
        105-A05), `grade, grade_worst, grade_best, said`; `known`: ``before``, ``read`` (the
        reading made there), ``between`` readings, ``forecast``, or ``untold``, with blank
        numbers: beyond `HORIZON`, or where a forecast would be wider than the change read.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> found = grade.pair(wide)
    >>> one = grade.drift(found, "W01", "wash")
    >>> grade.along(one, np.array([1.0, 10.0])).round(1)[["L", "a", "b"]]
          L     a     b
    0  70.6  16.4  25.4
    1  72.7  14.9  24.2
    """
    x = np.asarray(amounts, float)
    curve, read = one.curves["dEF"], one.curves["dEF"].readings.set_index("x")
    change = np.stack([np.interp(x, one.fan.x, c) for c in one.fan.change.T], axis=-1)
    rows = pd.DataFrame(one.lab[0] + change, columns=table.LAB)
    low, high = curve.band(x)
    rows = rows.assign(amount=x, difference=curve.at(x), low=low, high=high)
    rows["known"] = np.select([x == 0, x <= one.longest], [BEFORE, BETWEEN], FORECAST)
    for at, reading in zip(read.index, read.itertuples(index=False), strict=True):
        here, lab = x == at, one.lab[np.flatnonzero(one.amounts == at)[0]]
        told = [*lab, reading.y, reading.low, reading.high, READ]
        rows.loc[here, [*table.LAB, "difference", "low", "high", "known"]] = told
    far = x > (one.longest if curve.is_declined else HORIZON * one.longest)
    rows.loc[far, [*table.LAB, "difference", "low", "high"]] = np.nan
    rows.loc[far, "known"] = UNTOLD
    return _with_grades(rows, one.lab[0])


def _with_grades(rows: pd.DataFrame, before: np.ndarray) -> pd.DataFrame:
    """Add the grades of the change and of its limits, and the colours at these limits."""
    middle = rows["difference"].to_numpy(float)
    way = rows[table.LAB].to_numpy(float) - before
    for name, limit in (("least", rows["low"]), ("most", rows["high"])):
        share = np.where(middle > 0, limit / np.where(middle > 0, middle, 1), 1.0)
        rows[[f"{name}_{c}" for c in table.LAB]] = before + way * share[:, None]
    for name, of in (("grade", middle), ("grade_worst", rows["high"]), ("grade_best", rows["low"])):
        rows[name] = scales.change_of(of)[1]
    return rows.assign(said=[grade_text(row) for row in rows.to_dict("records")])


def shows(one: Drift, level: float = VISIBLE, confidence: float = 0.95) -> Moment:
    """Exposure at which the change becomes visible: ΔE00 reaches `level`.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> found = grade.pair(wide)
    >>> one = grade.drift(found, "W01", "wash")
    >>> grade.shows(one, 1.0).longest
    10.0
    """
    return _moment(one, "dE00", level, confidence)


def fails(one: Drift, required: str, confidence: float = 0.95) -> Moment:
    """Exposure at which the grade of change falls below the one required.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> found = grade.pair(wide)
    >>> one = grade.drift(found, "W01", "wash")
    >>> grade.fails(one, "4").longest
    10.0
    """
    return _moment(one, "dEF", scales.worst_allowed(required), confidence)


def reaches_noticed(one: Drift, confidence: float = 0.95) -> Moment:
    """Exposure at which the change is that of grade 4: ΔE_F 1.7 (ISO 105-A02).

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> found = grade.pair(wide)
    >>> one = grade.drift(found, "W01", "wash")
    >>> grade.reaches_noticed(one).longest
    10.0
    """
    return _moment(one, "dEF", NOTICED, confidence)


def _moment(one: Drift, name: str, level: float, confidence: float) -> Moment:
    curve = one.curves[name]
    if not np.isfinite(level):
        return Moment(np.inf, np.inf, np.inf, one.longest, curve.is_declined)
    low, high = curve.band(one.fan.x, confidence)
    above = np.stack([curve.at(one.fan.x), high, low]) - level
    middle, earliest, latest = map(float, numerics.first_reached(one.fan.x, above))
    return Moment(middle, earliest, latest, one.longest, curve.is_declined)


def curve_table(one: Drift, confidence: float = 0.95) -> pd.DataFrame:
    """One row a quantity: what shape its curve has, how fast, from where to where.

    Returns
    -------
    DataFrame
        `quantity, shape, told` (whether the readings tell the shape), `rate, rate_low,
        rate_high` and `rate_of`: ``k`` per unit of exposure (first order, and the fastest of
        several rates), ``exponent`` of a power, blank else; `before, after`; `forecast,
        forecast_low, forecast_high` (at `HORIZON` times the longest exposure), `declined`
        (that band is wider than the change read).

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> found = grade.pair(wide)
    >>> one = grade.drift(found, "W01", "wash")
    >>> list(grade.curve_table(one)["quantity"])
    ['L', 'C', 'h', 'dE00', 'dEF']
    """
    far = np.array([HORIZON * one.longest])
    rate, low, high, kind = _rate(one, confidence)
    rows = []
    for name, curve in one.curves.items():
        below, above = curve.band(far, confidence)
        ends = curve.at(np.array([0.0, one.longest, far[0]]))
        row = {"quantity": name, "shape": one.fit.shape, "told": one.fit.shows_shape}
        row |= {"rate": rate, "rate_low": low, "rate_high": high, "rate_of": kind}
        row |= {"before": ends[0], "after": ends[1], "forecast": ends[2]}
        row |= {"forecast_low": below[0], "forecast_high": above[0], "declined": curve.is_declined}
        rows.append(row)
    return pd.DataFrame(rows)


def _rate(one: Drift, confidence: float) -> tuple[float, float, float, str]:
    """Rate or exponent of the likeliest shape with its interval, and which of them it is."""
    middle, low, high = one.fit.theta(confidence)
    if one.fit.shape in ("first order", "two rates", "three rates"):
        return middle / one.longest, low / one.longest, high / one.longest, "k"
    if one.fit.shape == "power of dose":
        return middle, low, high, "exponent"
    return np.nan, np.nan, np.nan, ""


def amount_text(value: float, unit: str) -> str:
    """An exposure with its unit as the trade says it: ``12 washes``, ``1.3 million lx h``.

    Examples
    --------
    >>> from dyelab import grade
    >>> grade.amount_text(1e6, "lx h")
    '1 million lx h'
    """
    if unit == "lx h":
        if value < 1e5:
            return f"{_short(value / 1e3)} klx h"
        return words.say("grade.million_lx_h", amount=_short(value / 1e6))
    if unit == "cycle":
        unit = words.say("grade.wash" if round(value, 1) == 1 else "grade.washes")
    return f"{_short(value)} {unit}".strip()


def _short(value: float) -> str:
    return f"{value:.0f}" if value >= 20 else f"{value:.2g}" if value < 10 else f"{value:.3g}"


def _ends(moment: Moment, unit: str) -> dict[str, str]:
    """Both ends of an interval; the unit is said once where both have the same."""
    early = amount_text(moment.earliest, unit)
    late = amount_text(moment.latest, unit) if np.isfinite(moment.latest) else ""
    named = [said.partition(" ")[2] for said in (early, late)]
    return {"early": early.partition(" ")[0] if named[0] == named[1] else early, "late": late}


def moment_text(moment: Moment, unit: str) -> str:
    """When, in words: with its interval, and whether it is a forecast.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> found = grade.pair(wide)
    >>> one = grade.drift(found, "W01", "wash")
    >>> grade.moment_text(grade.fails(one, "4"), "cycle")
    'after about 1.5 washes (1.2 to 1.9 washes)'
    """
    if moment.declined and moment.middle > moment.longest and moment.earliest < np.inf:
        return words.say("grade.no_forecast", early=amount_text(moment.earliest, unit))
    if np.isinf(moment.middle):
        far = amount_text(HORIZON * moment.longest, unit)
        if np.isinf(moment.earliest):
            return words.say("grade.never", far=far)
        return words.say("grade.perhaps", far=far, early=amount_text(moment.earliest, unit))
    key = "grade.after_about" if np.isfinite(moment.latest) else "grade.after_open"
    text = words.say(key, middle=amount_text(moment.middle, unit), **_ends(moment, unit))
    return text + (words.say("grade.forecast") if moment.forecast else "")
