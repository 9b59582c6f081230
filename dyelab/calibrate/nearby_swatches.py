"""What swatches measured by instrument tell of the others in the photo: a Gaussian process.

A calibration errs alike on colours alike, above all on one dye at any depth.
"""

import numpy as np

from dyelab import numerics

# How the errors of two swatches go together: CIELAB units apart over which they do, how much
# lightness counts in that, the share of the variance that all have, and the share of one alone. Set
# between two kinds of card, by tests/benchmarks/swatch_constants.py: where four dyes lie six times
# each, 9, 0.2, 0.01 and 0.01 are likeliest; where each cloth has a dye of its own, hardly anything
# tells of another, and the shorter the better.
FAR, DEPTH, EVERYWHERE, UNLIKE = 5.0, 0.25, 0.02, 0.15
# How many swatches' worth of belief there is that they do tell of others (the same script).
BELIEF = 1.0


def shifts_at(lab: np.ndarray, places: np.ndarray, shifts: np.ndarray) -> np.ndarray:
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
    return numerics.gain(alike(places, places), alike(lab, places), UNLIKE) @ shifts


def trust(places: np.ndarray, shifts: np.ndarray) -> float:
    """Share of what some swatches tell of others that is to be believed, 0 to 1.

    The slope, through none, of each one's shift on what the others foretell of it: near 1 where a
    photo shows a few dyes in many depths, near 0 where each cloth errs by itself.

    Parameters
    ----------
    places, shifts : ndarray (m, 3)
        As for `shifts_at`.
    """
    both = np.stack([places, shifts])
    told = [shifts_at(one, *np.delete(both, i, 1))[0] for i, one in enumerate(places[:, None])]
    believed = BELIEF * np.sum(shifts**2) / max(len(shifts), 1)
    slope = (np.sum(told * shifts) + believed) / max(np.sum(np.square(told)) + believed, 1e-12)
    return float(np.clip(slope, 0, 1))


def variance_left(lab: np.ndarray, places: np.ndarray, share: float) -> np.ndarray:
    """Share of the variance at colours (n, 3) that knowing some places (m, 3) leaves, (n,).

    Of what they tell, `share` is believed (see `trust`): a slope through none, so that its square
    is taken off.
    """
    across = alike(lab, places)
    known = (numerics.gain(alike(places, places), across, UNLIKE) * across).sum(axis=1)
    return 1 - share**2 * known / (1 + EVERYWHERE)


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
    return numerics.greedy(alike(lab, lab), UNLIKE, count)


def alike(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Correlation (n, m) of a calibration's errors: high for one dye's hue at any depth."""
    apart = ((error_space(one)[:, None] - error_space(other)) ** 2).sum(axis=-1)
    return (1 + apart / 4) ** -2.0 + EVERYWHERE


def error_space(lab: np.ndarray) -> np.ndarray:
    """Coordinates in which errors reach evenly far: lightness less, strong chroma drawn in.

    Chroma is the integral of 1/S_C, S_C = 1 + 0.045 C* being CIEDE2000's.
    """
    C = np.maximum(np.hypot(lab[:, 1], lab[:, 2]), 1e-9)
    drawn_in = np.log1p(0.045 * C) / 0.045 / C
    return np.column_stack([DEPTH * lab[:, 0], lab[:, 1] * drawn_in, lab[:, 2] * drawn_in]) / FAR
