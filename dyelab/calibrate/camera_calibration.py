"""A finished calibration: camera values to CIELAB, with the error that depends on the colour."""

import json
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from dyelab import convert, files, limits
from dyelab.calibrate.colour_fit import terms, to_lab
from dyelab.calibrate.nearby_swatches import shifts_at, variance_left
from dyelab.calibrate.program import Undoing
from dyelab.calibrate.shading import WIDTHS
from dyelab.calibrate.tone import Tone
from dyelab.errors import InputError
from dyelab.table import DEFAULT_WHITE, White

# CIELAB units over which calibration errors are alike, and where few cloths are near, as far as so
# many of them reach; photo_constants.py REACH, NEAREST.
REACH, NEAREST = 5.0, 13
# Root mean square ΔE00 of the patches beyond which a stored calibration no longer fits.
_MOST_OFF = 3.0
# Relative variance of a window's light a squared unit of the patches' strain: what of a program the
# card can't undo. By tests/benchmarks/photo_constants.py.
STRAINED = 0.0084
# Relative standard deviation of the light that a program shifts between target and cloths, all of
# them alike, a unit of the patches' strain, and the strain beyond which it shifts no more. The same
# script saw 0.24 to 0.28 a unit (400 and 600 photos); photo_worlds.py, by other programs, 0.10.
# Taken between: less left colours after a program outside their regions, more would be doubt that
# no judged photo has.
SHIFT, MOST_STRAINED = 0.2, 0.5


