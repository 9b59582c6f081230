"""Differences between dyed variants, with intervals, a noise floor and a verdict in plain words."""

from dyelab.compare.differences import (
    between,
    contrast,
    mean_covariances,
    pairs,
    rank_ranges,
    to_reference,
    widest_pair,
)
from dyelab.compare.directed_interval import directed_interval, move
from dyelab.compare.directions import WAYS, direction, direction_codes
from dyelab.compare.formulas import SIGNS
from dyelab.compare.interval import Noise, distance_interval, noise_floor
from dyelab.compare.pots import colour_baths
from dyelab.compare.variants import Variants, gather
from dyelab.compare.verdicts import (
    CANNOT_TELL,
    CHANCE,
    REAL,
    caveat_in_words,
    caveats_in_words,
    in_words,
    readable,
)
