"""Colours from many random rendered photos: mapping, errors, and whether the intervals hold.

Run: python tests/benchmarks/photo_colours.py [photos a light] [megapixels]

Prints, a light and a method: photos mapped right; ΔE00 median and 95th percentile, beside the same
of the plain fit made on noise-free values (its own limit); and the share of true colours, and of
true differences within a photo, inside the stated 95 % regions. Cloth is from worlds, and from
spectra, that no training saw.
"""

# ruff: noqa: E402
import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import chi2

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1])]
import photos

from dyelab import calibrate, convert, measure, read, table
from dyelab.calibrate import fitting
from dyelab.calibrate.tonefit import exact
from dyelab.errors import InputError
from dyelab.synth import photo

CASES = [("D65", 0.0), ("LED-B3", 0.0), ("FL11", 0.0), ("A", 0.0), ("D65", 0.6)]
REFERENCE = calibrate.reference()
REGION = chi2.ppf(0.95, 3)


def main(count=40, megapixels=3.0):
    for light, steeper in CASES:
        rows, wrong, refused = [], 0, 0
        for i in range(count):
            seed = 1000 + 7 * i
            picture, spectra = drawn(seed, light, steeper, megapixels)
            seen = read.photo(picture.jpeg(), name=f"{seed}.jpg")
            limit = noise_free(picture, spectra)
            for method in ("plain", "learned"):
                try:
                    made = measure.photo(seen, REFERENCE, method=method)
                except InputError as error:
                    refused += method == "plain"
                    print("refused", seed, str(error)[:90], flush=True)
                    continue
                wrong += method == "plain" and not right(picture, made)
                rows.append({"method": method, "limit": limit, **judged(picture, made)})
        print(f"\n{light}, tone steeper by {steeper}: {count} photos of {megapixels} MP, "
              f"{refused} refused, {wrong} mapped wrong")  # fmt: skip
        report(pd.DataFrame(rows))


def drawn(seed, light, steeper, megapixels):
    spectra = photos.edges(seed) if seed % 4 == 0 else photos.cloth(seed)
    shot = photo.random_shot(seed, megapixels=megapixels, light=light, steeper=steeper)
    return photo.render(spectra, shot, seed=seed), spectra


def noise_free(picture, spectra):
    """ΔE00 of the plain fit on exact patch and swatch values."""
    patches = photo.sees(REFERENCE.spectra, picture.shot)
    seen = fitting.patches_seen(patches, np.ones(24), REFERENCE)
    made = fitting.calibrated(seen, exact(), REFERENCE, method="plain")
    return convert.dE00(picture.truth, made.lab(photo.sees(spectra, picture.shot)))


def right(picture, made):
    inner = np.array([w.inner(0.7).corners for w in picture.card.windows])
    true = calibrate.through(picture.to_pixels, inner)
    size = np.linalg.norm(true[:, 1] - true[:, 0], axis=1).min()
    return bool(np.abs(true - made.quads).max() < 0.05 * size)


def judged(picture, made):
    lab = made.table[table.LAB].to_numpy()
    own = table.covariances(made.table)
    e = lab - picture.truth
    common = made.shared[made.shared["scope"] == "photo"]
    factors = common[table.LAB].to_numpy().reshape(len(lab), -1, 3)
    i, j = np.triu_indices(len(lab), 1)
    both = np.einsum("nfk,nfl->nkl", factors[i], factors[j])
    between = own[i] + own[j] - both - np.swapaxes(both, 1, 2)
    return {
        "dE": convert.dE00(picture.truth, lab),
        "inside": distance(e, own) < REGION,
        "between": distance(e[i] - e[j], between) < REGION,
        "d2": distance(e, own),
        "scale": made.setup.calibration.errors.scale,
    }


def distance(e, covariance):
    return np.einsum("nk,nkl,nl->n", e, np.linalg.inv(covariance), e)


def report(rows):
    for method, part in rows.groupby("method"):
        e, limit = (np.concatenate(part[name].to_list()) for name in ("dE", "limit"))
        inside, between, d2 = (
            np.concatenate(part[n].to_list()) for n in ("inside", "between", "d2")
        )
        print(
            f"  {method:8} ΔE00 median {np.median(e):.2f} p95 {np.percentile(e, 95):.2f}"
            f"   plain limit {np.median(limit):.2f} {np.percentile(limit, 95):.2f}"
            f"   inside 95 %: single {inside.mean():.1%}, differences {between.mean():.1%}"
            f"   (median d² {np.median(d2):.2f}, ideal 2.37; scale "
            f"{part['scale'].min():.2f} to {part['scale'].max():.2f})",
            flush=True,
        )


if __name__ == "__main__":
    main(*(kind(a) for kind, a in zip((int, float), sys.argv[1:], strict=False)))
