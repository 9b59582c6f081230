"""What swatches measured by instrument tell of the others in the photo: a Gaussian process.

A calibration errs alike on colours alike, above all on one dye at any depth.
"""

import numpy as np

from dyelab import numerics

# How the errors of two swatches go together: CIELAB units apart over which they do, how much
# lightness counts in that, the share of the variance that all have, and the share of one alone. Set
# between two kinds of card, by tests/benchmarks/swatch_constants.py: where four dyes lie six times
# each, 9, 0.2, 0.01 and 0.01 are likeliest; where each cloth has a dye of its own, hardly anything
# tells of another, and more than these would be worse than none.
_FAR, _DEPTH, _EVERYWHERE, _UNLIKE = 14.0, 0.25, 0.02, 0.15


def near(lab: np.ndarray, places: np.ndarray, shifts: np.ndarray) -> np.ndarray:
    """Spread what is known at some colours: most of it there, a little everywhere.

    Parameters
    ----------
    lab : ndarray (n, 3)
        CIELAB of the colours asked for.
    places, shifts : ndarray (m, 3)
        Where something is known, and what.

    Returns
    -------
    ndarray (n, 3)
        The mean of a Gaussian process (Rasmussen and Williams 2006, eq. 2.25).
    """
    return _alike(lab, places) @ _solved(places, shifts)


def left_by(lab: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Share of the variance at colours (n, 3) that knowing some places (m, 3) leaves, (n,)."""
    alike = _alike(lab, places)
    known = np.einsum("nm,mn->n", alike, _solved(places, alike.T))
    return 1 - known / (1 + _EVERYWHERE)


def most_telling(lab: np.ndarray, count: int) -> list[int]:
    """Which colours (n, 3), known by instrument, would leave least variance in all; best first.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import calibrate
    >>> lab = np.array([[20.0, 0, 0], [50, 5, 5], [51, 5, 5], [90, -10, 40]])
    >>> calibrate.most_telling(lab, 2)
    [1, 3]
    """
    return numerics.greedy(_alike(lab, lab), _UNLIKE, count)


def _solved(places: np.ndarray, values: np.ndarray) -> np.ndarray:
    return np.linalg.solve(_alike(places, places) + _UNLIKE * np.eye(len(places)), values)


def _alike(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Correlation (n, m) of a calibration's errors: high for one dye's hue at any depth."""
    apart = ((even(one)[:, None] - even(other)) ** 2).sum(axis=-1)
    return (1 + apart / 4) ** -2.0 + _EVERYWHERE


def even(lab: np.ndarray) -> np.ndarray:
    """Coordinates in which errors reach evenly far: lightness less, strong chroma drawn in.

    Chroma is the integral of 1/S_C, S_C = 1 + 0.045 C* being CIEDE2000's.
    """
    C = np.maximum(np.hypot(lab[:, 1], lab[:, 2]), 1e-9)
    drawn_in = np.log1p(0.045 * C) / 0.045 / C
    return np.column_stack([_DEPTH * lab[:, 0], lab[:, 1] * drawn_in, lab[:, 2] * drawn_in]) / _FAR
