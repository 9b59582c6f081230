"""The split of iron's effect against invented worlds whose true parts are known.

``python tests/benchmarks/separation_truth.py [books]``. Bias is the mean, over books, of
(found - true) / width of the stated interval; the naive answer puts all of it down to the dye.
"""

import sys

import numpy as np
import pandas as pd

from dyelab import shift, synth

DYE_FORMS = ["dye_free", "dye_alum", "dye_iron", "dye_copper"]
TANNIN_FORMS = ["tannin", "tannin_iron", "tannin_copper"]
FIBRE_FORMS = ["fibre", "fibre_iron", "fibre_copper"]


def recipes(rng):
    """Six cloths of a random dye, tannin and doses, all on cotton with aluminium acetate."""
    dye, wof = [("madder", 50.0), ("weld", 50.0), ("cochineal", 6.0)][rng.integers(3)]
    tannin = ["gallnut", "pomegranate rind"][rng.integers(2)]
    dose = float(rng.choice([1.0, 2.0, 4.0]))
    rows = []
    for dyed, tanned in ((1, 1), (0, 1), (0, 0)):
        for iron in (dose, 0.0):
            row = {"dye": dye if dyed else "none", "dye_wof": wof * dyed, "iron_wof": iron}
            row |= {"tannin": tannin if tanned else "none", "tannin_wof": 8.0 * tanned}
            rows.append(row)
    fixed = {"fibre": "cotton", "mordant": "aluminium acetate", "mordant_wof": 8.0}
    return pd.DataFrame(rows).assign(copper_wof=0.0, **fixed)


def true_parts(cells, world):
    """Change of K/S, visible sum, that iron causes on dye, tannin and fibre."""
    parts = synth.contributions(synth.uptake(cells, cloth=world), cloth=world)

    def change(forms):
        sums = sum(parts[form] for form in forms).sum(axis=1)
        return sums[0] - sums[1]

    return {
        "dye": change(DYE_FORMS),
        "tannin": change(TANNIN_FORMS),
        "fibre": change(FIBRE_FORMS),
        "naive": change(DYE_FORMS),
    }


def checked(seed, replicates=3):
    rng = np.random.default_rng(seed)
    world, cells = synth.varied(seed), recipes(rng)
    book = synth.simulate(cells, seed, replicates=replicates, cloth=world)
    hold = cells.iloc[0][["dye", "fibre", "tannin"]].to_dict()
    found = shift.separate(book.wide, "iron", hold=hold, spectra=book.spectra, draws=1000)
    truth = true_parts(cells, world)
    rows = found.parts.assign(true=found.parts["part"].map(truth), seed=seed)
    width = rows["ks_high"] - rows["ks_low"]
    inside = (rows["ks_low"] <= rows["true"]) & (rows["true"] <= rows["ks_high"])
    return rows.assign(bias=(rows["ks"] - rows["true"]) / width, inside=inside)


def main(books=200):
    found = pd.concat([checked(seed) for seed in range(books)], ignore_index=True)
    shown = found.groupby("part", sort=False).agg(
        bias=("bias", "mean"), spread=("bias", "std"), inside=("inside", "mean")
    )
    print(shown.round(3).to_string())


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
