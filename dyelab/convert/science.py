"""The one door to colour-science, opened late: its import takes two seconds. Munsell colours."""

import warnings
from functools import cache
from typing import Any

import numpy as np

from dyelab.convert.lab import adapt_lab, xyz_to_lab
from dyelab.convert.light import white
from dyelab.errors import InputError


@cache
def library() -> Any:
    """Return the colour-science package, its notes about optional extras silenced."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return colour


def munsell_to_lab(notation: str, illuminant: str = "D65", observer: int = 10) -> np.ndarray:
    """CIELAB (3,) of a Munsell notation such as ``5YR 5/6``.

    Raises
    ------
    InputError
        For text that isn't one, or lies outside the renotation.

    Examples
    --------
    >>> from dyelab import convert
    >>> convert.munsell_to_lab("5YR 5/6").round(1).tolist()
    [51.0, 18.0, 31.0]
    """
    try:
        xyz = library().xyY_to_XYZ(library().munsell_colour_to_xyY(notation)) * 100
    except Exception:
        raise InputError(
            f"{notation!r} isn't a Munsell colour. Write it as 5YR 5/6 (hue, value/chroma)."
        ) from None
    source = white("C", 2)
    return adapt_lab(xyz_to_lab(xyz, source), source, white(illuminant, observer))
