"""Measured cameras and surfaces, from which the calibration's expectations are made."""

from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

from dyelab.calibrate.reference import BANDS

_DATA = Path(__file__).parent / "data"
_SURE_TO_NM = 720.0  # most of the surfaces' tables end in a straight line beyond it


@cache
def cameras() -> np.ndarray:
    """Sensitivities (34, 36, 3) of cameras at `BANDS`, each channel's relative to green's top."""
    table = pd.read_csv(_DATA / "cameras.csv", comment="#", index_col=0)
    at = np.stack([np.interp(BANDS, table.index, table[name]) for name in table])
    return np.moveaxis(at.reshape(-1, 3, len(BANDS)), 1, 2)


@cache
def surfaces() -> np.ndarray:
    """Reflectance factors (190, 36) of real surfaces at `BANDS`."""
    table = pd.read_csv(_DATA / "reflectances.csv", comment="#", index_col=0)
    nm = table.columns.astype(float)
    kept = nm <= _SURE_TO_NM
    rows = table.to_numpy(float)[:, kept]
    return np.array([np.interp(BANDS, nm[kept], row) for row in rows])
