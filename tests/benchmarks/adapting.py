"""What adapting CIELAB to another white gets wrong on dyed cloth, and whether regions hold it.

    python tests/benchmarks/adapting.py [COUNT]      measure, COUNT cloths a world
    python tests/benchmarks/adapting.py write        write the invented families anew

Each family learned from is judged by the other; worlds apart, of other laws, are judged by both.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))

from worlds import melange, random_books, synth

from dyelab import convert
from dyelab.calibrate.priors import dyed_cloths
from dyelab.convert import adaptation
from dyelab.convert.adaptation import SURFACES, surfaces

BANDS = np.arange(380.0, 731.0, 10.0)
EACH = 380
PAIRS = [(("D50", 2), ("D65", 10)), (("D65", 2), ("D65", 10)), (("D65", 10), ("D50", 2)),
         (("C", 2), ("D65", 10)), (("A", 10), ("D65", 10))]  # fmt: skip
HOLDS = 7.815  # chi-square with three degrees of freedom, 95 %
HEAD = """# Invented data: no cloth was measured. Any fibre dyed with any dye, by Kubelka and Munk.
# Reflectance factors; written by tests/benchmarks/adapting.py.
"""


def studio(count, seeds):
    parts = []
    for seed in seeds:
        recipes = random_books.random_recipes(count // len(seeds) + 1, np.random.default_rng(seed))
        parts.append(synth.reflectance(recipes, cloth=synth.varied(seed), wavelengths=BANDS))
    return np.concatenate(parts)[:count]


def write():
    table = pd.DataFrame(
        dyed_cloths(EACH, np.random.default_rng(41)), columns=[f"{b:.0f}" for b in BANDS]
    )
    table.insert(0, "family", "dyed")
    with open(SURFACES / "dyed.csv", "w", encoding="utf-8") as file:
        file.write(HEAD)
        table.to_csv(file, index=False, float_format="%.4f", lineterminator="\n")


def judged(spectra, old, new, without=""):
    """Squared misses over what was to be expected, and how far off (CAT16 alone, adapted)."""
    before, after = (
        convert.spectrum_to_lab(BANDS, spectra, illuminant=i, observer=o) for i, o in (old, new)
    )
    told, covariance = adaptation.adapt_cloth(before, old, new, without=without)
    off = after - told
    plain = after - convert.adapt_lab(before, convert.white(*old), convert.white(*new))
    far = [np.linalg.norm(x, axis=1) for x in (plain, off)]
    return np.einsum("nk,nkl,nl->n", off, np.linalg.inv(covariance), off), *far


def main(count):
    _, spectra, families = surfaces()
    worlds = {name: (spectra[families == name], name) for name in np.unique(families)}
    worlds["mixture yarns"] = melange.cloths(count, 5), ""
    worlds["studio"] = studio(count, range(300, 310)), ""
    for old, new in PAIRS:
        print(*old, "to", *new)
        for name, (cloth, without) in worlds.items():
            miss, plain, off = judged(cloth, old, new, without)
            print(
                f"  {name:14} {'left out' if without else 'apart':9}"
                f" holds {np.mean(miss < HOLDS):.3f}"
                f"  CAT16 {np.median(plain):.1f} ({np.quantile(plain, 0.95):.1f})"
                f"  adapted {np.median(off):.1f} ({np.quantile(off, 0.95):.1f})"
            )


if __name__ == "__main__":
    if sys.argv[1:] == ["write"]:
        write()
    else:
        main(int(sys.argv[1]) if sys.argv[1:] else 400)
