"""What the 24 patches are: published averages, or the user's own target measured."""

import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from dyelab import convert, limits, read
from dyelab.errors import InputError
from dyelab.table import DEFAULT_WHITE, LAB, WHITE, White, white_text

BANDS = np.arange(380.0, 731.0, 10.0)
ROWS, COLUMNS = 4, 6
NOISE = 0.015  # of a patch's value beside its own spectrum
# Relative error of a patch's reference: a target of the usual kind beside the published average
# (common knowledge of the trade: about half a unit), and one read by its owner.
ONE_OF, OWN = 0.01, 0.003
_EDITIONS = ("D50", 2)  # the white that the published editions are stated for
# How paints of one name differ: smoothly (nm), and in proportion to their reflectance and a little
# more. Half and double of both: tests/benchmarks/reflectance_constants.py.
SMOOTH_NM, DARK = 40.0, 0.02


@dataclass(frozen=True)
class Reference:
    """The target's 24 patches, row by row, the six greys last.

    Attributes
    ----------
    lab : ndarray (24, 3)
        CIELAB under `white`.
    spectra : ndarray (24, 36)
        Reflectance factors at `BANDS`.
    names : tuple of str
        Of the patches.
    spectral : bool
        Whether the spectra are of this target, or only the published average's.
    source : str
        Where the values come from.
    white : (illuminant, observer)
        For which this target's colours, and all that is measured by it, are computed.
    unsure : float
        Relative error of a patch of this target beside these values.
    """

    lab: np.ndarray
    spectra: np.ndarray
    names: tuple[str, ...]
    spectral: bool
    source: str
    white: White = DEFAULT_WHITE
    unsure: float = OWN

    @property
    def noise(self) -> float:
        """Relative standard deviation of what a camera sees of a patch about its spectrum."""
        return NOISE if self.spectral else 1.3 * NOISE

    def subset(self, kept: np.ndarray) -> "Reference":
        """Return the reference with some of its patches."""
        names = tuple(name for name, k in zip(self.names, kept, strict=True) if k)
        return replace(self, lab=self.lab[kept], spectra=self.spectra[kept], names=names)


@limits.in_time
def reference(source: str | Path = "average", white: White = DEFAULT_WHITE) -> Reference:
    """Get the target's reference values.

    Parameters
    ----------
    source : str or Path
        A measurement file of the 24 patches (CGATS, CxF3, CSV; spectra or CIELAB), or the name
        of a published average: ``average``, ``older``, ``newer``.
    white : (illuminant, observer)
        Wanted for its colours. CIELAB under another white goes by `nearest_spectra`.

    Raises
    ------
    InputError
        If it is neither, or the file hasn't 24 patches, or they are no such target.

    Examples
    --------
    >>> from dyelab import calibrate
    >>> calibrate.reference("average").lab.shape
    (24, 3)
    """
    if str(source) in convert.target_names():
        return _find_published(str(source), white)
    if not Path(source).exists():
        raise InputError(
            f"no file {str(source)!r} with the target's values. Give a measurement file of its "
            f"24 patches, or a published average: {', '.join(convert.target_names())}."
        )
    return _find_measured(Path(source), white)


def _find_published(name: str, white: White) -> Reference:
    measured = name == "average"
    light = white if measured else _EDITIONS
    table = convert.target_lab(name, illuminant=light[0], observer=light[1])
    names, lab = tuple(table["sample"]), table[LAB].to_numpy(float)
    spectra = average() if measured else nearest_spectra(lab, light)
    lab = lab if measured else _lab(spectra, white)
    return Reference(lab, spectra, names, measured, name, white, ONE_OF)


def nearest_spectra(lab: np.ndarray, white: White) -> np.ndarray:
    """Spectra (24, 36) nearest to the published average's that give these colours.

    Of the smooth relative changes that do, the least one, patch by patch: then the colours under
    any other white can be computed, where adapting them would err by several units.

    Parameters
    ----------
    lab : ndarray (24, 3)
        CIELAB of the patches, row by row.
    white : (illuminant, observer)
        Of those values.
    """
    start = average()
    eye = np.eye(len(BANDS))
    sums = convert.spectrum_to_xyz(BANDS, eye, illuminant=white[0], observer=white[1])
    wanted = convert.lab_to_xyz(lab, convert.white(*white)) - start @ sums
    smooth = np.exp(-0.5 * ((BANDS[:, None] - BANDS) / SMOOTH_NM) ** 2)
    made = []
    for spectrum, off in zip(start, wanted, strict=True):
        free = smooth * np.outer(spectrum + DARK, spectrum + DARK)
        made.append(spectrum + free @ sums @ np.linalg.solve(sums.T @ free @ sums, off))
    return np.maximum(np.array(made), 1e-3)


