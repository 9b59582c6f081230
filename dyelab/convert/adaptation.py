"""Colours of dyed cloth under another white, without a spectrum: the likeliest, and its error.

CAT16 foretells how an eye adapts, not what a dyed spectrum does under another light or for another
observer. What it misses on cloth is learned from spectra, near each colour: its mean is added, its
covariance carried.
"""

from functools import cache, partial
from pathlib import Path

import numpy as np
import pandas as pd

from dyelab import numerics
from dyelab.convert.difference import dE76
from dyelab.convert.lab import adapt_lab
from dyelab.convert.light import white
from dyelab.convert.spectrum import spectrum_to_lab
from dyelab.table import (
    COVARIANCE,
    LAB,
    STANDARD_UNCERTAINTIES,
    WHITE,
    White,
    covariances,
    need,
    with_covariances,
    with_uncertainties,
)

# Misses of colours within REACH (CIELAB) speak for one another, at least the nearest FEW: between
# 6 and 15 nothing changes that tests/benchmarks/adapting.py measures.
REACH, FEW = 8.0, 25
_LEAST = 0.02  # variance: what conversions of one spectrum by two tables differ by
_AT_ONCE = 500  # colours: their distances to 570 surfaces take 7 MB at most
_STEP = 0.1  # CIELAB units: small beside the transform's curvature, large beside rounding


def adapt_cloth(
    lab: np.ndarray, old: White, new: White, *, without: str = ""
) -> tuple[np.ndarray, np.ndarray]:
    """CIELAB of dyed cloth under another white, and the covariance of what that gets wrong.

    Parameters
    ----------
    lab : ndarray (n, 3)
        Under the old white.
    old, new : (illuminant, observer)
    without : str
        A family of `surfaces` to leave out, for judging.

    Returns
    -------
    lab : ndarray (n, 3)
        By CAT16, moved by the mean that this misses on surfaces of about this colour.
    covariance : ndarray (n, 3, 3)

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import convert
    >>> lab = np.array([[50.0, 20, 10]])
    >>> convert.adapt_cloth(lab, ("D50", 2), ("D65", 10))[0].round(1).tolist()
    [[49.4, 18.7, 8.8]]
    """
    known, misses, weight = _misses(old, new, without)
    moved = adapt_lab(lab, white(*old), white(*new))
    shift, covariance = np.zeros_like(moved), np.zeros((len(moved), 3, 3))
    for start in range(0, len(moved), _AT_ONCE):
        part = slice(start, start + _AT_ONCE)
        share = _near(np.asarray(lab, float)[part], known) * weight
        share /= share.sum(axis=1, keepdims=True)
        shift[part] = share @ misses
        spread = np.einsum("nm,mk,ml->nkl", share, misses, misses, optimize=True)
        covariance[part] = spread - np.einsum("nk,nl->nkl", shift[part], shift[part])
    return moved + shift, covariance + _LEAST * np.eye(3)


def _near(lab: np.ndarray, known: np.ndarray) -> np.ndarray:
    """How much each known colour says of each asked for, (n, m)."""
    apart = ((lab[:, None] - known) ** 2).sum(axis=-1)
    reach = np.maximum(REACH**2, np.partition(apart, FEW, axis=1)[:, FEW])
    return np.exp(-0.5 * apart / reach[:, None])


