"""How often 95 % intervals hold, by simulation: ``python tests/benchmarks/coverage.py [cases]``.

Each case is a series of six recipes with n swatches each, two of which are compared. True
colours and noise are ours; nothing is measured here. Distances are in units of the noise of a
difference of two means. False "real" is counted at distance 0.
"""

import sys

import numpy as np
import pandas as pd

from dyelab import compare, convert

# Centre and swatch-to-swatch covariance, as (sd of L*, a*, b*; correlations La, Lb, ab).
NOISE = {
    "dark": ((25, 3, 4), (0.6, 0.3, 0.3), (0.3, 0.5, 0.3)),
    "light": ((78, 6, 30), (0.7, 0.4, 1.0), (-0.5, -0.7, 0.4)),
    "middle, round": ((50, 20, 10), (0.5, 0.5, 0.5), (0, 0, 0)),
}
WAYS = {"deeper": (-1.0, 0.6, 0.6), "sideways": (-1.0, -0.7, 0.5)}
REPLICATES = (2, 3, 4, 6, 8)
DISTANCES = (0.0, 0.5, 1.0, 2.0, 4.0, 12.0)
NAMES = ["dE00", "dE76", "dECMC", "dL", "da", "db", "dC", "dH"]


def covariance(sd, correlations):
    La, Lb, ab = correlations
    matrix = np.array([[1, La, Lb], [La, 1, ab], [Lb, ab, 1.0]])
    return matrix * np.outer(sd, sd)


def simulated(setting, replicates, distance, way="deeper", cases=2000, recipes=6, seed=0):
    """A table of `cases` series, the pairs to compare, and the two true colours."""
    centre, sd, correlations = NOISE[setting]
    rng = np.random.default_rng(seed)
    step = np.array(WAYS[way]) * np.array(sd)
    step *= distance * np.sqrt(2 / replicates)
    true = np.tile(np.array(centre, float), (recipes, 1))
    true[1] += step
    true[2:] += rng.normal(0, 8, (recipes - 2, 3))
    root = np.linalg.cholesky(covariance(sd, correlations))
    noise = rng.normal(size=(cases, recipes, replicates, 3)) @ root.T
    lab = (true[None, :, None, :] + noise).reshape(-1, 3)
    case, recipe, _ = np.indices((cases, recipes, replicates)).reshape(3, -1)
    names = np.char.add(np.char.add(case.astype(str), "/"), recipe.astype(str))
    frame = pd.DataFrame(lab, columns=["L", "a", "b"]).assign(
        sample=names, series=case, illuminant="D65", observer=10
    )
    numbers = np.arange(cases).astype(str)
    pairs = pd.DataFrame(
        {"reference": np.char.add(numbers, "/0"), "sample": np.char.add(numbers, "/1")}
    )
    return frame, pairs, true[:2]


def held(setting, replicates, distance, way="deeper", cases=2000, seed=0):
    """Share of cases whose interval holds the truth, by quantity, and share below the floor."""
    frame, pairs, true = simulated(setting, replicates, distance, way, cases, seed=seed)
    found = compare.pairs(frame, pairs, series="series")
    truth = convert.differences(true[:1], true[1:]).iloc[0]
    shares = {}
    for name in NAMES:
        inside = (found[f"{name}_low"] <= truth[name]) & (truth[name] <= found[f"{name}_high"])
        shares[name] = float(inside.mean())
    shares["false real"] = float((found["chance_if_equal"] < 0.05).mean()) if not distance else 0
    return shares


def main(cases=2000):
    rows = []
    for setting in NOISE:
        for way in WAYS:
            for replicates in REPLICATES:
                for distance in DISTANCES:
                    seed = len(rows)
                    shares = held(setting, replicates, distance, way, cases, seed)
                    rows.append([setting, way, replicates, distance, *shares.values()])
                    print(*rows[-1][:4], *(f"{v:.3f}" for v in shares.values()), flush=True)
    table = pd.DataFrame(
        rows, columns=["noise", "way", "replicates", "distance", *NAMES, "false real"]
    )
    told(table, cases)


def told(table, cases):
    """Print the extremes of every quantity, and how many settings miss the limits."""
    room = 2 * np.sqrt(0.03 * 0.97 / cases)
    shares = table[NAMES]
    summary = {
        "least": shares.min(),
        "most": shares.max(),
        "within 93 to 97 %": shares.apply(lambda c: c.between(0.93, 0.97).mean()),
        "so but for chance": shares.apply(lambda c: c.between(0.93 - room, 0.97 + room).mean()),
    }
    print(pd.DataFrame(summary).round(3).to_string())
    equal = table.loc[table["distance"] == 0, "false real"]
    print(f"false real in {len(equal)} settings: mean {equal.mean():.4f}, most {equal.max():.4f}")
    print(f"standard error of each: {np.sqrt(0.05 * 0.95 / cases):.4f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
