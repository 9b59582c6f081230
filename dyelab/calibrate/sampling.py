"""Mean colours of areas of a photo, in linear light, block by block."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dyelab.calibrate.card_pose import map_points
from dyelab.read import Photo

# Half and double of both change the median ΔE00 of photos by 0.02 at the most, of 1.5
# (tests/benchmarks/photo_constants.py).
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
    roughness : ndarray (n,)
        Standard deviation between pixels over the mean, green channel.
    """

    blocks: np.ndarray
    mean: np.ndarray
    clipped: np.ndarray
    pixels: np.ndarray
    roughness: np.ndarray


def sample(
    photo: Photo,
    quads: Sequence[np.ndarray] | np.ndarray,
    to_linear: np.ndarray | None = None,
    steps: int = 64,
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

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import calibrate, read, synth
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> picture = read.photo(photo)
    >>> quad = np.array([[100.0, 100], [140, 100], [140, 140], [100, 140]])
    >>> calibrate.sample(picture, [quad]).mean.shape
    (1, 3)
    """
    curves = photo.to_linear if to_linear is None else to_linear
    corners = np.array(quads, float).reshape(-1, 4, 2)
    size = np.array(photo.pixels.shape[1::-1])
    inside = np.asarray(((corners >= 1) & (corners <= size - 2)).all(axis=(1, 2)))
    stored = _sample_stored(photo, corners[inside], steps)
    linear = np.stack([np.take(curves[:, c], stored[..., c]) for c in range(3)], axis=-1)
    green = linear[..., 1]
    n, width = len(linear), steps // BLOCKS
    parts = linear.reshape(n, BLOCKS, width, BLOCKS, width, 3).mean(axis=(2, 4))
    blocks = _spread_out(parts.reshape(n, -1, 3), inside)
    (a, b), (c, d) = ((corners[inside, i + 2] - corners[inside, i]).T for i in (0, 1))
    clipped = ((stored >= photo.full * 0.996) | (stored == 0)).any(axis=-1).mean(axis=(1, 2))
    rough = green.std(axis=(1, 2)) / np.maximum(green.mean(axis=(1, 2)), 1e-4)
    return Samples(
        blocks,
        trimmed_mean(blocks),
        _spread_out(clipped, inside, 0.0),
        _spread_out(0.5 * np.abs(a * d - b * c), inside, 0.0),
        _spread_out(rough, inside),
    )


def _sample_stored(photo: Photo, corners: np.ndarray, steps: int) -> np.ndarray:
    """Stored values (n, steps, steps, 3) of the pixels nearest to a grid of points in each."""
    import cv2

    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    side = (np.arange(steps) + 0.5) / steps
    grid = np.stack(np.meshgrid(side, side), axis=-1)
    seen = np.empty((len(corners), steps, steps, 3), photo.pixels.dtype)
    for one, quad in zip(seen, corners, strict=True):
        onto = cv2.getPerspectiveTransform(unit, quad.astype(np.float32))
        x, y = np.moveaxis(np.rint(map_points(onto, grid)).astype(np.intp), -1, 0)
        one[...] = photo.pixels[y, x]
    return seen


def _spread_out(values: np.ndarray, inside: np.ndarray, elsewhere: float = np.nan) -> np.ndarray:
    """Values of the areas inside the picture in their places among all."""
    whole = np.full((len(inside), *values.shape[1:]), elsewhere)
    whole[inside] = values
    return whole


def trimmed_mean(blocks: np.ndarray) -> np.ndarray:
    """Mean (n, 3) of the blocks (n, m, 3) without the lightest and darkest tenth."""
    if not len(blocks):
        return np.empty((0, 3))
    order = np.argsort(blocks.sum(axis=-1), axis=1)
    out = round(TRIM * blocks.shape[1])
    kept = np.take_along_axis(blocks, order[:, out : blocks.shape[1] - out, None], axis=1)
    return kept.mean(axis=1)
