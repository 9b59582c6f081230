"""Cells: numbers as people write them, and text cells as typed columns, both ways."""

import re
from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

import numpy as np
import pandas as pd

from dyelab import limits
from dyelab.errors import InputError
from dyelab.table.columns import Table

_PLAIN = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d{1,3})?")
_EITHER = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
_COMMAS = re.compile(r"[+-]?\d{1,3}(,\d{3})+(\.\d+|(?<=,\d{3},\d{3}))")
_POINTS = re.compile(r"[+-]?\d{1,3}(\.\d{3})+(,\d+|(?<=\.\d{3}\.\d{3}))")
_WITH_COMMA = r"^\s*([+-]?\d*),(\d+(?:[eE][+-]?\d{1,3})?)\s*$"
_WITH_POINT = r"^\s*[+-]?\d*\.\d+(?:[eE][+-]?\d{1,3})?\s*$"


def number(text: str, what: str = "this", most: float = 1e300) -> float:
    """Read one number.

    Parameters
    ----------
    text : str
        Such as ``2.5``, ``2,5``, ``-0,3``, ``1,2E-05``, ``1.234,5``.
    what : str
        What it is, for the message.
    most : float
        The largest it can be: ``45,123`` is no 45123 where a hundred is the most.

    Raises
    ------
    InputError
        If it is no number, or ``1,000``, which could be a thousand or one.

    Examples
    --------
    >>> from dyelab import table
    >>> table.number("0,5")
    0.5
    """
    found = text.strip().replace("−", "-")
    if len(found) <= limits.DIGITS:
        if _EITHER.fullmatch(found) and abs(float(found.replace(",", ""))) <= most:
            parts = found.split(",")
            raise InputError(
                f"{what}: {found} could be {''.join(parts)} or {'.'.join(parts)}. "
                "Write it without the comma, or with a point."
            )
        if _COMMAS.fullmatch(found):
            return float(found.replace(",", ""))
        if _POINTS.fullmatch(found):
            return float(found.replace(".", "").replace(",", "."))
        if _PLAIN.fullmatch(found):
            return float(found.replace(",", "."))
    raise InputError(f"{what}: {found[:40]!r} is no number. Write it like 2.5 or 2,5.")


def number_list(text: str, what: str = "this") -> list[float]:
    """Read several numbers: parted by spaces, semicolons, or commas with a space behind.

    Raises
    ------
    InputError
        As `number`; also for ``0,1,2``, which could be read in several ways.

    Examples
    --------
    >>> from dyelab import table
    >>> table.number_list("0 0,5 2")
    [0.0, 0.5, 2.0]
    """
    parts = [part for part in re.split(r"[;\s]+|,\s+", text.strip()) if part]
    for part in parts:
        if part.count(",") > 1 and not _COMMAS.fullmatch(part):
            raise InputError(
                f"{what}: {part[:40]!r} could be several numbers or one. Part numbers by spaces."
            )
    return [number(part, what) for part in parts]


def decimal_points(frame: pd.DataFrame, *, sure: bool = True) -> pd.DataFrame:
    """Turn decimal commas into points, in cells of text that are nothing but a number.

    Parameters
    ----------
    frame : DataFrame
        Text cells.
    sure : bool
        Whether the comma is known to be the file's decimal sign. If not, it is taken for one
        where no cell of the table has a decimal point.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import table
    >>> table.decimal_points(pd.DataFrame({"L": ["45,2", "50,1"]}))["L"].tolist()
    ['45.2', '50.1']
    """
    if not sure and any(frame[name].str.match(_WITH_POINT).any() for name in frame):
        return frame
    return frame.apply(lambda cells: cells.str.replace(_WITH_COMMA, r"\1.\2", regex=True))


# A spreadsheet where the point parts thousands takes 0.123 for 123, and 1.5 may become a day in
# May. With five decimals or more, and never an exponent (which is shown, and so saved, with three
# digits), there is nothing to mistake: such a cell is the number, or stays the text it was.
_DECIMALS = 5


def number_texts(values: Iterable[float]) -> list[str]:
    """Write numbers so that no spreadsheet's locale takes them for others; NaN is blank.

    Every digit of a double is kept: 0.125 is ``0.12500``, 15.0 is ``15``.

    Examples
    --------
    >>> from dyelab import table
    >>> table.number_texts([0.5, 12])
    ['0.50000', '12']
    """
    return [_write(value) for value in values]


def _write(value: float) -> str:
    if value != value:
        return ""
    text = repr(float(value))
    if "e" in text:
        text = np.format_float_positional(value, unique=True)
    whole, _, decimals = text.partition(".")
    if not decimals.strip("0"):
        return "0" if whole == "-0" else whole
    return f"{whole}.{decimals:0<{_DECIMALS}}"


