"""Target values by edition, by a D50/2° file and by own readings; copied targets; frames alike.

Run: python tests/benchmarks/photo_targets.py [photos] [first seed]

Photos are those of tests/worlds/photos.py, plain and after half a program, of a target that has an
edition's colours but other spectra than the published average's. Prints by how much colours move
(ΔE00, 95th percentile, largest and how many photos stay within 0.3) when the values are given by
the edition's name or a file under D50/2° in place of the exact spectra; how many copied targets
are refused or flagged, of targets as far off as a printer's; how many true targets are flagged; and
how far colours of two frames with other noise are apart.
"""

# ruff: noqa: E402
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

sys.path[:0] = [str(Path(__file__).parents[1])]
from test_photo_worlds import AVERAGE, lab, measured
from worlds import photos as world

from dyelab import calibrate, convert, table
from dyelab.calibrate.reference import BANDS
from dyelab.errors import InputError

KINDS = ("plain", "half")
NAMES = [f"{'ABCD'[i // 6]}{i % 6 + 1}" for i in range(24)]


def photos(count, first, **how):
    for seed in range(first, first + count):
        cloth = ("dyed", "natural", "real")[seed % 3]
        yield world.take(seed, KINDS[seed % 2], cloth, world.KINDS[seed % 4], **how)


def references(folder):
    """Spectra of an edition's colours, and its values by own readings, by name, by a file."""
    edition = convert.target_lab("newer", illuminant="D50", observer=2)
    spectra = world.spectra_of_colours(edition[table.LAB].to_numpy(), ("D50", 2))
    own = pd.DataFrame(spectra, columns=[str(int(b)) for b in BANDS])
    own.insert(0, "sample", NAMES)
    own.to_csv(folder / "own.csv", index=False)
    edition.drop(columns="flags").assign(sample=NAMES).to_csv(folder / "d50.csv", index=False)
    given = {"own": folder / "own.csv", "edition": "newer", "D50/2° file": folder / "d50.csv"}
    return spectra, {name: calibrate.reference(source) for name, source in given.items()}


def by_edition(count, first):
    with tempfile.TemporaryDirectory() as folder:
        spectra, given = references(Path(folder))
    moved = {name: [] for name in given if name != "own"}
    for taken in photos(count, first, target=spectra):
        exact = lab(measured(taken, given["own"]))
        for name, found in moved.items():
            found.append(convert.dE00(exact, lab(measured(taken, given[name]))))
    for name, found in moved.items():
        within = np.mean([f.max() < 0.3 for f in found])
        print(
            f"{name}: moved {np.percentile(found, 95):.2f}, at most {np.max(found):.2f}, "
            f"all within 0.3 in {within:.0%} of {count} photos", flush=True,
        )  # fmt: skip


def said(taken):
    try:
        return "flagged" if measured(taken).table["flags"].str.contains("target_poor").all() else ""
    except InputError:
        return "refused"


def copies(count, first):
    for strength in (0.0, 0.15, 0.25):
        turned = 0.8 + strength * np.sin(np.arange(24) * 2.4) if strength else 1.0
        spectra = AVERAGE.spectra ** (turned * np.ones(24))[:, None]
        off = np.median(convert.dE00(AVERAGE.lab, convert.spectrum_to_lab(BANDS, spectra)))
        told = pd.Series([said(taken) for taken in photos(count, first, target=spectra)])
        print(f"target {off:.1f} off: {told.replace('', 'silent').value_counts().to_dict()}")


def frames(count, first):
    apart = []
    for i, taken in enumerate(photos(count, first)):
        noise = np.round(np.random.default_rng(i).normal(0, 0.4, taken.photo.pixels.shape))
        pixels = np.clip(taken.photo.pixels + noise, 0, 255).astype(np.uint8)
        again = replace(taken, photo=replace(taken.photo, pixels=pixels))
        try:
            apart.append(convert.dE00(lab(measured(taken)), lab(measured(again))).max())
        except InputError:
            continue
    apart = np.array(apart)
    print(f"two frames: at most {apart.max():.2f} apart, within 0.3 in {np.mean(apart < 0.3):.0%}")


if __name__ == "__main__":
    numbers = [int(a) for a in sys.argv[1:]] + [40, 0][len(sys.argv) - 1 :]
    for part in (by_edition, copies, frames):
        part(*numbers)
