"""Colour fastness: grades of change and staining, with the standards they follow."""

from dyelab.grade.graded import MET, NOT_MET, NOT_SETTLED, graded, required, summed
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

__all__ = [
    "CHANGE_LIMITS",
    "GRADES",
    "MET",
    "NOT_MET",
    "NOT_SETTLED",
    "STAINING_LIMITS",
    "Matched",
    "change",
    "change_of",
    "graded",
    "grey_scale_difference",
    "matched",
    "required",
    "staining",
    "staining_difference",
    "staining_of",
    "summed",
    "worst_allowed",
]
