"""Kubelka-Munk K/S: how deep a dyeing is, apart from how dull."""

import numpy as np
from numpy.typing import ArrayLike

# Reflectance factors above this are light of the cloth's own; up to here, an instrument's noise.
_MOST = 1.02


def is_brightened(reflectance: ArrayLike) -> np.ndarray:
    """Whether a spectrum holds light that it doesn't reflect, (..., k) to (...).

    A factor above 1 is fluorescence: of a brightener in the blue, of some dyes in the orange. The
    margin is a handheld's noise on white, by custom of the trade.

    Examples
    --------
    >>> from dyelab import convert
    >>> convert.is_brightened([[0.4, 1.08, 0.9], [0.4, 0.5, 0.6]]).tolist()
    [True, False]
    """
    with np.errstate(invalid="ignore"):
        return np.nanmax(np.asarray(reflectance, float), axis=-1, initial=0.0) > _MOST


def ks(reflectance: ArrayLike) -> np.ndarray:
    """K/S = (1 - R)² / (2 R) of an opaque layer (Kubelka and Munk 1931), same shape.

    NaN where R <= 0, and where R is over 1 by more than an instrument's noise: K/S would rise
    again there, and what shines is fluorescence (see `is_brightened`).

    Examples
    --------
    >>> from dyelab import convert
    >>> convert.ks([0.1, 0.5]).round(3).tolist()
    [4.05, 0.25]
    """
    R = np.asarray(reflectance, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where((R > 0) & (R <= _MOST), (1 - np.minimum(R, 1)) ** 2 / (2 * R), np.nan)


def ks_to_reflectance(ks: ArrayLike, *, root: np.ndarray | None = None) -> np.ndarray:
    """R = 1 + K/S - √((K/S)² + 2 K/S), the inverse of `ks` for R <= 1, same shape.

    Who has √(K/S) at hand may give it as `root`, and save half the time.

    Examples
    --------
    >>> from dyelab import convert
    >>> convert.ks_to_reflectance([4.05, 0.25]).round(3).tolist()
    [0.1, 0.5]
    """
    q = np.asarray(ks, float)
    # 1 / (1 + q + root) is the same number without the loss of digits at large K/S.
    return 1 / (1 + q + (np.sqrt(q) if root is None else root) * np.sqrt(q + 2))
