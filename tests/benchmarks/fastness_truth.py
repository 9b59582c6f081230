"""Which recipe holds better: false *real* in two worlds, ``python … fastness_truth.py [books]``.

A book washes five recipes, three of them alike, in pots and wash loads as the cell says. Pots dye
deeper or paler and fix better or worse, loads wash harder or softer, and each piece a little of
its own; the alike two are compared with a reference of the same recipe. Counted: books in which
either is called *real*; how often 95 % intervals hold the difference of the expected changes, and
how often that of the unlike two is found.

Last, the same with one photo before and one after, whose errors all pieces share (`PHOTO`).

In the own generator dye washes out by two rates, in the dyehouse by the second order.
"""

import itertools
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
import pandas as pd
from worlds import dyehouse, synth

from dyelab import compare, convert, grade, table

RECIPES = [
    {"variant": name, "dye": "madder", "dye_wof": 50.0, "mordant_wof": 15.0, **more}
    for name, more in (
        ("reference", {}),
        ("same 1", {}),
        ("same 2", {}),
        ("iron", {"iron_wof": 1.0}),
        ("paler", {"dye_wof": 25.0}),
    )
]
CYCLES = 5.0
# Standard deviations of the logarithm of how hard a piece is washed: by how it was fixed and
# rinsed, in its pot and by itself, and by its load.
PIECE, LOAD = 0.15, 0.2
PHOTO = 0.8  # standard deviation in L*, a*, b* of what a photo gets wrong of all its windows alike
PLANS = {
    "two pots, a piece each, two loads": (2, 1, 2),
    "two pots, three pieces each, two loads": (2, 3, 2),
    "three pots, a piece each, three loads": (3, 1, 3),
    "three pots, two pieces each, two loads": (3, 2, 2),
    "four pots, three pieces each, three loads": (4, 3, 3),
}
SHARES = (0.0, 0.25, 0.5, 0.75)


def planned(pots, in_pot, loads):
    """Pieces of one book: each recipe in pots of its own, its pieces dealt to the loads."""
    places = list(itertools.product(RECIPES, range(pots), range(in_pot)))
    rows = [
        {**r, "pot": f"{r['variant'].replace(' ', '')}-{p}", "test": f"load {(p + k) % loads + 1}"}
        for r, p, k in places
    ]
    rows = pd.DataFrame(rows).fillna({"iron_wof": 0.0})
    return rows.assign(fibre="wool", tannin_wof=0.0, copper_wof=0.0)


def colours(world, rows, books, rng, share):
    """Colours before and after of all books, (books, n, 3) each."""
    n = len(rows)
    load = rng.normal(size=(books, rows["test"].nunique()))[:, pd.factorize(rows["test"])[0]]
    pot = rng.normal(size=(books, rows["pot"].nunique()))[:, pd.factorize(rows["pot"])[0]]
    loose = np.sqrt(share) * pot + np.sqrt(1 - share) * rng.normal(size=(books, n))
    hard = np.exp(LOAD * load + PIECE * loose)
    if world == "dyehouse":
        named = rows.assign(**{f"bath_{s}": rows["pot"] for s in dyehouse.STEPS})
        off = dyehouse.errors(named, books, rng, pot_share=share, outliers=0.02)
        parts = dyehouse.k_over_s(rows, dyehouse.doses(rows) * np.exp(off))
        kept = 1 / (1 + 0.06 * CYCLES * hard[..., None] * _depth(parts["dye"]))
        worn = {**parts, "dye": parts["dye"] * kept, "dye_metal": parts["dye_metal"] * kept**0.5}
        return tuple(dyehouse.lab_of(dyehouse.reflectance(p)) for p in (parts, worn))
    many = pd.concat([rows] * books, ignore_index=True)
    many["mordant"], book = "potash alum", np.repeat(np.arange(books), n).astype(str)
    done = synth.series.filled(many.drop(columns=["variant", "pot", "test"]))
    pots = pd.DataFrame({d: pd.Series(book) + many["pot"] for d in synth.model.DOSES})
    worked = synth.noise.swatch_doses(done, 0.1, rng, pots=pots, share=share)
    ends = (0.0, CYCLES * hard.ravel())
    spectra = (synth.faded(worked, "wash", amount) for amount in ends)
    return tuple(
        convert.spectrum_to_lab(synth.WAVELENGTHS, s).reshape(books, n, 3) for s in spectra
    )


