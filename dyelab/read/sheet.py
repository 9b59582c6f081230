"""CSV, TSV and XLSX tables to rows of text cells."""

import csv
import io
from typing import Any

import pandas as pd

from dyelab.errors import InputError
from dyelab.read.columns import is_header
from dyelab.read.grid import Grid
from dyelab.table import fault

_LOOK = 60  # lines within which the header must come


def from_text(text: str, name: str) -> Grid:
    """Read a CSV or TSV table, the delimiter found from its header.

    Raises
    ------
    InputError
        If no header is found.
    """
    csv.field_size_limit(10_000_000)
    tries = [list(csv.reader(io.StringIO(text), delimiter=mark)) for mark in "\t;,"]
    at, lines = next(
        ((at, lines) for lines in tries if (at := _header_at(lines)) is not None), (None, tries[2])
    )
    if at is None:
        raise _no_header(max(tries, key=lambda t: len(t[0]) if t else 0), name)
    return _grid(lines, at, name)


def from_workbook(data: bytes, name: str) -> Grid:
    """Read the first sheet of an XLSX workbook that holds a table of readings.

    Raises
    ------
    InputError
        If the workbook is damaged or no sheet has a header.
    """
    import zipfile

    import openpyxl

    try:
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        sheets = [[[_text(cell) for cell in row] for row in sheet.values] for sheet in book]
    except (zipfile.BadZipFile, KeyError, OSError, ValueError, EOFError) as error:
        raise InputError(
            f"{name}: not a workbook that can be read ({error}). Save it again as XLSX, or as CSV."
        ) from None
    for lines in sheets:
        at = _header_at(lines)
        if at is not None:
            return _grid(lines, at, name)
    raise _no_header(sheets[0] if sheets else [], name)


def _text(cell: Any) -> str:
    if cell is None:
        return ""
    return f"{cell:.15g}" if isinstance(cell, float) else str(cell).strip()


def _header_at(lines: list[list[str]]) -> int | None:
    return next((i for i, line in enumerate(lines[:_LOOK]) if is_header(line)), None)


def _no_header(lines: list[list[str]], name: str) -> InputError:
    first = next((line for line in lines if any(line)), [])
    found = ", ".join(cell.strip() for cell in first[:8] if cell.strip())[:120] or "nothing"
    return InputError(
        f"{name} row 1: no header found; the first line begins {found!r}. Expected columns "
        "sample, L, a, b (with illuminant and observer), or sample and one column a wavelength "
        "(400, 410, …). Name the columns so."
    )


def _grid(lines: list[list[str]], at: int, name: str) -> Grid:
    header = [cell.strip() for cell in lines[at]]
    while header and not header[-1]:
        header.pop()
    kept, rows, faults = [], [], []
    for number, line in enumerate(lines[at + 1 :], at + 2):
        cells = [cell.strip() for cell in line]
        if not any(cells):
            continue
        if (len(cells) > len(header) and any(cells[len(header) :])) or len(cells) < len(
            header
        ) // 2:
            faults.append(
                fault(
                    name,
                    number,
                    "",
                    f"{len(cells)} cells",
                    f"under a header of {len(header)}",
                    "Correct the row; text with a comma needs quotes.",
                )
            )
            continue
        kept.append((cells + [""] * len(header))[: len(header)])
        rows.append(number)
    notes = (f"{at} lines above the header were passed over",) if at else ()
    return Grid(
        pd.DataFrame(kept, columns=header, dtype=str), rows, notes=notes, faults=tuple(faults)
    )
