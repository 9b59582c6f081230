"""Every fault of a table of cells, worded: where, what was found, what to do."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from dyelab.table.cells import blanks, numbers, text_of_cell
from dyelab.table.columns import Column, Table

FAULT = ["file", "row", "column", "found", "expected", "remedy", "text"]
_SHOWN = 120  # letters of a cell in a message


def fault(
    file: str,
    row: int | None,
    column: str,
    found: Any,
    expected: str,
    remedy: str,
    label: str = "",
    word: str = "row",
) -> dict[str, Any]:
    """One fault as a record: where it is, what was found, what was expected, what to do.

    Examples
    --------
    >>> from dyelab import table
    >>> table.fault("swatches.csv", 3, "fibre", "wol", "is no fibre", "Write wool.")["text"]
    'swatches.csv row 3: fibre = wol is no fibre. Write wool.'
    """
    place = file + (f" {word} {row}" if row is not None else "") + (f" ({label})" if label else "")
    shown = str(found) if len(str(found)) <= _SHOWN else f"{str(found)[:_SHOWN]}…"
    subject = f"{column} = {shown}" if column else shown
    text = f"{place}: {subject} {expected}. {remedy}".strip()
    return dict(zip(FAULT, (file, row, column, found, expected, remedy, text), strict=True))


def check(
    frame: pd.DataFrame, table: Table, file: str, *, rows: Sequence[int] | None = None
) -> pd.DataFrame:
    """List every fault of a table of text cells, without changing it.

    Parameters
    ----------
    frame : DataFrame
        As read from a file: every cell text, blank as ``""``. A column of plain numbers may
        be numeric already, blank as NaN.
    table : Table
        What the columns should hold.
    file : str
        Name used in the messages.
    rows : sequence of int, optional
        The number of every row, where they don't follow each other from 2 on, as a spreadsheet
        shows them.

    Returns
    -------
    DataFrame
        Columns `file, row, column, found, expected, remedy, text`; empty when all is well.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import table
    >>> rows = table.as_text(pd.DataFrame({"swatch": ["K1", "K1"]}), table.SWATCHES)
    >>> table.check(rows, table.SWATCHES, "swatches.csv")["row"].tolist()
    [3]
    """
    faults: list[dict[str, Any]] = []
    label = frame[table.key[0]] if table.key and table.key[0] in frame else None

    def note(mask: np.ndarray, column: str, expected: str, remedy: str) -> None:
        for i in np.flatnonzero(mask):
            name = str(label.iloc[i]) if label is not None else ""
            text = text_of_cell(frame[column].iloc[i], "").removesuffix(".0")
            row = int(i) + 2 if rows is None else int(rows[int(i)])
            faults.append(fault(file, row, column, text or "''", expected, remedy, name))

    for column in table.columns:
        if column.name not in frame:
            said = f"no column {column.name!r}", "is there", "Add the column."
            faults += [fault(file, 1, "", *said)] if column.required else []
            continue
        for mask, expected, remedy in _column_faults(frame[column.name], column):
            note(mask, column.name, expected, remedy)
    keys = [key for key in table.key if key in frame]
    if keys and len(frame):
        twice = frame.duplicated(keys, keep="first").to_numpy()
        note(twice, keys[0], "is there twice", "Give each row its own.")
    return pd.DataFrame(faults, columns=FAULT)


def _column_faults(cells: pd.Series, column: Column) -> Iterable[tuple[np.ndarray, str, str]]:
    """Yield (rows at fault, what was expected, what to do) for each rule of a column."""
    blank = blanks(cells)
    if column.required:
        yield blank, "is blank", f"Fill in the {column.name}."
    if column.options:
        options: list[Any] = list(column.options)
        if column.kind == "integer":
            options += [float(option) for option in options]
        wrong = ~cells.isin(options).to_numpy() & ~blank
        listing = ", ".join(option or "blank" for option in column.options)
        yield wrong, f"is not one of {listing}", column.remedy or "Choose one of these."
    if column.kind in ("number", "integer"):
        yield from _number_faults(cells, column, blank)
    if column.kind in ("date", "datetime"):
        good = {text for text in cells.unique() if _is_time(str(text), column.kind)}
        yield ~cells.isin(good).to_numpy() & ~blank, f"is not a {column.kind}", column.remedy


def _is_time(text: str, kind: str) -> bool:
    try:
        read = datetime.fromisoformat(text)
    except ValueError:
        return False
    short = len(text) == 10
    return read is not None and (short if kind == "date" else "T" in text and not short)


def _number_faults(
    cells: pd.Series, column: Column, blank: np.ndarray
) -> Iterable[tuple[np.ndarray, str, str]]:
    values = numbers(cells)
    wrong = ~np.isfinite(values) & ~blank
    comma = wrong.copy()
    comma[wrong] = ["," in str(cell) for cell in cells[wrong]]
    yield comma, "is not a number", "Use a point, not a comma, for decimals."
    yield wrong & ~comma, "is not a number", "Type a plain number, or leave it blank."
    if column.kind == "integer":
        yield np.where(wrong | blank, 0, values) % 1 != 0, "is not a whole number", "Round it."
    low = -np.inf if column.minimum is None else column.minimum
    high = np.inf if column.maximum is None else column.maximum
    with np.errstate(invalid="ignore"):
        outside = (values < low) | (values > high)
    said = f"is outside {low:g} to {high:g}"
    if not np.isfinite([low, high]).all():
        said = f"is below {low:g}" if np.isfinite(low) else f"is above {high:g}"
    said += f" {column.unit}" if column.unit else ""
    yield outside & ~wrong, said, column.remedy or "Check the value and its unit."
