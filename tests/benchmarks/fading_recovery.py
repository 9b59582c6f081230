"""Does the fading fit recover what was put in? Rates inside their intervals, shapes, bands.

Run: python tests/benchmarks/fading_recovery.py [cases]
"""

import sys
import time
from collections import Counter

import numpy as np
from scipy import optimize

from dyelab.grade import curves

CYCLES = np.arange(11.0)
DOSES = np.array([0, 0.3, 1, 3, 6, 10.0])
CASES = [
    ("constant rate", -0.5, 0.3, CYCLES, lambda x: 40 - 0.5 * x),
    ("first order", 0.3, 0.3, CYCLES, lambda x: 40 - 10 * (1 - np.exp(-0.3 * x))),
    ("two rate", 0.9, 0.15, CYCLES, lambda x: 40 - 6 * (1 - np.exp(-0.9 * x)) - 0.4 * x),
    ("constant rate", 0.5, 0.3, DOSES, lambda x: 40 + 0.5 * x),
    ("first order", 0.3, 0.2, DOSES, lambda x: 40 + 10 * (1 - np.exp(-0.3 * x))),
    ("two rate", 1.5, 0.1, DOSES, lambda x: 40 + 4 * (1 - np.exp(-1.5 * x)) + 0.4 * x),
]


def tried(case, stated, count, seed=1):
    """Share of rates inside, of shapes found, of curves inside the band; seconds a fit."""
    shape, rate, sd, x, curve = case
    rng = np.random.default_rng(seed)
    inside, found, held = [], Counter(), []
    far = np.array([x[-1] / 2, 2 * x[-1]])
    start = time.perf_counter()
    for _ in range(count):
        noise = (sd**2 if stated else 1.0) * np.eye(len(x))
        one = curves.Series(x, curve(x) + rng.normal(0, sd, len(x)), noise, None, stated)
        _, low, high = curves.fit(one, shape).rate()
        inside.append(low <= rate <= high)
        choice = curves.choose(one)
        found[choice.chosen.shape] += 1
        below, above = choice.band(far)
        held.append((below <= curve(far)) & (curve(far) <= above))
    return np.mean(inside), found[shape] / count, np.mean(held, axis=0), time.perf_counter() - start


def peer(count=100):
    """Seconds for one first-order fit by scipy's general nonlinear least squares."""
    _, _, sd, x, curve = CASES[1]
    rng = np.random.default_rng(1)
    start = time.perf_counter()
    for _ in range(count):
        y = curve(x) + rng.normal(0, sd, len(x))
        optimize.curve_fit(
            lambda x, a, b, k: a + b * (1 - np.exp(-k * x)), x, y, p0=[40, -8, 0.5], maxfev=5000
        )
    return (time.perf_counter() - start) / count


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    print(f"{count} cases each; the aim for rates is 93 to 97 % inside the 95 % interval")
    print("shape          readings noise      rate inside  shape found  band at half, at twice")
    seconds = []
    for case in CASES:
        for stated in (True, False):
            inside, found, held, taken = tried(case, stated, count)
            seconds.append(taken / count)
            kind = "stated" if stated else "judged"
            print(
                f"{case[0]:14} {len(case[3]):8} {kind:10} {inside:11.1%} {found:12.1%}"
                f" {held[0]:12.1%} {held[1]:.1%}"
            )
    print(f"all four shapes with intervals: {1000 * np.mean(seconds):.1f} ms a series;")
    print(f"scipy's curve_fit, one shape, no profile interval: {1000 * peer():.1f} ms")


if __name__ == "__main__":
    main()
