"""Write the shipped tables anew from colour-science: ``python tests/cie_tables.py``."""

import numpy as np
import pandas as pd

from dyelab.convert.colour_science import COLOURS, SPECTRAL, library
from dyelab.convert.light import TABLES

TOLD = {
    "observers": "CIE observers",
    "illuminants": "CIE illuminants",
    "target_spectra": "Average reflectance of the 24-patch target (BabelColor)",
    "target_colours": "x, y, Y of the 24-patch target, older and newer than November 2014",
}
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


def target_spectra() -> pd.DataFrame:
    """Average reflectance of the 24-patch target, one column a patch."""
    patches = library().SDS_COLOURCHECKERS[SPECTRAL["average"]]
    nm = patches["dark skin"].wavelengths.astype(int)
    return pd.DataFrame({name: patches[name].values for name in patches}, nm).rename_axis("nm")


def target_colours() -> pd.DataFrame:
    """Chromaticities and Y of the older and the newer target, and of the white meant."""
    tables = []
    for ours, theirs in COLOURS.items():
        given = library().CCS_COLOURCHECKERS[theirs]
        rows = {**given.data, "white": [*given.illuminant, 1.0]}
        tables.append(pd.DataFrame.from_dict(rows, "index", columns=[f"{ours}_{c}" for c in "xyY"]))
    return pd.concat(tables, axis=1).rename_axis("patch")


def text(name: str, frame: pd.DataFrame) -> str:
    """Return the file's text, every number in the fewest digits that give it back exactly."""
    version = library().__version__
    lines = [f"# {TOLD[name]}, as carried by colour-science {version}. Written by this package."]
    lines.append(",".join([frame.index.name, *frame.columns]))
    for at, row in zip(frame.index, frame.to_numpy(), strict=True):
        cells = ["" if np.isnan(x) else np.format_float_positional(x, trim="-") for x in row]
        lines.append(f"{at}," + ",".join(cells))
    return "\n".join([*lines, ""])


if __name__ == "__main__":
    for name in TOLD:
        (TABLES / f"{name}.csv").write_text(text(name, globals()[name]()), encoding="utf-8")
