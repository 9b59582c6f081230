"""Constants of the photo's calibration, derived on a world that judges nothing.

Run: python tests/benchmarks/photo_constants.py [photos a cell] [first seed]

Cloths, lamps and picture programs are those of tests/worlds/programs.py; cameras and surfaces are
those of half 0, each of its two parts seen by priors of the other. photo_worlds.py judges by other
cloths, lamps and programs; its half 1 took no part here at all. Prints

- `program.STEP` by the median ΔE00 over photos with a program;
- `model.STRAINED`, the likeliest relative variance of a window's light a squared unit of the
  patches' strain, under a distribution with the tails of Student's t of 5 degrees;
- `fit.WIDER`: the share of true colours and true differences in the stated 95 % regions by the
  value, of each kind of cloth over all programs: in use is
  what lies between the values at which either kind of cloth is held;
- what of the light a program leaves undone, by kind, beside `calibrate.DEVELOPED`.
"""

# ruff: noqa: E402
import sys
from pathlib import Path

import numpy as np
from scipy.optimize import minimize_scalar

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1])]
import photo_worlds
from worlds import photos as world
from worlds import programs

from dyelab import calibrate, measure
from dyelab.calibrate import calibrate as flags
from dyelab.calibrate import fit, model, program
from dyelab.errors import InputError

TAILS = 5
CLOTHS = ("dyed", "real")


def main(count=10, first=20_000):
    programs.enter()
    rendered = {part: list(drawn(part, count, first)) for part in programs.PARTS}
    for step in (1e-3, 0.1, 0.25, 0.5):
        told(program, "STEP", step, median(rendered))
    used, model.STRAINED = model.STRAINED, 0.0
    print(f"STRAINED: {used:g} in use, {likeliest(taken(rendered)):.4f} likeliest", flush=True)
    model.STRAINED = used
    for wider in (1.0, 1.05, 1.1, 1.15, 1.2, 1.3):
        told(fit, "WIDER", wider, held(rendered))
    strains(taken(rendered))


def drawn(part, count, first):
    for kind in world.PROGRAMS:
        for cloth in CLOTHS:
            for seed in range(first + part % 2, first + count, 2):
                lamp = photo_worlds.LIGHTS[seed % len(photo_worlds.LIGHTS)]
                yield kind, cloth, world.take(seed, kind, cloth, lamp, part)


def told(where, name, value, measured):
    """Print what comes out with one value of a constant."""
    used = getattr(where, name)
    setattr(where, name, value)
    print(f"{name} {value:g}{' (in use)' if value == used else ''}: {measured()}", flush=True)
    setattr(where, name, used)


def taken(rendered, kinds=world.PROGRAMS):
    rows, reference = [], calibrate.reference()
    for part, photos in rendered.items():
        photo_worlds.held_out(part)
        for kind, cloth, one in photos:
            if kind in kinds:
                try:
                    made = measure.photo(one.photo, reference, pose=one.pose, target=one.target)
                except InputError:
                    continue
                rows.append({"kind": kind, "cloth": cloth} | photo_worlds.judged(one.truth, made))
    return rows


def median(rendered):
    return lambda: f"median ΔE00 {np.median(joined(taken(rendered, ('half', 'whole')), 'dE')):.3f}"


def joined(rows, name):
    return np.concatenate([row[name] for row in rows])


def held(rendered):
    def text():
        rows = taken(rendered)
        parts = {c: [row for row in rows if row["cloth"] == c] for c in CLOTHS}
        return ", ".join(
            f"{c} {joined(part, 'inside').mean():.1%} and {joined(part, 'between').mean():.1%}"
            for c, part in parts.items()
        )

    return text


def likeliest(rows):
    """Factor of the squared strain that, added to the stated variance, explains errors best."""
    per_light = 3 / (joined(rows, "lab")[:, 0] + 16)
    squared = (joined(rows, "e")[:, 0] * per_light) ** 2
    stated = joined(rows, "own")[:, 0, 0] * per_light**2
    strain = np.repeat([row["setup"].calibration.strain ** 2 for row in rows], 24)

    def surprise(log):
        variance = stated + np.exp(log) * strain + 1e-8
        tails = np.log1p(squared / variance / (TAILS - 2))
        return (0.5 * np.log(variance) + 0.5 * (TAILS + 1) * tails).sum()

    return np.exp(minimize_scalar(surprise, (-6.0, -3.0)).x)


def strains(rows):
    for kind in world.PROGRAMS:
        found = [row["setup"].calibration.reworked for row in rows if row["kind"] == kind]
        at = ", ".join(f"{p}th {np.percentile(found, p):.2f}" for p in (50, 75, 95))
        print(f"light undone of {kind}: {at} percentile (DEVELOPED {flags.DEVELOPED})", flush=True)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
