"""How the calibration's priors bear on the error: settings tried in turn on exact values.

Run: python tests/benchmarks/photo_priors.py [photos a row]

Camera values of patches and windows straight from spectra, with noise of 0.4 %, of cameras,
surfaces and cloths that the priors were not made of (tests/worlds/photos.py). Prints the median
and 95th percentile of ΔE00, dyed cloth and measured surfaces apart, for: the freedom left to
unseen cameras and the weight of the evidence of a light (`priors.FREEDOM`, `priors.TEMPER`), and
the weight of a real patch beside the cloths trained on (`fit.PATCH`).
"""

# ruff: noqa: E402
import itertools
import sys
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1])]
import photo_worlds
from photos import exact
from worlds import photos as world

from dyelab import calibrate, convert
from dyelab.calibrate import fit, priors
from dyelab.calibrate.reference import BANDS

REFERENCE = calibrate.reference()


def main(count=20):
    settings = itertools.chain(
        (("FREEDOM", priors, value) for value in (0.05, 0.12, 0.25)),
        (("TEMPER", priors, value) for value in (1.0, 4.0, 16.0)),
        (("PATCH", fit, value) for value in (1 / 90, 1 / 30, 1 / 10)),
    )
    for name, where, value in settings:
        used = getattr(where, name)
        setattr(where, name, value)
        found = {cloth: errors(cloth, count) for cloth in ("dyed", "real")}
        setattr(where, name, used)
        told = "  ".join(
            f"{cloth} {np.median(e):.2f} / {np.percentile(e, 95):.2f}" for cloth, e in found.items()
        )
        print(f"{name} {value:.3f}{' (in use)' if value == used else ''}: {told}", flush=True)


def errors(cloth, count):
    made = []
    for which in (0, 1):
        photo_worlds.held_out(which)
        made += [of_one(seed, cloth, which) for seed in range(which, count, 2)]
    return np.concatenate(made)


def of_one(seed, cloth, which):
    rng = np.random.default_rng(seed)
    lamp = photo_worlds.LIGHTS[seed % len(photo_worlds.LIGHTS)]
    pool = np.flatnonzero(world.fold(world.camera_groups(), which))
    camera, power, share = int(rng.choice(pool)), world.light(rng, lamp), rng.uniform(0.4, 1)
    spectra = world.cloths(rng, cloth, which)
    response = world.cameras()[camera] * power[:, None]
    mixed = (1 - share) * np.eye(3) + share * world.matrix(camera, power)
    response = response / response.sum(axis=0) @ mixed.T
    fine = np.array([np.interp(world.NM, BANDS, row) for row in REFERENCE.spectra])
    patches = fine @ response * np.exp(rng.normal(0, 0.004, (24, 3)))
    made = fit.fit_colour(np.maximum(patches, 1e-4), np.ones((24, 3)), exact(), REFERENCE)
    seen = spectra @ response
    whole = (seen > 0).all(axis=1)
    truth = convert.spectrum_to_lab(world.NM, spectra)
    return convert.dE00(truth, made.lab(np.maximum(seen, 1e-4)))[whole]


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
