"""In and out of a book: a spreadsheet of one's own, another book, and exports."""

from pathlib import Path
from typing import Any

import ipywidgets as widgets
import pandas as pd

from dyelab import book as books
from dyelab import files, table, words
from dyelab.book import Book, Changes, Incoming, Sheet
from dyelab.book.spreadsheet.columns import KINDS, meaning
from dyelab.errors import InputError
from dyelab.handout.page import capital
from dyelab.panel import choices, frame, html_parts, remember, save
from dyelab.panel.book_choice import typed_path

_TASKS = ("sheet", "merge", "zip", "xlsx", "folder", "undo")
_SUFFIX = {"zip": ".zip", "xlsx": ".xlsx", "folder": ""}
_WHITES = (table.DEFAULT_WHITE, ("D65", 2), ("D50", 2), ("D50", 10), ("A", 10), ("C", 2))
_COUNTED = ("swatches", "steps", "readings", "lost")
_AS_FOUND = 4  # rows of the sheet that are shown as they stand
_IN_WORDS = 3  # rows that are written out in words
_ASKED = {"sheet": ("file", "upload", "heading", "white"), "merge": ("file",)}
_WHERE_ASKED = ("sheets", "adapt", "removing")  # choices shown only where a sheet needs them


class Exchange(frame.Panel):
    """The panel whose button does the task chosen; a spreadsheet is talked over before it is."""

    def __init__(self, book: frame.BookChoice = None) -> None:
        self.found, self.understood = widgets.HTML(), widgets.HTML()
        self.columns = widgets.VBox().add_class("dl-choices")
        self.asked = widgets.VBox().add_class("dl-choices")
        self._read: tuple[Any, tuple[Sheet, ...]] = ("", ())  # what is on show, and its sheets
        self._incoming: Incoming | None = None
        super().__init__(
            *("exchange", "exchange.title", _choose, self._look),
            refresh=_fit,
            actions={"exchange.go": lambda panel: panel._done(**panel.values)},
            main=True,
            book=book,
        )
        head = [self.answer, self.busy, self.understood, self.below, self.asked]
        *rest, keep = [part for part in self._result.children if part not in head]
        self._result.children = (*head, *rest, self.found, self.columns, keep)

    def _look(self, book: Book, task: str, file: str, **chosen: Any) -> frame.Answer:
        """Say what would be done; for a spreadsheet, all that comes in and all that doesn't."""
        if task != "sheet":
            self._cleared()
            return frame.Answer(words.say(f"exchange.{task}_says", book=book.title))
        path = save.keep_upload(chosen["upload"], "sheets") or typed_path(file)
        if not chosen["upload"] and not file.strip():
            self._cleared()
            return frame.Answer(words.say("exchange.name_a_file"))
        self._open_sheets(book, path, chosen)
        return self._talk(book, chosen)

    def _cleared(self) -> None:
        self._read, self._incoming = ("", ()), None
        self.columns.children = self.asked.children = ()
        self.found.value = self.understood.value = ""

    def _open_sheets(self, book: Book, path: Path, chosen: dict[str, Any]) -> None:
        """Read the file if it is another than the one on show, and offer its columns."""
        upload = chosen["upload"][0]["name"] if chosen["upload"] else None
        heading = int(chosen["heading"])
        asked = (str(path), files.stamp(path), heading, str(book.path), chosen["sheets"])
        if self._read[0] == asked:
            return
        self._cleared()
        every = books.sheets(path, called=upload)
        self._offer_sheets([one.name for one in every])
        names = self.choices["sheets"].value or tuple(one.name for one in every)
        if heading:
            every = books.sheets(path, {names[0]: heading}, called=upload)
        sheets = [one for one in every if one.name in names]
        known = remember.words("headings")
        listed = books.materials(book)
        self.columns.children = tuple(
            self._watched(_column(one, row))
            for one in sheets
            for row in books.matches(one, listed, known).to_dict("records")
        )
        self.found.value = "".join(_as_found(one) for one in sheets)
        self._read = ((*asked[:4], self.choices["sheets"].value), tuple(sheets))

    def _offer_sheets(self, names: list[str]) -> None:
        """Offer the sheets of the file, all of them chosen; there is no choice of one."""
        picker = self.choices["sheets"]
        with self.quiet():
            if list(picker.options) != names:
                picker.options, picker.value = names, tuple(names)
            picker.layout.display = None if len(names) > 1 else "none"

    def _watched(self, made: Any) -> Any:
        made.observe(self._changed, "value")
        return made

    def _talk(self, book: Book, chosen: dict[str, Any]) -> frame.Answer:
        sheets = self._read[1]
        meanings: dict[str, dict[str, str]] = {one.name: {} for one in sheets}
        for made in self.columns.children:
            meanings[made.sheet][made.column] = made.value
        answers = remember.words("materials") | {m.word: m.value for m in self.asked.children}
        whites: Any = {"white": chosen["white"] or None, "into": book.white}
        asked = {"listed": books.materials(book), "answers": answers, "adapt": chosen["adapt"]}
        self._incoming = incoming = books.understand(sheets, meanings, **whites, **asked)
        self._ask(incoming)
        told = books.what_changes(book, incoming)
        self.choices["removing"].layout.display = None if len(told.gone) else "none"
        self.choices["adapt"].layout.display = None if incoming.other_white else "none"
        self.understood.value = _in_words(incoming) + _changes(told)
        counts = {name: len(getattr(incoming, name)) for name in _COUNTED}
        changes = {name: len(getattr(told, name)) for name in ("new", "changed", "gone")}
        said = words.say("exchange.sheet_says", **counts)
        again = words.say("exchange.again", **changes)
        seen = changes["new"] < counts["swatches"]
        lost = incoming.lost.rename(columns={"found": "found_there"})
        if seen and not sum(changes.values()):
            said, again = words.say("exchange.all_there", book=book.title), ""
        said += _of_white(incoming, book, chosen["adapt"])
        text = f"{said} {again}".strip() if seen else said
        return frame.Answer(text, table=lost if len(lost) else None, notes=incoming.notes)

    def _ask(self, incoming: Incoming) -> None:
        """Offer what each doubtful word could be; one that was answered stays answered."""
        there = {made.word: made for made in self.asked.children}
        self.asked.children = tuple(
            there.get(row["word"]) or self._watched(_doubt(row))
            for row in incoming.asked.to_dict("records")
        )

    def _done(self, task: str, file: str, **chosen: Any) -> str:
        if task in _SUFFIX:
            target = save.free_path(self.book.path.name, _SUFFIX[task])
            return words.say("frame.saved", path=books.export(self.book, target))
        if task == "undo":
            self.turn_to(books.undo(self.own().path))
            return words.say("exchange.undone")
        if task == "merge":
            if not file.strip():
                raise InputError(words.say("exchange.name_a_book"))
            source = typed_path(file)
            mine, apart = self.own(), save.free_path(source.stem, "")
            other = books.open(source) if source.is_dir() else books.restore(source, apart)
            joined, named = books.merge(mine, other)[0], source.name
            if joined is mine:
                return words.say("exchange.all_there", book=mine.title)
        else:
            joined, named = self._sheet_in(chosen["removing"])
        before = len(self.book.swatches)
        saved = self.save_book(joined, f"{task}: {named}")
        count = len(saved.swatches) - before
        said = words.say("exchange.taken", count=count, book=saved.title)
        slips = books.suspicions(saved)["text"].head(_IN_WORDS)
        told = [capital(words.say("suspicions.listed", text=text)) for text in slips]
        return " ".join([said, *told])

    def _sheet_in(self, removing: bool) -> tuple[Book, str]:
        """Take in what is on show, and remember for the next time how it was understood."""
        target = self.own()
        self.update()
        if self._incoming is None:
            raise InputError(self.sentence or words.say("exchange.name_a_file"))
        joined = books.take_in(target, self._incoming, removing=removing)
        remember.keep_words("headings", {m.column: m.value for m in self.columns.children})
        remember.keep_words("materials", {m.word: m.value for m in self.asked.children})
        return joined, self._incoming.source


