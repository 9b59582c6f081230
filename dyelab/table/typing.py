"""Between text cells and typed columns, both ways."""

from datetime import date, datetime
from typing import Any

import numpy as np
import pandas as pd

from dyelab import limits
from dyelab.table.columns import Table


def typed(frame: pd.DataFrame, table: Table) -> pd.DataFrame:
    """Turn checked text cells into typed columns, adding blank columns that are missing.

    Dates stay text (ISO 8601), so that nothing is lost on saving. A blank cell takes the
    column's default. Columns the table doesn't know are kept as text, after the known ones.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import table
    >>> rows = table.as_text(pd.DataFrame({"swatch": ["K1"]}), table.SWATCHES)
    >>> table.typed(rows, table.SWATCHES)["swatch"].tolist()
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
        return pd.to_numeric(cells, errors="coerce")
    except OverflowError:
        short = cells.astype(str).str.len() <= limits.DIGITS
        return pd.to_numeric(cells.where(short, "nan"), errors="coerce")


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
    columns = {str(name): _texts(frame[name], kinds.get(str(name), "")) for name in frame.columns}
    return pd.DataFrame(columns, index=frame.index, dtype=str)


def _texts(cells: pd.Series, kind: str) -> list[str]:
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
    return typed(pd.DataFrame({name: pd.Series(dtype=str) for name in table.names}), table)
