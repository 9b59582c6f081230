"""The book's home: how far every swatch has come, what comes next, and the way to each page."""

from pathlib import Path
from typing import Any
from urllib.parse import quote

from dyelab import plan, words
from dyelab.book import Book
from dyelab.panel import frame, html_parts, save, wall

_RECENT = 6
_LEADS = {
    "bath": "1_plan.ipynb",
    "measure": "2_capture.ipynb",
    "wash": "5_fastness.ipynb",
    "test": "5_fastness.ipynb",
}
PAGES = {
    "plan": "1_plan.ipynb",
    "capture": "2_capture.ipynb",
    "compare": "3_compare.ipynb",
    "metals": "4_iron_and_copper.ipynb",
    "fastness": "5_fastness.ipynb",
    "explore": "6_explore.ipynb",
    "pages": "7_make_pages.ipynb",
    "guess": "9_guess.ipynb",
    "lesson": "8_lesson_controls.ipynb",
}


class Home(frame.Panel):
    """The panel that shows the whole book and leads everywhere."""

    def __init__(self, book: frame.Chosen = None) -> None:
        title = words.say("home.title")
        super().__init__("home", title, _choose, _show, remember="session", book=book)
        self.add_class("dl-start")

    def _display(self, shown: frame.Shown) -> None:
        super()._display(shown)
        if self.opened is None or not self._side.children:
            return
        self.patches.value = _next(self.book) + wall.wall(plan.standing(self.book))
        self.below.value += _doors() + _recent()


def panel(book: frame.Chosen = None) -> Home:
    """Show the book as a wall of windows, with what comes next.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the example.
    """
    return Home(book)


def _choose(_book: Book) -> dict[str, Any]:
    return {}


def _show(book: Book) -> frame.Shown:
    counts = plan.standing(book)["stage"].value_counts()
    total = len(book.swatches)
    if not total:
        return frame.Shown(words.say("home.empty", book=book.title))
    read = int(counts.get("measured", 0) + counts.get("tested", 0))
    said = words.say("home.sentence", book=book.title, swatches=total, read=read)
    faults = [words.say("home.faults", count=len(book.faults))] if len(book.faults) else []
    return frame.Shown(said, notes=faults)


def _next(book: Book) -> str:
    entries = [_entry(one) for one in plan.coming(book)]
    if not entries:
        first = "plan" if book.swatches.empty else "metals"
        entries = [(PAGES[first], words.say(f"home.first_{first}"), "")]
    return f"<h3>{html_parts.escape(words.say('home.next'))}</h3>{wall.links(entries)}"


def _entry(one: plan.Coming) -> tuple[str, str, str]:
    key = f"home.next_{one.what}"
    one_only = one.swatches == 1 and words.there(f"{key}_one")
    text = words.say(f"{key}_one" if one_only else key, count=one.swatches, **dict(one.facts))
    return _LEADS[one.what], text, one.series


def _doors() -> str:
    entries = [(page, words.say(f"home.to_{name}"), "") for name, page in PAGES.items()]
    title = html_parts.escape(words.say("home.doors"))
    return f'<nav class="dl-doors" aria-label="{title}"><h3>{title}</h3>{wall.links(entries)}</nav>'


def _recent() -> str:
    """Pages that were saved beside the notebooks, the newest first."""
    folder = Path.cwd() / save.FOLDER
    kept = [p for p in folder.glob("*") if p.suffix in (".pdf", ".html") and p.is_file()]
    newest = sorted(kept, key=lambda path: path.stat().st_mtime, reverse=True)[:_RECENT]
    if not newest:
        return ""
    entries = [(f"../files/{save.FOLDER}/{quote(path.name)}", path.name, "") for path in newest]
    title = html_parts.escape(words.say("home.recent"))
    return f"<h3>{title}</h3>{wall.links(entries)}"
