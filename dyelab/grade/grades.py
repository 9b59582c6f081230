"""Grades of matched readings: the value, the grade, what else it could be, and a requirement."""

from typing import Any

import numpy as np
import pandas as pd

from dyelab import compare, convert, table, words
from dyelab.compare import CANNOT_TELL, CHANCE, REAL, noise
from dyelab.errors import InputError
from dyelab.grade import scales
from dyelab.grade.pairing import WHERE, Pairing

MET, NOT_MET, NOT_SETTLED = "met", "not_met", "not_settled"
UNSETTLING = ("instrument_changed", "geometry_changed", "conditions_changed", "disagree")
_KINDS = {
    "change": (scales.grey_scale_difference, scales.change_grade),
    "staining": (scales.staining_difference, scales.staining_grade),
}
_PARTS = ["dL", "da", "db", "dC", "dH", "dE76", "dE00", "dECMC"]


def grades(
    found: Pairing, *, shared: pd.DataFrame | None = None, confidence: float = 0.95
) -> pd.DataFrame:
    """Grade every matched pair.

    Parameters
    ----------
    found : Matched
        From `matched`.
    shared : DataFrame, optional
        `table.SHARED`: errors that readings of one photo share, which cancel in part.
    confidence : float
        Of the interval, between 0 and 1.

    Returns
    -------
    DataFrame
        The columns of ``found.pairs``; `L_before, a_before, b_before, L, a, b, illuminant,
        observer`; `dL` to `dECMC` (after minus before), `dE00_low, dE00_high`; `difference`
        (ΔE_F of ISO 105-A05, or ΔE_GS of A04), `difference_low, difference_high`; `changed`
        (``real``, ``chance``, or ``cannot_tell`` where the uncertainty isn't known: whether this
        piece changed at all) and `chance_if_equal` behind it; `value`, `grade`, `grade_worst,
        grade_best` (over the interval; blank where the uncertainty isn't known), `said`,
        `to_worse, to_better` (difference left to the next limits), `moved` (in words),
        `cautions`.

    Notes
    -----
    The interval is for the difference of this very piece, from the joint covariance of before and
    after: errors that both readings share are taken off, and noise along one direction doesn't
    hide a change along another. A second swatch of the recipe may behave otherwise.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> grades = grade.grades(grade.pair(book.wide(bk)), shared=bk.shared)
    >>> grades[["swatch", "exposure", "amount", "grade"]].head(2)
      swatch exposure  amount grade
    0    W01     wash     1.0     4
    1    W02     wash     1.0   4-5
    """
    if not 0 < confidence < 1:
        raise InputError(f"grade: confidence is {confidence}. Give a value between 0 and 1.")
    variants = variants_of(found, shared)
    kinds = {kind: found.pairs[found.pairs["kind"] == kind] for kind in _KINDS}
    parts = [_one_kind(own, kind, variants, confidence) for kind, own in kinds.items()]
    result = pd.concat([part for part in parts if len(part)]).sort_index()
    illuminant, observer = table.one_white(found.readings)
    return result.assign(
        illuminant=illuminant,
        observer=observer,
        said=[grade_text(row) for row in _rows(result, *_GRADES)],
        cautions=[_cautions(row) for row in _rows(result, "screening", "flags", "grade_worst")],
    )


_GRADES = ("grade", "grade_worst", "grade_best")


def _rows(frame: pd.DataFrame, *names: str) -> list[dict[Any, Any]]:
    """Rows as dicts of these columns alone: a book's many columns would take most of the time."""
    return frame[list(names)].to_dict("records")


def variants_of(found: Pairing, shared: pd.DataFrame | None) -> compare.Variants:
    """Mean and noise of each set; a reading used twice is told apart by its row."""
    rows = found.readings.assign(_row=[f"{i}" for i in range(len(found.readings))])
    if shared is not None and len(shared):
        names = rows[["reading", "_row"]]
        shared = shared.merge(names, on="reading").drop(columns="reading")
        shared = shared.rename(columns={"_row": "reading"})
    piece = pd.MultiIndex.from_frame(rows[WHERE].astype(str)).to_flat_index()
    rows = rows.assign(reading=rows["_row"], _cloth=piece)
    return compare.gather(rows, by="set", piece="set", shared=shared, dyed="_cloth")


