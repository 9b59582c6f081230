"""The sheets of an XLSX file as rows of values; the one place that opens a workbook.

A workbook is a zip of XML, so it can be damaged in more ways than any other table, and a single
stray cell in its far corner makes it 17,000 million cells wide and long. Rows come only as wide
as their last cell, and the limits of `dyelab.limits` hold for every sheet.
"""

import io
import zipfile
from typing import Any

from dyelab import limits
from dyelab.errors import reading


def sheets(data: bytes, name: str) -> dict[str, list[list[Any]]]:
    """Return each sheet's rows by its title, without blank rows and cells at the end.

    Parameters
    ----------
    data : bytes
        The file.
    name : str
        What messages call it.

    Raises
    ------
    InputError
        If it is damaged, or larger than `dyelab.limits` allows.
    """
    import openpyxl

    with reading(name, "XLSX"):
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            size = sum(item.file_size for item in packed.infolist())
            limits.need(size, limits.TABLE_BYTES, "bytes when unpacked", name)
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        found = {str(sheet.title): _rows(sheet, name) for sheet in book.worksheets}
        book.close()
    return found


def _rows(sheet: Any, name: str) -> list[list[Any]]:
    place = f"{name}, sheet {sheet.title!r}"
    sheet.reset_dimensions()  # what the file says of its size may be anything
    rows: list[list[Any]] = []
    cells = filled = 0
    for count, given in enumerate(sheet.iter_rows(values_only=True), 1):
        row = list(given)
        while row and row[-1] in (None, ""):
            row.pop()
        limits.need(
            len(row), limits.COLUMNS, f"columns (a cell in row {count} stands there)", place
        )
        limits.need(count, limits.ROWS, "rows", place)
        cells += len(row)
        limits.need(cells, limits.CELLS, "cells", place)
        rows.append(row)
        filled = count if row else filled
    return rows[:filled]
