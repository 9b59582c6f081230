"""Where the card lies in a photo: corner markers, then the homography from mm to pixels."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from dyelab import card as cards
from dyelab.card import Layout
from dyelab.errors import InputError
from dyelab.read import Photo

REDUCED = (900, 1800, 3600)  # long side of the copies that are searched, pixels
# Flat cards photographed at random have up to 0.3, and 3 to 4 at 2 megapixels
# (tests/benchmarks/card_finding.py).
MOST_BENT = 1.0  # mm that a marker's corner may lie off the flat page
LEAST_DENSITY = 1.6  # pixels a mm
SOFT_EDGE = 1.0, 3.5  # mm, and pixels, over which a sharp edge may be smeared
_CORNERS = ("top left", "top right", "bottom right", "bottom left")
_RETAKE = "Lay the card flat, all four corner squares in the picture, sharp and unshaded."


@dataclass(frozen=True)
class Pose:
    """Where a card was found.

    Attributes
    ----------
    layout : Layout
        Which card it is.
    to_pixels : ndarray (3, 3)
        Homography from mm on the page to pixels.
    bent_mm : float
        Largest distance of a marker's corner from where a flat page would have it.
    density : float
        Pixels a mm in the middle of the page, along the more foreshortened direction.
    edge_mm : float
        Width over which the markers' edges are smeared.
    hidden : tuple of str
        Corners whose marker wasn't seen.
    """

    layout: Layout
    to_pixels: np.ndarray
    bent_mm: float = 0.0
    density: float = 10.0
    edge_mm: float = 0.0
    hidden: tuple[str, ...] = ()

    def middles(self, quads: np.ndarray) -> np.ndarray:
        """Middles (n, 2), mm on the page, of areas (n, 4, 2) in pixels."""
        return map_points(np.linalg.inv(self.to_pixels), quads.mean(axis=1))


def map_points(homography: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Map points (..., 2) by a homography.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import calibrate
    >>> calibrate.map_points(np.diag([2.0, 2.0, 1.0]), np.array([[1.0, 3.0]])).tolist()
    [[2.0, 6.0]]
    """
    p = np.asarray(points, float)
    moved = np.concatenate([p, np.ones((*p.shape[:-1], 1))], axis=-1) @ homography.T
    return moved[..., :2] / moved[..., 2:]


def find_card(photo: Photo, layout: Layout | None = None) -> Pose:
    """Find the card in a photo, in any orientation.

    Parameters
    ----------
    photo : Photo
        As read.
    layout : Layout, optional
        The card it should be; by default whichever of ours the markers name.

    Returns
    -------
    Pose

    Raises
    ------
    InputError
        If there is no card, more than one, another card than asked for, or it is cut off,
        bent, or too small in the picture.

    Examples
    --------
    >>> from dyelab import calibrate, read, synth
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> picture = read.photo(photo)
    >>> calibrate.find_card(picture).layout.name
    'A4 cloth'
    """
    own = () if layout is None else (int(m.place) for m in layout.markers)
    numbers = sorted({*cards.marker_numbers(), *own})
    for side in REDUCED:
        found = _markers(photo.pixels, side, numbers)
        chosen = layout or cards.of_markers(set(found))
        wanted = [int(m.place) for m in chosen.markers] if chosen else []
        if sum(n in found for n in wanted) == 4 or side >= max(photo.pixels.shape):
            break
    _check_found(found, chosen, wanted, photo)
    assert chosen is not None
    return _pose(photo, chosen, {n: found[n][0] for n in wanted if n in found})


def from_corners(layout: Layout, corners: np.ndarray) -> Pose:
    """Pose of a card whose four outer marker corners (4, 2) somebody has shown, in pixels.

    Clockwise from the card's own top left.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import calibrate, card
    >>> corners = np.array([[0.0, 0], [420, 0], [420, 594], [0, 594]])
    >>> calibrate.from_corners(card.layout(), corners).to_pixels.shape
    (3, 3)
    """
    import cv2

    page = np.array([m.corners[i] for i, m in enumerate(layout.markers)], np.float32)
    to_pixels = cv2.getPerspectiveTransform(page, np.asarray(corners, np.float32))
    return Pose(layout, to_pixels, 0.0, _density(layout, to_pixels))


