"""A spreadsheet taken in again: what is new, what changed, what has gone; nothing twice."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from dyelab import table
from dyelab.book.opening import add, change, remove, without
from dyelab.book.spreadsheet.columns import STEP
from dyelab.book.spreadsheet.rows import Incoming, as_step
from dyelab.book.swatch_book import Book
from dyelab.recipe import sequence

CHANGED = ["swatch", "what", "before", "now"]
_OF_STEP = ("area", *(name for name in STEP if name != "order"))
_WHOLE = {"kind", "material", "amount", "unit", "area", "dips"}  # of a step: told as one
_VALUES = [*table.LAB, "var_L", "var_a", "var_b"]
_WHEN = ["swatch", "area", "exposure", "amount", "unit"]


_Steps = list[dict[str, Any]]
_Told = list[tuple[str, str, str, str]]  # swatch, what, before, now
_Gone = list[tuple[str, str, str]]  # swatch, what, before


@dataclass(frozen=True, eq=False)
class Changes:
    """What taking a spreadsheet in would do to a book.

    Attributes
    ----------
    new : tuple of str
        Swatches that the book doesn't have.
    changed : DataFrame
        `swatch, what, before, now`: a line for each value, step or reading that differs or is
        added to a swatch the book has.
    gone : DataFrame
        `swatch, what, before`: swatches, steps and readings that came from this spreadsheet
        earlier and stand in it no more. They stay unless it is asked that they go.
    same : int
        Swatches with nothing new.
    """

    new: tuple[str, ...]
    changed: pd.DataFrame
    gone: pd.DataFrame
    same: int


@dataclass(frozen=True)
class _Plan:
    """Whole rows to write, and what leaves."""

    swatches: pd.DataFrame
    steps: dict[str, _Steps]  # by swatch, all steps it then has
    readings: pd.DataFrame
    spectra: pd.DataFrame | None
    shared: pd.DataFrame | None
    gone_swatches: list[str]
    gone_steps: dict[str, _Steps]  # the same swatches without what has gone
    gone_readings: list[str]
    told: Changes


def what_changes(bk: Book, incoming: Incoming) -> Changes:
    r"""Say what taking a spreadsheet in would do to a book; nothing is changed.

    Examples
    --------
    >>> from dyelab import book
    >>> path = folder / "own.csv"
    >>> _ = path.write_text("No,Fibre,Alum %\nK1,wool,15\n", "utf-8")
    >>> one = book.sheet(path)
    >>> fields = book.matches(one).set_index("column")["field"].to_dict()
    >>> incoming = book.understand([one], {one.name: fields})
    >>> book.what_changes(book.create(folder / "mine"), incoming).new
    ('K1',)
    """
    return _plan(bk, incoming).told


def take_in(bk: Book, incoming: Incoming, *, removing: bool = False) -> Book:
    r"""Add what a spreadsheet brings to a book, and put right what it changed.

    Parameters
    ----------
    bk : Book
    incoming : Incoming
        From `understand`.
    removing : bool
        Also take out what came from this spreadsheet earlier and has gone from it.

    Raises
    ------
    InputError
        If a row breaks a rule of the book; nothing is changed then.

    Examples
    --------
    >>> from dyelab import book
    >>> path = folder / "own.csv"
    >>> _ = path.write_text("No,Fibre,Alum %\nK1,wool,15\n", "utf-8")
    >>> one = book.sheet(path)
    >>> fields = book.matches(one).set_index("column")["field"].to_dict()
    >>> incoming = book.understand([one], {one.name: fields})
    >>> book.take_in(book.create(folder / "mine"), incoming)
    Book('mine': 1 swatches, 1 steps, 0 readings, 0 faults)
    """
    plan = _plan(bk, incoming)
    steps = plan.gone_steps if removing else plan.steps
    changed = change(bk, swatches=plan.swatches) if len(plan.swatches) else bk
    if steps:
        changed = _with_steps(changed, steps)
    if removing and plan.gone_readings:
        changed = without(changed, "reading", plan.gone_readings)
    if len(plan.readings):
        given = {"spectra": plan.spectra, "shared": plan.shared}
        changed = change(changed, readings=plan.readings, **given)
    return remove(changed, plan.gone_swatches) if removing and plan.gone_swatches else changed


def _with_steps(bk: Book, steps: dict[str, _Steps]) -> Book:
    kept = bk.steps[~bk.steps["swatch"].isin(list(steps))].reset_index(drop=True)
    rows = [step for done in steps.values() for step in done]
    bare = replace(bk, steps=kept)
    return add(bare, steps=pd.DataFrame(rows)) if rows else bare


def _plan(bk: Book, incoming: Incoming) -> _Plan:
    there = set(bk.swatches["swatch"])
    codes = list(incoming.swatches["swatch"])
    told: _Told = []
    gone: _Gone = []
    swatches = _swatches(bk, incoming, told)
    steps, without = _steps(bk, incoming, told, gone)
    readings, left = _readings(bk, incoming, told, gone)
    earlier = bk.swatches.get("source", pd.Series("", index=bk.swatches.index))
    lost = bk.swatches.loc[(earlier == incoming.source), "swatch"]
    lost = [code for code in lost if code not in set(codes)]
    gone += [(code, "swatch", code) for code in lost]
    touched = {row[0] for row in told}
    changes = Changes(
        new=tuple(code for code in codes if code not in there),
        changed=pd.DataFrame([r for r in told if r[0] in there], columns=CHANGED),
        gone=pd.DataFrame(gone, columns=CHANGED[:3]),
        same=sum(code in there and code not in touched for code in codes),
    )
    beside = (incoming.spectra, incoming.shared)
    spectra, shared = (_under_names(rows, *readings) for rows in beside)
    return _Plan(swatches, steps, readings[0], spectra, shared, lost, without, left, changes)


def _under_names(
    rows: pd.DataFrame | None, readings: pd.DataFrame, names: dict[str, str]
) -> pd.DataFrame | None:
    """Rows of spectra or shared error of the readings to write, under the book's names for them."""
    if rows is None:
        return None
    rows = rows.assign(reading=rows["reading"].map(names))
    return rows[rows["reading"].isin(readings.get("reading", []))]


