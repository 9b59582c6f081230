"""K/S spectra of the cloths that a separation rests on, and what is uncertain about them.

Pots of one recipe differ by a factor at each wavelength rather than by an amount, so the scatter
is taken of ln K/S and pooled over all pots of the series; swatches of one pot are one replicate.

K/S adds up inside an even cloth. A reading also holds light that the fibre's surface sent back,
and the mean over uneven fibres; neither is known, so both are drawn with the noise.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from dyelab import convert
from dyelab.shift.recipes import Recipes, pot_names

# Most that a cloth's surface sends back (reflectance factor), that it keeps inside of what comes
# from below, and by which fibres differ (standard deviation of ln K/S). Drawn evenly from nothing
# up to these; set with tests/benchmarks/separation_truth.py in both worlds, so that intervals hold
# with such surfaces and grow by no more than a third without.
_SURFACE, _INNER, _UNEVEN = 0.015, 0.3, 0.2
# Degrees of freedom that pooled scatter is worth for one cloth, at most: recipes don't scatter
# quite alike. With all of them the dye's interval held 92 % where nothing competes (same script).
_ALIKE = 6


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

    A spectrum above 1 is fluorescent, has no K/S, and counts as missing.
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
    pieces = pieces[~convert.brightened(pieces.to_numpy(float))]  # no K/S: they shine themselves
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
    return CellSpectra(
        np.array(bands, float),
        mean,
        np.array([len(at) for at in own]),
        residuals,
        df,
        float(np.quantile(read, 0.001)),
    )


def _residuals(logs: np.ndarray, variant: np.ndarray) -> tuple[np.ndarray, int]:
    names, at, counts = np.unique(variant, return_inverse=True, return_counts=True)
    sums = np.zeros((len(names), logs.shape[1]))
    np.add.at(sums, at, logs)
    rest = logs - (sums / counts[:, None])[at]
    return rest[counts[at] > 1], int((counts - 1).sum())


def pooled_log_noise(
    found: CellSpectra, rows: np.ndarray, draws: int, rng: np.random.Generator
) -> np.ndarray | None:
    """Draw the true K/S of each cloth: (draws, c, k); None where nothing was repeated.

    A multivariate t about the measured ln K/S, whose covariance over wavelengths is the pooled
    scatter of pots; then the surface and the unevenness of the fibres, the same for all cloths
    of a draw. Cloths of the same recipe (`rows` equal) are one and err together.
    """
    if found.df < 1:
        return None
    _, same = np.unique(rows, return_inverse=True)
    c, r = int(same.max()) + 1, len(found.residuals)
    normal = (rng.normal(size=(draws, c, r)) @ found.residuals)[:, same] / np.sqrt(found.df)
    df = min(found.df, _ALIKE)
    chi = np.sqrt(rng.chisquare(df, (draws, 1, 1)) / df)
    steps = normal / chi / np.sqrt(np.maximum(found.pots, 1))[None, :, None]
    most = min(_SURFACE, 0.8 * found.darkest)
    surface, inner, uneven = (rng.uniform(0, top, (draws, 1, 1)) for top in (most, _INNER, _UNEVEN))
    return even(inside(found.mean * np.exp(steps), surface, inner), uneven)


def inside(ks: np.ndarray, surface: np.ndarray, inner: np.ndarray) -> np.ndarray:
    """K/S below a surface that sends back `surface` and keeps `inside` of what comes from below.

    Saunderson (1942): R = k1 + (1 - k1)(1 - k2) r / (1 - k2 r), solved for r.
    """
    seen = convert.ks_to_reflectance(np.maximum(ks, 1e-6))
    through = np.maximum((seen - surface) / (1 - surface), 1e-4)
    return convert.ks(through / ((1 - inner) + inner * through))


def even(ks: np.ndarray, uneven: np.ndarray) -> np.ndarray:
    """K/S of the mean cloth, whose fibres differ: `uneven`, standard deviation of ln K/S.

    A reading averages reflectance, not K/S. To second order ln K/S is read too low by
    (1 + (1 - 2 R - R²) / (1 + R)²) `uneven`² / 2, from R' = -R (1 - R) / (1 + R) by ln K/S.
    """
    seen = convert.ks_to_reflectance(np.maximum(ks, 1e-6))
    bent = 1 + (1 - 2 * seen - seen**2) / (1 + seen) ** 2
    return ks * np.exp(bent * uneven**2 / 2)
