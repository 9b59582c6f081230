"""Overdyes foretold from the dyes' own swatches, and from overdyes of the same dyes.

``python tests/benchmarks/predict_overdyes.py [books] [first]``: in two worlds
(`worlds.overdyes`: the own generator's law and the dyehouse's, which differ in how one dye hinders
another) books of 48 cloths dyed once, and of 36 dyed once and 12 twice; 60 new overdyes each.
Printed: share of new swatches inside their 90 % region, median and 90th percentile of ΔE00 from
expected to true colour, the median of the region's ΔE*ab radius, the share inside that the model's
own report states, and its median error of left-out cloths.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parents[1]))
from worlds import overdyes

from dyelab import convert, predict, table

INSIDE = 6.2514  # chi-square, three degrees of freedom, 90 %
SD = 0.08  # of the logarithm of each dose, from cloth to cloth


def judged(world, seed, twice, cloths=48, fresh=60):
    """One book: coverage of new overdyed swatches, and how far they are from the truth."""
    law, dyes = overdyes.WORLDS[world]
    rng = np.random.default_rng(seed)
    once = overdyes.recipes(rng, cloths - twice, dyes)
    more = overdyes.recipes(rng, 20 * fresh, dyes, 0.9)
    more = more[more["over"] != "none"].reset_index(drop=True)
    made = pd.concat([once, more.head(twice)], ignore_index=True)
    model = predict.fit(overdyes.wide(made, law(made, seed, SD, rng)))
    new = more.tail(fresh).reset_index(drop=True)
    said = model.colour(overdyes.asked(new))
    truth, cloth = law(new, seed), law(new, seed, SD, rng)
    lab, C = said[table.LAB].to_numpy(float), table.covariances(said)
    off = cloth - lab
    away = convert.dE00(truth, lab)
    return {
        "world": world,
        "overdyes": twice,
        "inside": (np.einsum("ni,nij,nj->n", off, np.linalg.inv(C), off) <= INSIDE).mean(),
        "median": np.median(away),
        "most": np.quantile(away, 0.9),
        "radius": np.median(np.sqrt(np.trace(C, axis1=1, axis2=2))),
        "stated": model.inside,
        "single_error": model.error,
    }


def main(books, first):
    rows = [
        judged(world, seed, twice)
        for world in overdyes.WORLDS
        for twice in (0, 12)
        for seed in range(first, first + books)
    ]
    print(pd.DataFrame(rows).groupby(["world", "overdyes"]).mean().round(3).to_string())


if __name__ == "__main__":
    given = [int(text) for text in sys.argv[1:]]
    main(*(given + [20, 300][len(given) :]))
