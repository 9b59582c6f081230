"""The kinds of page there are: what makes each, and what it asks for."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from dyelab import words
from dyelab.errors import InputError
from dyelab.handout import fastness
from dyelab.handout import page as parts
from dyelab.handout.colours import Source
from dyelab.handout.sheets import (
    metal,
    mordants,
    recipe_cards,
    report,
    saddening,
    series,
    sorting,
    wall,
    worksheet,
)

CLOTH = ("fibre", "dye", "tannin", "mordant")


@dataclass(frozen=True)
class Kind:
    """A kind of page.

    Attributes
    ----------
    make : callable
        ``make(source, own, chosen)``, with what was chosen by name.
    asks : tuple of str
        The choices it asks for.
    """

    make: Callable[[Source, parts.Own, dict[str, Any]], parts.Page]
    asks: tuple[str, ...]


def _mordants(source: Source, own: parts.Own, chosen: dict[str, Any]) -> parts.Page:
    return mordants.sheet(source, own, fibre=chosen["fibre"], dye=chosen["dye"])


def _metals(source: Source, own: parts.Own, chosen: dict[str, Any]) -> parts.Page:
    picked = {name: chosen[name] for name in CLOTH}
    return metal.sheet(source, own, metal=chosen["metal"], **picked)


def _card(source: Source, own: parts.Own, chosen: dict[str, Any]) -> parts.Page:
    return recipe_cards.card(source, own, swatch=chosen["swatch"])


def _worksheet(source: Source, own: parts.Own, chosen: dict[str, Any]) -> parts.Page:
    return worksheet.worksheet(source, own, metal=chosen["metal"], count=int(chosen["count"]))


def _samples(source: Source, own: parts.Own, chosen: dict[str, Any]) -> parts.Page:
    if not chosen["swatches"]:
        raise InputError(words.say("make_pages.no_swatches"))
    return recipe_cards.samples(source, own, swatches=chosen["swatches"])


def _sorting(source: Source, own: parts.Own, chosen: dict[str, Any]) -> parts.Page:
    if not chosen["swatches"]:
        raise InputError(words.say("make_pages.no_swatches"))
    return sorting.cards(source, own, swatches=chosen["swatches"])


def _wall(source: Source, own: parts.Own, chosen: dict[str, Any]) -> parts.Page:
    return wall.chart(source, own, fibre=chosen["fibre"], upright=chosen["upright"])


def _strip(source: Source, own: parts.Own, chosen: dict[str, Any]) -> parts.Page:
    picked = {name: chosen[name] for name in CLOTH}
    return saddening.strip(source, own, metal=chosen["metal"], **picked)


def _series(source: Source, own: parts.Own, chosen: dict[str, Any]) -> parts.Page:
    return series.shared(source, own, series=chosen["series"] or None)


def _report(source: Source, own: parts.Own, chosen: dict[str, Any]) -> parts.Page:
    return report.report(source.book, own)


def _fastness(source: Source, own: parts.Own, chosen: dict[str, Any]) -> parts.Page:
    return fastness.sheet(source.book, own, series=chosen["series"] or None)


KINDS = {
    "mordants": Kind(_mordants, ("fibre", "dye")),
    "metals": Kind(_metals, ("metal", *CLOTH)),
    "strip": Kind(_strip, ("metal", *CLOTH)),
    "fastness": Kind(_fastness, ("series",)),
    "card": Kind(_card, ("swatch",)),
    "worksheet": Kind(_worksheet, ("metal", "count")),
    "samples": Kind(_samples, ("swatches",)),
    "sorting": Kind(_sorting, ("swatches",)),
    "wall": Kind(_wall, ("fibre", "upright")),
    "series": Kind(_series, ("series",)),
    "report": Kind(_report, ()),
}
