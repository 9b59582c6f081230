"""Saving from a panel: table, figure and page, beside the notebook, never over another file."""

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from dyelab import files, handout, words
from dyelab.panel import book_choice, choices, html_parts, remember

FOLDER = html_parts.SAVED


def free_path(stem: str, suffix: str) -> Path:
    """Return a file name in the folder ``saved`` that nothing has yet."""
    folder = Path.cwd() / FOLDER
    safe = "".join(c if c.isalnum() or c in "-_" else "-" for c in stem)[:60].strip("-") or "dyelab"
    path, count = folder / f"{safe}{suffix}", 2
    while path.exists():
        path, count = folder / f"{safe}-{count}{suffix}", count + 1
    return path


def keep_upload(given: Any, kind: str) -> Path | None:
    """Keep a file that was uploaded beside the notebook; None where there is none.

    Another file of the same name, as phones are wont to give, gets a name of its own.

    Parameters
    ----------
    given : tuple
        The value of `choices.upload`.
    kind : str
        Folder within ``saved``.
    """
    if not given:
        return None
    content, named = bytes(given[0]["content"]), Path(_plain_name(str(given[0]["name"])))
    path, count = Path(FOLDER) / kind / named, 2
    while path.exists() and path.read_bytes() != content:
        path, count = path.with_name(f"{named.stem}-{count}{named.suffix}"), count + 1
    if not path.exists():
        files.write(path, content)
    return path


def _plain_name(name: str) -> str:
    """A file name that any system takes, whatever was uploaded: ``..``, nothing, 300 letters."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    stem, dot, ending = last.rpartition(".")
    kept = ["".join(c for c in part if c.isalnum() or c in "-_ ") for part in (stem, ending)]
    if not stem:
        kept = [kept[1], ""]
    stem = kept[0].strip()[:60] or "file"
    return f"{stem}.{kept[1][:8]}" if dot and kept[1] else stem


def fault(text: str) -> Path:
    """Keep the details of a fault where they can be found again."""
    path = remember.state_file("last-fault.txt")
    with suppress(OSError):  # nothing more can be done about a fault while reporting one
        files.write(path, text)
    return path


class Row(widgets.VBox):
    """The save buttons of a panel; only those that have something to save are shown."""

    def __init__(self, panel: Any) -> None:
        self._panel = panel
        self.buttons = {
            "table": self._button("frame.save_table", self._table),
            "svg": self._button("frame.save_svg", lambda: self._figure("svg")),
            "png": self._button("frame.save_png", lambda: self._figure("png")),
            "pdf": self._button("frame.save_pdf", lambda: self._page(".pdf")),
            "html": self._button("frame.save_html", self._share),
        }
        self.told = widgets.HTML().add_class("dl-saved")
        line = widgets.HBox(list(self.buttons.values())).add_class("dl-save")
        super().__init__([line, self.told])

    def _button(self, key: str, work: Callable[[], None]) -> widgets.Button:
        return choices.button(key, lambda: self._panel._guard(work))

    def fit(self, shown: Any) -> None:
        """Show the buttons that fit what is shown."""
        there = {
            "table": shown.table is not None,
            "svg": shown.figure is not None,
            "png": shown.figure is not None,
            "pdf": shown.page is not None,
            "html": shown.page is not None or shown.figure is not None,
        }
        for name, button in self.buttons.items():
            button.layout.display = "" if there[name] else "none"
        self.told.value = ""

    def _table(self) -> None:
        shown = self._panel.shown
        whole = shown.table if shown.numbers is None else shown.numbers
        self._tell(files.write_table(whole, self._named(".csv")))

    def _named(self, suffix: str, title: str = "") -> Path:
        book = book_choice.title(Path(getattr(self._panel.opened, "path", "")))
        return free_path(title or f"{self._panel.title} {book}", suffix)

    def _figure(self, form: str) -> None:
        def arrived(content: bytes) -> None:
            self._tell(files.write(self._named(f".{form}"), content))

        self.told.value = html_parts.sentence(words.say("frame.figure_wait"))
        height = int(self._panel.shown.plotly_figure.layout.height or 420)
        self._panel.canvas.picture(form, arrived, 900, height)

    def _page(self, suffix: str) -> None:
        made = self._panel.shown.page
        page = made() if callable(made) else made
        self._tell(handout.write(page, self._named(suffix, page.title)))

    def _share(self) -> None:
        if self._panel.shown.page is not None:
            return self._page(".html")
        shown = self._panel.shown
        said = (self._panel.title, shown.sentence, shown.plotly_figure, shown.table)
        page = handout.share_page(*said, tuple(shown.notes))
        return self._tell(handout.write(page, self._named(".html")))

    def _tell(self, path: Path) -> None:
        self.told.value = html_parts.outcome(words.say("frame.saved", path=path))
