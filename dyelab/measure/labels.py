"""Which swatch lies in which window: the labels above the windows, read from the photo."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from dyelab import card
from dyelab.calibrate import Pose, map_points
from dyelab.calibrate.card_pose import detect_markers, green, in_8_bits
from dyelab.card import LABEL_MM, MARKER_MM, PITCH_MM, Area
from dyelab.read import Photo

READ, NONE, HALF, STRANGE, TWICE = "read", "none", "half", "strange", "twice"
SEVERAL, SHARED = "several", "shared"
AROUND = 3.0  # mm about a strip that are searched
INTO = 9.0  # mm of a window itself that are searched: labels are laid over its edge
# Pixels a mm of the straightened strips, and what is looked at about a pixel to part black from
# white: by trial on rendered photos of 3 to 12 megapixels; tests/benchmarks/label_reading.py.
SCALE = 16.0
# Half and double of these, and of what follows: the same script with `vary`.
LOOK: dict[str, float] = {"adaptiveThreshWinSizeMin": 23, "adaptiveThreshWinSizeMax": 63}
LOOK |= {"adaptiveThreshWinSizeStep": 40, "minMarkerPerimeterRate": 0.01}
LOOK |= {"polygonalApproxAccuracyRate": 0.05, "perspectiveRemoveIgnoredMarginPerCell": 0.25}
OFF_MM, OFF_TURN = 1.0, 0.3  # how far two markers of one label may be out of line; radians
# Of 36 cells, those that may be read wrongly: two wrong markers would have to stand in line.
REPAIRED = 0.4  # share of the family's five


@dataclass(frozen=True)
class _Marker:
    number: int
    at: np.ndarray  # (2,) mm, its middle
    turn: float  # radians
    side: float  # mm


def read_labels(picture: Photo, pose: Pose) -> pd.DataFrame:
    """Find the labels of a card's windows.

    Parameters
    ----------
    picture : Photo
        As read.
    pose : Pose
        Where the card lies.

    Returns
    -------
    DataFrame
        A row a label, whole or half: `place`, `number` (missing where one of its two markers
        isn't seen), `turned` (degrees from upright).

    Examples
    --------
    >>> from dyelab import calibrate, measure, read, synth
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> picture = read.photo(photo)
    >>> list(measure.read_labels(picture, calibrate.find_card(picture)).columns)
    ['place', 'number', 'turned']
    """
    columns: dict[str, list] = {"place": [], "number": [], "turned": []}
    for marker, number in _join(_markers(picture, pose)):
        along = np.array([np.cos(marker.turn), np.sin(marker.turn)])
        whole = number is not None
        middle = marker.at + along * (LABEL_MM[0] / 2 - MARKER_MM / 2 - 0.5 if whole else 0.0)
        place = _window(middle, pose)
        if place:
            row = (place, number, round(float(np.degrees(marker.turn))) % 360)
            for name, value in zip(columns, row, strict=True):
                columns[name].append(value)
    found = pd.DataFrame(columns)
    return found.astype({"number": "Int64", "turned": int, "place": object})


def names_by_label(found: pd.DataFrame, places: list[str], swatches: pd.DataFrame) -> pd.DataFrame:
    """Name the windows by their labels, and say of each how sure that is.

    Parameters
    ----------
    found : DataFrame
        As `read_labels` gives it.
    places : list of str
        The card's windows.
    swatches : DataFrame
        The book's, with `swatch` and `label_number`.

    Returns
    -------
    DataFrame
        A row a window: `place`, `swatch` (blank unless read), `status`: ``read``; ``none``;
        ``half`` (one of its markers is hidden); ``strange`` (no swatch of this book has it);
        ``twice`` (the swatch is named above another window as well); ``several`` (labels of
        different swatches above one window); ``shared`` (several swatches of this book have its
        number, as where two books were joined); and `upside_down`.

    Examples
    --------
    >>> from dyelab import book, calibrate, measure, read, synth
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> picture = read.photo(photo)
    >>> found = measure.read_labels(picture, calibrate.find_card(picture))
    >>> swatches = book.open(synth.example()).swatches
    >>> measure.names_by_label(found, ["A1", "A2"], swatches)["status"].tolist()
    ['none', 'none']
    """
    known = swatches.dropna(subset="label_number")
    codes = dict(zip(known["label_number"].astype(int), known["swatch"], strict=True))
    shared = set(known["label_number"][known["label_number"].duplicated()].astype(int))
    codes |= dict.fromkeys(shared, "")
    rows = [_name(place, found[found["place"] == place], codes) for place in places]
    named = pd.DataFrame(rows, columns=["place", "swatch", "status", "upside_down"])
    again = named["swatch"].ne("") & named["swatch"].duplicated(keep=False)
    named.loc[again, "status"] = TWICE
    named["about"] = named["swatch"]
    named.loc[again, "swatch"] = ""
    return named


def _name(place: str, labels: pd.DataFrame, codes: dict[int, str]) -> tuple:
    turned = bool(labels["turned"].between(90, 270).any())
    numbers = labels["number"].dropna().astype(int).unique()
    if len(numbers) > 1:
        return place, "", SEVERAL, turned
    if len(numbers) == 1:
        swatch = codes.get(int(numbers[0]))
        why = READ if swatch else STRANGE if swatch is None else SHARED
        return place, swatch or "", why, turned
    return place, "", HALF if len(labels) else NONE, turned


def _markers(picture: Photo, pose: Pose) -> list[_Marker]:
    settings = {**LOOK, "errorCorrectionRate": REPAIRED}
    made = []
    for strip in _strips(pose):
        seen = _straighten(picture, pose, strip)
        for number, quad in detect_markers(seen, card.label_markers(), settings):
            made.append(_on_page(number, quad / SCALE + strip.corners[0]))
    return [m for m in made if abs(m.side / MARKER_MM - 1) < 0.35]


def _strips(pose: Pose) -> Iterator[Area]:
    """What lies above each row of windows, and the upper part of the windows."""
    windows = pose.layout.windows
    for y in sorted({w.y_mm for w in windows}):
        row = [w for w in windows if w.y_mm == y]
        left, right = min(w.x_mm for w in row), max(w.x_mm + w.width_mm for w in row)
        top, high = y - card.LABEL_MM[1] - AROUND, card.LABEL_MM[1] + AROUND
        into = min(INTO, row[0].height_mm)
        yield Area(left - AROUND, top, right - left + 2 * AROUND, high + into)


def _straighten(picture: Photo, pose: Pose, strip: Area) -> np.ndarray:
    """The strip seen from above, green, 8 bit, `SCALE` pixels a mm."""
    import cv2

    size = (round(strip.width_mm * SCALE), round(strip.height_mm * SCALE))
    x, y = strip.corners[0]
    to_pixels = pose.to_pixels @ np.array([[1 / SCALE, 0, x], [0, 1 / SCALE, y], [0, 0, 1]])
    seen = map_points(pose.to_pixels, strip.corners)
    cut, low = green(picture.pixels, seen, 2)
    if not cut.size:
        return np.zeros(size[::-1], np.uint8)
    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    moved = np.array([[1, 0, -low[0]], [0, 1, -low[1]], [0, 0, 1]]) @ to_pixels
    return cv2.warpPerspective(in_8_bits(cut), moved, size, flags=flags)


def _on_page(number: int, quad: np.ndarray) -> _Marker:
    across = quad[1] - quad[0] + quad[2] - quad[3]
    turn = float(np.arctan2(across[1], across[0]))
    return _Marker(number, quad.mean(axis=0), turn, float(np.linalg.norm(across)) / 2)


def _join(markers: list[_Marker]) -> Iterator[tuple[_Marker, int | None]]:
    """Each label's left marker with its number; a marker without its neighbour with None."""
    left = list(range(len(markers)))
    for i, one in enumerate(markers):
        along = np.array([np.cos(one.turn), np.sin(one.turn)])
        for j, other in enumerate(markers):
            apart = np.linalg.norm(one.at + PITCH_MM * along - other.at)
            turned = abs(np.angle(np.exp(1j * (one.turn - other.turn))))
            if i != j and apart < OFF_MM and turned < OFF_TURN and {i, j} <= set(left):
                left = [k for k in left if k not in (i, j)]
                yield one, card.label_number(one.number, other.number)
    yield from ((markers[i], None) for i in left)


def _window(at: np.ndarray, pose: Pose) -> str:
    """The window that a point on the page belongs to: the one under the strip it lies in."""
    over, found = card.LABEL_MM[1] + 2, {}
    for window in pose.layout.windows:
        aside = abs(at[0] - window.centre[0])
        below = window.y_mm - over <= at[1] <= window.y_mm + window.height_mm
        if below and aside <= window.width_mm / 2 + 3:
            found[window.place] = aside
    return min(found, key=found.__getitem__, default="")
