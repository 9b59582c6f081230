"""In which measure recipes scatter alike: ``python tests/benchmarks/scatter_measure.py``.

The scatter of a pot about its recipe, known from many books, over what its series shows pooled:
the spread (standard deviation) of the logarithm of that ratio over recipes, for the variance
along ΔL*, ΔC*, Δb* and its total. 0 would be scatter alike for all.

First, how far what a series lends (degrees of freedom) moves with a grid eight times as fine and
twice as wide at either end, over invented series of recipes that scatter alike or not: the ratio's
median, 5th and 95th percentile.
"""

import numpy as np
from benchmarks import pots_truth

from dyelab.compare import pots


def unlike(world, floor, books=300):
    """Spread over recipes of log (own variance / pooled), in L*, a*, b* and as a whole."""
    rows = pots_truth.planned(world, rounds=2, more=True)
    lab = pots_truth.dyed(world, rows, books, 5, 0.5)
    own, means = [], []
    for recipe in range(rows["recipe"].max() + 1):
        some = lab[:, (rows["recipe"] == recipe).to_numpy()].reshape(-1, 3)
        own.append(np.cov(some.T))
        means.append(some.mean(axis=0))
    own, means = np.array(own), np.array(means)
    if floor is None:
        out = np.tile(np.eye(3), (len(own), 1, 1))
    else:
        was, pots.FLOOR = pots.FLOOR, floor
        out = pots.to_log(means)
        pots.FLOOR = was
    pooled = (out @ own @ np.swapaxes(out, 1, 2)).mean(axis=0)
    back = np.linalg.inv(out)
    said = back @ pooled @ np.swapaxes(back, 1, 2)
    parts = [np.log(own[:, i, i] / said[:, i, i]).std() for i in range(3)]
    whole = np.log(np.trace(own, axis1=1, axis2=2) / np.trace(said, axis1=1, axis2=2)).std()
    return [*parts, whole]


def lent_by_grid(grid, unlike_by, series=40):
    """Degrees of freedom that each of some series lends, sought on a grid; seeded."""
    rng = np.random.default_rng(7)
    was, pots.GRID = pots.GRID, grid
    found = []
    for _ in range(series):
        many, df = int(rng.integers(4, 30)), 2
        sizes = np.exp(unlike_by * rng.normal(size=many))[:, None, None]
        off = rng.normal(size=(many, df, 3))
        own, freedom = sizes * np.swapaxes(off, 1, 2) @ off, np.full(many, float(df))
        one = own, freedom, np.zeros(many, int), own.sum(axis=0)[None], freedom.sum()[None]
        found.append(pots.likeness(*one)[0])
    pots.GRID = was
    return np.array(found)


def main():
    fine = np.geomspace(pots.GRID[0] / 2, 2 * pots.GRID[-1], 8 * len(pots.GRID))
    for unlike_by in (0.0, 0.7, 1.4):
        ratio = lent_by_grid(pots.GRID, unlike_by) / lent_by_grid(fine, unlike_by)
        print("grid", unlike_by, *(f"{q:.2f}" for q in np.quantile(ratio, (0.5, 0.05, 0.95))))
    for world in ("synth", "dyehouse"):
        for floor in (None, 0.0, 0.005, 0.01, 0.02, 0.05, 0.1, 0.3):
            print(world, floor, *(f"{v:.2f}" for v in unlike(world, floor)))


if __name__ == "__main__":
    main()
