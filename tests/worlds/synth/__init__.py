"""Invented cloth with known answers: spectra, swatch books, the example studio; all seeded.

Nothing here was measured. The model is stated in `worlds.synth.model`; its numbers are ours.
"""

from dyelab.synth import collect, example, sources, write_book
from worlds.synth.fade import blue_wool, faded, light_dose, stained
from worlds.synth.materials import CLOTH, Cloth, varied
from worlds.synth.model import contributions, reflectance, uptake
from worlds.synth.series import Synth, simulate
from worlds.synth.spectra import WAVELENGTHS
from worlds.synth.write_example import example_files, invented, write_sources
