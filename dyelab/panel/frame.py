"""The one look all panels share: choices, answer sentence, figure, table, save, in that order.

A panel is a function that makes its choices for a book, and a function that turns a book and
the values chosen into `Answer`. The frame does the rest.
"""

import inspect
import traceback
import weakref
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import ipywidgets as widgets
import pandas as pd
import plotly.graph_objects as go

from dyelab import book as books
from dyelab import numerics, words
from dyelab.book import Book
from dyelab.errors import InputError
from dyelab.panel import book_choice, choices, html_parts, remember, save
from dyelab.panel.html_parts import Chip
from dyelab.panel.widgets import Canvas, Dress

__all__ = ["Answer", "BookChoice", "Chip", "Panel"]

BookChoice = Book | str | Path | None  # what a panel opens with; without, the session's book
_AT_HOME = ("home", "materials")  # panels of the home page itself
_on_show: weakref.WeakSet["Panel"] = weakref.WeakSet()  # what a user sees in this notebook


@dataclass(frozen=True)
class Answer:
    """What a panel shows: the answer first, then what it rests on.

    Parameters
    ----------
    sentence : str
        The answer in a sentence or two. It is also what a screen reader says of the figure.
    figure : Figure, or its plain data, optional
        Plain data is quick, where a figure follows a slider.
    table : DataFrame, optional
        Columns are headed by ``words.heading``.
    numbers : DataFrame, optional
        What is saved in the table's place, where a screen has no room for every column.
    chips : sequence of Chip or of sequences of Chip
        A sequence within is shown edge to edge, where the eye compares best.
    notes : sequence of str
        What limits this answer.
    pictures : sequence of (caption, PNG bytes)
    page : handout page, or a function that makes it, optional
        Offered as PDF and HTML.
    care : sequence of str
        What can hurt in the baths this is about: hazards, doses, gloves; that the sheet decides.
    """

    sentence: str
    figure: go.Figure | dict[str, Any] | None = None
    table: pd.DataFrame | None = None
    chips: Sequence[Chip | Sequence[Chip]] = ()
    notes: Sequence[str] = ()
    pictures: Sequence[tuple[str, bytes]] = ()
    page: Any = None
    numbers: pd.DataFrame | None = None
    care: Sequence[str] = ()

    @property
    def plotly_figure(self) -> go.Figure | None:
        """The figure as Plotly's own, whichever way it was given."""
        return go.Figure(self.figure) if isinstance(self.figure, dict) else self.figure


