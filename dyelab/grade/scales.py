"""The two grey scales of colour fastness by instrument: change (ISO 105-A05), staining (A04)."""

from collections.abc import Callable

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from dyelab import convert
from dyelab.errors import InputError, choose

GRADES = ("5", "4-5", "4", "3-4", "3", "2-3", "2", "1-2", "1")

# ΔE_F at which each grade ends and the next worse begins (ISO 105-A05, table; each is the
# midpoint of two nominals of ISO 105-A02, table 1).
CHANGE_LIMITS = (0.40, 1.25, 2.10, 2.95, 4.10, 5.80, 8.20, 11.60)

_ACHROMATIC = 1e-6  # chroma under which a hue angle is rounding noise
_STEP_EDGE = 4.0  # SSR above this takes the second branch of ISO 105-A04


def grey_scale_difference(reference: ArrayLike, sample: ArrayLike) -> np.ndarray:
    """ΔE_F of ISO 105-A05, in CIELAB units: (..., 3) and (..., 3) to (...).

    The formula is recalled from the standard. Its lightness term is checked against the
    nominals of ISO 105-A02; for the chroma and hue terms no published worked example was to be
    had, so they are checked against a second writing of the formula only. An achromatic colour
    has no hue: the mean hue is then that of the other one, which the standard leaves open.

    Examples
    --------
    >>> from dyelab import grade
    >>> round(float(grade.grey_scale_difference([50, 20, 10], [53, 18, 9])), 2)
    3.55
    """
    reference, sample = np.asarray(reference, float), np.asarray(sample, float)
    L_R, C_R, h_R = np.moveaxis(convert.lab_to_lch(reference), -1, 0)
    L_T, C_T, h_T = np.moveaxis(convert.lab_to_lch(sample), -1, 0)
    dC, C_M = C_T - C_R, (C_T + C_R) / 2
    turn = (h_T - h_R + 180) % 360 - 180
    dH = 2 * np.sqrt(C_T * C_R) * np.sin(np.radians(turn) / 2)
    h_M = _mean_hue(h_R, h_T, C_R, C_T)
    away = np.abs(h_M - 280)
    x = (np.where(away <= 180, away, 360 - away) / 30) ** 2
    D = dC * C_M * np.exp(-x) / 100
    dC_F = (dC - D) / (1 + (20 * C_M / 1000) ** 2)
    dH_F = (dH - D) / (1 + (10 * C_M / 1000) ** 2)
    return np.sqrt((L_T - L_R) ** 2 + dC_F**2 + dH_F**2)


def _mean_hue(h_R: np.ndarray, h_T: np.ndarray, C_R: np.ndarray, C_T: np.ndarray) -> np.ndarray:
    """h_M in degrees, across 0/360 where that is the shorter way."""
    far = np.abs(h_T - h_R) > 180
    across = np.where(h_T + h_R < 360, 180, -180)
    mean = (h_T + h_R) / 2 + np.where(far, across, 0)
    mean = np.where(C_R < _ACHROMATIC, h_T, mean)
    return np.where(C_T < _ACHROMATIC, h_R, mean)


def staining_difference(reference: ArrayLike, sample: ArrayLike) -> np.ndarray:
    """ΔE_GS of ISO 105-A04, in CIELAB units: ΔE*ab - 0.4 √(ΔE*ab² - ΔL*²).

    Examples
    --------
    >>> from dyelab import grade
    >>> round(float(grade.staining_difference([90, 0, 5], [86, 3, 6])), 2)
    3.83
    """
    reference, sample = np.asarray(reference, float), np.asarray(sample, float)
    move = sample - reference
    beside = np.hypot(move[..., 1], move[..., 2])  # √(ΔE*ab² - ΔL*²), without the rounding
    return np.linalg.norm(move, axis=-1) - 0.4 * beside


