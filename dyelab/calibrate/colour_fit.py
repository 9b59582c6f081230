"""Camera values to XYZ: root-polynomial terms, weighted least squares, leave-one-out error."""

from dataclasses import dataclass

import numpy as np

from dyelab import convert
from dyelab.table import DEFAULT_WHITE

White = tuple[str, int]

DEGREES = (1, 2, 3)
TOP = DEGREES[-1]
RIDGE = {1: 1e-6, 2: 1e-6, 3: 1e-4}  # what 24 patches need beside a degree's terms


def terms(rgb: np.ndarray, degree: int) -> np.ndarray:
    """Root-polynomial terms of linear camera values.

    Parameters
    ----------
    rgb : ndarray (n, 3)
        Linear.
    degree : int
        1 (linear), 2 or 3.

    Returns
    -------
    ndarray (n, 3, 6 or 13)
        Every term has the dimension of light, so that exposure drops out (Finlayson,
        Mackiewicz and Hurlbert 2015, IEEE Trans. Image Process. 24(5), 1460).
    """
    r, g, b = np.maximum(rgb, 1e-7).T
    made = [r, g, b]
    if degree >= 2:
        made += [np.sqrt(r * g), np.sqrt(g * b), np.sqrt(r * b)]
    if degree >= 3:
        made += [np.cbrt(x) for x in (r*g*g, g*b*b, r*b*b, g*r*r, b*g*g, b*r*r, r*g*b)]  # fmt: skip
    return np.stack(made, axis=-1)


def weights(lab: np.ndarray, white: White = DEFAULT_WHITE) -> np.ndarray:
    """Turn small XYZ errors at these colours into errors of even size to the eye, (n, 3, 3).

    The derivative of CIELAB, its lightness, chroma and hue parts divided by the weights S_L,
    S_C = 1 + 0.045 C* and S_H = 1 + 0.015 C* of CIEDE2000 (hue terms left out).
    """
    L, a, b = lab.T
    C, h = np.hypot(a, b), np.arctan2(b, a)
    nil = np.zeros_like(C)
    along = np.stack([nil, np.cos(h), np.sin(h)], axis=-1)
    across = np.stack([nil, -np.sin(h), np.cos(h)], axis=-1)
    light = np.stack([nil + 1, nil, nil], axis=-1)
    S_L = 1 + 0.015 * (L - 50) ** 2 / np.sqrt(20 + (L - 50) ** 2)
    scale = np.stack([light / S_L[:, None], along / (1 + 0.045 * C)[:, None],
                      across / (1 + 0.015 * C)[:, None]], axis=1)  # fmt: skip
    return scale @ slope(lab, white)


def slope(lab: np.ndarray, white: White = DEFAULT_WHITE) -> np.ndarray:
    """Derivative of CIELAB by XYZ at these colours, (n, 3, 3)."""
    xyz, light, step = to_xyz(lab, white), convert.white(*white), 1e-3
    return np.stack(
        [
            (convert.xyz_to_lab(xyz + d, light) - convert.xyz_to_lab(xyz - d, light)) / (2 * step)
            for d in step * np.eye(3)
        ],
        axis=-1,
    )


def to_xyz(lab: np.ndarray, white: White = DEFAULT_WHITE) -> np.ndarray:
    """XYZ of CIELAB under a white."""
    return convert.lab_to_xyz(lab, convert.white(*white))


def to_lab(xyz: np.ndarray, white: White = DEFAULT_WHITE) -> np.ndarray:
    """CIELAB of XYZ under a white; negative light counts as none."""
    return convert.xyz_to_lab(np.maximum(xyz, 1e-4), convert.white(*white))


@dataclass(frozen=True)
class Known:
    """Colours that a fit learns from: CIELAB (n, 3), its XYZ, weights, importance and white."""

    lab: np.ndarray
    xyz: np.ndarray
    weights: np.ndarray  # (n, 3, 3), importance included
    white: White = DEFAULT_WHITE

    def but(self, kept: np.ndarray) -> "Known":
        """Return some of them."""
        return Known(self.lab[kept], self.xyz[kept], self.weights[kept], self.white)


def known(
    lab: np.ndarray, importance: np.ndarray | float = 1.0, white: White = DEFAULT_WHITE
) -> Known:
    """Make a set of known colours; importance multiplies their squared errors."""
    lab = np.asarray(lab, float)
    share = np.sqrt(np.broadcast_to(importance, len(lab)))
    return Known(lab, to_xyz(lab, white), weights(lab, white) * share[:, None, None], white)


def joined(one: Known, other: Known) -> Known:
    """Put two sets together."""
    return Known(
        np.concatenate([one.lab, other.lab]),
        np.concatenate([one.xyz, other.xyz]),
        np.concatenate([one.weights, other.weights]),
        one.white,
    )


def solve(phi: np.ndarray, of: Known, ridge: float = 1e-6) -> np.ndarray:
    """Matrix (3, p) that best turns terms (n, p) into the known colours."""
    n, p = phi.shape
    rows = (of.weights[:, :, :, None] * phi[:, None, None, :]).reshape(3 * n, 3 * p)
    aim = np.einsum("nij,nj->ni", of.weights, of.xyz).ravel()
    square = rows.T @ rows
    square[np.diag_indices_from(square)] += ridge * np.trace(square) / len(square)
    return np.linalg.solve(square, rows.T @ aim).reshape(3, p)


def left_out(phi: np.ndarray, of: Known, ridge: float = 1e-6) -> np.ndarray:
    """CIELAB (n, 3) of each colour by a fit that didn't see it."""
    out = []
    for i in range(len(phi)):
        kept = np.arange(len(phi)) != i
        out.append(to_lab(phi[i] @ solve(phi[kept], of.but(kept), ridge).T, of.white))
    return np.array(out)
