"""How a colour was read, and what had been done to the cloth before, by a table's own columns.

A light series comes in as one table: ``exposure, amount, unit``, or one column whose heading says
both, such as ``dose (Mlx h)`` or ``washes``.
"""

import re
from collections.abc import Iterable, Sequence
from math import nan

import numpy as np
import pandas as pd

from dyelab.errors import InputError, choose
from dyelab.table.cells import number
from dyelab.table.columns import EXPOSURES

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


def with_exposure(
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
    >>> table.with_exposure(pd.DataFrame({"dose (Mlx h)": [0.3]}))[["exposure", "amount", "unit"]]
      exposure    amount  unit
    0    light  300000.0  lx h
    """
    named = exposure_columns(frame.columns)
    if not named:
        return frame
    by_role = {role.partition(":")[0]: column for column, role in named.items()}
    heading = named[by_role["amount"]].partition(":")[2]
    numbers = range(1, len(frame) + 1) if rows is None else rows
    places = enumerate(f"{where} row {number}".strip() for number in numbers)
    told = [_one(frame, i, by_role, heading, place) for i, place in places]
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
    if kind == "light" and not unit and np.isfinite(amount):
        raise InputError(
            f"{where}: {amount:g} of light, but no unit. Write it in a column unit: lx h, "
            "klx h, Mlx h, h or reference step."
        )
    bare_wash = kind == "wash" and not unit and np.isfinite(amount)
    return kind, amount * worth, "cycle" if bare_wash else unit


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


# As an instrument's file states them (ISO 13655, CIE 15): where light comes from and is seen,
# whether gloss is in, what ultraviolet the lamp has, how large a spot, on what, how thick.
CONDITIONS = ["geometry", "specular", "m_condition", "aperture_mm", "backing", "layers"]
# What stands in a table where a condition isn't stated: number columns hold NaN.
NOT_STATED = {name: nan if name in ("aperture_mm", "layers") else "" for name in CONDITIONS}
_SHOWN = {
    "specular": "specular {}",
    "aperture_mm": "{} mm",
    "backing": "on {}",
    "layers": "{} layers",
}


def conditions_text(row: pd.Series | dict) -> str:
    """One reading's conditions in words: ``d/8, specular in, M1, 8 mm``; blank if none.

    Examples
    --------
    >>> from dyelab import table
    >>> table.conditions_text({"geometry": "45/0"})
    '45/0'
    """
    held = {name: _text(row.get(name, "")) for name in CONDITIONS}
    return ", ".join(_SHOWN.get(name, "{}").format(cell) for name, cell in held.items() if cell)


def _text(cell: object) -> str:
    return "" if pd.isna(cell) else str(cell).strip().removesuffix(".0")


def reading_ways(rows: pd.DataFrame) -> pd.Series:
    """How each row was read: its method, and its conditions where those of that method clash.

    Readings under conditions that clash differ though the cloth doesn't (by 1.5 in L* between
    45/0 and a sphere), and values adapted from another white have errors of their own: rows of
    two ways are never paired or averaged. A condition that isn't stated clashes with none, unless
    the stated ones clash among themselves.

    Parameters
    ----------
    rows : DataFrame
        With `method`, and any of `CONDITIONS` and `flags`.

    Returns
    -------
    Series of str
        ``"spectral"``, or ``"spectral, 45/0, M1"``, or ``"colorimeter, adapted"``.

    Examples
    --------
    >>> from dyelab import book, synth, table
    >>> bk = book.open(synth.example())
    >>> table.reading_ways(bk.readings).unique().tolist()
    ['spectral']
    """
    way = rows["method"].astype(str)
    there = [name for name in CONDITIONS if name in rows]
    stated = rows[there].map(_text)
    for _, part in stated.groupby(way, sort=False):
        if any(part.loc[part[name] != "", name].nunique() > 1 for name in there):
            told = part.apply(conditions_text, axis=1)
            way.loc[part.index] += ", " + told.where(told != "", "not stated")
    flags = rows.get("flags", pd.Series("", index=rows.index))
    adapted = flags.map(lambda cell: "adapted" in _text(cell).split())
    mixed = adapted.groupby(way).transform("nunique") > 1
    return way.where(~(adapted & mixed), way + ", adapted")


def method_of(way: str) -> str:
    """The method of a way that `reading_ways` names.

    Examples
    --------
    >>> from dyelab import table
    >>> table.method_of("spectral")
    'spectral'
    """
    return way.partition(",")[0]
