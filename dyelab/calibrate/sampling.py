"""Mean colours of areas of a photo, in linear light, block by block."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dyelab.calibrate.pose import through
from dyelab.read import Photo

BLOCKS = 8  # a side
TRIM = 0.1  # share of the blocks left out at each end, by lightness


@dataclass(frozen=True)
class Samples:
    """What was seen in n areas.

    Attributes
    ----------
    blocks : ndarray (n, 64, 3)
        Mean of each block of each area, linear light.
    mean : ndarray (n, 3)
        Trimmed mean of the blocks.
    clipped : ndarray (n,)
        Share of pixels at either end of the scale in some channel.
    pixels : ndarray (n,)
        About how many pixels each area has.
    spread : ndarray (n,)
        Standard deviation between pixels over the mean, green channel.
    """

    blocks: np.ndarray
    mean: np.ndarray
    clipped: np.ndarray
    pixels: np.ndarray
    spread: np.ndarray


def sample(
    photo: Photo, quads: Sequence[np.ndarray], to_linear: np.ndarray | None = None, steps: int = 64
) -> Samples:
    """Sample quadrilaterals of a photo.

    Parameters
    ----------
    photo : Photo
        As read.
    quads : sequence of ndarray (4, 2)
        Corners clockwise, in pixels.
    to_linear : ndarray, optional
        In place of the photo's own curves.
    steps : int
        Points a side, a multiple of 8; every point is one pixel's neighbourhood.

    Returns
    -------
    Samples
        An area that leaves the picture is NaN.
    """
    curves = photo.to_linear if to_linear is None else to_linear
    parts = [_one(photo, np.asarray(quad, float), curves, steps) for quad in quads]
    blocks, clipped, pixels, spread = (
        (np.array(part) for part in zip(*parts, strict=True))
        if parts
        else (np.empty((0, BLOCKS**2, 3)), *(np.empty(0) for _ in range(3)))
    )
    return Samples(blocks, trimmed(blocks), clipped, pixels, spread)


def _one(
    photo: Photo, quad: np.ndarray, curves: np.ndarray, steps: int
) -> tuple[np.ndarray, float, float, float]:
    import cv2

    size = np.array(photo.pixels.shape[1::-1])
    nothing = (np.full((BLOCKS**2, 3), np.nan), 0.0, 0.0, np.nan)
    if (quad < 1).any() or (quad > size - 2).any():
        return nothing
    side = (np.arange(steps) + 0.5) / steps
    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    onto = cv2.getPerspectiveTransform(unit, quad.astype(np.float32))
    at = np.rint(through(onto, np.stack(np.meshgrid(side, side), axis=-1))).astype(np.intp)
    stored = photo.pixels[at[..., 1], at[..., 0]]
    linear = np.stack([curves[:, c][stored[..., c]] for c in range(3)], axis=-1)
    clip = ((stored >= photo.full * 0.996) | (stored == 0)).any(axis=-1).mean()
    n = steps // BLOCKS
    blocks = linear.reshape(BLOCKS, n, BLOCKS, n, 3).mean(axis=(1, 3)).reshape(-1, 3)
    green = linear[..., 1]
    (a, b), (c, d) = quad[2] - quad[0], quad[3] - quad[1]
    area = 0.5 * abs(a * d - b * c)
    return blocks, float(clip), float(area), float(green.std() / max(green.mean(), 1e-4))


def trimmed(blocks: np.ndarray) -> np.ndarray:
    """Mean (n, 3) of the blocks (n, m, 3) without the lightest and darkest tenth."""
    if not len(blocks):
        return np.empty((0, 3))
    order = np.argsort(blocks.sum(axis=-1), axis=1)
    out = round(TRIM * blocks.shape[1])
    kept = np.take_along_axis(blocks, order[:, out : blocks.shape[1] - out, None], axis=1)
    return kept.mean(axis=1)