def _markers(pixels: np.ndarray, side: int, numbers: Sequence[int]) -> dict[int, list[np.ndarray]]:
    """Corners (4, 2) of these markers seen in a reduced copy, by number, in full pixels."""
    import cv2

    step = max(1, round(max(pixels.shape) / side))
    found: dict[int, list[np.ndarray]] = {}
    refined = {"cornerRefinementMethod": cv2.aruco.CORNER_REFINE_SUBPIX}
    small = in_8_bits(downsample(pixels[..., 1], step))
    for number, corners in detect_markers(small, numbers, refined):
        found.setdefault(number, []).append((corners.astype(float) + 0.5) * step - 0.5)
    return found


def detect_markers(
    grey: np.ndarray, numbers: Sequence[int], settings: Mapping[str, float]
) -> list[tuple[int, np.ndarray]]:
    """Markers of these numbers in a grey picture, each with its corners (4, 2) in pixels."""
    import cv2

    parameters = cv2.aruco.DetectorParameters()
    for name, value in settings.items():
        setattr(parameters, name, value)
    whole = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36H11)
    # Every spot is held against every code, so that only the cards' own are worth having.
    family = cv2.aruco.Dictionary(
        whole.bytesList[list(numbers)], whole.markerSize, whole.maxCorrectionBits
    )
    corners, which, _ = cv2.aruco.ArucoDetector(family, parameters).detectMarkers(grey)
    at = [] if which is None else which.ravel()
    return [(numbers[int(i)], quad[0]) for i, quad in zip(at, corners, strict=True)]


def downsample(pixels: np.ndarray, step: int) -> np.ndarray:
    """Every so many pixels a side averaged into one."""
    import cv2

    h, w = pixels.shape[0] // step, pixels.shape[1] // step
    whole = pixels[: h * step, : w * step]
    return whole if step == 1 else cv2.resize(whole, (w, h), interpolation=cv2.INTER_AREA)


def in_8_bits(grey: np.ndarray) -> np.ndarray:
    """Stored values of 8 or 16 bits in 8."""
    return np.ascontiguousarray(grey if grey.dtype == np.uint8 else (grey / 257).astype(np.uint8))


def green(pixels: np.ndarray, points: np.ndarray, beside: int) -> tuple[np.ndarray, np.ndarray]:
    """Cut the green channel about points (..., 2), pixels; where the cut begins, (2,)."""
    flat = points.reshape(-1, 2)
    low = np.maximum(np.floor(flat.min(axis=0)).astype(int) - beside, 0)
    high = np.maximum(np.ceil(flat.max(axis=0)).astype(int) + beside, low)
    return pixels[low[1] : high[1] + 1, low[0] : high[0] + 1, 1], low


def _check_found(
    found: dict[int, list[np.ndarray]], layout: Layout | None, wanted: list[int], photo: Photo
) -> None:
    name = photo.name
    seen = [n for n in wanted if n in found]
    if not found or layout is None:
        raise InputError(
            f"{name}: no swatch card found. {_RETAKE} "
            "Without a card: draw boxes over the swatches, on the page of photos."
        )
    if not seen:
        other = cards.of_markers(set(found))
        which = f"the {other.name} card" if other else "another card"
        raise InputError(
            f"{name}: this photo shows {which}, but the layout given is {layout.name}. "
            "Give the layout file that was written with this card."
        )
    if any(len(found[n]) > 1 for n in seen):
        raise InputError(f"{name}: more than one card in the picture. Photograph one at a time.")
    if len(seen) < 3:
        missing = ", ".join(c for c, n in zip(_CORNERS, wanted, strict=True) if n not in found)
        raise InputError(
            f"{name}: the card is cut off, covered or blurred: no corner square found at "
            f"{missing}. {_RETAKE}"
        )


