"""Photos of the other world, judged: errors, and whether the stated regions hold.

Run: python tests/benchmarks/photo_worlds.py [photos a cell] [first seed] [code=DIR] [white]
     [derive] [cell...]

Cameras and measured surfaces are parted into two halves by likeness; each photo shows one half
while the calibration's priors are made of the other. A cell is a program and a cloth, such as
``half real``; cloths are dyed by layers of many shapes (a few steeper than natural dyes are),
natural ones by the dyehouse's laws, or measured. Its photos are two fifths daylight, the rest
bulbs, LED and fluorescent lamps. For each: photos refused and flagged developed; ΔE00 median and
95th percentile, and the median in daylight; the share of true colours and true differences inside
the stated 95 % regions, the lowest share of any light, and the stated over the real root mean
square error. `code` names a checkout whose package is judged in place of this one. With `white`
the card's paper alone is gone by; with `derive` on cloths, lamps and programs of
`worlds.programs`. Half 1 of cameras and surfaces, from which no constant was derived
(photo_constants.py), is repeated by itself.
"""

# ruff: noqa: E402
import sys
from pathlib import Path

import numpy as np

NAMED = dict(a.split("=", 1) for a in sys.argv[1:] if "=" in a)
TESTS = Path(__file__).parents[1]
sys.path[:0] = [NAMED.get("code", str(TESTS.parent)), str(TESTS)]
from scipy.stats import chi2
from worlds import photos as world
from worlds import programs

from dyelab import calibrate, convert, measure, table
from dyelab.errors import InputError

REGION = chi2.ppf(0.95, 3)
ALL = {}
LIGHTS = ("daylight", "bulb", "daylight", "LED", "FL")


def held_out(which):
    """Take the half that is judged out of the package's priors, where it has such."""
    try:
        from dyelab.calibrate import priors, program
    except ImportError:
        return
    if "all" not in ALL:
        ALL["all"] = priors.sensitivities(), priors.surfaces()
    seen, lying = ALL["all"]
    kept = seen[world.others(world.camera_groups(), which)]
    left = lying[world.others(world.surface_groups(), which)]
    priors.sensitivities, priors.surfaces = lambda: kept, lambda: left
    for made in (priors.prior, priors.training, program.response_over_lights):
        made.cache_clear()


def one(seed, kind, cloth, which, reference, **how):
    lamp = LIGHTS[seed % len(LIGHTS)]
    taken = world.take(seed, kind, cloth, lamp, which)
    row = {"cell": f"{kind} {cloth}", "light": lamp, "seed": seed, "program": taken.program}
    try:
        to = {"pose": taken.pose, "target": taken.target} | how
        if reference is None:
            to.pop("target")
        made = measure.photo(taken.photo, reference, **to)
    except InputError as error:
        return row | {"refused": str(error)}
    return row | judged(taken.truth, made)


def judged(truth, made):
    lab, own = made.table[table.LAB].to_numpy(), table.covariances(made.table)
    common = made.shared[made.shared["scope"] == "photo"]
    factors = common[table.LAB].to_numpy().reshape(len(lab), -1, 3)
    e = lab - truth
    i, j = np.triu_indices(len(lab), 1)
    both = np.einsum("nfk,nfl->nkl", factors[i], factors[j])
    between = own[i] + own[j] - both - np.swapaxes(both, 1, 2)
    return {
        "dE": convert.dE00(truth, lab),
        "e": e,
        "lab": lab,
        "own": own,
        "inside": distance(e, own) < REGION,
        "d2": distance(e, own),
        "between": distance(e[i] - e[j], between) < REGION,
        "stated": np.trace(own, axis1=1, axis2=2),
        "stated_between": np.trace(between, axis1=1, axis2=2),
        "real_between": ((e[i] - e[j]) ** 2).sum(axis=1),
        "method": made.setup.calibration.method,
        "developed": made.table["flags"].str.contains("developed").any(),
        "setup": made.setup,
    }


def distance(e, covariance):
    return np.einsum("nk,nkl,nl->n", e, np.linalg.inv(covariance), e)


def report(rows):
    good = [r for r in rows if "refused" not in r]
    refused = len(rows) - len(good)
    if not good:
        return f"{rows[0]['cell']:13} all {refused} refused"

    def over(name, part=good):
        return np.concatenate([r[name] for r in part])

    day = [r for r in good if r["light"] == "daylight"]
    lights = {r["light"] for r in good}
    low = min((over("inside", [r for r in good if r["light"] == w]).mean(), w) for w in lights)
    ratio = np.sqrt(over("stated").mean() / (over("e") ** 2).sum(axis=1).mean())
    apart = np.sqrt(over("stated_between").mean() / over("real_between").mean())
    e = over("dE")
    return (
        f"{rows[0]['cell']:13} refused {refused}, developed {sum(r['developed'] for r in good)} "
        f"of {len(rows)}  ΔE00 {np.median(e):.2f} / {np.percentile(e, 95):.2f}, "
        f"daylight {np.median(over('dE', day)) if day else np.nan:.2f}  hold "
        f"{over('inside').mean():.1%}, differences {over('between').mean():.1%}, "
        f"lowest {low[0]:.0%} {low[1]}  stated/real {ratio:.2f}, {apart:.2f}"
    )


def cells(asked):
    every = [f"{kind} {cloth}" for cloth in ("dyed", "natural", "real") for kind in world.PROGRAMS]
    return [cell for cell in every if not asked or any(a in cell for a in asked)]


def run(count=40, first=0, asked=(), by_white=False, parts=(0, 1), **how):
    reference = None if by_white else calibrate.reference()
    found = {cell: [] for cell in cells(asked)}
    for which in parts:
        held_out(which)
        for cell, rows in found.items():
            for i in range(which % 2, count, 2):
                rows.append(one(first + i, *cell.split(), which, reference, **how))
    return found


if __name__ == "__main__":
    numbers = [int(a) for a in sys.argv[1:] if a.isdigit()]
    asked = [a for a in sys.argv[1:] if a.isalpha() and a not in ("white", "derive")]
    parts = (0, 1)
    if "derive" in sys.argv:
        programs.enter()
        parts = programs.PARTS
    print(f"code: {Path(calibrate.__file__).parents[2].name}", flush=True)
    found = run(*numbers[:2], asked=asked, by_white="white" in sys.argv, parts=parts)
    for rows in found.values():
        print(report(rows), flush=True)
        apart = [row for row in rows if row["seed"] % 2]
        print("  half 1:", report(apart).split("  ", 2)[-1].strip(), flush=True)
