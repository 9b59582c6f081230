"""Create, open and save a book; add, change and remove rows."""

import io
import json
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from pandas.api.types import is_numeric_dtype

from dyelab import files, limits, table
from dyelab.book import store, table_changes
from dyelab.book.checking import sort_out
from dyelab.book.csv_text import Cells, end_to_end, read
from dyelab.book.swatch_book import (
    ASIDE,
    ASIDE_FILES,
    FILES,
    PACKAGE,
    TABLE_FILES,
    TABLES,
    Book,
    description,
    keys,
    tables,
)
from dyelab.book.table_changes import changes, three_way
from dyelab.errors import InputError, choose

NEUTRALISED = "formulas_neutralised"  # in an export: text cells may begin with an apostrophe
_PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
NUMERIC = {
    name: {column.name for column in rules.columns if column.kind in ("number", "integer")}
    for name, rules in TABLES.items()
}


def create(path: str | Path, title: str = "", *, white: table.White = table.DEFAULT_WHITE) -> Book:
    """Make a new, empty book in a folder that is empty or not there yet.

    Parameters
    ----------
    path : str or Path
    title : str
        By default the folder's name.
    white : (illuminant, observer)
        One of `table.WHITES`, for as long as the book lives: that of the instrument at hand, if
        it gives CIELAB alone.

    Raises
    ------
    InputError
        If the folder holds something already, or a book can't have this white.

    Examples
    --------
    >>> from dyelab import book
    >>> book.create(folder / "madder", "My madder")
    Book('madder': 0 swatches, 0 steps, 0 readings, 0 faults)
    """
    white = table.book_white("/".join(map(str, white)))
    folder = Path(path)
    if folder.exists() and any(folder.iterdir()):
        raise InputError(f"{folder}: this folder is not empty. Name a new one, or open its book.")
    folder.mkdir(parents=True, exist_ok=True)
    bk = replace(from_files(folder, {}), title=title or folder.name, white=white, notes=())
    contents = file_contents(bk, {})
    with store.hold_lock(folder):
        store.commit(folder, contents, act="save", what=["a new book"])
    return _as_saved(bk, contents)


def open_book(path: str | Path) -> Book:
    """Open a book: every row is checked, faults are listed in `faults`, good rows are typed.

    What is not as dyelab left it is said in `outside`.

    Raises
    ------
    InputError
        If the folder is missing or holds no ``swatches.csv``.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> book.open(synth.example())
    Book('marlpit_yard': 203 swatches, 679 steps, 913 readings, 0 faults)
    """
    return open_checked(path)[0]


@limits.in_time
def open_checked(path: str | Path) -> tuple[Book, list[dict[str, Any]]]:
    """Open a book, and list what is not as dyelab left it; see `unlike_saved`."""
    folder = Path(path)
    if folder.name == PACKAGE:
        folder = folder.parent
    if not folder.is_dir():
        raise InputError(
            f"{folder}: no such folder. Check the name, or begin a book there: dyelab open {folder}"
        )
    contents, last = store.snapshot_with_version(folder, FILES)
    if not {PACKAGE, "swatches.csv"} & set(contents):
        raise InputError(
            f"{folder}: no swatches.csv here, so this is not a swatch book. "
            "Choose the folder that holds it."
        )
    bk = from_files(folder, contents)
    unlike = unlike_saved(bk, last)
    return replace(bk, outside=tuple(fault["text"] for fault in unlike)), unlike


def unlike_saved(bk: Book, last: dict[str, Any] | None) -> list[dict[str, Any]]:
    """Return what is not as dyelab left it, as faults: see `store.faults` and `table_changes`.

    The book is set beside ``last``, the version that was the newest when it was read.
    ``grave`` tells what a check counts from what is only said.
    """
    found = [{**fault, "grave": True} for fault in _list_ignored(bk.path)]
    if last is None:
        return found
    listed = (PACKAGE, *TABLE_FILES.values())
    differ = [file for file in listed if bk.stamp.get(file) != last["files"].get(file)]
    if not differ:
        return found
    try:
        before = from_files(bk.path, store.contents(bk.path, last))
    except InputError:
        return found + table_changes.unknown_changes(differ)
    return found + table_changes.outside_changes(before, bk, differ)


