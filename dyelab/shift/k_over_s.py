"""K/S spectra of recipes: how sure they are, and how deep a shade is, apart from how dull.

Pots of one recipe differ by a factor at each wavelength rather than by an amount, so the scatter
is taken of ln K/S and pooled over all pots of the series; swatches of one pot are one replicate.

K/S adds up inside an even cloth. A reading also holds light that the fibre's surface sent back,
and the mean over uneven fibres; neither is known, so both are drawn with the noise.

Strength is K/S of what was added to the cloth: the undyed base's K/S is taken off. Relative
strength is common textile practice; the standard-depth formula of ISO 105-A06 isn't used.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dyelab import compare, convert, table, words
from dyelab.compare.pots import arms
from dyelab.errors import InputError
from dyelab.shift.recipes import METALS, Recipes, pot_names

# Most that a cloth's surface sends back (reflectance factor), that it keeps inside of what comes
# from below, and by which fibres differ (standard deviation of ln K/S). Drawn as these times the
# square of a number even from 0 to 1: drawn evenly, none at all was too unlikely, and the dye's
# lower limit was too high where there was none. Set with tests/benchmarks/separation_truth.py in
# both worlds, so that intervals hold with such surfaces and grow by no more than a third without.
_SURFACE, _INNER, _UNEVEN = 0.015, 0.3, 0.2
# Degrees of freedom that pooled scatter is worth for one cloth, at most: recipes don't scatter
# quite alike. With all of them the dye's interval held 92 % where nothing competes (same script).
_ALIKE = 6
_DRAWS, _TAILS = 1000, (0.025, 0.975)  # of the pots' scatter, for limits of a strength


@dataclass(frozen=True)
class CellSpectra:
    """K/S of c cloths at k wavelengths.

    Attributes
    ----------
    wavelengths : ndarray (k,)
    mean : ndarray (c, k)
        Mean K/S of the swatches; NaN where the cloth is missing.
    pots : ndarray (c,)
    residuals : ndarray (r, k)
        ln K/S of repeated pots about their recipe, over the whole series.
    df : int
        Degrees of freedom of the residuals.
    darkest : float
        The least reflectance factor read: no surface sends back more.
    """

    wavelengths: np.ndarray
    mean: np.ndarray
    pots: np.ndarray
    residuals: np.ndarray
    df: int
    darkest: float


def cell_spectra(recipes: Recipes, rows: np.ndarray, spectra: pd.DataFrame) -> CellSpectra | None:
    """K/S of the recipes in `rows` (-1 for a missing one); None where a spectrum is missing.

    Rows stand two by two: baths that both of a pair lay in cancel between them. A spectrum above 1
    is fluorescent, has no K/S, and counts as missing.
    """
    bands = [name for name in spectra.columns if name != "reading"]
    series = recipes.variants.series
    alike = np.flatnonzero(series == series[rows[rows >= 0][0]])
    used = recipes.rows[recipes.rows["variant"].isin([*alike, *rows])]
    if "flags" in used:
        used = used[~used["flags"].astype(str).str.split().map(lambda f: "fluorescent" in f)]
    named = used[["reading", "swatch", "variant"]].assign(pot=pot_names(used))
    joined = named.merge(spectra, on="reading")
    swatches = joined.groupby(["variant", "pot", "swatch"], sort=False)[bands].mean()
    pieces = swatches.groupby(["variant", "pot"], sort=False).mean()
    pieces = pieces[pieces.notna().all(axis=1)]
    pieces = pieces[~convert.is_brightened(pieces.to_numpy(float))]  # no K/S: they shine themselves
    there = set(pieces.index.get_level_values("variant"))
    if not {row for row in rows if row >= 0} <= there:
        return None
    read = np.maximum(pieces.to_numpy(float), 1e-4)
    ks = convert.ks(read)
    variant = pieces.index.get_level_values("variant").to_numpy()
    own = [np.flatnonzero(variant == row) for row in rows]
    blank = np.full(len(bands), np.nan)
    mean = np.array([ks[at].mean(axis=0) if len(at) else blank for at in own])
    residuals, df = _residuals(np.log(np.maximum(ks, 1e-6)), variant)
    pots = np.minimum([len(at) for at in own], _count_pots(recipes, rows))
    darkest = float(np.quantile(read, 0.001))
    return CellSpectra(np.array(bands, float), mean, pots, residuals, df, darkest)


def _count_pots(recipes: Recipes, rows: np.ndarray) -> list[int]:
    """Pots of each recipe beside the other of its two, as comparisons of colours count them."""
    counts = []
    for i, row in enumerate(rows):
        other = rows[i ^ 1] if i ^ 1 < len(rows) else -1
        both = [row] if other in (-1, row) else [row, other]
        found = arms(recipes.variants.cells, np.array([both]))
        counts.append(int(found.pots[0, 0]) if row >= 0 else 0)
    return counts


def _residuals(logs: np.ndarray, variant: np.ndarray) -> tuple[np.ndarray, int]:
    names, at, counts = np.unique(variant, return_inverse=True, return_counts=True)
    sums = np.zeros((len(names), logs.shape[1]))
    np.add.at(sums, at, logs)
    rest = logs - (sums / counts[:, None])[at]
    return rest[counts[at] > 1], int((counts - 1).sum())


def pot_noise(
    found: CellSpectra, rows: np.ndarray, draws: int, rng: np.random.Generator
) -> np.ndarray | None:
    """Draw the K/S that each cloth would have in the mean of many pots: (draws, c, k).

    A multivariate t about the measured ln K/S, whose covariance over wavelengths is the pooled
    scatter of pots; None where nothing was repeated. Cloths of the same recipe (`rows` equal) are
    one and err together.
    """
    if found.df < 1:
        return None
    _, same = np.unique(rows, return_inverse=True)
    c, r = int(same.max()) + 1, len(found.residuals)
    normal = (rng.normal(size=(draws, c, r)) @ found.residuals)[:, same] / np.sqrt(found.df)
    df = min(found.df, _ALIKE)
    chi = np.sqrt(rng.chisquare(df, (draws, 1, 1)) / df)
    steps = normal / chi / np.sqrt(np.maximum(found.pots, 1))[None, :, None]
    return found.mean * np.exp(steps)


def pooled_log_noise(
    found: CellSpectra, rows: np.ndarray, draws: int, rng: np.random.Generator
) -> np.ndarray | None:
    """Draw the true K/S of each cloth: (draws, c, k); None where nothing was repeated.

    `pot_noise`, then the surface and the unevenness of the fibres, the same for all cloths of a
    draw.
    """
    drawn = pot_noise(found, rows, draws, rng)
    if drawn is None:
        return None
    most = min(_SURFACE, 0.8 * found.darkest)
    tops = np.array([most, _INNER, _UNEVEN])[:, None, None, None]
    surface, inner, uneven = tops * rng.random((3, draws, 1, 1)) ** 2
    return mean_cloth(below_surface(drawn, surface, inner), uneven)


def below_surface(ks: np.ndarray, surface: np.ndarray, inner: np.ndarray) -> np.ndarray:
    """K/S below a surface that sends back `surface` and keeps `inner` of what comes from below.

    Saunderson (1942): R = k1 + (1 - k1)(1 - k2) r / (1 - k2 r), solved for r.
    """
    seen = convert.ks_to_reflectance(np.maximum(ks, 1e-6))
    through = np.maximum((seen - surface) / (1 - surface), 1e-4)
    return convert.ks(through / ((1 - inner) + inner * through))


def mean_cloth(ks: np.ndarray, uneven: np.ndarray) -> np.ndarray:
    """K/S of the mean cloth, whose fibres differ: `uneven`, standard deviation of ln K/S.

    A reading averages reflectance, not K/S. To second order ln K/S is read too low by
    (1 + (1 - 2 R - R²) / (1 + R)²) `uneven`² / 2, from R' = -R (1 - R) / (1 + R) by ln K/S.
    """
    seen = convert.ks_to_reflectance(np.maximum(ks, 1e-6))
    bent = 1 + (1 - 2 * seen - seen**2) / (1 + seen) ** 2
    return ks * np.exp(bent * uneven**2 / 2)


def ks_above(reflectance: np.ndarray, base: np.ndarray | None = None) -> np.ndarray:
    """K/S of a cloth less that of its undyed base, (..., k)."""
    ks = convert.ks(np.asarray(reflectance, float))
    return ks if base is None else ks - convert.ks(np.asarray(base, float))


def _refuse_fluorescent(waves: np.ndarray, **spectra: np.ndarray | None) -> None:
    for name, spectrum in spectra.items():
        if spectrum is None or not np.any(convert.is_brightened(spectrum)):
            continue
        rows = np.atleast_2d(np.asarray(spectrum, float))
        i, at = np.unravel_index(np.nanargmax(rows), rows.shape)
        raise InputError(
            f"the {name}'s reflectance is {rows[i, at]:.2f} at {waves[at]:g} nm. Over 1 means a "
            "brightener or a fluorescent dye, for which K/S and strength don't hold. Compare by "
            "CIELAB, or read it without ultraviolet (M2)."
        )


def relative_strength(
    wavelengths: np.ndarray,
    reference: np.ndarray,
    sample: np.ndarray,
    *,
    base: np.ndarray | None = None,
) -> pd.DataFrame:
    """Strength of samples against a reference, in per cent.

    Parameters
    ----------
    wavelengths : array_like (k,)
        nm.
    reference, sample : array_like (k,) or (n, k)
        Reflectance factors, 0 to 1.
    base : array_like (k,) or (n, k), optional
        Of the undyed cloth; without it K/S of the cloth itself is compared.

    Returns
    -------
    DataFrame
        `maximum_nm` (where the reference absorbs most), `strength_maximum` (there) and
        `strength_sum` (visible sum, 400 to 700 nm), per cent of the reference.

    Raises
    ------
    InputError
        If the reference isn't deeper than its base, or a spectrum is fluorescent.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import shift
    >>> waves = np.array([400, 500, 600])
    >>> reference, sample = np.array([0.4, 0.3, 0.5]), np.array([0.3, 0.2, 0.4])
    >>> shift.relative_strength(waves, reference, sample)[["strength_maximum"]].round(0)
       strength_maximum
    0             196.0
    """
    waves = np.asarray(wavelengths, float)
    _refuse_fluorescent(waves, reference=reference, sample=sample, base=base)
    ends = (np.atleast_2d(ks_above(one, base)) for one in (reference, sample))
    first, second = np.broadcast_arrays(*ends)
    seen = (waves >= 400) & (waves <= 700)
    at = np.argmax(np.where(seen, first, -np.inf), axis=1)
    row = np.arange(len(first))
    sums = first[:, seen].sum(axis=1), second[:, seen].sum(axis=1)
    if (first[row, at] <= 0).any() or (sums[0] <= 0).any():
        raise InputError(
            "the reference is no deeper than its undyed base, so there is no strength to compare. "
            "Check which swatch is the base."
        )
    at_maximum = 100 * second[row, at] / first[row, at]
    told = {"maximum_nm": waves[at], "strength_maximum": at_maximum}
    return pd.DataFrame({**told, "strength_sum": 100 * sums[1] / sums[0]})


def at_equal_depth(
    wavelengths: np.ndarray,
    reference: np.ndarray,
    sample: np.ndarray,
    *,
    base: np.ndarray | None = None,
    illuminant: str = "D65",
    observer: int = 10,
) -> pd.DataFrame:
    """Colour of each sample brought to the reference's depth, and what difference is left.

    The K/S that was added to the base is scaled until its visible sum is the reference's: more
    or less of the same colour. What then still differs is hue and dullness, not strength.

    Parameters
    ----------
    wavelengths, reference, sample, base
        As for `relative_strength`.
    illuminant, observer
        White point of the colours.

    Returns
    -------
    DataFrame
        `L, a, b` at equal depth with their white point, `scale` (times the sample's amount),
        the differences to the reference, `strength_sum`, `moved`, the way in words, and
        `seen`, whether any of it is visible.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import shift
    >>> waves = np.arange(400, 701, 20)
    >>> reference, sample = np.linspace(0.2, 0.6, 16), np.linspace(0.1, 0.5, 16)
    >>> shift.at_equal_depth(waves, reference, sample).round(1)[["dE00"]]
       dE00
    0   2.0
    """
    waves = np.asarray(wavelengths, float)
    strength = relative_strength(waves, reference, sample, base=base)
    scale = 100 / strength["strength_sum"].to_numpy()
    second = np.atleast_2d(ks_above(sample, base)) * scale[:, None]
    ground = 0.0 if base is None else convert.ks(np.asarray(base, float))
    scaled = convert.ks_to_reflectance(np.maximum(second + ground, 0))
    lab = convert.spectrum_to_lab(waves, scaled, illuminant, observer)
    whole = np.atleast_2d(np.asarray(reference, float))
    first = np.broadcast_to(convert.spectrum_to_lab(waves, whole, illuminant, observer), lab.shape)
    white = {"illuminant": illuminant, "observer": observer}
    result = pd.DataFrame(lab, columns=table.LAB).assign(**white, scale=scale)
    result = pd.concat([result, convert.differences(first, lab).reset_index(drop=True)], axis=1)
    seen = [bool(way) for way in compare.direction_codes(first, lab)]
    strong = strength["strength_sum"].to_numpy()
    return result.assign(strength_sum=strong, moved=compare.direction(first, lab), seen=seen)


@dataclass(frozen=True)
class Depth:
    """Two cloths' K/S, how strong one is beside the other, and what equal depth leaves.

    `wavelengths`, `reference` and `sample` (K/S) are (k,); `strength` and `equal` are rows of
    `relative_strength` and `at_equal_depth`, with `strength_maximum_low, strength_maximum_high,
    strength_sum_low` … and `dE00_low, dE00_high` of 95 % where pots were dyed again in the series.
    """

    wavelengths: np.ndarray
    reference: np.ndarray
    sample: np.ndarray
    strength: dict[str, Any]
    equal: dict[str, Any]
    sentence: str


def depth_of(recipes: Recipes, reference: int, sample: int, spectra: pd.DataFrame) -> Depth | None:
    """Compare the depth of two recipes of a book, their undyed base taken off.

    Where there is none, or one of them is no deeper, the cloths are compared as they are.

    Parameters
    ----------
    recipes : Recipes
    reference, sample : int
        Row numbers of ``recipes.made``.
    spectra : DataFrame
        The book's spectra.

    Returns
    -------
    Depth or None
        None where a spectrum is missing.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> shift.depth_of(recipes, 0, 1, bk.spectra).sentence
    "Where it absorbs most (450 nm) its strength is 295 (265 to 328) % of the reference...
    """
    cells = (
        (base, np.array([reference, sample, base])) for base in _bare_cloths(recipes, reference)
    )
    tried = ((at, cell_spectra(recipes, at, spectra)) for _, at in cells)
    at, found = next(((at, one) for at, one in tried if one is not None), (None, None))
    if at is None or found is None:
        return None
    based = at[2] >= 0 and found.mean[2].sum() < found.mean[:2].sum(axis=1).min()
    white: Any = recipes.made.iloc[reference][table.WHITE].to_dict()
    ends = _ends(found.mean, based)
    strength = dict(relative_strength(found.wavelengths, **ends).iloc[0])
    equal = dict(at_equal_depth(found.wavelengths, **ends, **white).iloc[0])
    drawn = pot_noise(found, at, _DRAWS, np.random.default_rng(0))
    if drawn is not None:
        strength, equal = _with_limits((strength, equal), found, drawn, based, white)
    said = _say(strength, equal)
    return Depth(found.wavelengths, found.mean[0], found.mean[1], strength, equal, said)


def _ends(ks: np.ndarray, based: bool) -> dict[str, Any]:
    """Reflectances of reference, sample and their base, from K/S (..., 3, k)."""
    read = convert.ks_to_reflectance(ks)
    names = ("reference", "sample", "base")[: 3 if based else 2]
    return {name: read[..., i, :] for i, name in enumerate(names)}


def _with_limits(
    rows: tuple[dict, dict], found: CellSpectra, drawn: np.ndarray, based: bool, white: Any
) -> tuple[dict, dict]:
    """Add 95 % limits by the scatter of pots; draws in which one is no deeper than the base are
    left out, and where that is most of them no limit can be told.
    """
    strength, equal = rows
    waves = found.wavelengths
    seen, top = (waves >= 400) & (waves <= 700), waves == strength["maximum_nm"]
    above = drawn[:, :2] - (drawn[:, 2:] if based else 0.0)
    parts = {"maximum": above[..., top].sum(axis=-1), "sum": above[..., seen].sum(axis=-1)}
    deeper = np.all([size > 0 for size in parts.values()], axis=(0, 2))
    if deeper.mean() < 0.5:
        return rows
    for name, size in parts.items():
        ratio = 100 * size[deeper, 1] / size[deeper, 0]
        strength |= _limits(f"strength_{name}", np.quantile(ratio, _TAILS))
    ends = _ends(drawn[deeper], based)
    level = at_equal_depth(waves, **ends, **white)[table.LAB].to_numpy(float)
    read = (convert.spectrum_to_lab(waves, ends["reference"], **white), level)
    middle = convert.spectrum_to_lab(waves, _ends(found.mean, based)["reference"], **white)
    lab = np.array([middle, [equal[name] for name in table.LAB]])
    off = np.concatenate(read, axis=1) - lab.ravel()
    moved = compare.move(convert.dE00, lab[:1], lab[1:], (off.T @ off / len(off))[None])
    low, high = compare.directed_interval(moved)
    return strength, equal | _limits("dE00", np.array([low[0], high[0]]))


def _limits(name: str, ends: np.ndarray) -> dict[str, float]:
    return {f"{name}_low": float(ends[0]), f"{name}_high": float(ends[1])}


def _bare_cloths(recipes: Recipes, row: int) -> list[int]:
    """The bare cloths of a recipe, and -1: one may have been read without a spectrum, or none."""
    made = recipes.made
    bare = (made["dye"] == "none") & (made["tannin"] == "none")
    bare &= (made[list(METALS.values())] == 0).all(axis=1)
    for name in ("form", "fibre", "ground"):
        if name in made:
            bare &= made[name] == made[name].iloc[row]
    return [*map(int, np.flatnonzero(bare)), -1]


def _say(strength: dict[str, Any], equal: dict[str, Any]) -> str:
    told = {name: words.number_span(strength, f"strength_{name}", 0) for name in ("maximum", "sum")}
    first = words.say("shift.depth", nm=f"{strength['maximum_nm']:.0f}", **told)
    if not equal["seen"]:
        return f"{first} {words.say('shift.depth_same')}"
    distance = words.number_span(equal, "dE00", 1)
    key = "depth_chance" if equal.get("dE00_low", 1.0) <= 0 else "depth_left"
    return f"{first} {words.say(f'shift.{key}', moved=equal['moved'], distance=distance)}"