def _lab(spectra: np.ndarray, white: White) -> np.ndarray:
    return convert.spectrum_to_lab(BANDS, spectra, illuminant=white[0], observer=white[1])


def average() -> np.ndarray:
    return convert.target_spectra()[[str(int(b)) for b in BANDS]].to_numpy(float)


def _find_measured(path: Path, white: White) -> Reference:
    found = read.measurements(path, options={})
    table = found.spectra if found.spectra is not None else found.lab
    if table is None or len(table) != ROWS * COLUMNS:
        count = 0 if table is None else len(table)
        raise InputError(
            f"{path.name}: {count} patches; the reference target has {ROWS * COLUMNS}. "
            "Measure each patch once, row by row, and give that file."
        )
    order = in_rows(list(table["sample"].astype(str)))
    table = table.iloc[order].reset_index(drop=True)
    spectral = found.spectra is not None
    lab = (convert.spectra_to_lab(table, *white) if spectral else table)[LAB].to_numpy(float)
    turned = _upright(lab)
    if turned is None:
        raise InputError(
            f"{path.name}: these 24 patches hold no row of six greys from white to black. "
            "Expected the usual 24-patch target, row by row, its greys in the last row."
        )
    names = tuple(table["sample"].astype(str).iloc[turned])
    if not spectral:
        spectra = nearest_spectra(lab[turned], _white_of(table, path.name))
        return Reference(_lab(spectra, white), spectra, names, spectral, path.name, white)
    bands = convert.wavelength_columns(table)
    at, read_as = [float(band) for band in bands], table[bands].to_numpy(float)[turned]
    spectra = np.array([np.interp(BANDS, at, row) for row in read_as])
    return Reference(lab[turned], spectra, names, spectral, path.name, white)


def _white_of(table: pd.DataFrame, name: str) -> White:
    found = sorted({(str(i), int(o)) for i, o in table[WHITE].itertuples(index=False)})
    if len(found) > 1:
        raise InputError(
            f"{name}: patches under {' and '.join(white_text(w) for w in found)}. "
            "Give all under one white."
        )
    return found[0]


def in_rows(samples: list[str]) -> list[int]:
    """Order that puts patches row by row: by A1 to D6, A1 to F4 or 1 to 24; else as they are."""
    cells = [re.fullmatch(r"([A-Fa-f])\s*0?([1-6])", s.strip()) for s in samples]
    if all(cells):
        pairs = [(c[1].upper(), int(c[2])) for c in cells if c]
        by_letter = len({letter for letter, _ in pairs}) == ROWS
        keys = [(a, n) if by_letter else (str(n), ord(a)) for a, n in pairs]
        return sorted(range(len(keys)), key=keys.__getitem__)
    if all(re.fullmatch(r"\D*0*\d{1,2}", s) for s in samples):
        numbers = [int(re.sub(r"\D", "", s)) for s in samples]
        if sorted(numbers) == list(range(min(numbers), min(numbers) + len(samples))):
            return sorted(range(len(numbers)), key=numbers.__getitem__)
    return list(range(len(samples)))


def _upright(lab: np.ndarray) -> np.ndarray | None:
    """Order with the greys, white first, as the last row; None if no side is all grey."""
    grid = np.arange(ROWS * COLUMNS).reshape(ROWS, COLUMNS)
    by_column = np.arange(ROWS * COLUMNS).reshape(COLUMNS, ROWS).T
    for plan in (grid, grid[::-1, ::-1], by_column, by_column[::-1, ::-1]):
        greys = lab[plan[-1]]
        if np.hypot(greys[:, 1], greys[:, 2]).max() < 10 and (np.diff(greys[:, 0]) < -5).all():
            return plan.ravel()
    return None
