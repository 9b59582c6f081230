"""One photo measured: find, calibrate, sample, convert, and say how sure each colour is."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dyelab import calibrate, convert, numerics
from dyelab.calibrate import Calibration, Pose, Reference, Samples, Setup, Target, map_points
from dyelab.calibrate.shading import WINDOW_MM
from dyelab.card import Layout
from dyelab.errors import InputError
from dyelab.read import Photo
from dyelab.table import (
    BY_INSTRUMENT,
    COVARIANCE,
    DEFAULT_WHITE,
    LAB,
    STANDARD_UNCERTAINTIES,
    White,
    with_covariances,
    with_uncertainties,
)

COLUMNS = ["photo", "place", *LAB, *STANDARD_UNCERTAINTIES, "illuminant", "observer", "n", "flags"]
INNER = 0.7  # share of a window's width and height that is measured
# Said of a window: share of its pixels clipped; pixels, 30 a side, under which weave and noise no
# longer average out; relative spread of its 8 by 8 blocks about a slope of light; that slope from
# side to side; how near to paper, relative by channel, it is bare. So many flags are missed, and
# said in vain, with half and double of each: tests/benchmarks/window_flags.py. At these, shade and
# stripes that move a colour by 1.5 ΔE00 are seen seven times in ten, and clean cloth is hardly
# flagged; a window below SMALL may be off by 0.5, and most are not.
CLIPPED, SMALL, UNEVEN, SHADOW, BARE = 0.02, 900, 0.12, 0.22, 0.04
AREAS = 16  # independent areas of a window: four by four groups of blocks
# Half and double of these two: tests/benchmarks/photo_constants.py.
LIGHT = 0.003  # least relative error of the evened light
STORED = 0.35  # standard deviation of a stored 8-bit value that averaging doesn't take away
_KEPT = 0.998  # share of the shared variance that the factors written keep
EVEN = 0.02  # relative error of the light where no card tells how it falls
_FAR_OFF = {"target": 15.0, "white": 30.0}  # ΔE00: several times what fits of either kind miss by


@dataclass(frozen=True)
class MeasuredPhoto:
    """What one photo gave.

    Attributes
    ----------
    table : DataFrame
        A row a window: `COLUMNS`, then the six covariance terms, `method` and `patch_dE00`
        (median ΔE00 of the target's patches by fits that didn't see them).
    shared : DataFrame
        `reading` (photo/place), `source`, `factor`, `L`, `a`, `b`, `scope`: the calibration
        error that the windows share, all of them or those of one recipe.
    setup : Setup
        Calibration, light, card and target.
    quads : ndarray (n, 4, 2)
        What was measured, in pixels.
    values : ndarray (n, 3)
        Its linear camera values, tone undone, light evened out.
    """

    table: pd.DataFrame
    shared: pd.DataFrame
    setup: Setup
    quads: np.ndarray
    values: np.ndarray


@numerics.one_thread
def photo(
    picture: Photo,
    reference: Reference | None,
    *,
    layout: Layout | None = None,
    add: pd.DataFrame | None = None,
    method: str = "auto",
    stored: Calibration | None = None,
    pose: Pose | None = None,
    target: Target | None = None,
    windows: dict[str, np.ndarray] | None = None,
    white: White = DEFAULT_WHITE,
) -> MeasuredPhoto:
    """Measure the windows of a card.

    Parameters
    ----------
    picture : Photo
        As read.
    reference : Reference or None
        Values of the 24-patch target; None to go by the card's white paper alone.
    layout : Layout, optional
        Of the card; by default the one its markers name.
    add : DataFrame, optional
        Instrument readings of some windows: `sample` (the place), `L, a, b` under the white
        of the colours.
    method : str
        ``auto``, ``plain`` or ``learned``.
    stored : Calibration, optional
        Made before, to be used again.
    pose, target : optional
        Where they are, if somebody has shown it.
    windows : dict of str to ndarray (4, 2), optional
        Places moved by hand, in pixels.
    white : (illuminant, observer)
        Of the colours, where no reference and no stored calibration brings its own.

    Returns
    -------
    MeasuredPhoto

    Raises
    ------
    InputError
        If the card or target isn't found for certain, or the photo can't be measured.

    Examples
    --------
    >>> from dyelab import calibrate, measure, read, synth
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> picture = read.photo(photo)
    >>> measured = measure.photo(picture, calibrate.reference("average"))
    >>> measured.table["place"].head(3).tolist()
    ['A1', 'A2', 'A3']
    """
    pose = pose or calibrate.find_card(picture, layout)
    if target is None and reference is not None:
        target = calibrate.find_on_card(picture, pose, reference)
    moved = windows or {}
    quads = {
        w.place: moved.get(w.place, map_points(pose.to_pixels, w.inner(INNER).corners))
        for w in pose.layout.windows
    }
    how = {"method": method, "stored": stored, "white": white}
    return _measure(picture, quads, add, reference, target, pose, how)


@numerics.one_thread
def boxes(
    picture: Photo,
    reference: Reference | None,
    places: dict[str, np.ndarray],
    *,
    add: pd.DataFrame | None = None,
    method: str = "auto",
    stored: Calibration | None = None,
    pose: Pose | None = None,
    target: Target | None = None,
    white: White = DEFAULT_WHITE,
) -> MeasuredPhoto:
    """Measure boxes drawn on a photo; it must hold a target, or the card whose pose is given.

    Parameters
    ----------
    picture, reference, add, method, stored, pose, target, white
        As for `photo`; the card need not be there, and is not looked for.
    places : dict of str to ndarray (4, 2)
        Corners of each box, in pixels.

    Returns
    -------
    MeasuredPhoto
        Without a card flagged ``no_card``: the light is taken as even, which the uncertainty
        allows for.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import calibrate, measure, read, synth
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> picture = read.photo(photo)
    >>> quad = np.array([[100.0, 100], [140, 100], [140, 140], [100, 140]])
    >>> pose = calibrate.find_card(picture)
    >>> measure.boxes(picture, None, {"cloth": quad}, pose=pose).table["place"].tolist()
    ['cloth']
    """
    if target is None and reference is not None:
        target = calibrate.find_anywhere(picture, reference)
    how = {"method": method, "stored": stored, "white": white}
    return _measure(picture, places, add, reference, target, pose, how)


def _own(add: pd.DataFrame | None, quads: Any, name: str) -> calibrate.OwnSwatches | None:
    if add is None or add.empty:
        return None
    unknown = [s for s in add["sample"] if s not in quads]
    if unknown:
        raise InputError(
            f"{name}: the added readings name {unknown[0]!r}, which is no place here. "
            f"Places: {', '.join(list(quads)[:30])}."
        )
    lying = np.array([quads[s] for s in add["sample"]])
    return calibrate.OwnSwatches(lying, add[LAB].to_numpy(float))


def _check_own(setup: Setup, add: pd.DataFrame | None, name: str) -> None:
    """Refuse an added reading that can't be of the swatch seen there: it would bend the others."""
    made = setup.calibration
    if add is None or add.empty or made.anchors is None:
        return
    fitted, shifts = made.anchors
    off = convert.dE00(fitted, fitted + shifts)
    worst, most = int(off.argmax()), _FAR_OFF["white" if made.method == "white" else "target"]
    if off[worst] > most:
        raise InputError(
            f"{name}: the added reading of {add['sample'].iloc[worst]!r} is {off[worst]:.0f} ΔE00 "
            f"from what the photo shows there ({most:g} allowed). Is it the reading of another "
            "swatch? Check its place."
        )


