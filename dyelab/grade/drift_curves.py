"""A piece's colour over cycles or dose: fitted curves, forecasts, when it shows, when it fails."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from dyelab import compare, convert, words
from dyelab.compare import formulas
from dyelab.errors import InputError, choose
from dyelab.grade import curves as shapes
from dyelab.grade import scales
from dyelab.grade.blue_wool import NOTICED
from dyelab.grade.grades import gathered
from dyelab.grade.pairing import MADE, WHERE, Matched

QUANTITIES = ("L", "C", "h", "dE00", "dEF")
DISTANCES: dict[str, Callable] = {"dE00": convert.dE00, "dEF": scales.grey_scale_difference}
VISIBLE = 1.0  # ΔE00 that an eye beside the original just sees (common practice)
HORIZON = 2.0  # times the longest exposure read: nothing is forecast beyond it
_NEUTRAL = 5.0  # C*ab under which a hue angle says nothing
_NEAR = 0.1  # a distance shorter than this has no direction of its own
_LIMITS = {"L": (0, 100), "C": (0, np.inf), "dE00": (0, np.inf), "dEF": (0, np.inf)}
GROUP = [*WHERE, "exposure", "unit", "test", *MADE, "first"]


@dataclass(frozen=True)
class Curves(Mapping[str, shapes.Choice]):
    """Fitted curves by quantity, each fitted when it is first asked for.

    A page of many swatches asks for one quantity of most and for all of a few.
    """

    names: tuple[str, ...]
    _fit: Callable[[str], shapes.Choice]
    _kept: dict[str, shapes.Choice] = field(default_factory=dict)

    def __getitem__(self, name: str) -> shapes.Choice:
        if name not in self.names:
            raise KeyError(name)
        if name not in self._kept:
            self._kept[name] = self._fit(name)
        return self._kept[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.names)

    def __len__(self) -> int:
        return len(self.names)


@dataclass(frozen=True)
class Drift:
    """One piece in one test.

    Attributes
    ----------
    swatch, part, area, exposure, unit, test : str
    amounts : ndarray (n,)
        Exposure of each reading; the first is 0, before the test.
    lab : ndarray (n, 3)
    covariance : ndarray (3 n, 3 n)
        Of the rows of `lab` one after another.
    stated : bool
        False where the readings state no uncertainty; `covariance` is then a unit matrix.
    curves : mapping of str to Choice
        By quantity: `L`, `C`, `h` (degrees), `dE00` and `dEF` (from the colour before).
    left_out : dict of str to str
        Why a quantity has no curve.
    """

    swatch: str
    part: str
    area: str
    exposure: str
    unit: str
    test: str
    amounts: np.ndarray
    lab: np.ndarray
    covariance: np.ndarray
    stated: bool
    curves: Mapping[str, shapes.Choice]
    left_out: dict[str, str]

    @property
    def longest(self) -> float:
        """Longest exposure read."""
        return float(self.amounts[-1])


def drift(
    found: Matched,
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
    return _fitted(rows.loc[most], gathered(found, shared))


def drifts(
    found: Matched,
    *,
    shared: pd.DataFrame | None = None,
    progress: Callable[[float], None] | None = None,
) -> list[Drift]:
    """Fit every swatch and test with at least two amounts; see `drift`."""
    variants = gathered(found, shared)
    tested = found.pairs[found.pairs["part"].eq("swatch") & found.pairs["amount"].gt(0)]
    groups = [rows for _, rows in tested.groupby(GROUP, sort=False) if len(rows) > 1]
    made = []
    for i, rows in enumerate(groups):
        made.append(_fitted(rows, variants))
        if progress:
            progress((i + 1) / len(groups))
    return made


def _fitted(rows: pd.DataFrame, variants: compare.Variants) -> Drift:
    """Fit the readings that share one test, one instrument and one before-reading."""
    rows = rows.sort_values("amount", kind="stable")
    at = [int(rows["first"].iloc[0]), *map(int, rows["second"])]
    lab, amounts = variants.mean[at], np.array([0.0, *rows["amount"]])
    covariance, stated = _joint(variants, at)
    grey = convert.lab_to_lch(lab)[:, 1].min() < _NEUTRAL
    left_out = {"h": words.say("grade.neutral")} if grey else {}
    shapes.several(amounts[1:])
    curves = Curves(
        tuple(name for name in QUANTITIES if name not in left_out),
        lambda name: shapes.choose(_series(name, amounts, lab, covariance, stated)),
    )
    swatch, part, area, exposure, unit, test = (
        str(rows[name].iloc[0]) for name in (*WHERE, "exposure", "unit", "test")
    )
    piece = (swatch, part, area, exposure, unit, test)
    return Drift(*piece, amounts, lab, covariance, stated, curves, left_out)


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


def _series(
    name: str, amounts: np.ndarray, lab: np.ndarray, covariance: np.ndarray, stated: bool
) -> shapes.Series:
    if name in DISTANCES:
        values, slopes = _distance(DISTANCES[name], lab, covariance, stated)
        amounts, start = amounts[1:], 0.0
    else:
        values, slopes = _coordinate(name, lab)
        start = None
    noise = slopes @ covariance @ slopes.T
    noise += 1e-9 * max(float(np.trace(noise)) / len(noise), 1e-9) * np.eye(len(noise))
    return shapes.Series(amounts, values, noise, start, stated)


def _coordinate(name: str, lab: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """L*, C*ab or h of each reading, and its slope to all of `lab`: (n,), (n, 3 n)."""
    L, C, h = convert.lab_to_lch(lab).T
    n, turn = len(lab), np.radians(h)
    if name == "L":
        values, parts = L, np.tile([1.0, 0.0, 0.0], (n, 1))
    elif name == "C":
        values, parts = C, np.stack([0 * C, np.cos(turn), np.sin(turn)], axis=1)
    else:
        values = np.degrees(np.unwrap(turn))
        parts = np.degrees(np.stack([0 * C, -np.sin(turn) / C, np.cos(turn) / C], axis=1))
    slopes = np.zeros((n, n, 3))
    slopes[np.arange(n), np.arange(n)] = parts
    return values, slopes.reshape(n, 3 * n)


def _distance(
    formula: Callable, lab: np.ndarray, covariance: np.ndarray, stated: bool
) -> tuple[np.ndarray, np.ndarray]:
    """Distance of each later colour from the first, less what noise alone adds, and its slopes."""
    n = len(lab) - 1
    first, later = np.repeat(lab[:1], n, axis=0), lab[1:]
    size = formula(first, later)
    short = np.maximum(np.linalg.norm(later - first, axis=1), 1e-9)
    stretch = np.where(size < _NEAR, _NEAR / short, 1.0)[:, None]
    gradient = formulas.distance_gradient(formula, first, first + (later - first) * stretch)
    slopes = np.zeros((n, n + 1, 3))
    slopes[:, 0], slopes[np.arange(n), np.arange(1, n + 1)] = gradient[:, :3], gradient[:, 3:]
    flat = slopes.reshape(n, -1)
    return _without_noise(formula, lab, size, flat, covariance) if stated else (size, flat)


def _without_noise(
    formula: Callable,
    lab: np.ndarray,
    size: np.ndarray,
    slopes: np.ndarray,
    covariance: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Take off what noise across the move adds to a distance, and widen short ones.

    A distance no longer than its noise has no sure direction: its variance is the mean over
    where the move may point, as in `compare`, and grows as the noise is taken off.
    """
    shape = formulas.metric(formula, np.repeat(lab[:1], len(size), axis=0), lab[1:])
    spread = shape @ _of_moves(len(size), covariance)
    trace = np.trace(spread, axis1=1, axis2=2)
    square = np.einsum("nij,nji->n", spread, spread)
    along = np.einsum("ni,ij,nj->n", slopes, covariance, slopes)
    added = np.maximum(trace - along, 0)
    shorter = np.sqrt(np.maximum(size**2 - added, 0))
    variance = (size**2 * along + square) / (size**2 + trace)
    variance *= size**2 / np.maximum(shorter**2 + added / 2, 1e-12)
    widen = np.sqrt(np.maximum(variance / np.maximum(along, 1e-12), 1.0))
    return shorter, slopes * widen[:, None]