def from_files(folder: Path, contents: dict[str, bytes]) -> Book:
    """Make a book of its files' bytes, every row checked."""
    missing = [file for file in TABLE_FILES.values() if file not in contents]
    found = {
        name: read(contents[file], file, NUMERIC[name]) if file in contents else _empty(name)
        for name, file in TABLE_FILES.items()
    }
    aside = {
        name: read(contents[file], file) for name, file in ASIDE_FILES.items() if file in contents
    }
    package = package_of(contents)
    if package.get(NEUTRALISED):
        found = {name: _as_it_was(cells) for name, cells in found.items()}
        aside = {name: _as_it_was(cells) for name, cells in aside.items()}
    typed, kept, faults = sort_out(found, aside)
    notes = [note for cells in found.values() for note in cells.notes]
    notes += [f"{file} is missing; it is made with the next save." for file in missing]
    about: dict[str, Any] = {**typed, "faults": faults, "aside": kept, "notes": tuple(notes)}
    about |= {"title": str(package.get("title") or folder.name), "white": _white(package)}
    stamp = {name: store.digest(text) for name, text in contents.items()}
    return Book(path=folder, **about, base=typed, stamp=stamp)


def _as_it_was(cells: Cells) -> Cells:
    """Text without the apostrophes that an export put before formulas."""
    text = cells.frame.columns[[not is_numeric_dtype(kind) for kind in cells.frame.dtypes]]
    columns: Any = {name: cells.frame[name].map(files.unescape_formula) for name in text}
    return replace(cells, frame=cells.frame.assign(**columns))


def _empty(name: str) -> Cells:
    return Cells(pd.DataFrame({column: pd.Series(dtype=str) for column in TABLES[name].names}))


def package_of(contents: dict[str, bytes]) -> dict[str, Any]:
    """Return what a book's package file says, nothing where it is missing or damaged."""
    try:
        found = json.loads(contents[PACKAGE].decode("utf-8"))
    except (KeyError, ValueError, RecursionError):
        return {}
    if not isinstance(found, dict):
        return {}
    listed = found.get("resources", [])
    kept = [r for r in listed if isinstance(r, dict)] if isinstance(listed, list) else []
    return {**found, "resources": kept}


def _white(package: dict[str, Any]) -> table.White:
    """The book's white; that of books which don't state one is the default."""
    stated = package.get("white")
    if stated is None:
        return table.DEFAULT_WHITE
    held = stated if isinstance(stated, dict) else {}
    text = f"{held.get('illuminant', '')}/{held.get('observer', '')}"
    try:
        return table.book_white(text)
    except InputError as error:
        raise InputError(f"{PACKAGE}: white: {error}") from None


def save(bk: Book, what: str = "") -> Book:
    """Save the book, wholly or not at all, and return it as saved.

    What others saved since this book was opened, or edited by hand in its files, is joined
    with what was changed here, row by row.

    Parameters
    ----------
    bk : Book
    what : str
        A line for the history, before the count of rows changed.

    Raises
    ------
    InputError
        If the disk is full, or if the same row was changed here and elsewhere in two ways.

    Examples
    --------
    >>> from dyelab import book
    >>> bk = book.save(book.create(folder / "mine"), "begun")
    >>> sorted(path.name for path in bk.path.iterdir())[:3]
    ['datapackage.json', 'history', 'materials.csv']
    """
    with store.hold_lock(bk.path):
        store.recover(bk.path)
        disk = store.snapshot(bk.path, FILES)
        if {name: store.digest(text) for name, text in disk.items()} != bk.stamp:
            bk = _join(bk, from_files(bk.path, disk))
        contents = file_contents(bk, package_of(disk))
        if contents == disk and (bk.path / store.HISTORY / "files").exists():
            return _as_saved(bk, contents)
        keep_outside_edits(bk.path, disk)
        said = changes(bk.base, tables(bk))
        store.commit(bk.path, contents, act="save", what=[what, *said] if what else said)
        store.prune(bk.path)
    return _as_saved(bk, contents)


def keep_outside_edits(path: Path, disk: dict[str, bytes]) -> None:
    """What was edited outside becomes a version of its own, so that undo can bring it back."""
    last = store.latest(path)
    known = last["files"] if last else {}
    if {name: store.digest(text) for name, text in disk.items()} != known:
        store.commit(path, disk, act="found", what=["edited outside dyelab"])


def _join(mine: Book, theirs: Book) -> Book:
    typed: dict[str, Any] = {
        name: three_way(name, mine.base.get(name, frame), getattr(mine, name), frame)
        for name, frame in tables(theirs).items()
    }
    title = theirs.title if mine.title == mine.path.name else mine.title
    joined = replace(theirs, **typed, title=title, base=tables(theirs))
    checked = from_files(mine.path, file_contents(joined, {}))
    return replace(checked, base=tables(theirs), title=title)


def _as_saved(bk: Book, contents: dict[str, bytes]) -> Book:
    stamp = {name: store.digest(text) for name, text in contents.items()}
    left = tuple(fault["text"] for fault in _list_ignored(bk.path))
    return replace(bk, base=tables(bk), stamp=stamp, outside=left)


