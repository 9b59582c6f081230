"""Labels that name swatches: a number as two small markers of the card's own family.

A label is a strip of 18 by 6 mm for the space above a window: two markers of 5 mm, then the code
in words. One marker tells 563 numbers apart, too few to know another book's label; two tell
316,969. The corner squares' own numbers are left out.
"""

import hashlib
from collections.abc import Collection, Iterable
from functools import cache

from dyelab.card.design import marker_numbers

FAMILY = 587  # markers in AprilTag 36h11
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
    from dyelab.card.printing import marker_cells

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
