"""Sorting cards, A6: the cloth and its chip in front, what it is on the back."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from dyelab import shift, words
from dyelab.handout import colours, findings
from dyelab.handout import page as parts
from dyelab.handout.sheets import recipe_cards


def cards(
    source: colours.Source, own: parts.Own = parts.Own(), *, swatches: Sequence[str]
) -> parts.Page:
    """Cards to sort by lightness, by guessed iron, by fastness, and then to turn over.

    Parameters
    ----------
    source : Source
    own : Own
        Its paper is passed over: a card is A6, front and back by turns.
    swatches : sequence of str
        Codes of the swatches.

    Raises
    ------
    InputError
        If the book has no such swatch.
    """
    chosen = source.chosen(swatches)
    held, framed = _held(source), recipe_cards.framed(source, chosen)
    chosen = list(dict.fromkeys(chosen))
    one = {code for code in chosen if framed[code][0].patch.numbers}  # has one colour
    places = _places(source.leading[source.leading["swatch"].isin(one)])
    made = [
        _card(str(number), framed[code][0], [*places.get(code, []), *held.get(code, [])])
        for number, code in enumerate(chosen, 1)
    ]
    blocks: list[Any] = [parts.Text(words.say("sorting.lead"), "lead", only="screen"), *made]
    page = own.page(words.say("sorting.title"), blocks, white=source.white, how=source.how)
    return replace(page, paper="A6", tight=True, bare=True)


def _card(number: str, shown: parts.Frame, told: list[str]) -> parts.Card:
    said = [words.say("sorting.grades")] if len(told) > 2 else []
    lines = (*shown.lines[:1], *told, *said)
    return parts.Card(number, shown.patch, lines, words.say("sorting.lead"))


def _places(rows: pd.DataFrame) -> dict[str, list[str]]:
    """Where each card comes when they lie in the right order: by lightness, then by iron."""
    doses = rows.groupby("swatch")[list(shift.METALS.values())].first().fillna(0.0)
    light = rows.groupby("swatch")["L"].mean().rank(ascending=False, method="min")
    iron, of, said = doses["iron_wof"].rank(method="min"), len(doses), {}
    for code, row in doses.iterrows():
        iron_ = {"what": _metals(row), "place": int(iron[code]), "of": of}
        lines = [words.say("sorting.light", place=int(light[code]), of=of)]
        said[str(code)] = [*lines, words.say("sorting.metals", **iron_)]
    return said


def _metals(doses: pd.Series) -> str:
    named = zip(shift.METALS, doses, strict=True)
    said = [shift.dosed(name, dose) for name, dose in named if dose > 0]
    return ", ".join(said) or words.say("pages.no_salt")


def _held(source: colours.Source) -> dict[str, list[str]]:
    """Grade of change after the hardest of each test, by swatch."""
    said: dict[str, list[str]] = {}
    if len(source.held):
        for row in source.held.drop_duplicates(["swatch", "area", "exposure"]).to_dict("records"):
            said.setdefault(str(row["swatch"]), []).append(_grade(row))
    return said


def _grade(row: dict[Any, Any]) -> str:
    after = findings.when(row) if row["exposure"] in ("wash", "light") else str(row["exposure"])
    area = "" if row["area"] == "whole" else f"{row['area']}: "
    return area + words.say("sorting.held", after=after, grade=row["said"])
