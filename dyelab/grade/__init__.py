"""Colour fastness: grades of change and staining, with the standards they follow."""

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
    "STAINING_LIMITS",
    "change",
    "change_of",
    "grey_scale_difference",
    "staining",
    "staining_difference",
    "staining_of",
    "worst_allowed",
]
