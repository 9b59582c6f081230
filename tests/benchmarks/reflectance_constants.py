"""Constants about reflectance, derived from measured surfaces; no photos are made.

Run: python tests/benchmarks/reflectance_constants.py [groups of 24 surfaces]

Prints

- `calibrate.reference.SMOOTH_NM` and `DARK`: a target whose owner gives CIELAB alone gets the
  spectra nearest to the published average. Here 24 surfaces play the target and their likest
  neighbours the average; the root mean square of what is then wrong of log R, for half and double;
- `read.values.FACTORS` and `BRIGHT`: largest reflectance, per cent, of the darkest and of a
  typical surface or dyed cloth: a row below the first in a file above the second is in factors;
- `read.values.LEAST, MOST`: the smallest and largest factors that occur.
"""

import sys
from importlib import import_module
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from dyelab import convert
from dyelab.convert.adaptation import surfaces
from dyelab.read import values as reflectance

reference = import_module("dyelab.calibrate.reference")  # a function has its name too
WHITE = ("D50", 2)


def main(groups=7):
    bands, spectra, families = surfaces()
    real = spectra[families == "measured"][:, np.isin(bands, reference.BANDS)]
    logs = np.log(np.maximum(real, 1e-3))
    apart = np.linalg.norm(logs[:, None] - logs, axis=-1) + np.diag(np.full(len(real), np.inf))
    likest = apart.argmin(axis=1)
    order = np.random.default_rng(0).permutation(len(real))[: 24 * groups].reshape(-1, 24)
    for name in ("SMOOTH_NM", "DARK"):
        used = getattr(reference, name)
        for value in (used / 2, used, used * 2):
            setattr(reference, name, value)
            off = np.concatenate([wrong(real[own], real[likest[own]]) for own in order])
            told = f"{np.sqrt(np.mean(off**2)):.4f} of log R, median {np.median(np.abs(off)):.4f}"
            print(f"{name} {value:g}{' (in use)' * (value == used)}: {told}")
        setattr(reference, name, used)
    plain = np.concatenate([wrong(real[own], real[likest[own]], 0) for own in order])
    print(f"neighbours as they are: {np.sqrt(np.mean(plain**2)):.4f}")
    tops = 100 * spectra.max(axis=1)
    print(
        f"FACTORS {reflectance.FACTORS}, BRIGHT {reflectance.BRIGHT}: darkest {tops.min():.1f}"
        f", typical {np.median(tops):.0f} per cent; {np.mean(tops < reflectance.FACTORS):.1%} "
        f"and {np.mean(tops < reflectance.BRIGHT):.0%} below"
    )
    least, most = spectra.min(), spectra.max()
    print(f"LEAST {reflectance.LEAST}, MOST {reflectance.MOST}: {least:.3f} to {most:.3f} occur")


def wrong(true, average, asked=1):
    """What is wrong of log R where these spectra are sought from their neighbours."""
    kept, reference.average = reference.average, lambda: average
    lab = convert.spectrum_to_lab(reference.BANDS, true, *WHITE)
    found = reference.nearest_spectra(lab, WHITE) if asked else average
    reference.average = kept
    return np.log(np.maximum(found, 1e-3) / np.maximum(true, 1e-3)).ravel()


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
