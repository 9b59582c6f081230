"""Untried recipes: their colour, the recipe for a colour, and the next swatch to dye."""

from dyelab.predict.candidates import Limits
from dyelab.predict.model import Model, fit
from dyelab.predict.recipes import Part, dye_columns, layers
from dyelab.predict.search import (
    SIDE_BY_SIDE,
    Gamut,
    Matches,
    Reach,
    closest,
    find,
    gamut,
    next_swatches,
    nine_in_ten,
    reach,
    simulate,
    weigh_out,
)
from dyelab.predict.training import TooFew
