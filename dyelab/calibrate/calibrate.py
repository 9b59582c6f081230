"""One photo calibrated: shading, tone and colour, each helping the other."""

from dataclasses import dataclass, replace

import numpy as np

from dyelab.calibrate.camera_calibration import Calibration, add_flags
from dyelab.calibrate.card_pose import SOFT_EDGE, Pose, map_points
from dyelab.calibrate.fit import fit_colour
from dyelab.calibrate.program import fit_program
from dyelab.calibrate.reference import Reference
from dyelab.calibrate.sampling import sample
from dyelab.calibrate.shading import PATCH_MM, WIDTHS, WINDOW_MM, Shading, first_shading, surround
from dyelab.calibrate.swatch_correction import correct_by_swatches
from dyelab.calibrate.target import Target
from dyelab.calibrate.white import from_white
from dyelab.errors import InputError
from dyelab.read import Photo
from dyelab.table import DEFAULT_WHITE, White

_INNER = 0.6  # share of a white or grey area that is looked at
_MOST_CLIPPED = 0.05  # share of an area's pixels: past it its mean is no longer its light
_MOST_BURNT = 8  # patches of 24 that may be lost to clipping: a plain fit has 18 numbers to find
# Median ΔE00 left by fits without each patch; right targets seldom reach it (photo_constants.py).
TARGET_POOR = 1.5
# Doubt of the light that a program leaves, relative, from which that is said: by it alone, L* of a
# middling colour is unsure by 3 (its size by kind of program in the same script).
DEVELOPED = 0.15
# Lightest over darkest corner less 1, relative light that evening leaves on an area, and areas left
# out as covered, from which that is said: 95 in 100 photos with nothing amiss stay below 0.4, 0.02
# and 3, after a strong program below 0.06 (the same script).
UNEVEN, UNEVENED, COVERED = 0.9, 0.03, 14
# Change of the light's colour over the page, relative, from which it is said (the same script).
MIXED = 0.06


@dataclass(frozen=True)
class OwnSwatches:
    """The user's own swatches of this photo, measured by instrument: places and CIELAB."""

    quads: np.ndarray  # (n, 4, 2) pixels
    lab: np.ndarray  # (n, 3) under the calibration's white


@dataclass(frozen=True)
class Setup:
    """A photo ready to be measured: its calibration, and the light over the card."""

    calibration: Calibration
    shading: Shading | None
    pose: Pose | None
    target: Target | None


def from_target(
    photo: Photo,
    reference: Reference | None,
    target: Target | None,
    pose: Pose | None = None,
    *,
    own: OwnSwatches | None = None,
    method: str = "auto",
    stored: Calibration | None = None,
    white: White = DEFAULT_WHITE,
) -> Setup:
    """Calibrate a photo.

    Parameters
    ----------
    photo : Photo
        As read.
    reference, target : optional
        The target's values, and where it is. Without them the card's paper alone is used.
    pose : Pose, optional
        Where the card is; without it the light is taken as even.
    own : OwnSwatches, optional
        Swatches that an instrument measured.
    method : str
        ``auto``, ``plain`` or ``learned``.
    stored : Calibration, optional
        Made before, to be used again if the greys still fit.
    white : (illuminant, observer)
        Of the colours, where no reference and no stored calibration brings its own.

    Raises
    ------
    InputError
        If the photo is burnt out, or the target doesn't fit its values.

    Examples
    --------
    >>> from dyelab import calibrate, read, synth
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> picture = read.photo(photo)
    >>> reference = calibrate.reference("average")
    >>> target = calibrate.find_on_card(picture, calibrate.find_card(picture), reference)
    >>> calibrate.from_target(picture, reference, target).calibration.method
    'learned'
    """
    around, frame = surround(photo)
    first = None
    if pose is not None:
        first = first_shading(pose, *_areas(photo, pose), around, photo.name)
    scene = _Scene(photo, pose, own, first)
    if stored is not None:
        return _again(scene, stored, target)
    if target is None or reference is None:
        return _white_only(scene, white)
    return _by_target(scene, reference, target, frame, method)


@dataclass(frozen=True)
class _Scene:
    """A photo, where its card lies, what the user measured in it, and the light over the card."""

    photo: Photo
    pose: Pose | None
    own: OwnSwatches | None
    shading: Shading | None

    def light(self, quads: np.ndarray, half_mm: float = PATCH_MM) -> np.ndarray:
        """Relative light (n, 3) on some areas; even where no card tells."""
        if self.shading is None or self.pose is None:
            return np.ones((len(quads), 3))
        return self.shading.at(self.pose.middles(quads), half_mm)

    def setup(self, made: Calibration, target: Target | None, *flags: str) -> Setup:
        """The photo with its calibration, corrected by the user's own swatches if there are any."""
        if self.own is not None:
            stored = sample(self.photo, self.own.quads).mean
            light = self.light(self.own.quads, WINDOW_MM)
            made = correct_by_swatches(made, made.undoing.undo(stored, light), self.own.lab)
        made = add_flags(made, *flags, *_card_flags(self.pose, self.shading, made))
        return Setup(made, self.shading, self.pose, target)


