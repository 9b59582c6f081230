"""Invented cloth with known answers: spectra, swatch books, the example studio; all seeded.

Nothing here was measured. The model is stated in `dyelab.synth.model`; its numbers are ours.
"""

from dyelab.synth.fade import faded, light_dose, stained
from dyelab.synth.materials import CLOTH, Cloth, varied
from dyelab.synth.model import contributions, reflectance, uptake
from dyelab.synth.series import Synth, random_book, random_recipes, simulate
from dyelab.synth.spectra import WAVELENGTHS

__all__ = [
    "CLOTH",
    "WAVELENGTHS",
    "Cloth",
    "Synth",
    "contributions",
    "faded",
    "light_dose",
    "random_book",
    "random_recipes",
    "reflectance",
    "simulate",
    "stained",
    "uptake",
    "varied",
]
