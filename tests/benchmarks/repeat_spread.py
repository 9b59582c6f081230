"""How well repeats of a few cloths tell the spread of one reading, by how they are pooled.

``python tests/benchmarks/repeat_spread.py [books]``: invented instruments whose spread is the same
for all cloths, grows towards the dark, or changes from cloth to cloth; the usual factor by which
the stated variance is wrong, for several values of `ALIKE` and `ALL` of `book.readings`.
"""

import sys

import numpy as np
import pandas as pd

from dyelab.book import readings

LAWS = {
    "alike": lambda L, rng: np.full(len(L), 0.2),
    "dark": lambda L, rng: 0.1 + 0.5 * np.exp(-L / 25),
    "by cloth": lambda L, rng: 0.2 * np.exp(0.4 * rng.normal(size=len(L))),
}


def wrong(law, books, swatches=15, repeats=3):
    """Usual factor between stated and true variance of one reading."""
    rng = np.random.default_rng(3)
    off = []
    for _ in range(books):
        light = rng.uniform(15, 85, swatches)
        spread = np.repeat(LAWS[law](light, rng), repeats)
        lab = np.repeat(np.column_stack([light, *rng.uniform(-40, 40, (2, swatches))]), repeats, 0)
        lab = lab + spread[:, None] * rng.normal(size=lab.shape)
        codes = np.repeat([f"K-{i}" for i in range(swatches)], repeats)
        rows = pd.DataFrame(lab, columns=["L", "a", "b"]).assign(swatch=codes, area="whole")
        stated = np.trace(readings.repeatability(rows, None), axis1=1, axis2=2)
        off.append(np.log(stated / (3 * spread**2)))
    return float(np.exp(np.sqrt(np.mean(np.square(off)))))


def main(argv):
    books = int(argv[0]) if argv else 200
    used = readings.ALIKE, readings.ALL
    for near in (4.0, 8.0, 12.0, 20.0, 40.0):
        for every in (1.0, 4.0, 16.0):
            readings.ALIKE, readings.ALL = near, every
            told = ", ".join(f"{law} x{wrong(law, books):.2f}" for law in LAWS)
            print(f"ALIKE {near:g}, ALL {every:g}{' (used)' * (used == (near, every))}: {told}")
    readings.ALIKE, readings.ALL = used


if __name__ == "__main__":
    main(sys.argv[1:])
