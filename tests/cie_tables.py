"""Write the CIE's tables anew from colour-science: ``python tests/cie_tables.py``."""

import numpy as np
import pandas as pd

from dyelab.convert.colour_science import library
from dyelab.convert.light import TABLES

_OBSERVERS = {
    2: "CIE 1931 2 Degree Standard Observer",
    10: "CIE 1964 10 Degree Standard Observer",
}


def observers() -> pd.DataFrame:
    """Colour-matching functions that the library carries: columns x2, y2, z2, x10, y10, z10."""
    tables = []
    for angle, name in _OBSERVERS.items():
        functions = library().MSDS_CMFS[name]
        names = [f"{axis}{angle}" for axis in "xyz"]
        tables.append(pd.DataFrame(functions.values, functions.wavelengths.astype(int), names))
    return pd.concat(tables, axis=1).rename_axis("nm")


def illuminants() -> pd.DataFrame:
    """Relative power of every CIE illuminant that the library carries, NaN where it has none."""
    spectra = library().SDS_ILLUMINANTS
    powers = {
        name: pd.Series(spectra[name].values, spectra[name].wavelengths.astype(int))
        for name in spectra
        if not name.startswith("ISO")
    }
    return pd.DataFrame(powers).rename_axis("nm").sort_index()


def text(name: str, frame: pd.DataFrame) -> str:
    """Return the file's text, every number in the fewest digits that give it back exactly."""
    version = library().__version__
    lines = [f"# CIE {name}, as carried by colour-science {version}. Written by this package."]
    lines.append("nm," + ",".join(frame.columns))
    for nm, row in zip(frame.index, frame.to_numpy(), strict=True):
        cells = ["" if np.isnan(x) else np.format_float_positional(x, trim="-") for x in row]
        lines.append(f"{nm}," + ",".join(cells))
    return "\n".join([*lines, ""])


if __name__ == "__main__":
    for name, frame in {"observers": observers(), "illuminants": illuminants()}.items():
        (TABLES / f"{name}.csv").write_text(text(name, frame), encoding="utf-8")
