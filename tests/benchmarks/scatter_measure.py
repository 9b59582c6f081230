"""How alike recipes scatter, and what they lend: ``python tests/benchmarks/scatter_measure.py``.

First in which measure recipes scatter alike: the scatter of a pot about its recipe, known from
many books, over what its series shows pooled; the spread (standard deviation) of the logarithm of
that ratio over recipes, for the variance along ΔL*, ΔC*, Δb* and its total. 0 would be scatter
alike for all.

Then what the constants of lending do where recipes' scatter differs in other ways than in
`pots_truth`, by which they are judged: false *real*, the shares of intervals that hold (over all,
and for the worst pair of recipes), and the power for four comparisons, over what knowing the
scatter would reach. ``… [books]``.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
from benchmarks import pots_truth

from dyelab.compare import scatter

EVEN = np.geomspace(0.05, 0.2, 6)
PATTERNS = {  # standard deviation of the logarithm of each dose, recipe by recipe
    "alike": np.full(6, 0.1),
    "evenly between": EVEN[[2, 5, 0, 3, 1, 4]],
    "one noisy": np.array([0.05, 0.05, 0.05, 0.05, 0.2, 0.05]),
    "the first three noisy": np.repeat([0.2, 0.05], 3),
    "every other one steady": np.tile([0.05, 0.2], 3),
}
TRIED = [("LENT", (3.5, 1.5, 6.0)), ("FILLED", (1.5, 1.0, 3.0)), ("BELIEF", (3.0, 1.0, 6.0))]


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
        was, scatter.FLOOR = scatter.FLOOR, floor
        out = scatter.to_log(means)
        scatter.FLOOR = was
    pooled = (out @ own @ np.swapaxes(out, 1, 2)).mean(axis=0)
    back = np.linalg.inv(out)
    said = back @ pooled @ np.swapaxes(back, 1, 2)
    parts = [np.log(own[:, i, i] / said[:, i, i]).std() for i in range(3)]
    whole = np.log(np.trace(own, axis1=1, axis2=2) / np.trace(said, axis1=1, axis2=2)).std()
    return [*parts, whole]


def with_pattern(world, pattern, books):
    """False *real*, intervals over all and at their worst, and power, of one pattern."""

    def sd(rows):
        return PATTERNS[pattern][rows["recipe"].to_numpy()]

    plan, rough = {"rounds": 3, "more": True}, pots_truth.ROUGH if world == "dyehouse" else {}
    false, held = pots_truth.judged(world, books, 101, 0.4, sd=sd, plan=plan, **rough)
    over_all = [held[name] for name in pots_truth.NAMES]
    worst = [held[f"{name} least"] for name in pots_truth.NAMES]
    power = pots_truth.power(world, books, 4, seed=7, sd=sd) / 0.8
    return [false["false real"], *over_all, *worst, power]


def lending(books):
    """Print what each constant gives, its own value first, by world and pattern."""
    for name, values in TRIED:
        usual = getattr(scatter, name)
        for value in values:
            setattr(scatter, name, value)
            for world in ("synth", "dyehouse"):
                for pattern in PATTERNS:
                    found = with_pattern(world, pattern, books)
                    print(name, value, world, pattern, *(f"{v:.3f}" for v in found), flush=True)
        setattr(scatter, name, usual)


def main():
    books = int(sys.argv[1]) if len(sys.argv) > 1 else 150
    for world in ("synth", "dyehouse"):
        for floor in (None, 0.0, 0.005, 0.01, 0.02, 0.05, 0.1, 0.3):
            print(world, floor, *(f"{v:.2f}" for v in unlike(world, floor)))
    lending(books)


if __name__ == "__main__":
    main()
