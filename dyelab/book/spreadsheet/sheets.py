"""A spreadsheet as found: every sheet as text, merged cells filled in, its headings found."""

import io
import re
import unicodedata
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

import pandas as pd

from dyelab import errors, files, limits, table, words
from dyelab.book.csv_text import grid as csv_grid
from dyelab.book.spreadsheet import cells, vocabulary
from dyelab.errors import InputError

_LOOKED_AT = 25  # rows at the top among which headings are sought
# What another cell than a known word counts for a row of headings, and a number against it. They
# decide where hardly a heading is a known word: all sheets of tests/own_sheets.py are found without
# them, with half and with double (tests/benchmarks/heading_rows.py).
OTHER, DIGITS = 0.2, 0.6  # known words
_UNIT_ROW = {"%", "g", "°C", "°F", "min", "h", "% WOF", "g/L"}
LOST = ["where", "found", "why"]


_EXCEL = (".xlsx", ".xlsm")


@dataclass
class RawSheet:
    """The cells of one sheet as text, by row; `merged` counts the cells filled in."""

    name: str
    rows: list[list[str]]
    merged: int = 0
    broken: list[tuple[int, int]] = field(default_factory=list)  # formulas without their result
    notes: tuple[str, ...] = ()
    parted: str = ""  # by which sign, in a file of text


@dataclass(frozen=True, eq=False)
class Sheet:
    """A sheet as found.

    Attributes
    ----------
    file, name : str
        Of the spreadsheet, and of this sheet in it (blank in a CSV file).
    names : tuple of str
        All sheets of the file.
    heading : int
        Row number of the headings (of the last of them, where there are two).
    frame : DataFrame
        Text cells under their headings; the index holds the row numbers the user sees.
    letters : tuple of str
        The letter of each column.
    locale : cells.Locale
        How it writes numbers and dates.
    notes : tuple of str
        What was done to read it, in words.
    lost : DataFrame
        `where, found, why`: what of the sheet is no row or column of the table.
    above : str
        All text above the headings.
    turned : bool
        Whether its headings stood in the first column, one row under the other: rows and columns
        have been exchanged.
    """

    file: str
    name: str
    names: tuple[str, ...]
    heading: int
    frame: pd.DataFrame
    letters: tuple[str, ...]
    locale: cells.Locale
    notes: tuple[str, ...] = ()
    lost: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=LOST))
    above: str = ""
    turned: bool = False

    def row(self, at: int) -> str:
        """Where a row is, as the user sees it: a column of a sheet that lay on its side."""
        return _place(at, self.turned)

    def column(self, name: str) -> str:
        """Where a column is, as the user sees it."""
        mark = self.letters[list(self.frame.columns).index(name)]
        return f"{'row' if self.turned else 'column'} {mark} ({name})"

    def cell(self, name: str, at: int) -> str:
        """Where a cell is, as the user sees it."""
        mark = self.letters[list(self.frame.columns).index(name)]
        return f"cell {letter(at - 1) + mark if self.turned else f'{mark}{at}'} ({name})"


@limits.in_time
def sheets(
    path: str | Path, headings: dict[str, int] | None = None, *, called: str | None = None
) -> list[Sheet]:
    r"""Read every sheet of a spreadsheet that holds anything: CSV, TSV, XLSX or ODS.

    Parameters
    ----------
    path : str or Path
    headings : dict of str to int, optional
        By sheet, the row that holds the headings, where the guess is wrong.
    called : str, optional
        Its own name, where the file goes by another here.

    Raises
    ------
    InputError
        If it is no spreadsheet, or all its sheets are empty.

    Examples
    --------
    >>> from dyelab import book
    >>> path = folder / "own.csv"
    >>> _ = path.write_text("No,Fibre,Alum %\nK1,wool,15\n", "utf-8")
    >>> [one.file for one in book.sheets(path)]
    ['own.csv']
    """
    found = raw_sheets(path)
    held = [one for one in found if any(any(row) for row in one.rows)]
    names = tuple(one.name for one in held)
    file = unicodedata.normalize("NFC", called or Path(path).name)
    read = [_read(file, one, names, (headings or {}).get(one.name)) for one in held]
    if not any(len(one.frame) for one in read):
        raise InputError(words.say("spreadsheet.empty", file=file))
    return read


