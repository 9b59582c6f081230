"""How surely cards and targets are found, and the constants of finding them.

Run: python tests/benchmarks/card_finding.py [photos] [megapixels] [first seed]

Rendered photos, thrown down at random, tilted by up to 30 degrees. Prints how far the corners of
the page are off, mm, how far markers' corners lie off a flat page and how many pixels a mm there
are, beside `card_pose.MOST_BENT` and `LEAST_DENSITY`; then for half and double of each constant of
`calibrate.target`: targets found, how far patches are off, in patches (median and worst photo), and
how often another target, of the same colours in another order, is taken for it.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
import photos

from dyelab import calibrate, read
from dyelab.calibrate import card_pose, target
from dyelab.errors import InputError

VARIED = ("LEAST_SCORE", "LEAST_LEAD", "CORE", "FARTHEST", "SEEN_EDGE", "ASTRAY",
          "FEWEST_EDGES", "SCALE")  # fmt: skip
REFERENCE = calibrate.reference()
STRANGER = REFERENCE.subset(np.random.default_rng(0).permutation(24))


def main(count=12, megapixels=2.0, first=500):
    taken = [posed(int(first) + i, megapixels) for i in range(int(count))]
    off = [corners_off(picture, pose) for picture, _, pose in taken]
    print(f"corners off by {np.median(off):.2f} mm, {max(off):.2f} at the most")
    for name, found in (
        ("MOST_BENT", [pose.bent_mm for *_, pose in taken]),
        ("LEAST_DENSITY", [pose.density for *_, pose in taken]),
    ):
        print(f"{name} {getattr(card_pose, name)}: {min(found):.2f} to {max(found):.2f} seen")
    for name in VARIED:
        used = getattr(target, name)
        for times in (0.5, 1, 2):
            setattr(target, name, type(used)(used * times))
            print(
                f"{name} {used * times:g}{' (in use)' * (times == 1)}: {counted(taken)}", flush=True
            )
        setattr(target, name, used)


def posed(seed, megapixels):
    picture = photos.drawn(seed, megapixels)
    photo = read.photo(picture.jpeg(), name="a.jpg")
    return picture, photo, calibrate.find_card(photo)


def corners_off(picture, pose):
    w, h = picture.card.page_mm
    page = np.array([[0, 0], [w, 0], [w, h], [0, h]], float)
    seen = calibrate.map_points(np.linalg.inv(pose.to_pixels), through(picture, page))
    return np.linalg.norm(seen - page, axis=1).max()


def through(picture, page):
    return calibrate.map_points(picture.to_pixels, page)


def counted(taken):
    off, strange = [], 0
    for picture, photo, pose in taken:
        found = sought(photo, pose, REFERENCE)
        strange += sought(photo, pose, STRANGER) is not None
        if found is not None:
            off.append(patches_off(picture, found))
    told = f"{np.median(off):.3f} off, {max(off):.3f} at the most" if off else ""
    return f"{len(off)} of {len(taken)} found, {told}; {strange} strangers"


def sought(photo, pose, reference):
    try:
        return calibrate.find_on_card(photo, pose, reference)
    except InputError:
        return None


def patches_off(picture, found):
    """Largest distance of a patch's middle from where it was painted, in patches."""
    right, down, size, turn = picture.shot.target
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    pitch = 13.0 * size
    true = target.GRID * pitch @ np.array([[c, s], [-s, c]])
    true = true + picture.card.target_area.centre + [right, down]
    seen = calibrate.map_points(np.linalg.inv(picture.to_pixels), found.quads.mean(axis=1))
    return np.linalg.norm(seen - true, axis=1).max() / pitch


if __name__ == "__main__":
    main(*map(float, sys.argv[1:]))
