"""How the card is laid out: rows of windows above and below the target, borders at the sides."""

from functools import cache
from itertools import pairwise

from dyelab.card.layout import Area, Layout
from dyelab.errors import choose

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
    windows = _windows(kind, width, (top, target.y_mm), (_end(target), bottom))
    beside = [
        Area(x, target.y_mm + 6, 13.0, target.height_mm - 12)
        for x in (EDGE + STRIP + 5, width - EDGE - STRIP - 18)
    ]
    return Layout(
        name=f"{paper} {kind}",
        page_mm=(width, height),
        windows=tuple(windows),
        target_area=target,
        white_areas=(*white, *beside, *_between(windows)),
        grey_areas=tuple(grey),
        markers=tuple(_markers(kind, paper, width, height)),
    )


def _end(area: Area) -> float:
    return area.y_mm + area.height_mm


def _markers(kind: str, paper: str, width: float, height: float) -> list[Area]:
    right, low = width - EDGE - MARKER, height - EDGE - MARKER
    corners = [(EDGE, EDGE), (right, EDGE), (right, low), (EDGE, low)]
    numbers = _numbers(kind, paper)
    return [Area(*xy, MARKER, MARKER, str(n)) for xy, n in zip(corners, numbers, strict=True)]


def _borders(width: float, top: float, bottom: float) -> tuple[list[Area], list[Area]]:
    """Strips of white and mid-grey blocks in turn down both sides, and along top and bottom."""
    white: list[Area] = []
    grey: list[Area] = []
    count = 13
    step = (bottom - top) / count
    for x in (EDGE, width - EDGE - STRIP):
        for i in range(count):
            (grey if i % 2 else white).append(Area(x, top + i * step, STRIP, step))
    return white, grey


def _between(windows: list[Area]) -> list[Area]:
    """Bare paper between neighbouring windows: it tells the light in the middle of the page."""
    return [
        Area(a.x_mm + a.width_mm + 1, a.y_mm + 1, GAP - 2, a.height_mm - 2)
        for a, b in pairwise(windows)
        if a.y_mm == b.y_mm
    ]


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
                place = f"{'ABCD'[first + row]}{column + 1}"
                made.append(
                    Area(left + column * pitch, y + LABEL, pitch - GAP, height - LABEL - 2, place)
                )
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
    for kind in KINDS:
        for paper in PAPERS:
            if numbers & set(_numbers(kind, paper)):
                return layout(paper, kind)
    return None
