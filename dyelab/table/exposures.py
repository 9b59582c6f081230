"""What had been done to the cloth before each reading, by a table's own columns.

A light series comes in as one table: ``exposure, amount, unit``, or one column whose heading says
both, such as ``dose (Mlx h)`` or ``washes``.
"""

import re
from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

from dyelab.errors import InputError, choose
from dyelab.table.columns import EXPOSURES
from dyelab.table.number_text import number

EXPOSURE = ["exposure", "amount", "unit"]
_HEADING = re.compile(
    r"(amount|dose|lightdose|exposuredose|light|wash)?"
    r"(mlxh|klxh|lxh|mluxh|kluxh|luxh|hours|h|cycles|cycle|washes|washcycles)?"
)
# Unit as it is written, as a reading keeps it, what one is worth, and what it can only be of.
_UNITS: dict[str, tuple[str, float, str]] = {
    **dict.fromkeys(("lxh", "luxh"), ("lx h", 1.0, "light")),
    **dict.fromkeys(("klxh", "kluxh"), ("lx h", 1e3, "light")),
    **dict.fromkeys(("mlxh", "mluxh"), ("lx h", 1e6, "light")),
    **dict.fromkeys(("washes", "wash", "washcycles"), ("cycle", 1.0, "wash")),
    **dict.fromkeys(("cycle", "cycles"), ("cycle", 1.0, "")),
    **dict.fromkeys(("h", "hours", "hour"), ("h", 1.0, "")),
    "referencestep": ("reference step", 1.0, "light"),
}
_WRITTEN = ["lx h", "klx h", "Mlx h", "h", "cycle", "reference step"]
_NEEDS_UNIT = ("light", "wash")


def exposure_columns(columns: Iterable[str]) -> dict[str, str]:
    """Which columns say what had been done: column to ``exposure``, ``amount`` or ``unit``.

    An amount whose heading bears a unit is ``amount:`` and that unit, such as ``amount:mlxh``.

    Examples
    --------
    >>> from dyelab import table
    >>> table.exposure_columns(["swatch", "dose (Mlx h)"])
    {'dose (Mlx h)': 'amount:mlxh'}
    """
    found: dict[str, str] = {}
    for column in columns:
        plain = re.sub(r"[^a-z0-9]", "", str(column).lower())
        heading = _HEADING.fullmatch(plain)
        if plain in ("exposure", "unit"):
            found[column] = plain
        elif plain and heading and (plain in ("amount", "dose") or heading[2]) and plain != "h":
            found[column] = f"amount:{heading[2]}" if heading[2] else "amount"
    roles = [role.partition(":")[0] for role in found.values()]
    return found if roles.count("amount") == 1 and len(set(roles)) == len(roles) else {}


def exposed(
    frame: pd.DataFrame, where: str = "", rows: Sequence[int] | None = None
) -> pd.DataFrame:
    """Give a table that says what had been done the columns `EXPOSURE`, as readings keep them.

    Parameters
    ----------
    frame : DataFrame
        With columns that `exposure_columns` knows; returned as it is without them.
    where : str
        File or table, for the messages.
    rows : sequence of int, optional
        Numbers of the rows there; 1, 2, 3 without it.

    Returns
    -------
    DataFrame
        `exposure` (blank where neither the table nor the unit says), `amount` (NaN where none),
        `unit`. An amount of 0 of washes or light is no exposure: ``none``.

    Raises
    ------
    InputError
        For an exposure or unit that isn't known, or an amount that is no number of 0 or more.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import table
    >>> table.exposed(pd.DataFrame({"dose (Mlx h)": [0.3]}))[["exposure", "amount", "unit"]]
      exposure    amount  unit
    0    light  300000.0  lx h
    """
    named = exposure_columns(frame.columns)
    if not named:
        return frame
    by_role = {role.partition(":")[0]: column for column, role in named.items()}
    heading = named[by_role["amount"]].partition(":")[2]
    numbers = range(1, len(frame) + 1) if rows is None else rows
    told = [
        _one(frame, i, by_role, heading, f"{where} row {number}".strip())
        for i, number in enumerate(numbers)
    ]
    made = pd.DataFrame(told, columns=EXPOSURE, index=frame.index)
    return pd.concat([frame.drop(columns=list(named)), made], axis=1)


def _one(
    frame: pd.DataFrame, i: int, by_role: dict[str, str], heading: str, where: str
) -> tuple[str, float, str]:
    cells = {role: frame[column].iloc[i] for role, column in by_role.items()}
    text = {role: "" if pd.isna(cell) else str(cell).strip() for role, cell in cells.items()}
    amount = _number(text["amount"], where)
    kind = text.get("exposure", "").lower()
    if kind:
        choose(kind, EXPOSURES, "exposure", f"({where})")
    unit, worth, of = _unit(text.get("unit", "") or heading, where)
    kind = kind or of
    if kind in ("", "none", *_NEEDS_UNIT) and amount == 0:
        return "none", np.nan, ""
    if kind == "none" or (not kind and np.isnan(amount)):
        return kind, np.nan, ""
    if kind in _NEEDS_UNIT and not unit and np.isfinite(amount):
        unit = "cycle" if kind == "wash" else ""
        if not unit:
            raise InputError(
                f"{where}: {amount:g} of light, but no unit. Write it in a column unit: lx h, "
                "klx h, Mlx h, h or reference step."
            )
    return kind, amount * worth, unit


def _number(text: str, where: str) -> float:
    if not text:
        return np.nan
    try:
        value = number(text, most=1e12)
    except InputError:
        value = -1.0
    if value < 0:
        raise InputError(
            f"{where}: amount = {text!r} is no amount. Write a number of 0 or more, its unit in "
            "the column unit."
        )
    return value


def _unit(text: str, where: str) -> tuple[str, float, str]:
    plain = re.sub(r"[^a-z]", "", text.lower())
    if not plain:
        return "", 1.0, ""
    if plain not in _UNITS:
        choose(text, _WRITTEN, "unit", f"({where})")
    return _UNITS[plain]
