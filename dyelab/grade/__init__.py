"""Colour fastness: grades of change and staining, with the standards they follow."""

from dyelab.grade.blue_wool import from_dose, is_reference, nearest_reference
from dyelab.grade.compare_mordants import compare_fastness, compare_with_plainest
from dyelab.grade.curves import (
    FORECAST,
    HORIZON,
    QUANTITIES,
    UNTOLD,
    VISIBLE,
    Drift,
    along,
    amount_text,
    curve_table,
    drift,
    drifts,
    fails,
    moment_text,
    reaches_noticed,
    shows,
)
from dyelab.grade.grades import MET, NOT_MET, NOT_SETTLED, grades, judge
from dyelab.grade.pairing import Pairing, keep_one_way, pair
from dyelab.grade.scales import (
    CHANGE_LIMITS,
    GRADES,
    STAINING_LIMITS,
    change_grade,
    change_of,
    grey_scale_difference,
    staining_difference,
    staining_grade,
    staining_of,
    worst_allowed,
)
from dyelab.grade.study import (
    CHANGE,
    Study,
    by_cloth,
    exposure_text,
    forecast_sentence,
    piece_sentence,
    pieces_sentence,
    study,
    tone_sentence,
    verdict_sentence,
)
from dyelab.grade.tone import tone
