"""Tables and their rules: columns, units, ranges, the white-point rule, and how faults are worded.

Every table of a swatch book is described once, here, in the terms of the open Table Schema
standard. The description checks rows, types columns, and is written into the book's
``datapackage.json``.
"""

from dyelab.table.cells import (
    as_floats,
    as_text,
    as_typed,
    blanks,
    decimal_points,
    empty,
    free_name,
    number,
    number_list,
    number_texts,
    numbers,
    pieces,
    texts,
)
from dyelab.table.checking import FAULT, check, fault
from dyelab.table.columns import (
    BY_INSTRUMENT,
    EXPOSURES,
    FORMS,
    M_CONDITIONS,
    MATERIALS,
    METHODS,
    PHOTOS,
    READINGS,
    SHARED,
    STEPS,
    SWATCHES,
    TESTS,
    Column,
    Table,
    is_band,
    schema,
    spectra_table,
)
from dyelab.table.conditions import (
    CONDITIONS,
    EXPOSURE,
    NOT_STATED,
    conditions_text,
    exposure_columns,
    method_of,
    reading_ways,
    with_exposure,
)
from dyelab.table.white import (
    COVARIANCE,
    DEFAULT_WHITE,
    LAB,
    STANDARD_UNCERTAINTIES,
    WHITE,
    WHITES,
    White,
    book_white,
    covariances,
    need,
    one_white,
    white_text,
    with_covariances,
    with_uncertainties,
)
