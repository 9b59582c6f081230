"""A swatch series: factors, controls, replicates, random order, baths and their sheets."""

from dyelab.plan.baths import POTS
from dyelab.plan.design import all_terms, cannot_tell, fraction, model_matrix, optimal
from dyelab.plan.factors import FACTORS, Level, full_factorial, levels, materials_of
from dyelab.plan.printed_cloth import printed_cloth
from dyelab.plan.progress import STAGES, Task, next_tasks, stages
from dyelab.plan.record import mark_done, one_pot, open_baths
from dyelab.plan.series import (
    RECIPE,
    Series,
    add_series,
    of_recipes,
    series,
    totals,
    with_label_numbers,
)
from dyelab.plan.sheets import SHEETS, effort, labels, page, recipe_line, sheets, timetable