def _list_ignored(path: Path) -> list[dict[str, Any]]:
    """What lies in a book's folder and is not followed, as faults."""
    return [table.fault(file, None, "", "it", *said) for file, *said in store.faults(path)]


def file_contents(bk: Book, package: dict[str, Any]) -> dict[str, bytes]:
    """Every file of the book as bytes."""
    tables = {file: as_csv(frame) for file, frame in frames(bk).items()}
    return {PACKAGE: as_json(_descriptor(bk, package)), **tables}


def as_json(package: dict[str, Any]) -> bytes:
    """Return a package file's bytes."""
    return (json.dumps(package, ensure_ascii=False, indent=2) + "\n").encode()


def frames(bk: Book) -> dict[str, pd.DataFrame]:
    """Every table of the book by its file, and those of what is set aside."""
    aside = {ASIDE_FILES[name]: frame for name, frame in _set_aside(bk).items()}
    return {TABLE_FILES[name]: frame for name, frame in tables(bk).items()} | aside


def _set_aside(bk: Book) -> dict[str, pd.DataFrame]:
    every = {**bk.aside.rows, "lines": bk.aside.lines, "cells": bk.aside.cells}
    return {name: frame for name, frame in every.items() if len(frame)}


def as_csv(frame: pd.DataFrame) -> bytes:
    """Return a table as UTF-8 CSV, numbers at full precision and safe in any locale."""
    rows = _Rows()
    floats = frame.select_dtypes("float").columns
    texts: Any = {name: table.number_texts(frame[name].tolist()) for name in floats}
    frame.assign(**texts).to_csv(rows, index=False, lineterminator=_Rows.END)
    return rows.getvalue().encode()


class _Rows(io.StringIO):
    """CSV rows with plain line ends, though written with longer ones.

    Python's writer quotes what holds a character of the line end, and only that: with a plain one
    it leaves a bare carriage return unquoted, which readers then take for the end of the row.
    """

    END = "\r\n"

    def __init__(self) -> None:
        super().__init__(newline="")

    def write(self, row: str) -> int:
        return super().write(row.removesuffix(self.END) + "\n")


def _descriptor(bk: Book, package: dict[str, Any]) -> dict[str, Any]:
    listed = [
        _resource(name, TABLE_FILES[name], description(name, frame), frame)
        for name, frame in tables(bk).items()
    ]
    for name, frame in _set_aside(bk).items():
        plain = table.Table(name, ())
        listed.append(_resource(f"{ASIDE}_{name}", ASIDE_FILES[name], plain, frame))
    ours = {entry["name"] for entry in listed} | {f"{ASIDE}_{name}" for name in ASIDE_FILES}
    theirs = [r for r in package.get("resources", []) if r.get("name") not in ours]
    created = package.get("created") or datetime.now(UTC).isoformat(timespec="seconds")
    kept = {key: value for key, value in package.items() if key != NEUTRALISED}
    base = {"$schema": _PROFILE, "name": "swatch-book", "created": created, **kept}
    white = dict(zip(table.WHITE, bk.white, strict=True))
    return {**base, "title": bk.title, "white": white, "resources": [*listed, *theirs]}


def _resource(name: str, file: str, rules: table.Table, frame: pd.DataFrame) -> dict[str, Any]:
    extra = [str(column) for column in frame.columns if column not in rules.names]
    kind = {"format": "csv", "mediatype": "text/csv", "encoding": "utf-8"}
    described = table.schema(rules, extra)
    return {"name": name, "type": "table", "path": file, **kind, "schema": described}


def add(bk: Book, **rows: pd.DataFrame | None) -> Book:
    """Add rows to the book's tables; nothing is written before `save`.

    Parameters
    ----------
    bk : Book
    **rows : DataFrame
        By table: `swatches`, `steps`, `readings`, `spectra`, `shared`, `tests`, `photos`,
        `materials`. Columns that are missing are left blank.

    Raises
    ------
    InputError
        If a row breaks a rule, or its code is there already; the book is then unchanged.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import book
    >>> bk = book.create(folder / "mine")
    >>> book.add(bk, swatches=pd.DataFrame({"swatch": ["K-01"], "fibre": ["wool"]}))
    Book('mine': 1 swatches, 0 steps, 0 readings, 0 faults)
    """
    return _check(bk, rows, replaced=False)


def change(bk: Book, **rows: pd.DataFrame | None) -> Book:
    """Put rows in the place of those with the same key; rows with a new key are added.

    Give whole rows: what is blank here is blank afterwards. Raises as `add`.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> bk = book.open(synth.example())
    >>> row = bk.swatches.head(1).assign(note="uneven")
    >>> book.change(bk, swatches=row).swatches["note"].iloc[0]
    'uneven'
    """
    return _check(bk, rows, replaced=True)


