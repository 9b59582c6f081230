"""Absorption spectra as sums of smooth bands, and the optics of cloth (Kubelka-Munk)."""

from dataclasses import dataclass

import numpy as np

WAVELENGTHS = np.arange(400.0, 701.0, 10.0)


@dataclass(frozen=True)
class Band:
    """One absorption band, a Gaussian in wavenumber, the natural scale of light energy."""

    peak: float  # nm
    width: float  # standard deviation, 1/cm
    height: float  # K/S at the peak for one unit of uptake


def absorption(bands: tuple[Band, ...], wavelengths: np.ndarray = WAVELENGTHS) -> np.ndarray:
    """K/S of one unit of uptake, shape (k,): the sum of its bands."""
    wavenumber = 1e7 / np.asarray(wavelengths, float)
    total = np.zeros_like(wavenumber)
    for band in bands:
        total += band.height * np.exp(-0.5 * ((wavenumber - 1e7 / band.peak) / band.width) ** 2)
    return total


def body_reflectance(ks: np.ndarray) -> np.ndarray:
    """Reflectance factor of an opaque layer from its K/S (Kubelka and Munk 1931)."""
    # The usual 1 + K/S - sqrt(...) loses digits in deep shades; this is the same number.
    ks = np.asarray(ks, float)
    return 1.0 / (1.0 + ks + np.sqrt(ks * (ks + 2.0)))


def with_surface(body: np.ndarray, surface: np.ndarray) -> np.ndarray:
    """Add the light that the fibre's surface sends back before it meets any dye.

    A simplified Saunderson correction: first-surface share only, no inner reflection.
    """
    share = np.asarray(surface, float)[:, None]
    return share + (1.0 - share) * body
