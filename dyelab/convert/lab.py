"""XYZ and CIELAB (CIE 15), and moving between white points."""

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from dyelab.convert.light import white
from dyelab.table import (
    COVARIANCE,
    LAB,
    STANDARD_UNCERTAINTIES,
    WHITE,
    covariances,
    need,
    with_covariances,
)

_EPSILON = 216 / 24389
_KAPPA = 24389 / 27
# CIECAM16's transform from XYZ to cone-like responses (CIE 248:2022, equation 7).
_CAT16 = np.array(
    [
        [0.401288, 0.650173, -0.051461],
        [-0.250268, 1.204414, 0.045854],
        [-0.002079, 0.048952, 0.953127],
    ]
)


def xyz_to_lab(xyz: ArrayLike, white: np.ndarray) -> np.ndarray:
    """CIELAB from XYZ and the white's XYZ on the same scale (CIE 15): (..., 3) to (..., 3)."""
    ratio = np.asarray(xyz, float) / white
    f = np.where(ratio > _EPSILON, np.cbrt(ratio), (_KAPPA * ratio + 16) / 116)
    x, y, z = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def lab_to_xyz(lab: ArrayLike, white: np.ndarray) -> np.ndarray:
    """XYZ from CIELAB, on the scale of the white's XYZ (CIE 15): (..., 3) to (..., 3)."""
    lab = np.asarray(lab, float)
    y = (lab[..., 0] + 16) / 116
    f = np.stack([y + lab[..., 1] / 500, y, y - lab[..., 2] / 200], axis=-1)
    return np.where(f**3 > _EPSILON, f**3, (116 * f - 16) / _KAPPA) * white


def lab_to_lch(lab: ArrayLike) -> np.ndarray:
    """L*, chroma C*ab and hue angle h_ab in degrees, 0 to 360: (..., 3) to (..., 3)."""
    lab = np.asarray(lab, float)
    a, b = lab[..., 1], lab[..., 2]
    return np.stack([lab[..., 0], np.hypot(a, b), np.degrees(np.arctan2(b, a)) % 360], axis=-1)


def adapt_lab(lab: ArrayLike, old_white: np.ndarray, new_white: np.ndarray) -> np.ndarray:
    """CIELAB under another white by the CAT16 transform with full adaptation (CIE 248).

    An estimate: the spectrum, where there is one, gives the true value.
    """
    gain = (_CAT16 @ new_white) / (_CAT16 @ old_white)
    transform = np.linalg.inv(_CAT16) @ (gain[:, None] * _CAT16)
    return xyz_to_lab(lab_to_xyz(lab, old_white) @ transform.T, new_white)


def adapt(table: pd.DataFrame, illuminant: str, observer: int) -> pd.DataFrame:
    """Bring every row of a CIELAB table to one white.

    Parameters
    ----------
    table : DataFrame
        With `L, a, b, illuminant, observer`; white points may differ from row to row.
    illuminant, observer
        The white wanted.

    Returns
    -------
    DataFrame
        A new table under that white. Rows that had another are adapted by CAT16, and the word
        ``adapted`` is added to their `flags`. Covariances and `u_L, u_a, u_b`, if any, are
        carried through the same transform by its local slope.
    """
    need(table, [*LAB, *WHITE], "adapting")
    sizes = [name for name in (*COVARIANCE, *STANDARD_UNCERTAINTIES) if name in table]
    result = table.astype(dict.fromkeys([*LAB, *sizes], float))
    target = white(illuminant, observer)
    flags = result["flags"].fillna("").astype(str) if "flags" in result else ""
    result["flags"] = pd.Series(flags, index=result.index, dtype=object)
    for (old, degrees), rows in table.groupby(WHITE, sort=False):
        if (str(old), str(degrees)) == (illuminant, str(observer)):
            continue
        source = white(str(old), int(str(degrees)))
        lab = rows[LAB].to_numpy(float)
        result.loc[rows.index, LAB] = adapt_lab(lab, source, target)
        result.loc[rows.index, "flags"] = result.loc[rows.index, "flags"].map(
            lambda words: " ".join(dict.fromkeys([*words.split(), "adapted"]))
        )
        result = _carry_covariance(result, rows, source, target)
    result["illuminant"], result["observer"] = illuminant, int(observer)
    return result


def _carry_covariance(
    result: pd.DataFrame, rows: pd.DataFrame, source: np.ndarray, target: np.ndarray
) -> pd.DataFrame:
    full, single = (set(names) <= set(rows) for names in (COVARIANCE, STANDARD_UNCERTAINTIES))
    if rows.empty or not (full or single):
        return result
    jacobian = _slopes(rows[LAB].to_numpy(float), source, target)
    moved = jacobian @ covariances(rows) @ np.swapaxes(jacobian, -1, -2)
    if full:
        result.loc[rows.index, COVARIANCE] = with_covariances(rows, moved)[COVARIANCE]
    if single:
        deviations = np.sqrt(np.diagonal(moved, axis1=-2, axis2=-1))
        result.loc[rows.index, STANDARD_UNCERTAINTIES] = deviations
    return result


def _slopes(lab: np.ndarray, source: np.ndarray, target: np.ndarray) -> np.ndarray:
    """Derivatives (n, 3, 3) of the adapted L*, a*, b* by the old ones."""
    step = 0.1 * np.eye(3)
    up, down = (
        adapt_lab(lab[:, None] + sign * step, source, target) for sign in (1, -1)
    )  # (n, 3 steps, 3 coordinates)
    return np.swapaxes((up - down) / 0.2, -1, -2)
