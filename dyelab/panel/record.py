"""Enter what was really done: a planned bath, ticked and corrected."""

from datetime import date
from typing import Any

import ipywidgets as widgets

from dyelab import plan, words
from dyelab.book import Book
from dyelab.errors import InputError
from dyelab.panel import book_choice, choices, frame

_SHOWN = ["bath", "kind", "material", "weigh_g", "fibre_g", "temperature_C", "minutes", "series"]
_LONGEST = 48  # letters on a button
_NAMED = ["series", "bath", "kind", "material"]


class Record(frame.Panel):
    """The panel that takes entries; its buttons save at once."""

    def __init__(self, book: frame.Chosen = None) -> None:
        title = words.say("planning.done_title")
        self.enter = widgets.Button(description=words.say("planning.it_was"))
        self.back, self.again = widgets.Button(), widgets.Button()
        self.enter.on_click(lambda _: self._guard(self._enter))
        self.back.on_click(lambda _: self._guard(lambda: self._turn("undo", "taken_back")))
        self.again.on_click(lambda _: self._guard(lambda: self._turn("redo", "put_again")))
        for button in (self.enter, self.back, self.again):
            button.add_class("dl-button")
        self.enter.add_class("dl-main-button")
        super().__init__("record", title, _choose, _show, refresh=_fit, remember=False, book=book)
        self.under(self.enter, self.back, self.again)

    def _display(self, shown: frame.Shown) -> None:
        super()._display(shown)
        self.enter.disabled = "bath" not in self.choices
        self._name_turns()

    def _name_turns(self) -> None:
        """Let both buttons say what they would do; one that would do nothing isn't shown."""
        from dyelab import book as books

        kept = self.book is None or book_choice.is_example(self.book)
        told = ("", "") if kept else books.next_steps(self.book.path)
        for button, key, what in zip(
            (self.back, self.again), ("take_back", "put_back"), told, strict=True
        ):
            short = what if len(what) <= _LONGEST else f"{what[:_LONGEST]}…"
            button.description = words.say(f"planning.{key}", what=short)
            button.layout.display = None if what else "none"

    def kept(self) -> dict[str, Any]:
        """Nothing: what was typed for one bath must not stand for another."""
        return {}

    def _enter(self) -> None:
        from dyelab import book as books

        book_choice.own(self.book)

        if "bath" not in self.choices:
            raise InputError(words.say("planning.all_done"))
        series, bath = self.values["bath"]
        chosen = self.values
        changed = plan.done(self.book, bath, series=series, **told(chosen))
        saved = books.save(changed, f"{bath} done")
        self._take(saved.path, saved)
        count = len(chosen["in_it"])
        self.tell(lambda: words.say("planning.done_now", bath=bath, count=count))

    def _turn(self, act: str, said: str) -> None:
        """Take the last entry back, or put it again, and say which it was."""
        from dyelab import book as books

        book_choice.own(self.book)
        what = books.next_steps(self.book.path)[act == "redo"]
        turned = {"undo": books.undo, "redo": books.redo}[act](self.book.path)
        self._take(turned.path, turned)
        self.tell(lambda: words.say(f"planning.{said}", what=what))


def panel(book: frame.Chosen = None) -> Record:
    """Choose a planned bath, correct what was different, say that it was done.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the example.
    """
    return Record(book)


def told(chosen: dict[str, Any]) -> dict[str, Any]:
    """What `plan.done` is told of the choices made; blanks are as planned."""
    return {
        "swatches": list(chosen["in_it"]),
        "weighed_g": chosen["weighed"] or None,
        "temperature_C": chosen["temperature"],
        "minutes": chosen["minutes"],
        "pH": chosen["pH"] or None,
        "bath_use": int(chosen["bath_use"]),
        "note": chosen["note"].strip() or None,
        "on": chosen["on"].strip(),
    }


def _choose(book: Book) -> dict[str, Any]:
    waiting = plan.open_baths(book)
    if waiting.empty:
        raise InputError(words.say("planning.all_done"))
    say = words.say
    options = [
        (
            f"{row['bath']}  {row['kind']} {row['material']}, {row['series']}",
            (row["series"], row["bath"]),
        )
        for row in waiting.to_dict("records")
    ]
    return {
        "bath": choices.pick(say("planning.bath"), options),
        "in_it": choices.pick_many(
            say("planning.in_it"), [], rows=8, note=say("planning.many_hint")
        ),
        "weighed": choices.number(say("planning.weighed"), 0, low=0, high=1e5, step=0.01, unit="g"),
        "temperature": choices.number(say("planning.temperature"), 20, low=-5, high=130, unit="°C"),
        "minutes": choices.number(say("planning.minutes"), 60, low=0, high=1e5, unit=""),
        "pH": choices.number(say("planning.pH"), 0, low=0, high=14, step=0.1, unit=""),
        "bath_use": choices.number(say("planning.bath_use"), 1, low=1, high=50, unit=""),
        "note": choices.text(say("planning.note")),
        "on": choices.text(say("planning.on"), date.today().isoformat()),
    }


def _fit(book: Book, made: dict[str, Any]) -> None:
    """When another bath is chosen, fill in what was planned for it."""
    row = _row(book, made["bath"].value)
    codes = row["swatches"].split(", ")
    if list(made["in_it"].options) == codes and made["in_it"].tooltip == row["bath"]:
        return
    made["in_it"].options = codes
    made["in_it"].value = tuple(codes)
    made["in_it"].tooltip = row["bath"]
    made["weighed"].value = round(float(row["weigh_g"]), 2) if row["weigh_g"] > 0 else 0
    made["weighed"].layout.display = None if row["weigh_g"] > 0 else "none"
    made["temperature"].value = float(row["temperature_C"])
    made["minutes"].value = float(row["minutes"])
    made["note"].value = ""


def _row(book: Book, chosen: tuple[str, str]) -> Any:
    waiting = plan.open_baths(book)
    here = (waiting["series"] == chosen[0]) & (waiting["bath"] == chosen[1])
    return waiting[here].iloc[0]


def _show(book: Book, bath: tuple[str, str], **_chosen: Any) -> frame.Shown:
    row, waiting = _row(book, bath), plan.open_baths(book)
    values = {
        "fibre": row["fibre_g"],
        "temperature": row["temperature_C"],
        "minutes": row["minutes"],
    }
    weighed = row["weigh_g"] > 0
    what = (
        words.say("planning.plan_was", grams=row["weigh_g"], material=row["material"], **values)
        if weighed
        else words.say("planning.plan_plain", **values)
    )
    button = words.say("planning.it_was")
    sentence = words.say(
        "planning.waiting", count=len(waiting), bath=row["bath"], what=what, button=button
    )
    return frame.Shown(sentence, table=waiting[_SHOWN])
