"""The card on paper: one Typst page, as PDF or as a picture of the print."""

import io
from pathlib import Path
from typing import Any

import numpy as np

from dyelab import press, words
from dyelab.card.layout import Area, Layout

_TEMPLATE = Path(__file__).with_name("card.typ")


def pdf(card: Layout, path: str | Path) -> Path:
    """Write the card as a PDF of one page.

    Examples
    --------
    >>> from dyelab import card
    >>> card.pdf(card.layout(), folder / "card.pdf").read_bytes()[:5]
    b'%PDF-'
    """
    return press.pdf(_TEMPLATE.read_text(encoding="utf-8"), _described(card), path)


def bitmap(card: Layout, pixels_per_mm: float) -> np.ndarray:
    """Return the printed page as grey levels 0 (ink) to 255 (paper), shape (height, width).

    Examples
    --------
    >>> from dyelab import card
    >>> card.bitmap(card.layout(), 2).shape
    (594, 420)
    """
    import cv2
    from PIL import Image

    content = press.compiled(_TEMPLATE.read_text(encoding="utf-8"), _described(card), form="png")
    page = np.asarray(Image.open(io.BytesIO(content)).convert("L"))
    size = tuple(round(side * pixels_per_mm) for side in card.page_mm)
    return cv2.resize(page, size, interpolation=cv2.INTER_AREA)


def _described(card: Layout) -> dict[str, Any]:
    texts = {key: words.say(f"card.{key}") for key in ("title", "target")}
    fields = [words.say(f"card.{key}") for key in ("series", "date", "light")]
    hint = "yarn" if card.name.endswith("yarn") else "cloth"
    hints = [words.say(f"card.hint_{key}") for key in (hint, "target", "photo", "phone")]
    bordered = (*(a for a in card.white_areas if a.width_mm > 4), *card.grey_areas)
    return {
        "name": card.name,
        "page_mm": card.page_mm,
        "windows": [_box(window) | {"place": window.place} for window in card.windows],
        "target_area": _box(card.target_area),
        "grey_areas": [_box(area) for area in card.grey_areas],
        "strips": [_box(area) for area in bordered],
        "markers": [_box(m) | {"cells": marker_cells(int(m.place))} for m in card.markers],
        "texts": texts | {"fields": fields, "hints": hints},
    }


def _box(area: Area) -> dict[str, float]:
    return {
        "x_mm": area.x_mm,
        "y_mm": area.y_mm,
        "width_mm": area.width_mm,
        "height_mm": area.height_mm,
    }


def marker_cells(number: int) -> list[list[int]]:
    """Cells of an AprilTag 36h11 marker, its black border included: 8 by 8, 1 for white.

    Examples
    --------
    >>> from dyelab import card
    >>> len(card.marker_cells(0))
    8
    """
    import cv2

    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36H11)
    picture = cv2.aruco.generateImageMarker(family, number, 8, borderBits=1)
    return (np.asarray(picture) > 127).astype(int).tolist()
