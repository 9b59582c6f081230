"""Spectrum to XYZ and CIELAB: ASTM E308 weights at 10 and 20 nm, direct sums at 1 and 5 nm."""

import re
from functools import lru_cache

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from dyelab.convert.lab import xyz_to_lab
from dyelab.convert.light import FINE, colour_matching, fine_weights, illuminant_power, white
from dyelab.errors import InputError
from dyelab.table import LAB

STEPS = (1, 5, 10, 20)  # nm, as ASTM E308 and instruments have them
_NM = re.compile(r"\d{3,4}")


def spectrum_to_xyz(
    wavelengths: ArrayLike, reflectance: ArrayLike, illuminant: str = "D65", observer: int = 10
) -> np.ndarray:
    """Tristimulus values of reflectance spectra.

    Parameters
    ----------
    wavelengths : array_like (k,)
        Rising, evenly spaced by 1, 5, 10 or 20 nm.
    reflectance : array_like (..., k)
        Reflectance factors, 0 to 1 (over 1 for fluorescent cloth). Not clamped.
    illuminant : str
        CIE name.
    observer : int
        2 or 10.

    Returns
    -------
    ndarray (..., 3)
        XYZ with Y = 100 for the perfect reflector. At 10 and 20 nm by ASTM E308 with weights
        computed as in ASTM E2022 (the kind of its table 5: for instruments that correct for
        their bandpass, as most do), else by summation (CIE 15). Bands missing towards 360 and
        780 nm take the value of the last one measured (E308, 7.3.2.2).

    Raises
    ------
    InputError
        For another spacing, too short a range, or a count of bands that doesn't match.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import convert
    >>> convert.spectrum_to_xyz(np.arange(400, 701, 10), np.full(31, 0.18)).round(2).tolist()
    [17.07, 18.0, 19.31]
    """
    factors = np.asarray(reflectance, float)
    bands = tuple(np.asarray(wavelengths, float).tolist())
    if factors.shape[-1:] != (len(bands),):
        raise InputError(
            f"{factors.shape[-1] if factors.ndim else 0} reflectance values for {len(bands)} "
            "wavelengths. Give one value a wavelength."
        )
    return factors @ _weights(bands, illuminant, int(observer))


def spectrum_to_lab(
    wavelengths: ArrayLike, reflectance: ArrayLike, illuminant: str = "D65", observer: int = 10
) -> np.ndarray:
    """CIELAB of reflectance spectra; parameters and errors as in `spectrum_to_xyz`.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import convert
    >>> convert.spectrum_to_lab(np.arange(400, 701, 10), np.full(31, 0.18)).round(2).tolist()
    [49.5, 0.0, 0.0]
    """
    xyz = spectrum_to_xyz(wavelengths, reflectance, illuminant, observer)
    return xyz_to_lab(xyz, white(illuminant, observer))


