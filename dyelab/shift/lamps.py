"""The same cloths under other lights: alike in daylight, apart under the shop's lamp, or not."""

from collections.abc import Hashable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from dyelab import compare, convert, table, words
from dyelab.errors import InputError
from dyelab.shift.recipes import Recipes

# Lights a dyer meets, each the CIE's of its kind: daylight, a filament lamp, a shop's three-band
# tube, a white LED (CIE 15:2018).
LAMPS = ("D65", "A", "FL11", "LED-B3")
ALIKE, APART = 1.0, 2.0  # ΔE00: hardly seen side by side, and seen at a glance (common practice)


def reflectances(
    recipes: Recipes, spectra: pd.DataFrame | None
) -> tuple[np.ndarray, dict[int, np.ndarray]]:
    """Wavelengths, and the mean reflectance of each recipe that has spectra, by its row number.

    The mean is over pieces, each the mean of its own readings.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> waves, found = shift.reflectances(recipes, bk.spectra)
    >>> len(waves), len(found)
    (31, 98)
    """
    if spectra is None or not len(spectra) or "reading" not in recipes.rows:
        return np.array([]), {}
    bands = convert.wavelength_columns(spectra)
    joined = recipes.rows[["reading", "swatch", "variant"]].merge(spectra, on="reading")
    pieces = joined.groupby(["variant", "swatch"], sort=False)[bands].mean()
    pieces = pieces[pieces.notna().all(axis=1)]
    means = pieces.groupby(level="variant").mean()
    found = {int(row): values for row, values in zip(means.index, means.to_numpy(), strict=True)}
    return np.array(bands, float), found


def under_lamps(
    recipes: Recipes,
    pairs: Sequence[tuple[int, int]],
    spectra: pd.DataFrame | None,
    lamps: Sequence[str] = LAMPS,
) -> pd.DataFrame:
    """Pairs of recipes under several lights.

    Parameters
    ----------
    recipes : Recipes
    pairs : sequence of (int, int)
        Row numbers of ``recipes.made``: reference and sample.
    spectra : DataFrame
        The book's.
    lamps : sequence of str
        CIE names; the first is the light under which pairs are meant to be alike.

    Returns
    -------
    DataFrame
        For each pair that has spectra and each lamp: `pair` (its number), `lamp`, `observer`,
        `L_1, a_1, b_1, L_2, a_2, b_2`, `dE00` with `dE00_low, dE00_high` (95 %, as
        `compare.between` has them of the cloths as seen under this lamp), and `index`: the special
        metamerism index, ΔE*ab left under this lamp once the difference under the first is taken
        off (ISO 18314-4, additive).

    Raises
    ------
    InputError
        If no pair has spectra.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> shift.under_lamps(recipes, [(0, 1)], bk.spectra)[["lamp", "dE00"]].round(1)
         lamp  dE00
    0     D65  23.7
    1       A  19.1
    2    FL11  22.9
    3  LED-B3  22.1
    """
    waves, found = reflectances(recipes, spectra)
    kept = [i for i, pair in enumerate(pairs) if set(pair) <= set(found)]
    if not kept or spectra is None:
        raise InputError(words.say("lamps.no_spectra"))
    observer = table.one_white(recipes.made)[1]
    rows = recipes.rows.merge(spectra, on="reading", suffixes=("", " nm"))
    rows = rows[rows["variant"].isin(list(found))]
    read = rows[convert.wavelength_columns(spectra)].to_numpy(float)
    ends = np.searchsorted(sorted(found), [pairs[i] for i in kept]).T
    tables, seen = [], {}
    for lamp in lamps:
        lit = rows.assign(illuminant=lamp, observer=observer)
        lit[table.LAB] = convert.spectrum_to_lab(waves, read, lamp, observer)
        series = "series" if "series" in lit else None
        variants = compare.gather(lit, by="variant", piece="swatch", series=series)
        seen[lamp] = [variants.mean[end] for end in ends]
        told: dict[str, Any] = {"pair": kept, "lamp": lamp, "observer": observer}
        for n, lab in enumerate(seen[lamp], start=1):
            told |= {f"{c}_{n}": lab[:, i] for i, c in enumerate(table.LAB)}
        limits = compare.between(variants, *ends)[["dE00_low", "dE00_high"]]
        tables.append(pd.DataFrame({**told, **limits.to_dict("list")}))
    sizes = differences_under(seen)[["dE00", "index"]].reset_index(drop=True)
    return pd.concat([pd.concat(tables, ignore_index=True), sizes], axis=1)


