"""The CIE's tables of lights and eyes, as CSV beside this module.

They were taken from colour-science, whose import takes two seconds that every command and panel
would otherwise pay. ``python -m dyelab.convert.cie`` writes them anew; a test holds them to the
library, number by number.
"""

from functools import cache
from pathlib import Path

import pandas as pd

HERE = Path(__file__).parent


@cache
def table(name: str) -> pd.DataFrame:
    """Return ``"observers"`` or ``"illuminants"``: one row a wavelength in nm, NaN where none."""
    return pd.read_csv(HERE / f"{name}.csv", comment="#", index_col="nm")
