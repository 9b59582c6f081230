"""Dose curves against invented worlds whose true doses are known.

``python tests/benchmarks/dose_truth.py [worlds]``
"""

import sys

import numpy as np
import pandas as pd

from dyelab import convert, shift, synth

DOSES = (0, 0, 0, 0.25, 0.5, 1, 1, 2, 2, 4, 4)
DYES = {"madder": 50.0, "weld": 50.0, "cochineal": 6.0}
VISIBLE = 1.0


def recipes():
    """Three dyes on alumed wool, each with rising iron."""
    rows = [
        {"dye": dye, "dye_wof": wof, "fibre": "wool", "iron_wof": dose}
        | {"mordant": "potash alum", "mordant_wof": 15.0}
        for dye, wof in DYES.items()
        for dose in DOSES
    ]
    return pd.DataFrame(rows).assign(copper_wof=0.0, tannin="none", tannin_wof=0.0)


def true_doses(dye, world, top=4.0):
    """Doses read off the noise-free colours: just visible, half the shift, enough."""
    grid = np.linspace(0, top, 1601)
    one = recipes().query("dye == @dye").iloc[[0]]
    series = one.loc[one.index.repeat(len(grid))].assign(iron_wof=grid)
    read = synth.reflectance(series, cloth=world)
    lab = convert.spectrum_to_lab(synth.WAVELENGTHS, read)
    moved = convert.dE00(np.broadcast_to(lab[0], lab.shape), lab)
    left = convert.dE00(lab, np.broadcast_to(lab[-1], lab.shape))
    far = moved[-1] > VISIBLE
    return {
        "visible": grid[np.argmax(moved > VISIBLE)] if far else np.inf,
        "half": grid[np.argmax(moved > moved[-1] / 2)],
        "enough": grid[len(grid) - 1 - np.argmax(left[::-1] > VISIBLE)] if far else 0.0,
    }


def checked(world_seed):
    """One world: what was found and what is true, a row for each dye and dose."""
    world = synth.varied(world_seed)
    wide = synth.simulate(recipes(), world_seed, replicates=1, cloth=world).wide
    gathered = shift.as_dyed(wide)
    rows = []
    for dye in DYES:
        curve = shift.dose_curve(gathered, "iron", hold={"dye": dye}, visible=VISIBLE, draws=600)
        truth = true_doses(dye, world)
        for row in curve.doses.to_dict("records"):
            true = truth[row["what"]]
            step = 4.0 / 1600
            inside = row["low"] - step <= true <= row["high"] + step
            rows.append({"world": world_seed, "dye": dye, **row, "true": true, "inside": inside})
    return pd.DataFrame(rows)


def main(worlds=150):
    found = pd.concat([checked(seed) for seed in range(worlds)], ignore_index=True)
    print(found.groupby("what")["inside"].mean().to_string())
    print(found.groupby(["dye", "what"])["inside"].mean().to_string())
    print("above", (found["true"] > found["high"]).groupby(found["what"]).mean().to_dict())
    print(
        found.assign(width=found["high"] - found["low"]).groupby("what")[["true", "width"]].median()
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 150)
