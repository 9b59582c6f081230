"""Which swatches are one replicate: the pots of a variant, found from the bath of each step.

Swatches that lay in one bath share its water, heat and strength, so they are one replicate of that
step, however many they are. What two arms of a comparison share cancels; what only one of them
had does not. The pots of an arm are therefore the fewest distinct baths among the steps whose
baths the other arm doesn't share. A scour and a rinse count for nothing: they put no colour on.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

NO_COLOUR = ("scour", "rinse")
_MANY = 10**6


@dataclass(frozen=True)
class BathMeans:
    """Means of the swatches of one variant in one bath, for g variants and s kinds of step.

    The last kind is the swatch itself: every swatch a cell. Cells of one variant and kind follow
    one another, ordered by bath.

    Attributes
    ----------
    mean : ndarray (c, 3)
    pieces : ndarray (c,)
        Swatches in the cell.
    start, count : ndarray of int (g, s)
        Where the cells of a variant and kind begin, and how many there are.
    named : ndarray of bool (g, s)
        Whether each of these baths is recorded.
    mark : ndarray (g, s)
        Equal for equal sets of baths.
    told : ndarray of bool (g,)
        Whether the steps of the variant are recorded at all.
    """

    mean: np.ndarray
    pieces: np.ndarray
    start: np.ndarray
    count: np.ndarray
    named: np.ndarray
    mark: np.ndarray
    told: np.ndarray

    @property
    def repeats(self) -> np.ndarray:
        """Kind of step, a variant, whose baths tell how pots differ (g,).

        The one with the fewest baths of those with more than one; the swatches themselves where
        no step that colours was recorded; -1 where nothing repeats.
        """
        steps = self.count[:, :-1]
        many = np.where(steps > 1, steps, _MANY)
        best = many.argmin(axis=1) if steps.shape[1] else np.zeros(len(steps), int)
        swatch = np.where(self.count[:, -1] > 1, steps.shape[1], -1)
        none = ~(steps > 0).any(axis=1)
        found = np.where((steps > 1).any(axis=1), best, -1)
        return np.where(none, swatch, found)


@dataclass(frozen=True)
class Arms:
    """How often each of n comparisons is repeated, for its m arms.

    Attributes
    ----------
    pots : ndarray of int (n, m)
    kind : ndarray of int (n, m)
        Kind of step whose baths are these pots.
    assumed : ndarray of bool (n,)
        Whether baths that aren't recorded were taken for pots of their own.
    block : ndarray of int (n,)
        Kind of step whose baths pair the arms' swatches; -1 where they share none, or one.
    shares : ndarray of int (n,)
        The kinds of step shared, as bits.
    """

    pots: np.ndarray
    kind: np.ndarray
    assumed: np.ndarray
    block: np.ndarray
    shares: np.ndarray


def bath_means(
    lab: np.ndarray, variant: np.ndarray, baths: pd.Series, series: np.ndarray
) -> BathMeans:
    """Average swatches by variant and bath.

    Parameters
    ----------
    lab : ndarray (n, 3)
        Colour of each swatch.
    variant, series : ndarray of int (n,)
    baths : Series of str (n,)
        As ``book.wide`` words them: ``scour=S1 mordant=M2 dye=``; blank where no step is known.
    """
    codes, known, told = _codes(baths, series)
    codes = np.column_stack([codes, np.arange(len(lab)) + codes.max(initial=0) + 1])
    known = np.column_stack([known, np.ones(len(lab), bool)])
    g, s = int(variant.max()) + 1, codes.shape[1]
    swatch, kind = np.nonzero(codes >= 0)
    code = codes[swatch, kind]
    order = np.lexsort([code, kind, variant[swatch]])
    swatch, kind, code = swatch[order], kind[order], code[order]
    group = variant[swatch] * s + kind
    new = np.ones(len(code), bool)
    new[1:] = (group[1:] != group[:-1]) | (code[1:] != code[:-1])
    cell = np.cumsum(new) - 1
    pieces = np.bincount(cell)
    mean = np.stack([np.bincount(cell, lab[swatch, i]) for i in range(3)], axis=1)
    count = np.bincount(group[new], minlength=g * s)
    marks = np.random.default_rng(0).integers(1, 2**62, int(codes.max()) + 1)
    mark = np.zeros(g * s, np.int64)
    np.add.at(mark, group[new], marks[code[new]])
    unknown = np.bincount(group, ~known[swatch, kind], minlength=g * s)
    shape = (g, s)
    return BathMeans(
        mean=mean / pieces[:, None],
        pieces=pieces,
        start=(np.cumsum(count) - count).reshape(shape),
        count=count.reshape(shape),
        named=(unknown == 0).reshape(shape),
        mark=mark.reshape(shape),
        told=np.bincount(variant, ~told, minlength=g) == 0,
    )


def _codes(baths: pd.Series, series: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Number of each swatch's bath, a column a kind of step: -1 without that step.

    An unrecorded bath gets a number of its own and False in the second table. The third says
    whether any step is known.
    """
    told = baths.to_numpy() != ""
    unique, first = np.unique(baths.to_numpy(str), return_inverse=True)
    parsed = [_steps(text) for text in unique]
    kinds = sorted({kind for steps in parsed for kind in steps})
    codes = np.full((len(baths), len(kinds)), -1)
    known = np.ones((len(baths), len(kinds)), bool)
    most = 0
    for at, kind in enumerate(kinds):
        has = np.array([kind in steps for steps in parsed])[first]
        names = np.array([steps.get(kind, "") for steps in parsed], object)[first]
        known[:, at] = ~has | (names != "")
        own = np.where(names == "", np.arange(len(baths)), -1)
        keys = pd.MultiIndex.from_arrays([series, names, own])
        codes[has, at] = pd.factorize(keys[has])[0] + most
        most = int(codes.max(initial=-1)) + 1
    return codes, known, told


