"""What a search for a colour finds by how many recipes it looks at, and how many swatches it draws.

``python tests/benchmarks/search_sizes.py [targets]``: colours of random candidates of the example
and of a book of another world, off by a few units; of the best recipe the expected ΔE00 more than
with four times all sizes, its chance off, and seconds a search.
"""

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
from worlds import random_books

from dyelab import book, predict, synth
from dyelab.predict import search

TRIED = [(1, 1), (0.5, 1), (2, 1), (1, 0.5), (1, 2)]
USED = search.SHORT, search.AGAIN, search.DRAWS


def found(model, reached, targets, looked, drawn):
    """Expected ΔE00 and chance (n, 2) of the best recipes, and the seconds that one took."""
    search.SHORT, search.AGAIN = int(looked * USED[0]), int(looked * USED[1])
    search.DRAWS, begun = int(drawn * USED[2]), time.perf_counter()
    best = [predict.find(model, lab, within=reached).ranked.iloc[0] for lab in targets]
    search.SHORT, search.AGAIN, search.DRAWS = USED
    told = np.array([[row["dE00"], row["chance"]] for row in best])
    return told, (time.perf_counter() - begun) / len(targets)


def main(argv):
    count, rng = int(argv[0]) if argv else 20, np.random.default_rng(1)
    bk, other = book.open(synth.example()), random_books.random_book(3, 60)
    books = {"example": (book.wide(bk), bk.spectra), "invented": (other.wide, other.spectra)}
    for name, (wide, spectra) in books.items():
        model = predict.fit(wide, spectra=spectra)
        reached = predict.reach(model)
        targets = reached.lab[rng.integers(len(reached.lab), size=count)]
        targets = np.clip(targets + rng.normal(0, 3, targets.shape), [5, -90, -90], [98, 90, 110])
        most, _ = found(model, reached, targets, 4, 4)
        for looked, drawn in TRIED:
            told, took = found(model, reached, targets, looked, drawn)
            far, chance = (told - most).T
            print(f"{name}, looked at x{looked:g}, drawn x{drawn:g}: {far.mean():+.3f} ΔE00, worst "
                  f"{far.max():+.2f}; chance off by {np.abs(chance).mean():.3f}; {took:.2f} s",
                  flush=True)  # fmt: skip


if __name__ == "__main__":
    main(sys.argv[1:])
