"""Colour differences, each by its own name, with their components."""

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from dyelab.convert.lab import lab_to_lch
from dyelab.errors import InputError
from dyelab.numerics import in_pieces


@in_pieces(2)
def dE76(reference: ArrayLike, sample: ArrayLike) -> np.ndarray:
    """ΔE*ab, the distance in CIELAB (CIE 15): (..., 3) and (..., 3) to (...).

    Examples
    --------
    >>> from dyelab import convert
    >>> round(float(convert.dE76([50, 10, 10], [53, 14, 10])), 2)
    5.0
    """
    return np.linalg.norm(np.asarray(sample, float) - np.asarray(reference, float), axis=-1)


@in_pieces(2)
def dE00(reference: ArrayLike, sample: ArrayLike) -> np.ndarray:
    """ΔE00 with kL = kC = kH = 1 (CIE 142, ISO/CIE 11664-6): (..., 3) and (..., 3) to (...).

    Symbols as in Sharma, Wu and Dalal 2005, equations 2 to 22.

    Examples
    --------
    >>> from dyelab import convert
    >>> round(float(convert.dE00([50, 2.6772, -79.7751], [50, 0, -82.7485])), 2)
    2.04
    """
    L1, a1, b1 = np.moveaxis(np.asarray(reference, float), -1, 0)
    L2, a2, b2 = np.moveaxis(np.asarray(sample, float), -1, 0)
    G = 0.5 * (1 - _seventh((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2))
    C1, h1 = _polar((1 + G) * a1, b1)
    C2, h2 = _polar((1 + G) * a2, b2)
    dh, h = _turn_and_mean(h1, h2, C1 * C2)
    L, C = (L1 + L2) / 2, (C1 + C2) / 2
    dH = 2 * np.sqrt(C1 * C2) * np.sin(np.radians(dh / 2))
    S_L = 1 + 0.015 * (L - 50) ** 2 / np.sqrt(20 + (L - 50) ** 2)
    S_C, S_H = 1 + 0.045 * C, 1 + 0.015 * C * _T(h)
    R_T = -np.sin(np.radians(60 * np.exp(-(((h - 275) / 25) ** 2)))) * 2 * _seventh(C)
    l_, c_, h_ = (L2 - L1) / S_L, (C2 - C1) / S_C, dH / S_H
    return np.sqrt(l_**2 + c_**2 + h_**2 + R_T * c_ * h_)


def _seventh(C: np.ndarray) -> np.ndarray:
    seventh = C * C * C * C * C * C * C  # far quicker than a power
    return np.sqrt(seventh / (seventh + 25.0**7))


def _polar(a: np.ndarray, b: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return np.hypot(a, b), np.degrees(np.arctan2(b, a)) % 360


def _turn_and_mean(
    h1: np.ndarray, h2: np.ndarray, chroma: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Hue difference, the short way round, and mean hue (equations 10 and 14)."""
    dh, total = h2 - h1, h1 + h2
    far = np.abs(dh) > 180
    turn = np.where(far, dh - 360 * np.sign(dh), dh)
    mean = (total + np.where(far, np.where(total < 360, 360, -360), 0)) / 2
    grey = chroma == 0
    return np.where(grey, 0, turn), np.where(grey, total, mean)


def _T(h: np.ndarray) -> np.ndarray:
    cosines = [
        np.cos(np.radians(n * h + shift)) for n, shift in ((1, -30), (2, 0), (3, 6), (4, -63))
    ]
    return 1 - 0.17 * cosines[0] + 0.24 * cosines[1] + 0.32 * cosines[2] - 0.20 * cosines[3]


@in_pieces(2)
def dECMC(reference: ArrayLike, sample: ArrayLike, l: float = 2, c: float = 1) -> np.ndarray:  # noqa: E741
    """ΔE CMC(l:c) (ISO 105-J03), 2:1 as textiles use it: (..., 3) and (..., 3) to (...).

    Not symmetric: the tolerances are those about the reference.

    Examples
    --------
    >>> from dyelab import convert
    >>> round(float(convert.dECMC([50, 10, 10], [53, 14, 10])), 2)
    4.89
    """
    first, second = np.asarray(reference, float), np.asarray(sample, float)
    L, C, h = np.moveaxis(lab_to_lch(first), -1, 0)
    dL, da, db = np.moveaxis(second - first, -1, 0)
    dC = np.hypot(second[..., 1], second[..., 2]) - C
    dH2 = np.maximum(da**2 + db**2 - dC**2, 0)
    purple_to_green = (h >= 164) & (h <= 345)
    size, phase = np.where(purple_to_green, 0.2, 0.4), np.where(purple_to_green, 168, 35)
    T = np.where(purple_to_green, 0.56, 0.36) + np.abs(size * np.cos(np.radians(h + phase)))
    F = np.sqrt(C**4 / (C**4 + 1900))
    S_L = np.where(L < 16, 0.511, 0.040975 * L / (1 + 0.01765 * L))
    S_C = 0.0638 * C / (1 + 0.0131 * C) + 0.638
    S_H = S_C * (F * T + 1 - F)
    return np.sqrt((dL / (l * S_L)) ** 2 + (dC / (c * S_C)) ** 2 + dH2 / S_H**2)


def differences(reference: ArrayLike, sample: ArrayLike) -> pd.DataFrame:
    """All differences and components, sample minus reference.

    Parameters
    ----------
    reference, sample : array_like (n, 3) or (3,)
        CIELAB under one white.

    Returns
    -------
    DataFrame
        `dL, da, db, dC, dH, dE76, dE00, dECMC`. ΔH*ab = 2 √(C1 C2) sin(Δh / 2), positive
        where the hue angle grows (CIE 15).

    Examples
    --------
    >>> from dyelab import convert
    >>> convert.differences([[50, 10, 10]], [[53, 14, 10]]).round(2)
        dL   da   db    dC    dH  dE76  dE00  dECMC
    0  3.0  4.0  0.0  3.06 -2.57   5.0  4.57   4.89
    """
    first, second = np.broadcast_arrays(np.atleast_2d(reference), np.atleast_2d(sample))
    first, second = first.astype(float), second.astype(float)
    dL, da, db = (second - first).T
    _, C1, h1 = lab_to_lch(first).T
    _, C2, h2 = lab_to_lch(second).T
    turn = (h2 - h1 + 180) % 360 - 180
    dH = 2 * np.sqrt(C1 * C2) * np.sin(np.radians(turn) / 2)
    parts = {"dL": dL, "da": da, "db": db, "dC": C2 - C1, "dH": dH}
    formulae = {"dE76": dE76, "dE00": dE00, "dECMC": dECMC}
    return pd.DataFrame(parts | {name: far(first, second) for name, far in formulae.items()})


def metamerism(
    reference_1: ArrayLike,
    sample_1: ArrayLike,
    reference_2: ArrayLike,
    sample_2: ArrayLike,
    *,
    method: str = "additive",
) -> np.ndarray:
    """Special metamerism index: ΔE*ab left under a second light (ISO 18314-4).

    Parameters
    ----------
    reference_1, sample_1 : array_like (..., 3)
        CIELAB of the pair under the first light.
    reference_2, sample_2 : array_like (..., 3)
        CIELAB of the pair under the second light.
    method : {"additive", "multiplicative"}
        How the difference under the first light is corrected for.

    Returns
    -------
    ndarray (...)

    Raises
    ------
    InputError
        For an unknown method.

    Examples
    --------
    >>> from dyelab import convert
    >>> round(float(convert.metamerism([50, 0, 0], [50, 0, 0], [52, 1, 0], [52, 3, 1])), 2)
    2.24
    """
    if method not in ("additive", "multiplicative"):
        raise InputError(f"no method {method!r} for metamerism. Methods: additive, multiplicative.")
    correct = np.subtract if method == "additive" else np.divide
    undo = np.add if method == "additive" else np.multiply
    shift = correct(np.asarray(reference_1, float), np.asarray(sample_1, float))
    return dE76(reference_2, undo(np.asarray(sample_2, float), shift))
