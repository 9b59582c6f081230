"""Ten thousand 31-band spectra to CIELAB, beside one plain matrix product on the same numbers.

Run: python tests/benchmarks/spectra_to_lab.py
"""

import sys
from pathlib import Path
from timeit import repeat

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
from dyelab import convert

COUNT, BANDS = 10_000, np.arange(400, 701, 10)


def best(work):
    """Best of twenty runs, in ms."""
    work()
    return min(repeat(work, number=1, repeat=20)) * 1000


def main():
    random = np.random.default_rng(1)
    spectra = random.uniform(0.02, 0.9, (COUNT, len(BANDS)))
    weights = random.uniform(0, 1, (len(BANDS), 3))
    lab = convert.spectrum_to_lab(BANDS, spectra)
    near = lab + random.normal(0, 2, lab.shape)
    rows = {
        "a plain product (n, 31) @ (31, 3)": lambda: spectra @ weights,
        "the same and a cube root of the result": lambda: np.cbrt(spectra @ weights),
        "convert.spectrum_to_lab": lambda: convert.spectrum_to_lab(BANDS, spectra),
        "convert.dE00": lambda: convert.dE00(lab, near),
        "convert.dECMC": lambda: convert.dECMC(lab, near),
        "convert.screen": lambda: convert.screen(lab),
    }
    print(f"{COUNT} spectra of {len(BANDS)} bands, best of 20 runs")
    for name, work in rows.items():
        print(f"  {name:42} {best(work):8.2f} ms")


if __name__ == "__main__":
    main()
