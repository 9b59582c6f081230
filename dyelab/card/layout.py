"""The card's geometry as data, and the JSON file that keeps it.

How the card is laid out: rows of windows above and below the target, borders at the sides.
"""

import json
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from dyelab import files, limits
from dyelab.errors import InputError, choose

SIDES = ("x_mm", "y_mm", "width_mm", "height_mm")


@dataclass(frozen=True)
class Area:
    """An upright rectangle on the page, in mm from the top left."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    place: str = ""

    @property
    def sides(self) -> dict[str, float]:
        """Place and size by name, mm."""
        return {name: getattr(self, name) for name in SIDES}

    @property
    def corners(self) -> np.ndarray:
        """Corners clockwise from the top left, shape (4, 2), mm."""
        x, y, w, h = self.x_mm, self.y_mm, self.width_mm, self.height_mm
        return np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])

    @property
    def centre(self) -> np.ndarray:
        """Middle, shape (2,), mm."""
        return self.corners.mean(axis=0)

    def inner(self, share: float) -> "Area":
        """Return the rectangle with this share of its width and height, about the same middle."""
        w, h = self.width_mm * share, self.height_mm * share
        x, y = self.centre - [w / 2, h / 2]
        return Area(float(x), float(y), w, h, self.place)


@dataclass(frozen=True)
class Layout:
    """Where everything is on a card.

    Markers are named by their number in the AprilTag 36h11 family; the card's four numbers,
    clockwise from the top left, tell its orientation and which layout it is.
    """

    name: str
    page_mm: tuple[float, float]
    windows: tuple[Area, ...]
    target_area: Area
    white_areas: tuple[Area, ...]
    grey_areas: tuple[Area, ...]
    markers: tuple[Area, ...]

    @property
    def places(self) -> list[str]:
        """Names of the windows, in reading order."""
        return [window.place for window in self.windows]


def write_layout(card: Layout, path: str | Path) -> Path:
    """Write the layout as JSON.

    Examples
    --------
    >>> from dyelab import card
    >>> card.write_layout(card.layout(), folder / "card.json").name
    'card.json'
    """
    return files.write(path, json.dumps(_as_json(card), indent=1) + "\n")


def _as_json(card: Layout) -> dict[str, Any]:
    def one(area: Area) -> dict[str, Any]:
        return {name: round(side, 4) for name, side in area.sides.items()}

    return {
        "name": card.name,
        "page_mm": list(card.page_mm),
        "windows": [{"place": window.place} | one(window) for window in card.windows],
        "target_area": one(card.target_area),
        "white_areas": [one(area) for area in card.white_areas],
        "grey_areas": [one(area) for area in card.grey_areas],
        "markers": [{"number": int(m.place)} | one(m) for m in card.markers],
        "marker_family": "AprilTag 36h11",
    }


@limits.in_time
def read_layout(path: str | Path) -> Layout:
    """Read a layout file.

    Raises
    ------
    InputError
        If the file is missing, isn't JSON, or lacks a part; the message names the part.

    Examples
    --------
    >>> from dyelab import card
    >>> path = card.write_layout(card.layout(), folder / "card.json")
    >>> card.read_layout(path).name
    'A4 cloth'
    """
    name = Path(path).name
    try:
        content = files.json_of(path)
    except InputError as error:
        raise InputError(
            f"{error} Write a layout with: dyelab card -o CARD.pdf --layout CARD.json"
        ) from error
    try:
        return _from_json(content)
    except (LookupError, TypeError, ValueError, AttributeError, ArithmeticError) as error:
        raise InputError(
            f"{name}: the layout has no usable {error}. "
            "Write a fresh one with: dyelab card -o CARD.pdf --layout CARD.json"
        ) from error


def _from_json(content: dict[str, Any]) -> Layout:
    def one(item: dict[str, Any], key: str = "place") -> Area:
        x, y, w, h = (float(item[side]) for side in SIDES)
        if not all(np.isfinite([x, y, w, h])) or min(w, h) <= 0:
            raise ValueError(f"size for area {item.get(key, '')!r}")
        return Area(x, y, w, h, place=str(item.get(key, "")))

    width, height = (float(side) for side in content["page_mm"])
    windows = tuple(one(item) for item in content["windows"])
    places = [window.place for window in windows]
    if not windows or len(set(places)) < len(places):
        raise ValueError("windows: there must be some, each with a place of its own")
    return Layout(
        name=str(content.get("name", "card")),
        page_mm=(width, height),
        windows=windows,
        target_area=one(content["target_area"]),
        white_areas=tuple(one(item) for item in content["white_areas"]),
        grey_areas=tuple(one(item) for item in content.get("grey_areas", [])),
        markers=tuple(one(item, "number") for item in content["markers"]),
    )


PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
# Rows above the target, rows below it, windows a row, share of the row a window's width takes.
KINDS = {"cloth": (2, 2, 6), "large": (1, 1, 4), "yarn": (1, 1, 8)}
# In mm: corner markers, the page's margin, and strips of white and grey.
MARKER, EDGE, STRIP = 16.0, 9.0, 7.0
TARGET = (126.0, 88.0)  # room for a pocket-sized target of 24 patches
LABEL, GAP = 6.0, 5.0  # a label's height, and between windows
_FIRST = 60  # number of the first card's first marker


def _numbers(kind: str, paper: str) -> list[int]:
    card = list(KINDS).index(kind) * len(PAPERS) + list(PAPERS).index(paper)
    return [_FIRST + 4 * card + corner for corner in range(4)]


@cache
def layout(paper: str = "A4", kind: str = "cloth") -> Layout:
    """Geometry of one of our cards.

    Parameters
    ----------
    paper : str
        A4 or Letter.
    kind : str
        ``cloth``: 24 windows; ``large``: 8 larger ones; ``yarn``: 16 tall slots for yarn wound
        on card.

    Returns
    -------
    Layout

    Raises
    ------
    InputError
        For another paper or kind.

    Examples
    --------
    >>> from dyelab import card
    >>> card.layout("A4", "cloth").places[:3]
    ['A1', 'A2', 'A3']
    """
    choose(paper, PAPERS, "paper", "for the card")
    choose(kind, KINDS, "kind of card", "to print")
    width, height = PAPERS[paper]
    top, bottom = EDGE + MARKER + 5, height - EDGE - MARKER - 4
    target = Area((width - TARGET[0]) / 2, (top + bottom - TARGET[1]) / 2, *TARGET)
    white, grey = _borders(width, top, bottom)
    windows = _windows(kind, width, (top, target.y_mm), (target.y_mm + target.height_mm, bottom))
    sides = (EDGE + STRIP + 5, width - EDGE - STRIP - 18)
    beside = [Area(x, target.y_mm + 6, 13.0, target.height_mm - 12) for x in sides]
    return Layout(
        name=f"{paper} {kind}",
        page_mm=(width, height),
        windows=tuple(windows),
        target_area=target,
        white_areas=(*white, *beside, *_between(windows)),
        grey_areas=tuple(grey),
        markers=tuple(_markers(kind, paper, width, height)),
    )


def _markers(kind: str, paper: str, width: float, height: float) -> list[Area]:
    right, low = width - EDGE - MARKER, height - EDGE - MARKER
    corners = [(EDGE, EDGE), (right, EDGE), (right, low), (EDGE, low)]
    numbers = _numbers(kind, paper)
    return [Area(*xy, MARKER, MARKER, str(n)) for xy, n in zip(corners, numbers, strict=True)]


def _borders(width: float, top: float, bottom: float) -> tuple[list[Area], list[Area]]:
    """Strips of white and mid-grey blocks in turn down both sides, and along top and bottom."""
    step = (bottom - top) / 13
    sides = (EDGE, width - EDGE - STRIP)
    blocks = [[Area(x, top + i * step, STRIP, step) for i in range(13)] for x in sides]
    white, grey = ([area for side in blocks for area in side[odd::2]] for odd in (0, 1))
    return white, grey


def _between(windows: list[Area]) -> list[Area]:
    """Bare paper between neighbouring windows: it tells the light in the middle of the page."""
    left = [a for a, b in pairwise(windows) if a.y_mm == b.y_mm]
    return [Area(a.x_mm + a.width_mm + 1, a.y_mm + 1, GAP - 2, a.height_mm - 2) for a in left]


def _windows(
    kind: str, width: float, above: tuple[float, float], below: tuple[float, float]
) -> list[Area]:
    rows_above, rows_below, columns = KINDS[kind]
    left = EDGE + STRIP + GAP
    pitch = (width - 2 * left + GAP) / columns
    made = []
    for span, rows, first in ((above, rows_above, 0), (below, rows_below, rows_above)):
        height = (span[1] - span[0] - 2.0) / rows
        for row in range(rows):
            y = span[0] + row * height + (2.0 if span is below else 0.0)
            for column in range(columns):
                place, x = f"{'ABCD'[first + row]}{column + 1}", left + column * pitch
                made.append(Area(x, y + LABEL, pitch - GAP, height - LABEL - 2, place))
    return made


def marker_numbers() -> list[int]:
    """Numbers of all markers that our cards carry.

    Examples
    --------
    >>> from dyelab import card
    >>> card.marker_numbers()[:4]
    [60, 61, 62, 63]
    """
    return sorted(n for kind in KINDS for paper in PAPERS for n in _numbers(kind, paper))


def of_markers(numbers: set[int]) -> Layout | None:
    """Return which of our cards carries these markers, if one does.

    Examples
    --------
    >>> from dyelab import card
    >>> card.of_markers({60, 61, 62, 63}).name
    'A4 cloth'
    """
    every = ((paper, kind) for kind in KINDS for paper in PAPERS)
    found = (layout(p, k) for p, k in every if not numbers.isdisjoint(_numbers(k, p)))
    return next(found, None)
