"""How noise in two colours becomes noise in their difference, for each difference formula."""

import numpy as np

from dyelab import convert, numerics

FORMULAS = {"dE76": convert.dE76, "dE00": convert.dE00, "dECMC": convert.dECMC}
SIGNS = {"dE76": "ΔE*ab", "dE00": "ΔE00", "dECMC": "ΔE CMC(2:1)"}
PARTS = ("dL", "da", "db", "dC", "dH")
MINUS = np.hstack([-np.eye(3), np.eye(3)])  # of two colours' six coordinates: second less first
_STEP = 1e-2  # CIELAB units: far above rounding, far below any curvature of the formulas


def part_gradients(reference: np.ndarray, sample: np.ndarray) -> np.ndarray:
    """Gradients of dL, da, db, dC, dH to both colours.

    Parameters
    ----------
    reference, sample : ndarray (n, 3)

    Returns
    -------
    ndarray (n, 5, 6)
        Columns L*, a*, b* of the reference, then of the sample. ΔH*ab is
        2 √(C1 C2) sin((h2 - h1) / 2) (CIE 15).
    """
    n = len(reference)
    result = np.zeros((n, 5, 6))
    for i in range(3):
        result[:, i, i], result[:, i, 3 + i] = -1, 1
    out1, turn1, chroma1 = _polar(reference)
    out2, turn2, chroma2 = _polar(sample)
    result[:, 3, 1:3], result[:, 3, 4:6] = -out1, out2
    half = (_hue(sample) - _hue(reference) + np.pi) % (2 * np.pi) / 2 - np.pi / 2
    sine, cosine = np.sin(half)[:, None], np.cos(half)[:, None]
    ratio = np.sqrt(np.maximum(chroma2, 1e-9) / np.maximum(chroma1, 1e-9))[:, None]
    result[:, 4, 1:3] = ratio * sine * out1 - ratio * cosine * turn1
    result[:, 4, 4:6] = sine / ratio * out2 + cosine / ratio * turn2
    return result


def _hue(lab: np.ndarray) -> np.ndarray:
    return np.arctan2(lab[:, 2], lab[:, 1])


def _polar(lab: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Unit vectors outward and along the hue circle on the a*b* plane, and the chroma."""
    hue = _hue(lab)
    outward = np.stack([np.cos(hue), np.sin(hue)], axis=-1)
    along = np.stack([-np.sin(hue), np.cos(hue)], axis=-1)
    return outward, along, np.hypot(lab[:, 1], lab[:, 2])


def metric(formula, lab: np.ndarray) -> np.ndarray:
    """Matrix M at each colour with formula² ≈ δᵀ M δ for a small move δ in CIELAB.

    Parameters
    ----------
    formula : callable
        A difference formula of two arrays of colours, such as those of `FORMULAS`.
    lab : ndarray (n, 3)
        The middle of the pair.

    Returns
    -------
    ndarray (n, 3, 3)
        Symmetric, in squared units of the formula for a unit of CIELAB.
    """
    squares = {}
    for i in range(3):
        for j in range(i, 3):
            step = _STEP * (np.eye(3)[i] + (np.eye(3)[j] if j > i else 0))
            squares[i, j] = formula(lab - step / 2, lab + step / 2) ** 2 / _STEP**2
    result = np.empty((len(lab), 3, 3))
    for (i, j), value in squares.items():
        cross = value if i == j else (value - squares[i, i] - squares[j, j]) / 2
        result[:, i, j] = result[:, j, i] = cross
    return result


def distance_gradient(formula, reference: np.ndarray, sample: np.ndarray) -> np.ndarray:
    """Gradient of a difference formula to both colours, by central differences: (n, 6)."""
    result = np.empty((len(reference), 6))
    for i in range(3):
        step = _STEP / 2 * np.eye(3)[i]
        up, down = formula(reference + step, sample), formula(reference - step, sample)
        result[:, i] = (up - down) / _STEP
        up, down = formula(reference, sample + step), formula(reference, sample - step)
        result[:, 3 + i] = (up - down) / _STEP
    return result


def own_axes(
    shape: np.ndarray,
    covariance: np.ndarray,
    move: np.ndarray,
    distance: np.ndarray,
    least: float = 1e-6,
) -> tuple[np.ndarray, np.ndarray]:
    """Variances along the noise's own axes in the formula's space, and the move along them.

    Both (n, 3). The move is scaled to the formula's own distance, since its `metric` (the shape)
    holds for small moves; variances are at least the share `least` of their sum.
    """
    root = numerics.symmetric_root(shape)
    powers, axes = np.linalg.eigh(np.nan_to_num(root @ covariance @ root))
    parts = np.einsum("nji,njk,nk->ni", axes, root, move)
    size = np.linalg.norm(parts, axis=1)
    scale = np.where(size > 1e-12, distance / np.maximum(size, 1e-12), 0.0)
    floor = least * np.maximum(powers.sum(axis=1), 1e-30)[:, None]
    return np.maximum(powers, floor), parts * scale[:, None]
