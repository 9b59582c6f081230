"""The choice of a swatch book, a path that somebody types, and the recipes of the book chosen."""

import os
from collections.abc import Callable
from functools import lru_cache
from itertools import count
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from dyelab import book as books
from dyelab import files, table, words
from dyelab.book import Book
from dyelab.errors import InputError
from dyelab.handout import colours
from dyelab.panel import choices, remember

_OTHER = ""


def example() -> Path:
    """Folder of the example book."""
    return files.shipped_path("data", "marlpit_yard")


def first() -> Path:
    """Folder of the book to open on: the session's, else the last one, else the example."""
    path = remember.start() or next(iter(remember.books()), example())
    return path.expanduser().resolve()


def example_photo() -> Path:
    """Return the rendered photo that a panel starts with."""
    return files.shipped_path("data", "studio", "photos", "rendered_card_W01_W24.jpg")


def is_example(book: Book) -> bool:
    """Whether this is the book that ships with dyelab, which nothing may change."""
    return Path(book.path).resolve() == example().resolve()


def free(book: Book, letter: str) -> str:
    """Return a code that no swatch of the book has, such as ``P-01``."""
    taken = set(book.swatches["swatch"])
    return next(code for n in count(1) if (code := f"{letter}-{n:02d}") not in taken)


def own(book: Book, refusal: str = "frame.example_kept", **values: Any) -> Book:
    """Return a book of the user's own; the example is refused, with what to do instead.

    Raises
    ------
    InputError
    """
    if is_example(book):
        raise InputError(words.say(refusal, **values))
    return book


def open_book(path: Path) -> Book:
    """Open a book; the example is one like any other. The last one is kept until it changes."""
    return _open(path.resolve(), stamp(path))


@lru_cache(1)
def _open(path: Path, _stamp: tuple[int, ...]) -> Book:
    return books.open(path)


def stamp(path: Any) -> tuple[int, ...]:
    """What changes when anybody writes a book's tables, or mends what was set aside."""
    folder = Path(path)
    found = [folder / name for name in ("datapackage.json", "history")]
    found += [*folder.glob("*.csv"), *folder.glob("set_aside/*.csv")]
    return tuple(n for one in sorted(found) for n in files.stamp(one))


def whites() -> list[tuple[str, str]]:
    """Whites that a new book may have, the usual one first."""
    return [(words.say(f"frame.white_{i}_{o}"), table.white_text((i, o))) for i, o in table.WHITES]


def title(path: Path) -> str:
    """The book's own title, else the name of its folder."""
    return str(files.json_kept(path / "datapackage.json").get("title") or path.name)


def find_books() -> list[Path]:
    """Books to offer: the session's own, those beside the notebook, those seen before."""
    started = remember.start()
    beside = sorted(p.parent for p in Path.cwd().glob("*/datapackage.json"))
    listed = [*([started] if started else []), *beside, *remember.books()]
    return list(dict.fromkeys(path.expanduser().resolve() for path in listed))


class Shelf(widgets.VBox):
    """One control that says which book a panel works on; `chosen` is called with its folder."""

    def __init__(self, chosen: Callable[[Path], None]) -> None:
        self._chosen = chosen
        self._books = find_books()
        self.list = choices.pick("frame.book", self._options(), str(first()))
        self.folder = choices.text("frame.folder")
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

    def _picked(self, change: dict) -> None:
        self.folder.layout.display = "none" if change["new"] else ""
        if change["new"]:
            self._chosen(Path(change["new"]))

    def _typed(self, change: dict) -> None:
        wanted = change["new"].strip().strip("\"'")
        if not wanted:
            return
        try:
            path = typed_path(wanted)
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


def no_book(path: Path) -> InputError:
    """What to say about a folder that is no swatch book."""
    return InputError(words.say("frame.no_book", path=path))


def typed_path(text: str) -> Path:
    """Return the path that was typed.

    Raises
    ------
    InputError
        In the served panels, if it leads out of the desk folder, the book and the example. In
        JupyterLab whoever types can read every file anyway.
    """
    path = Path(text.strip().strip("\"'")).expanduser()
    desk = os.environ.get("DYELAB_DESK")
    if desk:
        book = os.environ.get("DYELAB_BOOK") or desk
        roots = (Path(root).resolve() for root in (desk, book, files.shipped_path("data")))
        try:
            inside = any(path.resolve().is_relative_to(root) for root in roots)
        except (OSError, RuntimeError, ValueError):
            inside = False
        if not inside:
            raise InputError(words.say("frame.outside_desk", desk=Path(desk).name))
    return path


@lru_cache(1)
def source(book: Book) -> colours.Source:
    """What pages and panels take from an open book, with what was asked of it."""
    return colours.source(book)
