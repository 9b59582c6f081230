"""Lights and eyes: CIE illuminants, standard observers and their white points."""

from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from dyelab.errors import InputError, choose

# ASTM E308 sums over 360 to 780 nm; CIE tables of the observers run to 830 nm, those of most
# illuminants only to 780 nm.
FINE = np.arange(360, 781)
# The CIE's tables as CSV: taken from colour-science, whose import takes two seconds that every
# command and panel would otherwise pay. tests/cie_tables.py writes them anew; a test holds them to
# the library, number by number.
TABLES = Path(__file__).parent / "cie"


@cache
def table(name: str) -> pd.DataFrame:
    """Return a shipped table, such as ``"observers"``: one row a wavelength, NaN where none."""
    return pd.read_csv(TABLES / f"{name}.csv", comment="#", index_col=0)


def illuminants() -> list[str]:
    """Names of the CIE illuminants at hand: A, C, the D and FL series, HP, LED, ID.

    Examples
    --------
    >>> from dyelab import convert
    >>> convert.illuminants()[:3]
    ['A', 'B', 'C']
    """
    return list(table("illuminants").columns)


def illuminant_power(name: str, wavelengths: ArrayLike) -> np.ndarray:
    """Relative spectral power of a CIE illuminant.

    Parameters
    ----------
    name : str
        Such as ``"D65"``; see `illuminants`.
    wavelengths : array_like (k,)
        In nm. Between the CIE's 5 nm values the power is interpolated linearly (CIE 15),
        outside the table it is zero.

    Returns
    -------
    ndarray (k,)

    Raises
    ------
    InputError
        For an illuminant that isn't known, with the nearest names.

    Examples
    --------
    >>> from dyelab import convert
    >>> convert.illuminant_power("D65", [560]).tolist()
    [100.0]
    """
    choose(name, illuminants(), "illuminant", "in CIE's tables")
    power = table("illuminants")[name].dropna()
    return np.interp(np.asarray(wavelengths, float), power.index, power, left=0, right=0)


def colour_matching(observer: int, wavelengths: ArrayLike) -> np.ndarray:
    """Colour-matching functions of the CIE 2° (1931) or 10° (1964) observer, shape (k, 3).

    Raises
    ------
    InputError
        For an observer other than 2 or 10.

    Examples
    --------
    >>> from dyelab import convert
    >>> convert.colour_matching(10, [550]).round(3).tolist()
    [[0.53, 0.992, 0.004]]
    """
    if observer not in (2, 10):
        raise InputError(f"no observer {observer!r}: CIELAB knows 2 and 10 (degrees).")
    functions = table("observers")
    at = np.asarray(wavelengths, float)
    return np.stack(
        [np.interp(at, functions.index, functions[f"{axis}{observer}"]) for axis in "xyz"], axis=-1
    )


@cache
def fine_weights(illuminant: str, observer: int) -> np.ndarray:
    """Weights at 1 nm, 360 to 780 nm, shape (421, 3), scaled so that the Y column sums to 100."""
    weights = colour_matching(observer, FINE) * illuminant_power(illuminant, FINE)[:, None]
    weights *= 100 / weights[:, 1].sum()
    weights.flags.writeable = False
    return weights


def white(illuminant: str = "D65", observer: int = 10) -> np.ndarray:
    """XYZ of the perfect reflector under this light and for this observer, Y = 100.

    By summation at 1 nm from 360 to 780 nm (CIE 15).

    Returns
    -------
    ndarray (3,)

    Raises
    ------
    InputError
        For an unknown illuminant or observer.

    Examples
    --------
    >>> from dyelab import convert
    >>> convert.white("D65", 10).round(2).tolist()
    [94.81, 100.0, 107.3]
    """
    return fine_weights(illuminant, int(observer)).sum(axis=0)
