"""Reflectances to learn from and judge by: measured surfaces, and invented dyed cloth.

``reflectances.csv`` holds 190 measured surfaces (source and licence in its head and beside it),
``dyed.csv`` invented cloth, written by tests/benchmarks/adapting.py.
"""

from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

HERE = Path(__file__).parent
LAST = 720  # nm: most measured surfaces end in a straight line beyond


@cache
def surfaces() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Wavelengths (k,), reflectance factors (m, k), and the family of each: dyed or measured."""
    invented = pd.read_csv(HERE / "dyed.csv", comment="#")
    real = pd.read_csv(HERE / "reflectances.csv", comment="#").drop(columns="sample")
    bands = np.array([float(name) for name in invented.columns[1:]])
    at = [float(name) for name in real.columns if int(name) <= LAST]
    seen = real.iloc[:, : len(at)].to_numpy(float)
    measured = np.array([np.interp(bands, at, row) for row in seen])
    families = [*invented["family"], *["measured"] * len(measured)]
    spectra = np.concatenate([invented.iloc[:, 1:].to_numpy(float), measured])
    return bands, spectra, np.array(families)
