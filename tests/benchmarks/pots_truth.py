"""False *real* and coverage where swatches share pots: ``python … pots_truth.py [books]``.

Both worlds side by side: our own generator, and `tests/worlds/dyehouse` with its other laws. A
book dyes a few recipes, each as two arms of equal expected colour, in pots as the cell says. The
equal arms are compared (counted a book: any of them called *real*), and unequal recipes, whose
intervals should hold the expected difference. Expected colours are means over all books.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
import pandas as pd
from worlds import dyehouse, synth

from dyelab import compare, convert, table
from dyelab.compare.verdicts import holm

SHARES = (0.0, 0.25, 0.5, 0.75)
NAMES = ["dL", "dC", "db", "dE00"]
OWN = [
    {"fibre": "wool", "dye": "madder", "dye_wof": 50.0, "mordant_wof": 15.0},
    {"fibre": "wool", "dye": "weld", "dye_wof": 50.0, "mordant_wof": 15.0},
    {"fibre": "wool", "dye": "madder", "dye_wof": 50.0, "mordant_wof": 15.0, "iron_wof": 2.0},
    {"fibre": "wool", "dye": "weld", "dye_wof": 50.0, "mordant_wof": 15.0, "iron_wof": 2.0},
]
THIRD = {"synth": ("cochineal", 6.0), "dyehouse": ("logwood", 20.0)}
STEPS = ("mordant", "dye", "iron")


def planned(world, arms=2, rounds=3, in_pot=1, pots=None, shared=(), more=False):
    """Swatches of one book: recipes by arms by rounds by swatches a pot, with their baths.

    `pots` is the number of pots of an arm (by default one a round); steps in `shared` are common
    to the arms of a recipe.
    """
    dye, wof = THIRD[world]
    extra = [{**OWN[0], "dye": dye, "dye_wof": wof}, {**OWN[2], "dye": dye, "dye_wof": wof}]
    recipes = OWN + extra if more else OWN
    rows = []
    for r, recipe in enumerate(recipes):
        for arm in range(arms):
            for turn in range(rounds):
                pot = turn % (pots or rounds)
                for _ in range(in_pot):
                    baths = {}
                    for step in STEPS:
                        whose = f"r{r}" if step in shared else f"r{r}a{arm}"
                        baths[f"bath_{step}"] = f"{step[0]}{whose}p{pot}"
                    rows.append({**recipe, "recipe": r, "arm": arm, "round": turn, **baths})
    return pd.DataFrame(rows).fillna({"iron_wof": 0.0}).assign(tannin_wof=0.0, copper_wof=0.0)


def dyed(world, rows, books, seed, share, sd=0.1, **noise):
    """Readings of all books as one table for `compare`."""
    if world == "dyehouse":
        made = dyehouse.dye(rows, books, seed, sd=sd, pot_share=share, truth_draws=2, **noise)
        return made.lab
    many = pd.concat([rows] * books, ignore_index=True)
    book = np.repeat(np.arange(books), len(rows)).astype(str)
    named = {f"{s}_wof": pd.Series(book) + many[f"bath_{s}"] for s in STEPS}
    pots = pd.DataFrame({d: named.get(d, pd.Series("", many.index)) for d in synth.model.DOSES})
    mordant = np.where(many["mordant_wof"] > 0, "potash alum", "none")
    recipes = many.drop(columns=["recipe", "arm", "round"]).assign(mordant=mordant)
    spread = np.tile(np.broadcast_to(np.asarray(sd, float), len(rows)), books)
    done = synth.series.filled(recipes[[c for c in recipes if not c.startswith("bath_")]])
    rng = np.random.default_rng(seed)
    worked = synth.noise.swatch_doses(done, 1.0, rng, pots=pots, share=share)
    for dose in synth.model.DOSES:  # each swatch's own standard deviation
        with np.errstate(divide="ignore", invalid="ignore"):
            off = np.log(worked[dose] / done[dose]) * spread
        worked[dose] = done[dose] * np.exp(np.nan_to_num(off))
    cloth = synth.reflectance(worked)
    read = synth.noise.read_spectra(cloth, 0.004, rng)
    return convert.spectrum_to_lab(synth.WAVELENGTHS, read).reshape(books, len(rows), 3)


def asked(rows, lab, recorded=1.0, seed=0):
    """One table of all books; a variant is a book's recipe and arm."""
    books, n = lab.shape[:2]
    rng = np.random.default_rng(seed)
    text = np.full((books, n), "", object)
    for step in STEPS:
        has = rows[f"{step}_wof"].to_numpy() > 0
        kind = "modifier" if step == "iron" else step
        names = np.broadcast_to(rows[f"bath_{step}"].to_numpy(object), (books, n))
        known = rng.random((books, n)) < recorded
        text = np.where(has, text + f" {kind}=" + np.where(known, names, ""), text)
    arm = (rows["recipe"] * 10 + rows["arm"]).to_numpy()
    book = np.repeat(np.arange(books), n)
    return pd.DataFrame(lab.reshape(-1, 3), columns=table.LAB).assign(
        variant=book * 1000 + np.tile(arm, books), series=book, swatch=np.arange(books * n),
        baths=text.ravel(), illuminant="D65", observer=10,
    )  # fmt: skip


