"""From patches seen and patches known to a calibration: tone and colour together, then errors."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from dyelab import convert
from dyelab.calibrate.camera_response import Response, any_response, learn
from dyelab.calibrate.cloths import training
from dyelab.calibrate.colour_fit import (
    DEGREES,
    RIDGE,
    TOP,
    Known,
    White,
    joined,
    known,
    left_out,
    solve,
    terms,
    to_lab,
    to_xyz,
)
from dyelab.calibrate.model import Calibration, Errors
from dyelab.calibrate.reference import NOISE, Reference
from dyelab.calibrate.tone import Tone
from dyelab.calibrate.tone_fit import ToneFit
from dyelab.convert.srgb import SRGB_TO_XYZ
from dyelab.errors import InputError, choose
from dyelab.table import DEFAULT_WHITE

DRAWS, NODES = 16, 450
PATCH_WEIGHT = 30.0  # of a real patch beside an invented cloth
WORST_FIT, WORST_PATCH = 7.0, 25.0  # ΔE00, median and single, that mean: this isn't that target
_MEDIAN = 2.366  # of chi-square with three degrees of freedom
_USUAL = 0.72
_DEVELOPED = 0.85, 0.2  # mean and spread of how far cameras' programs go, by trial
_STEEPER = ToneFit(Tone(0, -0.1, -0.2), np.diag([0.03, 0.15, 0.2]) ** 2)
_EXPOSED = 0.75  # how light a perfect white is stored, full being 1
_PLEASING, _CAST = np.array([0.01, 0.04, 0.04]), np.array([0.2, 0.4, 0.4])
METHODS = ("auto", "plain", "learned")


@dataclass(frozen=True)
class Seen:
    """Colours known beside what the camera saw of them.

    `stored` (n, 3) is linear by the file's own curve, before any tone is undone, `light` (n,) the
    relative light there; spectra (n, 36) may be missing (NaN rows).
    """

    stored: np.ndarray
    light: np.ndarray
    of: Known
    spectra: np.ndarray

    def rgb(self, tone: Tone) -> np.ndarray:
        """Camera values, tone undone, light evened out."""
        return tone.undo(self.stored) / self.light[:, None]


def check_method(method: str) -> None:
    """Refuse a way of fitting that there isn't."""
    choose(method, METHODS, "method", "of calibrating")


def patches_seen(stored: np.ndarray, light: np.ndarray, reference: Reference) -> Seen:
    """Pair the 24 patches with their reference."""
    return Seen(stored, light, known(reference.lab, white=reference.white), reference.spectra)


def calibrated(
    seen: Seen,
    toned: ToneFit,
    reference: Reference,
    *,
    method: str = "auto",
    flags: tuple[str, ...] = (),
    seed: int = 0,
) -> Calibration:
    """Fit the colour and work out its errors.

    Parameters
    ----------
    seen : Seen
        The patches.
    toned : ToneFit
        Tone curve of the camera.
    reference : Reference
        Of the patches.
    method : str
        ``auto``, ``plain`` or ``learned``.
    flags : tuple of str
        To keep.
    seed : int
        Of the simulation.

    Raises
    ------
    InputError
        If the patches don't fit the reference.
    """
    tone = toned.tone
    rgb = seen.rgb(tone)
    matrix, out = _plain(rgb, seen.of)
    _check_fit(out, reference)
    response = learn(*_spectral(seen, rgb), noise=reference.noise)
    plain = method == "plain" or (method == "auto" and not _helps(response, seen, rgb))
    if not plain:
        matrix = _learned(response, rgb, seen.of)
    doubt = _Doubt(response, toned, seen)
    errors = _simulated(doubt, matrix, TOP, np.random.default_rng(seed))
    patches = _report(reference, terms(rgb, TOP) @ matrix.T, out)
    made = Calibration(
        "plain" if plain else "learned", tone, TOP, matrix, errors, patches,
        witnesses=seen.stored / seen.light[:, None], flags=flags, white=reference.white,
    )  # fmt: skip
    scale = _observed(doubt, rgb, seen.of, seed)
    return replace(made, errors=replace(errors, scale=scale))


