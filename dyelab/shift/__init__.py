"""What one step of a recipe did: pairs, dose curves, controls, depth."""

from dyelab.shift.controls import Separation, separate
from dyelab.shift.depth import Depth, at_equal_depth, depth_of, relative_strength
from dyelab.shift.dose import DoseCurve, dose_curve
from dyelab.shift.pairs import Shift, interaction, mean_shift, of_metal, of_step, rank
from dyelab.shift.recipes import (
    METALS,
    METHODS,
    VARIES,
    Recipes,
    as_dyed,
    fresh,
    label,
    leading,
    level,
)
from dyelab.shift.saturating import Saturating, fit

__all__ = [
    "METALS",
    "METHODS",
    "VARIES",
    "Depth",
    "DoseCurve",
    "Recipes",
    "Saturating",
    "Separation",
    "Shift",
    "as_dyed",
    "at_equal_depth",
    "depth_of",
    "dose_curve",
    "fit",
    "fresh",
    "interaction",
    "label",
    "leading",
    "level",
    "mean_shift",
    "of_metal",
    "of_step",
    "rank",
    "relative_strength",
    "separate",
]
