"""Correct the book: a step that was done, a code, a test; enter one swatch nobody planned."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

import pandas as pd

from dyelab import book as books
from dyelab import recipe, table, words
from dyelab.book import Book
from dyelab.book.spreadsheet import cells
from dyelab.errors import InputError
from dyelab.panel import book_choice, browse, choices, frame
from dyelab.recipe.advice import CELLULOSE, PROTEIN

_STEP = ["swatch", "step", "material", "amount", "temperature", "minutes", "pH", "dips", "note"]
_TEST = ["test_method", "conditions", "detergent", "lamp", "started_on", "ended_on", "who"]
_TEST += ["test_note"]
_NUMBERS = {"amount": "amount", "temperature": "temperature_C"}
_NUMBERS |= {name: name for name in ("minutes", "pH", "dips")}
_NOTHING = cells.Ingredient("", None, "", 1)
_EXPOSURES = ("wash", "light", "rub dry", "rub wet", "perspiration", "water", "other")


def panel(book: frame.BookChoice = None) -> frame.Panel:
    """Correct, rename, delete, or enter what was not planned; each is saved at once.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the last one, else the example.
    """
    return frame.Panel(
        *("correct", "correcting.title", _choose, _show),
        refresh=_fit,
        actions={"correcting.put": _put},
        main=True,
        remember="never",
        book=book,
    )


def _choose(book: Book) -> dict[str, Any]:
    say, today = choices.text, date.today().isoformat()
    kinds = [(words.say(f"grade.exposure_{n.replace(' ', '_')}"), n) for n in _EXPOSURES]
    tests = [(words.say("correcting.test_new"), ""), *zip(*[book.tests["test"]] * 2, strict=True)]
    first = "swatch" if book.swatches.empty else "step"
    blank, materials = words.say("correcting.blank_hint"), books.materials(book)["material"]
    return {
        "task": choices.pick("correcting.task", choices.options("correcting.task_", _TASKS), first),
        "swatch": choices.pick("correcting.swatch", book.swatches["swatch"]),
        "new_code": say("correcting.new_code"),
        "gone": choices.pick_many("correcting.gone", book.swatches["swatch"], rows=8),
        "step": choices.pick("correcting.step", []),
        "material": choices.typed_or_listed("correcting.material", materials),
        **{name: say(f"correcting.{name}", hint=blank) for name in _NUMBERS},
        "code": say("correcting.code", book_choice.free(book, "X")),
        "fibre": choices.pick("correcting.fibre", sorted(PROTEIN | CELLULOSE), "wool"),
        "mass_g": choices.number("correcting.mass_g", 0, high=1e5, step=0.1, unit="g"),
        "series": say("correcting.series"),
        "made_on": say("correcting.made_on", today),
        "lines": say("correcting.lines", long=True),
        "test": choices.pick("correcting.test", tests),
        "test_name": say("correcting.test_name"),
        "exposure": choices.pick("correcting.exposure", kinds),
        "covers": choices.pick_many("correcting.covers", [], rows=6),
        **{name: say(f"correcting.{name}") for name in _TEST},
        "note": say("correcting.note"),
        "whole_bath": choices.tick("correcting.whole_bath", True),
    }


def _fit(book: Book, made: dict[str, Any]) -> None:
    """Ask for what the task needs, filled in with what the book says."""
    task = made["task"].value
    if task == "step":
        _fill_step(book, made)
    elif task == "test":
        _fill_test(book, made)
    asked = ["task", *_TASKS[task].asks]
    row = _row(book, made["swatch"].value, made["step"].value) if task == "step" else None
    out = {"dips"} if row is None or row["kind"] != "vat" else set()
    out |= {"whole_bath"} if row is None or not row["bath"] else set()
    choices.only(made, [name for name in asked if name not in out])


def _fill_step(book: Book, made: dict[str, Any]) -> None:
    own = book.steps[book.steps["swatch"] == made["swatch"].value].sort_values("order")
    options = [(browse.step_text(row), _key(row)) for row in own.to_dict("records")]
    choices.set_options(made["step"], options)
    row = _row(book, made["swatch"].value, made["step"].value)
    if row is None or not _turned(made["step"], f"{row['swatch']} {made['step'].value}"):
        return
    made["material"].value, made["note"].value = str(row["material"]), str(row["note"])
    for name, column in _NUMBERS.items():
        made[name].value = "" if pd.isna(row[column]) else words.number(row[column])


def _fill_test(book: Book, made: dict[str, Any]) -> None:
    name, known = made["test"].value, book.tests[book.tests["test"] == made["test"].value]
    if _turned(made["test"], name) and len(known):
        row = known.iloc[0]
        made["test_name"].value, made["exposure"].value = name, row["exposure"]
        for field in _TEST:
            made[field].value = str(row[field.removeprefix("test_")])
    waiting = list(dict.fromkeys(_readings(book, made["exposure"].value, name)["swatch"]))
    if list(made["covers"].options) != waiting:
        made["covers"].options, made["covers"].value = waiting, tuple(waiting)


def _turned(widget: Any, now: str) -> bool:
    """Whether another step or test is on show than was filled in; what was typed stays else."""
    before, widget.filled_for = getattr(widget, "filled_for", ""), now
    return bool(before != now)


def _key(row: Any) -> tuple[int, str]:
    return int(row["order"]), str(row["area"])


def _row(book: Book, code: str, key: Any) -> Any:
    rows = book.steps[book.steps["swatch"] == code].to_dict("records")
    return next((row for row in rows if _key(row) == key), None)


def _readings(book: Book, exposure: str, test: str) -> pd.DataFrame:
    """Readings after such a test that belong to none yet, or to this one."""
    rows = book.readings
    return rows[(rows["exposure"] == exposure) & rows["test"].isin(["", test])]


def _show(book: Book, task: str, **chosen: Any) -> frame.Answer:
    return _TASKS[task].show(book, chosen)


def _show_step(book: Book, chosen: dict[str, Any]) -> frame.Answer:
    row = _row(book, chosen["swatch"], chosen["step"])
    if row is None:
        key = "no_steps" if len(book.swatches) else "empty"
        raise InputError(words.say(f"correcting.{key}"))
    others = len(_shared(book, row)) - 1
    told = {"code": row["swatch"], "was": browse.what(row).rstrip("."), "others": others}
    told |= {"put": words.say("correcting.put_step"), "order": row["order"], "bath": row["bath"]}
    said = words.say(f"correcting.show_step{'_bath' if others else ''}", **told)
    care = recipe.cautions([row["material"]], books.materials(book))
    return frame.Answer(said, notes=_back(), care=care)


def _shared(book: Book, row: Any) -> pd.DataFrame:
    """The same step of all swatches that shared its bath."""
    steps = book.steps
    series = book.swatches.set_index("swatch")["series"]
    near = steps["swatch"].map(series) == series[row["swatch"]]
    same = (steps["bath"] == row["bath"]) & (steps["kind"] == row["kind"])
    same &= (steps["material"] == row["material"]) & near
    own = (steps["swatch"] == row["swatch"]) & (steps["order"] == row["order"])
    return steps[(same & (row["bath"] != "")) | (own & (steps["area"] == row["area"]))]


def _show_swatch(book: Book, chosen: dict[str, Any]) -> frame.Answer:
    if not chosen["lines"].strip():
        return frame.Answer(words.say("correcting.show_no_lines"), notes=_back())
    steps, swatch = (new_swatch(book, **chosen)[name] for name in ("steps", "swatches"))
    shown = steps[["order", "kind", "material", "amount", "temperature_C", "minutes"]]
    text = ", ".join(filter(None, map(browse.what, steps.to_dict("records"))))
    said = words.say("correcting.show_swatch", code=swatch["swatch"].iloc[0], steps=text)
    advice = recipe.advise(steps.assign(area="whole"), swatch, books.materials(book))["advice"]
    care = recipe.cautions(steps["material"], books.materials(book))
    return frame.Answer(said, table=shown, notes=[*advice, *_back()], care=care)


def new_swatch(book: Book, *, lines: str, **chosen: Any) -> dict[str, pd.DataFrame]:
    """Swatch and steps as entered, ready for ``book.add``.

    Raises
    ------
    InputError
        If the code is missing or taken, or a line says no material.
    """
    code, listed = _fresh(book, chosen["code"]), books.materials(book)
    rows: list[dict[str, Any]] = []
    for line in filter(None, map(str.strip, lines.splitlines())):
        rows += _steps(line, listed, any(row["kind"] in ("dye", "vat") for row in rows))
    rows = [row | {"swatch": code, "order": i} for i, row in enumerate(rows, 1)]
    known = {name: chosen[name].strip() for name in ("series", "made_on")}
    mass = chosen["mass_g"] or float("nan")
    one = {"swatch": code, "fibre": chosen["fibre"], "form": "cloth", "mass_g": mass, **known}
    return {"swatches": pd.DataFrame([one]), "steps": pd.DataFrame(rows)}


def _steps(line: str, listed: pd.DataFrame, dyed: bool) -> list[dict[str, Any]]:
    """Steps from a line such as ``madder 50, 65 °C, 60 min``; several where they went in as one."""
    degrees = re.sub(r"(?i)(?<=\d)\s*c\b", " °C", line)
    first, *more = found = cells.ingredients(degrees, cells.locale([line])) or [_NOTHING]
    if not first.material or any(part.value is None for part in more):
        raise InputError(words.say("correcting.line", line=line))
    return [_step(part, listed, dyed) for part in found]


def _step(part: cells.Ingredient, listed: pd.DataFrame, dyed: bool) -> dict[str, Any]:
    recipe.refuse_unsafe(part.material)
    row = recipe.find(part.material, listed)
    kind = "modifier" if row["role"] == "mordant" and dyed else row["role"]
    unit = "" if part.value is None else part.unit or "% WOF"
    step = {"kind": kind, "material": row["material"], "amount": part.value, "unit": unit}
    step |= {"temperature_C": part.celsius, "minutes": part.minutes, "pH": None, "note": ""}
    return step | {"area": "whole", "dips": part.dips if kind == "vat" else None}


def _fresh(book: Book, text: str) -> str:
    code = text.strip()
    if not code:
        raise InputError(words.say("correcting.no_code", free=book_choice.free(book, "X")))
    if code in set(book.swatches["swatch"]):
        raise InputError(words.say("correcting.taken", code=code, free=book_choice.free(book, "X")))
    return code


def _counts(book: Book, codes: list[str]) -> dict[str, int]:
    return {
        "steps": int(book.steps["swatch"].isin(codes).sum()),
        "readings": int(book.readings["swatch"].isin(codes).sum()),
    }


def _show_rename(book: Book, chosen: dict[str, Any]) -> frame.Answer:
    code = chosen["swatch"]
    if code is None:
        raise InputError(words.say("correcting.empty"))
    said = words.say("correcting.show_rename", code=code, **_counts(book, [code]))
    return frame.Answer(said, notes=_back())


def _show_delete(book: Book, chosen: dict[str, Any]) -> frame.Answer:
    gone = list(chosen["gone"])
    if not gone:
        return frame.Answer(words.say("correcting.show_none"))
    counts = _counts(book, gone)
    codes = ", ".join(gone)
    said = words.say("correcting.show_delete", swatches=len(gone), codes=codes, **counts)
    return frame.Answer(said, notes=_back())


def _show_test(book: Book, chosen: dict[str, Any]) -> frame.Answer:
    what = words.wording("grade.exposure_", chosen["exposure"])
    rows = _readings(book, chosen["exposure"], chosen["test"])
    count = int(rows["swatch"].isin(chosen["covers"]).sum())
    key = "show_test" if count else "show_no_readings"
    said = words.say(f"correcting.{key}", count=count, what=what)
    shown = book.tests if len(book.tests) else None
    return frame.Answer(said, table=shown, notes=_back())


def _back() -> list[str]:
    return [words.say("correcting.take_back")]


def _put(panel: frame.Panel) -> str:
    target, chosen = panel.own(), panel.values
    task = chosen.pop("task")
    changed, told = _TASKS[task].put(target, chosen)
    saved = panel.save_book(changed, f"{told.get('code', '')} {task}".strip())
    panel.restore({"task": task, "swatch": told.get("code", "")})  # go on where one was
    return words.say(f"correcting.done_{task}", book=saved.title, **told)


_Put = tuple[Book, dict[str, Any]]


def _put_step(book: Book, chosen: dict[str, Any]) -> _Put:
    row = _row(book, chosen["swatch"], chosen["step"])
    if row is None:
        raise InputError(words.say("correcting.no_steps"))
    rows = _shared(book, row)
    if not chosen["whole_bath"]:
        rows = rows[rows["swatch"] == row["swatch"]]
    recipe.refuse_unsafe(chosen["material"])
    material = recipe.known_name(chosen["material"].strip(), books.materials(book))
    given: dict[str, Any] = {"material": material}
    for name, column in _NUMBERS.items():
        given[column] = _number(name, chosen[name].strip(), row[column])
    unit = row["unit"] or ("% WOF" if given["amount"] is not None else "")
    given |= {"note": chosen["note"].strip(), "unit": unit}
    changed = books.change(book, steps=rows.assign(**_changed(rows, row, given)))
    amount = "" if given["amount"] is None else words.number(given["amount"])
    now = " ".join(filter(None, (amount, unit, material))) or words.heading(row["kind"])
    return changed, {"code": row["swatch"], "order": row["order"], "count": len(rows), "now": now}


def _changed(rows: pd.DataFrame, row: Any, given: dict[str, Any]) -> dict[str, Any]:
    """What was put right of a step, for all in its bath; the rest of theirs is their own.

    So are dips: cloths are dipped in one vat as often as each is to be.
    """
    held = {name: None if pd.isna(row[name]) else row[name] for name in given}
    new = {name: value for name, value in given.items() if value != held[name]}
    if "dips" in new:
        new["dips"] = rows["dips"].mask(rows["dips"].eq(row["dips"]).fillna(False), new["dips"])
    return new


def _number(name: str, text: str, before: Any) -> float | None:
    """The number typed; one that was left as it was shown keeps what the book has of it."""
    if not text:
        return None
    if pd.notna(before) and text == words.number(before):
        return float(before)
    value = table.number(text, words.say(f"correcting.{name}"))
    if name == "dips" and value % 1:
        raise InputError(words.say("correcting.whole_dips", text=text))
    return value


def _put_swatch(book: Book, chosen: dict[str, Any]) -> _Put:
    if not chosen["lines"].strip():
        raise InputError(words.say("correcting.show_no_lines"))
    made = new_swatch(book, **chosen)
    return books.add(book, **made), {"code": made["swatches"]["swatch"].iloc[0]}


def _put_rename(book: Book, chosen: dict[str, Any]) -> _Put:
    code = _fresh(book, chosen["new_code"])
    told = {"was": chosen["swatch"], "code": code}
    return books.rename(book, chosen["swatch"], code), told


def _put_delete(book: Book, chosen: dict[str, Any]) -> _Put:
    if not chosen["gone"]:
        raise InputError(words.say("correcting.show_none"))
    gone = list(chosen["gone"])
    return books.remove(book, gone), {"code": ", ".join(gone)[:40], "count": len(gone)}


def _put_test(book: Book, chosen: dict[str, Any]) -> _Put:
    name = chosen["test_name"].strip()
    if not name:
        raise InputError(words.say("correcting.no_test_name"))
    if name != chosen["test"] and name in set(book.tests["test"]):
        raise InputError(words.say("correcting.test_taken", name=name))
    row = {field.removeprefix("test_"): chosen[field].strip() for field in _TEST}
    row |= {"test": name, "exposure": chosen["exposure"]}
    rows = _readings(book, chosen["exposure"], chosen["test"])
    rows = rows[rows["swatch"].isin(chosen["covers"])].assign(test=name)
    changed = books.change(book, tests=pd.DataFrame([row]))
    changed = books.change(changed, readings=rows) if len(rows) else changed
    return changed, {"test": name, "count": len(rows)}


@dataclass(frozen=True)
class _Task:
    """What a task asks for, what it says beforehand, and what it does."""

    asks: list[str]
    show: Callable[[Book, dict[str, Any]], frame.Answer]
    put: Callable[[Book, dict[str, Any]], _Put]


_SWATCH = ["code", "fibre", "mass_g", "series", "made_on", "lines"]
_TASKS = {
    "step": _Task([*_STEP, "whole_bath"], _show_step, _put_step),
    "swatch": _Task(_SWATCH, _show_swatch, _put_swatch),
    "rename": _Task(["swatch", "new_code"], _show_rename, _put_rename),
    "delete": _Task(["gone"], _show_delete, _put_delete),
    "test": _Task(["test", "test_name", "exposure", "covers", *_TEST], _show_test, _put_test),
}
