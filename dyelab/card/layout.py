"""The card's geometry as data, and the JSON file that keeps it."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from dyelab import files, limits
from dyelab.errors import InputError


@dataclass(frozen=True)
class Area:
    """An upright rectangle on the page, in mm from the top left."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    place: str = ""

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
    with files.whole(path) as file:
        json.dump(_as_json(card), file, indent=1)
        file.write("\n")
    return Path(path)


def _as_json(card: Layout) -> dict[str, Any]:
    def one(area: Area, named: bool = True) -> dict[str, Any]:
        sides = {
            "x_mm": round(area.x_mm, 4),
            "y_mm": round(area.y_mm, 4),
            "width_mm": round(area.width_mm, 4),
            "height_mm": round(area.height_mm, 4),
        }
        return ({"place": area.place} if named else {}) | sides

    return {
        "name": card.name,
        "page_mm": list(card.page_mm),
        "windows": [one(window) for window in card.windows],
        "target_area": one(card.target_area, False),
        "white_areas": [one(area, False) for area in card.white_areas],
        "grey_areas": [one(area, False) for area in card.grey_areas],
        "markers": [{"number": int(m.place)} | one(m, False) for m in card.markers],
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
        x, y, w, h = (float(item[side]) for side in ("x_mm", "y_mm", "width_mm", "height_mm"))
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
