"""Spectrum, XYZ, CIELAB, white points, difference formulae, K/S and screen chips.

Arrays in, arrays out: CIELAB and XYZ have shape (..., 3), reflectance factors (..., k) beside k
wavelengths in nm. An illuminant is a CIE name such as ``"D65"``, an observer is 2 or 10 (degrees).
"""

from dyelab.convert.adaptation import adapt, adapt_cloth, coarse_error
from dyelab.convert.colour_science import (
    cameras,
    munsell_to_lab,
    target_lab,
    target_names,
    target_spectra,
)
from dyelab.convert.difference import dE00, dE76, dECMC, differences, metamerism
from dyelab.convert.kubelka_munk import is_brightened, ks, ks_to_reflectance
from dyelab.convert.lab import adapt_lab, lab_to_lch, lab_to_xyz, xyz_to_lab
from dyelab.convert.light import colour_matching, illuminant_power, illuminants, white
from dyelab.convert.spectrum import (
    missing_ends,
    resample,
    same_bands,
    spectra_to_lab,
    spectrum_to_lab,
    spectrum_to_xyz,
    wavelength_columns,
)
from dyelab.convert.srgb import screen, screen_levels, screen_light, screen_to_lab
