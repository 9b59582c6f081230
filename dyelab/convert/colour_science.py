"""What colour-science publishes: cameras, the 24-patch reference target, Munsell colours.

The one door to that package, opened late: its import takes two seconds. The target's values are
kept in `cie/`, so that a photo needs no such import.
"""

import warnings
from functools import cache
from typing import Any

import numpy as np
import pandas as pd

from dyelab.convert.lab import adapt_lab, xyz_to_lab
from dyelab.convert.light import table, white
from dyelab.convert.spectrum import spectrum_to_lab
from dyelab.errors import InputError, choose
from dyelab.table import DEFAULT_WHITE

# Our names for colour-science's tables; the measured average is spectral, the others CIELAB.
SPECTRAL = {"average": "BabelColor Average"}
COLOURS = {
    "older": "ColorChecker24 - Before November 2014",
    "newer": "ColorChecker24 - After November 2014",
}


def cameras() -> list[str]:
    """Names of the cameras whose measured sensitivities colour-science ships.

    Examples
    --------
    >>> from dyelab import convert
    >>> len(convert.cameras())
    2
    """
    return list(library().MSDS_CAMERA_SENSITIVITIES)


def target_names() -> list[str]:
    """Names of the published averages of the 24-patch target.

    Examples
    --------
    >>> from dyelab import convert
    >>> convert.target_names()
    ['average', 'older', 'newer']
    """
    return [*SPECTRAL, *COLOURS]


@cache
def target_spectra(name: str = "average") -> pd.DataFrame:
    """Published average reflectance of the 24 patches, row by row.

    Returns
    -------
    DataFrame
        `sample`, then one column a wavelength in nm, factors 0 to 1.

    Raises
    ------
    InputError
        For a name without spectra.

    Examples
    --------
    >>> from dyelab import convert
    >>> convert.target_spectra().shape[0]
    24
    """
    choose(name, SPECTRAL, "spectral average", "of the 24-patch target")
    spectra = table("target_spectra")
    frame = spectra.T.reset_index(names="sample")
    frame.columns = ["sample", *map(str, spectra.index)]
    return frame


def target_lab(
    name: str = "average", *, illuminant: str = DEFAULT_WHITE[0], observer: int = DEFAULT_WHITE[1]
) -> pd.DataFrame:
    """Published CIELAB of the 24 patches under this white.

    Returns
    -------
    DataFrame
        `sample, L, a, b, illuminant, observer, flags`; values that are published for another
        white only are adapted to this one (CAT16) and flagged so.

    Raises
    ------
    InputError
        For an unknown name, illuminant or observer.

    Examples
    --------
    >>> from dyelab import convert
    >>> convert.target_lab()[["L", "a", "b"]].head(2).round(1)
          L     a     b
    0  37.5  12.4  13.0
    1  65.1  13.2  17.7
    """
    choose(name, target_names(), "published average", "of the 24-patch target")
    if name in SPECTRAL:
        spectra = target_spectra(name)
        factors = spectra.drop(columns="sample").to_numpy(float)
        bands = [float(band) for band in spectra.columns[1:]]
        lab = spectrum_to_lab(bands, factors, illuminant, observer)
        samples, flags = list(spectra["sample"]), ""
    else:
        published = table("target_colours")[[f"{name}_{c}" for c in "xyY"]]
        samples, flags = list(published.index[:-1]), "adapted"
        x, y, Y = published.to_numpy(float).T
        *xyz, own_white = 100 * (Y / y)[:, None] * np.stack([x, y, 1 - x - y], axis=-1)
        lab = xyz_to_lab(np.array(xyz), own_white)  # the white's own row is the last
        lab = adapt_lab(lab, white("D50", 2), white(illuminant, observer))
    frame = pd.DataFrame(lab, columns=["L", "a", "b"])
    frame.insert(0, "sample", samples)
    return frame.assign(illuminant=illuminant, observer=observer, flags=flags)


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