def _measure(
    picture: Photo,
    quads: dict[str, np.ndarray],
    add: pd.DataFrame | None,
    reference: Reference | None,
    target: Target | None,
    pose: Pose | None,
    how: dict[str, Any],
) -> MeasuredPhoto:
    own = _own(add, quads, picture.name)
    setup = calibrate.from_target(picture, reference, target, pose, own=own, **how)
    if how["stored"] is None:
        _check_own(setup, add, picture.name)
    made, shading = setup.calibration, setup.shading
    corners = np.array(list(quads.values()), float).reshape(-1, 4, 2)
    seen = calibrate.sample(picture, corners, made.undoing.tone.undo(picture.to_linear))
    if not np.isfinite(seen.mean).all():
        place = list(quads)[int(np.flatnonzero(~np.isfinite(seen.mean).all(axis=1))[0])]
        raise InputError(
            f"{picture.name}: {place} lies outside the picture. Show the whole card, or move it."
        )
    light = np.ones((len(corners), 3))
    doubt: tuple[Any, ...] = ()
    if shading is not None and setup.pose is not None:
        points = setup.pose.middles(corners)
        light = shading.at(points, WINDOW_MM)
        doubt = shading.left, shading.off(points, WINDOW_MM)
    rgb = made.undoing.values(seen.mean, light)
    covariance, *factors = covariances(made, seen, rgb, picture.full, *doubt)
    table = _table(picture.name, list(quads), made, rgb, covariance)
    added = np.isin(list(quads), [] if own is None or add is None else list(add["sample"]))
    table["flags"] = _flags(seen, rgb, setup, added)
    scopes = np.repeat(["photo", "recipe"], [own.shape[1] for own in factors])
    numbers, every = np.arange(1, len(scopes) + 1), np.concatenate(factors, axis=1)
    shared = shared_rows(table, picture.name, every, numbers, scopes)
    return MeasuredPhoto(table, shared, setup, corners, rgb)


