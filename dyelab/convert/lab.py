"""XYZ and CIELAB (CIE 15), and moving between white points."""

import numpy as np
from numpy.typing import ArrayLike

from dyelab.numerics import in_pieces

_EPSILON, _KAPPA = 216 / 24389, 24389 / 27  # exact, where the cube root turns straight (CIE 15)
# CIECAM16's transform from XYZ to cone-like responses (CIE 248:2022, equation 7).
_CAT16 = np.array(
    [
        [0.401288, 0.650173, -0.051461],
        [-0.250268, 1.204414, 0.045854],
        [-0.002079, 0.048952, 0.953127],
    ]
)


@in_pieces(1)
def xyz_to_lab(xyz: ArrayLike, white: np.ndarray) -> np.ndarray:
    """CIELAB from XYZ and the white's XYZ on the same scale (CIE 15): (..., 3) to (..., 3).

    Examples
    --------
    >>> from dyelab import convert
    >>> convert.xyz_to_lab(convert.white("D65", 10), convert.white("D65", 10)).tolist()
    [100.0, 0.0, 0.0]
    """
    ratio = np.asarray(xyz, float) / white
    f = np.where(ratio > _EPSILON, np.cbrt(ratio), (_KAPPA * ratio + 16) / 116)
    x, y, z = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


@in_pieces(1)
def lab_to_xyz(lab: ArrayLike, white: np.ndarray) -> np.ndarray:
    """XYZ from CIELAB, on the scale of the white's XYZ (CIE 15): (..., 3) to (..., 3).

    Examples
    --------
    >>> from dyelab import convert
    >>> convert.lab_to_xyz([50, 0, 0], convert.white("D65", 10)).round(2).tolist()
    [17.46, 18.42, 19.76]
    """
    lab = np.asarray(lab, float)
    y = (lab[..., 0] + 16) / 116
    f = np.stack([y + lab[..., 1] / 500, y, y - lab[..., 2] / 200], axis=-1)
    return np.where(f**3 > _EPSILON, f**3, (116 * f - 16) / _KAPPA) * white


def lab_to_lch(lab: ArrayLike) -> np.ndarray:
    """L*, chroma C*ab and hue angle h_ab in degrees, 0 to 360: (..., 3) to (..., 3).

    Examples
    --------
    >>> from dyelab import convert
    >>> convert.lab_to_lch([50, 3, 4]).round(2).tolist()
    [50.0, 5.0, 53.13]
    """
    lab = np.asarray(lab, float)
    a, b = lab[..., 1], lab[..., 2]
    return np.stack([lab[..., 0], np.hypot(a, b), np.degrees(np.arctan2(b, a)) % 360], axis=-1)


def adapt_lab(lab: ArrayLike, old_white: np.ndarray, new_white: np.ndarray) -> np.ndarray:
    """CIELAB under another white by the CAT16 transform with full adaptation (CIE 248).

    An estimate: the spectrum, where there is one, gives the true value.

    Examples
    --------
    >>> from dyelab import convert
    >>> A, D65 = convert.white("A", 10), convert.white("D65", 10)
    >>> convert.adapt_lab([50, 20, 10], A, D65).round(1).tolist()
    [49.9, 20.7, 8.9]
    """
    gain = (_CAT16 @ new_white) / (_CAT16 @ old_white)
    transform = np.linalg.inv(_CAT16) @ (gain[:, None] * _CAT16)
    return xyz_to_lab(lab_to_xyz(lab, old_white) @ transform.T, new_white)