def _by_target(
    scene: _Scene, reference: Reference, target: Target, frame: np.ndarray, method: str
) -> Setup:
    seen = sample(scene.photo, target.quads, steps=32)
    kept = _usable(seen.mean, seen.clipped, scene.photo, reference)
    # A patch that begins to clip counts less and less, so that frames alike give colours alike.
    sure = np.clip(1 - seen.clipped / _MOST_CLIPPED, 1e-3, 1.0)[kept] ** 2
    patches, known = seen.mean[kept], reference.subset(kept)
    program = fit_program(
        patches, known.spectra, frame, shading=scene.shading, noise=reference.noise / sure**0.5,
        places=None if scene.pose is None else scene.pose.middles(target.quads)[kept],
    )  # fmt: skip
    scene = replace(scene, shading=program.shading)
    light = scene.light(target.quads) * np.exp(program.step)
    try:
        made = fit_colour(patches, light[kept], program, known, method=method, sure=sure)
    except InputError as error:
        raise InputError(f"{scene.photo.name}: {error}") from error
    made = replace(made, witnesses=seen.mean / light)
    if scene.shading is not None:
        made = replace(made, local=scene.shading.terms[: len(WIDTHS)])
    return scene.setup(made, target, *(() if kept.all() else ("patches_clipped",)))


def _areas(photo: Photo, pose: Pose) -> tuple[np.ndarray, np.ndarray]:
    layout = pose.layout
    quads = [
        map_points(pose.to_pixels, area.inner(_INNER).corners)
        for area in (*layout.white_areas, *layout.grey_areas)
    ]
    seen = sample(photo, quads, steps=16)
    white = slice(0, len(layout.white_areas))
    if np.nanmedian(seen.clipped[white]) > _MOST_CLIPPED:
        raise InputError(
            f"{photo.name}: the card's white is burnt out (clipped), so nothing light can be "
            "measured. Expose less: on a phone, tap the white paper and pull the brightness down."
        )
    return seen.mean[white], seen.mean[len(layout.white_areas) :]


def _usable(
    mean: np.ndarray, clipped: np.ndarray, photo: Photo, reference: Reference
) -> np.ndarray:
    """Which patches are whole; strong colours out of the file's gamut may not be, greys must."""
    if not np.isfinite(mean).all():
        raise InputError(f"{photo.name}: the target is cut off. Show it whole.")
    burnt = clipped > _MOST_CLIPPED
    if burnt[19:23].any() or burnt.sum() > _MOST_BURNT:
        which = reference.names[int(np.flatnonzero(burnt)[-1])]
        raise InputError(
            f"{photo.name}: patch {which!r} of the target is burnt out (clipped). Expose less: on "
            "a phone, tap the white paper and pull the brightness down."
        )
    return ~burnt


def _card_flags(pose: Pose | None, shading: Shading | None, made: Calibration) -> tuple[str, ...]:
    found = {
        "uneven_light": shading is not None and (shading.span > UNEVEN or shading.left > UNEVENED),
        "mixed_light": shading is not None and shading.colour_change > MIXED,
        "card_covered": shading is not None and shading.covered > COVERED,
        "blurred": pose is not None
        and pose.edge_mm > max(SOFT_EDGE[0], SOFT_EDGE[1] / pose.density),
        "marker_hidden": pose is not None and bool(pose.hidden),
        "target_poor": made.patch_error > TARGET_POOR,
        "developed": made.light_scatter > DEVELOPED,
    }
    return tuple(name for name, so in found.items() if so)


def _again(scene: _Scene, stored: Calibration, target: Target | None) -> Setup:
    """Use a stored calibration on a photo whose greys still give the same."""
    name, shading = scene.photo.name, scene.shading
    if shading is not None:
        shading = shading.with_tone(stored.undoing.tone, stored.local)
    if stored.method == "white" or target is None:
        if shading is None:
            raise InputError(
                f"{name}: nothing to check the stored calibration by. Show the card or the "
                "target in the picture."
            )
        seen_now = np.stack([stored.undoing.redo(shading.paper)])
    else:
        light = replace(scene, shading=shading).light(target.quads)
        seen_now = sample(scene.photo, target.quads, steps=32).mean / light
    stored.check(seen_now, name)
    return Setup(add_flags(stored, "stored_calibration"), shading, scene.pose, target)


def _white_only(scene: _Scene, white: White) -> Setup:
    if scene.shading is None:
        raise InputError(
            f"{scene.photo.name}: neither a target nor our card to go by. Photograph the swatches "
            "on the card, or with a 24-patch target."
        )
    return scene.setup(from_white(scene.shading.paper, white=white), None)
