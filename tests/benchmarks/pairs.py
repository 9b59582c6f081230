"""Pairs of photos before and after a washing test: do intervals of the change hold, how wide?

Run: python tests/benchmarks/pairs.py [pairs a program] [first seed] [derive] [others] [cards]
     [witnesses] [vary]

Half of each pair's 24 swatches are untouched, half changed by ΔE00 0 to 6; the cameras, cloths
and programs took no part in any fit (`worlds.photos`, its two halves as in photo_worlds.py). With
`derive` cloths, lamps and programs are those of `worlds.programs`, and cameras and surfaces of half
0, on which the constants of `dyelab.measure.together` were set. For each program: how many pairs
were taken as going together; the share of 95 % intervals that hold the true change, of untouched
and changed swatches apart; the share of untouched ones found changed; the median width, beside
that of the same photos each by itself. With `others` pairs that don't go together, and how many
were recognised. With `witnesses` two untouched swatches are heard; how far off the others'
changes are without and with what those say is printed either way. With `cards` pairs of two cards
of one series: differences between a swatch of one and a swatch of the other, all of them and those
of colours alike, beside the same within a card. With `vary` half and double of each constant: of
those that tell photos apart, how many pairs of either kind are told rightly.
"""

# ruff: noqa: E402
import sys
from pathlib import Path

import numpy as np
import pandas as pd

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parent)]
import photo_worlds
from worlds import pairs, programs

from dyelab import calibrate, convert, grade, measure, table
from dyelab.errors import InputError
from dyelab.measure import together

NAMES = [f"W{i:02}" for i in range(1, 25)]
KINDS = ("plain", "half", "whole")
CONSTANTS = ("SCATTER", "LIGHT", "REFITTED", "NOISE", "GAIN", "CHANGED")
TELLING = ("MOST_APART", "LIGHTNESS")  # whether photos go together
ALIKE = 10  # CIELAB units


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
    return grade.grades(grade.pair(frame), shared=shared).set_index("swatch").loc[NAMES]


def measured(pair, reference):
    return [
        measure.photo(photo, reference, pose=pose, target=target)
        for photo, pose, target in (pair.first, pair.second)
    ]


def taken(seed, kind, part, reference, differs="", heard=False):
    """Verdict of a pair, and for each swatch true change, then both intervals."""
    pair = drawn(seed, kind, part, differs)
    try:
        first, second = measured(pair, reference)
    except InputError:
        return "refused", None
    if differs:
        return measure.kinship(first, second).verdict, None
    return compared(pair, first, second, heard)


def compared(pair, first, second, heard=False):
    kin = measure.kinship(first, second)
    if kin.verdict != "together":
        return kin.verdict, None
    true = convert.dE00(pair.before, pair.after)
    two = tuple(np.array(NAMES)[true < 1e-6][:2])
    made = linked(first, second, kin, two if heard else ())
    told = [graded(first, one)[["dE00_low", "dE00_high"]] for one in (made.measured, second)]
    return kin.verdict, np.column_stack([true, *told, *off(pair, first, second, kin, two)])


def drawn(seed, kind, part, differs="", **how):
    lamp = photo_worlds.LIGHTS[seed % len(photo_worlds.LIGHTS)]
    cloth = "dyed" if seed // 2 % 2 else "real"
    return pairs.pair(seed, kind, lamp, cloth, part, differs, **how)


def linked(first, second, kin, witnesses=(), names=NAMES):
    before = measure.Earlier("first.jpg", readings(first, "none"), first.shared)
    return measure.join(
        before, kin, second, dict(zip(second.table["place"], names, strict=True)), witnesses
    )


def off(pair, first, second, kin, witnesses):
    """How far off each change is, CIELAB squared, without and with witnesses; not their own."""
    other = ~np.isin(NAMES, witnesses)
    for heard in ((), witnesses):
        after = linked(first, second, kin, heard).measured.table[table.LAB].to_numpy()
        change = after - first.table[table.LAB].to_numpy()
        yield np.where(other, ((change - (pair.after - pair.before)) ** 2).sum(axis=1), np.nan)


def across(seed, kind, part, reference):
    """Differences between two cards, and within the first: inside, stated variance, by itself."""
    pair = drawn(seed, kind, part, cards=True)
    try:
        first, second = measured(pair, reference)
    except InputError:
        return None
    kin = measure.kinship(first, second)
    if kin.verdict != "together":
        return None
    made = linked(first, second, kin, names=[f"W{i}" for i in range(25, 49)]).measured
    one, two = error(first, pair.before), error(made, pair.after)
    every = np.indices((24, 24)).reshape(2, -1)
    return differences(one, two, *every), differences(one, one, *np.triu_indices(24, 1))


def error(made, truth):
    rows = made.shared[made.shared["scope"] == "photo"]
    factors = np.zeros((24, 1 + rows["factor"].max(), 3))
    at = pd.Series(np.arange(24), index=made.table["photo"] + "/" + made.table["place"])
    factors[at.loc[rows["reading"]].to_numpy(), rows["factor"]] = rows[table.LAB]
    lab = made.table[table.LAB].to_numpy()
    return lab - truth, table.covariances(made.table), factors, truth


