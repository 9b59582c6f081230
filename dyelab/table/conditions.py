"""How a colour was read: conditions of measurement, and which readings may be set side by side."""

from math import nan

import pandas as pd

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


def ways(rows: pd.DataFrame) -> pd.Series:
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
    >>> table.ways(bk.readings).unique().tolist()
    ['spectral']
    """
    way = rows["method"].astype(str)
    there = [name for name in CONDITIONS if name in rows]
    stated = rows[there].map(_text)
    for _, part in stated.groupby(way, sort=False):
        if any(part.loc[part[name] != "", name].nunique() > 1 for name in there):
            told = part.apply(conditions_text, axis=1)
            way.loc[part.index] += ", " + told.where(told != "", "not stated")
    adapted = rows.get("flags", pd.Series("", index=rows.index)).map(_is_adapted)
    mixed = adapted.groupby(way).transform("nunique") > 1
    return way.where(~(adapted & mixed), way + ", adapted")


def _is_adapted(flags: object) -> bool:
    return "adapted" in _text(flags).split()


def method_of(way: str) -> str:
    """The method of a way that `ways` names.

    Examples
    --------
    >>> from dyelab import table
    >>> table.method_of("spectral")
    'spectral'
    """
    return way.partition(",")[0]
