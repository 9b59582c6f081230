"""Tables and their rules: columns, units, ranges, the white-point rule, and how faults are worded.

Every table of a swatch book is described once, here, in the terms of the open Table Schema
standard. The description checks rows, types columns, and is written into the book's
``datapackage.json``.
"""

from dyelab.table.checking import check, fault
from dyelab.table.columns import (
    EXPOSURES,
    FORMS,
    MATERIALS,
    METHODS,
    PHOTOS,
    READINGS,
    ROLES,
    SHARED,
    STEP_KINDS,
    STEPS,
    SWATCHES,
    TESTS,
    Column,
    Table,
    schema,
    spectra_table,
)
from dyelab.table.typing import as_text, blanks, empty, numbers, typed
from dyelab.table.white import (
    COVARIANCE,
    DEFAULT_WHITE,
    LAB,
    STANDARD_UNCERTAINTIES,
    WHITE,
    covariances,
    need,
    one_white,
    with_covariances,
)

__all__ = [
    "COVARIANCE",
    "DEFAULT_WHITE",
    "EXPOSURES",
    "FORMS",
    "LAB",
    "MATERIALS",
    "METHODS",
    "PHOTOS",
    "READINGS",
    "ROLES",
    "SHARED",
    "STANDARD_UNCERTAINTIES",
    "STEPS",
    "STEP_KINDS",
    "SWATCHES",
    "TESTS",
    "WHITE",
    "Column",
    "Table",
    "as_text",
    "blanks",
    "check",
    "covariances",
    "empty",
    "fault",
    "need",
    "numbers",
    "one_white",
    "schema",
    "spectra_table",
    "typed",
    "with_covariances",
]
