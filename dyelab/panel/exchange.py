"""In and out of a book: a spreadsheet of one's own, another book, and exports."""

from pathlib import Path
from typing import Any

import ipywidgets as widgets

from dyelab import words
from dyelab.panel import book_choice, choices, frame, save
from dyelab.panel.typed_path import typed

_TASKS = ("sheet", "merge", "zip", "xlsx", "folder", "undo")
_SUFFIX = {"zip": ".zip", "xlsx": ".xlsx", "folder": ""}


class Exchange(frame.Panel):
    """The panel whose button does the task chosen; columns are confirmed before they come in."""

    def __init__(self, book: Any = None) -> None:
        title = words.say("exchange.title")
        self.columns = widgets.VBox()
        self.columns.add_class("dl-choices")
        super().__init__("exchange", title, _choose, self._look, refresh=_fit, book=book)
        self.go = widgets.Button(description=words.say("exchange.go"))
        self.go.add_class("dl-button")
        self.go.add_class("dl-main-button")
        self.go.on_click(lambda _: self._do())
        self._result.children = (*self._result.children, self.columns)
        self.under(self.go)

    def _look(self, book: Any, task: str, file: str) -> frame.Shown:
        """Say what would be done; for a spreadsheet, offer what each column could be."""
        self.columns.children = ()
        if task != "sheet":
            return frame.Shown(words.say(f"exchange.{task}_says", book=book.title))
        if not file.strip():
            return frame.Shown(words.say("exchange.name_a_file"))
        from dyelab import book as books

        guesses = books.matches(books.sheet(typed(file)))
        self.columns.children = tuple(_column(row) for row in guesses.to_dict("records"))
        return frame.Shown(words.say("exchange.sheet_says", columns=len(guesses)), guesses)

    def _do(self) -> None:
        self.tell(lambda: self._done(**self.values))

    def _done(self, task: str, file: str) -> str:
        from dyelab import book as books

        if task in _SUFFIX:
            target = save.fresh(Path(self.book.path).name, _SUFFIX[task])
            return words.say("frame.saved", path=books.export(self.book, target))
        book_choice.own(self.book)
        if task == "undo":
            self._take(self.book.path, books.undo(self.book.path))
            return words.say("exchange.undone")
        source = typed(file)
        saved = books.save(self._joined(task, source), f"{task}: {source.name}")
        count = len(saved.swatches) - len(self.book.swatches)
        self._take(saved.path, saved)
        return words.say("exchange.taken", count=count, book=saved.title)

    def _joined(self, task: str, source: Path) -> Any:
        from dyelab import book as books

        if task == "merge":
            return books.merge(self.book, books.open(source))[0]
        confirmed = {made.column: made.value for made in self.columns.children}
        return books.take_in(self.book, books.sheet(source), confirmed)


def panel(book: Any = None) -> Exchange:
    """Take in a spreadsheet or another book, or write the book out.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the example.
    """
    return Exchange(book)


def _choose(_book: Any) -> dict[str, Any]:
    tasks = [(words.say(f"exchange.{name}"), name) for name in _TASKS]
    return {
        "task": choices.pick(words.say("exchange.task"), tasks),
        "file": choices.text(words.say("exchange.file"), hint=words.say("exchange.file_hint")),
    }


def _fit(_book: Any, made: dict[str, Any]) -> None:
    asked = made["task"].value in ("sheet", "merge")
    made["file"].layout.display = None if asked else "none"


def _column(row: Any) -> Any:
    """A list of what one column of the spreadsheet could be, the guess chosen."""
    from dyelab import book as books

    named = [(words.heading(field), field) for field in books.FIELDS]
    options = [*named, (words.say("exchange.keep"), "keep"), (words.say("exchange.leave"), "")]
    example = f" ({row['example'][:24]})" if row["example"] else ""
    made = choices.pick(f"{row['column']}{example}", options, row["field"])
    made.column = row["column"]
    return made
