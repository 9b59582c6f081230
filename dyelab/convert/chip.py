"""What a screen shows of a colour (sRGB), and whether it can."""

import numpy as np
from numpy.typing import ArrayLike

from dyelab.convert.lab import adapt_lab, lab_to_xyz, xyz_to_lab
from dyelab.convert.light import white
from dyelab.convert.srgb import SRGB_TO_XYZ, srgb_from_linear, srgb_to_linear
from dyelab.errors import InputError

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
    """Linear sRGB of CIELAB colours, unclipped: (..., 3) to (..., 3)."""
    screen_white = white("D65", 2)
    moved = adapt_lab(np.asarray(lab, float), white(illuminant, observer), screen_white)
    return lab_to_xyz(moved, screen_white) / 100 @ np.linalg.inv(SRGB_TO_XYZ).T


def screen_levels(linear: np.ndarray) -> np.ndarray:
    """8-bit sRGB of linear light (..., 3), clipped into the gamut."""
    return np.rint(np.clip(srgb_from_linear(linear), 0, 1) * 255).astype(np.uint8)


def screen_to_lab(hexes: object, *, illuminant: str = "D65", observer: int = 10) -> np.ndarray:
    """CIELAB of sRGB colours given as ``#rrggbb`` text: (...) to (..., 3).

    Raises
    ------
    InputError
        For text that isn't a hex colour.
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
