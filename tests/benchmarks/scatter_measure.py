"""In which measure recipes scatter alike: ``python tests/benchmarks/scatter_measure.py``.

The scatter of a pot about its recipe, known from many books, over what its series shows pooled:
the spread (standard deviation) of the logarithm of that ratio over recipes, for the variance
along ΔL*, ΔC*, Δb* and its total. 0 would be scatter alike for all.
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
        was, pots._FLOOR = pots._FLOOR, floor
        out = pots.to_log(means)
        pots._FLOOR = was
    pooled = (out @ own @ np.swapaxes(out, 1, 2)).mean(axis=0)
    back = np.linalg.inv(out)
    said = back @ pooled @ np.swapaxes(back, 1, 2)
    parts = [np.log(own[:, i, i] / said[:, i, i]).std() for i in range(3)]
    whole = np.log(np.trace(own, axis1=1, axis2=2) / np.trace(said, axis1=1, axis2=2)).std()
    return [*parts, whole]


def main():
    for world in ("synth", "dyehouse"):
        for floor in (None, 0.0, 0.005, 0.01, 0.02, 0.05, 0.1, 0.3):
            print(world, floor, *(f"{v:.2f}" for v in unlike(world, floor)))


if __name__ == "__main__":
    main()
