"""Sorting cards, A6: the cloth and its chip in front, what it is on the back."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from dyelab import book, grade, shift, words
from dyelab.errors import InputError
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
    rows = source.leading.drop_duplicates("swatch").set_index("swatch").to_dict("index")
    made = [
        _card(str(number), framed[code][0], rows.get(code), held.get(code, []))
        for number, code in enumerate(chosen, 1)
    ]
    blocks: list[Any] = [parts.Text(words.say("sorting.lead"), only="screen"), *made]
    page = own.page(words.say("sorting.title"), blocks, white=source.white, how=source.how)
    return replace(page, paper="A6", tight=True, bare=True)


def _card(
    number: str, shown: parts.Frame, row: dict[Any, Any] | None, held: list[str]
) -> parts.Card:
    metals = [_metals(row)] if row else []
    lines = (*shown.lines[:1], *metals, *held)
    return parts.Card(number, shown.patch, lines, words.say("sorting.lead"))


def _metals(row: dict[Any, Any]) -> str:
    doses = {name: row.get(column) or 0.0 for name, column in shift.METALS.items()}
    said = [shift.dosed(name, dose) for name, dose in doses.items() if dose > 0]
    return words.say("sorting.metals", what=", ".join(said) or words.say("pages.no_salt"))


def _held(source: colours.Source) -> dict[str, list[str]]:
    """Grade of change after the hardest of each test, by swatch."""
    try:
        graded = grade.grades(grade.matched(book.wide(source.book)), shared=source.shared)
    except InputError:  # a book need not have been washed or lit
        return {}
    change = graded[graded["kind"] == "change"]
    last = change[change["amount"] == change.groupby("exposure")["amount"].transform("max")]
    said: dict[str, list[str]] = {}
    for row in last.drop_duplicates(["swatch", "area", "exposure"]).to_dict("records"):
        said.setdefault(str(row["swatch"]), []).append(_grade(row))
    return said


def _grade(row: dict[Any, Any]) -> str:
    after = findings.when(row) if row["exposure"] in ("wash", "light") else str(row["exposure"])
    area = "" if row["area"] == "whole" else f"{row['area']}: "
    return area + words.say("sorting.held", after=after, grade=row["said"])
