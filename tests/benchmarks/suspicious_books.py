"""Replicates and spectra that look like slips: how many slips are found, what is said in vain.

``python tests/benchmarks/suspicious_books.py [books]``: books of our own generator and of the
dyehouse, twelve recipes or three, of which none or two pieces bear each other's label; and the
shipped surfaces, none or one of whose bands has two digits exchanged. Shares pointed out, with
half and double of `APART`, `SEEN`, `FAR` and `JUMP` of `book.suspicions`.
"""

import importlib
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
from worlds import dyehouse, random_books

from dyelab import convert, table
from dyelab.convert.adaptation import surfaces

RULES = importlib.import_module("dyelab.book.suspicions")
TRIED = [("APART", 1), *((name, by) for name in ("APART", "SEEN", "FAR") for by in (0.5, 2))]


def ours(seed, recipes):
    """CIELAB (recipes, 2, 3) of a book of pairs."""
    wide = random_books.random_book(seed, recipes).wide.sort_values("swatch")
    return wide[table.LAB].to_numpy(float).reshape(recipes, 2, 3)


def theirs(seed, recipes):
    """The same of the dyehouse."""
    rng = np.random.default_rng(seed)
    made = random_books.random_recipes(recipes, rng)
    made = made.assign(dye=rng.choice(["madder", "weld", "logwood"], recipes))
    made = made.loc[made.index.repeat(2)]
    return dyehouse.dye(made, 1, seed, truth_draws=1).lab[0].reshape(recipes, 2, 3)


def pointed_out(lab):
    far = sorted(map(float, convert.dE00(lab[:, 0], lab[:, 1])))
    return far[-1] > RULES.standing_out(far[:-1])[2]


def slipped(lab, rng):
    """Two pieces of two recipes under each other's label."""
    one, two = rng.choice(len(lab), 2, replace=False)
    lab = lab.copy()
    lab[[one, two], 0] = lab[[two, one], 0]
    return lab


def shares(name, factor, judge, *cases):
    """Share of each case pointed out, with a constant of the rules so many times as large."""
    used = getattr(RULES, name)
    setattr(RULES, name, tuple(factor * u for u in used) if name == "APART" else factor * used)
    found = [float(np.mean(judge(case))) for case in cases]
    setattr(RULES, name, used)
    return found


def mistyped(R, rng):
    """Reflectances to four digits; of one band the first two are exchanged."""
    R = np.round(R, 4)
    rows, bands = np.arange(len(R)), rng.integers(1, R.shape[1] - 1, len(R))
    tens, ones = np.divmod(np.floor(R[rows, bands] * 100), 10)
    R[rows, bands] += (ones * 10 + tens - tens * 10 - ones) / 100
    return R


def main(argv):
    books, rng = int(argv[0]) if argv else 60, np.random.default_rng(1)
    for world in (ours, theirs):
        for recipes in (12, 3):
            sound = [world(seed, recipes) for seed in range(books)]
            wrong = [slipped(lab, rng) for lab in sound]
            for name, factor in TRIED:
                found = shares(name, factor, lambda s: [*map(pointed_out, s)], wrong, sound)
                say(f"{world.__name__}, {recipes} recipes, {name}", factor, *found)
    nm, R, _ = surfaces()
    for factor in (0.5, 1, 2):
        say("JUMP", factor, *shares("JUMP", factor, lambda s: RULES.find_jumps(nm, s)[1],
                                    mistyped(R, rng), R))  # fmt: skip


def say(what, factor, found, vain):
    print(f"{what} x{factor:g}: slips found {found:.0%}, in vain {vain:.0%}")


if __name__ == "__main__":
    main(sys.argv[1:])
