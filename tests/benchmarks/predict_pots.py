"""Predictions of swatches in pots that the book never saw, in two worlds.

``python tests/benchmarks/predict_pots.py [books [recipes [first]]]``: for each share of the scatter
that belongs to the pots, books of 40 recipes, or so many, in two rounds from `worlds.dyehouse`
(laws apart from `worlds.synth`), and 150 new recipes, a swatch each in pots of its own. Printed:
shares of them inside their 90 % region (`new_pot`), of the recipes' true colours inside theirs
(`recipe`), the median ΔE00 to the truth, the share inside that the model's own report states, its
stretch, and the same from `worlds.synth` (`dyed_worlds.judged`, one swatch a recipe).

``python tests/benchmarks/predict_pots.py stretch [books [recipes [first]]]``: the factor on the
variance that 90 % of new swatches need, beside the one that each book shows and the one it is
given (logarithms: mean, deviation and correlation over books), and how unlike coverage is in
single books. Derives `_USUAL` and `_FEW` of `predict.calibration`.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parents[1]))
import dyed_worlds
from worlds import dyehouse, random_books, synth

from dyelab import convert, predict, table
from dyelab.predict import calibration

INSIDE = 6.2514  # chi-square, three degrees of freedom, 90 %
SURFACE = 0.005
BATHS = {
    "tannin": ["fibre", "tannin_wof"],
    "mordant": ["fibre", "tannin_wof", "mordant_wof"],
    "dye": ["fibre", "tannin_wof", "mordant_wof", "dye", "dye_wof"],
    "iron": ["dye", "iron_wof", "tannin_wof"],
    "copper": ["dye", "copper_wof", "tannin_wof"],
}


def recipes_of(rng, n):
    """Recipes of madder, weld and logwood in usual doses, with one metal at most."""
    dye = rng.choice(["madder", "weld", "logwood"], n)
    iron = np.where(rng.random(n) < 0.5, 0, rng.choice([0.5, 1, 2, 4], n))
    copper = np.where((iron == 0) & (rng.random(n) < 0.4), rng.choice([0.5, 1, 2, 4.0], n), 0.0)
    return pd.DataFrame(
        {
            "fibre": rng.choice(["wool", "cotton"], n),
            "dye": dye,
            "dye_wof": dyehouse.USUAL[dye].to_numpy() * rng.choice([0.5, 1, 1.5], n),
            "tannin_wof": np.where(rng.random(n) < 0.5, 0, rng.choice([5.0, 8.0, 10.0], n)),
            "mordant_wof": np.where(rng.random(n) < 0.25, 0, rng.choice([8.0, 15.0], n)),
            "iron_wof": iron,
            "copper_wof": copper,
        }
    )


def in_rounds(recipes, rounds=2):
    """The recipes in rounds, cloths that don't spoil one another in one bath."""
    parts = []
    for turn in range(rounds):
        text = recipes.astype(str)
        baths = {
            f"bath_{step}": f"{step[0].upper()}{turn}" + text[names].agg("/".join, axis=1)
            for step, names in BATHS.items()
        }
        parts.append(recipes.assign(round=turn, **baths))
    return pd.concat(parts, ignore_index=True)


def wide(swatches, lab):
    """The swatches as ``book.wide`` gives them."""
    said = np.full(len(swatches), "", object)
    for step in dyehouse.STEPS:
        kind = step if step in ("tannin", "mordant", "dye") else "modifier"
        bath = swatches.get(f"bath_{step}", pd.Series("", swatches.index)).astype(object)
        has = swatches[f"{step}_wof"].to_numpy() > 0
        said = np.where(has, said + f" {kind}=" + bath.to_numpy(), said)
    codes = [f"S{i}" for i in range(len(swatches))]
    return swatches.assign(
        tannin=np.where(swatches["tannin_wof"] > 0, "gallnut", "none"),
        mordant=np.where(swatches["mordant_wof"] > 0, "potash alum", "none"),
        **{"form": "cloth", "ground": "", "modifier": "none", "series": "A", "vat": False},
        **{"swatch": codes, "reading": codes, "exposure": "none", "baths": said},
        **dict(zip(table.LAB, lab.T, strict=True)),
        **{"illuminant": "D65", "observer": 10},
    )