def panel(book: frame.BookChoice = None) -> Exchange:
    """Take in a spreadsheet or another book, or write the book out.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the last one, else the example.
    """
    return Exchange(book)


def _choose(_book: Book) -> dict[str, Any]:
    tasks = choices.options("exchange.", _TASKS)
    whites: list[Any] = [(words.say("exchange.no_white"), ())]
    whites += [(f"{light}/{angle}°", (light, angle)) for light, angle in _WHITES]
    upload, path = choices.file("exchange.upload", ".csv,.tsv,.txt,.xlsx,.ods", "exchange.file")
    made = {
        "task": choices.pick("exchange.task", tasks),
        "file": path,
        "upload": upload,
        "sheets": choices.pick_many("exchange.sheets", [], rows=3),
        "heading": choices.number("exchange.heading", 0, high=999, whole=True),
        "white": choices.pick("exchange.white", whites),
        "adapt": choices.tick("exchange.adapt"),
        "removing": choices.tick("exchange.removing"),
    }
    for name in _WHERE_ASKED:
        made[name].layout.display = "none"
    return made


def _fit(_book: Book, made: dict[str, Any]) -> None:
    task = made["task"].value
    seen = [n for n in _WHERE_ASKED if made[n].layout.display is None]
    choices.only(made, ["task", *_ASKED.get(task, ()), *(seen if task == "sheet" else ())])


