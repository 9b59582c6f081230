"""Colour differences, each by its own name, with their components."""

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from dyelab.convert.lab import lab_to_lch
from dyelab.convert.science import library


def dE76(reference: ArrayLike, sample: ArrayLike) -> np.ndarray:
    """ΔE*ab, the distance in CIELAB (CIE 15): (..., 3) and (..., 3) to (...)."""
    return np.linalg.norm(np.asarray(sample, float) - np.asarray(reference, float), axis=-1)


def dE00(reference: ArrayLike, sample: ArrayLike) -> np.ndarray:
    """ΔE00 with kL = kC = kH = 1 (CIE 142, ISO/CIE 11664-6)."""
    return library().difference.delta_E_CIE2000(reference, sample, textiles=False)


def dECMC(reference: ArrayLike, sample: ArrayLike, l: float = 2, c: float = 1) -> np.ndarray:  # noqa: E741
    """ΔE CMC(l:c) (ISO 105-J03), 2:1 as textiles use it. Not symmetric: reference first."""
    return library().difference.delta_E_CMC(reference, sample, l=l, c=c)


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
    """
    first, second = np.broadcast_arrays(np.atleast_2d(reference), np.atleast_2d(sample))
    first, second = first.astype(float), second.astype(float)
    dL, da, db = (second - first).T
    _, C1, h1 = lab_to_lch(first).T
    _, C2, h2 = lab_to_lch(second).T
    turn = (h2 - h1 + 180) % 360 - 180
    return pd.DataFrame(
        {
            "dL": dL,
            "da": da,
            "db": db,
            "dC": C2 - C1,
            "dH": 2 * np.sqrt(C1 * C2) * np.sin(np.radians(turn) / 2),
            "dE76": dE76(first, second),
            "dE00": np.atleast_1d(dE00(first, second)),
            "dECMC": np.atleast_1d(dECMC(first, second)),
        }
    )


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
    """
    correct = np.subtract if method == "additive" else np.divide
    undo = np.add if method == "additive" else np.multiply
    shift = correct(np.asarray(reference_1, float), np.asarray(sample_1, float))
    return dE76(reference_2, undo(np.asarray(sample_2, float), shift))
