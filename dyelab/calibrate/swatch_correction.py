"""A calibration corrected by swatches of the photo that an instrument measured."""

from dataclasses import replace

import numpy as np

from dyelab.calibrate.camera_calibration import Calibration
from dyelab.calibrate.nearby_swatches import shifts_at, trust

# Swatches measured by instrument: how many the custom counts for, and what it says of their squared
# misses, in units of what was expected; how much further off others are. Set so that 95 % of the
# others' colours are held on cards whose every cloth has a dye of its own; on cards of a few dyes
# it is more (tests/benchmarks/swatch_constants.py). The last is the variance of laying a handheld
# anew (CIELAB, custom of the trade).
FEW, USUALLY, UNSEEN, SEEN_AGAIN = 3, 1.3, 1.6, 0.05


def correct_by_swatches(made: Calibration, rgb: np.ndarray, lab: np.ndarray) -> Calibration:
    """Correct a calibration by swatches that an instrument measured.

    Each of them, corrected by the others alone, also tells how far such a correction is to be
    trusted, and how far off it is.

    Parameters
    ----------
    made : Calibration
    rgb : ndarray (n, 3)
        Their camera values, linear, tone undone, light evened out.
    lab : ndarray (n, 3)
        CIELAB by instrument, under the calibration's white.
    """
    if not len(lab):
        return made
    fitted = made.lab(rgb)
    shifts, everyone = lab - fitted, np.arange(len(fitted))
    share, misses = trust(fitted, shifts), []
    for i in everyone:
        rest = everyone != i
        misses.append(
            squared_miss(correct(made, fitted[rest], shifts[rest], share), fitted[i], shifts[i])
        )
    off = (np.sum(misses) + FEW * USUALLY) / (len(misses) + FEW) * UNSEEN
    moved = correct(made, fitted, shifts, share)
    return replace(moved, errors=replace(moved.errors, scale=moved.errors.scale * off**0.5))


def correct(made: Calibration, fitted: np.ndarray, shifts: np.ndarray, share: float) -> Calibration:
    # What every simulated camera gets wrong at these swatches is now known and taken away there.
    _, common = made.errors.at(fitted)
    there = np.moveaxis(common / made.errors.scale_at(fitted), 1, 0) * len(made.errors.off) ** 0.5
    known = np.stack([shifts_at(made.errors.lab, fitted, one) for one in there])
    errors = replace(made.errors, off=made.errors.off - share * known)
    return replace(made, anchors=(fitted, share * shifts), trusted=share, errors=errors)


def squared_miss(made: Calibration, fitted: np.ndarray, shift: np.ndarray) -> float:
    """Squared miss of one swatch by what others told, over what was to be expected."""
    assert made.anchors is not None
    miss = shifts_at(fitted[None], *made.anchors)[0] - shift
    own, common = made.doubt(fitted[None] + shifts_at(fitted[None], *made.anchors))
    whole = own[0] + common[0].T @ common[0] + SEEN_AGAIN * np.eye(3)
    return float(miss @ np.linalg.solve(whole, miss)) / 3
