"""The split of iron's effect against invented worlds whose true parts are known.

``python tests/benchmarks/separation_truth.py [books] [first seed]``. In our own generator and in
`tests/worlds/dyehouse`: how often the dye's interval holds its true share, how often its lower
limit does (all that is claimed where dye and tannin may compete for the iron), and the bias, the
mean over books of (found - true) / width; the naive answer puts all of it down to the dye.
"""

import sys
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
import pandas as pd
from worlds import dyehouse, synth

from dyelab import shift, table

FORMS = {
    "dye": ["dye_free", "dye_alum", "dye_iron", "dye_copper"],
    "tannin": ["tannin", "tannin_iron", "tannin_copper"],
    "fibre": ["fibre", "fibre_iron", "fibre_copper"],
}
OTHER = {
    "dye": ["dye", "dye_metal"],
    "tannin": ["tannin", "tannin_iron"],
    "fibre": ["fibre", "fibre_metal"],
}
DYES = {
    "synth": [("madder", 50.0), ("weld", 50.0), ("cochineal", 6.0)],
    "dyehouse": [("madder", 50.0), ("weld", 50.0), ("logwood", 20.0)],
}


def recipes(rng, world="synth", fibre="cotton"):
    """Six cloths of a random dye, tannin and doses, all with the same mordant."""
    dye, wof = DYES[world][rng.integers(3)]
    tannin = ["gallnut", "pomegranate rind"][rng.integers(2)]
    dose = float(rng.choice([1.0, 2.0, 4.0]))
    rows = []
    for dyed, tanned in ((1, 1), (0, 1), (0, 0)):
        for iron in (dose, 0.0):
            row = {"dye": dye if dyed else "none", "dye_wof": wof * dyed, "iron_wof": iron}
            row |= {"tannin": tannin if tanned else "none", "tannin_wof": 8.0 * tanned}
            rows.append(row)
    fixed = {"fibre": fibre, "mordant": "aluminium acetate", "mordant_wof": 8.0}
    return pd.DataFrame(rows).assign(copper_wof=0.0, **fixed)


def shares(parts, forms, divisor=1.0):
    """Per cent of the change of K/S that iron causes, by part, on the dyed cloth."""
    change = {}
    for name, among in forms.items():
        sums = (sum(parts[form] for form in among) / divisor).sum(axis=-1)
        change[name] = sums[0] - sums[1]
    whole = sum(change.values())
    found = {name: 100 * value / whole for name, value in change.items()}
    return {**found, "naive": found["dye"]}


def of_synth(cells, seed, rivalry, surface, replicates):
    world = replace(synth.varied(seed), rivalry=rivalry)
    if surface:
        fibres = {n: replace(f, surface=f.surface + surface) for n, f in world.fibres.items()}
        world = replace(world, fibres=fibres)
    book = synth.simulate(cells, seed, replicates=replicates, cloth=world)
    truth = shares(synth.contributions(synth.uptake(cells, cloth=world), cloth=world), FORMS)
    return book.wide, book.spectra, truth


def of_dyehouse(cells, seed, rivalry, surface, replicates):
    many = cells.loc[cells.index.repeat(replicates)].reset_index(drop=True)
    made = dyehouse.dye(many, 1, seed, rivalry=rivalry, surface=surface, truth_draws=2)
    names = [f"S{i}" for i in range(len(many))]
    wide = many.assign(swatch=names, reading=names, form="cloth", ground="", series="")
    wide[table.LAB] = made.lab[0]
    wide = wide.assign(illuminant="D65", observer=10, exposure="none", modifier="none")
    spectra = pd.DataFrame(made.spectra[0], columns=[f"{w:g}" for w in dyehouse.BANDS])
    spectra.insert(0, "reading", names)
    parts = dyehouse.k_over_s(cells, dyehouse.doses(cells), rivalry)
    return wide, spectra, shares(parts, OTHER, (dyehouse.BANDS / 550.0) ** -0.6)


def checked(seed, replicates=3, world="synth", rivalry=0.0, surface=0.0, fibre="cotton"):
    rng = np.random.default_rng(seed)
    cells = recipes(rng, world, fibre)
    make = of_synth if world == "synth" else of_dyehouse
    wide, spectra, truth = make(cells, seed, rivalry, surface, replicates)
    hold = cells.iloc[0][["dye", "fibre", "tannin"]].to_dict()
    found = shift.separate(wide, "iron", hold=hold, spectra=spectra, draws=1000)
    rows = found.parts.assign(true=found.parts["part"].map(truth), seed=seed)
    width = rows["share_high"] - rows["share_low"]
    above = rows["share_low"] <= rows["true"]
    inside = above & (rows["true"] <= rows["share_high"])
    own = width.where(rows["part"] != "naive", width[rows["part"] == "dye"].iloc[0])
    bias = (rows["share"] - rows["true"]) / own
    return rows.assign(bias=bias, inside=inside, at_least=above, width=width)


def main(books=100, first=0):
    for fibre in ("cotton", "wool"):
        for rivalry, surface in ((0, 0), (0.25, 0), (0.5, 0), (0.8, 0), (0, 0.005), (0, 0.01)):
            for world in ("synth", "dyehouse"):
                more = {"world": world, "rivalry": rivalry, "surface": surface, "fibre": fibre}
                found = pd.concat([checked(seed, **more) for seed in range(first, first + books)])
                dye = found[found["part"] == "dye"]
                told = dye[["inside", "at_least", "bias", "width"]].mean().round(3).to_dict()
                print(fibre, f"rivalry {rivalry} surface {surface}", world, told, flush=True)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
