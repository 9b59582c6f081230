"""The choice of a swatch book: the example, one seen before, one beside the notebook, or a path."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from dyelab import files, table, words
from dyelab.book import Book
from dyelab.errors import InputError
from dyelab.panel import choices, remember
from dyelab.panel.typed_path import typed

_OTHER = ""


def example() -> Path:
    """Folder of the example book."""
    return files.shipped("data", "marlpit_yard")


def is_example(book: Book) -> bool:
    """Whether this is the book that ships with dyelab, which nothing may change."""
    return Path(book.path).resolve() == example().resolve()


def own(book: Book, refusal: str = "frame.example_kept", **values: Any) -> Any:
    """Return a book of the user's own; the example is refused, with what to do instead.

    Raises
    ------
    InputError
    """
    if is_example(book):
        raise InputError(words.say(refusal, **values))
    return book


def opened(path: Path) -> Any:
    """Open a book; the example is one like any other."""
    from dyelab import book

    return book.open(path)


def whites() -> list[tuple[str, str]]:
    """Whites that a new book may have, the usual one first."""
    return [(words.say(f"frame.white_{i}_{o}"), table.white_text((i, o))) for i, o in table.WHITES]


def title(path: Path) -> str:
    """The book's own title, else the name of its folder."""
    try:
        told = json.loads((path / "datapackage.json").read_text(encoding="utf-8")).get("title")
    except (OSError, ValueError, AttributeError):
        told = None
    return str(told or path.name)


def found() -> list[Path]:
    """Books to offer: the session's own, those beside the notebook, those seen before."""
    started = remember.start()
    beside = sorted(p.parent for p in Path.cwd().glob("*/datapackage.json"))
    listed = [*([started] if started else []), *beside, *remember.books()]
    return list(dict.fromkeys(path.expanduser().resolve() for path in listed))


class Shelf(widgets.VBox):
    """One control that says which book a panel works on; `chosen` is called with its folder."""

    def __init__(self, chosen: Callable[[Path], None]) -> None:
        self._chosen = chosen
        self._books = found()
        self.list = choices.pick(words.say("frame.book"), self._options(), self._first())
        self.folder = choices.text(words.say("frame.folder"), hint=words.say("frame.folder_hint"))
        self.folder.layout.display = "none"
        super().__init__([self.list, self.folder])
        self.add_class("dl-shelf")
        self.list.observe(self._picked, "value")
        self.folder.observe(self._typed, "value")

    @property
    def path(self) -> Path:
        """Folder of the book in use."""
        return Path(self.list.value) if self.list.value else example()

    def choose(self, path: Path) -> None:
        """Put a folder on the shelf and take it down."""
        path = path.expanduser().resolve()
        if path != example().resolve() and path not in self._books:
            self._books = [path, *self._books]
            self.list.options = self._options()
        self.list.value = str(path)

    def _options(self) -> list[tuple[str, str]]:
        ready = example().resolve()
        named = [(words.say("frame.example"), str(ready))]
        named += [(title(path), str(path)) for path in self._books if path != ready]
        return [*_told_apart(named), (words.say("frame.other"), _OTHER)]

    def _first(self) -> str:
        started = remember.start()
        return str((started or example()).expanduser().resolve())

    def _picked(self, change: dict) -> None:
        self.folder.layout.display = "none" if change["new"] else ""
        if change["new"]:
            self._chosen(Path(change["new"]))

    def _typed(self, change: dict) -> None:
        wanted = change["new"].strip().strip("\"'")
        if not wanted:
            return
        try:
            path = typed(wanted)
        except InputError:
            path = Path(Path(wanted).name)  # in the desk folder; the panel says what is wrong
        if (path / "datapackage.json").is_file():
            self.choose(path)
        else:
            self._chosen(path)  # lets the panel say what is wrong with it


def _told_apart(named: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """Books of the same title also show their folder, so that no two options look alike."""
    titles = [name for name, _ in named]
    return [
        (f"{name} ({Path(path).name})" if titles.count(name) > 1 else name, path)
        for name, path in named
    ]


def missing(path: Path) -> InputError:
    """What to say about a folder that is no swatch book."""
    return InputError(words.say("frame.no_book", path=path))
