"""Colours from many random rendered photos: mapping, errors, and whether the intervals hold.

Run: python tests/benchmarks/photo_colours.py [photos a light] [first seed] [case...]

Every tenth photo has 12 to 24 megapixels, the others 3. Prints, a light and a method: photos
refused and mapped wrong; ΔE00 median and 95th percentile, beside the same of the plain fit made on
noise-free values (its own limit); and the share of true colours, and of true differences within a
photo, inside the stated 95 % regions. `auto` is what somebody gets who chooses nothing; `white`
goes by the paper alone. Rows that end in `+ 12` were given instrument readings of every other
window; they count the windows between, of the photos of 3 megapixels, and say how many photos'
own 95th percentile rose. Cloth is from worlds, and from spectra, that no training saw.
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

CASES = {
    "D65": ("D65", 0.0),
    "LED-B3": ("LED-B3", 0.0),
    "FL11": ("FL11", 0.0),
    "A": ("A", 0.0),
    "steep": ("D65", 0.6),
}
METHODS = ("plain", "learned", "auto")
LARGE = (12.0, 16.0, 20.0, 24.0)
REFERENCE = calibrate.reference()
REGION = chi2.ppf(0.95, 3)


def main(count=40, first=300_000, *cases):
    for number, (case, (light, steeper)) in enumerate(CASES.items()):
        if cases and case not in cases:
            continue
        rows, wrong, refused = [], 0, 0
        for i in range(count):
            megapixels = LARGE[i // 10 % 4] if i % 10 == 0 else 3.0
            seed = first + 1000 * number + i
            picture, spectra = drawn(seed, light, steeper, megapixels)
            try:
                made = of_photo(picture, spectra, own=megapixels == 3.0)
            except InputError as error:
                refused += 1
                print("refused", seed, str(error)[:90], flush=True)
                continue
            wrong += not right(picture, made[0][1])
            rows += [{"method": method, **row} for method, _, row in made]
        print(f"\n{case}: {count} photos, {refused} refused, {wrong} mapped wrong")
        report(pd.DataFrame(rows))


def of_photo(picture, spectra, own):
    """Method, result and judgement of each way to measure a photo."""
    seen = read.photo(picture.jpeg(), name="a.jpg")
    limit = noise_free(picture, spectra)
    made = [(method, measure.photo(seen, REFERENCE, method=method)) for method in METHODS]
    made.append(("white", measure.photo(seen, None)))
    judgements = [
        (name, one, judged(picture, one) | {"limit": limit, "took": one.table["method"][0]})
        for name, one in made
    ]
    return judgements + (with_own(picture, seen, dict(made)) if own else [])


def with_own(picture, seen, before):
    """The windows between twelve that an instrument measured, and whether they are worse for it."""
    odd, add = slice(1, None, 2), pd.DataFrame(picture.truth[::2], columns=table.LAB)
    add["sample"] = picture.card.places[::2]
    rows = []
    for method in ("plain", "learned"):
        made = measure.photo(seen, REFERENCE, method=method, add=add)
        was, now = (judged(picture, one, odd) for one in (before[method], made))
        worse = np.percentile(now["dE"], 95) / np.percentile(was["dE"], 95)
        row = now | {"limit": was["dE"], "worse": worse, "took": method}
        rows.append((f"{method} + 12", made, row))
    return rows


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


def judged(picture, made, kept=slice(None)):
    lab, truth = made.table[table.LAB].to_numpy(), picture.truth[kept]
    common = made.shared[made.shared["scope"] == "photo"]
    factors = common[table.LAB].to_numpy().reshape(len(lab), -1, 3)[kept]
    lab, own = lab[kept], table.covariances(made.table)[kept]
    e = lab - truth
    i, j = np.triu_indices(len(lab), 1)
    both = np.einsum("nfk,nfl->nkl", factors[i], factors[j])
    between = own[i] + own[j] - both - np.swapaxes(both, 1, 2)
    return {
        "worse": np.nan,
        "dE": convert.dE00(truth, lab),
        "inside": distance(e, own) < REGION,
        "between": distance(e[i] - e[j], between) < REGION,
        "d2": distance(e, own),
        "scale": made.setup.calibration.errors.scale,
    }


def distance(e, covariance):
    return np.einsum("nk,nkl,nl->n", e, np.linalg.inv(covariance), e)


def report(rows):
    for method, part in rows.groupby("method", sort=False):
        e, limit = (np.concatenate(part[name].to_list()) for name in ("dE", "limit"))
        inside, between, d2 = (
            np.concatenate(part[n].to_list()) for n in ("inside", "between", "d2")
        )
        beside = "before" if method.endswith("12") else "plain limit"
        print(
            f"  {method:12} ΔE00 median {np.median(e):.2f} p95 {np.percentile(e, 95):.2f}"
            f"   {beside} {np.median(limit):.2f} {np.percentile(limit, 95):.2f}"
            f"   inside 95 %: single {inside.mean():.1%}, differences {between.mean():.1%}"
            f"   (median d² {np.median(d2):.2f}, ideal 2.37)"
            f"   {note(part)}",
            flush=True,
        )


def note(part):
    if part["worse"].notna().any():
        return f"p95 rose in {(part['worse'] > 1).sum()} of {len(part)} photos"
    return f"learned in {(part['took'] == 'learned').sum()} of {len(part)} photos"


def told(argument):
    return int(argument) if argument.isdigit() else argument


if __name__ == "__main__":
    main(*map(told, sys.argv[1:]))
