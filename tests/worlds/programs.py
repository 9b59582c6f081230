"""Other cloths, lamps and picture programs than those of `worlds.photos`, to derive constants from.

`worlds.photos` is for judging; constants of `dyelab.calibrate` and `dyelab.measure` are set on
this one, whose cloths, lamps, local maps, colours and curves follow other formulas, and on
cameras and surfaces of half 0 alone (its parts 2 and 3). `enter` puts it in the other's place.
"""

import cv2
import numpy as np
import pandas as pd

from worlds import photos as world

PARTS = (2, 3)
LEDS = ("LED-B1", "LED-B3", "LED-B5", "LED-V2", "LED-RGB1")
TUBES = ("FL1", "FL3", "FL5", "FL6", "FL9", "FL3.2", "FL3.7")


def enter():
    """Let `worlds.photos` draw and develop by these laws."""
    world.developed, world.dyed, world.natural, world.light = develop, cloth, natural, lamp


def cloth(rng, count=24):
    """Smooth random curves in the logarithm of R / (1 - R); half are seen through bare threads."""
    apart = world.NM[:, None] - world.NM
    made = []
    for _ in range(count):
        reach, size = rng.uniform(40, 90), rng.uniform(0.3, 1.3)
        smooth = np.exp(-0.5 * (apart / reach) ** 2) + 1e-6 * np.eye(len(world.NM))
        bend = np.linalg.cholesky(smooth) @ rng.standard_normal(len(world.NM))
        rise = rng.normal(0.6, 0.8) * (world.NM - 555) / 175
        dye = 1 / (1 + np.exp(rng.uniform(-0.8, 2.2) - size * bend - rise))
        bare = rng.uniform(0, 0.3) * (rng.random() < 0.5)
        made.append(0.004 + 0.92 * ((1 - bare) * dye**0.5 + bare * 0.75**0.5) ** 2)
    return np.array(made)


def natural(rng, count=24):
    """Cloth of natural dyes by the laws of `worlds.synth`, each from a world of its own."""
    from worlds.synth import materials, model  # older code that is judged knows not all of it

    made = []
    for _ in range(count):
        drawn = materials.varied(int(rng.integers(1 << 30)), 0.25)
        recipe = {
            "fibre": rng.choice(list(drawn.fibres)), "tannin": "gallnut",
            "tannin_wof": rng.choice([0.0, 0.0, 8.0, 20.0]),
            "mordant": rng.choice(list(model.ALUMINIUM)),
            "mordant_wof": rng.choice([0.0, 8.0, 15.0]),
            "dye": rng.choice([dye for dye in drawn.dyes if dye != "none"]),
            "dye_wof": rng.choice([5.0, 20.0, 50.0, 100.0]),
            "iron_wof": rng.choice([0.0, 0.0, 0.0, 0.5, 1.5, 4.0]),
            "copper_wof": rng.choice([0.0, 0.0, 0.0, 2.0]),
        }  # fmt: skip
        made.append(model.reflectance(pd.DataFrame([recipe]), cloth=drawn, wavelengths=world.NM))
    return np.concatenate(made)


def lamp(rng, kind):
    """Relative power of one light of a kind."""
    if kind == "daylight":
        power = world.planck(rng.uniform(5000, 6500)) * (world.NM / 560) ** -rng.uniform(-0.4, 1.2)
        power = power * (1 - rng.uniform(0, 0.1) * np.exp(-(((world.NM - 590) / 35) ** 2)))
    elif kind == "bulb":
        power = world.planck(rng.uniform(2400, 3600)) * (1 + rng.uniform(-0.1, 0.1) * _slant())
    elif kind == "LED":
        table = world.light_tables(str(rng.choice(LEDS)))
        power = np.interp(world.NM, world.NM + rng.uniform(-8, 8), table)
    else:
        one, other = (world.light_tables(str(n)) for n in rng.choice(TUBES, 2, replace=False))
        share = rng.choice([0.0, rng.uniform(0, 0.5)])
        power = (1 - share) * one / one.mean() + share * other / other.mean()
    return power / power.mean()


def _slant():
    return (world.NM - 555) / 175


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
    """Local map in encoded light: a box, a bilateral filter, or equalised tiles.

    As strong as those of `worlds.photos`: by the spread of the gain's logarithm over a card.
    """
    root = (seen.mean(axis=-1) ** np.float32(1 / 2.2)).astype(np.float32)
    if made.form == "tiles":
        return equalised(root, made) / np.maximum(root, 0.02) ** 2.2
    small = cv2.resize(root, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    long = max(small.shape)
    if made.form == "blur":
        strength, side = 2.0, max(int(made.width * long), 3)
        base = cv2.blur(cv2.blur(small, (side, side)), (side, side))
    else:
        strength, base = 2.9, cv2.bilateralFilter(small, 0, 0.12, max(made.width * long / 3, 2))
    base = cv2.resize(base, root.shape[::-1], interpolation=cv2.INTER_LINEAR)
    lifted = root + made.local * strength * (0.6 - base) * root * (1.1 - root)
    return (np.maximum(lifted, 0.01) / np.maximum(root, 0.01)) ** 2.2


def equalised(root, made):
    """Light partly equalised tile by tile."""
    count = int(np.clip(0.7 / made.width, 2, 10))
    tiles = cv2.createCLAHE(1.0 + 6 * made.local, (count, count))
    flat = tiles.apply(np.round(255 * root).astype(np.uint8)).astype(np.float32) / 255
    share = min(1.7 * made.local, 1.0)
    return (share * flat + (1 - share) * root) ** 2.2


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
