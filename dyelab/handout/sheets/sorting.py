"""Sorting cards, A6: the cloth and its chip in front, what it is on the back."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from dyelab import compare, shift, words
from dyelab.handout import colours, fastness_texts
from dyelab.handout import page as parts
from dyelab.handout.sheets.cards import make_frames

_ALIKE = 1.0  # of L*: nearer ones aren't put in order by eye (common practice, no source)


def cards(
    source: colours.Source, own: parts.Header = parts.Header(), *, swatches: Sequence[str]
) -> parts.Page:
    """Cards to sort by lightness, by guessed iron, by fastness, and then to turn over.

    Parameters
    ----------
    source : Source
    own : Header
        Its paper is passed over: a card is A6, front and back by turns.
    swatches : sequence of str
        Codes of the swatches.

    Raises
    ------
    InputError
        If the book has no such swatch.
    """
    chosen = source.check_swatches(swatches)
    held, frames = _say_held(source), make_frames(source, chosen)
    chosen = list(dict.fromkeys(chosen))
    one = {code for code in chosen if frames[code][0].patch.numbers}  # has one colour
    places = _places(source.leading_readings[source.leading_readings["swatch"].isin(one)])
    metals = _sorted_by(source.leading_readings[source.leading_readings["swatch"].isin(one)])
    lead = _lead(metals, any(code in held for code in chosen))
    if any(code in held for code in chosen):
        untested = [words.say("sorting.untested")]
        places = {code: [*places.get(code, []), *held.get(code, untested)] for code in chosen}
    made = [
        _card(str(number), frames[code][0], places.get(code, []), lead)
        for number, code in enumerate(chosen, 1)
    ]
    blocks: list[Any] = [parts.Text(lead, "lead", only="screen"), *made]
    small = replace(own, paper="A6")
    return source.page(small, words.say("sorting.title"), blocks, tight=True, bare=True)


def _lead(metals: list[str], tested: bool) -> str:
    """What to sort by: what the cards differ in, or what was tested."""
    orders = [words.say("sorting.by_light")]
    orders += [words.say("sorting.by_metal", metal=metal) for metal in metals]
    orders += [words.say("sorting.by_hold")] * tested
    return words.say("sorting.lead", orders=words.say("sorting.then").join(orders))


def _sorted_by(rows: pd.DataFrame) -> list[str]:
    """Metals whose doses are all known and differ."""
    doses = {metal: rows[column] for metal, column in shift.METALS.items()}
    return [metal for metal, own in doses.items() if own.notna().all() and own.nunique() > 1]


def _card(number: str, shown: parts.Frame, told: list[str], lead: str) -> parts.Card:
    return parts.Card(number, shown.patch, (*shown.lines[:1], *told), lead)


def _places(rows: pd.DataFrame) -> dict[str, list[str]]:
    """Where each card comes when they lie in the right order: by lightness, then by metals."""
    doses = rows.groupby("swatch")[list(shift.METALS.values())].first()
    if doses.empty:
        return {}
    found = compare.gather(rows, by="swatch", piece="reading")
    light = pd.Series(found.mean[:, 0], index=found.names).loc[doses.index]
    lines = [
        _say("light", -light, "shared", alike=_ALIKE),
        list(map(_metals, doses.to_dict("records"))),
    ]
    for metal in _sorted_by(rows):
        lines.append(_say("metal", doses[shift.METALS[metal]], "equal", metal=metal))
    return dict(zip(map(str, doses.index), map(list, zip(*lines, strict=True)), strict=True))


def _say(
    order: str, values: pd.Series, together: str, *, alike: float = 0.0, metal: str = ""
) -> list[str]:
    """Each card's place from least to most, or the places that cards alike share."""
    said = []
    for first, last in compare.rank_ranges(values.to_numpy(float), alike).tolist():
        key = "one" if first == last else together
        place = words.say(f"sorting.{key}", first=first, last=last, of=len(values))
        said.append(words.say(f"sorting.{order}", place=place, metal=metal))
    return said


def _metals(doses: dict[Any, Any]) -> str:
    said = ", ".join(colours.metal_labels(doses))
    return words.say("sorting.metals", what=said) if said else words.say("sorting.bare")


def _say_held(source: colours.Source) -> dict[str, list[str]]:
    """Grade of change after the hardest of each test, and what grades are, by swatch."""
    said: dict[str, list[str]] = {}
    if len(source.change_grades):
        for row in source.change_grades.drop_duplicates(["swatch", "area", "exposure"]).to_dict(
            "records"
        ):
            said.setdefault(str(row["swatch"]), []).append(_grade(row))
    return {code: [*lines, words.say("sorting.grades")] for code, lines in said.items()}


def _grade(row: dict[Any, Any]) -> str:
    area = "" if row["area"] == "whole" else f"{row['area']}: "
    return area + words.say("sorting.held", after=fastness_texts.after_what(row), grade=row["said"])
