"""Invented books with known truth, and plain predictors to stand beside the model."""

import numpy as np
import pandas as pd
from worlds import random_books, synth

from dyelab import convert, predict, table

TEXTS = ("fibre", "tannin", "mordant", "dye")
DOSES = ("tannin_wof", "mordant_wof", "dye_wof", "iron_wof", "copper_wof")
RIDGES = np.geomspace(1e-3, 30, 12)


def true_lab(recipes, cloth):
    """Colour that a recipe gives, without noise, under D65/10°."""
    return convert.spectrum_to_lab(synth.WAVELENGTHS, synth.reflectance(recipes, cloth=cloth))


def measured(wide):
    return wide[table.LAB].to_numpy(float)


def distance(one, two):
    """Recipes apart: a material counts 1, a dose its relative change on a log scale."""
    far = np.zeros((len(one), len(two)))
    for name in TEXTS:
        far += one[name].to_numpy(str)[:, None] != two[name].to_numpy(str)
    for name in DOSES:
        a, b = (np.log1p(t[name].to_numpy(float)) for t in (one, two))
        far += 0.5 * np.abs(a[:, None] - b)
    return far


def nearest_left_out(recipes, lab):
    """Each swatch by its nearest other swatch."""
    far = distance(recipes, recipes)
    np.fill_diagonal(far, np.inf)
    return lab[far.argmin(axis=1)]


def columns(recipes, pairs):
    """Design of a multilinear predictor: materials, doses, and with `pairs` their products."""
    parts = {}
    for name in TEXTS:
        for kind in sorted(set(recipes[name]))[1:]:
            parts[name, kind] = (recipes[name] == kind).to_numpy(float)
    for name in DOSES:
        top = recipes[name].max() or 1.0
        parts[name, ""] = recipes[name].to_numpy(float) / top
    found = list(parts.values())
    names = list(parts)
    if pairs:
        found += [
            parts[a] * parts[b]
            for i, a in enumerate(names)
            for b in names[i + 1 :]
            if a[0].removesuffix("_wof") != b[0].removesuffix("_wof")
        ]
    return np.column_stack([np.ones(len(recipes)), *found])


def linear_left_out(recipes, lab, pairs):
    """Multilinear interpolation, each swatch left out; the ridge that does best of all."""
    X, best = columns(recipes, pairs), None
    for ridge in RIDGES:
        penalty = ridge * np.eye(X.shape[1])
        penalty[0, 0] = 0
        H = X @ np.linalg.solve(X.T @ X + penalty, X.T)
        left = lab - (lab - H @ lab) / (1 - np.diag(H))[:, None]
        error = np.median(convert.dE00(lab, left))
        if best is None or error < best[0]:
            best = (error, left)
    return best[1]


def judged(seed, n=60, spectral=True):
    """One random book of n swatches: leave-one-out errors, and coverage on fresh recipes."""
    world = random_books.random_book(seed, n, replicates=1)
    model = predict.fit(world.wide, spectra=world.spectra if spectral else None)
    lab, recipes = measured(world.wide), world.recipes
    peers = {
        "nearest": nearest_left_out(recipes, lab),
        "linear": linear_left_out(recipes, lab, pairs=False),
        "pairs": linear_left_out(recipes, lab, pairs=True),
    }
    errors = {name: np.median(convert.dE00(lab, other)) for name, other in peers.items()}
    return {"seed": seed, "model": model.error, **errors, **coverage(model, world, seed)}


def of_known_materials(fresh, dyed):
    """Those of fresh recipes whose every material was dyed: of others nothing can be said."""
    known = np.logical_and.reduce([fresh[name].isin(dyed[name]) for name in TEXTS])
    return fresh[known].reset_index(drop=True)


def coverage(model, world, seed, many=200):
    """Shares of fresh recipes whose truth, and whose one swatch, lie in the 90 % region."""
    fresh = random_books.random_recipes(many, np.random.default_rng(seed + 10_000))
    fresh = of_known_materials(fresh, world.recipes)
    said = model.colour(fresh)
    inverse = np.linalg.inv(table.covariances(said))
    truth = true_lab(fresh, world.cloth)
    swatch = measured(synth.simulate(fresh, seed + 7, replicates=1, cloth=world.cloth).wide)
    shares = {}
    for name, lab in (("truth_in_90", truth), ("swatch_in_90", swatch)):
        off = lab - measured(said)
        shares[name] = (np.einsum("ni,nij,nj->n", off, inverse, off) <= 6.2514).mean()
    return {**shares, "fresh_error": np.median(convert.dE00(truth, measured(said)))}


NEAR = 15.0  # ΔE00: what `predict.next_swatches` calls near