class Panel(widgets.VBox):
    """A panel in the house frame.

    Parameters
    ----------
    name : str
        Short name, for remembered choices and saved files, such as ``"iron"``.
    title : str
        Heading: the key of its words, or a text.
    choose : callable
        ``choose(book) -> dict of name to widget`` made with `panel.choices`.
    show : callable
        ``show(book, **values) -> Answer``. Raise `InputError` where there is nothing to show: its
        message stands in the answer's place. With a parameter ``progress`` it is given
        ``progress(fraction, text)`` to call as it goes.
    refresh : callable, optional
        ``refresh(book, widgets)``, called before `show` to fit choices that depend on others.
    heading : callable, optional
        ``heading(book) -> str``, a heading that follows the book; `title` stands until then.
    prepare : callable, optional
        ``prepare(book)``, called once for each book; what it returns is handed to the other
        functions in the book's place, so that a moved slider doesn't read the book again.
    button : str, optional
        Text of a button; `show` then waits for it, for work over a second.
    actions : dict of str to callable, optional
        Buttons below those that save, by the key of their words: ``work(panel) -> str`` does
        what one says, and returns what is told of it. With a choice `task`, a button says the
        words of its key with ``_`` and the task behind, where there are such.
    main : bool, optional
        Whether the first of them is what the panel is for; they then follow the answer.
    beside : sequence of Widget, optional
        What those buttons ask for, in their row.
    remember : {"days", "session", "never"}, optional
        How long values stay chosen: not beyond the session where yesterday's must not be
        today's, as in a record of work; never where they would stand for another entry.
    seldom : sequence of str, optional
        Names of choices that stand behind a press, unless one of them was changed before.
    book : Book or path, optional
        Else the one the session was opened with, else the last one, else the example.
    """

    def __init__(
        self,
        name: str,
        title: str,
        choose: Callable[[Any], dict[str, Any]],
        show: Callable[..., Answer],
        *,
        refresh: Callable[[Any, dict[str, Any]], None] | None = None,
        heading: Callable[[Any], str] | None = None,
        prepare: Callable[[Any], Any] | None = None,
        button: str = "",
        actions: Mapping[str, Callable[[Any], str]] | None = None,
        main: bool = False,
        beside: Sequence[widgets.Widget] = (),
        remember: str = "days",
        seldom: Sequence[str] = (),
        book: BookChoice = None,
    ) -> None:
        self.name, self.title, self._remember = name, choices.text_of(title), remember
        self._seldom = seldom
        self._choose, self._show, self._refresh, self._heading = choose, show, refresh, heading
        self._prepare = prepare or (lambda opened: opened)
        self.opened: Book | None = None
        self.ready: Any = None
        self.choices: dict[str, Any] = {}
        self.shown: Answer | None = None
        self._quiet = self._led = False
        self._shut = True  # while there is nothing to choose from
        self._stamp: tuple[int, ...] = ()
        self._parts(button)
        self.add_class("dyelab")
        self.actions = {
            key: choices.button(key, partial(self.tell, partial(work, self)))
            for key, work in (actions or {}).items()
        }
        if self.actions:
            self.under(*self.actions.values(), *beside, first=main)
            next(iter(self.actions.values())).add_class("dl-main-button" if main else "dl-button")
        if isinstance(book, Book):
            self._take(book.path, book)
        else:
            self._take(None if book is None else Path(book))

    @property
    def book(self) -> Book:
        """The book on show.

        Raises
        ------
        InputError
            If none is open.
        """
        if self.opened is None:
            raise InputError(self.sentence)
        return self.opened

    def own(self, refusal: str = "frame.example_kept", **values: Any) -> Book:
        """Return the book if it is the user's own; the example is refused, in words."""
        return book_choice.own(self.book, refusal, **values)

    def save_book(self, changed: Book, what: str) -> Book:
        """Save a changed book under what was done, and show it from here on."""
        return self.turn_to(books.save(changed, what))

    def turn_to(self, saved: Book) -> Book:
        """Show a book just saved, by whatever way, and return it."""
        self._take(saved.path, saved)
        return saved

    def go_on(self, saved: Book) -> None:
        """Go on with a book just saved without showing it anew; the other panels follow."""
        self.opened = saved
        self._tell_others()

    def _parts(self, button: str) -> None:
        """Make the fixed places, once; only their content changes."""
        self.answer = widgets.HTML().add_class("dl-answer")
        self.busy = widgets.HTML().add_class("dl-busy")
        self.patches, self.below = widgets.HTML(), widgets.HTML()
        self.canvas, self.told = Canvas(), widgets.HTML().add_class("dl-saved")
        self.keep = save.Row(self)
        self.button = widgets.Button(description=button) if button else None
        if self.button:
            self.button.add_class("dl-button").add_class("dl-main-button")
            self.button.on_click(lambda _: self.update())
        self._side = widgets.VBox().add_class("dl-choices")
        shown = [self.answer, self.busy, self.patches, self.canvas, self.below, self.keep]
        self._result = widgets.VBox(shown).add_class("dl-result")
        body = widgets.GridBox([self._side, self._result]).add_class("dl-body")
        self.shelf = book_choice.Shelf(self._take)
        self._head, self._dress = widgets.HTML(), Dress(self._seen, name=self.name)
        self._head_with(self.title)
        home = [] if self.name in _AT_HOME else [_way_home()]
        head = widgets.Box([self._head.add_class("dl-title"), *home]).add_class("dl-head")
        super().__init__([self._dress, head, body])

    def _head_with(self, title: str) -> None:
        self.title = self._dress.title = title
        self._head.value = f"<h2>{html_parts.escape(title)}</h2>"

    def under(self, *parts: Any, first: bool = False) -> None:
        """Put a panel's own buttons in a row, what they tell below: last, or under the answer."""
        line = widgets.HBox(parts).add_class("dl-save")
        there = list(self._result.children)
        at = there.index(self.busy) + 1 if first else len(there)
        self._result.children = (*there[:at], line, self.told, *there[at:])

    def save_first(self) -> "Panel":
        """Put the buttons that save right under the answer, where a page is the answer."""
        *rest, keep = self._result.children
        self._result.children = (rest[0], rest[1], keep, *rest[2:])
        return self

    def tell(self, work: Callable[[], str]) -> None:
        """Say what came of such a button, also where it was refused."""
        self.told.value = ""
        try:
            self.told.value = html_parts.outcome(work())
        except Exception as fault:  # a button must never end without a word
            self.told.value = html_parts.notice(_in_words(fault))

    @property
    def sentence(self) -> str:
        """The answer in words, or what is said in its place."""
        return self.shown.sentence if self.shown else ""

    @property
    def values(self) -> dict[str, Any]:
        """The values chosen now.

        Raises
        ------
        InputError
            If there is nothing to choose from: what stands in the answer's place. If a number
            typed is outside its limits.
        """
        if self._shut:
            raise InputError(self.sentence)
        for widget in self.choices.values():
            if told := choices.refusal(widget, widget.value):
                raise InputError(told)
        return {name: widget.value for name, widget in self.choices.items()}

    @contextmanager
    def quiet(self) -> Iterator[None]:
        """Set choices without an answer to each."""
        before, self._quiet = self._quiet, True
        try:
            yield
        finally:
            self._quiet = before

    def _take(self, path: Path | None, ready: Book | None = None) -> None:
        """Open a book and offer its choices; say so in words where that fails."""
        if path is not None and path != self.shelf.path and path.is_dir():
            with self.quiet():
                self.shelf.choose(path)
        if self._quiet:
            return
        self._guard(lambda: self._open(path or self.shelf.path, ready))
        if not self._led:
            self._tell_others()

    def _tell_others(self) -> None:
        """Let every other panel on show turn to this book, if this one is itself on show."""
        if self.opened is None or self not in _on_show:
            return
        for other in list(_on_show):
            if other is not self and other.comm is not None:  # a closed one has no comm
                other.follow(self.opened.path)

    def shows(self, path: Path) -> bool:
        """Whether this is the book on show."""
        return self.opened is not None and self.opened.path.resolve() == path.resolve()

    def follow(self, path: Path) -> None:
        """Turn to the book that another panel has just opened or saved."""
        lasts = self._remember == "session" and not self._shut  # the rest is remembered anyway
        kept = self.values if lasts and self.shows(path) else {}
        self._led = True
        try:
            self._take(path)
            self.restore(kept)
        finally:
            self._led = False

    def _seen(self) -> None:
        """Show the book anew where another page has changed it since it was opened."""
        if self.opened is None or (now := book_choice.stamp(self.opened.path)) == self._stamp:
            return
        self.follow(self.opened.path)
        self._stamp = now  # as it was before: what is saved meanwhile is seen the next time

    def _repr_mimebundle_(self, **asked: Any) -> Any:
        _on_show.add(self)
        made = super()._repr_mimebundle_(**asked)
        return {**made, "text/plain": words.say("home.press_to_run")}

    def _open(self, path: Path, ready: Book | None) -> None:
        self.opened, self.choices, self._shut = None, {}, True
        self._side.children = (self.shelf,)
        if ready is None and not (path / "datapackage.json").is_file():
            raise book_choice.no_book(path)
        self._stamp = book_choice.stamp(path)  # before: a save meanwhile is seen the next time
        self.opened = book_choice.open_book(path) if ready is None else ready
        self.ready = self._prepare(self.opened)
        if self._heading:
            self._head_with(self._heading(self.ready))
        self.choices, self._shut = self._choose(self.ready), False
        usual = self.values
        self._recall(path)
        self._changed_before = any(self.values[name] != usual[name] for name in self._seldom)
        for widget in self.choices.values():
            widget.observe(self._changed, "value")
        self._side.children = (self.shelf, *self._laid())
        remember.keep_book(path)
        self._fit()
        if not self.button:
            self._run()

    def _laid(self) -> list[Any]:
        """The choices in their order, those seldom asked for behind a press."""
        asked = [widget for name, widget in self.choices.items() if name not in self._seldom]
        own = [self.button] if self.button else []
        if not self._seldom:
            return [*asked, *own]
        rest = [self.choices[name] for name in self._seldom]
        return [*asked, *own, *choices.more_choices(rest, open_=self._changed_before)]

    def _recall(self, path: Path) -> None:
        """Set the choices made last time, those that are still to be had."""
        if self._remember == "days":
            self.restore(remember.choices(path, self.name))

    def restore(self, kept: dict[str, Any]) -> None:
        """Choose again what was chosen; what can no longer be is passed over."""
        for name, value in kept.items():
            if name in self.choices:
                value = tuple(value) if isinstance(value, list) else value
                widget = self.choices[name]
                try:
                    if widget.value != value and not choices.refusal(widget, value):
                        widget.value = value
                        self._fit()
                except Exception:  # traitlets raises several kinds
                    continue

    def _fit(self) -> None:
        if self._refresh and self.opened is not None:
            with self.quiet():
                self._refresh(self.ready, self.choices)

    def _changed(self, change: Any) -> None:
        if self._quiet:
            return
        if change["new"] and hasattr(change["owner"], "instead"):
            self.put(dict([change["owner"].instead]))
        self._guard(self._fit)
        if not self.button:
            self.update()

    def put(self, values: Mapping[Any, Any]) -> None:
        """Set choices, or widgets, without showing anything."""
        with self.quiet():
            for one, value in values.items():
                (self.choices[one] if isinstance(one, str) else one).value = value

    def update(self) -> None:
        """Show again with the values chosen now."""
        if self.opened is not None:
            self._guard(self._run)

    def _run(self) -> None:
        self.busy.value = html_parts.busy(words.say("frame.busy"))
        try:
            told = "progress" in inspect.signature(self._show).parameters
            more = {"progress": self.progress} if told else {}
            self._display(self._show(self.ready, **self.values, **more))
        finally:
            self.busy.value = ""
        if self._remember == "days":
            remember.keep_choices(self.book.path, self.name, self.values)

    def progress(self, fraction: float | None, text: str = "") -> None:
        """Say how far a long piece of work has come (0 to 1)."""
        self.busy.value = html_parts.busy(text or words.say("frame.busy"), fraction)

    def _display(self, shown: Answer) -> None:
        self.shown, self.told.value = shown, ""
        self.answer.value = html_parts.sentence(shown.sentence)
        self.canvas.show(shown.figure, shown.sentence)
        self.patches.value = html_parts.chips(shown.chips)
        label = words.say("frame.table_label", title=self.title)
        # What another program did to the book, or a stranger put into it, every panel says.
        outside = self.opened.outside if self.opened else []
        self.below.value = (
            html_parts.table(shown.table, label)
            + html_parts.pictures(shown.pictures)
            + html_parts.notes([*outside, *shown.notes])
            + html_parts.care(shown.care)
        )
        self.keep.fit(shown)
        task = self.choices["task"].value if "task" in self.choices else ""
        for key, press in self.actions.items():
            press.layout.display = "none" if self._shut else None
            if words.has_text(f"{key}_{task}"):
                press.description = words.say(f"{key}_{task}")

    def _guard(self, work: Callable[[], None]) -> None:
        """Run; whatever goes wrong is said in the answer's place, in words."""
        try:
            numerics.one_thread(work)()
        except Exception as fault:  # a panel must never show a traceback
            self._say(_in_words(fault))

    def _say(self, text: str) -> None:
        self._display(Answer(text))
        self.answer.value = html_parts.notice(text)


def _in_words(fault: Exception) -> str:
    """A refusal as it is; anything else with the file that keeps its details. Call in `except`."""
    if isinstance(fault, InputError):
        return str(fault)
    file, kind = save.fault(traceback.format_exc()), type(fault).__name__
    return words.say("frame.unforeseen", kind=kind, text=fault, file=file)


def _way_home() -> widgets.HTML:
    """The link to the book's home that every other panel has at its head."""
    said = html_parts.escape(words.say("home.way_home"))
    link = f'<a class="dl-to" href="0_start.ipynb">{said}</a>'
    return widgets.HTML(link).add_class("dl-way-home")
