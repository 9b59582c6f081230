"""Constants of correcting a photo by swatches that an instrument measured, derived.

Run: python tests/benchmarks/swatch_constants.py [photos a cell] [first seed] [judge]

Photos are those of photo_constants.py, which judge nothing else; with `judge` those of
photo_worlds.py. For cards with four dyes, six cloths of each, paler, deeper and saddened, and for
cards whose every cloth has a dye of its own, so that nothing is nearer than chance makes it, prints

- `nearby_swatches.FAR, DEPTH, EVERYWHERE, UNLIKE, BELIEF`: median and 95th percentile of ΔE00
  of the windows that no instrument saw, as they are and corrected by 3, 6 and 12 that it did,
  those that tell most (`most_telling`), for half and double of each; and the likeliest together
  for how the errors of the windows of one photo go together (Gaussian process; each photo has a
  size of its own), with how much the logarithm of the likelihood falls for half and double;
- `swatch_correction.FEW, USUALLY, UNSEEN`, the likeliest for the squared misses of windows that
  no instrument saw, given those of 3, 6 or 12 that it did, each by the others, under a distribution
  with the tails of Student's t of 5 degrees; and the share of unseen colours that the doubt stated
  with those in use holds (95 % is wanted).

`SEEN_AGAIN` isn't derived: it is what laying a handheld anew on a cloth does, by the custom of the
trade (0.22 CIELAB units a coordinate), and the noise that the readings here are given.
"""

# ruff: noqa: E402
import sys
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1])]
import photo_constants
import photo_worlds
from worlds import photos as world
from worlds import programs

from dyelab import convert
from dyelab.calibrate import nearby_swatches as nearby
from dyelab.calibrate import swatch_correction as correction

NEARBY = ("FAR", "DEPTH", "EVERYWHERE", "UNLIKE")
CORRECTION = ("FEW", "USUALLY", "UNSEEN")
SEEN = (3, 6, 12)  # swatches of a photo that an instrument measured


def main(count=6, first=30_000, judge=False):
    if not judge:
        programs.enter()
    halves = (0, 1) if judge else programs.PARTS
    for name, cloths in (("four dyes", series), ("each its own", lambda rng: world.dyed(rng))):
        parts = {part: list(drawn(part, count, first, cloths)) for part in halves}
        rows = photo_constants.taken(parts)
        print(f"{name}: {len(rows)} photos", flush=True)
        left(rows)
        together(rows)
        misses(rows)


def drawn(part, count, first, cloths):
    for kind in world.PROGRAMS:
        for seed in range(first + part % 2, first + count, 2):
            lamp = photo_worlds.LIGHTS[seed % len(photo_worlds.LIGHTS)]
            dyed = cloths(np.random.default_rng(seed))
            yield kind, "dyed", world.take(seed, kind, dyed, lamp, part)


def series(rng):
    """Spectra (24, 71) of four dyes, six cloths each: paler and deeper, every other saddened."""
    base = np.repeat(world.dyed(rng, 4), 6, axis=0)
    depth, grey = rng.uniform(0.4, 1.8, (24, 1)), rng.uniform(0, 0.5, (24, 1))
    return np.clip(base**depth * np.exp(-grey * (rng.random((24, 1)) < 0.5)), 0.003, 0.98)


def left(rows):
    """What correcting leaves, in windows that no instrument saw."""
    used = np.array([getattr(nearby, name) for name in NEARBY])
    print(f"as they are: {after(rows, corrected=False)}")
    for at, name in enumerate(NEARBY):
        for times in (0.5, 1, 2):
            enter(used * np.where(np.arange(4) == at, times, 1))
            in_use = " (in use)" if times == 1 else ""
            print(f"{name} {used[at] * times:g}{in_use}: {after(rows)}", flush=True)
    enter(used)
    belief = nearby.BELIEF
    for times in (0.5, 1, 2):
        nearby.BELIEF = times * belief
        print(f"BELIEF {times * belief:g}: {after(rows)}", flush=True)
    nearby.BELIEF = belief


def after(rows, corrected=True):
    told = []
    for k in SEEN:
        off = np.concatenate([far_off(row, k, corrected) for row in rows])
        told.append(f"{np.median(off):.2f} / {np.percentile(off, 95):.2f}")
    return ", ".join(told)


