"""Colours in other notations: Munsell, and the yellowness index of whites."""

import warnings

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from dyelab.convert.lab import adapt_lab, lab_to_xyz, xyz_to_lab
from dyelab.convert.light import white
from dyelab.convert.science import library
from dyelab.errors import InputError

_DARKEST = 0.0121  # luminous reflectance of Munsell value 1, where the renotation begins


def munsell(lab: ArrayLike, illuminant: str = "D65", observer: int = 10) -> pd.DataFrame:
    """Munsell notation of each colour, where the conversion converges (ASTM D1535).

    Takes about 0.1 s a colour.

    Parameters
    ----------
    lab : array_like (n, 3) or (3,)
    illuminant, observer
        Its white; adapted to C/2°, on which the Munsell renotation stands.

    Returns
    -------
    DataFrame
        `notation`, blank where there is none, and then a `reason`.
    """
    target = white("C", 2)
    moved = adapt_lab(np.atleast_2d(lab), white(illuminant, observer), target)
    xyz = lab_to_xyz(moved, target) / 100
    return pd.DataFrame([_notation(row) for row in xyz], columns=["notation", "reason"])


def _notation(xyz: np.ndarray) -> tuple[str, str]:
    science = library()
    try:
        with np.errstate(all="ignore"), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            xyY = science.XYZ_to_xyY(xyz)
            return science.xyY_to_munsell_colour(xyY, hue_decimals=1), ""
    except Exception:  # colour-science raises several kinds out of its gamut
        dark = xyz[1] < _DARKEST
        return "", "darker than Munsell value 1" if dark else "outside the Munsell renotation"


def munsell_to_lab(notation: str, illuminant: str = "D65", observer: int = 10) -> np.ndarray:
    """CIELAB (3,) of a Munsell notation such as ``5YR 5/6``.

    Raises
    ------
    InputError
        For text that isn't one, or lies outside the renotation.
    """
    try:
        xyz = library().xyY_to_XYZ(library().munsell_colour_to_xyY(notation)) * 100
    except Exception:
        raise InputError(
            f"{notation!r} isn't a Munsell colour. Write it as 5YR 5/6 (hue, value/chroma)."
        ) from None
    source = white("C", 2)
    return adapt_lab(xyz_to_lab(xyz, source), source, white(illuminant, observer))


def munsell_value(Y: ArrayLike) -> np.ndarray:
    """Munsell value from luminous reflectance Y in per cent (ASTM D1535)."""
    return library().notation.munsell_value_ASTMD1535(Y)


def yellowness(xyz: ArrayLike) -> np.ndarray:
    """Yellowness index YI of XYZ under D65/10° (ASTM E313): (..., 3) to (...)."""
    X, Y, Z = np.moveaxis(np.asarray(xyz, float), -1, 0)
    return 100 * (1.3013 * X - 1.1498 * Z) / Y
