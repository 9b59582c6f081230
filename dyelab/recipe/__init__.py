"""Recipes: materials and their chemistry, sums on weight of fibre, sense, and cautions."""

from dyelab.recipe import metals
from dyelab.recipe.advice import advise, refuse
from dyelab.recipe.arithmetic import (
    bath_wof,
    cloth_g,
    diluted_ml,
    exchange,
    grams,
    how_to_measure,
    metal_wof,
    no_stock,
    stock_ml,
    water_L,
    wof,
)
from dyelab.recipe.cautions import (
    before_you_begin,
    care,
    cautions,
    hazard_faults,
    hazards,
    materials_of,
    not_for_children,
    notes,
    statements,
)
from dyelab.recipe.formula import metal_percent, molar_mass
from dyelab.recipe.materials import (
    find,
    is_unsafe,
    known_name,
    materials,
    refuse_unsafe,
    usual_range,
)