def _plain(rgb: np.ndarray, of: Known) -> tuple[np.ndarray, np.ndarray]:
    """Mean of the fits of every degree, and the patches' ΔE00 by fits without each.

    A degree counts by how little it misses a patch that it didn't see: on dyed cloth such a mean
    is nearer the truth, under every light tried, than the degree that leaves out best.
    """
    degrees = [d for d in DEGREES if d == 1 or 3 * len(rgb) >= 4 * terms(rgb[:1], d).size]
    fits = [solve(terms(rgb, d), of, RIDGE[d]) for d in degrees]
    outs = [to_xyz(left_out(terms(rgb, d), of, RIDGE[d]), of.white) for d in degrees]
    share = np.array(
        [1 / np.mean(convert.dE00(of.lab, to_lab(out, of.white)) ** 2) for out in outs]
    )
    share /= share.sum()
    size = terms(rgb[:1], TOP).size
    padded = [np.pad(fit, ((0, 0), (0, size - fit.shape[1]))) for fit in fits]
    together = to_lab(np.einsum("d,dnk->nk", share, np.array(outs)), of.white)
    return np.einsum("d,dkp->kp", share, np.array(padded)), convert.dE00(of.lab, together)


def _check_fit(out: np.ndarray, reference: Reference) -> None:
    worst = int(out.argmax())
    if np.median(out) > WORST_FIT:
        raise InputError(
            f"the target's colours don't agree with the reference values ({reference.source}): "
            f"half of its patches are over {np.median(out):.0f} ΔE00 off. Are these the values of "
            "this target? Is it in even, white light?"
        )
    if out[worst] > WORST_PATCH:
        raise InputError(
            f"patch {reference.names[worst]!r} of the target is {out[worst]:.0f} ΔE00 off, the "
            f"others {np.median(out):.1f}: is it covered, shaded or dirty? Uncover it, or give the "
            "values of this target."
        )