def judged(world, books, seed, share, recorded=1.0, sd=0.1, plan=None, **noise):
    """Verdicts on equal arms and intervals of unequal recipes, of so many books."""
    rows = planned(world, **(plan or {}))
    lab = dyed(world, rows, books, seed, share, sd(rows) if callable(sd) else sd, **noise)
    variants = compare.gather(
        asked(rows, lab, recorded, seed), by="variant", piece="swatch", series="series"
    )
    at = {name: i for i, name in enumerate(variants.names)}
    many = rows["recipe"].max() + 1
    equal = [(b * 1000 + r * 10, b * 1000 + r * 10 + 1) for b in range(books) for r in range(many)]
    unlike = [
        (b * 1000 + r * 10, b * 1000 + (r + 1) % many * 10)
        for b in range(books)
        for r in range(many)
    ]
    truth = np.array(
        [lab[:, (rows["recipe"] == r).to_numpy()].mean(axis=(0, 1)) for r in range(many)]
    )
    first = compare.between(variants, *_at(equal, at), replicates_needed=True)
    second = compare.between(variants, *_at(unlike, at), replicates_needed=True)
    return _false(first, books), _held(second, truth, books)


def _at(pairs, at):
    return np.array([[at[a], at[b]] for a, b in pairs]).T


def _false(found, books):
    """Share of books in which any equal pair is called real, and what the verdicts were."""
    chance = found["chance_if_equal"].to_numpy().reshape(books, -1)
    told = (found["verdict"] != compare.CANNOT_TELL).to_numpy().reshape(books, -1)
    sure = (found["caveat"] == "").to_numpy().reshape(books, -1)
    real = np.array([holm(row) < 0.05 for row in chance]) & told
    return {
        "false real": (real & sure).any(axis=1).mean(),
        "with its if": (real & ~sure).any(axis=1).mean(),
        "can't tell": 1 - told.mean(),
    }


def _held(found, truth, books):
    """How often each interval holds what is expected, by recipe."""
    many = len(truth)
    true = convert.differences(truth, np.roll(truth, -1, axis=0)).reset_index(drop=True)
    shares = {}
    for name in NAMES:
        low, high = (
            found[f"{name}_{end}"].to_numpy().reshape(books, many) for end in ("low", "high")
        )
        inside = (low <= true[name].to_numpy()) & (true[name].to_numpy() <= high)
        shares[name], shares[f"{name} least"] = inside.mean(), inside.mean(axis=0).min()
    return shares


def unlike(rows):
    """Every other recipe four times as noisy as the rest."""
    return np.where(rows["recipe"] % 2 == 0, 0.2, 0.05)


CELLS = {
    "own pots, 2 rounds": {"plan": {"rounds": 2}},
    "own pots, 3 rounds": {"plan": {"rounds": 3}},
    "4 swatches in two pots": {"plan": {"rounds": 2, "in_pot": 2}},
    "the mordant bath shared by both arms": {"plan": {"rounds": 3, "shared": ("mordant",)}},
    "half of the baths unrecorded": {"plan": {"rounds": 3}, "recorded": 0.5},
    "scatter unlike, 3 rounds": {"plan": {"rounds": 3, "more": True}, "sd": unlike},
    "one pot an arm, 3 swatches": {"plan": {"rounds": 1, "in_pot": 3}},
}
ROUGH = {"outliers": 0.02, "wrong": 0.02, "round_share": 0.1, "surface": 0.01}


def power(world, books, comparisons, seed=3, rounds=3, sd=unlike):
    """Chance of *real*, at the difference that knowing the scatter would find 4 times in 5.

    Recipes scatter by a factor of four; each arm's true scatter is taken from all books.
    """
    rows = planned(world, rounds=rounds, more=True)
    lab = dyed(world, rows, books, seed, 0.5, sd(rows))
    many = rows["recipe"].max() + 1
    found = []
    for recipe in range(many):
        own = ((rows["recipe"] == recipe) & (rows["arm"] == 1)).to_numpy()
        pots = lab[:, own].reshape(-1, 3)
        both = 2 * np.cov(pots.T) / rounds
        values, ways = np.linalg.eigh(both)
        needed = _needed(values[::-1], 0.05 / comparisons)
        moved = lab.copy()
        moved[:, own] += needed * np.sqrt(values[-1]) * ways[:, -1]
        variants = compare.gather(asked(rows, moved), by="variant", piece="swatch", series="series")
        at = {name: i for i, name in enumerate(variants.names)}
        pairs = [(b * 1000 + recipe * 10, b * 1000 + recipe * 10 + 1) for b in range(books)]
        told = compare.between(variants, *_at(pairs, at), formula="dE76", replicates_needed=True)
        found.append((told["chance_if_equal"] < 0.05 / comparisons).mean())
    return float(np.mean(found))


def _needed(values, size, draws=20000):
    """Standard deviations along the longest axis that a test with known scatter finds in 80 %."""
    rng = np.random.default_rng(1)
    noise = rng.normal(size=(draws, 3)) * np.sqrt(values / values[0])
    bound = np.quantile(np.linalg.norm(noise, axis=1), 1 - size)
    moves = np.linspace(1, 8, 141)
    reached = [(np.linalg.norm(noise + np.array([m, 0, 0]), axis=1) > bound).mean() for m in moves]
    return float(np.interp(0.8, reached, moves))


def main(books=400):
    rows = []
    for cell, settings in CELLS.items():
        for share in SHARES:
            for world in ("synth", "dyehouse"):
                noise = ROUGH if world == "dyehouse" else {}
                false, held = judged(world, books, 17, share, **settings, **noise)
                rows.append({"cell": cell, "pot share": share, "world": world, **false, **held})
                print(
                    *(f"{v:.3f}" if isinstance(v, float) else v for v in rows[-1].values()),
                    flush=True,
                )
    return pd.DataFrame(rows)


if __name__ == "__main__":
    asked_for = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    for world in ("synth", "dyehouse"):
        for comparisons in (4, 12):
            reached = power(world, min(asked_for, 200), comparisons) / 0.8
            print(f"power, {comparisons} comparisons, {world}: {reached:.2f} of a known scatter's")
    print(main(asked_for).round(3).to_string())
