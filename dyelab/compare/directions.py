"""Which way a colour moved, in words."""

import numpy as np

from dyelab import table
from dyelab.errors import InputError

HUES = ("redder", "yellower", "greener", "bluer")  # at 0, 90, 180 and 270 degrees
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
    """
    reference = np.atleast_2d(np.asarray(reference_lab, float))
    sample = np.atleast_2d(np.asarray(sample_lab, float))
    if reference.shape != sample.shape or reference.shape[-1] != len(table.LAB):
        raise InputError(
            f"direction: reference {reference.shape} and sample {sample.shape} don't match. "
            "Give two arrays of the same shape, (n, 3)."
        )
    return [_phrase(one, other) for one, other in zip(reference, sample, strict=True)]


def _phrase(reference: np.ndarray, sample: np.ndarray) -> str:
    if not (np.isfinite(reference).all() and np.isfinite(sample).all()):
        return "not measured"
    before, after = np.hypot(*reference[1:]), np.hypot(*sample[1:])
    turn, towards = _hue_move(reference[1:], sample[1:], min(before, after))
    parts = [
        _said(sample[0] - reference[0], "lighter", "darker"),
        _said(after - before, "clearer", "duller"),
        _said(turn, HUES[round(towards / 90) % 4], ""),
    ]
    return ", ".join(part for part in parts if part) or "no visible change"


def _hue_move(before: np.ndarray, after: np.ndarray, chroma: float) -> tuple[float, float]:
    """Length of the hue change and the angle, in degrees, it points to on the a*b* plane."""
    move = after - before
    if chroma < NEUTRAL:
        return float(np.hypot(*move)), float(np.degrees(np.arctan2(move[1], move[0])))
    middle = before / np.hypot(*before) + after / np.hypot(*after)
    along = np.array([-middle[1], middle[0]])
    sideways = float(move @ along) / max(float(np.hypot(*middle)), 1e-12)
    angle = np.degrees(np.arctan2(along[1], along[0])) + (180 if sideways < 0 else 0)
    return abs(sideways), float(angle)


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
    moves = [
        _hue_move(one, other, float(min(np.hypot(*one), np.hypot(*other))))[1]
        for one, other in zip(before, after, strict=True)
    ]
    return np.array(moves, float)


def _said(amount: float, rising: str, falling: str) -> str:
    if abs(amount) < VISIBLE:
        return ""
    degree = "slightly " if abs(amount) < PLAIN else "much " if abs(amount) > LARGE else ""
    return degree + (rising if amount > 0 else falling)
