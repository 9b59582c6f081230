"""Numbers as people write them: the one reader for all that is typed or comes in a cell.

A point or a comma is the decimal sign, so 2.5 and 2,5 are the same. Where both stand, the last
is the decimal sign and the other parts thousands: 1,234.5 and 1.234,5. A comma with exactly three
figures behind it, as in 1,000, could be either, so it is asked about. In a list, numbers are
parted by spaces or semicolons, or by a comma with a space behind it: "0 2,5", "0; 2,5", "0, 2,5".
"""

import re
from collections.abc import Iterable

import numpy as np
import pandas as pd

from dyelab import limits
from dyelab.errors import InputError

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


def written(values: Iterable[float]) -> list[str]:
    """Write numbers so that no spreadsheet's locale takes them for others; NaN is blank.

    Every digit of a double is kept: 0.125 is ``0.12500``, 15.0 is ``15``.

    Examples
    --------
    >>> from dyelab import table
    >>> table.written([0.5, 12])
    ['0.50000', '12']
    """
    return [_written(value) for value in values]


def _written(value: float) -> str:
    if value != value:
        return ""
    text = repr(float(value))
    if "e" in text:
        text = np.format_float_positional(value, unique=True)
    whole, _, decimals = text.partition(".")
    if not decimals.strip("0"):
        return "0" if whole == "-0" else whole
    return f"{whole}.{decimals:0<{_DECIMALS}}"
