"""Cloth dyed twice, by two laws that know nothing of one another; all of it invented.

`of_synth` lays `worlds.synth` cloth over itself: the second dye finds the fibre partly filled
(`crowded`, 0 to 0.4 from world to world), and a dip of a vat gives less than the one before.
`of_dyehouse` uses `worlds.dyehouse`: the first dye keeps its sites (Butler and Ockrent 1930, from
memory), the second gets those left; a vat, being alkaline, takes a fifth to a tenth of what lies
under it away, and its dips fall off by a fixed ratio.

Recipes are tables with a row a cloth: `dye, dye_wof` lie under `over, over_wof`, ``none`` and 0
where there is but one dye; `dips` are those of the vat, wherever it lies.
"""

import numpy as np
import pandas as pd

from dyelab import convert, table
from worlds import dyehouse, synth
from worlds.synth.model import body_reflectance, of, with_surface

VAT = "indigo"
USUAL = {"madder": 50.0, "weld": 50.0, "cochineal": 5.0, "logwood": 20.0, "indigo": 4.0}
SURFACE = 0.005


def recipes(rng, n, dyes, twice=0.0):
    """Draw cloths; the share `twice` of them dyed twice, every dye also alone."""
    dye, over = rng.choice(dyes, n), rng.choice(dyes, n)
    over = np.where((rng.random(n) < twice) & (over != dye), over, "none")
    only_vat = (dye == VAT) & (over == "none")
    vat = (dye == VAT) | (over == VAT)
    strength = rng.choice([0.5, 0.75, 1.0, 1.5], (2, n))
    mordant = ~only_vat & (rng.random(n) < 0.8)
    iron = np.where(rng.random(n) < 0.3, rng.choice([0.5, 1, 2], n), 0.0)
    return pd.DataFrame(
        {
            "fibre": rng.choice(["wool", "cotton"], n),
            "mordant": np.where(mordant, "potash alum", "none"),
            "mordant_wof": np.where(mordant, rng.choice([8.0, 15.0], n), 0.0),
            "dye": dye,
            "dye_wof": np.array([USUAL[d] for d in dye]) * strength[0],
            "over": over,
            "over_wof": np.array([USUAL.get(d, 0.0) for d in over]) * strength[1],
            "dips": np.where(vat, rng.choice([1, 2, 3], n), 1),
            "iron_wof": iron,
            "copper_wof": 0.0,
            "tannin": "none",
            "tannin_wof": 0.0,
        }
    )


def lines(rows):
    """What was done as ``book.wide`` words it, and what its dye columns hold."""
    kinds = {VAT: "vat"}
    said = []
    for row in rows.itertuples():
        steps = []
        if row.mordant_wof > 0:
            steps.append(f'mordant[Al] "{row.mordant}" {row.mordant_wof:.9g} % WOF')
        for dye, dose in ((row.dye, row.dye_wof), (row.over, row.over_wof)):
            dips = f" x{row.dips}" if dye == VAT and row.dips > 1 else ""
            if dye != "none":
                steps.append(f'{kinds.get(dye, "dye")} "{dye}" {dose:.9g} % WOF{dips}')
        if row.iron_wof > 0:
            steps.append(f'modifier[Fe] "ferrous sulfate" {row.iron_wof:.9g} % WOF')
        said.append(" > ".join(steps))
    both = rows["over"] != "none"
    dye = rows["dye"].where(~both, rows["dye"] + " + " + rows["over"])
    return rows.assign(
        recipe=said, dye=dye, dye_wof=rows["dye_wof"] + rows["over_wof"],
        vat=dye.str.contains(VAT), rest=np.where(both | (rows["dips"] > 1), said, ""),
    ).drop(columns=["over", "over_wof", "dips"])  # fmt: skip


def wide(rows, lab):
    """Cloths and their colours as ``book.wide`` gives them."""
    codes = [f"S{i:03d}" for i in range(len(rows))]
    return lines(rows).assign(
        **{"form": "cloth", "ground": "", "modifier": "none", "series": "A"},
        **{"swatch": codes, "reading": codes, "exposure": "none"},
        **dict(zip(table.LAB, lab.T, strict=True)),
        **{"illuminant": "D65", "observer": 10},
    )