def _show(value: Any) -> str:
    if value is None or value != value or value is pd.NA:
        return ""
    return f"{value:.6g}" if isinstance(value, int | float | np.number) else str(value)


def _swatches(bk: Book, incoming: Incoming, told: _Told) -> pd.DataFrame:
    """Whole rows of swatches that are new or differ; a blank in the sheet changes nothing."""
    old = {row["swatch"]: row for row in bk.swatches.to_dict("records")}
    rows = []
    for row in incoming.swatches.to_dict("records"):
        before = old.get(row["swatch"], {})
        given = {k: v for k, v in row.items() if v != "" and v == v}
        differs = {k: v for k, v in given.items() if _show(before.get(k)) != _show(v)}
        for name in (name for name in differs if name != "source"):
            told.append((row["swatch"], name, _show(before.get(name)), _show(differs[name])))
        if differs:
            rows.append({**before, **given})
    return pd.DataFrame(rows)


def _steps(
    bk: Book, incoming: Incoming, told: _Told, gone: _Gone
) -> tuple[dict[str, _Steps], dict[str, _Steps]]:
    """All steps of the swatches whose steps differ, with and without those that have gone."""
    if incoming.steps.empty:
        return {}, {}
    old = {code: group.to_dict("records") for code, group in bk.steps.groupby("swatch", sort=False)}
    kept: dict[str, _Steps] = {}
    without: dict[str, _Steps] = {}
    sourced = set(bk.swatches.loc[bk.swatches.get("source", "") == incoming.source, "swatch"])
    for code, group in incoming.steps.groupby("swatch", sort=False):
        had = sorted(old.get(code, []), key=lambda step: step["order"])
        given = group.sort_values("order", kind="stable").to_dict("records")
        now = [{k: v for k, v in row.items() if _show(v)} for row in given]
        matched, left = _align(had, now)
        lines = [(str(code), *line) for line in _say(matched)]
        told += lines
        if code in sourced:
            gone += [(str(code), "step", _step(step)) for step in left]
        if lines or (left and code in sourced):
            full = [{**(before or {}), **now} for before, now in matched]
            without[str(code)] = _number(full)
            if lines:
                kept[str(code)] = _number(_put_back(full, left))
    return kept, without


