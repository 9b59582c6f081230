"""The chart for the wall: dyes down, treatments across, chips to be seen across a room."""

from dataclasses import replace
from typing import Any

import pandas as pd

from dyelab import shift, words
from dyelab.errors import InputError
from dyelab.handout import colours
from dyelab.handout import page as parts

_CHIP = 40  # mm: told apart across a room
_CELL, _ROW = _CHIP + 3, _CHIP + 7  # mm from chip to chip, with its numbers
_NAMES, _MARGINS = 51, 24  # mm: the column of names, both margins
# mm: over the columns with the title and without, foot, a line of text
_TITLE, _BARE, _FOOT, _LINE = 33, 15, 14, 6
_BESIDE = 11  # mm of a code that stand beside the title
_TEXT = 100, 6  # letters of a teacher's own text in a line, mm of that line
# As page.typ sets it.
_LETTERS = 17  # of a column's heading in one line
_ADDED = ["tannin", "mordant", "mordant_wof", "tannin_wof", *shift.METALS.values()]
_NOT_DYE = ("fibre", "tannin", "mordant", *shift.METALS, "metals_at", "modifier", "form", "ground")


def chart(
    source: colours.Source, own: parts.Header = parts.Header(), *, fibre: str, upright: bool = False
) -> parts.Page:
    """Every colour of one fibre, one column a treatment, as many sheets as the paper needs.

    Sheets of a chart that needs several are named by row and column, to be hung side by side;
    a sheet on which nothing was dyed is left out.

    Parameters
    ----------
    source : Source
    own : Header
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
    if colours.rows_with(source.made, fibre=fibre).empty:
        raise InputError(words.say("pages.no_fibre", fibre=fibre))
    grid = _place(colours.rows_with(source.made_and_planned, fibre=fibre))
    columns = list(dict.fromkeys(grid["column"]))
    across, down, further = _room(own, upright, columns)
    rows = grid.sort_values("order", kind="stable")[["order", "dye_name"]].drop_duplicates("order")
    whole = _grid(source, grid, rows, columns)
    blocks: list[Any] = [
        parts.Text(words.say("wall.lead", fibre=fibre), "lead"),
        parts.Text(_care(grid), "small", only="screen"),
        replace(whole, only="screen"),
        *_sheets(whole, across, down, further, _care(grid)),
    ]
    title = words.say("pages.wall_title", fibre=fibre)
    return source.page(own, title, blocks, landscape=not upright, tight=True)


def _care(grid: pd.DataFrame) -> str:
    """What to mind before filling the gaps."""
    metals = [name for name, dose in shift.METALS.items() if (grid[dose] > 0).any()]
    return words.say("wall.care", metals=", ".join(metals)) if metals else words.say("wall.gaps")


def _sheets(whole: parts.Bands, across: int, down: int, further: int, care: str) -> list[Any]:
    """The chart cut into what a sheet of paper holds; no sheet on which nothing was dyed.

    Sheets of the first row hold `down` rows of chips, where one has the title; those of the
    others hold `further`.
    """
    blocks: list[Any] = []
    starts = [0, *range(down, len(whole.bands), further)]
    for row, (at, end) in enumerate(zip(starts, [*starts[1:], None], strict=True), 1):
        for column, side in enumerate(range(0, len(whole.columns), across), 1):
            piece = slice(side, side + across)
            bands = [replace(b, patches=b.patches[piece]) for b in whole.bands[at:end]]
            if any(patch.fill for band in bands for patch in band.patches):
                said = words.say("wall.sheet", row=row, column=column)
                said = said if blocks else f"{said} · {care}"
                blocks += [parts.NewPage(only="paper")] if blocks else []
                blocks.append(parts.Text(said, "small", only="paper"))
                given: Any = {"bands": tuple(bands), "only": "paper", "level": row == 1}
                blocks.append(replace(whole, columns=whole.columns[piece], **given))
    return blocks


def _room(own: parts.Header, upright: bool, columns: list[str]) -> tuple[int, int, int]:
    """Columns of chips that a sheet holds, and rows: under the title, and without one."""
    short, long = parts.PAPERS[own.paper]
    wide, high = (short, long) if upright else (long, short)
    beside = _LINE * (bool(own.teacher) + bool(own.address))
    code = parts.code_mm(own.paper) - _BESIDE if own.address else 0
    title = _TITLE + max(beside, code) + _TEXT[1] * -(-len(own.text) // _TEXT[0])
    down = [(high - _FOOT - top - _LINE * _lines(columns)) // _ROW for top in (title, _BARE)]
    across = (wide - _MARGINS - _NAMES) // _CELL
    return max(1, across), max(1, int(down[0])), max(1, down[1])


def _lines(columns: list[str]) -> int:
    """Lines that the longest name of a column takes."""
    return max(-(-len(column) // _LETTERS) for column in columns)


def _place(made: pd.DataFrame) -> pd.DataFrame:
    """Give each recipe its `column`, its `dye_name` and the `order` of its row.

    Recipes that these words leave alike, such as with more dips, get rows of their own.
    """
    rows = made.sort_values(_ADDED, kind="stable", key=colours.none_first)
    records = rows.to_dict("records")
    rows = rows.assign(
        column=[colours.recipe(row, bare=True) for row in records],
        dye_name=[_dye(row) for row in records],
    )
    again = rows.groupby(["dye_name", "column"], sort=False).cumcount()
    first = {name: i for i, name in enumerate(dict.fromkeys(made.sort_index()["dye"]))}
    order = zip(rows["dye"].map(first), -rows["dye_wof"], rows["dye_name"], again, strict=True)
    return rows.assign(order=list(order))


def _dye(row: dict[Any, Any]) -> str:
    said = shift.in_words({**row, "area": "whole"}, _NOT_DYE)
    return words.say("pages.undyed") if row["dye"] == "none" else said


def _grid(
    source: colours.Source, grid: pd.DataFrame, rows: pd.DataFrame, columns: list[str]
) -> parts.Bands:
    bands = []
    for order, name in rows.itertuples(index=False):
        own = grid[grid["order"] == order].drop_duplicates("column").set_index("column")
        placed = own.reindex(columns)
        key = "gap" if own["dye"].ne("none").any() else "gap_undyed"
        notes = [words.say(f"strip.{key}")] * len(columns)
        made = placed.fillna({"swatch": ""}).to_dict("records")
        bands.append(parts.Band(name, source.patches(made, columns, notes)))
    return parts.Bands(tuple(columns), tuple(bands), _CHIP, _CHIP, _LINE * _lines(columns))
