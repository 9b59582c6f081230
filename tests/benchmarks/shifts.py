"""All shifts of a large book, beside the floor of reading its recipes into groups.

``python tests/benchmarks/shifts.py``: 2,000 invented swatches, 10,000 readings.
"""

import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
from worlds import random_books, synth

from dyelab import shift


def large_book(swatches=2000, seed=3):
    """Every recipe of a full design twice and more, five readings a swatch as dyed."""
    rng = np.random.default_rng(seed)
    base = random_books.random_recipes(swatches // 8, rng).drop(columns="swatch")
    base = base.assign(iron_wof=0.0, copper_wof=0.0, modifier="none")
    doses = [("iron_wof", dose) for dose in (0, 0, 0.5, 1, 2, 4)]
    doses += [("copper_wof", dose) for dose in (1, 2)]
    rows = [base.assign(**{column: float(dose)}) for column, dose in doses]
    recipes = pd.concat(rows, ignore_index=True)
    wide = synth.simulate(recipes, seed, replicates=1).wide
    many = pd.concat([wide.assign(reading=wide["reading"] + f"/{i}") for i in range(5)])
    noise = rng.normal(0, 0.05, (len(many), 3))
    return many.assign(**{name: many[name] + noise[:, i] for i, name in enumerate("Lab")})


def timed(call, rounds=5):
    spans = []
    for _ in range(rounds):
        start = time.perf_counter()
        call()
        spans.append(time.perf_counter() - start)
    return min(spans), sorted(spans)[len(spans) // 2]


def every_shift(wide):
    recipes = shift.as_dyed(wide)
    return [shift.of_step(recipes, what) for what in ("iron", "copper")]


def main():
    wide = large_book()
    print(wide["swatch"].nunique(), "swatches,", len(wide), "readings")
    factors = ["fibre", "tannin", "mordant", "dye", "iron_wof", "copper_wof"]
    found = every_shift(wide)
    print("pairs:", [len(one.pairs) for one in found])
    calls = {
        "floor, group and average": lambda: wide.groupby(factors)[["L", "a", "b"]].mean(),
        "gather into recipes": lambda: shift.as_dyed(wide),
        "all shifts": lambda: every_shift(wide),
    }
    for name, call in calls.items():
        best, median = timed(call)
        print(f"{name}: {best:.3f} s (median {median:.3f})")


if __name__ == "__main__":
    main()
