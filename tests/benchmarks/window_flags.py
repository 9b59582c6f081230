"""What half and double of each limit would do that says of a window: clipped, small, uneven …

Run: python tests/benchmarks/window_flags.py [photos] [first seed]

Rendered cards, by their white paper. Half of the windows of each are spoilt, by chance from hardly
to badly: shade across, a fold's stripes, glints that clip; some cloths are near white and some
windows bare. The same photo unspoilt says how far each colour went off. For half, used and double
of each limit of `measure.single_photo`: the share flagged of windows off by more than `SEEN` ΔE00
through what it looks for, and of all others. For `SMALL` a window is off if a second photo, its
noise and weave drawn anew, differs by more than `AGAIN`; for `BARE` it is if nothing lies there.
Last, the other world: the share of windows flagged, each with the limit in use, on the photos of
tests/worlds/photos.py, which nobody has spoilt: there every flag but `clipped` is said in vain, or
of a slope that a phone's own map of light has left.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from dataclasses import replace

from worlds import photos as world
from worlds import programs
from worlds.synth import render

from dyelab import calibrate, convert, measure, read, table
from dyelab.measure import single_photo

SEEN = 1.5  # ΔE00 that an eye beside the cloth would see
AGAIN = 0.5  # ΔE00 between two photos of one cloth, a third of that
FLAGS = {"CLIPPED": "clipped", "SHADOW": "shadow", "UNEVEN": "uneven", "SMALL": "small"}
FLAGS |= {"BARE": "empty"}
BANDS = programs.world.NM


def main(count=6, first=900):
    cases = [case for seed in range(first, first + count) for case in taken(seed)]
    for name, flag in FLAGS.items():
        used = getattr(single_photo, name)
        for value in (used / 2, used, used * 2):
            setattr(single_photo, name, type(used)(value))
            print(f"{name} {value:g}{' (in use)' * (value == used)}: {told(cases, flag)}")
        setattr(single_photo, name, used)


def in_vain(count, first):
    """Print the share of each flag among windows of the other world, program by program."""
    for kind in world.PROGRAMS:
        rows = []
        for seed in range(first, first + count):
            cloth = ("dyed", "natural", "real")[seed % 3]
            taken = world.take(seed, kind, cloth, world.KINDS[seed % len(world.KINDS)])
            rows += [flagged(taken.photo, taken.pose, flag) for flag in FLAGS.values()]
        shares = np.reshape(rows, (count, len(FLAGS), -1)).mean(axis=(0, 2))
        said = (f"{flag} {share:.1%}" for flag, share in zip(FLAGS.values(), shares, strict=True))
        print(f"{kind}: {', '.join(said)}", flush=True)


def told(cases, flag):
    """Shares flagged of the windows that this flag is about and that are off, and of all others."""
    hits, rest = [], []
    for photo, pose, about, off in cases:
        seen = flagged(photo, pose, flag)
        wanted = (about == flag) & off
        hits, rest = [*hits, *seen[wanted]], [*rest, *seen[~wanted]]
    shares = (f"{sum(some) / max(len(some), 1):.0%} of {len(some)}" for some in (hits, rest))
    return "flags {} that are, {} others".format(*shares)


def flagged(photo, pose, flag):
    made = measure.photo(photo, None, pose=pose).table
    return made["flags"].str.split().map(lambda words: flag in words).to_numpy(bool)


def taken(seed):
    """Photos of one card with what was done to each window, and whether its colour is off."""
    rng = np.random.default_rng(seed)
    spectra = programs.cloth(rng)
    white = rng.random(24) < 0.2
    spectra[white] = rng.uniform(0.75, 0.95, (white.sum(), 1)) * (
        1 + rng.uniform(-0.08, 0.08, (white.sum(), 1)) * (BANDS - 555) / 175
    )
    shot = render.Shot(
        megapixels=3.0, tilt=rng.uniform(0, 15), falloff=rng.uniform(0, 0.15),
        weave=rng.uniform(0.02, 0.15), form=str(rng.choice(["cloth", "yarn"])),
    )  # fmt: skip
    clean, pose = seen(spectra, shot, seed)
    bare, _ = seen(np.full_like(spectra, render.PAPER), replace(shot, weave=0.0), seed)
    about = rng.permutation(np.repeat(["", *list(FLAGS.values())[:3], "empty"], [8, 4, 4, 4, 4]))
    pixels = clean.pixels.copy()
    windows = zip(about, pose.layout.windows, strict=True)
    for how, window in windows:
        spoil(pixels, bare.pixels, box(window, pose), how, rng)
    spoilt = read.Photo(pixels, clean.to_linear, "spoilt.jpg")
    off = convert.dE00(*(lab(one, pose) for one in (clean, spoilt))) > SEEN
    yield spoilt, pose, about, off | (about == "empty")
    for megapixels in (0.15, 0.3, 0.6, 1.2):
        one, small = seen(spectra, replace(shot, megapixels=megapixels), seed)
        two, _ = seen(spectra, replace(shot, megapixels=megapixels), seed + 1)
        off = convert.dE00(*(lab(each, small) for each in (one, two))) > AGAIN
        yield one, small, np.full(24, "small"), off


def seen(spectra, shot, seed):
    picture = render.render(spectra, shot, wavelengths=BANDS, seed=seed)
    density = np.sqrt(abs(np.linalg.det(picture.to_pixels[:2, :2])))
    photo = read.photo(picture.jpeg(), name="a.jpg")
    return photo, calibrate.Pose(picture.card, picture.to_pixels, density=density)


def box(window, pose):
    quad = calibrate.map_points(pose.to_pixels, window.corners)
    low, high = np.floor(quad.min(axis=0)).astype(int), np.ceil(quad.max(axis=0)).astype(int)
    return slice(low[1], high[1]), slice(low[0], high[0])


def spoil(pixels, bare, at, how, rng):
    """Shade, stripes, glints or nothing at all in one window, the first three by chance much."""
    cut = pixels[at].astype(float)
    y, x = np.mgrid[0 : 1 : cut.shape[0] * 1j, 0 : 1 : cut.shape[1] * 1j]
    much = rng.uniform(0, 0.6)
    light = np.ones(cut.shape[:2])
    if how == "shadow":
        light = 1 - much * x
    elif how == "uneven":
        light = 1 - much * (np.sin(2 * np.pi * (rng.uniform(1, 3) * y + rng.random())) > 0)
    made = cut * light[..., None] ** (1 / 2.2)
    if how == "clipped":
        made[rng.random(cut.shape[:2]) < 0.3 * much] = 255
    if how == "empty":
        made = bare[at]
    pixels[at] = np.clip(np.round(made), 0, 255).astype(np.uint8)


def lab(photo, pose):
    return measure.photo(photo, None, pose=pose).table[table.LAB].to_numpy()


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
    in_vain(12, 61000)