def _depth(dye):
    return dye.max(axis=-1, keepdims=True) / 5


def read(lab, rng):
    return lab + rng.normal(size=lab.shape) * [0.1, 0.15, 0.15]


def shared_of(names, photo):
    """Rows of `table.SHARED`: three errors of the photo before, three of that after."""
    rows = [
        {"reading": name + end, "source": end, "factor": i, "scope": "photo"}
        for name, end, i in itertools.product(names, ("before", "after"), range(3))
    ]
    shared = pd.DataFrame(rows).assign(L=0.0, a=0.0, b=0.0)
    shared[table.LAB] = photo * np.eye(3)[shared["factor"]]
    return shared


def book_of(rows, before, after):
    """Grades of one book, as `grade.grades` gives them, by the parts that are compared."""
    told = grade.grey_scale_difference(before, after)
    frame = rows.assign(difference=told, difference_low=told - 0.5, difference_high=told + 0.5)
    frame[[f"{c}_before" for c in table.LAB]], frame[table.LAB] = before, after
    names = pd.Series([f"S{i}" for i in range(len(rows))], rows.index)
    frame = frame.assign(swatch=names, before=names + "before", after=names + "after")
    frame["baths"] = "dye=" + rows["pot"]
    return frame.assign(exposure="wash", amount=CYCLES, unit="cycles", kind="change")


def judged(world, plan, books, share, seed=0, photo=0.0):
    """Shares of false *real*, of intervals that hold, and of differences found."""
    rng, rows = np.random.default_rng(seed), planned(*plan)
    before, after = colours(world, rows, books, rng, share)
    true = grade.grey_scale_difference(before.reshape(-1, 3), after.reshape(-1, 3))
    by = pd.Series(true.reshape(books, -1).mean(axis=0)).groupby(rows["variant"]).mean()
    off = rng.normal(0, photo, (2, books, 1, 3)) if photo else np.zeros((2, 1, 1, 3))
    seen = zip(read(before, rng) + off[0], read(after, rng) + off[1], strict=True)
    shared = shared_of([f"S{i}" for i in range(len(rows))], photo) if photo else None
    found = pd.concat(
        grade.compare_fastness(book_of(rows, *both), "reference", shared=shared).assign(book=i)
        for i, both in enumerate(seen)
    )
    alike = found["variant"].str.startswith("same")
    real = found["verdict"].eq(compare.REAL)
    less = np.where(alike, 0.0, by["reference"] - by.reindex(found["variant"]).to_numpy())
    held = found["less_low"].le(less) & found["less_high"].ge(less)
    false = (real & alike).groupby(found["book"]).any().mean()
    width = (found["less_high"] - found["less_low"]).median()
    return {"false": false, "held": held.mean(), "found": real[~alike].mean(), "width": width}


def main(books=200):
    for world, share in itertools.product(("synth", "dyehouse"), SHARES):
        for name, plan in PLANS.items():
            told = {k: round(float(v), 3) for k, v in judged(world, plan, books, share).items()}
            print(f"{world:8} pots' share {share:4}: {name:42}", told, flush=True)
    for world, (name, plan) in itertools.product(("synth", "dyehouse"), PLANS.items()):
        found = judged(world, plan, books // 4, 0.5, photo=PHOTO)
        told = {k: round(float(v), 3) for k, v in found.items()}
        print(f"{world:8} one photo before and after: {name:42}", told, flush=True)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
