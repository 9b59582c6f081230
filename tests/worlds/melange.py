"""Cloth spun of fibres dyed apart: no opaque layer, no bands even in wavenumber.

Light passes each fibre's dye twice (Beer and Lambert) and comes back from the white within; the
cloth shows the mean of its fibres, some dark, some pale. Bands are log-normal in wavelength with a
long tail to the red, as books of solution spectra draw them.
"""

import numpy as np

BANDS = np.arange(380.0, 731.0, 10.0)


def cloths(count, seed, bands=BANDS):
    """Reflectance factors (count, k) of dyed mixture yarns."""
    rng = np.random.default_rng(seed)
    u = lambda low, high: rng.uniform(low, high, (count, 1))  # noqa: E731
    white = u(0.6, 0.9) * (1 - u(0.02, 0.35) * np.exp(-(((bands - 380) / u(25, 80)) ** 1.2)))
    absorbed = np.zeros((count, len(bands)))
    for share in (1.0, 0.6, 0.3):
        peak, wide, skew = u(380, 640), u(0.08, 0.22), u(1.0, 1.8)
        x = np.log(bands / peak) / wide
        height = np.exp(rng.normal(-0.4, 0.8, (count, 1))) * (rng.random((count, 1)) < share)
        absorbed += height * np.exp(-0.5 * np.where(x > 0, x / skew, x) ** 2)
    sad = np.exp(rng.normal(-1.5, 0.8, (count, 1))) * (rng.random((count, 1)) < 0.4)
    absorbed += sad * (1 - u(0, 0.4) * (bands - 380) / 350)
    fibres = [white * np.exp(-2 * absorbed * depth) for depth in (0.5, 1.0, 1.0, 1.8)]
    return u(0.002, 0.02) + 0.98 * np.mean(fibres, axis=0)