def far_off(row, count, corrected):
    """ΔE00 of the windows not seen, corrected by so many that are."""
    rng = np.random.default_rng(count)
    seen = nearby.most_telling(row["lab"], count)
    unseen = np.setdiff1d(np.arange(len(row["lab"])), seen)
    lab, read = row["lab"][unseen], -row["e"][seen]
    read = read + rng.normal(0, correction.SEEN_AGAIN**0.5, (count, 3))
    share = nearby.trust(row["lab"][seen], read) if corrected else 0.0
    moved = share * nearby.shifts_at(lab, row["lab"][seen], read)
    return convert.dE00(lab - row["e"][unseen], lab + moved)


def likeliest(where, names, surprise):
    """Print the values at which what was seen is least surprising."""
    used = np.array([getattr(where, name) for name in names], float)
    least, start = surprise(used), np.log(used)
    bounds = [(log - 3, log + 3) for log in start]
    told = minimize(lambda logs: surprise(np.exp(logs)), start, method="Nelder-Mead", bounds=bounds)
    for at, (name, value) in enumerate(zip(names, np.exp(told.x), strict=True)):
        tried = [used * np.where(np.arange(len(used)) == at, by, 1) for by in (0.5, 2)]
        falls = ", ".join(f"{surprise(one) - least:.0f}" for one in tried)
        print(
            f"{name}: {used[at]:g} in use, {value:.3g} likeliest; half and double fall by {falls}"
        )
    print(f"all together: {least - told.fun:.0f} better than those in use", flush=True)


def together(rows):
    places = [row["lab"] for row in rows]
    size = np.sqrt(np.mean(photo_constants.joined(rows, "e") ** 2, axis=0))
    errors = [row["e"] / size for row in rows]
    used = [getattr(nearby, name) for name in NEARBY]

    def surprise(values):
        enter(values)
        whole = sum(map(unlikely, places, errors))
        enter(used)
        return whole

    likeliest(nearby, NEARBY, surprise)


def enter(values):
    for name, value in zip(NEARBY, values, strict=True):
        setattr(nearby, name, value)


def unlikely(lab, errors):
    """Negative log likelihood of one photo's errors (n, 3), their size taken as it comes."""
    whole = nearby.alike(lab, lab) + nearby.UNLIKE * np.eye(len(lab))
    squares = np.sum(errors * np.linalg.solve(whole, errors)) / errors.size
    return 0.5 * (errors.size * np.log(squares) + 3 * np.linalg.slogdet(whole)[1])


def misses(rows):
    rng = np.random.default_rng(0)
    seen = {k: [] for k in SEEN}
    for row in rows:
        for k in SEEN:
            seen[k].append(of_photo(row, rng.permutation(len(row["lab"])), k, rng))
    every = [pair for pairs in seen.values() for pair in pairs]
    likeliest(correction, CORRECTION, lambda values: unexpected(values, every))
    used = [getattr(correction, name) for name in CORRECTION]
    for k, pairs in seen.items():
        own, others = (np.concatenate([pair[i] for pair in pairs]) for i in (0, 1))
        sizes = np.concatenate([np.full(len(b), size(used, a)) for a, b in pairs])
        held = np.mean(3 * others / sizes < photo_worlds.REGION)
        print(f"{k} seen: squared misses {own.mean():.2f} by the others, {others.mean():.2f} of "
              f"those unseen; {held:.1%} held with those in use", flush=True)  # fmt: skip


def of_photo(row, order, count, rng):
    """Squared misses over what was expected: of swatches seen, each by the others; of the rest."""
    made, fitted, shifts = row["setup"].calibration, row["lab"], -row["e"]
    seen, unseen = order[:count], order[count:]
    noise = rng.normal(0, correction.SEEN_AGAIN**0.5, (count, 3))
    read = shifts[seen] + noise
    own, share = [], nearby.trust(fitted[seen], read)
    for i in range(count):
        rest = np.arange(count) != i
        moved = correction.correct(made, fitted[seen][rest], read[rest], share)
        own.append(correction.squared_miss(moved, fitted[seen][i], read[i]))
    moved = correction.correct(made, fitted[seen], read, share)
    return np.array(own), np.array(
        [correction.squared_miss(moved, fitted[i], shifts[i]) for i in unseen]
    )


def size(values, own):
    few, usually, unseen = values
    return (own.sum() + few * usually) / (len(own) + few) * unseen


def unexpected(values, pairs):
    tails, total = photo_constants.TAILS, 0.0
    for own, others in pairs:
        scale = size(values, own)
        told = np.log1p(3 * others / scale / (tails - 2))
        total += (1.5 * np.log(scale) + 0.5 * (tails + 3) * told).sum()
    return total


if __name__ == "__main__":
    numbers = [int(a) for a in sys.argv[1:] if a.isdigit()]
    main(*numbers, judge="judge" in sys.argv)
