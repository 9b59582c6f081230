"""K/S spectra of the cloths that a separation rests on, and their swatch-to-swatch noise.

Swatches of one recipe differ by a factor at each wavelength rather than by an amount, so the
scatter is taken of ln K/S and pooled over all replicates of the series.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from dyelab import convert
from dyelab.shift.recipes import Recipes


@dataclass(frozen=True)
class CellSpectra:
    """K/S of c cloths at k wavelengths.

    Attributes
    ----------
    wavelengths : ndarray (k,)
    mean : ndarray (c, k)
        Mean K/S of the swatches; NaN where the cloth is missing.
    pieces : ndarray (c,)
    residuals : ndarray (r, k)
        ln K/S of replicated swatches about their recipe, over the whole series.
    df : int
        Degrees of freedom of the residuals.
    """

    wavelengths: np.ndarray
    mean: np.ndarray
    pieces: np.ndarray
    residuals: np.ndarray
    df: int


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
    joined = used[["reading", "swatch", "variant"]].merge(spectra, on="reading")
    pieces = joined.groupby(["variant", "swatch"], sort=False)[bands].mean()
    pieces = pieces[pieces.notna().all(axis=1)]
    pieces = pieces[~convert.brightened(pieces.to_numpy(float))]  # no K/S: they shine themselves
    there = set(pieces.index.get_level_values("variant"))
    if not {row for row in rows if row >= 0} <= there:
        return None
    ks = convert.ks(np.maximum(pieces.to_numpy(float), 1e-4))
    variant = pieces.index.get_level_values("variant").to_numpy()
    own = [np.flatnonzero(variant == row) for row in rows]
    blank = np.full(len(bands), np.nan)
    mean = np.array([ks[at].mean(axis=0) if len(at) else blank for at in own])
    residuals, df = _residuals(np.log(np.maximum(ks, 1e-6)), variant)
    return CellSpectra(
        np.array(bands, float), mean, np.array([len(at) for at in own]), residuals, df
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
    """Draw the true K/S of each cloth: (draws, c, k); None where nothing was replicated.

    A multivariate t about the measured ln K/S, whose covariance over wavelengths is the pooled
    scatter of replicates. Cloths of the same recipe (`rows` equal) are one and err together.
    """
    if found.df < 1:
        return None
    _, same = np.unique(rows, return_inverse=True)
    c, r = int(same.max()) + 1, len(found.residuals)
    normal = (rng.normal(size=(draws, c, r)) @ found.residuals)[:, same] / np.sqrt(found.df)
    chi = np.sqrt(rng.chisquare(found.df, (draws, 1, 1)) / found.df)
    steps = normal / chi / np.sqrt(np.maximum(found.pieces, 1))[None, :, None]
    return found.mean * np.exp(steps)