class Own:
    """A world of the own generator."""

    def __init__(self, seed):
        self.seed, self.cloth = seed, synth.varied(seed)

    recipes = staticmethod(random_books.random_recipes)

    def truth(self, recipes):
        """Colours of recipes without noise."""
        return true_lab(recipes, self.cloth)

    def swatches(self, recipes, seed):
        """Colours of a swatch of each."""
        return measured(synth.simulate(recipes, seed, replicates=1, cloth=self.cloth).wide)

    def learned(self, rows):
        """A model of one swatch of each of these recipes."""
        named = rows.assign(swatch=[f"S{i:03d}" for i in range(len(rows))])
        book = synth.simulate(named, self.seed + 1, replicates=1, cloth=self.cloth)
        return predict.fit(book.wide, spectra=book.spectra)


def searched(seed, n=60, targets=20, tolerance=3.0, world=Own):
    """Colours that this world can dye, looked for: real distance and stated chance."""
    own, rng = world(seed), np.random.default_rng(seed)
    model = own.learned(own.recipes(n, rng))
    within = predict.reach(model, size=60_000)
    rows = []
    for lab in own.truth(own.recipes(targets, np.random.default_rng(seed + 999))):
        found = predict.find(model, lab, tolerance=tolerance, within=within)
        ranked = found.ranked.drop(columns=["swatch"], errors="ignore")
        aim = np.broadcast_to(lab, (len(ranked), 3))
        near = convert.dE00(aim, own.swatches(ranked, seed + 3)) <= tolerance
        told = {"seed": seed, "reachable": found.reachable, "landed": near}
        told |= {"place": ranked.index, "tried": ranked["tried"] != "", "chance": ranked["chance"]}
        rows.append(pd.DataFrame({**told, "real": convert.dE00(aim, own.truth(ranked))}))
    return pd.concat(rows, ignore_index=True)


ASKED = {"where the user looks": "around", "a list of recipes": "among", "everywhere": ""}


def extended(seed, start=20, suggested=10, at_once=5, drawn=20, asking="around", world=Own):
    """Error after suggested swatches and after random ones, from the same random start.

    `asking` for a colour (`around`), that a random recipe truly gives: the user looks at recipes on
    that recipe's fibre which truly come within 15 ΔE00 of it, and the suggestions are asked for
    around that colour on that fibre. Else the user looks at all recipes; the model is told what
    those are by 1,000 others of their kind (`among`), or nothing. The errors, a row a way of
    drawing, are the `median`, the `mean` and the 90th percentile (`most`) of ΔE00 between
    prediction and truth over the recipes looked at. Recipes of materials that the first swatches
    lack are left out: nothing can be said of them. Suggestions come in batches, as a user would
    dye them, and the model learns each batch before the next. Random swatches are drawn from all
    recipes (`random`, and half as many: `half`), or from those on the fibre looked at
    (`on_fibre`).
    """
    rng, own = np.random.default_rng(seed), world(seed)
    recipes, more, fresh = (own.recipes(n, rng) for n in (start, 40 * drawn, 4000))
    asked, place, truth = _looked_at(own, of_known_materials(fresh, recipes), rng, asking)

    def error(model):
        away = convert.dE00(truth, measured(model.colour(place)))
        return {"median": np.median(away), "mean": away.mean(), "most": np.quantile(away, 0.9)}

    model = own.learned(recipes)
    blank = dict(recipes.iloc[0][["form", "ground", "series", "modifier"]])
    errors, rows = {"before": error(model)}, recipes
    for batch in range(suggested // at_once):
        offered = predict.next_swatches(model, at_once, seed=batch, **asked)
        dyed = offered[[c for c in offered if c in recipes]].assign(**blank)
        rows = pd.concat([rows, dyed], ignore_index=True)
        model = own.learned(rows)
    errors["suggested"] = error(model)
    drawings = {"random": more, "half": more.head(drawn // 2)}
    if asking == "around":
        drawings["on_fibre"] = more[more["fibre"].isin([asked["hold"]["fibre"]])]
    for name, some in drawings.items():
        errors[name] = error(own.learned(pd.concat([recipes, some.head(drawn)], ignore_index=True)))
    return pd.DataFrame(errors).T.rename_axis("drawn").assign(seed=seed).reset_index()


def _looked_at(own, fresh, rng, asking, many=300):
    """What `next_swatches` is asked, and the recipes looked at with their true colours."""
    if asking != "around":
        place = fresh.head(many)
        rest = fresh.iloc[many : many + 1000]
        return (
            ({"among": rest.drop(columns="swatch", errors="ignore")} if asking else {}),
            place,
            own.truth(place),
        )
    truth = own.truth(fresh)
    at = int(rng.integers(len(fresh)))
    far = convert.dE00(np.broadcast_to(truth[at], truth.shape), truth)
    there = (far <= NEAR) & (fresh["fibre"] == fresh["fibre"].iloc[at]).to_numpy()
    asked = {"around": truth[at], "hold": {"fibre": fresh["fibre"].iloc[at]}}
    return asked, fresh[there].head(many), truth[there][:many]
