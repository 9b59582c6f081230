"""Constants of the photo's calibration, derived on a world that judges nothing.

Run: python tests/benchmarks/photo_constants.py [photos a cell] [first seed] [NAME...]

Cloths, lamps and picture programs are those of tests/worlds/programs.py; cameras and surfaces are
those of half 0, each of its two parts seen by priors of the other. photo_worlds.py judges by other
cloths, lamps and programs; its half 1 took no part here at all. Prints

- `program.STEP` by the median ΔE00 over photos with a program;
- `camera_calibration.STRAINED`, the likeliest relative variance of a window's light a squared unit
  of the patches' strain, under a distribution with the tails of Student's t of 5 degrees;
- `camera_calibration.SHIFT`, by how much the light of all windows together was off, beside the
  strain;
- `fit.WIDER`: the share of true colours and true differences in the stated 95 % regions by the
  value, of each kind of cloth over all programs, and the value at which 95 % are held (mean of
  colours and differences), kind by kind and over all three; then, by chroma, what 95 % of colours
  would ask of the one in use;
- by kind of program, what of the light it leaves undone, what fits without each patch leave, and
  how the light's colour and strength change, beside `calibrate.DEVELOPED`, `TARGET_POOR`, `MIXED`
  and those after it.

With names of constants (or `all` of `VARIED`) only what half and double of each would do: median
ΔE00, and the shares held, of each kind of cloth.
"""

# ruff: noqa: E402
import sys
from importlib import import_module
from itertools import pairwise
from pathlib import Path

import numpy as np
from scipy.optimize import minimize_scalar

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1])]
import photo_worlds
from worlds import photos as world
from worlds import programs

from dyelab import calibrate, measure
from dyelab.calibrate import calibrate as flags
from dyelab.calibrate import camera_calibration, fit, priors, program, sampling, shading
from dyelab.errors import InputError
from dyelab.measure import single_photo

reference = import_module("dyelab.calibrate.reference")  # a function has its name too
TAILS = 5
CLOTHS = ("dyed", "natural", "real")
VARIED = {
    program: ("FREE_TONE", "FREE_GLARE", "FREE_LOCAL", "AREAS_OFF", "PAPER_OFF", "LEAST_LOCAL",
              "LOUDER", "COLOURED", "ODD"),
    fit: ("PATCH", "NODES", "SHIFTS", "TRUST", "CORRECTED", "WIDER"),
    camera_calibration: ("REACH", "NEAREST", "STRAINED", "SHIFT", "MOST_STRAINED"),
    priors: ("COUNTS", "WEIGHTS", "FREEDOM", "SMOOTH_NM", "TEMPER", "BLUE_SKY"),
    reference: ("NOISE", "ONE_OF"),
    single_photo: ("LIGHT", "STORED"),
    shading: ("LIMIT", "WIDTHS", "SMALL", "DARKEST", "PRINT_TINT", "LIKELY_TINT", "HELD",
              "LEAST_OFF"),
    sampling: ("BLOCKS", "TRIM"),
}  # fmt: skip


def main(count=10, first=20_000):
    programs.enter()
    rendered = {part: list(drawn(part, count, first)) for part in programs.PARTS}
    for step in (1e-3, 0.1, 0.25, 0.5):
        told(program, "STEP", step, median(rendered))
    used, camera_calibration.STRAINED = camera_calibration.STRAINED, 0.0
    # Natural cloths' stated doubt is too wide already: they tell nothing of what is missing.
    told_by = [row for row in taken(rendered) if row["cloth"] != "natural"]
    print(f"STRAINED: {used:g} in use, {likeliest(told_by):.4f} likeliest", flush=True)
    camera_calibration.STRAINED = used
    used = camera_calibration.SHIFT
    print(f"SHIFT: {used:g} in use, {light_shift(taken(rendered)):.3f} seen", flush=True)
    widths = (0.8, 0.9, 1.0, 1.1, 1.2)
    held_at = [told(fit, "WIDER", wider * fit.WIDER, held(rendered)) for wider in widths]
    parts = {cloth: [shares[cloth].mean() for shares in held_at] for cloth in CLOTHS}
    for name, held_by in (parts | {"all": np.mean(list(parts.values()), axis=0)}).items():
        print(f"WIDER times {np.interp(0.95, held_by, widths):.2f}: {name}", flush=True)
    rows = taken(rendered)
    by_chroma(rows)
    strains(rows)


