"""Do the intervals of grades and the bands of forecasts hold what they should? And how quick?

Run: python tests/benchmarks/grade_coverage.py [pairs]
"""

import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
from worlds import random_books

from dyelab import grade, synth, table

KINDS = {
    "change": ("swatch", grade.grey_scale_difference, grade.change_of),
    "staining": ("adjacent wool", grade.staining_difference, grade.staining_of),
}
MIX = np.array([[1, 0, 0], [0.3, 0.8, 0], [-0.2, 0.3, 0.9]])


def noisy(part, u, n, seed):
    """Pairs of a known true difference of 0 to 10, read with correlated noise of size u."""
    rng = np.random.default_rng(seed)
    turn, chroma = rng.uniform(0, 2 * np.pi, n), rng.uniform(0, 45, n)
    first = np.column_stack([rng.uniform(25, 80, n), chroma * np.cos(turn), chroma * np.sin(turn)])
    way = rng.normal(size=(n, 3))
    second = first + way / np.linalg.norm(way, axis=1)[:, None] * rng.uniform(0, 10, (n, 1))
    frames = []
    for lab, exposure in ((first, "none"), (second, "wash")):
        read = lab + u * rng.normal(size=(n, 3)) @ MIX.T
        rows = pd.DataFrame(read, columns=table.LAB).assign(exposure=exposure, part=part)
        frames.append(rows.assign(swatch=[f"S{i}" for i in range(n)]))
    both = pd.concat(frames, ignore_index=True)
    both = both.assign(amount=both["exposure"].eq("wash") * 5.0, illuminant="D65", observer=10)
    both["reading"] = both["swatch"] + both["exposure"]
    spread = np.tile(u**2 * MIX @ MIX.T, (2 * n, 1, 1))
    return first, second, table.with_covariances(both, spread)


def intervals(n):
    print(f"{n} pairs each, true differences of 0 to 10; the aim is 95 %")
    place = grade.GRADES.index
    for kind, (part, formula, of) in KINDS.items():
        for u in (0.1, 0.3, 0.8, 1.5):
            first, second, frame = noisy(part, u, n, 4)
            told = grade.grades(grade.matched(frame))
            true = formula(first, second)
            inside = told["difference_low"].le(true) & told["difference_high"].ge(true)
            ends = zip(told["grade_best"], of(true)[1], told["grade_worst"], strict=True)
            held = np.mean([place(b) <= place(g) <= place(w) for b, g, w in ends])
            print(f"{kind:9} noise {u}: difference {inside.mean():.1%}, grade {held:.1%}")


def forecasts(count=60):
    """Read five washes or doses up to 3 Mlx h; look for the noise-free truth further on."""
    near = {"wash": (1.0, 2.0, 3.0, 4.0, 5.0), "light": (0.3e6, 0.6e6, 1e6, 2e6, 3e6)}
    far = {"wash": 10.0, "light": 6e6}
    tests = [(kind, x) for kind, xs in near.items() for x in (*xs, far[kind])]
    recipes = random_books.random_recipes(count, np.random.default_rng(2))
    recipes = recipes.assign(swatch=[f"S{i}" for i in range(count)])
    made = synth.simulate(recipes, 5, replicates=1, swatch_sd=0.0, exposures=tests)
    read = made.wide[~made.wide["amount"].isin(far.values())]
    truth = made.truth.set_index("reading")[table.LAB]
    inside: dict[str, list[bool]] = {}
    for one in grade.drifts(grade.matched(read)):
        ending = {"wash": "-w10", "light": "-l6"}[one.exposure]
        pair = truth.loc[[one.swatch, one.swatch + ending]].to_numpy()
        low, high = grade.band(one, "dEF", np.array([far[one.exposure]]))
        true = grade.grey_scale_difference(*pair)
        inside.setdefault(one.exposure, []).append(bool(low[0] <= true <= high[0]))
    for kind, held in inside.items():
        print(
            f"{kind}: forecast band at twice the longest holds the truth in {np.mean(held):.1%}"
            f" of {len(held)} invented cloths"
        )


def speed(n=10_000):
    first, second, frame = noisy("swatch", 0.3, n, 1)
    grade.change(first, second)
    start = time.perf_counter()
    grade.change(first, second)
    floor = time.perf_counter() - start
    start = time.perf_counter()
    grade.grades(grade.matched(frame))
    print(
        f"{n} pairs: formula and grade alone {floor:.2f} s (the floor);"
        f" matched, with intervals and words {time.perf_counter() - start:.2f} s"
    )


if __name__ == "__main__":
    intervals(int(sys.argv[1]) if len(sys.argv) > 1 else 4000)
    forecasts()
    speed()
