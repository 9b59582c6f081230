"""The chart for the wall: dyes down, treatments across, chips to be seen across a room."""

from dataclasses import replace
from typing import Any

import pandas as pd

from dyelab import shift, table, words
from dyelab.errors import InputError
from dyelab.handout import colours
from dyelab.handout import page as parts

_CHIP = 40  # mm
_CELL, _ROW = _CHIP + 3, _CHIP + 7  # mm from chip to chip, with its numbers
_NAMES, _MARGINS = 51, 24  # mm: the column of names, both margins
_HEAD, _LINE = 58, 6  # mm: title, foot and one line over the columns; each line more
_BESIDE = 11  # mm of a code that stand beside the title
_LETTERS = 17  # of a column's heading in one line
_ADDED = ["tannin", "mordant", "mordant_wof", "tannin_wof", *shift.METALS.values()]
_NOT_DYE = ("fibre", "tannin", "mordant", *shift.METALS, "metals_at", "modifier", "form", "ground")


def chart(
    source: colours.Source, own: parts.Own = parts.Own(), *, fibre: str, upright: bool = False
) -> parts.Page:
    """Every colour of one fibre, one column a treatment, as many sheets as the paper needs.

    Sheets of a chart that needs several are named by row and column, to be hung side by side;
    a sheet on which nothing was dyed is left out.

    Parameters
    ----------
    source : Source
    own : Own
        Its paper may be A4 to A1.
    fibre : str
        As in the book.
    upright : bool
        Portrait instead of landscape.

    Raises
    ------
    InputError
        If nothing on this fibre was measured.
    """
    if colours.only(source.made, fibre=fibre).empty:
        raise InputError(words.say("pages.no_fibre", fibre=fibre))
    grid = _placed(colours.only(source.planned, fibre=fibre))
    columns = list(dict.fromkeys(grid["column"]))
    across, down = _room(own, upright, columns)
    rows = grid.sort_values("order", kind="stable")[["order", "dye_name"]].drop_duplicates("order")
    whole = _grid(grid, rows, columns)
    blocks: list[Any] = [
        parts.Text(words.say("wall.lead", fibre=fibre), "lead"),
        replace(whole, only="screen"),
        *_sheets(whole, across, down),
    ]
    title = words.say("pages.wall_title", fibre=fibre)
    white: Any = {"white": source.white, "how": source.how}
    return replace(own.page(title, blocks, landscape=not upright, **white), tight=True)


def _sheets(whole: parts.Bands, across: int, down: int) -> list[Any]:
    """The chart cut into what a sheet of paper holds; no sheet on which nothing was dyed."""
    blocks: list[Any] = []
    for at in range(0, len(whole.bands), down):
        for side in range(0, len(whole.columns), across):
            piece = slice(side, side + across)
            bands = [replace(b, patches=b.patches[piece]) for b in whole.bands[at : at + down]]
            if any(patch.fill for band in bands for patch in band.patches):
                said = words.say("wall.sheet", row=1 + at // down, column=1 + side // across)
                blocks += [parts.NewPage(only="paper")] if blocks else []
                blocks.append(parts.Text(said, "small", only="paper"))
                columns = whole.columns[piece]
                blocks.append(replace(whole, columns=columns, bands=tuple(bands), only="paper"))
    return blocks


def _room(own: parts.Own, upright: bool, columns: list[str]) -> tuple[int, int]:
    """Columns and rows of chips that a sheet holds."""
    short, long = parts.PAPERS[own.paper]
    wide, high = (short, long) if upright else (long, short)
    left = (
        high
        - _HEAD
        - _LINE * (_lines(columns) - 1)
        - (parts.code_mm(own.paper) - _BESIDE if own.address else 0)
    )
    return max(1, (wide - _MARGINS - _NAMES) // _CELL), max(1, left // _ROW)


def _lines(columns: list[str]) -> int:
    """Lines that the longest name of a column takes."""
    return max(-(-len(column) // _LETTERS) for column in columns)


def _placed(made: pd.DataFrame) -> pd.DataFrame:
    """Give each recipe its `column`, its `dye_name` and the `order` of its row.

    Recipes that these words leave alike, such as with more dips, get rows of their own.
    """
    rows = made.sort_values(_ADDED, kind="stable", key=_none_first)
    records = rows.to_dict("records")
    rows = rows.assign(
        column=[colours.recipe(row, bare=True) for row in records],
        dye_name=[_dye(row) for row in records],
    )
    again = rows.groupby(["dye_name", "column"], sort=False).cumcount()
    first = {name: i for i, name in enumerate(dict.fromkeys(made.sort_index()["dye"]))}
    order = zip(rows["dye"].map(first), -rows["dye_wof"], rows["dye_name"], again, strict=True)
    return rows.assign(order=list(order))


def _none_first(column: pd.Series) -> pd.Series:
    numbers = pd.api.types.is_numeric_dtype(column)
    return column.fillna(0.0) if numbers else column.where(column != "none", "")


def _dye(row: dict[Any, Any]) -> str:
    said = shift.in_words({**row, "area": "whole"}, _NOT_DYE)
    return words.say("pages.undyed") if row["dye"] == "none" else said


def _grid(grid: pd.DataFrame, rows: pd.DataFrame, columns: list[str]) -> parts.Bands:
    bands = []
    for order, name in rows.itertuples(index=False):
        own = grid[grid["order"] == order].drop_duplicates("column").set_index("column")
        lab = own.reindex(columns)[[*table.LAB, *table.WHITE]]
        made = parts.patches(lab, columns, [words.say("strip.gap")] * len(columns))
        bands.append(parts.Band(name, tuple(made)))
    return parts.Bands(tuple(columns), tuple(bands), _CHIP, _CHIP, _LINE * _lines(columns))