def resample(wavelengths: ArrayLike, reflectance: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """Spectra on whole nm, every 1, 5, 10 or 20 nm, whatever grid they were measured on.

    Parameters
    ----------
    wavelengths : array_like (k,)
        In nm, rising, at most 20 nm apart.
    reflectance : array_like (n, k)

    Returns
    -------
    wavelengths : ndarray (m,)
        As given where they are such a grid already; else every 5 nm, or every 10 nm where they
        were 5 nm or more apart, within the measured range.
    reflectance : ndarray (n, m)
        By a cubic spline (CIE 15:2018, 7.2.1: interpolation where data are at other intervals).

    Raises
    ------
    InputError
        If the wavelengths don't rise, or are over 20 nm apart.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import convert
    >>> waves, found = convert.resample(np.arange(400, 701, 16), np.full((1, 19), 0.3))
    >>> waves[[0, -1]].tolist()
    [400.0, 680.0]
    """
    from scipy.interpolate import CubicSpline

    bands, values = np.asarray(wavelengths, float), np.asarray(reflectance, float)
    gaps = np.diff(bands)
    if len(bands) < 4 or gaps.min() <= 0 or gaps.max() > STEPS[-1] + 0.5:
        raise InputError(
            f"wavelengths are {gaps.max() if len(gaps) else 0:g} nm apart, from {bands[0]:g} to "
            f"{bands[-1]:g} nm. Colour needs them at most 20 nm apart, each once: export the "
            "measurement with more of them."
        )
    whole = bool((bands == np.round(bands)).all())
    if whole and np.ptp(gaps) == 0 and gaps[0] in STEPS:
        return bands, values
    step = 5 if np.median(gaps) < 5 else 10
    at = np.arange(np.ceil(bands[0] / step), np.floor(bands[-1] / step) + 1) * step
    good = np.isfinite(values).all(axis=-1)
    made = np.full((len(values), len(at)), np.nan)
    if good.any():
        made[good] = CubicSpline(bands, values[good], axis=-1)(at)
    return at, made


def spectra_to_lab(
    spectra: pd.DataFrame, illuminant: str = "D65", observer: int = 10
) -> pd.DataFrame:
    """CIELAB of a spectra table: its other columns, then L, a, b, illuminant, observer.

    Rows may reach over different wavelengths, NaN elsewhere; each is computed from its own.

    Examples
    --------
    >>> from dyelab import book, convert, synth
    >>> bk = book.open(synth.example())
    >>> convert.spectra_to_lab(bk.spectra.head(2)).round(1)[["reading", "L", "a", "b"]]
      reading     L     a     b
    0     W01  69.0  17.3  26.0
    1     W02  48.4  37.5  18.1
    """
    columns = wavelength_columns(spectra)
    lab = pd.DataFrame(np.nan, index=spectra.index, columns=LAB)
    for bands, rows in same_bands(spectra):
        seen = spectra.loc[rows, [f"{band}" for band in bands]].to_numpy(float)
        lab.loc[rows] = spectrum_to_lab(bands, seen, illuminant, observer)
    others = spectra.drop(columns=columns)
    return pd.concat([others, lab], axis=1).assign(illuminant=illuminant, observer=observer)


def same_bands(spectra: pd.DataFrame) -> list[tuple[list[int], np.ndarray]]:
    """Wavelengths, and a mask of the rows that have just these, for each set in the table.

    Examples
    --------
    >>> from dyelab import book, convert, synth
    >>> bk = book.open(synth.example())
    >>> [(len(rows), len(bands)) for rows, bands in convert.same_bands(bk.spectra)]
    [(31, 913)]
    """
    columns = wavelength_columns(spectra)
    there = spectra[columns].notna().to_numpy()
    patterns, which = np.unique(there, axis=0, return_inverse=True)
    bands = np.array(columns, dtype=int)
    found = ((bands[own].tolist(), which.ravel() == i) for i, own in enumerate(patterns))
    return [(own, rows) for own, rows in found if own]


def wavelength_columns(spectra: pd.DataFrame) -> list[str]:
    """Columns of a spectra table that are wavelengths in nm, rising.

    Raises
    ------
    InputError
        If there are none.

    Examples
    --------
    >>> from dyelab import book, convert, synth
    >>> bk = book.open(synth.example())
    >>> convert.wavelength_columns(bk.spectra)[:3]
    ['400', '410', '420']
    """
    bands = [column for column in spectra.columns if _NM.fullmatch(str(column))]
    if not bands:
        raise InputError("no wavelength columns here. Name them by nm: 400, 410 and so on.")
    return sorted(bands, key=int)


def missing_ends(wavelengths: ArrayLike) -> bool:
    """Whether the bands stop short of 360 to 780 nm, so that E308 fills in their ends.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import convert
    >>> convert.missing_ends(np.arange(400, 701, 10))
    True
    """
    bands = np.asarray(wavelengths, float)
    step = bands[1] - bands[0]
    return bool(bands[0] - step >= FINE[0] or bands[-1] + step <= FINE[-1])


@lru_cache(maxsize=64)
def _weights(bands: tuple[float, ...], illuminant: str, observer: int) -> np.ndarray:
    """One matrix (k, 3) that turns reflectance into XYZ; bands out of range weigh nothing."""
    step = _step(bands)
    grid = _grid(bands[0], step)
    full = (
        _sum_weights(grid, illuminant, observer) if step <= 5 else _e308(grid, illuminant, observer)
    )
    weights = np.zeros((len(bands), 3))
    place = {band: i for i, band in enumerate(bands)}
    first, last = max(bands[0], grid[0]), min(bands[-1], grid[-1])
    for band, row in zip(grid, full, strict=True):
        weights[place[min(max(band, first), last)]] += row
    weights.flags.writeable = False
    return weights


def _step(bands: tuple[float, ...]) -> int:
    gaps = np.unique(np.round(np.diff(bands), 6))
    if len(bands) < 2 or len(gaps) != 1 or gaps[0] not in STEPS:
        found = ", ".join(f"{gap:g}" for gap in gaps[:4]) or "a single band"
        raise InputError(
            f"wavelengths are spaced by {found} nm. Colour needs 1, 5, 10 or 20 nm, evenly: "
            "export the measurement at one of these."
        )
    if any(band != round(band) for band in bands):
        raise InputError("wavelengths aren't whole nm. Export the measurement at whole nm.")
    if bands[0] > 420 or bands[-1] < 680:
        raise InputError(
            f"the spectrum runs from {bands[0]:g} to {bands[-1]:g} nm only. "
            "Colour needs at least 420 to 680 nm: measure the whole visible range."
        )
    return int(gaps[0])


def _grid(start: float, step: int) -> np.ndarray:
    """Bands of the whole range 360 to 780 nm in line with those measured."""
    first = FINE[0] + (start - FINE[0]) % step
    return np.arange(first, FINE[-1] + 1, step)


def _sum_weights(grid: np.ndarray, illuminant: str, observer: int) -> np.ndarray:
    """Weights for direct summation, scaled so that white is the same as at 1 nm."""
    weights = fine_weights(illuminant, observer)[(grid - FINE[0]).astype(int)]
    return weights * (white(illuminant, observer) / weights.sum(axis=0))


def _e308(grid: np.ndarray, illuminant: str, observer: int) -> np.ndarray:
    """Weights at 10 or 20 nm as ASTM E2022 computes them for the tables of ASTM E308."""
    fine = np.arange(grid[0], grid[-1] + 1)
    products = colour_matching(observer, fine) * illuminant_power(illuminant, fine)[:, None]
    weights = _lagrange(grid[0], grid[-1], grid[1] - grid[0]).T @ products
    return weights * (white(illuminant, observer) / weights.sum(axis=0))


@lru_cache(maxsize=16)
def _lagrange(start: float, end: float, step: float) -> np.ndarray:
    """Matrix (n at 1 nm, n at the step) of Lagrange interpolation, as ASTM E2022 prescribes.

    Through the four nearest bands, in the first and the last interval through three.
    """
    grid, fine = np.arange(start, end + 1, step), np.arange(start, end + 1)
    matrix = np.zeros((len(fine), len(grid)))
    last = len(grid) - 2
    for row, at in zip(matrix, fine, strict=True):
        interval = min(int((at - start) // step), last)
        nodes = range(max(interval - 1, 0), min(interval + 2, last + 1) + 1)
        for i in nodes:
            others = [grid[j] for j in nodes if j != i]
            row[i] = np.prod([(at - other) / (grid[i] - other) for other in others])
    return matrix