def vary(count, first, names):
    """What half and double of each constant would do."""
    programs.enter()
    rendered = {part: list(drawn(part, count, first)) for part in programs.PARTS}
    for where, constants in VARIED.items():
        for name in constants:
            if name in names or "all" in names:
                used = getattr(where, name)
                for times in (0.5, 1, 2):
                    whole = np.ndim(used) == 0
                    value = type(used)(used * times) if whole else np.multiply(used, times)
                    priors.lights.cache_clear()
                    told(where, name, value, held(rendered))


def drawn(part, count, first):
    for kind in world.PROGRAMS:
        for cloth in CLOTHS:
            for seed in range(first + part % 2, first + count, 2):
                lamp = photo_worlds.LIGHTS[seed % len(photo_worlds.LIGHTS)]
                yield kind, cloth, world.take(seed, kind, cloth, lamp, part)


def told(where, name, value, measured):
    """Print what comes out with one value of a constant; return it."""
    used = getattr(where, name)
    setattr(where, name, value)
    text, found = measured()
    setattr(where, name, used)
    in_use = " (in use)" if np.array_equal(value, used) else ""
    print(f"{name} {np.round(value, 4)}{in_use}: {text}", flush=True)
    return found


def taken(rendered, kinds=world.PROGRAMS):
    rows, values = [], calibrate.reference()
    for part, photos in rendered.items():
        photo_worlds.held_out(part)
        for kind, cloth, one in photos:
            if kind in kinds:
                try:
                    made = measure.photo(one.photo, values, pose=one.pose, target=one.target)
                except InputError:
                    continue
                rows.append({"kind": kind, "cloth": cloth} | photo_worlds.judged(one.truth, made))
    return rows


def median(rendered):
    def found():
        middle = np.median(joined(taken(rendered, ("half", "whole")), "dE"))
        return f"median ΔE00 {middle:.3f}", middle

    return found


def joined(rows, name):
    return np.concatenate([row[name] for row in rows])


def held(rendered):
    def found():
        rows = taken(rendered)
        parts = {c: [row for row in rows if row["cloth"] == c] for c in CLOTHS}
        shares = {
            c: np.array([joined(part, name).mean() for name in ("inside", "between")])
            for c, part in parts.items()
        }
        return ", ".join(
            f"{c} median ΔE00 {np.median(joined(parts[c], 'dE')):.2f}, held {one:.1%} and {two:.1%}"
            for c, (one, two) in shares.items()
        ), shares

    return found


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


def light_shift(rows):
    """Light by which all windows of a photo are off, relative, over the strain that counts."""
    off = [np.mean(3 * row["e"][:, 0] / (row["lab"][:, 0] + 16)) for row in rows]
    strain = [row["setup"].calibration.light_shift / camera_calibration.SHIFT for row in rows]
    return np.linalg.norm(off) / np.linalg.norm(strain)


def by_chroma(rows):
    """Factor on the stated doubt at which 95 % of colours are held, by chroma; plain photos."""
    for cloth in CLOTHS:
        part = [row for row in rows if row["kind"] == "plain" and row["cloth"] == cloth]
        chroma, d2 = np.linalg.norm(joined(part, "lab")[:, 1:], axis=1), joined(part, "d2")
        for low, high in pairwise((0, 10, 25, 45, 70, 200)):
            own = d2[(low <= chroma) & (chroma < high)]
            asked = np.sqrt(np.quantile(own, 0.95) / photo_worlds.REGION) if len(own) else np.nan
            print(f"WIDER {cloth}, C* {low} to {high}: times {asked:.2f}, {len(own)} colours")


def strains(rows):
    for kind in world.PROGRAMS:
        setups = [row["setup"] for row in rows if row["kind"] == kind]
        for name, found in (
            ("DEVELOPED", [one.calibration.light_scatter for one in setups]),
            ("TARGET_POOR", [one.calibration.patch_error for one in setups]),
            ("MIXED", [one.shading.colour_change for one in setups]),
            ("UNEVEN", [one.shading.span for one in setups]),
            ("UNEVENED", [one.shading.left for one in setups]),
            ("COVERED", [one.shading.covered for one in setups]),
        ):
            at = ", ".join(f"{p}th {np.percentile(found, p):.2f}" for p in (50, 75, 95))
            print(f"{name} {getattr(flags, name)}: {kind} {at} percentile", flush=True)


if __name__ == "__main__":
    numbers = [int(a) for a in sys.argv[1:] if a.isdigit()]
    names = [a for a in sys.argv[1:] if not a.isdigit()]
    count, first = (*numbers, *(10, 20_000)[len(numbers) :])[:2]
    vary(count, first, names) if names else main(count, first)
