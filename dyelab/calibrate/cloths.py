"""Thousands of invented dyed cloths, from the physics of colour on fibre, to train on.

Absorption bands of dye and iron on a fibre's own, turned into reflectance by Kubelka and Munk,
with a small share from the surface. A family of its own: the worlds that dyelab's examples and
tests are drawn from share nothing with it but the physics.
"""

from functools import cache

import numpy as np

from dyelab import convert
from dyelab.calibrate.colour_fit import Known, White, known
from dyelab.calibrate.reference import BANDS
from dyelab.table import DEFAULT_WHITE


def cloths(count: int, seed: int) -> np.ndarray:
    """Reflectance factors (count, 36) at `BANDS`."""
    rng = np.random.default_rng(seed)
    wave = 1e7 / BANDS

    def drawn(low: float, high: float) -> np.ndarray:
        return rng.uniform(low, high, (count, 1))

    absorbed = 10 ** drawn(-2.3, -1.1) + drawn(0.05, 0.6) * np.exp(-(BANDS - 380) / drawn(25, 75))
    for share in (0.95, 0.7, 0.4, 0.3):
        height = 10 ** drawn(-1.3, 1.3) * (rng.random((count, 1)) < share)
        place = 1e7 / drawn(370, 690)
        absorbed += height * np.exp(-0.5 * ((wave - place) / drawn(900, 3500)) ** 2)
    iron = 10 ** drawn(-2, 0.9) * (rng.random((count, 1)) < 0.5)
    absorbed += iron * (BANDS / 550) ** -drawn(0.3, 3)
    body = 1 / (1 + absorbed + np.sqrt(absorbed * (absorbed + 2)))
    surface = drawn(0.002, 0.02)
    return surface + (1 - surface) * body


@cache
def training(
    white: White = DEFAULT_WHITE, count: int = 900, seed: int = 20
) -> tuple[np.ndarray, Known]:
    """Spectra to train on, and their colours under a white."""
    spectra = cloths(count, seed)
    lab = convert.spectrum_to_lab(BANDS, spectra, illuminant=white[0], observer=white[1])
    return spectra, known(lab, white=white)