def asked(rows):
    """The same recipes as a model is asked for them."""
    dips = [f" x{n}" if n > 1 else "" for n in rows["dips"]]
    under, over = (np.where(rows[name] == VAT, dips, "") for name in ("dye", "over"))
    texts = [
        f"{row.dye}{a}" + (f" + {row.over} {row.over_wof:.9g}{b}" if row.over != "none" else "")
        for row, a, b in zip(rows.itertuples(), under, over, strict=True)
    ]
    return rows.assign(dye=texts).drop(columns=["over", "over_wof", "dips"])


def of_synth(rows, seed, sd=0.0, rng=None):
    """CIELAB (n, 3) of cloths by the own generator's law; `sd` of the log of each dose."""
    cloth, crowded = synth.varied(seed), np.random.default_rng(seed).uniform(0, 0.4)
    rows = _off(rows, sd, rng)
    falling = np.where(rows["dips"] > 1, rows["dips"] ** 0.8, 1.0)
    parts = []
    for dye, dose in (("dye", "dye_wof"), ("over", "over_wof")):
        dipped = np.where(rows[dye] == VAT, falling, 1.0)
        alone = rows.assign(dye=rows[dye], dye_wof=rows[dose] * dipped)
        parts.append(synth.contributions(synth.uptake(alone, cloth=cloth), cloth=cloth))
    amount = synth.uptake(rows, cloth=cloth).dye.sum(axis=1)
    left = 1 - crowded * amount / (amount + 0.5)
    under, over = parts
    ks = sum(under.values()) + left[:, None] * sum(
        over[name] for name in over if name.startswith("dye_")
    )
    surface = of(cloth.fibres, rows["fibre"], "surface")
    return convert.spectrum_to_lab(synth.WAVELENGTHS, with_surface(body_reflectance(ks), surface))


def of_dyehouse(rows, seed, sd=0.0, rng=None):
    """CIELAB (n, 3) of cloths by the dyehouse's law."""
    rows, lost = _off(rows, sd, rng), np.random.default_rng(seed).uniform(0.1, 0.2)
    falling = (1 - 0.8 ** rows["dips"]) / 0.2
    found = []
    for dye, dose in (("dye", "dye_wof"), ("over", "over_wof")):
        dipped = np.where(rows[dye] == VAT, falling, 1.0)
        there = rows[dye] != "none"
        alone = rows.assign(dye=rows[dye].where(there, "weld"), dye_wof=rows[dose] * dipped)
        found.append(dyehouse.k_over_s(alone, dyehouse.doses(alone)))
    rich = 1.6 * rows["dye_wof"] / np.array([USUAL[d] for d in rows["dye"]])
    free = (rows["mordant_wof"] == 0) | (rows["dye"] == VAT) | (rows["over"] == VAT)
    left = np.where(free, 1.0, 1 / (1 + 0.6 * rich))[:, None]
    kept = np.where(rows["over"] == VAT, 1 - lost, 1.0)[:, None]
    under, over = found
    twice = (rows["over"] != "none").to_numpy()[:, None]
    over = {name: np.where(twice, ks, 0.0) for name, ks in over.items()}
    ks = {**under, "dye": kept * under["dye"] + left * over["dye"],
          "dye_metal": kept * under["dye_metal"] + left * over["dye_metal"]}  # fmt: skip
    return dyehouse.lab_of(dyehouse.reflectance(ks, SURFACE))


def _off(rows, sd, rng):
    if not sd:
        return rows
    moved = {name: rows[name] * np.exp(rng.normal(0, sd, len(rows)))
             for name in rows if name.endswith("_wof")}  # fmt: skip
    return rows.assign(**moved)


WORLDS = {
    "synth": (of_synth, ["madder", "weld", "cochineal", "indigo"]),
    "dyehouse": (of_dyehouse, ["madder", "weld", "logwood", "indigo"]),
}