def window_middles(made: MeasuredPhoto) -> np.ndarray | None:
    """Middles (n, 2) of what was measured, mm on the card's page, if there was a card."""
    return None if made.setup.pose is None else made.setup.pose.middles(made.quads)


def _table(
    name: str, places: list[str], made: Calibration, rgb: np.ndarray, covariance: np.ndarray
) -> pd.DataFrame:
    lab = made.lab(rgb)
    table = pd.DataFrame({"photo": name, "place": places})
    table[LAB] = np.round(np.clip(lab, [0, -160, -160], [100, 160, 160]), 4)
    table["illuminant"], table["observer"] = made.white
    table["n"], table["flags"] = AREAS, ""
    table = with_doubt(table, covariance)
    table["method"], table["patch_dE00"] = made.method, round(made.patch_error, 3)
    return table[[*COLUMNS, *COVARIANCE, "method", "patch_dE00"]]


def with_doubt(table: pd.DataFrame, covariance: np.ndarray) -> pd.DataFrame:
    """A table of windows with their covariances (n, 3, 3) and standard uncertainties, as kept."""
    full = with_uncertainties(with_covariances(table, np.round(covariance, 6)), covariance)
    return full.round(dict.fromkeys(STANDARD_UNCERTAINTIES, 4))


def _flags(seen: Samples, rgb: np.ndarray, setup: Setup, added: np.ndarray) -> list[str]:
    """Words for what is doubtful about each window, parted by spaces."""
    tilted, rough = _tilt(seen.blocks)
    paper = np.full(3, np.nan) if setup.shading is None else setup.shading.paper
    bare = (np.abs(rgb / paper - 1).max(axis=1) < BARE) & (seen.roughness < 0.06)
    found = {
        "clipped": seen.clipped > CLIPPED,
        "small": seen.pixels < SMALL,
        "shadow": tilted > SHADOW,
        "uneven": rough > UNEVEN,
        "empty": bare,
        BY_INSTRUMENT: added,
    }
    photo_wide = [*setup.calibration.flags, *(["no_card"] if setup.pose is None else [])]
    return [
        " ".join([*(name for name, hit in found.items() if hit[i]), *photo_wide])
        for i in range(len(rgb))
    ]