def _spectral(seen: Seen, rgb: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    whole = np.isfinite(seen.spectra).all(axis=1)
    return rgb[whole], seen.spectra[whole]


def _helps(response: Response, seen: Seen, rgb: np.ndarray) -> bool:
    """Whether smooth curves explain the patches, so that training on them is worth it."""
    values, spectra = _spectral(seen, rgb)
    off = spectra @ response.mean / np.maximum(values, 1e-4) - 1
    bright = values > 0.05 * values.max()
    return float(np.sqrt(np.mean(off[bright] ** 2))) < 2.0 * NOISE


def _learned(response: Response, rgb: np.ndarray, of: Known) -> np.ndarray:
    spectra, invented = training(of.white)
    phi = np.concatenate([terms(spectra @ response.mean, TOP), terms(rgb, TOP)])
    heavier = Known(of.lab, of.xyz, of.weights * np.sqrt(PATCH_WEIGHT), of.white)
    return solve(phi, joined(invented, heavier))


@dataclass(frozen=True)
class _Doubt:
    """What the patches leave open: the camera's response and its tone curve."""

    response: Response
    toned: ToneFit
    seen: Seen

    def values(self, spectra: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """Camera values of spectra in a camera that could be the true one, as ours undoes them."""
        ours, other = self.toned.tone, self.toned.draw(rng)
        whole = np.isfinite(self.seen.spectra).all(axis=1)
        moved = self.seen.rgb(other)[whole] - self.seen.rgb(ours)[whole]
        return ours.undo(other.redo(spectra @ self.response.draw(rng, moved)))


def _simulated(doubt: _Doubt, matrix: np.ndarray, degree: int, rng: np.random.Generator) -> Errors:
    """Errors of this fit for invented cloths, over cameras that agree with the patches."""
    white = doubt.seen.of.white
    spectra, invented = training(white)
    spectra, true = spectra[:NODES], invented.lab[:NODES]
    seen = [doubt.values(spectra, rng) for _ in range(DRAWS)]
    fitted = np.stack([to_lab(terms(rgb, degree) @ matrix.T, white) for rgb in seen])
    return Errors(fitted.mean(axis=0), fitted - true)


def _report(reference: Reference, xyz: np.ndarray, out: np.ndarray) -> pd.DataFrame:
    L, a, b = reference.lab.T
    left = convert.dE00(reference.lab, to_lab(xyz, reference.white))
    return pd.DataFrame(
        {"patch": reference.names, "L": L, "a": a, "b": b, "dE00": left, "dE00_left_out": out}
    )


def _observed(doubt: _Doubt, rgb: np.ndarray, of: Known, seed: int) -> float:
    """How much larger real errors are than simulated ones, from patches that a fit didn't see.

    The ratio is measured on linear fits, which 24 patches pin down well, and drawn towards
    `_USUAL`, what it was over six rendered photos a light.
    """
    phi = terms(rgb, 2)
    fitted = left_out(phi, of)
    matrix = solve(phi, of)
    errors = _simulated(doubt, matrix, 2, np.random.default_rng(seed))
    own, common = errors.at(fitted)
    whole = own + np.einsum("ndk,ndl->nkl", common, common) + 0.02 * np.eye(3)
    off = fitted - of.lab
    distance = np.einsum("nk,nkl,nl->n", off, np.linalg.inv(whole), off)
    seen = float(np.median(distance)) / _MEDIAN
    return float(np.clip(np.sqrt(_USUAL**2 * max(seen, 0.1) ** 0.5), 0.5, 4))


def from_white(
    paper: np.ndarray, reference_white: float = 0.88, white: White = DEFAULT_WHITE
) -> Calibration:
    """Calibration from the card's paper alone: the camera's own colours, white balanced.

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
    """
    rng = np.random.default_rng(0)
    spectra, invented = training(white)
    spectra, true = spectra[:NODES], invented.lab[:NODES]
    seen = np.stack(
        [_as_developed(spectra, invented.but(np.arange(NODES)), rng) for _ in range(DRAWS)]
    )
    matrix = _srgb_to_white(white) * reference_white / paper
    empty = pd.DataFrame(columns=["patch", "L", "a", "b", "dE00", "dE00_left_out"])
    errors = Errors(seen.mean(axis=0), seen - true)
    flags = ("no_target",)
    return Calibration("white", Tone(), 1, matrix, errors, empty, paper[None], flags, white=white)


def _as_developed(spectra: np.ndarray, of: Known, rng: np.random.Generator) -> np.ndarray:
    """CIELAB (n, 3) that some camera's own program makes of spectra, its white right.

    The best matrix for the camera and light, taken too far or not far enough from the bare
    channels, more contrast than the file admits, then what makers do to please the eye.
    """
    response = any_response(rng)
    raw = spectra @ response / response.sum(axis=0)
    best = np.linalg.solve(_srgb_to_white(of.white), solve(terms(raw, 1), of))
    best /= best.sum(axis=1, keepdims=True)
    far, tone = rng.normal(*_DEVELOPED), _STEEPER.draw(rng)
    seen = raw @ (far * best + (1 - far) * np.eye(3)).T
    bent = tone.redo(_EXPOSED * seen) / tone.redo(np.array(_EXPOSED))
    lab = to_lab(bent @ _srgb_to_white(of.white).T, of.white)
    return lab * (1 + _PLEASING * rng.standard_normal(3)) + rng.normal(0, _CAST, 3)


def _srgb_to_white(white: White) -> np.ndarray:
    """Linear sRGB (IEC 61966-2-1) to XYZ under this white, white to white."""
    screen = convert.white("D65", 2)
    lab = convert.xyz_to_lab(100 * SRGB_TO_XYZ.T, screen)
    return to_xyz(lab, white).T
