"""Colours from many random rendered photos: mapping, errors, and whether the intervals hold.

Run: python tests/benchmarks/photo_colours.py [photos a light] [first seed] [small] [case...]

The photos have 12 to 24 megapixels, or, if small, 3. Prints, a light and a method: photos
refused and mapped wrong; ΔE00 median and 95th percentile, beside the same of the plain fit made on
noise-free values (its own limit); and the share of true colours, and of true differences within a
photo, inside the stated 95 % regions. `auto` is what somebody gets who chooses nothing; `white`
goes by the paper alone. Rows with `+ 12` were given instrument readings of twelve windows, chosen
as `measure.worth_reading` says or every other one; they count the other windows before and after,
and say how many photos' own 95th percentile rose: of all photos, of those of dyed cloth, and of
those (one in four) whose spectra are smooth steps that no two windows have in common. Cloth is
from worlds, and from spectra, that no training saw.
"""

# ruff: noqa: E402
import itertools
import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import chi2

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1])]
import photos
from worlds import random_books
from worlds.synth import render

from dyelab import calibrate, convert, measure, read, table
from dyelab.calibrate import fit
from dyelab.errors import InputError

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
    sizes = (3.0,) if "small" in cases else LARGE
    cases = [case for case in cases if case != "small"]
    for number, (case, (light, steeper)) in enumerate(CASES.items()):
        if cases and case not in cases:
            continue
        rows, wrong, refused = [], 0, 0
        for i in range(count):
            seed = first + 1000 * number + i
            picture, spectra = drawn(seed, light, steeper, sizes[i % len(sizes)])
            try:
                made = of_photo(picture, spectra)
            except InputError as error:
                refused += 1
                print("refused", seed, str(error)[:90], flush=True)
                continue
            wrong += not right(picture, made[0][1])
            dyed = seed % 4 != 0
            rows += [{"method": method, "dyed": dyed, **row} for method, _, row in made]
        print(f"\n{case}: {count} photos, {refused} refused, {wrong} mapped wrong")
        report(pd.DataFrame(rows))


def of_photo(picture, spectra):
    """Method, result and judgement of each way to measure a photo."""
    seen = read.photo(picture.jpeg(), name="a.jpg")
    limit = noise_free(picture, spectra)
    made = [(method, measure.photo(seen, REFERENCE, method=method)) for method in METHODS]
    made.append(("white", measure.photo(seen, None)))
    judgements = [
        (name, one, judged(picture, one) | {"limit": limit, "took": one.table["method"][0]})
        for name, one in made
    ]
    return judgements + with_own(picture, seen, dict(made))


def with_own(picture, seen, before):
    """The windows that no instrument read, when it read twelve others, and whether that hurt."""
    rows = []
    for which, method in itertools.product(("chosen", "any"), ("plain", "learned", "white")):
        was = before[method]
        read_by, rest = twelve(picture, was, which)
        add = pd.DataFrame(picture.truth[read_by], columns=table.LAB)
        add["sample"] = np.array(picture.card.places)[read_by]
        to = (None, "auto") if method == "white" else (REFERENCE, method)
        made = measure.photo(seen, to[0], method=to[1], add=add)
        was, now = (judged(picture, one, rest) for one in (was, made))
        worse = np.percentile(now["dE"], 95) / np.percentile(was["dE"], 95)
        row = now | {"limit": was["dE"], "worse": worse, "took": method}
        rows.append((f"{method} + 12 {which}", made, row))
    return rows


def twelve(picture, measured, which):
    """Windows read by instrument, and the others: every other one, or those worth reading most."""
    places = list(picture.card.places)
    chosen = list(range(0, len(places), 2))
    if which == "chosen":
        chosen = [places.index(p) for p in measure.worth_reading(measured.table)["a.jpg"]]
    return chosen, np.setdiff1d(np.arange(len(places)), chosen)


def drawn(seed, light, steeper, megapixels):
    spectra = photos.edges(seed) if seed % 4 == 0 else photos.cloth(seed)
    shot = random_books.random_shot(seed, megapixels=megapixels, light=light, steeper=steeper)
    return render.render(spectra, shot, seed=seed), spectra


def noise_free(picture, spectra):
    """ΔE00 of the plain fit on exact patch and swatch values."""
    patches = render.sees(REFERENCE.spectra, picture.shot)
    made = fit.fit_colour(patches, np.ones((24, 3)), photos.exact(), REFERENCE, method="plain")
    return convert.dE00(picture.truth, made.lab(render.sees(spectra, picture.shot)))


def right(picture, made):
    inner = np.array([w.inner(0.7).corners for w in picture.card.windows])
    true = calibrate.map_points(picture.to_pixels, inner)
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
    }


def distance(e, covariance):
    return np.einsum("nk,nkl,nl->n", e, np.linalg.inv(covariance), e)


def report(rows):
    kinds = {"": rows.index >= 0, "dyed": rows["dyed"], "steps": ~rows["dyed"]}
    for method in rows["method"].unique():
        for kind, chosen in kinds.items() if "+" in method else [("", kinds[""])]:
            line(f"{method} {kind}", rows[chosen & (rows["method"] == method)])


def line(method, part):
    if len(part):
        e, limit = (np.concatenate(part[name].to_list()) for name in ("dE", "limit"))
        inside, between, d2 = (
            np.concatenate(part[n].to_list()) for n in ("inside", "between", "d2")
        )
        beside = "before" if "+" in method else "plain limit"
        print(
            f"  {method:24} ΔE00 median {np.median(e):.2f} p95 {np.percentile(e, 95):.2f}"
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
