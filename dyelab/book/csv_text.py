"""A CSV file as text cells, however a spreadsheet left it; lines that can't be read are kept."""

import csv
import io
import re
import unicodedata
import warnings
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from pandas.api.types import is_bool_dtype, is_numeric_dtype

from dyelab import limits, table

_BLANK_LINES_JOINED = 40  # lines of one cell; more is a quotation mark that was left open


@dataclass(frozen=True)
class Cells:
    """The cells of a file, the number of each row in the file, and the lines set aside."""

    frame: pd.DataFrame
    notes: tuple[str, ...] = ()
    broken: tuple[tuple[int, str], ...] = ()  # (row, the line as it stands)


def read(content: bytes, name: str, numeric: Collection[str] = ()) -> Cells:
    """Read a CSV file into text cells, every cell a string and blank as ``""``.

    A column named in `numeric`, or named by a number, comes as floats if all its cells are
    numbers or blank; that is what makes a large book quick to open.

    Spreadsheets in some countries write semicolons and decimal commas, or an encoding of
    their own: both are understood and said in the notes. The frame's index holds the row
    numbers a spreadsheet shows. A line with too many cells, or an open quotation mark, is put
    in `broken`; the lines around it are read.
    """
    text, notes = _decode(content, name)
    if "\n" not in text:
        text = text.replace("\r", "\n")
    limits.check(text.count("\n"), limits.ROWS, "lines", name)
    limits.check(text.find("\n"), limits.LETTERS, "letters in the heading row", name)
    separator = max((",", ";", "\t"), key=text.split("\n", 1)[0].count)
    if separator != ",":
        notes = (*notes, f"{name}: parted by {_SAID[separator]}; saved with commas from now on.")
    broken: tuple[tuple[int, str], ...] = ()
    frame = None if _DAMAGE.search(text) else _fast(text, separator, numeric)
    if frame is None:
        frame, broken = _line_by_line(text, separator)
    limits.check(len(frame.columns), limits.COLUMNS, "columns", name)
    frame.columns = pd.Index(_apart([str(column) for column in frame.columns]))
    if separator != ",":
        texts = frame.columns[[not is_numeric_dtype(kind) for kind in frame.dtypes]]
        frame[texts] = table.decimal_points(frame[texts], sure=separator == ";")
    return Cells(frame, notes, broken)


# A NUL, or a byte that is no UTF-8 in a file that is: no text has these, a damaged disk does.
_DAMAGE = re.compile("[\0\udc80-\udcff]")


def _apart(names: list[str]) -> list[str]:
    """Headings with a number behind each that was there before."""
    seen: set[str] = set()
    return [table.free_name(name.strip(), seen, ".{}", 1) for name in names]


def grid(content: bytes, name: str) -> tuple[list[list[str]], str, tuple[str, ...]]:
    """Read every line of a CSV file as it stands; what parts its cells, and how it was written."""
    text, notes = _decode(content, name)
    limits.check(text.count("\n"), limits.ROWS, "lines", name)
    lines = text.splitlines()[:30]
    separator = max((",", ";", "\t"), key=lambda sign: sorted(x.count(sign) for x in lines)[-3:])
    plain = io.StringIO(text.replace("\r\n", "\n"), newline="")
    rows = list(csv.reader(plain, delimiter=separator))
    width = max((len(row) for row in rows), default=0)
    limits.check(width, limits.COLUMNS, "columns", name)
    said = "cells, with every row as wide as the widest"
    limits.check(width * len(rows), limits.CELLS, said, name)
    if separator != ",":
        notes = (*notes, f"{name}: parted by {_SAID[separator]}.")
    cells = [[cell.strip() for cell in row] + [""] * (width - len(row)) for row in rows]
    return cells, separator, notes


_SAID = {";": "semicolons", "\t": "tabs"}


def _decode(content: bytes, name: str) -> tuple[str, tuple[str, ...]]:
    """The text of a file, each letter with its accents as one sign: two ways to write é are one."""
    text, notes = _letters(content, name)
    return unicodedata.normalize("NFC", text), notes


def _letters(content: bytes, name: str) -> tuple[str, tuple[str, ...]]:
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        said = f"{name}: was UTF-16; saved as UTF-8 from now on."
        return content.decode("utf-16", errors="replace"), (said,)
    text = content.decode("utf-8-sig", "surrogateescape")
    odd = len(re.findall("[\udc80-\udcff]", text))
    if odd <= sum(map(text.count, set(re.findall("[^\0-\x7f\udc80-\udcff]", text)))):
        return text, ()  # with a broken byte or none, but UTF-8 by all the rest of it
    said = f"{name}: not UTF-8, read as Windows-1252. Look at the accented letters once."
    return content.decode("cp1252", errors="replace"), (said,)


