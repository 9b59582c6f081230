"""The metals that recipes can be asked about: one row each in ``metals.csv``, hazards included.

A row names the metal, its symbol, its usual salt with formula and usual range, and what it does.
A `shifting` metal (iron) turns the colour wherever in the recipe it stands, and is told by its
dose alone. A `clear` one (aluminium) is a mordant in the mordant's place, and counts as a metal
where it modifies a dyed cloth.
"""

import re
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd

from dyelab import files, words
from dyelab.errors import InputError, choose

FILE = Path(__file__).with_name("metals.csv")
EFFECTS = ("shifting", "clear")
_REQUIRED = ["metal", "symbol", "salt", "low_wof", "high_wof", "effect", "hazards", "disposal"]


@cache
def metals() -> pd.DataFrame:
    """Return the table of metals, one row each.

    Returns
    -------
    DataFrame
        `metal, symbol, salt, formula, low_wof, high_wof` (usual range of the salt, % WOF),
        `effect` (one of `EFFECTS`), `hazards` (GHS statements), `disposal`, `basis`, and
        `column`, the name that its dose has in a wide table.

    Raises
    ------
    InputError
        If a row leaves out a name, range, effect, hazards or disposal.
    """
    rows, _ = files.cells(FILE)
    for at, row in enumerate(rows.to_dict("records"), 2):
        for name in _REQUIRED:
            if not row.get(name):
                raise InputError(
                    f"{FILE.name} row {at} ({row['metal'] or '?'}): {name} is blank. A metal is "
                    "offered only with its salt, range, effect, hazards and disposal stated."
                )
        choose(row["effect"], EFFECTS, "effect", "of a metal")
        if not re.fullmatch(r"H\d{3}\w?( H\d{3}\w?)*", row["hazards"]):
            raise InputError(
                f"{FILE.name} row {at} ({row['metal']}): hazards = {row['hazards']!r} is no list "
                "of GHS statements. Write them as H302 H319."
            )
    numbers = {name: rows[name].astype(float) for name in ("low_wof", "high_wof")}
    return rows.assign(**numbers, column=rows["metal"] + "_wof")


def columns() -> dict[str, str]:
    """Metal to the column of its dose: ``{"iron": "iron_wof", …}``."""
    return dict(zip(metals()["metal"], metals()["column"], strict=True))


def salts() -> dict[str, str]:
    """Metal to its usual salt: ``{"iron": "ferrous sulfate", …}``."""
    return dict(zip(metals()["metal"], metals()["salt"], strict=True))


def symbols() -> dict[str, str]:
    """Symbol to metal: ``{"Fe": "iron", …}``."""
    return dict(zip(metals()["symbol"], metals()["metal"], strict=True))


def shifting_metals() -> dict[str, str]:
    """Symbol to metal, of those that turn the colour wherever they stand: ``{"Fe": "iron", …}``."""
    rows = metals()[metals()["effect"] == "shifting"]
    return dict(zip(rows["symbol"], rows["metal"], strict=True))


def disposal(found: Iterable[str]) -> list[str]:
    """How spent baths of these metals, by symbol, are got rid of; each said once."""
    there = set(found)
    rows = metals()
    rows = rows[rows["symbol"].isin(there)]
    pairs = zip(rows["metal"], rows["disposal"], strict=True)
    return [words.listed_text("disposal", metal, text) for metal, text in pairs]


def say_place(part: str, said: str) -> str:
    """Say where a metal, in words, went in: ``Fe before dye`` is ``iron 2 % before dye``."""
    where, _, salt = part.partition(" as ")
    step = where.partition(" before ")[2]
    if step:
        said = words.say("recipe_words.before", metal=said, step=words.heading(step))
    return said + (words.say("recipe_words.as_salt", salt=salt) if salt else "")


def salt_alone(row: Mapping[Any, Any]) -> str:
    """What a recipe's `metals_at` says of the salt, without the step that it went in before."""
    parts = (
        re.sub(r" before \w+", "", part) for part in str(row.get("metals_at") or "").split(" > ")
    )
    return " > ".join(part for part in parts if " as " in part)


def is_counted(symbol: pd.Series, kind: pd.Series) -> pd.Series:
    """Which steps are told by the dose of their metal, rather than as a mordant or modifier.

    Parameters
    ----------
    symbol, kind : Series of str
        Metal of each step's material, and the step's kind.
    """
    after = kind.isin(["modifier", "other"])
    known = symbol.isin(symbols())
    return (symbol.isin(shifting_metals()) & (after | kind.eq("mordant"))) | (known & after)