def _check(bk: Book, given: dict[str, pd.DataFrame | None], *, replaced: bool) -> Book:
    rows = {name: frame for name, frame in given.items() if frame is not None}
    for name in rows:
        choose(name, TABLES, "table", "in a book")
    found = {
        name: Cells(_with(name, frame, rows[name], replaced))
        for name, frame in tables(bk).items()
        if name in rows
    }
    typed, _, faults = sort_out(found, {}, tables(bk))
    if len(faults):
        shown = "\n".join(faults["text"].head(5))
        more = f"\n… and {len(faults) - 5} more." if len(faults) > 5 else ""
        raise InputError(f"nothing was added:\n{shown}{more}")
    new: dict[str, Any] = {name: typed[name] for name in rows}
    if "readings" in rows:
        _one_white(bk, new["readings"])
    return replace(bk, **new)


def _one_white(bk: Book, readings: pd.DataFrame) -> None:
    """Refuse added colours under another white: one of them would stop every comparison."""
    own = (readings["illuminant"] == bk.white[0]) & (readings["observer"] == bk.white[1])
    fresh = ~own & ~readings["reading"].isin(bk.readings["reading"])
    if fresh.any():
        row = readings[fresh].iloc[0]
        theirs, ours = (str(row["illuminant"]), int(row["observer"])), bk.white
        raise InputError(
            f"nothing was added: reading {row['reading']} stands under "
            f"{table.white_text(theirs)}, this book under {table.white_text(ours)}. Read its "
            f"spectrum, begin a book under {table.white_text(theirs)}, or adapt the value, an "
            f'estimate: convert.adapt(table, "{ours[0]}", {ours[1]}).'
        )


def _with(name: str, old: pd.DataFrame, new: pd.DataFrame, replaced: bool) -> pd.DataFrame:
    """The table with new rows, typed where they can be and text where they can't."""
    new = new.rename(columns=str)
    text = table.as_text(new, description(name, new))
    for column in TABLES[name].columns:
        if column.default and column.name in TABLES[name].key:
            cells = text.get(column.name, pd.Series("", index=text.index))
            text[column.name] = cells.where(cells != "", column.default)
    before, given = keys(name, old), keys(name, text)
    kept = ~before.isin(given) if replaced else np.full(len(old), True)
    joined = end_to_end(old[kept], text)
    if replaced:
        joined = joined.iloc[_in_place(before, np.asarray(kept), given)]
    joined.index = pd.RangeIndex(2, len(joined) + 2)
    return joined


def _in_place(before: pd.Series, kept: np.ndarray, given: pd.Series) -> np.ndarray:
    """Order that leaves changed rows where they were, and puts new ones last."""
    place = pd.Series(np.arange(len(before)), index=before.to_numpy())
    place = place[~place.index.duplicated()]
    changed = place.reindex(given.to_numpy()).fillna(len(before)).to_numpy()
    return np.argsort(np.concatenate([np.flatnonzero(kept), changed]), kind="stable")


def remove(bk: Book, swatches: Iterable[str]) -> Book:
    """Take swatches out of the book, with their steps, readings and spectra.

    Raises
    ------
    InputError
        If one is not in the book.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> bk = book.open(synth.example())
    >>> book.remove(bk, ["W01"])
    Book('marlpit_yard': 202 swatches, 677 steps, 901 readings, 0 faults)
    """
    gone = [choose(code, bk.swatches["swatch"], "swatch") for code in swatches]
    readings = bk.readings.loc[bk.readings["swatch"].isin(gone), "reading"]
    return without(without(bk, "swatch", gone), "reading", readings)


def without(bk: Book, column: str, gone: Iterable[str]) -> Book:
    """Leave out every row, of whichever table, that names one of these in this column."""
    out = set(gone)
    kept: Any = {
        name: frame[~frame[column].isin(out)].reset_index(drop=True)
        for name, frame in tables(bk).items()
        if column in frame
    }
    return replace(bk, **kept)


def rename(bk: Book, was: str, now: str) -> Book:
    """Give a swatch another code, wherever the book has it.

    Raises
    ------
    InputError
        If there is no such swatch, or the new code is blank or another swatch's.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> bk = book.rename(book.open(synth.example()), "W01", "K-01")
    >>> bk.steps["swatch"].iloc[0]
    'K-01'
    """
    choose(was, bk.swatches["swatch"], "swatch")
    if not now or now in set(bk.swatches["swatch"]):
        raise InputError(f"the code {now!r} is blank or taken. Choose one that no swatch has.")
    named: dict[str, Any] = {
        name: frame.assign(swatch=frame["swatch"].replace(was, now))
        for name, frame in tables(bk).items()
        if "swatch" in frame
    }
    return replace(bk, **named)