def _tilt(blocks: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Relative change of light from one side of a window to the other, and what else varies."""
    side = round(blocks.shape[1] ** 0.5)
    u = np.linspace(-0.5, 0.5, side)
    design = np.column_stack([np.ones(side**2), np.tile(u, side), np.repeat(u, side)])
    light = blocks.mean(axis=2)
    light = light / np.maximum(light.mean(axis=1, keepdims=True), 1e-6)
    plane = np.linalg.lstsq(design, light.T, rcond=None)[0]
    rest = light - (design @ plane).T
    return np.hypot(plane[1], plane[2]), rest.std(axis=1)


def shared_rows(
    table: pd.DataFrame, source: str, factors: np.ndarray, numbers: np.ndarray, scopes: Any
) -> pd.DataFrame:
    """Rows of `table.SHARED`: factors (n, f, 3) that n windows share, with numbers and scopes."""
    n, f, _ = factors.shape
    return pd.DataFrame(
        {
            "reading": np.repeat((table["photo"] + "/" + table["place"]).to_numpy(), f),
            "source": source,
            "factor": np.tile(numbers, n),
            **{c: np.round(factors[..., i].ravel(), 5) for i, c in enumerate(LAB)},
            "scope": np.tile(np.asarray(scopes, object), n),
        }
    )


def covariances(
    made: Calibration,
    seen: Samples,
    rgb: np.ndarray,
    full: int,
    left: float = EVEN,
    off: np.ndarray | None = None,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Covariance of each colour, and the factors that the colours of one photo share.

    Parameters
    ----------
    made : Calibration
        Of the photo.
    seen : Samples
        The windows, n of them.
    rgb : ndarray (n, 3)
        Their camera values, light evened out.
    full : int
        Largest value that a pixel stores.
    left : float
        Relative standard deviation of the evened light.
    off : ndarray (n, d), optional
        How far the light's logarithm could be off in each of the calibration's draws.

    Returns
    -------
    ndarray (n, 3, 3)
        The whole covariance: cloth over independent areas, light, storage, calibration.
    ndarray (n, f, 3)
        Factors: for two windows i and j, the sum over f of the outer products of rows i and j
        is the covariance that they share.
    ndarray (n, 3, 3)
        Factors of the calibration error that belongs to the dyed spectrum: only windows of one
        recipe share it.
    """
    slope = made.slope(rgb)
    relative = _cloth(seen.blocks) + storing_error(rgb, full) + max(left, LIGHT) ** 2
    common, own = calibration_doubt(made, rgb, off)
    factors = main_factors(common)
    shared = np.einsum("nfk,nfl->nkl", factors, factors)
    whole = slope @ relative @ np.swapaxes(slope, 1, 2) + own + shared
    # Roots alike for colours alike, so that replicates' factors agree in sign.
    return whole, factors, numerics.symmetric_root(own)


def calibration_doubt(
    made: Calibration, rgb: np.ndarray, off: np.ndarray | None
) -> tuple[np.ndarray, np.ndarray]:
    """Of n colours, factors (n, d, 3) of the error they share, and each one's own, (n, 3, 3)."""
    slope = made.slope(rgb)
    # What a program does to a colour it does to all of that colour, in the next photo too.
    program = np.full((3, 3), made.light_scatter**2)
    own, common = made.doubt(made.lab(rgb))
    moved = made.light_shift * slope.sum(axis=2)[:, None]
    common = np.concatenate([_with_light(common, slope, off), moved], axis=1)
    return common, own + slope @ program @ np.swapaxes(slope, 1, 2)


def _with_light(common: np.ndarray, slope: np.ndarray, off: np.ndarray | None) -> np.ndarray:
    """Add to the draws' errors (n, f, 3) what each draw says of the light at the windows."""
    if off is None or not off.shape[1]:
        return common
    d = off.shape[1]
    moved = np.einsum("nkc->nk", slope)[:, None] * -off[:, :, None] / d**0.5
    return np.concatenate([common[:, :d] + moved, common[:, d:]], axis=1)


def _cloth(blocks: np.ndarray) -> np.ndarray:
    """Covariance (n, 3, 3) of the logarithm of a window's mean, from its independent areas."""
    n = len(blocks)
    side = round(blocks.shape[1] ** 0.5)
    half = side // 4
    areas = blocks.reshape(n, 4, half, 4, half, 3).mean(axis=(2, 4)).reshape(n, AREAS, 3)
    off = areas / np.maximum(areas.mean(axis=1, keepdims=True), 1e-6) - 1
    spread = np.einsum("nak,nal->nkl", off, off) / (AREAS - 1)
    # A Student interval with 15 degrees of freedom is wider than a normal one by this.
    return spread / AREAS * (AREAS - 1) / (AREAS - 3)


def storing_error(rgb: np.ndarray, full: int) -> np.ndarray:
    """Rounding and compression of 8-bit files: independent by channel, relative."""
    if full > 255:
        return np.zeros((len(rgb), 3, 3))
    stored = np.maximum(rgb, 1e-4) ** (1 / 2.2)
    error = 2.2 * STORED / 255 / stored
    return (error**2)[:, :, None] * np.eye(3)


def main_factors(common: np.ndarray) -> np.ndarray:
    """Rotate the factors so that a few carry all but nothing of what is shared."""
    n, d, _ = common.shape
    if not n:
        return common[:, :0]
    flat = np.moveaxis(common, 1, 0).reshape(d, 3 * n)
    _, size, rows = np.linalg.svd(flat, full_matrices=False)
    carried = np.cumsum(size**2) / max((size**2).sum(), 1e-12)
    kept = int(np.searchsorted(carried, _KEPT)) + 1
    return np.moveaxis((size[:kept, None] * rows[:kept]).reshape(-1, n, 3), 0, 1)
