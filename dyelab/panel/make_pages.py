"""Pages to hand out: choose one, see its sheets, save it as PDF or to share in a browser."""

from typing import Any

from dyelab import handout, shift, words
from dyelab.handout import colours
from dyelab.handout import page as parts
from dyelab.handout.sheets import CLOTH, KINDS, series
from dyelab.panel import book_choice, choices, frame

_OWN = ("paper", "title", "teacher", "text", "note", "logo", "address")
_PREVIEWED = 3


def panel(book: frame.BookChoice = None) -> frame.Panel:
    """Choose a page, see its sheets, save it.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the last one, else the example.
    """
    given: Any = {"refresh": _fit, "prepare": book_choice.source, "book": book}
    return frame.Panel("pages", "make_pages.title", _choose, _show, **given).save_first()


def _choose(source: colours.Source) -> dict[str, Any]:
    say = words.say
    made, codes = source.made, list(source.book.swatches["swatch"])
    kinds = choices.options("make_pages.", KINDS)
    both = shift.metals_of(made)
    listed = [(say("make_pages.every_series"), ""), *((n, n) for n in series.names(source))]
    dyed = made[made["dye"] != "none"] if made["dye"].ne("none").any() else made
    picks = {n: choices.pick(f"make_pages.{n}", choices.most_often(dyed, n)) for n in CLOTH}
    return {
        "kind": choices.pick("make_pages.kind", kinds),
        "metal": choices.pick("make_pages.metal", both),
        **picks,
        "swatch": choices.pick("make_pages.swatch", codes),
        "swatches": choices.pick_many(
            "make_pages.swatches", codes, codes[:5], rows=8, note=say("make_pages.many")
        ),
        "series": choices.pick("make_pages.one_series", listed),
        "full": choices.tick("make_pages.full"),
        "count": choices.number("make_pages.count", 5, low=1, high=30, whole=True),
        "upright": choices.tick("make_pages.upright"),
        "paper": choices.pick("make_pages.paper", [p for p in parts.PAPERS if p != "A6"]),
        "title": choices.text("make_pages.own_title", hint=say("make_pages.title_hint")),
        "teacher": choices.text("make_pages.teacher"),
        "text": choices.text("make_pages.text", long=True),
        "note": choices.text("make_pages.note"),
        "logo": choices.text("make_pages.logo"),
        "address": choices.text("make_pages.address"),
    }


def _fit(source: colours.Source, widgets: dict[str, Any]) -> None:
    """Show the choices this page asks for, each narrowed by those above it."""
    asked = KINDS[widgets["kind"].value].asks
    choices.only(widgets, ("kind", *_OWN, *asked))
    left = source.made[source.made["dye"] != "none"]
    if "metal" in asked and "dye" in asked:
        doses = left[f"{widgets['metal'].value}_wof"].fillna(0.0)
        left = left[doses > 0] if (doses > 0).any() else left
    choices.narrow(widgets, left, CLOTH)


def _show(source: colours.Source, kind: str, **chosen: Any) -> frame.Answer:
    own = {name: chosen[name] for name in _OWN}
    own["logo"] = handout.logo(own["logo"].strip())
    page = KINDS[kind].make(source, parts.Header(**own), chosen)
    sheets = handout.pictures(page)
    shown = [
        (words.say("make_pages.sheet", number=i, count=len(sheets)), sheet)
        for i, sheet in enumerate(sheets[:_PREVIEWED], 1)
    ]
    said = words.say("make_pages.ready", title=page.title, count=len(sheets), paper=page.paper)
    of_series = kind == "series"
    numbers = series.numbers(source, series=chosen["series"] or None) if of_series else None
    table = numbers[series.SHOWN] if numbers is not None else None
    more = [words.say("make_pages.more", shown=_PREVIEWED)] if len(sheets) > _PREVIEWED else []
    notes = [*page.aside, *more, words.say("make_pages.printers")]
    given: Any = {"pictures": shown, "page": page, "notes": notes, "numbers": numbers}
    return frame.Answer(said, table=table, **given)
