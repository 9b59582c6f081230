"""Figures of what a metal did: shift vectors, small multiples, dose curves, splits, families."""

from dyelab.plot.shift.dose import dose
from dyelab.plot.shift.family import family
from dyelab.plot.shift.split import spectra, split
from dyelab.plot.shift.vectors import multiples, vectors