def replicates(
    variant: np.ndarray, baths: pd.Series, series: np.ndarray
) -> tuple[np.ndarray, BathMeans]:
    """Number of the pot that each swatch counts with, (n,), and the cells of no colour.

    The pot is a bath of the step that tells how its variant's pots differ (`BathMeans.repeats`);
    where nothing repeats, or a bath isn't recorded, it is the swatch's own.
    """
    found = bath_means(np.zeros((len(variant), 3)), variant, baths, series)
    return number_pots(baths, series, found.repeats[variant]), found


def number_pots(baths: pd.Series, series: np.ndarray, kind: np.ndarray) -> np.ndarray:
    """Number of the bath of this kind of step that each swatch lay in, (n,).

    Kinds as in `BathMeans` of the same swatches; the last, or -1, is the swatch itself.
    """
    codes, _, _ = _codes(baths, series)
    own = np.arange(len(baths)) + codes.max(initial=0) + 1
    return np.column_stack([codes, own])[np.arange(len(baths)), kind]


def colour_baths(baths: str) -> list[str]:
    """Split the baths of a swatch into steps, ``mordant=M2``, without scour and rinse.

    Examples
    --------
    >>> from dyelab import compare
    >>> compare.colour_baths("scour=S1 mordant=M2 dye=D1 rinse=R1")
    ['mordant=M2', 'dye=D1']
    """
    return [part for part in baths.split() if part.partition("=")[0] not in NO_COLOUR]


def _steps(text: str) -> dict[str, str]:
    """Bath by step, such as ``{"mordant": "M2", "modifier": "X1", "modifier 2": ""}``."""
    found: dict[str, str] = {}
    for part in colour_baths(text):
        kind, _, bath = part.partition("=")
        again = sum(name.split()[0] == kind for name in found)
        found[f"{kind} {again + 1}" if again else kind] = bath
    return found


def arms(found: BathMeans, rows: np.ndarray) -> Arms:
    """Count the pots behind each comparison of the variants in `rows` (n, m)."""
    steps = found.count.shape[1] - 1
    count, mark = found.count[rows], found.mark[rows]
    named = found.named[rows]
    there = count[:, :, :steps] > 0
    alike = (mark == mark[:, :1]).all(axis=1)[:, :steps] & named.all(axis=1)[:, :steps]
    shared = alike & there.all(axis=1) & (rows.shape[1] > 1)  # one alone shares with nobody
    own = there & ~shared[:, None, :]
    many = np.where(own, count[:, :, :steps], _MANY)
    many = np.concatenate([many, count[:, :, steps:]], axis=2)
    kind = many.argmin(axis=2)
    assumed = (own & ~named[:, :, :steps]).any(axis=(1, 2)) | ~found.told[rows].all(axis=1)
    blocks = np.where(shared, count[:, 0, :steps], 0)
    block = blocks.argmax(axis=1) if steps else np.zeros(len(rows), int)
    paired = blocks.max(axis=1, initial=0) > 1
    return Arms(
        pots=many.min(axis=2),
        kind=kind,
        assumed=assumed,
        block=np.where(paired, block, -1),
        shares=shared @ (1 << np.arange(steps)),
    )


def pairing_scatter(
    found: BathMeans, rows: np.ndarray, pots: Arms, weights: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Scatter of the weighted sum of arms paired in a bath, and of the arms apart: traces (n,).

    Zero where the arms share no baths that repeat.
    """
    paired, apart = np.zeros(len(rows)), np.zeros(len(rows))
    use = np.flatnonzero(pots.block >= 0)
    if not len(use):
        return paired, apart
    kind = pots.block[use]
    many = found.count[rows[use, 0], kind]
    owner = np.repeat(np.arange(len(use)), many)
    step = np.arange(len(owner)) - np.repeat(np.cumsum(many) - many, many)
    ends = [
        weight * found.mean[found.start[rows[use, i], kind][owner] + step]
        for i, weight in enumerate(weights)
    ]
    paired[use] = _scatter(sum(ends), owner, many)
    apart[use] = sum(_scatter(end, owner, many) for end in ends)
    return paired, apart


def _scatter(values: np.ndarray, owner: np.ndarray, many: np.ndarray) -> np.ndarray:
    """Trace of the sum of squares about each owner's mean."""
    mean = np.stack([np.bincount(owner, values[:, i]) for i in range(3)], axis=1) / many[:, None]
    return np.bincount(owner, ((values - mean[owner]) ** 2).sum(axis=1))