def _of_moves(n: int, covariance: np.ndarray) -> np.ndarray:
    """Covariance of each later colour minus the first: (n, 3, 3)."""
    minus = np.zeros((n, 3, n + 1, 3))
    for i in range(n):
        minus[i, :, 0], minus[i, :, i + 1] = -np.eye(3), np.eye(3)
    apart = minus.reshape(n, 3, -1)
    return apart @ covariance @ np.swapaxes(apart, 1, 2)


@dataclass(frozen=True)
class Moment:
    """When a curve reaches a level: exposure, earliest and latest; infinity is *not in sight*."""

    middle: float
    earliest: float
    latest: float
    longest: float

    @property
    def forecast(self) -> bool:
        """Whether it lies beyond the longest exposure read."""
        return self.middle > self.longest


def band(
    one: Drift, name: str, amounts: np.ndarray, confidence: float = 0.95
) -> tuple[np.ndarray, np.ndarray]:
    """Interval of a curve at these exposures, kept to what the quantity can be."""
    low, high = one.curves[name].band(amounts, confidence)
    least, most = _LIMITS.get(name, (-np.inf, np.inf))
    return np.clip(low, least, most), np.clip(high, least, most)


def shows(one: Drift, level: float = VISIBLE, confidence: float = 0.95) -> Moment:
    """Exposure at which the change becomes visible: ΔE00 reaches `level`."""
    return _moment(one, "dE00", level, confidence)