def differences_under(
    seen: Mapping[str, Sequence[np.ndarray]],
    covariances: Mapping[str, Sequence[np.ndarray]] | None = None,
) -> pd.DataFrame:
    """How far pairs of colours lie apart under each light.

    Parameters
    ----------
    seen : dict of str to pair of ndarray (n, 3)
        CIELAB of both ends, (3,) for one pair, by lamp; under the first lamp they are meant to
        be alike.
    covariances : dict of str to pair of ndarray (n, 3, 3), optional
        Covariances of both ends by lamp, (3, 3) for one pair; the ends err apart.

    Returns
    -------
    DataFrame
        `lamp, dE00, index` (see `under_lamps`), one row a pair, lamp after lamp; with `covariances`
        `dE00_low, dE00_high` of 95 %.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import shift
    >>> grey, warm = np.array([[50.0, 0, 0]]), np.array([[50.0, 3, 0]])
    >>> shift.differences_under({"D65": (grey, grey), "A": (grey, warm)})["index"].tolist()
    [0.0, 3.0]
    """
    first = next(iter(seen.values()))
    tables = []
    for lamp, ends in seen.items():
        sizes = convert.dE00(*ends), convert.metamerism(*first, *ends)
        far, index = map(np.atleast_1d, sizes)
        told = pd.DataFrame({"lamp": lamp, "dE00": far, "index": index})
        if covariances:
            one, two = map(np.atleast_2d, ends)
            joint = np.zeros((len(one), 6, 6))
            joint[:, :3, :3], joint[:, 3:, 3:] = covariances[lamp]
            moved = compare.move(convert.dE00, one, two, joint)
            told["dE00_low"], told["dE00_high"] = compare.directed_interval(moved)
        tables.append(told)
    return pd.concat(tables)


def metamers(seen: pd.DataFrame) -> list[int]:
    """Numbers of the pairs that are alike under the first light and apart under another.

    Parameters
    ----------
    seen : DataFrame
        As `under_lamps` gives it.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import shift
    >>> seen = pd.DataFrame({"pair": 0, "lamp": ["D65", "A"], "dE00": [0.5, 3.2]})
    >>> shift.metamers(seen.assign(index=[0.0, 2.4]))
    [0]
    """
    found = {pair: _kind(rows.to_dict("records")) for pair, rows in seen.groupby("pair")}
    return [int(pair) for pair, (kind, _) in found.items() if kind == "metamers"]


def _kind(rows: list[dict[Hashable, Any]]) -> tuple[str, dict[Hashable, Any]]:
    """What becomes of a pair under other lights, and the one that shows it most.

    What could be chance isn't apart; what comes nearer under a lamp changes as well.
    """
    first, *others = rows
    furthest, turned = (max(others, key=lambda row: row[name]) for name in ("dE00", "index"))
    if turned["index"] < ALIKE:
        return "steady", furthest
    apart = furthest["dE00"] >= APART and not furthest.get("dE00_low", 1) <= 0
    return ("metamers", furthest) if apart and first["dE00"] <= ALIKE else ("changes", turned)


def lamps_sentence(seen: pd.DataFrame) -> str:
    """What one pair does under several lights, in words.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import shift
    >>> seen = pd.DataFrame({"lamp": ["D65", "A"], "dE00": [0.5, 3.2], "index": [0.0, 2.4]})
    >>> shift.lamps_sentence(seen)
    'Alike in daylight, apart under a lamp: ΔE00 0.5 under daylight, 3.2 u...
    """
    rows = seen.to_dict("records")
    first, *others = rows
    kind, worst = _kind(rows)
    named = {"first": first, "worst": worst}
    lamps = {end: words.say(f"lamps.{row['lamp']}") for end, row in named.items()}
    here, there = (words.number_span(row, "dE00", 1) for row in named.values())
    index = f"{max(row['index'] for row in others):.1f}"
    return words.say(f"lamps.{kind}", index=index, here=here, there=there, **lamps)
