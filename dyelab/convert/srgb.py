"""sRGB (IEC 61966-2-1): stored values, linear light, and its primaries."""

import numpy as np

# XYZ of D65/2° scaled to Y = 1 from linear sRGB.
SRGB_TO_XYZ = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)
SRGB_TO_XYZ *= (np.array([95.047, 100, 108.883]) / 100 / SRGB_TO_XYZ.sum(axis=1))[:, None]


def srgb_to_linear(stored: np.ndarray) -> np.ndarray:
    """Linear light of stored values 0 to 1, same shape."""
    return np.where(stored <= 0.04045, stored / 12.92, ((stored + 0.055) / 1.055) ** 2.4)


def srgb_from_linear(linear: np.ndarray) -> np.ndarray:
    """Stored value of linear light 0 to 1, same shape; below 0 the straight piece goes on."""
    curve = 1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055
    return np.where(linear <= 0.0031308, 12.92 * linear, curve)
