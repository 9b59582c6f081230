"""What directions are called at other values of the constants of `compare.directions`.

Run: python tests/benchmarks/direction_words.py

The constants are a matter of the eye: for each, at half and twice its value, every change of the
example that would be called otherwise is printed beside its colours, so that a dyer can say which
word fits. Common practice of the trade decides; ISO 105-A02 has the words.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[2]))
from dyelab import book, files, shift, table
from dyelab.compare import directions

CONSTANTS = ("WEAK", "GREY", "TO_GREY", "VIVID", "MINOR", "VISIBLE", "PLAIN", "LARGE")


def changes():
    """Recipes with each metal of the example, and their colours without and with it."""
    bk = book.open(files.shipped_path("data", "marlpit_yard"))
    recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    lab = recipes.made[table.LAB].to_numpy(float)
    found = pd.concat([shift.pairs(recipes, metal) for metal in ("iron", "copper")])
    return found["recipe"].tolist(), lab[found["from_row"]], lab[found["to_row"]]


def main():
    named, before, after = changes()
    said = directions.direction(before, after)
    for constant in CONSTANTS:
        value = getattr(directions, constant)
        for times in (0.5, 2.0):
            setattr(directions, constant, times * value)
            other = directions.direction(before, after)
            differ = [i for i in range(len(said)) if said[i] != other[i]]
            told = f"{len(differ)} of {len(said)} are called otherwise"
            print(f"{constant} {times * value:g} instead of {value:g}: {told}")
            for i in differ[:6]:
                ends = " → ".join(np.array2string(lab[i], precision=0) for lab in (before, after))
                print(f"  {named[i]} {ends}: {said[i]} | {other[i]}")
        setattr(directions, constant, value)


if __name__ == "__main__":
    main()
