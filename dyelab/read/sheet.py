"""CSV, TSV and XLSX tables to rows of text cells."""

import csv
import io
from dataclasses import replace
from typing import Any

import pandas as pd

from dyelab import files, limits
from dyelab.errors import InputError, reading
from dyelab.read.conditions import conditions
from dyelab.read.rows import Grid, is_header, roles, wavelength
from dyelab.table import fault

_LOOK = 60  # lines within which the header must come: instruments write some dozen above it


def from_text(text: str, name: str) -> Grid:
    """Read a CSV or TSV table, the delimiter found from its header.

    Wavelengths may run across the header or down the first column.

    Raises
    ------
    InputError
        If no header is found.
    """
    csv.field_size_limit(limits.LETTERS)
    if text.count('"') % 2:
        raise _open_quote(text, name)
    with reading(name, "CSV"):
        tries = [list(csv.reader(io.StringIO(text), delimiter=mark)) for mark in "\t;,"]
    limits.check(
        max(len(line) for lines in tries for line in lines[:_LOOK]), limits.COLUMNS, "columns", name
    )
    found = (_table(lines, name) for lines in tries)
    grid = next((grid for grid in found if grid is not None), None)
    if grid is None:
        raise _no_header(name)
    return grid


def _open_quote(text: str, name: str) -> InputError:
    odd = (i for i, line in enumerate(text.split("\n"), 1) if line.count('"') % 2)
    return InputError(
        f"{name} row {next(odd)}: a quotation mark is opened and never closed, which swallows all "
        "rows behind it. Expected them in pairs: remove it or add the other."
    )


def _table(lines: list[list[str]], name: str) -> Grid | None:
    """Find the table in these lines, upright or lying on its side."""
    at = next((i for i, line in enumerate(lines[:_LOOK]) if is_header(line)), None)
    if at is not None:
        return _grid(lines, at, name)
    start = next((i for i, line in enumerate(lines[:_LOOK]) if _on_its_side(lines, i)), None)
    return _turn(lines, start) if start is not None else None


def _on_its_side(lines: list[list[str]], at: int) -> bool:
    """Whether wavelengths run down the first column from the next line on."""
    head = lines[at]
    below = [wavelength(line[0]) for line in lines[at + 1 : at + 9] if line]
    return len(head) > 1 and len(below) == 8 and None not in below and wavelength(head[0]) is None


def _turn(lines: list[list[str]], at: int) -> Grid:
    """A table with a column a sample and a row a wavelength, as a row a sample."""
    head = [cell.strip() for cell in lines[at]]
    body = [line for line in lines[at + 1 :] if any(cell.strip() for cell in line)]
    bands = [line for line in body if line and wavelength(line[0]) is not None]
    notes = ["wavelengths run down the first column: each further column was read as a sample"]
    if len(body) > len(bands):
        notes.append(f"{len(body) - len(bands)} lines without a wavelength were passed over")
    columns = [i for i in range(1, len(head)) if head[i] or any(_cell(x, i) for x in bands)]
    cells = [[head[i], *(_cell(line, i) for line in bands)] for i in columns]
    names = ["sample", *(line[0].strip() for line in bands)]
    frame = pd.DataFrame(cells, columns=names, dtype=str)
    return Grid(frame, [i + 1 for i in columns], notes=tuple(notes), row_word="column")


def _cell(line: list[str], i: int) -> str:
    return line[i].strip() if i < len(line) else ""


def from_workbook(data: bytes, name: str) -> list[Grid]:
    """Read every sheet of an XLSX workbook that holds a table of readings.

    Raises
    ------
    InputError
        If the workbook is damaged or no sheet has a header.
    """
    sheets = {
        title: [[_text(cell) for cell in row] for row in rows]
        for title, rows in files.sheets(data, name).items()
    }
    found = {title: table for title, lines in sheets.items() if (table := _table(lines, name))}
    if not found:
        raise _no_header(name)
    if len(sheets) == 1:
        return list(found.values())
    for title, grid in found.items():
        notes = (*grid.notes, f"sheet {title!r} was read")
        found[title] = replace(grid, notes=notes, row_word=f"{title} row", sheet=title)
    return list(found.values())


def _text(cell: Any) -> str:
    if cell is None:
        return ""
    return f"{cell:.15g}" if isinstance(cell, float) else str(cell).strip()


def _no_header(name: str) -> InputError:
    """Refuse what is no table, without a word of what it holds: it may be anybody's file."""
    return InputError(
        f"{name} row 1: no header found. Expected columns sample, L, a, b (with illuminant and "
        "observer), or sample and one column a wavelength (400, 410, …). Name the columns so."
    )


def _grid(lines: list[list[str]], at: int, name: str) -> Grid:
    header = [cell.strip() for cell in lines[at]]
    while header and not header[-1]:
        header.pop()
    if not header[0] and roles(header).sample is None:
        header[0] = "sample"
    kept, rows, faults = [], [], []
    for number, line in enumerate(lines[at + 1 :], at + 2):
        cells = [cell.strip() for cell in line]
        if not any(cells):
            continue
        if any(cells[len(header) :]) or len(cells) < len(header) // 2:
            said = f"{len(cells)} cells", f"under a header of {len(header)}"
            remedy = "Correct the row; text with a comma needs quotes."
            faults.append(fault(name, number, "", *said, remedy))
            continue
        kept.append((cells + [""] * len(header))[: len(header)])
        rows.append(number)
    notes = (f"{at} lines above the header were passed over",) if at else ()
    head = [" ".join(cell.strip() for cell in line if cell.strip()) for line in lines[:at]]
    how = conditions(line.partition(":")[::2] for line in head if ":" in line)
    frame, told = pd.DataFrame(kept, columns=header, dtype=str), tuple(head)
    return Grid(frame, rows, notes=notes, faults=tuple(faults), conditions=how, told=told)