def fails(one: Drift, required: str, confidence: float = 0.95) -> Moment:
    """Exposure at which the grade of change falls below the one required."""
    return _moment(one, "dEF", scales.worst_allowed(required), confidence)


def reaches_noticed(one: Drift, confidence: float = 0.95) -> Moment:
    """Exposure at which the change is that of grade 4: ΔE_F 1.7 (ISO 105-A02)."""
    return _moment(one, "dEF", NOTICED, confidence)


def _moment(one: Drift, name: str, level: float, confidence: float) -> Moment:
    if not np.isfinite(level):
        return Moment(np.inf, np.inf, np.inf, one.longest)
    at = shapes.reaches(one.curves[name], level, HORIZON * one.longest, confidence)
    return Moment(*at, one.longest)


def curve_table(one: Drift, confidence: float = 0.95) -> pd.DataFrame:
    """One row a quantity: what shape its curve has, how fast, from where to where.

    Returns
    -------
    DataFrame
        `quantity, shape, told` (whether the readings tell the shape), `rate, rate_low,
        rate_high` (per unit of exposure), `rate_of` (``k`` or ``units``), `before, after`,
        `forecast, forecast_low, forecast_high` (at `HORIZON` times the longest exposure).
    """
    far = np.array([HORIZON * one.longest])
    rows = []
    for name, choice in one.curves.items():
        chosen = choice.chosen
        rate, low, high = chosen.rate(confidence)
        below, above = band(one, name, far, confidence)
        ends = choice.at(np.array([0.0, one.longest, far[0]]))
        rows.append(
            {
                "quantity": name,
                "shape": chosen.shape,
                "told": choice.told,
                "rate": rate,
                "rate_low": low,
                "rate_high": high,
                "rate_of": "units" if chosen.shape == "constant rate" else "k",
                "before": ends[0],
                "after": ends[1],
                "forecast": ends[2],
                "forecast_low": below[0],
                "forecast_high": above[0],
            }
        )
    return pd.DataFrame(rows)


def amount_text(value: float, unit: str) -> str:
    """An exposure with its unit as the trade says it: ``12 washes``, ``1.3 Mlx h``."""
    if unit == "lx h":
        return f"{_short(value / 1e6)} Mlx h" if value >= 1e5 else f"{_short(value / 1e3)} klx h"
    names = {"cycle": "wash" if round(value, 1) == 1 else "washes", "h": "h"}
    return f"{_short(value)} {names.get(unit, unit)}".strip()


def _short(value: float) -> str:
    return f"{value:.0f}" if value >= 20 else f"{value:.2g}" if value < 10 else f"{value:.3g}"


def _ends(moment: Moment, unit: str) -> dict[str, str]:
    """Both ends of an interval; the unit is said once where both have the same."""
    early = amount_text(moment.earliest, unit)
    late = amount_text(moment.latest, unit) if np.isfinite(moment.latest) else ""
    named = [said.partition(" ")[2] for said in (early, late)]
    return {"early": early.partition(" ")[0] if named[0] == named[1] else early, "late": late}


def moment_text(moment: Moment, unit: str) -> str:
    """When, in words: with its interval, and whether it is a forecast."""
    if np.isinf(moment.middle) and np.isinf(moment.earliest):
        return words.say("grade.never", far=amount_text(HORIZON * moment.longest, unit))
    if np.isinf(moment.middle):
        return words.say("grade.perhaps", early=amount_text(moment.earliest, unit))
    key = "grade.after_about" if np.isfinite(moment.latest) else "grade.after_open"
    text = words.say(
        key,
        middle=amount_text(moment.middle, unit),
        **_ends(moment, unit),
    )
    return text + (words.say("grade.forecast") if moment.forecast else "")
