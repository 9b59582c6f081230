"""sRGB (IEC 61966-2-1): stored values, linear light, and what a screen can show of a colour."""

import numpy as np
from numpy.typing import ArrayLike

from dyelab.convert.lab import adapt_lab, lab_to_xyz, xyz_to_lab
from dyelab.convert.light import white
from dyelab.errors import InputError

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


_SLACK = 0.002  # half an 8-bit step: less than a screen can show


def screen(
    lab: ArrayLike, *, illuminant: str = "D65", observer: int = 10
) -> tuple[np.ndarray, np.ndarray]:
    """Nearest sRGB colour of a CIELAB colour, and whether sRGB holds it.

    Parameters
    ----------
    lab : array_like (..., 3)
    illuminant, observer
        Its white; adapted to sRGB's by CAT16.

    Returns
    -------
    hexes : ndarray of str (...)
        Such as ``#a1b2c3``, clipped into the gamut.
    in_gamut : ndarray of bool (...)
        False where clipping changed it: mark such a chip.

    Examples
    --------
    >>> from dyelab import convert
    >>> convert.screen([[50, 40, 20]])[0].tolist()
    ['#bc5957']
    """
    linear = screen_light(lab, illuminant=illuminant, observer=observer)
    encoded = srgb_from_linear(linear)
    outside = (encoded < -_SLACK) | (encoded > 1 + _SLACK)
    levels = screen_levels(linear)
    names = [f"#{level.tobytes().hex()}" for level in levels.reshape(-1, 3)]
    return np.array(names, dtype="<U7").reshape(levels.shape[:-1]), np.asarray(
        ~outside.any(axis=-1)
    )


def screen_light(lab: ArrayLike, *, illuminant: str = "D65", observer: int = 10) -> np.ndarray:
    """Linear sRGB of CIELAB colours, unclipped: (..., 3) to (..., 3).

    Examples
    --------
    >>> from dyelab import convert
    >>> convert.screen_light([[50, 0, 0]]).round(2).tolist()
    [[0.18, 0.18, 0.18]]
    """
    screen_white = white("D65", 2)
    moved = adapt_lab(np.asarray(lab, float), white(illuminant, observer), screen_white)
    return lab_to_xyz(moved, screen_white) / 100 @ np.linalg.inv(SRGB_TO_XYZ).T


def screen_levels(linear: np.ndarray) -> np.ndarray:
    """8-bit sRGB of linear light (..., 3), clipped into the gamut.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import convert
    >>> convert.screen_levels(np.array([[0.0, 0.2, 1.0]])).tolist()
    [[0, 124, 255]]
    """
    return np.rint(np.clip(srgb_from_linear(linear), 0, 1) * 255).astype(np.uint8)


def screen_to_lab(hexes: object, illuminant: str = "D65", observer: int = 10) -> np.ndarray:
    """CIELAB of sRGB colours given as ``#rrggbb`` text: (...) to (..., 3).

    Raises
    ------
    InputError
        For text that isn't a hex colour.

    Examples
    --------
    >>> from dyelab import convert
    >>> convert.screen_to_lab(["#808080"]).round(1).tolist()
    [[53.6, 0.0, -0.0]]
    """
    names = np.asarray(hexes, dtype=str)
    rgb = np.array([_parse(name) for name in names.ravel()]).reshape(*names.shape, 3) / 255
    linear = srgb_to_linear(rgb)
    screen_white = white("D65", 2)
    lab = xyz_to_lab(linear @ SRGB_TO_XYZ.T * 100, screen_white)
    return adapt_lab(lab, screen_white, white(illuminant, observer))


def _parse(name: str) -> list[int]:
    digits = name.strip().lstrip("#")
    try:
        if len(digits) != 6:
            raise ValueError
        return list(bytes.fromhex(digits))
    except ValueError:
        raise InputError(f"{name!r} isn't a screen colour. Write it as #a1b2c3.") from None
