"""Blue wool photographed: do blues with a steep edge in the far red come out right?

Run: python tests/benchmarks/photo_blue_wool.py [photos a lamp] [first seed] [program]

Photos of `worlds.photos`, cameras of both halves as in photo_worlds.py, of six depths of a
measured blue wool 1 (tests/published/blue_wool_1.csv; below 430 nm, where nothing was measured, as
at 430) among dyed cloths. For each lamp and way of fitting: median ΔE00, mean error of a*, hue
error in degrees, and the share of true colours in the stated 95 % regions, of the blue wools
alone. No constant was set by it.
"""

# ruff: noqa: E402
import sys
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1])]
import photo_worlds
from worlds import photos as world

from dyelab import calibrate, convert, measure

DEPTHS = np.array([0.25, 0.4, 0.6, 0.8, 1.0, 1.4])  # of K/S, 1 as measured
TABLE = Path(__file__).parents[1] / "published" / "blue_wool_1.csv"


def main(count=8, first=3000, program="plain"):
    reference, blue = calibrate.reference(), blue_wools()
    found = {}
    for which in (0, 1):
        photo_worlds.held_out(which)
        for lamp in world.KINDS:
            for seed in range(first + which, first + count, 2):
                cloth = world.dyed(np.random.default_rng(seed))
                cloth[: len(blue)] = blue
                taken = world.take(seed, program, cloth, lamp, which)
                for method in calibrate.METHODS:
                    found.setdefault((lamp, method), []).append(one(taken, reference, method))
    for (lamp, method), rows in found.items():
        print(f"{lamp:8} {method:7} {report(*map(np.concatenate, zip(*rows, strict=True)))}")


def blue_wools():
    nm, seen = np.loadtxt(TABLE, delimiter=",", skiprows=3).T
    ks = convert.ks(np.interp(world.NM, nm, seen))
    return convert.ks_to_reflectance(DEPTHS[:, None] * ks)


def one(taken, reference, method):
    """Truth, what was measured, and whether it lies in its region, of the blue wools."""
    made = measure.photo(
        taken.photo, reference, pose=taken.pose, target=taken.target, method=method
    )
    told = photo_worlds.judged(taken.truth, made)
    return [values[: len(DEPTHS)] for values in (taken.truth, told["lab"], told["inside"])]


def report(truth, lab, inside):
    hue = np.diff([convert.lab_to_lch(part)[:, 2] for part in (truth, lab)], axis=0)
    return (
        f"ΔE00 {np.median(convert.dE00(truth, lab)):.2f}  a* {np.mean((lab - truth)[:, 1]):+.2f}  "
        f"hue {np.mean((hue + 180) % 360 - 180):+.1f}  in their regions {inside.mean():.0%}"
    )


if __name__ == "__main__":
    numbers = [int(a) for a in sys.argv[1:] if a.isdigit()]
    named = [a for a in sys.argv[1:] if a.isalpha()]
    main(*(*numbers, *(8, 3000)[len(numbers) :])[:2], *named)
