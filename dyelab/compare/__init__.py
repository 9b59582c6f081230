"""Differences between dyed variants, with intervals, a noise floor and a verdict in plain words."""

from dyelab.compare.contrasts import contrast, mean_covariances
from dyelab.compare.differences import between, pairs, to_reference
from dyelab.compare.directed import directed_interval, seen
from dyelab.compare.directions import WAYS, direction, ways
from dyelab.compare.interval import Noise, distance_interval, noise_floor
from dyelab.compare.pots import colouring
from dyelab.compare.variants import Variants, gather
from dyelab.compare.verdicts import CANNOT_TELL, CHANCE, REAL, SIGNS, in_words, readable