@cache
def _misses(old: White, new: White, without: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Colours under the old white, what CAT16 misses, and weights that even out the families."""
    bands, spectra, families = surfaces()
    spectra, families = spectra[families != without], families[families != without]
    _names, which, counts = np.unique(families, return_inverse=True, return_counts=True)
    before, after = (spectrum_to_lab(bands, spectra, *light) for light in (old, new))
    return before, after - adapt_lab(before, white(*old), white(*new)), 1 / counts[which]


def adapt(table: pd.DataFrame, illuminant: str, observer: int) -> pd.DataFrame:
    """Bring every row of a CIELAB table to one white: an estimate that carries its error.

    Parameters
    ----------
    table : DataFrame
        With `L, a, b, illuminant, observer`; white points may differ from row to row.
    illuminant, observer
        The white wanted.

    Returns
    -------
    DataFrame
        A new table under that white, with the six covariance columns. Rows that had another are
        moved as `adapt_cloth` says, the word ``adapted`` is added to their `flags`, and what they
        stated of their covariance (or `u_L, u_a, u_b`) is carried along and that error added.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import convert
    >>> lab = pd.DataFrame({"L": [50.0], "a": [20.0], "b": [10.0]})
    >>> lab = lab.assign(illuminant="D50", observer=2)
    >>> convert.adapt(lab, "D65", 10)[["L", "a", "b"]].round(1)
          L     a    b
    0  49.4  18.7  8.8
    """
    need(table, [*LAB, *WHITE], "adapting")
    sizes = [name for name in (*COVARIANCE, *STANDARD_UNCERTAINTIES) if name in table]
    result = table.astype(dict.fromkeys([*LAB, *sizes], float)).reset_index(drop=True)
    flags = result["flags"].fillna("").astype(str) if "flags" in result else ""
    result["flags"] = pd.Series(flags, index=result.index, dtype=object)
    spread, wanted = covariances(result), (illuminant, int(observer))
    for (old, degrees), rows in result.groupby(WHITE, sort=False):
        source = str(old), int(str(degrees))
        if source == wanted:
            continue
        lab = rows[LAB].to_numpy(float)
        whites = {"old_white": white(*source), "new_white": white(*wanted)}
        moved, error = adapt_cloth(lab, source, wanted)
        result.loc[rows.index, LAB] = np.clip(moved, [0, -160, -160], [100, 160, 160])
        slopes = numerics.slopes(partial(adapt_lab, **whites), lab, _STEP)
        carried = slopes @ np.nan_to_num(spread[rows.index]) @ np.swapaxes(slopes, -1, -2)
        spread[rows.index] = carried + error
        result.loc[rows.index, "flags"] = rows["flags"].map(
            lambda words: " ".join(dict.fromkeys([*words.split(), "adapted"]))
        )
    result["illuminant"], result["observer"] = illuminant, int(observer)
    if set(STANDARD_UNCERTAINTIES) <= set(result):
        result = with_uncertainties(result, spread)
    return with_covariances(result, spread).set_axis(table.index)


@cache
def coarse_error(step: int, illuminant: str, observer: int) -> float:
    """How far colours from bands so many nm apart are off under a light: ΔE*ab of the worst in 20.

    Against the same spectra at every nm, on the surfaces and cloths that come along; ASTM E308
    warns of 20 nm data under lamps whose light has lines. Bands up to 10 nm apart are not judged.

    Examples
    --------
    >>> from dyelab import convert
    >>> convert.coarse_error(20, "D65", 10) < convert.coarse_error(20, "FL11", 10)
    True
    """
    from scipy.interpolate import CubicSpline

    bands, spectra, _ = surfaces()
    every = round(step / (bands[1] - bands[0]))
    if every <= 1:
        return 0.0
    light = illuminant, observer
    fine = np.arange(bands[0], bands[-1] + 1)
    true = spectrum_to_lab(fine, CubicSpline(bands, spectra, axis=1)(fine), *light)
    coarse = spectrum_to_lab(bands[::every], spectra[:, ::every], *light)
    return float(np.quantile(dE76(true, coarse), 0.95))


# reflectances.csv: 190 measured surfaces (source and licence in its head and beside it); dyed.csv:
# invented cloth, written by tests/benchmarks/adapting.py.
SURFACES = Path(__file__).parent / "surfaces"
LAST = 720  # nm: most measured surfaces end in a straight line beyond


@cache
def surfaces() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Wavelengths (k,), reflectance factors (m, k), and the family of each: dyed or measured."""
    invented = pd.read_csv(SURFACES / "dyed.csv", comment="#")
    real = pd.read_csv(SURFACES / "reflectances.csv", comment="#").drop(columns="sample")
    bands = np.array([float(name) for name in invented.columns[1:]])
    at = [float(name) for name in real.columns if int(name) <= LAST]
    seen = real.iloc[:, : len(at)].to_numpy(float)
    measured = np.array([np.interp(bands, at, row) for row in seen])
    families = [*invented["family"], *["measured"] * len(measured)]
    spectra = np.concatenate([invented.iloc[:, 1:].to_numpy(float), measured])
    return bands, spectra, np.array(families)
