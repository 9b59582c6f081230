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
    WHITES,
    book_white,
    covariances,
    need,
    one_white,
    white_text,
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
    "WHITES",
    "Column",
    "Table",
    "as_text",
    "blanks",
    "book_white",
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
    "white_text",
    "with_covariances",
]
