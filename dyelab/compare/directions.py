"""Which way a colour moved, in words."""

import math

import numpy as np

from dyelab import table, words
from dyelab.errors import InputError

HUES = ("redder", "yellower", "greener", "bluer")  # at 0, 90, 180 and 270 degrees
WAYS = ("lighter", "darker", "brighter", "duller", *HUES)
VISIBLE, PLAIN, LARGE = 0.5, 1.5, 6.0  # CIELAB units: below the first, nothing is said
NEUTRAL = 5.0  # chroma under which a hue angle says nothing


def direction(reference_lab: np.ndarray, sample_lab: np.ndarray) -> list[str]:
    """Say which way each sample lies from its reference.

    Lightness and chroma by ΔL* and ΔC*ab; hue by the direction the colour really moved along
    the hue circle, not by the name of its hue: a yellow that turns towards green is "greener".
    Beside a near-neutral the move on the a*b* plane itself is named.

    Parameters
    ----------
    reference_lab, sample_lab : array_like, shape (n, 3) or (3,)
        CIELAB under one white point.

    Returns
    -------
    list of str
        Such as ``"much darker, slightly duller, greener"``; ``"no visible change"`` where every
        part is under 0.5.

    Raises
    ------
    InputError
        If the shapes differ or the last axis isn't L*, a*, b*.

    Examples
    --------
    >>> from dyelab import compare
    >>> compare.direction((50, 20, 10), (40, 10, 5))
    ['much darker, much duller']
    """
    reference = np.atleast_2d(np.asarray(reference_lab, float))
    sample = np.atleast_2d(np.asarray(sample_lab, float))
    if reference.shape != sample.shape or reference.shape[-1] != len(table.LAB):
        raise InputError(
            f"direction: reference {reference.shape} and sample {sample.shape} don't match. "
            "Give two arrays of the same shape, (n, 3)."
        )
    return [_phrase(way) for way in _ways(reference, sample)]


def ways(reference_lab: np.ndarray, sample_lab: np.ndarray) -> list[tuple[str, ...]]:
    """Which ways each sample lies from its reference (n, 3), as codes of `WAYS`, without degrees.

    Empty where no part of the change is visible, or where a colour wasn't measured.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import compare
    >>> compare.ways(np.array([[50, 20, 10]]), np.array([[40, 10, 5]]))
    [('darker', 'duller')]
    """
    found = _ways(np.asarray(reference_lab, float), np.asarray(sample_lab, float))
    return [() if way is None else tuple(name for name, _ in way) for way in found]


Way = list[tuple[str, str]] | None  # ways with their degree; None where a colour wasn't measured


def _ways(reference: np.ndarray, sample: np.ndarray) -> list[Way]:
    chroma = np.hypot(reference[:, 1], reference[:, 2]), np.hypot(sample[:, 1], sample[:, 2])
    turn, towards = _hue_moves(reference[:, 1:], sample[:, 1:])
    moves = np.stack([sample[:, 0] - reference[:, 0], chroma[1] - chroma[0], turn], axis=1)
    quarters = np.round(np.nan_to_num(towards) / 90).astype(int) % 4
    return [_way(move, HUES[q]) for move, q in zip(moves.tolist(), quarters, strict=True)]


def _way(move: list[float], hue: str) -> Way:
    if not all(map(math.isfinite, move)):
        return None
    names = (("lighter", "darker"), ("brighter", "duller"), (hue, ""))
    return [
        (rising if amount > 0 else falling, _degree(amount))
        for amount, (rising, falling) in zip(move, names, strict=True)
        if abs(amount) >= VISIBLE
    ]


def _degree(amount: float) -> str:
    return "slightly" if abs(amount) < PLAIN else "much" if abs(amount) > LARGE else "plainly"


def _phrase(way: Way) -> str:
    if way is None:
        return words.say("direction.unknown")
    parts = [words.say(f"direction.{how}", way=words.say(f"direction.{name}")) for name, how in way]
    return ", ".join(parts) or words.say("direction.none")


def _hue_moves(before: np.ndarray, after: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Length of each hue change and the angle, in degrees, it points to on the a*b* plane."""
    move = after - before
    size = np.hypot(*before.T), np.hypot(*after.T)
    middle = sum(
        colour / np.maximum(length, 1e-12)[:, None]
        for colour, length in zip((before, after), size, strict=True)
    )
    along = np.stack([-middle[:, 1], middle[:, 0]], axis=1)
    along /= np.maximum(np.hypot(*along.T), 1e-12)[:, None]
    sideways = np.sum(move * along, axis=1)
    neutral = np.minimum(*size) < NEUTRAL
    way = np.where(neutral[:, None], move, along * np.where(sideways < 0, -1, 1)[:, None])
    length = np.where(neutral, np.hypot(*move.T), np.abs(sideways))
    return length, np.degrees(np.arctan2(way[:, 1], way[:, 0]))


def hue_part(before: np.ndarray, after: np.ndarray) -> np.ndarray:
    """Angle, in degrees, that each change of hue points to on the a*b* plane.

    Parameters
    ----------
    before, after : ndarray (n, 2)
        a*, b*.

    Returns
    -------
    ndarray (n,)
        Along the hue circle, in the sense moved; beside a near-neutral, of the move itself.
    """
    return _hue_moves(np.asarray(before, float), np.asarray(after, float))[1]