@dataclass(frozen=True)
class Errors:
    """What the fit would get wrong, by simulation.

    Attributes
    ----------
    lab : ndarray (m, 3)
        What the fit says of m simulated cloths.
    off : ndarray (d, m, 3)
        Its error for each, `shift` taken off, in d cameras, lights and programs that agree with
        the patches as well.
    share : ndarray (m,)
        How much each cloth counts: every family of cloths has its say near every colour it has.
    shift_at, shift, shift_share : ndarray (k, 3), (k, 3), (k,)
        Colours of many more cloths, the expected error that is taken off colours like these, and
        how much each counts.
    scale : ndarray (2,)
        Factor by which real errors are larger (over 1) or smaller than the simulated ones: of
        greys, and what each unit of chroma adds. Strong colours have few cloths like them.
    """

    lab: np.ndarray
    off: np.ndarray
    share: np.ndarray
    shift_at: np.ndarray
    shift: np.ndarray
    shift_share: np.ndarray
    scale: np.ndarray = field(default_factory=lambda: np.array([1.0, 0.0]))

    def at(self, lab: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Error of n colours: what is each colour's own, (n, 3, 3), and what they share.

        The shared part is factors (n, d, 3): the covariance of two colours' calibration errors
        is the sum over factors of the product of their rows.
        """
        near, d = weigh_near(lab, self.lab, self.share), len(self.off)
        common = np.einsum("nm,dmk->ndk", near, self.off, optimize=True)
        square = np.einsum("dmk,dml->mkl", self.off, self.off, optimize=True) / d
        whole = np.einsum("nm,mkl->nkl", near, square)
        own = whole - np.einsum("ndk,ndl->nkl", common, common) / d
        scale = self.scale_at(lab)
        return own * scale**2, common * scale / np.sqrt(d)

    def scale_at(self, lab: np.ndarray) -> np.ndarray:
        """Factor (n, 1, 1) of n colours by which real errors are larger than the simulated."""
        return (self.scale[0] + self.scale[1] * np.hypot(lab[:, 1], lab[:, 2]))[:, None, None]

    def correction(self, lab: np.ndarray) -> np.ndarray:
        """What is taken off n colours, (n, 3)."""
        return weigh_near(lab, self.shift_at, self.shift_share) @ self.shift


def weigh_near(lab: np.ndarray, at: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Weights (n, m), of sum 1, of the cloths at m colours near each of n."""
    from scipy.spatial import KDTree

    nearest = KDTree(at).query(lab, [min(NEAREST, len(at))])[0]
    apart = ((lab**2).sum(axis=1)[:, None] + (at**2).sum(axis=1)) - 2 * lab @ at.T
    weight = np.exp(-0.5 * apart / np.maximum(REACH, nearest) ** 2) * share
    return weight / weight.sum(axis=1, keepdims=True)


@dataclass(frozen=True)
class Calibration:
    """From linear camera values, light evened out, to CIELAB under one white.

    Attributes
    ----------
    method : str
        ``plain``: fitted to the patches; ``learned``: trained on invented cloths seen through
        the camera's estimated response, and on the patches; ``white``: from the card's paper
        alone.
    undoing : Undoing
        Tone curve and glare, undone before anything else.
    degree : int
        Of the root polynomial.
    matrix : ndarray (3, p)
        Terms to XYZ.
    errors : Errors
        Simulated.
    patches : DataFrame
        `patch, L, a, b` (reference), `dE00` (left by the fit), `dE00_left_out` (by a fit that
        didn't see the patch).
    witnesses : ndarray (k, 3)
        Linear camera values, before `tone`, of the patches (or of the paper): what a later photo
        must give again if this calibration is to serve it.
    flags : tuple of str
        What to hold against every colour of the photo.
    anchors : tuple of ndarrays
        CIELAB as fitted, and what is added there, of swatches measured by instrument.
    trusted : float
        Share of what the anchors tell of other colours that is believed, 0 to 1.
    strain : float
        Root mean square of what no camera's response explains of the patches' lightness, in units
        of CIEDE2000: how much a program did that can't be undone.
    white : (illuminant, observer)
        Of the colours.
    local : ndarray (K,)
        Strength of the local tone map over each width that was undone.
    """

    method: str
    undoing: Undoing
    degree: int
    matrix: np.ndarray
    errors: Errors
    patches: pd.DataFrame
    witnesses: np.ndarray
    flags: tuple[str, ...] = ()
    anchors: tuple[np.ndarray, np.ndarray] | None = None
    trusted: float = 1.0
    strain: float = 0.0
    white: White = DEFAULT_WHITE
    local: np.ndarray = field(default_factory=lambda: np.zeros(len(WIDTHS)))

    @property
    def patch_error(self) -> float:
        """Median ΔE00 of the patches by fits that didn't see them."""
        return float(self.patches["dE00_left_out"].median()) if len(self.patches) else np.nan

    @property
    def light_scatter(self) -> float:
        """Relative standard deviation of a window's light that a program leaves undone."""
        return STRAINED**0.5 * self.strain

    @property
    def light_shift(self) -> float:
        """Relative standard deviation of all windows' light against the target's, by a program."""
        return SHIFT * min(self.strain, MOST_STRAINED)

    def lab(self, rgb: np.ndarray) -> np.ndarray:
        """CIELAB (n, 3) of camera values (n, 3), linear, `tone` undone, light evened out."""
        fitted = to_lab(terms(np.atleast_2d(rgb), self.degree) @ self.matrix.T, self.white)
        fitted = fitted - self.errors.correction(fitted)
        return fitted if self.anchors is None else fitted + shifts_at(fitted, *self.anchors)

    def doubt(self, lab: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Error of n colours as `Errors.at` gives it, less what swatches nearby have told."""
        own, common = self.errors.at(lab)
        if self.anchors is not None:
            own = own * variance_left(lab, self.anchors[0], self.trusted)[:, None, None]
        return own, common

    def slope(self, rgb: np.ndarray) -> np.ndarray:
        """Derivative of CIELAB by the logarithm of the camera values, (n, 3, 3)."""
        step, columns = 1e-3, []
        for channel in range(3):
            up, down = rgb.copy(), rgb.copy()
            up[:, channel] *= 1 + step
            down[:, channel] *= 1 - step
            columns.append((self.lab(up) - self.lab(down)) / (2 * step))
        return np.stack(columns, axis=-1)

    def check(self, seen: np.ndarray, name: str) -> None:
        """Refuse a photo whose patches or paper no longer give what they gave.

        Raises
        ------
        InputError
            With how far they are off.
        """
        then, now = (self.lab(self.undoing.undo(g)) for g in (self.witnesses, seen))
        off = float(np.sqrt(np.mean(convert.dE00(then, now) ** 2)))
        if not off <= _MOST_OFF:
            raise InputError(
                f"{name}: the stored calibration no longer fits: the target is {off:.1f} ΔE00 off "
                f"({_MOST_OFF:g} allowed). Light, camera or its settings changed: make a new "
                "calibration with the target in the picture."
            )


def write_calibration(made: Calibration, path: str | Path) -> Path:
    """Keep a calibration for later scans or photos from a copy stand, as JSON.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import calibrate
    >>> made = calibrate.from_white(np.array([0.8, 0.82, 0.79]))
    >>> calibrate.write_calibration(made, folder / "white.json").name
    'white.json'
    """
    content = {
        "dyelab": "calibration 2",
        "method": made.method,
        "tone": made.undoing.tone.values.tolist(),
        "veil": made.undoing.veil.tolist(),
        "degree": made.degree,
        "matrix": made.matrix.tolist(),
        "errors": {
            "lab": np.round(made.errors.lab, 3).tolist(),
            "off": np.round(made.errors.off, 2).tolist(),
            "share": made.errors.share.tolist(),
            "shift_at": np.round(made.errors.shift_at, 2).tolist(),
            "shift": np.round(made.errors.shift, 3).tolist(),
            "shift_share": made.errors.shift_share.tolist(),
            "scale": made.errors.scale.tolist(),
        },
        "patches": made.patches.to_dict("list"),
        "witnesses": made.witnesses.tolist(),
        "flags": list(made.flags),
        "white": list(made.white),
        "strain": made.strain,
        "trusted": made.trusted,
        "local": made.local.tolist(),
        "anchors": None if made.anchors is None else [a.tolist() for a in made.anchors],
    }
    return files.write(path, json.dumps(content))


@limits.in_time
def read_calibration(path: str | Path) -> Calibration:
    """Read a kept calibration.

    Raises
    ------
    InputError
        If the file isn't one.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import calibrate
    >>> made = calibrate.from_white(np.array([0.8, 0.82, 0.79]))
    >>> path = calibrate.write_calibration(made, folder / "white.json")
    >>> calibrate.read_calibration(path).method
    'white'
    """
    try:
        return _from_json(files.json_of(path))
    except (LookupError, TypeError, ValueError, AttributeError, ArithmeticError) as error:
        raise InputError(
            f"{Path(path).name}: not a stored calibration ({str(error)[:60]}). "
            "Write one with: dyelab measure PHOTO --target REF --keep FILE.json -o OUT.csv"
        ) from error


def _from_json(content: dict[str, Any]) -> Calibration:
    errors = {name: np.array(kept, float) for name, kept in content["errors"].items()}
    older = {"shift_at": errors["lab"], "shift_share": errors["share"]}
    anchors, white = content["anchors"], content.get("white", DEFAULT_WHITE)
    return Calibration(
        method=str(content["method"]),
        undoing=Undoing(Tone(*content["tone"]), np.array(content["veil"], float)),
        degree=int(content["degree"]),
        matrix=np.array(content["matrix"], float),
        errors=Errors(**older | errors | {"scale": np.append(errors["scale"], 0.0)[:2]}),
        patches=pd.DataFrame(content["patches"]),
        witnesses=np.array(content["witnesses"], float),
        flags=tuple(content["flags"]),
        anchors=None if anchors is None else (np.array(anchors[0]), np.array(anchors[1])),
        white=(str(white[0]), int(white[1])),
        strain=float(content["strain"]),
        trusted=float(content.get("trusted", 1.0)),  # older ones don't say
        local=np.array(content["local"], float),
    )


def add_flags(made: Calibration, *flags: str) -> Calibration:
    """Return the calibration with further flags."""
    return replace(made, flags=(*made.flags, *flags))
