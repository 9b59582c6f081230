"""How sure a window's colour is: cloth, light, storage, and the calibration it shares."""

from dataclasses import dataclass

import numpy as np

from dyelab import numerics
from dyelab.calibrate import Calibration, Samples

AREAS = 16  # independent areas of a window: four by four groups of blocks
# Half and double of these two: tests/benchmarks/photo_constants.py.
_LIGHT = 0.003  # least relative error of the evened light
_STORED = 0.35  # standard deviation of a stored 8-bit value that averaging doesn't take away
_KEPT = 0.998  # share of the shared variance that the factors written keep


@dataclass(frozen=True)
class LightDoubt:
    """What isn't known of the light on n windows.

    Attributes
    ----------
    left : float
        Relative standard deviation of the evened light.
    off : ndarray (n, d)
        How far the light's logarithm could be off in each of the calibration's draws.
    """

    left: float
    off: np.ndarray | None = None


NO_CARD = LightDoubt(0.02)


def covariances(
    made: Calibration,
    seen: Samples,
    rgb: np.ndarray,
    light: LightDoubt,
    full: int,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Covariance of each colour, and the factors that the colours of one photo share.

    Parameters
    ----------
    made : Calibration
        Of the photo.
    seen : Samples
        The windows, n of them.
    rgb : ndarray (n, 3)
        Their camera values, light evened out.
    light : LightDoubt
        Of the windows' light.
    full : int
        Largest value that a pixel stores.

    Returns
    -------
    ndarray (n, 3, 3)
        The whole covariance: cloth over independent areas, light, storage, calibration.
    ndarray (n, f, 3)
        Factors: for two windows i and j, the sum over f of the outer products of rows i and j
        is the covariance that they share.
    ndarray (n, 3, 3)
        Factors of the calibration error that belongs to the dyed spectrum: only windows of one
        recipe share it.
    """
    slope = made.slope(rgb)
    relative = _cloth(seen.blocks) + storage(rgb, full) + max(light.left, _LIGHT) ** 2
    common, own = calibration_doubt(made, rgb, light.off)
    factors = fewer(common)
    shared = np.einsum("nfk,nfl->nkl", factors, factors)
    whole = slope @ relative @ np.swapaxes(slope, 1, 2) + own + shared
    # Roots alike for colours alike, so that replicates' factors agree in sign.
    return whole, factors, numerics.symmetric_root(own)


def calibration_doubt(
    made: Calibration, rgb: np.ndarray, off: np.ndarray | None
) -> tuple[np.ndarray, np.ndarray]:
    """Of n colours, factors (n, d, 3) of the error they share, and each one's own, (n, 3, 3)."""
    slope = made.slope(rgb)
    # What a program does to a colour it does to all of that colour, in the next photo too.
    program = np.full((3, 3), made.reworked**2)
    own, common = made.doubt(made.lab(rgb))
    moved = made.light_shift * slope.sum(axis=2)[:, None]
    common = np.concatenate([_lit(common, slope, off), moved], axis=1)
    return common, own + slope @ program @ np.swapaxes(slope, 1, 2)


def _lit(common: np.ndarray, slope: np.ndarray, off: np.ndarray | None) -> np.ndarray:
    """Add to the draws' errors (n, f, 3) what each draw says of the light at the windows."""
    if off is None or not off.shape[1]:
        return common
    d = off.shape[1]
    moved = np.einsum("nkc->nk", slope)[:, None] * -off[:, :, None] / d**0.5
    return np.concatenate([common[:, :d] + moved, common[:, d:]], axis=1)


def _cloth(blocks: np.ndarray) -> np.ndarray:
    """Covariance (n, 3, 3) of the logarithm of a window's mean, from its independent areas."""
    n = len(blocks)
    side = round(blocks.shape[1] ** 0.5)
    half = side // 4
    areas = blocks.reshape(n, 4, half, 4, half, 3).mean(axis=(2, 4)).reshape(n, AREAS, 3)
    off = areas / np.maximum(areas.mean(axis=1, keepdims=True), 1e-6) - 1
    spread = np.einsum("nak,nal->nkl", off, off) / (AREAS - 1)
    # A Student interval with 15 degrees of freedom is wider than a normal one by this.
    return spread / AREAS * (AREAS - 1) / (AREAS - 3)


def storage(rgb: np.ndarray, full: int) -> np.ndarray:
    """Rounding and compression of 8-bit files: independent by channel, relative."""
    if full > 255:
        return np.zeros((len(rgb), 3, 3))
    stored = np.maximum(rgb, 1e-4) ** (1 / 2.2)
    error = 2.2 * _STORED / 255 / stored
    return (error**2)[:, :, None] * np.eye(3)


def fewer(common: np.ndarray) -> np.ndarray:
    """Rotate the factors so that a few carry all but nothing of what is shared."""
    n, d, _ = common.shape
    if not n:
        return common[:, :0]
    flat = np.moveaxis(common, 1, 0).reshape(d, 3 * n)
    _, size, rows = np.linalg.svd(flat, full_matrices=False)
    carried = np.cumsum(size**2) / max((size**2).sum(), 1e-12)
    kept = int(np.searchsorted(carried, _KEPT)) + 1
    return np.moveaxis((size[:kept, None] * rows[:kept]).reshape(-1, n, 3), 0, 1)
