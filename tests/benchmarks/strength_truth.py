"""Relative strength, and what equal depth leaves, in two worlds whose expected spectra are known.

``python tests/benchmarks/strength_truth.py [books] [first]``: books of six cloths in two or three
rounds, the bare one among them; how often 95 % intervals of strength (where the reference absorbs
most, and over the visible range) and of ΔE00 at equal depth hold what the mean of all books gives.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
from worlds import dyehouse, synth

from dyelab import convert, shift, table

CLOTHS = [
    {"dye": "none", "dye_wof": 0.0, "mordant_wof": 0.0},
    {"dye": "madder", "dye_wof": 50.0, "mordant_wof": 15.0},
    {"dye": "madder", "dye_wof": 25.0, "mordant_wof": 15.0},
    {"dye": "madder", "dye_wof": 50.0, "mordant_wof": 15.0, "iron_wof": 2.0},
    {"dye": "weld", "dye_wof": 50.0, "mordant_wof": 15.0},
    {"dye": "weld", "dye_wof": 50.0, "mordant_wof": 15.0, "iron_wof": 1.0},
]
PAIRS = ((1, 2), (2, 1), (1, 3), (4, 5))
BARE = 0


def spectra_of(world, rows, books, seed):
    """Wavelengths and spectra (books, n, k)."""
    if world == "dyehouse":
        made = dyehouse.dye(rows, books, seed, truth_draws=2, outliers=0.02)
        return dyehouse.BANDS, made.spectra
    many = pd.concat([rows] * books, ignore_index=True)
    many["mordant"] = np.where(many["mordant_wof"] > 0, "potash alum", "none")
    rng = np.random.default_rng(seed)
    worked = synth.noise.swatch_doses(synth.series.filled(many), 0.1, rng)
    read = synth.noise.read_spectra(synth.reflectance(worked), 0.004, rng)
    return synth.WAVELENGTHS, read.reshape(books, len(rows), -1)


def planned(rounds):
    rows = pd.DataFrame([{**c, "cloth": i} for i, c in enumerate(CLOTHS) for _ in range(rounds)])
    return rows.fillna({"iron_wof": 0.0}).assign(fibre="wool", tannin_wof=0.0, copper_wof=0.0)


def book_of(rows, waves, read):
    codes = [f"S{i}" for i in range(len(rows))]
    bands = pd.DataFrame(read, columns=[f"{w:g}" for w in waves]).assign(reading=codes)
    wide = rows.assign(swatch=codes, reading=codes, tannin="none", exposure="none", ground="")
    wide["mordant"] = np.where(wide["mordant_wof"] > 0, "potash alum", "none")
    wide[table.LAB] = convert.spectrum_to_lab(waves, read)
    return wide.assign(form="cloth", series="A", illuminant="D65", observer=10), bands


def judged(world, books, seed=0, rounds=2):
    """Shares of the intervals that hold, over pairs and books; median widths beside them."""
    rows = planned(rounds)
    meant = rows.drop(columns="cloth")
    waves, read = spectra_of(world, meant, books, seed)
    ks = np.array(
        [convert.ks(read[:, rows["cloth"] == c]).mean((0, 1)) for c in range(len(CLOTHS))]
    )
    true = convert.ks_to_reflectance(ks)
    found = []
    for one in read:
        recipes = shift.as_dyed(*book_of(meant, waves, one)[:1])
        at = recipes.made["variant"].to_numpy()[_places(recipes)]
        for a, b in PAIRS:
            depth = shift.depth_of(recipes, at[a], at[b], book_of(meant, waves, one)[1])
            ends = (waves, true[a], true[b])
            right = shift.relative_strength(*ends, base=true[BARE]).iloc[0]
            right = {**right, **shift.at_equal_depth(*ends, base=true[BARE]).iloc[0][["dE00"]]}
            found.append(_held({**depth.strength, **depth.equal}, right))
    return pd.DataFrame(found).mean()


def _places(recipes):
    """Row of each cloth in the book's recipes."""
    names = ["dye", "dye_wof", "iron_wof"]
    made = recipes.made[names].reset_index(drop=True)
    wanted = pd.DataFrame(CLOTHS).fillna({"iron_wof": 0.0})[names]
    return [int(np.flatnonzero((made == row).all(axis=1))[0]) for _, row in wanted.iterrows()]


def _held(told, right):
    names = ("strength_maximum", "strength_sum", "dE00")
    held = {n: told[f"{n}_low"] <= right[n] <= told[f"{n}_high"] for n in names}
    return held | {f"{n} width": told[f"{n}_high"] - told[f"{n}_low"] for n in names}


def main(books=100, first=0):
    for world in ("synth", "dyehouse"):
        for rounds in (2, 3):
            told = judged(world, books, first, rounds).round(3)
            print(f"{world}, {rounds} rounds, {books} books", told.to_dict(), flush=True)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
