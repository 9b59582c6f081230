"""What a camera's program adds to a window's error beyond what is simulated: one constant.

Run: python tests/benchmarks/photo_programs.py [photos a cell]

Photos of the other world's cloths, lights and cameras, but put through a program of other laws
(tests/worlds/programs.py) than the one that judges. Prints, beside the one in
`dyelab.measure.uncertainty`, the likeliest relative variance of a window's light a squared unit of
the patches' strain (STRAINED), under a distribution with the tails of Student's t of 5 degrees.
Strength of the local map undone, and how far a second light's colour was evened out, added nothing
(likeliest factors of nought over 72 and 24 photos).
"""

# ruff: noqa: E402
import sys
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1])]
import photo_worlds
from worlds import photos as world
from worlds import programs

from dyelab import calibrate
from dyelab.measure import uncertainty

TAILS = 5


def main(count=12):
    used, uncertainty.STRAINED = uncertainty.STRAINED, 0.0
    world.developed = programs.develop
    rows = [r for kind in ("plain", "half", "whole") for r in taken(kind, count)]
    strain = np.repeat([r["setup"].calibration.strain ** 2 for r in rows], 24)
    found = likeliest(*np.concatenate([lightness(r) for r in rows]).T, strain[None])[0]
    print(f"STRAINED: {used:g} in use, {found:.4f} likeliest over {len(rows)} photos", flush=True)


def taken(kind, count):
    reference, rows = calibrate.reference(), []
    for which in (0, 1):
        photo_worlds.held_out(which)
        for cloth in ("dyed", "real"):
            rows += [
                photo_worlds.one(5000 + i, kind, cloth, which, reference)
                for i in range(which, count, 2)
            ]
    return [row for row in rows if "refused" not in row]


def lightness(row):
    """Squared error of each window's light, relative, and its stated variance."""
    per_light = 3 / (row["lab"][:, 0] + 16)
    return np.column_stack([(row["e"][:, 0] * per_light) ** 2, row["own"][:, 0, 0] * per_light**2])


def likeliest(squared, stated, features):
    """Factors of the features (k, n) that, added to the stated variance, explain errors best."""

    def surprise(logs):
        variance = stated + np.exp(logs) @ features + 1e-8
        tails = np.log1p(squared / variance / (TAILS - 2))
        return (0.5 * np.log(variance) + 0.5 * (TAILS + 1) * tails).sum()

    start = np.full(len(features), -4.0)
    return np.exp(minimize(surprise, start, method="Nelder-Mead").x)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
