"""Invented cloth with known answers: spectra, swatch books, the example studio; all seeded.

Nothing here was measured. The model is stated in `dyelab.synth.model`; its numbers are ours.
"""

from dyelab.synth.fade import blue_wool, faded, light_dose, stained
from dyelab.synth.materials import CLOTH, Cloth, varied
from dyelab.synth.model import contributions, reflectance, uptake
from dyelab.synth.series import Synth, simulate
from dyelab.synth.spectra import WAVELENGTHS
from dyelab.synth.write_example import (
    collected,
    example,
    example_files,
    invented,
    sources,
    write_book,
    write_sources,
)
