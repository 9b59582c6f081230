"""Another phone's program than `worlds.photos.developed`, to derive constants from.

What `worlds.photos` does to a picture is for judging; constants of `dyelab.calibrate` that programs
decide are set on this one, whose local maps, colours and curves follow other formulas.
"""

import cv2
import numpy as np

from worlds import photos as world


def develop(linear, made, matrix):
    """As `worlds.photos.developed`, by other laws with about the same strengths."""
    linear = linear + made.glare * 0.4 * linear.max()
    linear = linear * np.exp(np.array(made.cast, np.float32))
    seen = linear @ ((1 - made.developed) * np.eye(3) + made.developed * matrix).T.astype("f4")
    if made.local:
        seen = seen * gain(np.clip(seen, 0, 1), made)[..., None]
    stored = world.encoded(np.clip(seen, 0, 1))
    if made.lively:
        stored = lively(stored, made)
    if made.curve:
        power = 1 + 0.6 * made.curve
        stored = stored**power / (stored**power + 0.9 * (1 - stored) ** power)
    if made.sharpening:
        stored = stored - 0.15 * made.sharpening * cv2.Laplacian(stored, cv2.CV_32F)
    return np.clip(stored, 0, 1)


def gain(seen, made):
    """Local map in encoded light: a box, a bilateral filter, or equalised tiles."""
    root = (seen.mean(axis=-1) ** np.float32(1 / 2.2)).astype(np.float32)
    small = cv2.resize(root, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    long = max(small.shape)
    if made.form == "blur":
        side = max(int(made.width * long), 3)
        base = cv2.blur(cv2.blur(small, (side, side)), (side, side))
    elif made.form == "edges":
        base = cv2.bilateralFilter(small, 0, 0.12, max(made.width * long / 3, 2))
    else:
        count = int(np.clip(0.7 / made.width, 2, 10))
        tiles = cv2.createCLAHE(1.0 + 6 * made.local, (count, count))
        return (tiles.apply(np.round(255 * root).astype(np.uint8)) / 255 * 0.5 * made.local + (
            1 - 0.5 * made.local) * root).astype(np.float32) ** 2.2 / np.maximum(root, 0.02) ** 2.2  # fmt: skip  # noqa: E501
    base = cv2.resize(base, root.shape[::-1], interpolation=cv2.INTER_LINEAR)
    lifted = root + made.local * 1.6 * (0.6 - base) * root * (1.1 - root)
    return (np.maximum(lifted, 0.01) / np.maximum(root, 0.01)) ** 2.2


def lively(stored, made):
    """More chroma where there is little, blues and greens turned, in CIELAB of the screen."""
    lab = cv2.cvtColor(stored.astype(np.float32), cv2.COLOR_RGB2LAB)
    size, hue = np.hypot(lab[..., 1], lab[..., 2]), np.arctan2(lab[..., 2], lab[..., 1])
    size = size * (1 + made.lively * np.exp(-size / 90) + made.vibrance * np.exp(-size / 25))
    for at, turn in ((-1.9, made.twist[0]), (2.2, made.twist[1])):
        apart = np.angle(np.exp(1j * (hue - at)))
        hue = hue + np.radians(1.5 * turn) * np.exp(-((apart / 0.6) ** 2))
    lab[..., 1], lab[..., 2] = size * np.cos(hue), size * np.sin(hue)
    return np.clip(cv2.cvtColor(lab.astype(np.float32), cv2.COLOR_LAB2RGB), 0, 1)
