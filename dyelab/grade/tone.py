"""Plain fading told from a change of tone: yellows that brown, iron that greys.

A cloth that only loses dye follows the Kubelka-Munk path K/S = (K/S of the bare cloth) + f times
what the dye added, f falling from 1. The nearest colour on that path is what plain fading would
have made; what lies between it and the colour read is a change of tone.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from dyelab import compare, convert, table

UNSEEN, PLAIN, DEEPER, TONE = "no visible change", "plain fading", "deepening", "tone change"
# Of the whole change: how far the path worked out may stray from the true one, by what it is worked
# out from and whether the bare cloth is known. In two worlds it strayed by 0.21 and 0.51 at most,
# by 0.37 and 0.63 where the cloth isn't known (tests/benchmarks/tone_stray.py); of three bands (X,
# Y, Z) a clear yellow strays most.
STRAY = {
    ("spectrum", True): 0.33,
    ("spectrum", False): 0.40,
    ("three bands", True): 0.55,
    ("three bands", False): 0.68,
}
_LEFT = np.linspace(0, 1.5, 151)  # f
_DEEPER = 1.03  # share of the dye left, above which a cloth has deepened
_VISIBLE = 1.0  # ΔE00 (common practice)


@dataclass(frozen=True)
class _Bands:
    """Reflectance in a few bands, and the way to CIELAB from there."""

    before: np.ndarray
    bare: np.ndarray
    to_lab: Callable[[np.ndarray], np.ndarray]
    kind: str


def tone(
    before: pd.DataFrame,
    after: pd.DataFrame,
    *,
    bare: ArrayLike | None = None,
    spectra: pd.DataFrame | None = None,
    doubt: ArrayLike = 0.0,
) -> pd.DataFrame:
    """Split each change into fading and a change of tone.

    Parameters
    ----------
    before, after : DataFrame
        One row a pair, `L, a, b, illuminant, observer`; with `spectra`, also `reading`.
    bare : array_like, shape (3,), optional
        CIELAB of the undyed cloth; white where not known.
    spectra : DataFrame, optional
        `reading` and reflectance factors, of every before-reading. The undyed cloth is then
        taken as grey of its own lightness.
    doubt : array_like, shape (n,)
        Half-width of the interval of each ΔE00.

    Returns
    -------
    DataFrame
        `kind` (``no visible change``, ``plain fading``, ``deepening``, ``tone change``),
        `colour_left` (f: 1 is all), `off` (ΔE00 from the nearest plainly faded colour),
        `turned` (which way, in words), `basis` (``spectrum`` or ``three bands``).

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import grade
    >>> before = pd.DataFrame({"L": [50.0], "a": [20.0], "b": [22.0]})
    >>> before = before.assign(illuminant="D65", observer=10)
    >>> after = before.assign(L=58.0, a=15.0, b=18.0)
    >>> grade.tone(before, after, bare=[88, 0, 8])["kind"].tolist()
    ['plain fading']
    """
    illuminant, observer = table.one_white(before, after)
    white = convert.white(illuminant, observer)
    first, second = before[table.LAB].to_numpy(float), after[table.LAB].to_numpy(float)
    ground = np.asarray([100.0, 0, 0] if bare is None else bare, float)
    # X, Y and Z over those of the white are three broad bands of reflectance.
    before_xyz, bare_xyz = (convert.lab_to_xyz(lab, white) / white for lab in (first, ground))
    bands = _Bands(
        before_xyz, bare_xyz, lambda r: convert.xyz_to_lab(r * white, white), "three bands"
    )
    if spectra is not None and set(before["reading"]) <= set(spectra["reading"]):
        bands = _spectral(before, ground, spectra, (illuminant, observer))
    path = bands.to_lab(_fade(bands))
    away = convert.dE00(second[:, None], path)
    best = np.argmin(away, axis=1)
    nearest, off = path[np.arange(len(path)), best], away.min(axis=1)
    whole, left = convert.dE00(first, second), _LEFT[best]
    unsure = np.asarray(doubt, float) + STRAY[bands.kind, bare is not None] * whole
    kind = np.where(left > _DEEPER, DEEPER, PLAIN).astype(object)
    kind[off >= np.maximum(_VISIBLE, unsure)] = TONE
    kind[whole < _VISIBLE] = UNSEEN
    turned = np.array(compare.direction(nearest, second), object)
    turned[kind != TONE] = ""
    names = ("kind", "colour_left", "off", "turned", "basis")
    return pd.DataFrame(dict(zip(names, (kind, left, off, turned, bands.kind), strict=True)))


def _spectral(
    before: pd.DataFrame, bare: np.ndarray, spectra: pd.DataFrame, light: table.White
) -> _Bands:
    columns = [name for name in spectra.columns if name != "reading"]
    read = spectra.set_index("reading").loc[before["reading"], columns].to_numpy(float)
    wavelengths = np.array([float(name) for name in columns])
    ground = np.full(len(columns), float(convert.lab_to_xyz(bare, convert.white(*light))[1]) / 100)
    return _Bands(
        read, ground, lambda r: convert.spectrum_to_lab(wavelengths, r, *light), "spectrum"
    )


def _fade(bands: _Bands) -> np.ndarray:
    """Reflectance along the path of plain fading: (n, f, bands)."""
    first, ground = (convert.ks(np.clip(r, 1e-4, 0.9999)) for r in (bands.before, bands.bare))
    added = np.maximum(first - ground, 0.0)
    base = np.minimum(first, ground)
    return convert.ks_to_reflectance(base[:, None] + _LEFT[:, None] * added[:, None])
