"""Camera values to XYZ: root-polynomial terms, weighted least squares, leave-one-out error."""

from dataclasses import dataclass

import numpy as np

from dyelab import convert, numerics
from dyelab.table import DEFAULT_WHITE, White

PLAIN, TOP = 2, 3  # degree that 24 patches can pin down, and that cloths trained on can


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


def eye_scale(lab: np.ndarray) -> np.ndarray:
    """Matrices (n, 3, 3) from small differences of CIELAB at these colours to ones of even size.

    Lightness, chroma and hue, divided by the weights S_L, S_C = 1 + 0.045 C* and
    S_H = 1 + 0.015 C* of CIEDE2000 (hue terms left out).
    """
    L, a, b = lab.T
    C, h = np.hypot(a, b), np.arctan2(b, a)
    nil = np.zeros_like(C)
    along = np.stack([nil, np.cos(h), np.sin(h)], axis=-1)
    across = np.stack([nil, -np.sin(h), np.cos(h)], axis=-1)
    light = np.stack([nil + 1, nil, nil], axis=-1)
    S_L = 1 + 0.015 * (L - 50) ** 2 / np.sqrt(20 + (L - 50) ** 2)
    return np.stack([light / S_L[:, None], along / (1 + 0.045 * C)[:, None],
                     across / (1 + 0.015 * C)[:, None]], axis=1)  # fmt: skip


def weights(lab: np.ndarray, white: White = DEFAULT_WHITE) -> np.ndarray:
    """Turn small XYZ errors at these colours into errors of even size to the eye, (n, 3, 3)."""
    return eye_scale(lab) @ slope(lab, white)


def slope(lab: np.ndarray, white: White = DEFAULT_WHITE) -> np.ndarray:
    """Derivative of CIELAB by XYZ at these colours, (n, 3, 3)."""
    light = convert.white(*white)
    return numerics.slopes(lambda xyz: convert.xyz_to_lab(xyz, light), to_xyz(lab, white), 1e-3)


def to_xyz(lab: np.ndarray, white: White = DEFAULT_WHITE) -> np.ndarray:
    """XYZ of CIELAB under a white."""
    return convert.lab_to_xyz(lab, convert.white(*white))


def to_lab(xyz: np.ndarray, white: White = DEFAULT_WHITE) -> np.ndarray:
    """CIELAB of XYZ under a white; negative light counts as none."""
    return convert.xyz_to_lab(np.maximum(xyz, 1e-4), convert.white(*white))


@dataclass(frozen=True)
class KnownColours:
    """Colours that a fit learns from: CIELAB (n, 3), its XYZ, weights, importance and white."""

    lab: np.ndarray
    xyz: np.ndarray
    weights: np.ndarray  # (n, 3, 3), importance included
    white: White = DEFAULT_WHITE

    def subset(self, kept: np.ndarray) -> "KnownColours":
        """Return some of them."""
        return KnownColours(self.lab[kept], self.xyz[kept], self.weights[kept], self.white)


def known_colours(
    lab: np.ndarray, importance: np.ndarray | float = 1.0, white: White = DEFAULT_WHITE
) -> KnownColours:
    """Make a set of known colours; importance multiplies their squared errors."""
    lab = np.asarray(lab, float)
    share = np.sqrt(np.broadcast_to(importance, len(lab)))
    return KnownColours(lab, to_xyz(lab, white), weights(lab, white) * share[:, None, None], white)


@dataclass(frozen=True)
class NormalEquations:
    """Normal equations of a weighted fit of terms (n, p) to known colours."""

    square: np.ndarray  # (3 p, 3 p)
    aim: np.ndarray  # (3 p,)

    def __add__(self, other: "NormalEquations") -> "NormalEquations":
        return NormalEquations(self.square + other.square, self.aim + other.aim)

    def solve(self, ridge: float) -> tuple[np.ndarray, np.ndarray]:
        """Matrix (3, p) that fits best, and the inverse of the equations."""
        size = len(self.square)
        held = ridge * np.trace(self.square) / size * np.eye(size)
        inverse = np.linalg.inv(self.square + held)
        return (inverse @ self.aim).reshape(3, -1), inverse


def normal_equations(
    phi: np.ndarray, of: KnownColours, share: np.ndarray | float = 1.0
) -> NormalEquations:
    """Normal equations; `share` (n,) multiplies the squared errors."""
    n, p = phi.shape
    heavy = np.einsum("nij,nik->njk", of.weights, of.weights)
    heavy = heavy * np.broadcast_to(share, n)[:, None, None]
    products = (phi[:, :, None] * phi[:, None, :]).reshape(n, p * p)
    square = (heavy.reshape(n, 9).T @ products).reshape(3, 3, p, p)
    aim = np.einsum("njk,nk->nj", heavy, of.xyz).T @ phi
    return NormalEquations(square.transpose(0, 2, 1, 3).reshape(3 * p, 3 * p), aim.ravel())


def leave_one_out(
    phi: np.ndarray, of: KnownColours, fitted: tuple[np.ndarray, np.ndarray], share: float = 1.0
) -> np.ndarray:
    """XYZ (n, 3) of each colour by a fit that didn't see it.

    Exact for least squares: what is missed without a colour is what is missed with it, over what
    the fit owes to it (the blocks of the hat matrix; Cook and Weisberg 1982, 2.2).

    Parameters
    ----------
    phi : ndarray (n, p)
        Terms.
    of : KnownColours
        Colours.
    fitted : tuple
        As `NormalEquations.solve` gives it.
    share : float
        What multiplied their squared errors.
    """
    matrix, inverse = fitted
    p = phi.shape[1]
    missed = np.einsum("nij,nj->ni", of.weights, of.xyz - phi @ matrix.T)
    through = np.einsum("np,ipjq,nq->nij", phi, inverse.reshape(3, p, 3, p), phi, optimize=True)
    owed = share * of.weights @ through @ np.swapaxes(of.weights, 1, 2)
    alone = np.linalg.solve(np.eye(3) - owed, missed[..., None])
    return of.xyz - np.linalg.solve(of.weights, alone)[..., 0]
