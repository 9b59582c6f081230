"""Calibration from the card's white paper alone: the camera's own colours, white balanced."""

import numpy as np
import pandas as pd

from dyelab import convert
from dyelab.calibrate.camera_calibration import Calibration
from dyelab.calibrate.colour_fit import to_lab, to_xyz
from dyelab.calibrate.fit import NODES, gather_errors
from dyelab.calibrate.priors import prior, training
from dyelab.calibrate.program import DRAWS, Undoing
from dyelab.calibrate.tone import Tone
from dyelab.convert.srgb import SRGB_TO_XYZ
from dyelab.table import DEFAULT_WHITE, White

# What makers' programs do, by common knowledge of phones' pictures, standard deviations: the tone's
# numbers about a steeper curve, chroma, lightness and hue in CIELAB, a cast on the paper.
_STEEPER, _CURVE = np.array([0.0, -0.1, -0.2]), np.array([0.06, 0.2, 0.25])
_LIVELY, _DARKER, _TURNED, _CAST = (1.08, 0.12), 0.04, 0.05, np.array([0.5, 0.7, 0.7])
# Nothing is fitted that could fit too well; but programs at their full strength do more than those
# drawn here. With 1 their regions held 90 to 94 in a hundred, with this 95 to 98, and without a
# program 99 (`photo_worlds.py 24 30500 white derive`).
_WIDER = np.array([1.2, 0.0])
_EXPOSED = 0.75  # how light a perfect white is stored, full being 1


def from_white(
    paper: np.ndarray, reference_white: float = 0.88, white: White = DEFAULT_WHITE
) -> Calibration:
    """Calibrate by the card's paper alone.

    Parameters
    ----------
    paper : ndarray (3,)
        Linear camera values of the paper.
    reference_white : float
        Its luminance factor.
    white : (illuminant, observer)
        Wanted for the colours.

    Returns
    -------
    Calibration
        Its errors are those of cameras of every kind, and large.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import calibrate
    >>> calibrate.from_white(np.array([0.8, 0.82, 0.79])).method
    'white'
    """
    rng, cloths = np.random.default_rng(0), training(white).every(NODES)
    seen = np.stack([_as_developed(cloths.spectra, white, rng) for _ in range(DRAWS)])
    errors = gather_errors(seen, cloths, seen.mean(axis=0), cloths, _WIDER)
    matrix = srgb_to_white(white) * reference_white / paper
    empty = pd.DataFrame(columns=["patch", "L", "a", "b", "dE00", "dE00_left_out"])
    return Calibration(
        "white", Undoing(Tone(), np.zeros(3)), 1, matrix, errors, empty, paper[None],
        ("no_target",), white=white,
    )  # fmt: skip


def _as_developed(spectra: np.ndarray, white: White, rng: np.random.Generator) -> np.ndarray:
    """CIELAB (n, 3) that some camera's own program makes of spectra, its white nearly right."""
    samples = prior().samples
    light, camera = rng.integers(samples.shape[0]), rng.integers(samples.shape[1])
    values = np.maximum(spectra @ samples[light, camera], 0)
    for share in (1.0, 0.5, 0.0):
        tone = Tone(*(_STEEPER + share * _CURVE * rng.standard_normal(3)))
        if tone.is_rising:
            break
    bent = tone.redo(_EXPOSED * values) / tone.redo(np.array(_EXPOSED))
    return _please(to_lab(bent @ srgb_to_white(white).T, white), rng)


def _please(lab: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Livelier, darker or lighter, hues turned, cast."""
    L, C, h = convert.lab_to_lch(lab).T
    C = C * rng.normal(*_LIVELY)
    h = np.radians(h) + rng.normal(0, _TURNED) + rng.normal(0, _TURNED) * np.sin(np.radians(h))
    L = L + rng.normal(0, _DARKER) * L * (100 - L) / 25
    return np.column_stack([L, C * np.cos(h), C * np.sin(h)]) + rng.normal(0, _CAST)


def srgb_to_white(white: White) -> np.ndarray:
    """Linear sRGB (IEC 61966-2-1) to XYZ under this white, white to white."""
    lab = convert.xyz_to_lab(100 * SRGB_TO_XYZ.T, convert.white("D65", 2))
    return to_xyz(lab, white).T