def _align(
    had: _Steps, now: _Steps
) -> tuple[list[tuple[dict[str, Any] | None, dict[str, Any]]], _Steps]:
    """Pair each step of the sheet with the book's: of one material, else of one kind, in order."""
    free = list(had)
    pairs: dict[int, dict[str, Any]] = {}
    for keys in (("kind", "material", "area"), ("kind", "area")):
        for at, step in enumerate(now):
            if at in pairs:
                continue
            like = [o for o in free if all(o.get(k, "") == step.get(k, "") for k in keys)]
            if like:
                pairs[at] = like[0]
                free = [one for one in free if one is not like[0]]
    return [(pairs.get(at), step) for at, step in enumerate(now)], free


def _say(matched: list[tuple[dict[str, Any] | None, dict[str, Any]]]) -> _Gone:
    lines = []
    for before, now in matched:
        if before is None:
            lines.append(("step", "", _step(now)))
            continue
        differs = [k for k in _OF_STEP if k in now and _show(before.get(k)) != _show(now[k])]
        named = now.get("material", now["kind"])
        own = (k for k in differs if k not in _WHOLE)
        lines += [(f"{named}, {k}", _show(before.get(k)), _show(now[k])) for k in own]
        if _WHOLE & set(differs):
            lines.append(("step", _step(before), _step(now)))
    orders = [before["order"] for before, _ in matched if before is not None]
    if orders != sorted(orders):
        inner = [pair for pair in matched if pair[0] is not None]
        was = sorted((b for b, _ in inner if b), key=lambda step: step["order"])
        lines.append(("order", ", ".join(map(_step, was)), ", ".join(_step(n) for _, n in inner)))
    return lines


def _step(step: dict[str, Any]) -> str:
    held = {name: value for name, value in step.items() if _show(value)}
    return sequence.step_in_words(as_step(held))


def _put_back(full: _Steps, left: _Steps) -> _Steps:
    """Steps that only the book has stay where they were, after the step that came before them."""
    made = list(full)
    for step in left:
        before = [at for at, one in enumerate(made) if one.get("order", 0) <= step["order"]]
        made.insert(max(before, default=-1) + 1, step)
    return made


def _number(steps: _Steps) -> _Steps:
    return [{**step, "order": order} for order, step in enumerate(steps, start=1)]


def _readings(
    bk: Book, incoming: Incoming, told: _Told, gone: _Gone
) -> tuple[tuple[pd.DataFrame, dict[str, str]], list[str]]:
    """Readings that are new or differ, under the names the book has for them; those that left."""
    old = bk.readings[bk.readings["source"] == incoming.source]
    free: dict[tuple[str, ...], list[dict[Any, Any]]] = {}
    for row in old.to_dict("records"):
        free.setdefault(_when(row), []).append(row)
    rows, names, waiting = [], {}, []
    for row in incoming.readings.to_dict("records"):
        like = [one for one in free.get(_when(row), []) if _values(one) == _values(row)]
        if like:
            free[_when(row)].remove(like[0])
            names[row["reading"]] = like[0]["reading"]
        else:
            waiting.append(row)
    taken = set(bk.readings["reading"])
    for row in waiting:
        like = free.get(_when(row), [])
        before = like.pop(0) if like else None
        name = before["reading"] if before else table.free_name(row["reading"], taken, "~{}")
        names[row["reading"]] = name
        rows.append({**(before or {}), **{k: v for k, v in row.items() if v == v}, "reading": name})
        told.append((row["swatch"], _read(row), _lab(before) if before else "", _lab(row)))
    left = [row for held in free.values() for row in held]
    gone += [(row["swatch"], _read(row), _lab(row)) for row in left]
    return (pd.DataFrame(rows), names), [row["reading"] for row in left]


def _when(row: Any) -> tuple[str, ...]:
    return tuple(_show(row.get(name)) for name in _WHEN)


def _values(row: Any) -> tuple[str, ...]:
    return tuple(_show(row.get(name)) for name in _VALUES)


def _lab(row: Any) -> str:
    return ", ".join(f"{row[name]:.4g}" for name in table.LAB)


def _read(row: Any) -> str:
    after = [_show(row.get(name)) for name in ("exposure", "amount", "unit")]
    return "reading" if after[0] == "none" else f"reading after {' '.join(filter(None, after))}"
