"""Enter what was really done: a planned bath, ticked and corrected."""

from datetime import date
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from dyelab import book as books
from dyelab import plan, recipe, words
from dyelab.book import Book
from dyelab.errors import InputError
from dyelab.panel import book_choice, choices, frame

_SHOWN = ["bath", "kind", "material", "weigh_g", "fibre_g", "temperature_C", "minutes", "series"]
_LONGEST = 48  # letters on a button
_TURNS = ("planning.take_back", "planning.put_back")


class Record(frame.Panel):
    """The panel that takes entries; its buttons save at once, and say what they would do."""

    def _display(self, shown: frame.Answer) -> None:
        super()._display(shown)
        _, _, *turns = self.actions.values()
        kept = self.opened is None or book_choice.is_example(self.opened)
        self.turns = ("", "") if kept else books.next_steps(self.book.path)
        for button, key, what in zip(turns, _TURNS, self.turns, strict=True):
            short = what if len(what) <= _LONGEST else f"{what[:_LONGEST]}…"
            button.description = words.say(key, what=short)
            button.layout.display = None if what else "none"


def panel(book: frame.BookChoice = None) -> Record:
    """Choose a planned bath, correct what was different, say that it was done.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the last one, else the example.
    """
    return Record(
        *("record", "planning.done_title", _choose, _show),
        refresh=_fit,
        prepare=lambda opened: (opened, plan.open_baths(opened)),
        actions={
            "planning.it_was": _enter,
            "planning.all_so": _all_so,
            **{key: partial(_turn, key) for key in _TURNS},
        },
        main=True,
        remember="never",
        book=book,
    )


def _enter(panel: frame.Panel) -> str:
    target, chosen = panel.own(), panel.values
    if "bath" not in chosen:
        raise InputError(words.say("planning.all_done"))
    series, bath = chosen["bath"]
    told = done_values(chosen, _row(panel.ready[1], chosen["bath"]))
    panel.save_book(plan.mark_done(target, bath, series=series, **told), f"{bath} done")
    return words.say("planning.done_now", bath=bath, count=len(chosen["in_it"]))


def _all_so(panel: frame.Panel) -> str:
    """Save every open bath of the series chosen as planned, on the day chosen."""
    target, chosen = panel.own(), panel.values
    series, _ = chosen["bath"]
    _, waiting = panel.ready
    baths = list(waiting.loc[waiting["series"] == series, "bath"])
    for bath in baths:
        target = plan.mark_done(target, bath, series=series, on=chosen["on"].strip())
    told = {"series": series or words.say("home.no_series"), "count": len(baths)}
    panel.save_book(target, words.say("planning.all_so_history", **told))
    return words.say("planning.all_so_done", **told)


def _turn(key: str, panel: Any) -> str:
    """Take the last entry back, or put it again, and say which it was.

    Nothing is taken back that the button doesn't name: another page may have saved meanwhile.
    """
    path, at = panel.own().path, _TURNS.index(key)
    named, now = panel.turns[at], books.next_steps(path)[at]
    if named != now:
        panel.turn_to(books.open(path))
        raise InputError(words.say("planning.saved_meanwhile", named=named))
    panel.turn_to((books.redo if at else books.undo)(path))
    return words.say(f"planning.{'put_again' if at else 'taken_back'}", what=now)


def done_values(chosen: dict[str, Any], row: Any) -> dict[str, Any]:
    """What `plan.mark_done` is told of the choices made; what stands as planned is left so.

    A weight that was left as it stood would come back as another dose, by its rounding.
    """
    as_planned = _planned(row)
    changed = {name: chosen[name] for name, value in as_planned.items() if chosen[name] != value}
    fewer = len(chosen["in_it"]) < len(row["swatches"].split(", "))
    weighed = chosen["weighed"] if fewer or "weighed" in changed else 0
    return {
        "swatches": list(chosen["in_it"]),
        "weighed_g": weighed or None,
        "temperature_C": changed.get("temperature"),
        "minutes": changed.get("minutes"),
        "pH": chosen["pH"] or None,
        "bath_use": changed.get("bath_use"),
        "note": chosen["note"].strip() or None,
        "on": chosen["on"].strip(),
    }


_Ready = tuple[Book, pd.DataFrame]  # a book, and its baths still to be done


