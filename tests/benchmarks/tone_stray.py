"""How far cloth that only loses dye strays from the path of plain fading worked out for it.

``python tests/benchmarks/tone_stray.py``: of our own generator and the dyehouse, the largest
straying as a share of the whole change, by spectrum and by three bands; what `grade.tone` allows
(`STRAY`) stands beside it.
"""

import sys
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
import pandas as pd
from worlds import dyehouse, synth
from worlds.synth import model
from worlds.synth.materials import CLOTH

from dyelab import convert, grade, table
from dyelab.grade.tone import STRAY

LEFT = (0.9, 0.6, 0.3)  # of the dye
DEPTHS = (0.3, 1.0, 3.0)  # times the usual dose


def recipes(dyes, fibres):
    """Every dye on every fibre, with alum, pale, usual and deep."""
    every = [(fibre, *dye, times) for fibre in fibres for dye in dyes.items() for times in DEPTHS]
    rows = [{"fibre": f, "dye": d, "dye_wof": times * wof} for f, d, wof, times in every]
    return pd.DataFrame(rows).assign(mordant="potash alum", mordant_wof=15.0)


def ours():
    """Wavelengths, spectra before, after each loss, and the bare cloth's."""
    made = recipes({n: 30.0 for n in CLOTH.dyes if n != "none"}, ("wool", "cotton"))
    held = model.uptake(made)
    after = [model.seen(replace(held, dye=held.dye * left)) for left in LEFT]
    bare = synth.reflectance(made[["fibre"]])
    return synth.WAVELENGTHS, model.seen(held), after, bare


def theirs():
    """The same of the dyehouse."""
    made = recipes(dyehouse.USUAL.drop("none").to_dict(), ("wool", "cotton"))
    parts = dyehouse.k_over_s(made, dyehouse.doses(made))
    after = [dyehouse.reflectance({**parts, "dye": left * parts["dye"]}) for left in LEFT]
    bare = dyehouse.reflectance({"fibre": parts["fibre"]})
    return dyehouse.BANDS, dyehouse.reflectance(parts), after, bare


def frame(waves, spectra):
    lab = convert.spectrum_to_lab(waves, spectra)
    names = [f"R{i}" for i in range(len(lab))]
    told = {"illuminant": "D65", "observer": 10, "reading": names}
    return pd.DataFrame(lab, columns=table.LAB).assign(**told)


def strays(waves, before, after, bare, spectral, told):
    """Straying over the whole change of each visible loss; `told` is whether the cloth is known."""
    first = frame(waves, before)
    ground = convert.spectrum_to_lab(waves, bare) if told else [None] * len(before)
    spectra = pd.DataFrame(before, columns=[f"{w:g}" for w in waves]).assign(
        reading=first["reading"]
    )
    found = []
    for later in (frame(waves, one) for one in after):
        whole = convert.dE00(first[table.LAB].to_numpy(), later[table.LAB].to_numpy())
        for i in np.flatnonzero(whole >= 1):
            seen = grade.tone(
                first.iloc[[i]], later.iloc[[i]], bare=ground[i],
                spectra=spectra if spectral else None,
            )  # fmt: skip
            found.append(float(seen["off"].iloc[0]) / whole[i])
    return np.array(found)


def main():
    for name, world in (("synth", ours()), ("dyehouse", theirs())):
        for (kind, told), allowed in STRAY.items():
            found = strays(*world, kind == "spectrum", told)
            most, usual = found.max(), np.quantile(found, 0.9)
            cloth = "bare cloth known" if told else "unknown"
            print(f"{name} {kind}, {cloth}: {len(found)} losses, 90 % under {usual:.2f}, "
                  f"at most {most:.2f}; allowed {allowed:.2f}")  # fmt: skip


if __name__ == "__main__":
    main()