def as_typed(frame: pd.DataFrame, table: Table) -> pd.DataFrame:
    """Turn checked text cells into typed columns, adding blank columns that are missing.

    Dates stay text (ISO 8601), so that nothing is lost on saving. A blank cell takes the
    column's default. Columns the table doesn't know are kept as text, after the known ones.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import table
    >>> rows = table.as_text(pd.DataFrame({"swatch": ["K1"]}), table.SWATCHES)
    >>> table.as_typed(rows, table.SWATCHES)["swatch"].tolist()
    ['K1']
    """
    columns: dict[str, Any] = {}
    for column in table.columns:
        cells = frame.get(column.name, pd.Series("", index=frame.index))
        if column.kind in ("number", "integer"):
            values = pd.Series(numbers(cells), index=frame.index)
            columns[column.name] = values.astype("Int64") if column.kind == "integer" else values
        else:
            filled = cells.where(cells != "", column.default) if column.default else cells
            columns[column.name] = filled.astype(str)
    extra = {name: frame[name] for name in frame.columns if name not in columns}
    return pd.DataFrame({**columns, **extra}, index=frame.index)


def blanks(cells: pd.Series) -> np.ndarray:
    """Return which cells hold nothing: ``""`` in text, NaN in numbers.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import table
    >>> table.blanks(pd.Series(["", "a"])).tolist()
    [True, False]
    """
    if pd.api.types.is_numeric_dtype(cells.dtype):
        return cells.isna().to_numpy()
    return (cells == "").to_numpy()


def pieces(rows: pd.DataFrame) -> list[str]:
    """Name what each row is of: its swatch, or one area of a printed cloth.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import table
    >>> table.pieces(pd.DataFrame({"swatch": ["P-01", "W01"], "area": ["leaf", "whole"]}))
    ['P-01 leaf', 'W01']
    """
    areas = rows["area"] if "area" in rows else [""] * len(rows)
    both = zip(rows["swatch"], areas, strict=True)
    return [str(s) if a in ("whole", "", None) or a != a else f"{s} {a}" for s, a in both]


def free_name(name: str, taken: set[str], ending: str = "-{}", first: int = 2) -> str:
    """The name, with the first free number behind it where it is taken; it is taken then.

    Examples
    --------
    >>> from dyelab import table
    >>> table.free_name("W01", {"W01", "W01-2"})
    'W01-3'
    """
    made = name
    while made in taken:
        made, first = name + ending.format(first), first + 1
    taken.add(made)
    return made


def numbers(cells: pd.Series) -> np.ndarray:
    """Return the cells as floats, NaN where blank or no number.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import table
    >>> table.numbers(pd.Series(["1.5", ""])).tolist()
    [1.5, nan]
    """
    if pd.api.types.is_numeric_dtype(cells.dtype):
        return cells.to_numpy(float, na_value=np.nan)
    blank = blanks(cells)
    if blank.all():
        return np.full(len(cells), np.nan)
    return as_floats(cells.where(~blank, "nan")).to_numpy(float)


# Older pandas reads the last digit of a text as it comes; Python's own reading is exact.
_ROUNDS = pd.to_numeric(pd.Series(["0.13652345678901234"])).iloc[0] != 0.13652345678901234


def as_floats(cells: pd.Series) -> pd.Series:
    """Return text cells as floats, NaN where they are no number or one of hundreds of digits.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import table
    >>> table.as_floats(pd.Series(["1.5", ""]))
    0    1.5
    1    NaN
    dtype: float64
    """
    try:
        found = pd.to_numeric(cells, errors="coerce")
    except OverflowError:
        short = cells.astype(str).str.len() <= limits.DIGITS
        found = pd.to_numeric(cells.where(short, "nan"), errors="coerce")
    if not _ROUNDS:
        return found
    there = found.notna()
    return found.astype(float).mask(there, cells.where(there, "nan").astype(float))


def as_text(frame: pd.DataFrame, table: Table) -> pd.DataFrame:
    """Turn a table of any cells into text cells, as they would stand in a file; blank is ``""``.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import table
    >>> rows = pd.DataFrame({"swatch": ["K1"]})
    >>> table.as_text(rows, table.SWATCHES)["swatch"].tolist()
    ['K1']
    """
    kinds = {column.name: column.kind for column in table.columns}
    columns = {str(name): texts(frame[name], kinds.get(str(name), "")) for name in frame.columns}
    return pd.DataFrame(columns, index=frame.index, dtype=str)


def texts(cells: pd.Series, kind: str = "") -> list[str]:
    """Return cells of any type as text, as they would stand in a file; blank is ``""``.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import table
    >>> table.texts(pd.Series([1.5, None]))
    ['1.5', '']
    """
    if isinstance(cells.dtype, pd.StringDtype):
        return cells.fillna("").tolist()
    return [text_of_cell(cell, kind) for cell in cells.tolist()]


def text_of_cell(cell: Any, kind: str) -> str:
    """Return one cell as it would stand in a file."""
    if isinstance(cell, str):
        return cell
    if cell is None or cell is pd.NA or cell is pd.NaT or cell != cell:
        return ""
    if isinstance(cell, (date, datetime)):  # a pandas Timestamp is one too
        return cell.isoformat()[:10] if kind == "date" else cell.isoformat()
    if isinstance(cell, (float, np.floating)):
        whole = kind == "integer" and float(cell).is_integer()
        return str(int(cell)) if whole else repr(float(cell))
    return str(cell)


def empty(table: Table) -> pd.DataFrame:
    """Return the table with its typed columns and no rows.

    Examples
    --------
    >>> from dyelab import table
    >>> list(table.empty(table.SWATCHES).columns[:3])
    ['swatch', 'form', 'fibre']
    """
    return as_typed(pd.DataFrame({name: pd.Series(dtype=str) for name in table.names}), table)