def _column(sheet: Sheet, row: Any) -> Any:
    """A list of what one column of the spreadsheet could be, the guess chosen."""
    codes = [*books.FIELDS, *([] if row["field"] in books.FIELDS else [row["field"]])]
    options = [(_name(code), code) for code in codes if code not in ("keep", "")]
    options += [(words.say("exchange.keep"), "keep"), (words.say("exchange.leave"), "")]
    example = f" ({row['example'][:24]})" if row["example"] else ""
    made = choices.pick(f"{row['letter']}: {row['column']}{example}", options, row["field"])
    made.column, made.sheet = row["column"], sheet.name
    return made


def _name(code: str) -> str:
    """What a meaning is called in the list."""
    held = meaning(code)
    unit = f" ({held.unit})" if held.unit else ""
    if held.what == "dose" and held.of not in KINDS:
        return words.say("exchange.dose_of", material=held.of) + unit
    if held.what == "band":
        return words.say("exchange.band", nm=held.of)
    if held.after:
        return words.say(
            "exchange.after", what=words.heading(held.what), after=held.after.replace(":", " ")
        )
    if not held.of:
        return words.heading(held.what)
    about = words.heading({"name": "material", "dose": "amount"}.get(held.what, held.what))
    number = f" {held.slot}" if held.slot > 1 else ""
    return f"{words.heading(held.of)}{number}: {about}{unit}"


def _doubt(row: Any) -> Any:
    """What a doubtful word could be."""
    shown = words.say("exchange.doubt", word=row["word"], count=row["count"])
    options = [
        (words.say("exchange.as_written", word=name) if name == row["word"] else name, name)
        for name in dict.fromkeys([*row["options"], row["material"]])
    ]
    made = choices.pick(shown, options, row["material"])
    made.word = row["word"]
    return made


def _as_found(sheet: Sheet) -> str:
    """The first rows of a sheet as they stand, with the numbers the user sees."""
    rows = sheet.frame.head(_AS_FOUND)
    shown = pd.DataFrame({"row": [str(at) for at in rows.index]})
    for letter, name in zip(sheet.letters[:12], rows.columns[:12], strict=True):
        shown[f"{letter}: {name}"] = rows[name].tolist()
    return _title(words.say("exchange.as_found", sheet=sheet.name or sheet.file), shown)


def _of_white(incoming: Incoming, book: Book, adapt: bool) -> str:
    """What is asked about colours under another white, or what adapting them means."""
    if not incoming.other_white:
        return ""
    whites = {"theirs": incoming.other_white, "own": table.white_text(book.white)}
    key = "adapted" if adapt else "other_white"
    return " " + words.say(f"exchange.{key}", **whites, tick=words.say("exchange.adapt"))


def _in_words(incoming: Incoming) -> str:
    """The first rows in words, one of each recipe first."""
    codes = list(incoming.swatches["swatch"])[:200]
    said = {code: incoming.in_words(code) for code in codes}
    different = list({text: code for code, text in reversed(said.items())}.values())[::-1]
    rows = pd.DataFrame(
        [(code, said[code]) for code in different[:_IN_WORDS]], columns=["swatch", "understood"]
    )
    return _title(words.say("exchange.in_words"), rows)


def _title(title: str, rows: pd.DataFrame) -> str:
    return html_parts.sentence(title) + html_parts.table(rows, title)


def _changes(told: Changes) -> str:
    """What the book has already and would be changed, or has gone from the sheet."""
    tables = {"changed": told.changed, "gone": told.gone}
    there = {name: rows for name, rows in tables.items() if len(rows)}
    return "".join(_title(words.say(f"exchange.{name}"), rows) for name, rows in there.items())