def _one_kind(
    pairs: pd.DataFrame, kind: str, variants: compare.Variants, confidence: float
) -> pd.DataFrame:
    if pairs.empty:
        return pairs
    formula, scale = _KINDS[kind]
    first, second = pairs["first"].to_numpy(), pairs["second"].to_numpy()
    before, after = variants.mean[first], variants.mean[second]
    joint = noise.joint(variants, first, second)
    result = pairs.drop(columns=["first", "second"]).reset_index(names="_at")
    told = scale(before, after)
    told.columns = ["difference", "value", "grade", "to_worse", "to_better"]
    low, high, _ = interval(formula, before, after, joint, confidence)
    near, far, chance = interval(convert.dE00, before, after, joint, confidence)
    result = pd.concat([result, convert.differences(before, after)[_PARTS], told], axis=1)
    result[[f"{name}_before" for name in table.LAB]] = before
    result[table.LAB] = after
    minus = np.hstack([-np.eye(3), np.eye(3)])  # after less before
    result = table.with_covariances(result, minus @ joint.total @ minus.T)
    of = scales.change_of if kind == "change" else scales.staining_of
    result = result.assign(difference_low=low, difference_high=high, dE00_low=near, dE00_high=far)
    changed = np.where(chance <= 1 - confidence, REAL, CHANCE).astype(object)
    changed[~np.isfinite(chance)] = CANNOT_TELL
    result = result.assign(chance_if_equal=chance, changed=changed)
    result = result.assign(grade_worst=of(high)[1], grade_best=of(low)[1])
    result["moved"] = compare.direction(before, after)
    return result.set_index("_at").rename_axis(None)


def interval(
    formula, before: np.ndarray, after: np.ndarray, joint: noise.Joint, confidence: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Interval of a difference by any formula, and the chance that equal colours differ so.

    All (n,); NaN where the noise isn't known.
    """
    low, high, chance = np.full((3, len(before)), np.nan)
    known = np.isfinite(joint.total).all(axis=(1, 2))
    if known.any():
        seen = compare.move(formula, before[known], after[known], joint.total[known])
        low[known], high[known] = compare.directed_interval(seen, confidence)
        chance[known] = seen.chance_if_equal
    return low, high, chance


def grade_text(row: dict) -> str:
    """``4, could be 3-4``: the grade and what else the noise allows."""
    best, worst, grade = row["grade_best"], row["grade_worst"], row["grade"]
    if not grade:
        return words.say("grade.unread")
    if not worst:
        return words.say("grade.bare", grade=grade)
    others = [one for one in (worst, best) if one != grade]
    if not others:
        return str(grade)
    key = "grade.could_be" if len(others) == 1 else "grade.could_span"
    return words.say(key, grade=grade, worst=others[0], best=others[-1])


def _cautions(row: dict) -> str:
    named = [*(["screening"] if row["screening"] else []), *str(row["flags"]).split()]
    if not row["grade_worst"]:
        named.append("no_uncertainty")
    return " ".join(words.say(f"grade.{name}") for name in named)


def judge(
    grades: pd.DataFrame, *, change: str | None = None, staining: str | None = None
) -> pd.DataFrame:
    """Hold every grade against a requirement.

    Parameters
    ----------
    grades : DataFrame
        From `grades`.
    change, staining : str, optional
        Lowest grade allowed, such as ``"4"`` or ``"3-4"``.

    Returns
    -------
    DataFrame
        With `required` (blank where nothing is asked of this kind) and `verdict`: ``met`` or
        ``not_met`` where the whole interval lies on one side, else ``not_settled``; so is a
        grade without a known uncertainty, or with another instrument before than after.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> grades = grade.grades(grade.pair(book.wide(bk)), shared=bk.shared)
    >>> grade.judge(grades, change="4")[["swatch", "grade", "verdict"]].head(2)
      swatch grade      verdict
    0    W01     4  not_settled
    1    W02   4-5          met
    """
    asked = {"change": change, "staining": staining}
    for kind, wanted in asked.items():
        if wanted:
            scales.worst_allowed(wanted, kind)
    need = grades["kind"].map(asked).fillna("").astype(str)
    rows = zip(_rows(grades, "grade_worst", "grade_best", "flags"), need, strict=True)
    return grades.assign(required=need, verdict=[_verdict(row, wanted) for row, wanted in rows])


def _verdict(row: dict, wanted: str) -> str:
    if not wanted:
        return ""
    if not row["grade_worst"] or set(UNSETTLING) & set(str(row["flags"]).split()):
        return NOT_SETTLED
    place = scales.GRADES.index
    if place(row["grade_worst"]) <= place(wanted):
        return MET
    return NOT_MET if place(row["grade_best"]) > place(wanted) else NOT_SETTLED
