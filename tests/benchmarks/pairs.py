"""Pairs of photos before and after a washing test: do intervals of the change hold, how wide?

Run: python tests/benchmarks/pairs.py [pairs a program] [first seed] [derive] [witnesses] [others]

Half of each pair's 24 swatches are untouched, half changed by ΔE00 0 to 6; the cameras, cloths
and programs took no part in any fit (`worlds.photos`, its two halves as in photo_worlds.py). With
`derive` cloths, lamps and programs are those of `worlds.programs`, and cameras and surfaces of half
0, on which the constants of `dyelab.measure.together` were set. For each program: how many pairs
were taken as going together; the share of 95 % intervals that hold the true change, of untouched
and changed swatches apart; the share of untouched ones found changed; the median width, beside
that of the same photos each by itself. With `others` pairs that don't go together, and how many
were recognised.
"""

# ruff: noqa: E402
import sys
from pathlib import Path

import numpy as np
import pandas as pd

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parent)]
import photo_worlds
from worlds import pairs, programs

from dyelab import calibrate, convert, grade, measure
from dyelab.errors import InputError

NAMES = [f"W{i:02}" for i in range(1, 25)]


def readings(made, exposure):
    rows = made.table
    return rows.assign(
        reading=rows["photo"] + "/" + rows["place"], swatch=NAMES, source=rows["photo"],
        exposure=exposure, amount=5.0 if exposure == "wash" else np.nan,
        unit="cycle" if exposure == "wash" else "", part="swatch", area="whole", method="photo",
        taken_at="",
    )  # fmt: skip


def graded(first, second):
    frame = pd.concat([readings(first, "none"), readings(second, "wash")], ignore_index=True)
    shared = pd.concat([first.shared, second.shared], ignore_index=True)
    return grade.grades(grade.matched(frame), shared=shared).set_index("swatch").loc[NAMES]


def measured(pair, reference):
    return [
        measure.photo(photo, reference, pose=pose, target=target)
        for photo, pose, target in (pair.first, pair.second)
    ]


def taken(seed, kind, part, reference, differs="", witnesses=()):
    """Verdict of a pair, and for each swatch true change, then both intervals."""
    lamp = photo_worlds.LIGHTS[seed % len(photo_worlds.LIGHTS)]
    cloth = "dyed" if seed // 2 % 2 else "real"
    pair = pairs.pair(seed, kind, lamp, cloth, part, differs)
    try:
        first, second = measured(pair, reference)
    except InputError:
        return "refused", None
    kin = measure.kinship(first, second)
    if kin.verdict != "together" or differs:
        return kin.verdict, None
    before = measure.Earlier("first.jpg", readings(first, "none"), first.shared)
    names = dict(zip(second.table["place"], NAMES, strict=True))
    joined = measure.joined(before, kin, second, names, witnesses).measured
    told = [graded(first, made)[["dE00_low", "dE00_high"]] for made in (joined, second)]
    true = convert.dE00(pair.before, pair.after)
    return kin.verdict, np.column_stack([true, *told])


def report(kind, found):
    verdicts = pd.Series([verdict for verdict, _ in found]).value_counts().to_dict()
    true, low, high, low_apart, high_apart = np.concatenate(
        [rows for _, rows in found if rows is not None]
    ).T
    held = (low <= true + 1e-9) & (true <= high)
    same = true < 1e-6
    width, apart = np.median(high - low), np.median(high_apart - low_apart)
    big = true > 2
    return (
        f"{kind:6} {verdicts}  hold {held.mean():.1%} (untouched {held[same].mean():.1%}, changed "
        f"{held[~same].mean():.1%})  untouched found changed {(low[same] > 0).mean():.1%}  width "
        f"{width:.2f}, each photo by itself {apart:.2f}: {width / apart:.2f} of it  of changes "
        f"over 2, found {(low[big] > 0).mean():.1%}, by itself {(low_apart[big] > 0).mean():.1%}"
    )


def run(count, first, witnesses, others, parts=(0, 1)):
    reference = calibrate.reference()
    kinds = ("plain", "half", "whole")
    found = {kind: [] for kind in kinds}
    unlike = {what: [] for what in pairs.OTHERS}
    for part in parts:
        photo_worlds.held_out(part)
        for at in range(part % 2, count, 2):
            for kind in kinds:
                found[kind].append(taken(first + at, kind, part, reference, witnesses=witnesses))
            if others:
                for what, rows in unlike.items():
                    rows.append(taken(first + at, kinds[at % 3], part, reference, what)[0])
    for kind, rows in found.items():
        print(report(kind, rows), flush=True)
    for what, verdicts in unlike.items():
        if verdicts:
            told = pd.Series(verdicts).value_counts().to_dict()
            print(f"another {what}: {told} of {len(verdicts)}", flush=True)


if __name__ == "__main__":
    numbers = [int(a) for a in sys.argv[1:] if a.isdigit()]
    parts = (0, 1)
    if "derive" in sys.argv:
        programs.enter()
        parts = programs.PARTS
    count, first = (*numbers, *(8, 2000)[len(numbers) :])[:2]
    run(
        count, first, ("W01", "W13") if "witnesses" in sys.argv else (), "others" in sys.argv, parts
    )
