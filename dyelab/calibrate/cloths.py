"""Thousands of cloths to train on: invented dyes, measured surfaces mixed, and steep edges.

Invented: absorption bands of dye and iron on a fibre's own, turned into reflectance by Kubelka
and Munk, with a small share from the surface. A family of its own: the worlds that dyelab's
examples and tests are drawn from share nothing with it but the physics. Measured: mixed and made
deeper or paler in K/S. Steep: logistic edges, as acid blues have in the far red.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from dyelab import convert
from dyelab.calibrate import measured
from dyelab.calibrate.colour_fit import Known, White, known
from dyelab.calibrate.reference import BANDS
from dyelab.table import DEFAULT_WHITE

FAMILIES = {"invented": (900, 0.70), "surfaces": (500, 0.20), "steep": (300, 0.10)}


@dataclass(frozen=True)
class Training:
    """Spectra (n, 36), their colours, the number of each one's family, and its share of weight."""

    spectra: np.ndarray
    of: Known
    family: np.ndarray
    share: np.ndarray

    def every(self, step: int) -> "Training":
        """Every so many of them, of each family alike."""
        kept = np.arange(0, len(self.spectra), step)
        return Training(self.spectra[kept], self.of.but(kept), self.family[kept], self.share[kept])


def invented(count: int, rng: np.random.Generator) -> np.ndarray:
    """Dyed cloths, reflectance factors (count, 36) at `BANDS`."""
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
    return _seen(absorbed, drawn(0.002, 0.02))


def _seen(ks: np.ndarray, surface: np.ndarray) -> np.ndarray:
    return surface + (1 - surface) * convert.ks_to_reflectance(ks)


def mixed_surfaces(count: int, rng: np.random.Generator) -> np.ndarray:
    """Measured surfaces, one or two mixed in K/S, paler or deeper."""
    ks = convert.ks(np.clip(measured.surfaces(), 0.004, 0.98))
    one, two = ks[rng.integers(len(ks), size=(2, count))]
    share = rng.uniform(0, 1, (count, 1)) * (rng.random((count, 1)) < 0.5)
    depth = np.exp(rng.normal(0, 0.5, (count, 1)))
    return _seen(depth * ((1 - share) * one + share * two), rng.uniform(0, 0.01, (count, 1)))


def steep(count: int, rng: np.random.Generator) -> np.ndarray:
    """Bands with logistic edges of 4 to 18 nm: light let through or kept, over a slanted ground."""

    def drawn(low: float, high: float) -> np.ndarray:
        return rng.uniform(low, high, (count, 1))

    start, end = drawn(360, 680), drawn(40, 320)
    edge = [1 / (1 + np.exp(-(BANDS - at) / drawn(4, 18))) for at in (start, start + end)]
    band = edge[0] - edge[1]
    band = np.where(rng.random((count, 1)) < 0.5, 1 - band, band)
    low, high = drawn(0.01, 0.3), drawn(0.2, 0.8)
    slant = 1 + drawn(-0.3, 0.3) * (BANDS - 555) / 175
    return np.clip((low + np.maximum(high - low, 0.05) * band) * slant, 0.003, 0.98)


@cache
def training(white: White = DEFAULT_WHITE, seed: int = 20) -> Training:
    """Spectra to train on, family by family, and their colours under a white."""
    rng = np.random.default_rng(seed)
    made = [make(FAMILIES[name][0], rng) for name, make in
            (("invented", invented), ("surfaces", mixed_surfaces), ("steep", steep))]  # fmt: skip
    sizes = np.array([len(part) for part in made])
    spectra, family = np.concatenate(made), np.repeat(np.arange(len(made)), sizes)
    share = (np.array([w for _, w in FAMILIES.values()]) / sizes)[family]
    lab = convert.spectrum_to_lab(BANDS, spectra, illuminant=white[0], observer=white[1])
    return Training(spectra, known(lab, white=white), family, share)
