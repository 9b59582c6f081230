"""Predictions against invented worlds whose truth is known, beside plain predictors.

``python tests/benchmarks/predict_truth.py left-out [books]``   leave-one-out error and coverage
``python tests/benchmarks/predict_truth.py find [books]``       real distance, chance, two worlds
``python tests/benchmarks/predict_truth.py next [books]``       suggested against random, two worlds
``python tests/benchmarks/predict_truth.py speed``

Worlds are numbered from 5000; those below were used while the method was made.
What counts as the error after suggested swatches stands in `dyed_worlds.extended`.
"""

import itertools
import os
import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parent))
import dyed_worlds
import predict_pots
from worlds import dyehouse, random_books

from dyelab import predict

FIRST = 5000
PEERS = ["nearest", "linear", "pairs"]


def left_out(seeds):
    rows = pd.DataFrame([dyed_worlds.judged(seed) for seed in seeds])
    print(rows.drop(columns="seed").agg(["mean", "median", "min", "max"]).round(3).to_string())
    best = rows[PEERS].mean().min()
    print(f"model below the better peer by {100 * (1 - rows['model'].mean() / best):.1f} %")
    each = 100 * (1 - rows["model"] / rows[PEERS].min(axis=1))
    print(f"book by book: median {each.median():.1f} %, least {each.min():.1f} %")


def find(seeds):
    for world in (dyed_worlds.Own, Dyehouse):
        found = [dyed_worlds.searched(seed, world=world) for seed in seeds]
        print(f"\n{world.__name__}, {len(found)} worlds")
        told_of(pd.concat(found))


def told_of(rows):
    """Real distance of the first recipes, and stated chances beside what landed."""
    first = rows[(rows["place"] == 0) & rows["reachable"]]
    many = (rows["place"] == 0).sum()
    print(f"{len(first)} of {many} colours said to be reachable")
    print(f"first recipe, real ΔE00: median {first['real'].median():.2f}")
    for name, part in (("first recipes", first), ("all ranked", rows)):
        tens = np.minimum((part["chance"] * 10).astype(int), 9)
        bins = part.groupby(tens).agg(
            n=("landed", "size"), stated=("chance", "mean"), landed=("landed", "mean")
        )
        bins["off"] = bins["landed"] - bins["stated"]
        bins["error"] = np.sqrt(bins["stated"] * (1 - bins["stated"]) / bins["n"])
        print(name, bins.round(3).to_string(), sep="\n", flush=True)


class Dyehouse:
    """A world of other laws: `worlds.dyehouse`, half of the scatter its pots'."""

    def __init__(self, seed):
        self.seed = seed

    @staticmethod
    def recipes(n, rng):
        drawn = predict_pots.recipes_of(rng, n)
        return drawn.assign(
            tannin=np.where(drawn["tannin_wof"] > 0, "gallnut", "none"),
            mordant=np.where(drawn["mordant_wof"] > 0, "potash alum", "none"),
            **{"form": "cloth", "ground": "", "modifier": "none", "series": "A"},
        )

    def truth(self, recipes):
        return predict_pots.truth(recipes.reset_index(drop=True))

    def swatches(self, recipes, seed):
        noise = {"pot_share": 0.5, "surface": predict_pots.SURFACE, "truth_draws": 2}
        return dyehouse.dye(recipes.reset_index(drop=True), 1, seed, **noise).lab[0]

    def learned(self, rows):
        rows = rows.reset_index(drop=True)
        return predict.fit(predict_pots.wide(rows, self.swatches(rows, self.seed)))


def next_swatches(seeds):
    for name, asking in dyed_worlds.ASKED.items():
        for world in (dyed_worlds.Own, Dyehouse):
            found = [dyed_worlds.extended(seed, asking=asking, world=world) for seed in seeds]
            print(f"\n{name}, {world.__name__}, {len(found)} worlds: ΔE00, means of worlds")
            compared(pd.concat(found))


def compared(rows):
    """Errors after suggested swatches beside those after random ones, world by world."""
    columns = ["median", "mean", "most"]
    print(rows.groupby("drawn", sort=False)[columns].mean().round(2).to_string())
    wide = rows.pivot(index="seed", columns="drawn", values=columns)
    for column in columns:
        for other in (one for one in ("half", "random", "on_fibre") if one in set(rows["drawn"])):
            off = wide[column, "suggested"] - wide[column, other]
            error = off.std() / np.sqrt(len(off))
            print(
                f"{column} error, suggested less {other}: {off.mean():+.2f} ± {error:.2f}, "
                f"no worse in {100 * (off <= 0).mean():.0f} %",
                flush=True,
            )


def timed(what, work, times=5):
    spent = []
    for _ in range(times):
        wall, cpu = time.perf_counter(), time.process_time()
        result = work()
        spent.append((time.perf_counter() - wall, time.process_time() - cpu))
    wall, cpu = np.median(spent, axis=0)
    print(f"{what}: {1000 * wall:.0f} ms on the clock, {1000 * cpu:.0f} ms of processor")
    return result


def speed():
    big = random_books.random_book(1, 500, replicates=1)
    model = timed("fit 500 swatches", lambda: predict.fit(big.wide, spectra=big.spectra), 3)
    one = big.recipes.head(1)
    timed("colour of one recipe (500 swatches)", lambda: model.colour(one), 20)
    small = random_books.random_book(1, 60, replicates=1)
    own = predict.fit(small.wide, spectra=small.spectra)
    timed("colour of one recipe (60 swatches)", lambda: own.colour(one), 20)
    for name, judge in (("60", own), ("500", model)):
        reached = timed(
            f"predict all candidates ({name} swatches)", lambda j=judge: predict.reach(j)
        )
        print(f"  {len(reached.lab)} candidates")
        timed(
            f"find among them ({name} swatches)",
            lambda j=judge, r=reached: predict.find(j, (45, 25, 15), within=r),
        )
    timed("next four swatches (60 swatches)", lambda: predict.next_swatches(own, 4), 3)
    slider()
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB")


def slider():
    """From a moved slider to the new prediction, and to sentence, chips, figure and table."""
    from dyelab.panel import explore
    from dyelab.panel.explore import offered

    with tempfile.TemporaryDirectory() as state:
        os.environ["XDG_STATE_HOME"] = state
        panel = explore.panel()
        doses = itertools.cycle(np.round(np.arange(0.1, 3.0, 0.1), 1))
        model = panel.ready.model

        def predicted():
            return model.colour(offered.slider_recipe({**panel.values, "iron_wof": next(doses)}))

        def moved():
            panel.choices["iron_wof"].value = next(doses)

        timed(f"slider to prediction ({len(panel.ready.made)} recipes)", predicted, 40)
        timed("slider to everything shown, and choices kept", moved, 40)


if __name__ == "__main__":
    job, *more = sys.argv[1:] or ["left-out"]
    jobs = {"left-out": left_out, "find": find, "next": next_swatches}
    if job == "speed":
        speed()
    else:
        jobs[job](range(FIRST, FIRST + (int(more[0]) if more else 100)))
