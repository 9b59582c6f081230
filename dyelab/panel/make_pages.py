"""Pages to hand out: choose one, see its sheets, save it as PDF or to share in a browser."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pandas as pd

from dyelab import shift, words
from dyelab.errors import InputError
from dyelab.handout import (
    fastness,
    metal_page,
    mordant_sheet,
    recipe_cards,
    report,
    series_page,
    variants,
    worksheet,
)
from dyelab.handout import page as parts
from dyelab.panel import choices, frame

_CLOTH = ("fibre", "dye", "tannin", "mordant")
_OWN = ("paper", "title", "teacher", "text", "note", "logo")
_PREVIEWED = 3


@dataclass(frozen=True)
class _Kind:
    """A kind of page: what makes it, and which choices it asks for."""

    make: Callable[..., parts.Page]
    asks: tuple[str, ...]


def _mordants(source: variants.Source, own: parts.Own, chosen: dict[str, Any]) -> parts.Page:
    return mordant_sheet.sheet(source, own, fibre=chosen["fibre"], dye=chosen["dye"])


def _metals(source: variants.Source, own: parts.Own, chosen: dict[str, Any]) -> parts.Page:
    picked = {name: chosen[name] for name in _CLOTH}
    return metal_page.sheet(source, own, metal=chosen["metal"], **picked)


def _card(source: variants.Source, own: parts.Own, chosen: dict[str, Any]) -> parts.Page:
    return recipe_cards.card(source, own, swatch=chosen["swatch"])


def _worksheet(source: variants.Source, own: parts.Own, chosen: dict[str, Any]) -> parts.Page:
    return worksheet.worksheet(source, own, metal=chosen["metal"], count=int(chosen["count"]))


def _samples(source: variants.Source, own: parts.Own, chosen: dict[str, Any]) -> parts.Page:
    if not chosen["swatches"]:
        raise InputError(words.say("make_pages.no_swatches"))
    return recipe_cards.samples(source, own, swatches=chosen["swatches"])


def _wall(source: variants.Source, own: parts.Own, chosen: dict[str, Any]) -> parts.Page:
    return worksheet.wall(source, own, fibre=chosen["fibre"], upright=chosen["upright"])


def _series(source: variants.Source, own: parts.Own, chosen: dict[str, Any]) -> parts.Page:
    return series_page.shared(source, own, series=chosen["series"] or None)


def _report(source: variants.Source, own: parts.Own, chosen: dict[str, Any]) -> parts.Page:
    return report.report(source.book, own)


def _fastness(source: variants.Source, own: parts.Own, chosen: dict[str, Any]) -> parts.Page:
    return fastness.sheet(source.book, own, series=chosen["series"] or None)


KINDS = {
    "mordants": _Kind(_mordants, ("fibre", "dye")),
    "metals": _Kind(_metals, ("metal", *_CLOTH)),
    "fastness": _Kind(_fastness, ("series",)),
    "card": _Kind(_card, ("swatch",)),
    "worksheet": _Kind(_worksheet, ("metal", "count")),
    "samples": _Kind(_samples, ("swatches",)),
    "wall": _Kind(_wall, ("fibre", "upright")),
    "series": _Kind(_series, ("series",)),
    "report": _Kind(_report, ()),
}


def panel(book: Any = None) -> frame.Panel:
    """Choose a page, see its sheets, save it.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the example.
    """
    title = words.say("make_pages.title")
    return frame.Panel(
        "pages", title, _choose, _show, refresh=_fit, prepare=variants.source, book=book
    )


def _choose(source: variants.Source) -> dict[str, Any]:
    say = words.say
    made, codes = source.made, list(source.book.swatches["swatch"])
    kinds = [(say(f"make_pages.{name}"), name) for name in KINDS]
    both = shift.metals_of(made)
    listed = [(say("make_pages.every_series"), ""), *((n, n) for n in series_page.names(source))]
    picks = {n: choices.pick(say(f"make_pages.{n}"), _kinds(made, n)) for n in _CLOTH}
    return {
        "kind": choices.pick(say("make_pages.kind"), kinds),
        "metal": choices.pick(say("make_pages.metal"), both),
        **picks,
        "swatch": choices.pick(say("make_pages.swatch"), codes),
        "swatches": choices.pick_many(
            say("make_pages.swatches"), codes, codes[:5], rows=8, note=say("make_pages.many")
        ),
        "series": choices.pick(say("make_pages.one_series"), listed),
        "count": choices.number(say("make_pages.count"), 5, low=1, high=30, unit=""),
        "upright": choices.tick(say("make_pages.upright")),
        "paper": choices.pick(say("make_pages.paper"), parts.PAPERS),
        "title": choices.text(say("make_pages.own_title"), hint=say("make_pages.title_hint")),
        "teacher": choices.text(say("make_pages.teacher"), hint=say("make_pages.teacher_hint")),
        "text": choices.text(say("make_pages.text"), long=True),
        "note": choices.text(say("make_pages.note"), hint=say("make_pages.note_hint")),
        "logo": choices.text(say("make_pages.logo"), hint=say("make_pages.logo_hint")),
    }


def _kinds(made: pd.DataFrame, name: str) -> list[str]:
    """What was dyed, the most often dyed first."""
    dyed = made[made["dye"] != "none"]
    return list((dyed if len(dyed) else made)[name].value_counts().index)


def _fit(source: variants.Source, widgets: dict[str, Any]) -> None:
    """Show the choices this page asks for, each narrowed by those above it."""
    asked = KINDS[widgets["kind"].value].asks
    for name, widget in widgets.items():
        widget.layout.display = None if name in ("kind", *_OWN, *asked) else "none"
    left = source.made[source.made["dye"] != "none"]
    if widgets["kind"].value == "metals":
        doses = left[f"{widgets['metal'].value}_wof"].fillna(0.0)
        left = left[doses > 0] if (doses > 0).any() else left
    for name in _CLOTH:
        choices.set_options(widgets[name], list(left[name].value_counts().index))
        left = left[left[name] == widgets[name].value]


def _show(source: variants.Source, kind: str, **chosen: Any) -> frame.Shown:
    from dyelab import handout

    own = parts.Own(
        chosen["title"],
        chosen["teacher"],
        chosen["text"],
        chosen["note"],
        handout.logo(chosen["logo"].strip()),
        chosen["paper"],
    )
    page = KINDS[kind].make(source, own, chosen)
    sheets = handout.sheets(page)
    shown = [
        (words.say("make_pages.sheet", number=i, count=len(sheets)), sheet)
        for i, sheet in enumerate(sheets[:_PREVIEWED], 1)
    ]
    said = words.say("make_pages.ready", title=page.title, count=len(sheets), paper=page.paper)
    table = (
        series_page.numbers(source, series=chosen["series"] or None) if kind == "series" else None
    )
    more = [words.say("make_pages.more", shown=_PREVIEWED)] if len(sheets) > _PREVIEWED else []
    notes = [*more, words.say("make_pages.printers")]
    return frame.Shown(said, table=table, pictures=shown, page=page, notes=notes)
