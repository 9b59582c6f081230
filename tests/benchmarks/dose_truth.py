"""Dose curves against invented worlds whose true doses are known.

``python tests/benchmarks/dose_truth.py [worlds] [first]``: our own generator, and the dyehouse with
iron bound by four laws, its own and three that no curve of ours follows exactly, since the colour
bends on its way. Then a third as many of the first two as one photo reads them, which gets every
recipe wrong in its own way, all its pots alike (`CAMERA`): there limits must allow for that.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
import pandas as pd
from worlds import dyehouse, synth

from dyelab import convert, shift, table

DOSES = (0, 0, 0, 0.25, 0.5, 1, 1, 2, 2, 4, 4)
DYES = {"madder": 50.0, "weld": 50.0, "cochineal": 6.0}
OTHER = {"madder": 50.0, "weld": 50.0, "logwood": 20.0}
VISIBLE = 1.0
CAMERA = 1.0  # standard deviation in L*, a*, b* of what a photo gets wrong of a recipe
_POWER = 0.6  # of Freundlich's law in the dyehouse
LAWS = {
    "Freundlich": lambda x: x**_POWER,
    "two sites": lambda x: 0.58 * x / (x + 0.05) + 0.9 * x / (x + 6.6),  # two of Langmuir's
    "Sips": lambda x: 2 * x**0.7 / (1 + x**0.7),
    "Temkin": lambda x: np.log1p(12 * x) / np.log(13),
}


def recipes(dyes=DYES):
    """Three dyes on alumed wool, each with rising iron."""
    rows = [
        {"dye": dye, "dye_wof": wof, "fibre": "wool", "iron_wof": dose}
        | {"mordant": "potash alum", "mordant_wof": 15.0}
        for dye, wof in dyes.items()
        for dose in DOSES
    ]
    return pd.DataFrame(rows).assign(copper_wof=0.0, tannin="none", tannin_wof=0.0)


def bound(series, law):
    """Doses that Freundlich's law binds as much iron of as `law` does of those given."""
    return series.assign(iron_wof=LAWS[law](series["iron_wof"]) ** (1 / _POWER))


def colours(series, world):
    """Without noise; `world` is a cloth of ours, or one of `LAWS` for the dyehouse."""
    if not isinstance(world, str):
        read = synth.reflectance(series, cloth=world)
        return convert.spectrum_to_lab(synth.WAVELENGTHS, read)
    parts = dyehouse.k_over_s(series, dyehouse.doses(bound(series, world)))
    return dyehouse.lab_of(dyehouse.reflectance(parts))


def true_doses(dye, world, top=4.0):
    """Doses read off the noise-free colours: just visible, half the shift, enough."""
    grid = np.linspace(0, top, 1601)
    one = recipes(OTHER if isinstance(world, str) else DYES).query("dye == @dye").iloc[[0]]
    series = one.loc[one.index.repeat(len(grid))].assign(iron_wof=grid).reset_index(drop=True)
    lab = colours(series, world)
    moved = convert.dE00(np.broadcast_to(lab[0], lab.shape), lab)
    left = convert.dE00(lab, np.broadcast_to(lab[-1], lab.shape))
    far = moved[-1] > VISIBLE
    return {
        "visible": grid[np.argmax(moved > VISIBLE)] if far else np.inf,
        "half": grid[np.argmax(moved > moved[-1] / 2)],
        "enough": grid[len(grid) - 1 - np.argmax(left[::-1] > VISIBLE)] if far else 0.0,
    }


def dyed_elsewhere(seed, law):
    """The same plan in the dyehouse, each swatch a pot of its own."""
    rows = recipes(OTHER)
    made = dyehouse.dye(bound(rows, law), 1, seed, truth_draws=2)
    names = [f"S{i}" for i in range(len(rows))]
    wide = rows.assign(swatch=names, reading=names, form="cloth", ground="", series="")
    wide[table.LAB] = made.lab[0]
    return wide.assign(illuminant="D65", observer=10, exposure="none", modifier="none")


def photographed(wide, camera, rng):
    """The readings as one photo gives them, and the errors that those of a recipe share."""
    recipe = wide.groupby(["dye", "iron_wof"]).ngroup().to_numpy()
    lab = wide[table.LAB] + rng.normal(0, camera, (recipe.max() + 1, 3))[recipe]
    wide = wide.assign(**lab, method="photo", **dict.fromkeys(table.COVARIANCE, 0.0))
    wide[["var_L", "var_a", "var_b"]] = camera**2
    shared = [wide[["reading"]].assign(factor=i, L=0.0, a=0.0, b=0.0) for i in range(3)]
    shared = pd.concat(shared, ignore_index=True).assign(source="photo", scope="recipe")
    shared[table.LAB] = camera * np.eye(3)[shared["factor"]]
    return wide, shared


def checked(world_seed, name="synth", camera=0.0):
    """One world: what was found and what is true, a row for each dye and dose."""
    world = synth.varied(world_seed) if name == "synth" else name
    if isinstance(world, str):
        wide = dyed_elsewhere(world_seed, world)
    else:
        wide = synth.simulate(recipes(), world_seed, replicates=1, cloth=world).wide
    shared = None
    if camera:
        wide, shared = photographed(wide, camera, np.random.default_rng(world_seed))
    gathered = shift.as_dyed(wide, shared=shared)
    rows = []
    for dye in OTHER if isinstance(world, str) else DYES:
        curve = shift.dose_curve(gathered, "iron", hold={"dye": dye}, visible=VISIBLE, draws=600)
        truth = true_doses(dye, world)
        for row in curve.doses.to_dict("records"):
            true = truth[row["what"]]
            step = 4.0 / 1600
            inside = row["low"] - step <= true <= row["high"] + step
            rows.append({"world": world_seed, "dye": dye, **row, "true": true, "inside": inside})
    return pd.DataFrame(rows)


def main(worlds=150, first=0):
    for name in ("synth", *LAWS):
        print(name)
        seeds = range(first, first + worlds)
        told(pd.concat([checked(seed, name) for seed in seeds], ignore_index=True))
    for name in ("synth", "Freundlich"):
        print(name, "in one photo")
        seeds = range(first, first + worlds // 3)
        told(pd.concat([checked(seed, name, CAMERA) for seed in seeds], ignore_index=True))


def told(found):
    print(found.groupby("what")["inside"].mean().to_string())
    print(found.groupby(["dye", "what"])["inside"].mean().to_string())
    print(
        "above", (found["true"] > found["high"]).groupby(found["what"]).mean().to_dict(), flush=True
    )
    print(
        found.assign(width=found["high"] - found["low"]).groupby("what")[["true", "width"]].median()
    )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
