"""A book small enough to write down: invented numbers, only for looking at panels and pages."""

from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from dyelab import table


@dataclass(frozen=True)
class Book:
    path: Path
    outside: tuple[str, ...] = ()
    swatches: pd.DataFrame = field(default_factory=lambda: table.empty(table.SWATCHES))


def lab(names, values, **more):
    frame = pd.DataFrame(values, columns=["L", "a", "b"], dtype=float)
    return frame.assign(swatch=list(names), illuminant="D65", observer=10, **more)