def _fast(text: str, separator: str, numeric: Collection[str]) -> pd.DataFrame | None:
    """Pandas' own reader, which is quick and gives up at the first odd line."""
    header = _cells(text.split("\n", 1)[0], separator) or []
    plain = [name for name in header if name not in numeric and not table.is_band(name)]
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            frame = pd.read_csv(
                io.StringIO(text, newline=""),
                sep=separator,
                dtype=str if separator != "," else dict.fromkeys(plain, str),
                keep_default_na=False,
                na_values={name: [""] for name in header if name not in plain},
                index_col=False,
                skip_blank_lines=False,
                low_memory=False,
                **_EXACT,
            )
    except pd.errors.EmptyDataError:
        return pd.DataFrame()
    except (pd.errors.ParserError, pd.errors.ParserWarning, ValueError):
        return None
    return _number_rows(frame)


# Newer pandas reads every float exactly and warns about the wish; older ones need to be told.
_EXACT: Any = {} if int(pd.__version__.split(".")[0]) >= 3 else {"float_precision": "round_trip"}


def _number_rows(frame: pd.DataFrame) -> pd.DataFrame:
    """Give rows the numbers of the file, blank text as "", and drop rows of nothing."""
    for name, kind in frame.dtypes.items():
        if is_bool_dtype(kind):
            frame[name] = frame[name].astype(str)
        elif not is_numeric_dtype(kind):
            frame[name] = frame[name].fillna("")
    frame.index = pd.RangeIndex(2, len(frame) + 2)
    if len(frame) and (frame.iloc[:, 0] == "").any():
        held = np.array([~table.blanks(frame[name]) for name in frame.columns])
        return frame[pd.Series(held.any(axis=0), index=frame.index)]
    return frame


def _line_by_line(text: str, separator: str) -> tuple[pd.DataFrame, tuple[tuple[int, str], ...]]:
    lines = [line for line in re.split(r"(?<=\n)", text) if line]
    header = _cells(_show_damage(lines[0]), separator) or [] if lines else []
    rows: dict[int, list[str]] = {}
    broken: list[tuple[int, str]] = []
    at, row = 1, 2
    while at < len(lines):
        cells, used = _record(lines, at, separator, len(header))
        if cells is None:
            broken.append((row, _show_damage(lines[at]).rstrip("\r\n")))
        elif any(cells):
            rows[row] = cells + [""] * (len(header) - len(cells))
        at, row = at + used, row + 1
    frame = pd.DataFrame.from_dict(rows, orient="index", columns=_apart(header), dtype=str)
    return frame, tuple(broken)


def _show_damage(line: str) -> str:
    """The line with a sign for each damaged byte, so that it can be kept in a file of text."""
    return _DAMAGE.sub("\ufffd", line)


def _record(lines: list[str], at: int, separator: str, width: int) -> tuple[list[str] | None, int]:
    """One record and the lines it took; None where it fits no reading."""
    joined = ""
    for used in range(1, min(_BLANK_LINES_JOINED, len(lines) - at) + 1):
        joined += lines[at + used - 1]
        if len(joined) > limits.LETTERS * width or _DAMAGE.search(joined):
            break
        if joined.count('"') % 2 == 0:
            cells = _cells(joined, separator)
            if cells is None or len(cells) > width:
                return None, 1
            fits = max(map(len, cells), default=0) <= limits.LETTERS
            return (cells, used) if fits else (None, 1)
    return None, 1


def _cells(line: str, separator: str) -> list[str] | None:
    """The cells of a line; None where one is longer than Python's reader takes."""
    stripped = line.removesuffix("\n").removesuffix("\r")
    try:
        return next(csv.reader(io.StringIO(stripped, newline=""), delimiter=separator), [])
    except csv.Error:
        return None


def end_to_end(old: pd.DataFrame, new: pd.DataFrame) -> pd.DataFrame:
    """Put two tables one after the other; a column stays numbers only if both parts are."""
    names = dict.fromkeys([*old.columns, *new.columns])
    return pd.DataFrame({name: _column(old, new, str(name)) for name in names})


def _column(old: pd.DataFrame, new: pd.DataFrame, name: str) -> np.ndarray:
    first = old[name] if name in old else pd.Series("", index=old.index)
    then = new[name] if name in new else pd.Series("", index=new.index)
    if is_numeric_dtype(first.dtype):
        values = table.numbers(then)
        if not (np.isnan(values) & ~table.blanks(then)).any():
            return np.concatenate([table.numbers(first), values])
    return np.array([*table.texts(first), *table.texts(then)], object)
