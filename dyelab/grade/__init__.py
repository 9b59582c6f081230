"""Colour fastness: grades of change and staining, with the standards they follow."""

from dyelab.grade.bluewool import alike, from_dose
from dyelab.grade.drifting import Drift, curve_table, drift, drifts, fails, shows
from dyelab.grade.graded import MET, NOT_MET, NOT_SETTLED, graded, required, summed
from dyelab.grade.mordants import holding
from dyelab.grade.pairing import Matched, matched
from dyelab.grade.scales import (
    CHANGE_LIMITS,
    GRADES,
    STAINING_LIMITS,
    change,
    change_of,
    grey_scale_difference,
    staining,
    staining_difference,
    staining_of,
    worst_allowed,
)
from dyelab.grade.toning import tone

__all__ = [
    "CHANGE_LIMITS",
    "GRADES",
    "MET",
    "NOT_MET",
    "NOT_SETTLED",
    "STAINING_LIMITS",
    "Drift",
    "Matched",
    "alike",
    "change",
    "change_of",
    "curve_table",
    "drift",
    "drifts",
    "fails",
    "from_dose",
    "graded",
    "grey_scale_difference",
    "holding",
    "matched",
    "required",
    "shows",
    "staining",
    "staining_difference",
    "staining_of",
    "summed",
    "tone",
    "worst_allowed",
]
