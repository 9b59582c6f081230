"""What one step of a recipe did: pairs, dose curves, controls, depth."""

from dyelab.shift.controls import Separation, separate, share_text
from dyelab.shift.dose import DoseCurve, dose_curve, tried_doses
from dyelab.shift.family import (
    Family,
    doses_of,
    families,
    family,
    metal_moves,
    shared_factors,
    with_metal,
    with_only,
    without_metals,
)
from dyelab.shift.guesses import Question, class_mean, judge_guesses, read_guesses
from dyelab.shift.k_over_s import Depth, at_equal_depth, depth_of, relative_strength
from dyelab.shift.lamps import (
    ALIKE,
    APART,
    LAMPS,
    differences_under,
    lamps_sentence,
    metamers,
    reflectances,
    under_lamps,
)
from dyelab.shift.pairs import Shift, compare_rows, interaction, mean_shift, of_step, pairs, rank
from dyelab.shift.recipes import (
    METALS,
    METHODS,
    VARIES,
    Recipes,
    as_dyed,
    dose_text,
    fresh_readings,
    in_words,
    leading_method,
    level,
    list_recipes,
    metals_of,
    recipe_names,
    shifting_salts,
    unread_recipes,
    way_text,
    without_others,
)