def change_of(difference: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """Value GS (1 to 5) and the table's grade of each ΔE_F (ISO 105-A05).

    The grade is read from the standard's table; rounding GS doesn't always give it
    (ΔE_F = 4.07 is grade 3 by the table, 2-3 by rounding).

    Examples
    --------
    >>> from dyelab import grade
    >>> grade.change_of([0.3, 1.7, 5.0])[1].tolist()
    ['5', '4', '2-3']
    """
    dE = np.asarray(difference, float)
    with np.errstate(divide="ignore"):
        value = np.where(dE <= 3.4, 5 - dE / 1.7, 5 - np.log2(dE / 0.85))
    # A difference given to two decimals, as the table is, may sit a rounding error off a limit.
    step = np.searchsorted(CHANGE_LIMITS, np.round(dE, 9), side="right")
    return np.clip(value, 1, 5), _name(step, dE)


def staining_of(difference: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """Value SSR (1 to 5) and grade of each ΔE_GS (ISO 105-A04), to the nearest half grade.

    SSR = 6.1 - 1.45 ln ΔE_GS; where that is over 4, 5 - 0.23 ΔE_GS. A value midway between two
    grades takes the better one.

    Examples
    --------
    >>> from dyelab import grade
    >>> grade.staining_of([0.3, 4.0])[1].tolist()
    ['5', '4']
    """
    dE = np.asarray(difference, float)
    with np.errstate(divide="ignore"):  # ln 0: the second branch applies
        value = 6.1 - 1.45 * np.log(dE)
    value = np.clip(np.where(value > _STEP_EDGE, 5 - 0.23 * dE, value), 1, 5)
    return value, _name(np.ceil(np.round((5 - value) * 2 - 0.5, 9)), dE)


def _name(step: np.ndarray, difference: np.ndarray) -> np.ndarray:
    """Grade texts; blank where the difference isn't known."""
    known = np.isfinite(difference)
    place = np.where(known, np.clip(step, 0, len(GRADES) - 1), 0).astype(int)
    return np.where(known, np.asarray(GRADES, object)[place], "")


def _staining_limits() -> tuple[float, ...]:
    """ΔE_GS at which each staining grade ends: the formula solved at the quarter grades."""
    # SSR falls to 4 by the first branch at this difference; the second branch is then at 4.02.
    edge = np.exp((6.1 - _STEP_EDGE) / 1.45)
    limits = [(5 - middle) / 0.23 for middle in (4.75, 4.25)]
    limits += [float(np.exp((6.1 - m) / 1.45)) for m in (3.75, 3.25, 2.75, 2.25, 1.75, 1.25)]
    assert limits[1] < edge < limits[2]  # both branches round to 4 at the step between them
    return tuple(limits)


STAINING_LIMITS = _staining_limits()


def change_grade(reference_lab: ArrayLike, sample_lab: ArrayLike) -> pd.DataFrame:
    """Grade of colour change of each pair, before and after (ISO 105-A05).

    Parameters
    ----------
    reference_lab, sample_lab : array_like, shape (n, 3) or (3,)
        CIELAB before and after, under one white; the standard asks for D65/10°.

    Returns
    -------
    DataFrame
        `change_dEF` (ΔE_F), `change_value` (GS, 1 to 5), `change_grade` (text such as
        ``"4-5"``), `change_to_worse`, `change_to_better` (ΔE_F left to the next worse grade,
        and by which the next better was missed; NaN where there is none). NaN and blank where a
        colour is missing.

    Raises
    ------
    InputError
        If the two don't pair up or the last axis isn't L*, a*, b*.

    Notes
    -----
    The lightness term reproduces the nominals of ISO 105-A02. No published worked example of
    the chroma and hue terms was to be had. Grades by eye scatter about half a grade within one
    laboratory (ISO 105-B02, annex E).

    Examples
    --------
    >>> from dyelab import grade
    >>> grade.change_grade([50, 20, 10], [53, 18, 9])[["change_value", "change_grade"]].round(1)
       change_value change_grade
    0           2.9            3
    """
    difference = grey_scale_difference(*_pair(reference_lab, sample_lab))
    return _on_scale(difference, change_of, CHANGE_LIMITS, "dEF").add_prefix("change_")


def staining_grade(reference_lab: ArrayLike, sample_lab: ArrayLike) -> pd.DataFrame:
    """Grade of staining of each pair, unstained and stained adjacent cloth (ISO 105-A04).

    Parameters
    ----------
    reference_lab, sample_lab : array_like, shape (n, 3) or (3,)
        CIELAB of the unstained and of the stained cloth, under one white.

    Returns
    -------
    DataFrame
        `staining_dEGS` (ΔE_GS), `staining_value` (SSR, 1 to 5), `staining_grade`,
        `staining_to_worse`, `staining_to_better`; as `change`.

    Raises
    ------
    InputError
        As `change`.

    Notes
    -----
    Formula and A03 nominals are recalled; the lightness term reproduces the nominals. For the
    chroma term no published worked example was to be had. The formula steps from 4.000 to 4.021
    at ΔE_GS = 4.256; both are grade 4.

    Examples
    --------
    >>> from dyelab import grade
    >>> grade.staining_grade([90, 0, 5], [86, 3, 6])[["staining_value", "staining_grade"]].round(1)
       staining_value staining_grade
    0             4.1              4
    """
    difference = staining_difference(*_pair(reference_lab, sample_lab))
    return _on_scale(difference, staining_of, STAINING_LIMITS, "dEGS").add_prefix("staining_")


def _on_scale(
    difference: np.ndarray, grading: Callable, limits: tuple[float, ...], sign: str
) -> pd.DataFrame:
    value, grade = grading(difference)
    edges = np.array([np.nan, *limits, np.nan])
    place = np.array([GRADES.index(name) if name else 0 for name in grade], dtype=int)
    worse, better = edges[place + 1] - difference, difference - edges[place]
    told = {"value": value, "grade": grade, "to_worse": worse, "to_better": better}
    return pd.DataFrame({sign: difference, **told})


def _pair(reference: ArrayLike, sample: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    first, second = np.asarray(reference, float), np.asarray(sample, float)
    for one in (first, second):
        if one.ndim not in (1, 2) or one.shape[-1] != 3:
            raise InputError(
                f"grade: an array of shape {one.shape} isn't CIELAB. "
                "Give L*, a*, b* in rows: shape (n, 3)."
            )
    try:
        first, second = np.broadcast_arrays(np.atleast_2d(first), np.atleast_2d(second))
    except ValueError as error:
        raise InputError(
            f"grade: {len(first)} colours before and {len(second)} after don't pair up. "
            "Give one row a pair in both."
        ) from error
    return first, second


def worst_allowed(required: str, kind: str = "change") -> float:
    """Difference (ΔE_F, or ΔE_GS for staining) at which a grade stops being reached.

    Parameters
    ----------
    required : str
        A grade such as ``"4"`` or ``"3-4"``.
    kind : {"change", "staining"}

    Raises
    ------
    InputError
        If there is no such grade.

    Examples
    --------
    >>> from dyelab import grade
    >>> grade.worst_allowed("4")
    2.1
    """
    limits = CHANGE_LIMITS if kind == "change" else STAINING_LIMITS
    place = GRADES.index(choose(str(required), GRADES, "grade"))
    return float((*limits, np.inf)[place])
