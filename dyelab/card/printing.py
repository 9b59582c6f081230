"""The swatch card and the labels of swatches as PDF."""

import hashlib
import io
from collections.abc import Collection, Iterable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from dyelab import press, words
from dyelab.card.layout import Layout, marker_numbers

_TEMPLATE = Path(__file__).with_name("card.typ")


def pdf(card: Layout, path: str | Path) -> Path:
    """Write the card as a PDF of one page.

    Examples
    --------
    >>> from dyelab import card
    >>> card.pdf(card.layout(), folder / "card.pdf").read_bytes()[:5]
    b'%PDF-'
    """
    return press.pdf(_TEMPLATE.read_text(encoding="utf-8"), _describe(card), path)


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

    content = press.typeset(_TEMPLATE.read_text(encoding="utf-8"), _describe(card), form="png")
    page = np.asarray(Image.open(io.BytesIO(content)).convert("L"))
    size = tuple(round(side * pixels_per_mm) for side in card.page_mm)
    return cv2.resize(page, size, interpolation=cv2.INTER_AREA)


def _describe(card: Layout) -> dict[str, Any]:
    texts = {key: words.say(f"card.{key}") for key in ("title", "target")}
    fields = [words.say(f"card.{key}") for key in ("series", "date", "light")]
    hint = "yarn" if card.name.endswith("yarn") else "cloth"
    hints = [words.say(f"card.hint_{key}") for key in (hint, "target", "photo", "phone")]
    bordered = (*(a for a in card.white_areas if a.width_mm > 4), *card.grey_areas)
    return {
        "name": card.name,
        "page_mm": card.page_mm,
        "windows": [window.sides | {"place": window.place} for window in card.windows],
        "target_area": card.target_area.sides,
        "grey_areas": [area.sides for area in card.grey_areas],
        "strips": [area.sides for area in bordered],
        "markers": [m.sides | {"cells": marker_cells(int(m.place))} for m in card.markers],
        "texts": texts | {"fields": fields, "hints": hints},
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


FAMILY = 587  # markers in AprilTag 36h11
# How many are read, and none wrongly, is measured by tests/benchmarks/label_reading.py.
MARKER_MM, QUIET_MM, PITCH_MM = 5.0, 0.5, 6.0
LABEL_MM = (18.0, 6.0)


@cache
def label_markers() -> tuple[int, ...]:
    """Numbers of the family that labels use, in order: digits of their numbers.

    Examples
    --------
    >>> from dyelab import card
    >>> card.label_markers()[:4]
    (0, 1, 2, 3)
    """
    corners = set(marker_numbers())
    return tuple(n for n in range(FAMILY) if n not in corners)


def marker_pair(number: int) -> tuple[int, int]:
    """Left and right marker of a label's number.

    Examples
    --------
    >>> from dyelab import card
    >>> card.marker_pair(7)
    (0, 7)
    """
    digits = label_markers()
    return digits[number // len(digits)], digits[number % len(digits)]


def label_number(left: int, right: int) -> int:
    """Number of the label that bears these two markers.

    Examples
    --------
    >>> from dyelab import card
    >>> card.label_number(*card.marker_pair(7))
    7
    """
    digits = label_markers()
    return digits.index(left) * len(digits) + digits.index(right)


def label_numbers(codes: Iterable[str], series: str, taken: Collection[int] = ()) -> list[int]:
    """Give each swatch a label's number: the same for one series and code at any time.

    Scattered over all numbers, so that a label of another series is hardly ever taken for one.

    Parameters
    ----------
    codes : iterable of str
        Swatch codes.
    series : str
        Name of their series.
    taken : collection of int
        Numbers that may not be given.

    Examples
    --------
    >>> from dyelab import card
    >>> card.label_numbers(["K-01", "K-02"], "madder")
    [304028, 181865]
    """
    count, used, given = len(label_markers()) ** 2, set(taken), []
    for code in codes:
        digest = hashlib.sha256(f"{series}\n{code}".encode()).digest()
        number = int.from_bytes(digest[:8], "big") % count
        while number in used:
            number = (number + 1) % count
        used.add(number)
        given.append(number)
    return given


def label_svg(number: int) -> bytes:
    """The two markers of a number, quiet edge included: 12 by 6 mm, as SVG.

    Examples
    --------
    >>> from dyelab import card
    >>> card.label_svg(7)[:4]
    b'<svg'
    """
    side = MARKER_MM / 8
    path = ""
    for at, marker in enumerate(marker_pair(number)):
        for row, line in enumerate(marker_cells(marker)):
            y = QUIET_MM + row * side
            for column, cell in enumerate(line):
                x = QUIET_MM + at * PITCH_MM + column * side
                # A hair over its size, so that no light line parts two black cells.
                path += "" if cell else f"M{x:g} {y:g}h{side + 0.01:g}v{side + 0.01:g}h-{side:g}z"
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" width="12mm" height="6mm" viewBox="0 0 12 6">'
        f'<rect width="12" height="6" fill="#fff"/><path d="{path}"/></svg>'
    ).encode()