def _pose(photo: Photo, layout: Layout, seen: dict[int, np.ndarray]) -> Pose:
    import cv2

    markers = {int(m.place): m for m in layout.markers}
    page = np.concatenate([markers[n].corners for n in seen])
    pixels = np.concatenate([_refine(photo.pixels, corners) for corners in seen.values()])
    to_pixels, _ = cv2.findHomography(page, pixels, 0)
    if to_pixels is None:
        raise InputError(f"{photo.name}: the corner squares don't form a page. {_RETAKE}")
    off = map_points(np.linalg.inv(to_pixels), pixels) - page
    bent = float(np.linalg.norm(off, axis=1).max())
    hidden = tuple(c for c, n in zip(_CORNERS, markers, strict=True) if n not in seen)
    pose = Pose(
        layout, to_pixels, bent, _density(layout, to_pixels), _edge(photo, to_pixels, seen), hidden
    )
    _check_pose(pose, photo)
    return pose


def _refine(pixels: np.ndarray, corners: np.ndarray) -> np.ndarray:
    """Sharpen a marker's corners on its own cut-out of the full picture."""
    import cv2

    reach = max(3, int(np.ptp(corners, axis=0).max() / 22))
    cut, low = green(pixels, corners, 3 * reach)
    points = np.ascontiguousarray((corners - low)[:, None], np.float32)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 0.02)
    cv2.cornerSubPix(in_8_bits(cut), points, (reach, reach), (-1, -1), stop)
    return points[:, 0].astype(float) + low


def _density(layout: Layout, to_pixels: np.ndarray) -> float:
    w, h = layout.page_mm
    seen = map_points(to_pixels, np.array([[w / 2, h / 2], [w / 2 + 1, h / 2], [w / 2, h / 2 + 1]]))
    return float(np.linalg.svd(seen[1:] - seen[0], compute_uv=False)[-1])


def _edge(photo: Photo, to_pixels: np.ndarray, seen: dict[int, np.ndarray]) -> float:
    """10 to 90 % width in mm of the step from paper to the black of the markers' left sides."""
    import cv2

    widths = []
    for corners in seen.values():
        page = map_points(np.linalg.inv(to_pixels), corners)
        rows = np.linspace(page[0, 1] + 2, page[3, 1] - 2, 24)
        steps = np.linspace(page[0, 0] - 1.9, page[0, 0] + 1.9, 77)
        grid = np.stack(np.meshgrid(steps, rows), axis=-1)
        at = map_points(to_pixels, grid).astype(np.float32)
        cut, low = green(photo.pixels, at, 2)
        at = (at - low).astype(np.float32)
        values = cv2.remap(cut, at[..., 0], at[..., 1], cv2.INTER_LINEAR)
        profile = np.median(values.astype(float), axis=0)
        span = profile[:10].mean() - profile[-10:].mean()
        share = (profile - profile[-10:].mean()) / max(span, 1e-6)
        inside = (share > 0.1) & (share < 0.9)
        widths.append(inside.sum() * (steps[1] - steps[0]))
    return float(np.median(widths))


def _check_pose(pose: Pose, photo: Photo) -> None:
    w, h = pose.layout.page_mm
    if pose.bent_mm > MOST_BENT:
        raise InputError(
            f"{photo.name}: the card isn't flat: a corner square lies {pose.bent_mm:.1f} mm off. "
            "Weigh the card down, and photograph it as a whole."
        )
    near_edge = np.array([[0.03, 0.02], [0.97, 0.02], [0.97, 0.98], [0.03, 0.98]]) * [w, h]
    page = map_points(pose.to_pixels, near_edge)
    size = np.array(photo.pixels.shape[1::-1])
    if pose.hidden and ((page < 0) | (page > size)).any():
        raise InputError(
            f"{photo.name}: the card is cut off at its {', '.join(pose.hidden)}. {_RETAKE}"
        )
    if pose.density < LEAST_DENSITY:
        raise InputError(
            f"{photo.name}: the card is too small in the picture, {pose.density:.1f} pixels a mm; "
            f"{LEAST_DENSITY} are needed. Go closer, or use the camera's full size."
        )
