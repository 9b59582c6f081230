"""The book's home: a wall of every swatch's window, what comes next, and the way to each page."""

from collections.abc import Iterable
from html import escape
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pandas as pd

from dyelab import files, plan, words
from dyelab.book import Book
from dyelab.panel import frame, save
from dyelab.plot import style
from dyelab.table import LAB

_RECENT = 6
PAGES = {
    "plan": "1_plan.ipynb",
    "capture": "2_capture.ipynb",
    "compare": "3_compare.ipynb",
    "metals": "4_metals.ipynb",
    "fastness": "5_fastness.ipynb",
    "explore": "6_explore.ipynb",
    "pages": "7_make_pages.ipynb",
    "guess": "9_guess.ipynb",
    "lesson": "8_lesson_controls.ipynb",
    "glossary": "9_words_explained.ipynb",
}


_LEADS = dict.fromkeys(("bath", "tick"), f"{PAGES['plan']}#record")
_LEADS |= {"measure": PAGES["capture"]}
_LEADS |= dict.fromkeys(("wash", "test"), PAGES["fastness"])


class Home(frame.Panel):
    """The panel that shows the whole book and leads everywhere."""

    def __init__(self, book: frame.BookChoice = None) -> None:
        super().__init__("home", "home.title", lambda _: {}, _show, remember="session", book=book)
        self.add_class("dl-start")

    def _display(self, shown: frame.Answer) -> None:
        super()._display(shown)
        if self.opened is None or not self._side.children:
            return
        self.patches.value = _next(self.book) + wall(plan.stages(self.book))
        self.below.value += _doors() + _recent()


def panel(book: frame.BookChoice = None) -> Home:
    """Show the book as a wall of windows, with what comes next.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the last one, else the example.
    """
    return Home(book)


def _show(book: Book) -> frame.Answer:
    counts = plan.stages(book)["stage"].value_counts()
    total = len(book.swatches)
    if not total:
        return frame.Answer(words.say("home.empty", book=book.title))
    read = int(counts.get("measured", 0) + counts.get("tested", 0))
    key = "sentence_all" if read == total else "sentence"
    said = words.say(f"home.{key}", book=book.title, swatches=total, read=read)
    faults = [words.say("home.faults", count=len(book.faults))] if len(book.faults) else []
    return frame.Answer(said, notes=faults)


def _next(book: Book) -> str:
    entries = [_entry(one) for one in plan.next_tasks(book)]
    if not entries:
        first = "plan" if book.swatches.empty else "compare"
        entries = [(PAGES[first], words.say(f"home.first_{first}"), "")]
    return links("home.next", entries)


def _entry(one: plan.Task) -> tuple[str, str, str]:
    text = words.say(f"home.next_{one.what}", count=one.swatches, **dict(one.facts))
    return _LEADS[one.what], text, one.series


def _doors() -> str:
    entries = [(page, words.say(f"home.to_{name}"), "") for name, page in PAGES.items()]
    title = escape(words.say("home.doors"), quote=True)
    return f'<nav class="dl-doors" aria-label="{title}">{links("home.doors", entries)}</nav>'


def _recent() -> str:
    """Pages that were saved beside the notebooks, the newest first."""
    folder = Path.cwd() / save.FOLDER
    kept = [p for p in folder.glob("*") if p.suffix in (".pdf", ".html") and p.is_file()]
    newest = sorted(kept, key=files.stamp, reverse=True)[:_RECENT]
    if not newest:
        return ""
    entries = [(f"../files/{save.FOLDER}/{quote(path.name)}", path.name, "") for path in newest]
    return links("home.recent", entries)


def wall(rows: pd.DataFrame) -> str:
    """Every series as a row of windows, in one piece of HTML.

    Parameters
    ----------
    rows : DataFrame
        What `plan.stages` gives.
    """
    after = rows[[f"{name}_after" for name in LAB]].set_axis(LAB, axis=1)
    after = after.assign(illuminant=rows["illuminant"], observer=rows["observer"])
    rows = rows.assign(fill=style.screen(rows)[0], fill_after=style.screen(after)[0])
    groups = rows.groupby("series", sort=False)
    shown = "".join(_series(str(name), part) for name, part in groups)
    return shown and shown + _key()


def _series(name: str, part: pd.DataFrame) -> str:
    counts = part["stage"].value_counts()
    there = [stage for stage in plan.STAGES if stage in counts]
    told = ", ".join(words.say(f"home.count_{stage}", count=counts[stage]) for stage in there)
    shown = escape(name or words.say("home.no_series"))
    windows = "".join(_window(row) for row in part.to_dict("records"))
    return (
        f'<section class="dl-series"><h3>{shown}</h3><p>{escape(told)}</p>'
        f'<div class="dl-wall" role="img" aria-label="{escape(f"{name}: {told}", quote=True)}">'
        f"{windows}</div></section>"
    )


def _window(row: dict[Any, Any]) -> str:
    """One window: staples alone while planned, hatched when dyed, then its colours."""
    stage = words.say(f"home.stage_{row['stage']}")
    title = f"{row['swatch']}: {stage}"
    fill, after = row["fill"], row["fill_after"]
    paint = f"linear-gradient({fill} 62%,{after} 62%)" if after else fill
    style_ = f' style="background:{escape(paint, quote=True)}"' if fill else ""
    return f'<i class="dl-w dl-{row["stage"]}" title="{escape(title, quote=True)}"{style_}></i>'


def _key() -> str:
    keys = "".join(
        f'<li><i class="dl-w dl-{stage} dl-sample"></i>'
        f"{escape(words.say(f'home.stage_{stage}'))}</li>"
        for stage in plan.STAGES
    )
    return f'<ul class="dl-key">{keys}</ul>'


def links(key: str, entries: Iterable[tuple[str, str, str]]) -> str:
    """A heading over presses that lead: (a notebook or file, what is said, a second line)."""
    items = "".join(
        f'<li><a class="dl-to" href="{escape(page, quote=True)}">{escape(text)}</a>'
        + (f"<small>{escape(more)}</small>" if more else "")
        + "</li>"
        for page, text, more in entries
    )
    return f'<h3>{escape(words.say(key))}</h3><ul class="dl-next">{items}</ul>'