def _choose(ready: _Ready) -> dict[str, Any]:
    _, waiting = ready
    if waiting.empty:
        raise InputError(words.say("planning.all_done"))
    options = []
    for row in waiting.to_dict("records"):
        dose = f"{words.number(row['wof'])} %" if row["wof"] > 0 else ""
        what = " ".join(filter(None, [words.heading(row["kind"]), row["material"], dose]))
        several = [row["series"]] if waiting["series"].nunique() > 1 else []
        told = ", ".join([what, choices.code_range(row["swatches"].split(", ")), *several])
        options.append((f"{row['bath']}  {told}", (row["series"], row["bath"])))
    return {
        "bath": choices.pick("planning.bath", options),
        "in_it": choices.pick_many(
            "planning.in_it", [], rows=8, note=words.say("planning.many_hint")
        ),
        "weighed": choices.number("planning.weighed", 0, high=1e5, step=0.01, unit="g"),
        "temperature": choices.number("planning.temperature", 20, low=-5, high=130, unit="°C"),
        "minutes": choices.number("planning.minutes", 60, high=1e5),
        "pH": choices.number("planning.pH", 0, high=14, step=0.1),
        "bath_use": choices.number("planning.bath_use", 1, low=1, high=50, whole=True),
        "note": choices.text("planning.note"),
        "on": choices.text("planning.on", date.today().isoformat()),
    }


def _fit(ready: _Ready, made: dict[str, Any]) -> None:
    """When another bath is chosen, fill in what was planned for it."""
    row = _row(ready[1], made["bath"].value)
    codes = row["swatches"].split(", ")
    if list(made["in_it"].options) == codes and made["in_it"].tooltip == row["bath"]:
        return
    made["in_it"].options = codes
    made["in_it"].value = tuple(codes)
    made["in_it"].tooltip = row["bath"]
    for name, value in _planned(row).items():
        made[name].value = value
    for name, column in _OF_PLAN.items():
        made[name].layout.display = None if pd.notna(row[column]) else "none"
    made["note"].value = ""


_OF_PLAN = {"weighed": "weigh_g", "temperature": "temperature_C", "minutes": "minutes"}


def _planned(row: Any) -> dict[str, float]:
    """What was planned for a bath, as its fields show it; 0 for what the plan leaves open."""
    values = {name: row[column] for name, column in _OF_PLAN.items()}
    shown = {name: round(float(v), 2) if pd.notna(v) else 0.0 for name, v in values.items()}
    return shown | {"bath_use": float(row["bath_use"]) if pd.notna(row["bath_use"]) else 1.0}


def _row(waiting: pd.DataFrame, chosen: tuple[str, str]) -> Any:
    here = (waiting["series"] == chosen[0]) & (waiting["bath"] == chosen[1])
    return waiting[here].iloc[0]


def _show(ready: _Ready, bath: tuple[str, str], **_chosen: Any) -> frame.Answer:
    book, waiting = ready
    row = _row(waiting, bath)
    values = {"fibre": row["fibre_g"], "grams": row["weigh_g"], "material": row["material"]}
    values |= {"how": _how(row)}
    kind = "was" if row["weigh_g"] > 0 else "paste" if row["minutes"] == 0 else "plain"
    kind = "unweighed" if kind == "plain" and np.isnan(row["fibre_g"]) else kind
    what = " ".join([words.say(f"planning.plan_{kind}", **values), row["note"]]).strip()
    button = words.say("planning.it_was")
    sentence = words.say(
        "planning.waiting", count=len(waiting), bath=row["bath"], what=what, button=button
    )
    return frame.Answer(sentence, table=waiting[_SHOWN], care=cautions(book, row["bath"]))


def _how(row: Any) -> str:
    """How hot and how long, as far as the plan says."""
    told = {"temperature": row["temperature_C"], "minutes": row["minutes"]}
    heat, time = (pd.notna(value) for value in told.values())
    key = "heat_time" if heat and time else "heat" if heat else "time" if time else "open"
    return words.say(f"planning.plan_{key}", **told)


def cautions(book: Book, bath: str) -> tuple[str, ...]:
    """Cautions of all that goes into a bath, what helps its dye or mordant included."""
    own = book.steps[(book.steps["bath"] == bath) & (book.steps["state"] == "planned")]
    return recipe.cautions(own["material"].unique(), books.materials(book))
