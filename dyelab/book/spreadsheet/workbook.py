"""A spreadsheet as found: every sheet as a grid of text, merged cells filled in."""

import io
import zipfile
from dataclasses import dataclass, field
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from dyelab import errors, files, limits
from dyelab.book.csv_text import grid as csv_grid
from dyelab.errors import InputError

_EXCEL = (".xlsx", ".xlsm")


@dataclass
class Grid:
    """The cells of one sheet as text, by row; `merged` counts the cells filled in."""

    name: str
    rows: list[list[str]]
    merged: int = 0
    broken: list[tuple[int, int]] = field(default_factory=list)  # formulas without their result
    notes: tuple[str, ...] = ()


def grids(path: str | Path) -> list[Grid]:
    """Read every sheet of a CSV, TSV, XLSX or ODS file.

    Raises
    ------
    InputError
        If there is no such file, or it is none of these.
    """
    file = Path(path)
    suffix, content = file.suffix.lower(), limits.content(file)
    if suffix == ".xls":
        raise InputError(f"{file.name}: the old XLS form. Save it as XLSX or ODS first.")
    if suffix in _EXCEL:
        with errors.reading(file.name, "XLSX"):
            return _excel(content, file.name)
    if suffix == ".ods":
        with errors.reading(file.name, "ODS"):
            return _ods(content, file.name)
    if b"\0" in content[:1000] and content[:2] not in (b"\xff\xfe", b"\xfe\xff"):
        raise InputError(f"{file.name}: not a table of text. Save it as CSV, ODS or XLSX first.")
    with errors.reading(file.name, "CSV"):
        rows, notes = csv_grid(content, file.name)
    return [Grid("", rows, notes=notes)]


def text(value: Any, percent: bool = False) -> str:
    """One cell as text: dates as ISO 8601, numbers at full precision, 0.15 shown as 15 %."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        midnight = value.time() == time(0)
        return value.date().isoformat() if midnight else value.isoformat(timespec="seconds")
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        shown = f"{value * 100:.12g} %" if percent else f"{value:.15g}"
        return shown
    return " ".join(str(value).split()) if "\n" not in str(value) else str(value).strip()


def _excel(content: bytes, name: str) -> list[Grid]:
    """Every sheet, as wide and long as what it holds; `files.sheets` keeps the limits."""
    from openpyxl import load_workbook

    sizes = {
        title: (len(rows), max(map(len, rows), default=0))
        for title, rows in files.sheets(content, name).items()
    }
    held = load_workbook(io.BytesIO(content), data_only=True)
    asked = load_workbook(io.BytesIO(content), data_only=False)
    return [_excel_grid(one, asked[one.title], *sizes[one.title]) for one in held.worksheets]


def _excel_grid(sheet: Any, formulas: Any, height: int, width: int) -> Grid:
    if not height:
        return Grid(sheet.title, [])
    inside = {"max_row": height, "max_col": width}
    rows = [
        [text(cell.value, "%" in str(cell.number_format)) for cell in row]
        for row in sheet.iter_rows(**inside)
    ]
    broken = [
        (cell.row, cell.column)
        for row in formulas.iter_rows(**inside)
        for cell in row
        if cell.data_type == "f" and rows[cell.row - 1][cell.column - 1] == ""
    ]
    spans = [
        (r.min_row - 1, r.min_col - 1, r.max_row, r.max_col) for r in sheet.merged_cells.ranges
    ]
    return Grid(sheet.title, rows, _fill(rows, spans), broken)


def _fill(rows: list[list[str]], spans: list[tuple[int, int, int, int]]) -> int:
    """Write the text of each merged block into all its cells."""
    count = 0
    for top, left, bottom, right in spans:
        held = rows[top][left]
        for r in range(top, min(bottom, len(rows))):
            for c in range(left, min(right, len(rows[r]))):
                count += held != "" and (r, c) != (top, left)
                rows[r][c] = held
    return count


_O = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_T = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_X = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"


def _ods(content: bytes, name: str) -> list[Grid]:
    """OpenDocument spreadsheets (ISO/IEC 26300), read by a parser that expands no entities."""
    from defusedxml import ElementTree

    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        size = packed.getinfo("content.xml").file_size
        limits.need(size, limits.TABLE_BYTES, "bytes when unpacked", name)
        root = ElementTree.fromstring(packed.read("content.xml"))
    return [_ods_grid(sheet, name) for sheet in root.iter(f"{_T}table")]


def _ods_grid(sheet: Any, name: str) -> Grid:
    rows: list[list[str]] = []
    spans: list[tuple[int, int, int, int]] = []
    waiting = 0  # empty rows that count only if something follows
    for row in sheet.iter(f"{_T}table-row"):
        cells, own = _ods_row(row)
        times = int(row.get(f"{_T}number-rows-repeated", 1))
        if not cells:
            waiting += times
            continue
        limits.need(len(rows) + waiting + times, limits.ROWS, "rows", name)
        limits.need(times * len(cells), limits.CELLS, "cells", name)
        rows += [[] for _ in range(waiting)]
        waiting = 0
        at = len(rows)
        spans += [(at, left, at + down, left + across) for left, down, across in own]
        rows += [list(cells) for _ in range(times)]
    width = max((len(row) for row in rows), default=0)
    rows = [row + [""] * (width - len(row)) for row in rows]
    return Grid(sheet.get(f"{_T}name", ""), rows, _fill(rows, spans))


def _ods_row(row: Any) -> tuple[list[str], list[tuple[int, int, int]]]:
    """Texts of a row without its blank end, and (column, rows, columns) of its merged blocks."""
    cells: list[str] = []
    spans = []
    blank = 0
    for cell in row:
        if cell.tag not in (f"{_T}table-cell", f"{_T}covered-table-cell"):
            continue
        times = int(cell.get(f"{_T}number-columns-repeated", 1))
        shown = _ods_text(cell)
        down, across = (int(cell.get(f"{_T}number-{n}-spanned", 1)) for n in ("rows", "columns"))
        if down > 1 or across > 1:
            spans.append((len(cells) + blank, down, across))
        if not shown and (down, across) == (1, 1):
            blank += times
            continue
        cells += [""] * blank + [shown] * min(times, limits.COLUMNS)
        blank = 0
    return cells, spans


def _ods_text(cell: Any) -> str:
    kind = cell.get(f"{_O}value-type", "")
    if kind in ("float", "currency", "percentage"):
        return text(float(cell.get(f"{_O}value")), kind == "percentage")
    if kind == "date":
        held = str(cell.get(f"{_O}date-value"))
        return held.removesuffix("T00:00:00")
    parts = ["".join(part.itertext()) for part in cell.findall(f"{_X}p")]
    return "\n".join(parts).strip()
