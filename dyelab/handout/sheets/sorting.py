"""Sorting cards, A6: the cloth and its chip in front, what it is on the back."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from dyelab import shift, words
from dyelab.handout import colours, findings
from dyelab.handout import page as parts
from dyelab.handout.sheets import recipe_cards

_ALIKE = 1.0  # of L*: nearer ones aren't put in order by eye (common practice, no source)


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
    iron = source.leading.loc[source.leading["swatch"].isin(one), "iron_wof"].fillna(0.0)
    lead = _lead(iron.nunique() > 1, any(code in held for code in chosen))
    untested = [words.say("sorting.untested")] if any(code in held for code in chosen) else []
    made = [
        _card(
            str(number), framed[code][0], places.get(code, []), held.get(code, []) or untested, lead
        )
        for number, code in enumerate(chosen, 1)
    ]
    blocks: list[Any] = [parts.Text(lead, "lead", only="screen"), *made]
    page = own.page(words.say("sorting.title"), blocks, white=source.white, how=source.how)
    return replace(page, paper="A6", tight=True, bare=True)


def _lead(iron: bool, tested: bool) -> str:
    """What to sort by: what the cards differ in, or what was tested."""
    orders = ["by_light", *["by_iron"] * iron, *["by_hold"] * tested]
    then = words.say("sorting.then").join(words.say(f"sorting.{one}") for one in orders)
    return words.say("sorting.lead", orders=then)


def _card(
    number: str, shown: parts.Frame, places: list[str], held: list[str], lead: str
) -> parts.Card:
    said = (
        [words.say("sorting.grades")]
        if len(held) and held[0] != words.say("sorting.untested")
        else []
    )
    return parts.Card(number, shown.patch, (*shown.lines[:1], *places, *held, *said), lead)


def _places(rows: pd.DataFrame) -> dict[str, list[str]]:
    """Where each card comes when they lie in the right order: by lightness, then by iron."""
    doses = rows.groupby("swatch")[list(shift.METALS.values())].first().fillna(0.0)
    light, iron = rows.groupby("swatch")["L"].mean().loc[doses.index], doses["iron_wof"]
    said = {}
    for code, row in doses.iterrows():
        lines = [_place("light", -light, str(code), _ALIKE), _metals(row)]
        lines += [_place("iron", iron, str(code))] if iron.nunique() > 1 else []
        said[str(code)] = lines
    return said


def _place(order: str, values: pd.Series, code: str, alike: float = 0.0) -> str:
    """The card's place in an order from least to most, or the places that cards alike share."""
    first = 1 + int((values < values[code] - alike).sum())
    last = int((values <= values[code] + alike).sum())
    key = "one" if first == last else "shared" if alike else "equal"
    place = words.say(f"sorting.{key}", first=first, last=last, of=len(values))
    return words.say(f"sorting.{order}", place=place)


def _metals(doses: pd.Series) -> str:
    named = zip(shift.METALS, doses, strict=True)
    said = [shift.dosed(name, dose) for name, dose in named if dose > 0]
    return words.say("sorting.metals", what=", ".join(said)) if said else words.say("sorting.bare")


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