def sheet(path: str | Path, name: str | None = None, heading: int | None = None) -> Sheet:
    r"""Read one sheet, by default the first that holds anything; see `sheets`.

    Raises
    ------
    InputError
        If it is no spreadsheet, is empty, or has no such sheet.

    Examples
    --------
    >>> from dyelab import book
    >>> path = folder / "own.csv"
    >>> _ = path.write_text("No,Fibre,Alum %\nK1,wool,15\n", "utf-8")
    >>> book.sheet(path).frame
       No Fibre Alum %
    2  K1  wool     15
    """
    every = sheets(path, None if heading is None else {name or "": heading})
    by_name = {one.name: one for one in every}
    if name is None:
        chosen = every[0].name
    else:
        chosen = errors.choose(name, by_name, "sheet", f"in {Path(path).name}")
    if heading is not None:
        return sheets(path, {chosen: heading})[list(by_name).index(chosen)]
    return by_name[chosen]


def letter(at: int) -> str:
    """The letter of a column that a spreadsheet shows: A, B, … AA."""
    return (letter(at // 26 - 1) if at >= 26 else "") + chr(65 + at % 26)


def _place(at: int, turned: bool) -> str:
    return f"column {letter(at - 1)}" if turned else f"row {at}"


def _read(file: str, grid: RawSheet, names: tuple[str, ...], heading: int | None) -> Sheet:
    rows, turned = grid.rows, heading is None and _on_its_side(grid.rows)
    if turned:
        rows = [list(column) for column in zip(*rows, strict=True)]
    if heading is not None and not 1 <= heading <= len(rows):
        raise InputError(words.say("spreadsheet.no_such_row", row=heading, rows=len(rows)))
    top = _heading_row(rows) if heading is None else heading - 1
    first, last = _group_row(rows, top), _unit_row(rows, top)
    frame, used = _frame(_headings(rows[first : last + 1]), rows[last + 1 :], last + 2)
    texts = (text for text in frame.to_numpy().ravel() if text)
    where = cells.locale(texts, grid.parted == ";")
    frame, total = _without_totals(frame, turned)
    why = words.say("spreadsheet.formula")
    lost = [(f"cell {letter(c - 1)}{r}", "=…", why) for r, c in grid.broken]
    lost += [*total, *_above(rows[:first], turned)]
    return Sheet(
        file=file,
        name=grid.name,
        names=names,
        heading=last + 1,
        frame=frame,
        letters=tuple(str(c + 1) if turned else letter(c) for c in used),
        locale=where,
        notes=_notes(grid, where, first, last, turned),
        lost=pd.DataFrame(lost, columns=LOST),
        above=" ".join(cell for row in rows[: last + 1] for cell in row),
        turned=turned,
    )


def _frame(called: list[str], body: list[list[str]], at: int) -> tuple[pd.DataFrame, list[int]]:
    """Rows that hold anything under headings that differ, and the places of the columns used."""
    used = [c for c in range(len(called)) if called[c] or any(row[c] for row in body)]
    seen: set[str] = set()
    names = [table.free_name(called[c] or letter(c), seen, " {}") for c in used]
    texts, index = [[row[c] for c in used] for row in body], range(at, at + len(body))
    frame = pd.DataFrame(texts, columns=names, index=index, dtype=str)
    return frame[(frame != "").any(axis=1)] if used else frame, used


def _on_its_side(rows: list[list[str]]) -> bool:
    """Whether the headings stand in the first column, and each swatch has a column."""
    first = [row[0] for row in rows[:_LOOKED_AT] if row[0]]
    sure = [sum(_known_share(cell) == 1 for cell in row) for row in (first, *rows[:_LOOKED_AT])]
    return len(first) == len(set(first)) and sure[0] > max(sure[1:]) + 1


def _heading_row(rows: list[list[str]]) -> int:
    """The row at the top whose cells are most like headings, the first of equals."""
    scores = [_likeness(row) for row in rows[:_LOOKED_AT]]
    return max(range(len(scores)), key=lambda at: (round(scores[at], 6), -at))


def _likeness(row: list[str]) -> float:
    """How much a row is like headings: known words count most, numbers and repeats against it."""
    held = [cell for cell in row if cell]
    if not held:
        return -1.0
    known = sum(_known_share(cell) for cell in set(held))
    digits = sum(bool(re.fullmatch(r"[-+]?[\d.,:/-]+\s*%?", cell)) for cell in held)
    return known + OTHER * len(set(held)) - DIGITS * digits


def _known_share(cell: str) -> float:
    text = vocabulary.plain(re.sub(r"[\[(].*?[\])]|%", " ", cell[: limits.PHRASE]))
    if text in vocabulary.words("field") or text in vocabulary.words("step"):
        return 1.0
    if text in vocabulary.words("material") or vocabulary.shared_name(text):
        return 0.6
    return 0.5 if re.fullmatch(r"[lab] \*.*|\d{3}( nm)?", text) else 0.0


def _group_row(rows: list[list[str]], top: int) -> int:
    """The row above the headings, where it groups them (Mordant over name, %, °C)."""
    if top == 0:
        return top
    above, below = rows[top - 1], rows[top]
    grouping = {cell for cell in above if cell}
    spread = [c for c, cell in enumerate(above) if cell and above[c - 1 : c] == [cell] and c]
    steps = [cell for cell in grouping if vocabulary.plain(cell) in vocabulary.words("step")]
    exposed = [cell for cell in grouping if vocabulary.exposure(cell)]
    return top - 1 if (spread and len(grouping) > 1) or steps or (exposed and below) else top


def _unit_row(rows: list[list[str]], top: int) -> int:
    """The row below the headings, where it holds nothing but units and parts of them."""
    if top + 1 >= len(rows):
        return top
    pairs = [(cell, above) for cell, above in zip(rows[top + 1], rows[top], strict=True) if cell]
    more = pairs and all(cell == above or _is_part(cell) for cell, above in pairs)
    return top + 1 if more and any(cell != above for cell, above in pairs) else top


def _is_part(cell: str) -> bool:
    named = vocabulary.words("field").get(vocabulary.plain(cell), "")
    unit = vocabulary.unit(cell.strip("[]() ")) in _UNIT_ROW
    return unit or named in ("amount", "unit", "temperature_C", "minutes") or cell in ("name",)


def _headings(rows: list[list[str]]) -> list[str]:
    """Headings of one or several rows, joined; a cell merged over them counts once."""
    columns = zip(*rows, strict=True)
    joined = []
    for column in columns:
        held = list(dict.fromkeys(cell for cell in column if cell))
        units = [f"({cell})" if vocabulary.unit(cell) and len(held) > 1 else cell for cell in held]
        joined.append(" ".join(" ".join(units).split()))
    return joined


_TOTAL = re.compile(r"(?i)^\s*(total|sum|summe|gesamt|somme|totale?|average|mean|mittelwert)\b")


def _without_totals(
    frame: pd.DataFrame, turned: bool
) -> tuple[pd.DataFrame, list[tuple[str, str, str]]]:
    if frame.empty:
        return frame, []
    total = frame.apply(lambda row: any(_TOTAL.match(cell) for cell in row.iloc[:2]), axis=1)
    why = words.say("spreadsheet.total")
    said = [(_place(int(at), turned), _show(frame.loc[at]), why) for at in frame.index[total]]
    return frame[~total], said


def _show(row: Iterable[str]) -> str:
    return ", ".join(cell for cell in row if cell)[:80]


def _above(rows: list[list[str]], turned: bool) -> list[tuple[str, str, str]]:
    why = words.say("spreadsheet.above")
    held = [(at, row) for at, row in enumerate(rows, start=1) if any(row)]
    return [(_place(at, turned), _show(dict.fromkeys(row)), why) for at, row in held]


def _notes(
    grid: RawSheet, where: cells.Locale, first: int, last: int, turned: bool
) -> tuple[str, ...]:
    rows = f"{first + 1} and {last + 1}" if last > first else f"{last + 1}"
    key = "turned" if turned else "headings"
    said = [*grid.notes, words.say(f"spreadsheet.{key}", rows=rows, column=letter(last))]
    if grid.merged:
        said.append(words.say("spreadsheet.merged", count=grid.merged))
    if where.comma:
        said.append(words.say("spreadsheet.commas"))
    if not where.sure_of_days:
        said.append(words.say("spreadsheet.days"))
    return tuple(said)


def raw_sheets(path: str | Path) -> list[RawSheet]:
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
        rows, parted, notes = csv_grid(content, file.name)
    return [RawSheet("", rows, notes=notes, parted=parted)]


# Letters of a number's format that are shown as they stand, and one that fills up with zeros.
_LITERAL = re.compile(r'"([^"]*)"|\\(.)')
_FILLED = re.compile(r"0{2,}")


def cell_text(value: Any, form: str = "General") -> str:
    """One cell as text: dates as ISO 8601, numbers at full precision, 0.15 shown as 15 %.

    A whole number whose format shows it as a code, such as 7 as 007 or K-007, is that code.
    """
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
        return _number_text(value, form.partition(";")[0])
    text = unicodedata.normalize("NFC", str(value))
    return " ".join(text.split()) if "\n" not in text else text.strip()


def _number_text(value: float, form: str) -> str:
    rest = _LITERAL.sub("", form)
    if "%" in rest:
        return f"{value * 100:.12g} %"
    if _FILLED.fullmatch(rest) and value >= 0 and float(value).is_integer():
        before, _, behind = _LITERAL.sub(_letters, form).partition(rest)
        return f"{before}{int(value):0{len(rest)}}{behind}"
    return f"{value:.15g}"


def _letters(literal: re.Match[str]) -> str:
    return literal[1] or literal[2] or ""


def _excel(content: bytes, name: str) -> list[RawSheet]:
    """Every sheet, as wide and long as what it holds; `files.sheets` keeps the limits."""
    from openpyxl import load_workbook

    sizes = {
        title: (len(rows), max(map(len, rows), default=0))
        for title, rows in files.sheets(content, name).items()
    }
    held = load_workbook(io.BytesIO(content), data_only=True)
    asked = load_workbook(io.BytesIO(content), data_only=False)
    return [_excel_grid(one, asked[one.title], *sizes[one.title]) for one in held.worksheets]


def _excel_grid(sheet: Any, formulas: Any, height: int, width: int) -> RawSheet:
    if not height:
        return RawSheet(sheet.title, [])
    inside = {"max_row": height, "max_col": width}
    rows = [
        [cell_text(cell.value, str(cell.number_format)) for cell in row]
        for row in sheet.iter_rows(**inside)
    ]
    broken = [
        (cell.row, cell.column)
        for row in formulas.iter_rows(**inside)
        for cell in row
        if cell.data_type == "f" and rows[cell.row - 1][cell.column - 1] == ""
    ]
    merged = sheet.merged_cells.ranges
    spans = [(r.min_row - 1, r.min_col - 1, r.max_row, r.max_col) for r in merged]
    unseen = formulas.row_dimensions
    hidden = sum(any(row) and unseen[at].hidden for at, row in enumerate(rows, 1) if at in unseen)
    apart = formulas.column_dimensions.values()
    columns = sum(min(one.max, width) - one.min + 1 for one in apart if one.hidden)
    notes = _hidden(sheet.title if sheet.sheet_state != "visible" else "", hidden, max(columns, 0))
    return RawSheet(sheet.title, rows, _fill(rows, spans), broken, notes)


def _hidden(sheet: str, rows: int, columns: int = 0) -> tuple[str, ...]:
    """Say what comes in though it isn't seen in the spreadsheet."""
    said = [words.say("spreadsheet.hidden_sheet", sheet=sheet)] if sheet else []
    counts = {"rows": rows, "columns": columns}
    said += [words.say(f"spreadsheet.hidden_{k}", count=n) for k, n in counts.items() if n]
    return tuple(said)


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
_S = "{urn:oasis:names:tc:opendocument:xmlns:style:1.0}"
_X = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"


def _ods(content: bytes, name: str) -> list[RawSheet]:
    """OpenDocument spreadsheets (ISO/IEC 26300), read by a parser that expands no entities."""
    from defusedxml import ElementTree

    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        size = packed.getinfo("content.xml").file_size
        limits.check(size, limits.TABLE_BYTES, "bytes when unpacked", name)
        root = ElementTree.fromstring(packed.read("content.xml"))
    shown = root.iter(f"{_S}style")
    unseen = {
        style.get(f"{_S}name")
        for style in shown
        for own in style.iter(f"{_S}table-properties")
        if own.get(f"{_T}display") == "false"
    }
    sheets = root.iter(f"{_T}table")
    return [_ods_grid(one, name, one.get(f"{_T}style-name") in unseen) for one in sheets]


def _ods_grid(sheet: Any, name: str, unseen: bool) -> RawSheet:
    rows: list[list[str]] = []
    hidden = 0
    spans: list[tuple[int, int, int, int]] = []
    waiting = 0  # empty rows that count only if something follows
    for row in sheet.iter(f"{_T}table-row"):
        cells, own = _ods_row(row)
        times = int(row.get(f"{_T}number-rows-repeated", 1))
        if not cells:
            waiting += times
            continue
        limits.check(len(rows) + waiting + times, limits.ROWS, "rows", name)
        limits.check(times * len(cells), limits.CELLS, "cells", name)
        rows += [[] for _ in range(waiting)]
        waiting = 0
        hidden += times * (row.get(f"{_T}visibility", "visible") != "visible")
        at = len(rows)
        spans += [(at, left, at + down, left + across) for left, down, across in own]
        rows += [list(cells) for _ in range(times)]
    width = max((len(row) for row in rows), default=0)
    rows = [row + [""] * (width - len(row)) for row in rows]
    title = sheet.get(f"{_T}name", "")
    return RawSheet(title, rows, _fill(rows, spans), notes=_hidden(title if unseen else "", hidden))


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
        shown = "".join(cell.itertext()).strip()
        code = re.fullmatch(r"[^\W\d]*[-_. ]?0\d+", shown)
        form = "0%" if kind == "percentage" else "General"
        return shown if code else cell_text(float(cell.get(f"{_O}value")), form)
    if kind == "date":
        held = str(cell.get(f"{_O}date-value"))
        return held.removesuffix("T00:00:00")
    parts = ["".join(part.itertext()) for part in cell.findall(f"{_X}p")]
    return unicodedata.normalize("NFC", "\n".join(parts).strip())
