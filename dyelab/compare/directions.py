"""Which way a colour moved, in words."""

import math

import numpy as np

from dyelab import table, words
from dyelab.errors import InputError

HUES = ("redder", "yellower", "greener", "bluer")  # at 0, 90, 180 and 270 degrees
WAYS = ("lighter", "darker", "brighter", "duller", "greyer", *HUES)
# Words for a way where its own would seem to contradict the numbers or the word beside it.
FULLER, IN_HUE = "fuller", "{}_in_hue"
VISIBLE, PLAIN, LARGE = 0.5, 1.5, 6.0  # CIELAB units: below the first, nothing is said
# Set by eye; tests/benchmarks/direction_words.py prints what other values would say. Chroma: under
# WEAK (undyed wool has 12) a cloth has no hue of its own to turn or to brighten, under GREY it is
# called grey.
WEAK, GREY = 15.0, 10.0
TO_GREY = 0.7  # part of a move on the a*b* plane: past it the move is a loss of colour, not a hue
VIVID = 0.5  # times the lightness lost: of a darker cloth a smaller gain of chroma goes unsaid
MINOR = 0.25  # of the chroma gained: beside that the eye doesn't see so small a turn of hue


def direction(reference_lab: np.ndarray, sample_lab: np.ndarray) -> list[str]:
    """Say which way each sample lies from its reference.

    Lightness and chroma by ΔL* and ΔC*ab; hue by the direction the colour really moved along
    the hue circle, not by the name of its hue: a yellow that turns towards green is "greener",
    and "yellower in hue" is a colour that turned towards yellow while its b* did not rise.
    Beside a weakly coloured cloth (chroma under 15) the move on the a*b* plane itself is named,
    or, where colour was lost, "duller" or "greyer" alone. A darker cloth is "more colourful" only
    where its chroma rose by half the lightness lost, and beside a gain of chroma a turn of hue
    under a quarter of it is left out.

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


def direction_codes(reference_lab: np.ndarray, sample_lab: np.ndarray) -> list[tuple[str, ...]]:
    """Which ways each sample lies from its reference (n, 3), as codes of `WAYS`, without degrees.

    Empty where no part of the change is visible, or where a colour wasn't measured.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import compare
    >>> compare.direction_codes(np.array([[50, 20, 10]]), np.array([[40, 10, 5]]))
    [('darker', 'duller')]
    """
    found = _ways(np.asarray(reference_lab, float), np.asarray(sample_lab, float))
    return [() if way is None else tuple(_code(name) for name, _ in way) for way in found]


def _code(name: str) -> str:
    return "brighter" if name == FULLER else name.removesuffix(IN_HUE.format(""))


Way = list[tuple[str, str]] | None  # ways with their degree; None where a colour wasn't measured


def _ways(reference: np.ndarray, sample: np.ndarray) -> list[Way]:
    before, after = (np.hypot(lab[:, 1], lab[:, 2]) for lab in (reference, sample))
    turn, towards = _hue_moves(reference[:, 1:], sample[:, 1:])
    moves = np.stack([sample[:, 0] - reference[:, 0], after - before, turn, before, after], axis=1)
    quarters = np.round(np.nan_to_num(towards) / 90).astype(int) % 4
    named = (sample - reference)[np.arange(len(moves)), 1 + quarters % 2]  # of a* or b*
    against = named * np.where(quarters < 2, 1, -1) <= 0
    hues = [
        IN_HUE.format(HUES[q]) if a else HUES[q] for q, a in zip(quarters, against, strict=True)
    ]
    return [_way(move, hue) for move, hue in zip(moves.tolist(), hues, strict=True)]


def _way(move: list[float], hue: str) -> Way:
    lightness, chroma, turn, before, after = move
    if not all(map(math.isfinite, (lightness, chroma, turn))):
        return None
    if min(before, after) < WEAK:
        lost = -chroma > TO_GREY * turn
        chroma, turn = (chroma, 0.0) if lost else (0.0, turn)
    elif chroma > 0 > lightness and chroma < -VIVID * lightness:
        chroma = 0.0
    if turn < MINOR * chroma:
        turn = 0.0
    less = "greyer" if after < GREY else "duller"
    more = FULLER if lightness <= -VISIBLE else "brighter"
    names = (("lighter", "darker"), (more, less), (hue, ""))
    return [
        (rising if amount > 0 else falling, _degree(amount))
        for amount, (rising, falling) in zip((lightness, chroma, turn), names, strict=True)
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
    weak = np.minimum(*size) < WEAK
    way = np.where(weak[:, None], move, along * np.where(sideways < 0, -1, 1)[:, None])
    length = np.where(weak, np.hypot(*move.T), np.abs(sideways))
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
        Along the hue circle, in the sense moved; beside a weakly coloured one, of the move itself.
    """
    return _hue_moves(np.asarray(before, float), np.asarray(after, float))[1]