def differences(one, two, i, j):
    (e, own, factors, lab), (e2, own2, factors2, lab2) = one, two
    size = min(factors.shape[1], factors2.shape[1])
    both = np.einsum("nfk,nfl->nkl", factors[i, :size], factors2[j, :size])
    alone = own[i] + own2[j]
    stated = alone - both - np.swapaxes(both, 1, 2)
    inside = photo_worlds.distance(e[i] - e2[j], stated) < photo_worlds.REGION
    sizes = [np.sqrt(np.trace(v, axis1=1, axis2=2)) for v in (stated, alone)]
    return np.column_stack([inside, np.linalg.norm(lab[i] - lab2[j], axis=1) < ALIKE, *sizes])


def report_cards(kind, found):
    good = [both for both in found if both is not None]
    told = []
    for name, at in (("between cards", 0), ("within one", 1)):
        inside, alike, stated, alone = np.concatenate([both[at] for both in good]).T
        near = alike > 0
        told.append(
            f"{name} {inside.mean():.1%} in their regions, of {near.sum()} alike "
            f"{inside[near].mean():.1%}, uncertainty {np.median(stated[near]):.2f}, by themselves "
            f"{np.median(alone[near]):.2f}"
        )
    return f"{kind:6} {len(good)} of {len(found)} pairs together: " + "; ".join(told)


def report(kind, found):
    verdicts = pd.Series([verdict for verdict, _ in found]).value_counts().to_dict()
    true, low, high, low_apart, high_apart, bare, heard = np.concatenate(
        [rows for _, rows in found if rows is not None]
    ).T
    held = (low <= true + 1e-9) & (true <= high)
    same = true < 1e-6
    width, apart = np.median(high - low), np.median(high_apart - low_apart)
    big = true > 2
    gain = np.sqrt([np.nanmean(bare), np.nanmean(heard)])
    return (
        f"{kind:6} {verdicts}  hold {held.mean():.1%} (untouched {held[same].mean():.1%}, changed "
        f"{held[~same].mean():.1%})  untouched found changed {(low[same] > 0).mean():.1%}  width "
        f"{width:.2f}, each photo by itself {apart:.2f}: {width / apart:.2f} of it  of changes "
        f"over 2, found {(low[big] > 0).mean():.1%}, by itself {(low_apart[big] > 0).mean():.1%}  "
        f"off {gain[0]:.3f}, witnesses heard {gain[1]:.3f}"
    )


def run(count, first, heard, others, parts=(0, 1)):
    reference = calibrate.reference()
    found = {kind: [] for kind in KINDS}
    unlike = {what: [] for what in pairs.OTHERS}
    for part in parts:
        photo_worlds.held_out(part)
        for at in range(part % 2, count, 2):
            for kind in KINDS:
                found[kind].append(taken(first + at, kind, part, reference, heard=heard))
            if others:
                for what, rows in unlike.items():
                    rows.append(taken(first + at, KINDS[at % 3], part, reference, what)[0])
    for kind, rows in found.items():
        print(report(kind, rows), flush=True)
    for what, verdicts in unlike.items():
        if verdicts:
            told = pd.Series(verdicts).value_counts().to_dict()
            print(f"another {what}: {told} of {len(verdicts)}", flush=True)


def run_cards(count, first, parts):
    reference = calibrate.reference()
    found = {kind: [] for kind in KINDS}
    for part in parts:
        photo_worlds.held_out(part)
        for at in range(part % 2, count, 2):
            for kind, rows in found.items():
                rows.append(across(first + at, kind, part, reference))
    for kind, rows in found.items():
        print(report_cards(kind, rows), flush=True)


def rendered(count, first, parts):
    """Kind, what differs, pair and both photos measured; a pair that is refused is left out."""
    reference = calibrate.reference()
    for part in parts:
        photo_worlds.held_out(part)
        for at in range(part % 2, count, 2):
            alike = [(kind, "") for kind in KINDS]
            for kind, what in (*alike, *((KINDS[at % 3], what) for what in pairs.OTHERS)):
                pair = drawn(first + at, kind, part, what)
                try:
                    yield kind, what, pair, *measured(pair, reference)
                except InputError:
                    continue


def vary(count, first, parts):
    """What half and double of each constant would do."""
    made = list(rendered(count, first, parts))
    for name in (*TELLING, *CONSTANTS):
        used = getattr(together, name)
        for factor in (0.5, 1.0, 2.0):
            setattr(together, name, factor * used)
            if name in TELLING:
                print(f"{name} {factor * used:g}:", told_apart(made), flush=True)
                continue
            for kind in KINDS:
                found = [compared(*pair) for one, what, *pair in made if (one, what) == (kind, "")]
                print(f"{name} {factor * used:g}:", report(kind, found), flush=True)
        setattr(together, name, used)


def told_apart(made):
    """How many pairs that go together were taken so, and how many others were not."""
    found = [(what, measure.kinship(*two).verdict == "together") for _, what, _, *two in made]
    same, other = ([together for what, together in found if bool(what) is unlike]
                   for unlike in (False, True))  # fmt: skip
    return (
        f"{sum(same)} of {len(same)} together, {len(other) - sum(other)} of {len(other)} others not"
    )


if __name__ == "__main__":
    numbers = [int(a) for a in sys.argv[1:] if a.isdigit()]
    parts = (0, 1)
    if "derive" in sys.argv or "vary" in sys.argv:
        programs.enter()
        parts = programs.PARTS
    count, first = (*numbers, *(8, 2000)[len(numbers) :])[:2]
    if "vary" in sys.argv:
        vary(count, first, parts)
    elif "cards" in sys.argv:
        run_cards(count, first, parts)
    else:
        run(count, first, "witnesses" in sys.argv, "others" in sys.argv, parts)