def truth(recipes):
    """Colours of recipes without noise."""
    meant = dyehouse.k_over_s(recipes, dyehouse.doses(recipes))
    return dyehouse.lab_of(dyehouse.reflectance(meant, SURFACE))


def inside(said, lab):
    off = lab - said[table.LAB].to_numpy(float)
    far = np.einsum("ni,nij,nj->n", off, np.linalg.inv(table.covariances(said)), off)
    return float((far <= INSIDE).mean())


def judged(seed, share, recipes=40, fresh=150):
    """One book of the dyehouse: coverage of new swatches and of true colours."""
    swatches = in_rounds(recipes_of(np.random.default_rng(seed), recipes))
    noise = {"pot_share": share, "surface": SURFACE, "truth_draws": 2}
    model = predict.fit(wide(swatches, dyehouse.dye(swatches, 1, seed, **noise).lab[0]))
    new = recipes_of(np.random.default_rng(900 + seed), fresh)
    landed = dyehouse.dye(new, 1, seed + 5000, **noise).lab[0]
    meant = truth(new)
    asked = wide(new, landed).drop(columns=["swatch", "baths", "vat", *table.LAB])
    swatch, recipe = (model.colour(asked, of=of) for of in ("new_pot", "recipe"))
    return {
        "pot_share": share,
        "new_pot": inside(swatch, landed),
        "recipe": inside(recipe, meant),
        "error": np.median(convert.dE00(meant, recipe[table.LAB].to_numpy(float))),
        "left_out": model.error,
        "stated_inside": model.left_out["inside"].mean(),
        "stretch": model.stretch,
    }


def needed(seed, recipes):
    """Stretch that the new swatches of a book need, and what it has: of both worlds."""
    swatches = in_rounds(recipes_of(np.random.default_rng(seed), recipes))
    noise = {"pot_share": 0.5, "surface": SURFACE, "truth_draws": 2}
    model = predict.fit(wide(swatches, dyehouse.dye(swatches, 1, seed, **noise).lab[0]))
    new = recipes_of(np.random.default_rng(900 + seed), 150)
    landed = dyehouse.dye(new, 1, seed + 5000, **noise).lab[0]
    asked = wide(new, landed).drop(columns=["swatch", "baths", "vat", *table.LAB])
    yield {"world": "dyehouse", **_asked_of(model, model.colour(asked), landed)}
    own = random_books.random_book(seed, recipes, replicates=1)
    model = predict.fit(own.wide, spectra=own.spectra)
    fresh = random_books.random_recipes(150, np.random.default_rng(seed + 10_000))
    fresh = dyed_worlds.of_known_materials(fresh, own.recipes)
    made = synth.simulate(fresh, seed + 7, replicates=1, cloth=own.cloth).wide
    yield {"world": "synth", **_asked_of(model, model.colour(fresh), dyed_worlds.measured(made))}


def _asked_of(model, said, lab):
    off = lab - said[table.LAB].to_numpy(float)
    far = calibration.mahalanobis(off, table.covariances(said))
    had = np.log(model.stretch)
    need = had + np.log(np.quantile(far, 0.9) / INSIDE)
    shown = 2 * had - np.log(
        calibration.usual_stretch(len(model.made))
    )  # what is given lies half way to the usual
    return {"needed": need, "shown": shown, "given": had, "inside": (far <= INSIDE).mean()}


def stretches(books, recipes=40, first=7000):
    found = pd.DataFrame([row for i in range(books) for row in needed(first + i, recipes)])
    for world, own in found.groupby("world"):
        print(world, own.drop(columns="world").agg(["mean", "std", "min"]).round(2).to_string())
        print("correlation of needed and shown", round(own["needed"].corr(own["shown"]), 2))


def main(books, recipes=40, first=0):
    seeds, shares = range(first, first + books), (0.0, 0.25, 0.5, 0.75)
    rows = [judged(seed, share, recipes) for share in shares for seed in seeds]
    print("dyehouse", pd.DataFrame(rows).groupby("pot_share").mean().round(3).to_string(), sep="\n")
    own = pd.DataFrame([dyed_worlds.judged(6000 + seed, recipes) for seed in seeds])
    print("synth", own.drop(columns="seed").mean().round(3).to_string(), sep="\n")


if __name__ == "__main__":
    job, *more = sys.argv[1:] or ["20"]
    if job == "stretch":
        stretches(*map(int, more or [20]))
    else:
        main(int(job), *map(int, more))
