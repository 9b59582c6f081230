"""The mordant sheet: one dye on one cloth, everything that was put with it."""

from typing import Any

import numpy as np
import pandas as pd

from dyelab import compare, shift, table, words
from dyelab.errors import InputError
from dyelab.handout import colours
from dyelab.handout import page as parts
from dyelab.handout.metal_texts import distance

_ORDER = ["tannin", "mordant", *shift.METALS.values(), "dye_wof"]
_SAME = ["form", "ground", "dye_wof"]  # what the compared cloths of one fibre and dye share


def sheet(source: colours.Source, own: parts.Own = parts.Own(), *, fibre: str, dye: str) -> Any:
    """Chips, numbers and one sentence each, compared with the same dye dose on its own.

    Parameters
    ----------
    source : Source
    own : Own
        The teacher's title, text, logo and paper.
    fibre, dye : str
        As in the book.

    Returns
    -------
    Page

    Raises
    ------
    InputError
        If this dye was not measured on this fibre.
    """
    found = colours.only(source.made, fibre=fibre, dye=dye)
    if found.empty:
        raise InputError(words.say("pages.no_dye", dye=dye, fibre=fibre))
    rows = found.sort_values(_ORDER, kind="stable", key=_none_first).to_dict("records")
    moved = _moved(source, rows)
    named = {"dye": dye, "fibre": fibre, "start": colours.recipe(rows[0], bare=True)}
    blocks: list[Any] = [parts.Text(words.say("pages.mordants_lead", **named), "lead")]
    blocks.append(_chips(rows))
    if moved:
        said = parts.Points(tuple(_sentences(rows, moved)))
        blocks += [parts.Heading(words.say("pages.each")), said]
    blocks += [_numbers(rows, moved)]
    title = words.say("pages.mordants_title", dye=dye, fibre=fibre)
    return own.page(title, blocks, white=source.white, how=source.how)


def _none_first(column: pd.Series) -> pd.Series:
    return column.where(column != "none", "") if column.dtype == object else column.fillna(0.0)


def _moved(source: colours.Source, rows: list[dict[Any, Any]]) -> dict[int, dict[Any, Any]]:
    """Each recipe against the plainest one with the same dye dose on the same cloth."""
    starts: dict[tuple, int] = {}
    for row in rows:
        starts.setdefault(tuple(row.get(name) for name in _SAME), row["variant"])
    pairs = [(starts[tuple(row.get(name) for name in _SAME)], row["variant"]) for row in rows]
    first, second = np.array([pair for pair in pairs if pair[0] != pair[1]], int).reshape(-1, 2).T
    if not len(first):
        return {}
    compared = shift.compared(source.recipes, first, second)
    return {row["to_row"]: row for row in compared.to_dict("records")}


def _chips(rows: list[dict[Any, Any]]) -> parts.Chips:
    labels = colours.labels(rows)
    lab = pd.DataFrame(rows)[[*table.LAB, *table.WHITE]]
    return parts.Chips(tuple(parts.patches(lab, labels)), columns=5, height_mm=16)


def _sentences(rows: list[dict[Any, Any]], moved: dict[int, dict[Any, Any]]) -> list[str]:
    said = []
    for row, named in zip(rows, colours.labels(rows), strict=True):
        change = moved.get(row["variant"])
        if change is None:
            continue
        values = {"moved": change["moved"], "verdict": compare.in_words(change)}
        said.append(words.say("pages.one", recipe=named, distance=distance(change), **values))
    return said


def _numbers(rows: list[dict[Any, Any]], moved: dict[int, dict[Any, Any]]) -> parts.NumberTable:
    shown = [
        {
            "recipe": label,
            **{name: float(row[name]) for name in table.LAB},
            **{
                name: moved.get(row["variant"], {}).get(name, float("nan"))
                for name in ("dL", "dC", "dH", "dE00")
            },
            "pieces": int(row["pieces"]),
        }
        for row, label in zip(rows, colours.labels(rows), strict=True)
    ]
    return parts.number_table(pd.DataFrame(shown), words.say("pages.compared"))
