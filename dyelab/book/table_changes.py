"""What changed in tables: between two versions, by two people at once, by another program."""

import hashlib
from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any

import numpy as np
import pandas as pd

from dyelab import table
from dyelab.book.swatch_book import PACKAGE, TABLE_FILES, Book, key_columns, keys, tables
from dyelab.errors import InputError


def _rows(name: str, frame: pd.DataFrame) -> pd.Series:
    """A 64-bit mark of each row's content, by its key; blank columns leave no mark."""
    mark = np.zeros(len(frame), np.uint64)
    for column in frame.columns:
        numeric = pd.api.types.is_numeric_dtype(frame[column].dtype)
        cells = frame[column].astype(float) if numeric else frame[column]
        held = ~table.blanks(cells)
        salt = np.uint64(int(hashlib.sha256(str(column).encode()).hexdigest()[:15], 16) | 1)
        mark += np.where(held, pd.util.hash_array(cells.to_numpy()) * salt, np.uint64(0))
    return pd.Series(mark, index=keys(name, frame).to_numpy())


def three_way(
    name: str, base: pd.DataFrame, mine: pd.DataFrame, theirs: pd.DataFrame
) -> pd.DataFrame:
    """Join two edits of one table, row by row.

    Parameters
    ----------
    name : str
        The table.
    base, mine, theirs : DataFrame
        As opened, as changed here, as changed elsewhere meanwhile.

    Raises
    ------
    InputError
        If both changed the same row, in different ways.
    """
    if mine is base or mine.equals(base):
        return theirs
    if theirs.equals(base):
        return mine
    was, here, there = (_rows(name, frame) for frame in (base, mine, theirs))
    was, here, there = (rows[~rows.index.duplicated()] for rows in (was, here, there))
    changed = here[here.ne(was.reindex(here.index))].index
    removed = was.index.difference(here.index)
    touched = there[there.ne(was.reindex(there.index))].index
    clash = [key for key in changed.intersection(touched) if here[key] != there[key]]
    clash += removed.intersection(touched).tolist()
    clash += changed.intersection(was.index.difference(there.index)).tolist()
    if clash:
        raise InputError(
            f"{name}.csv: {', '.join(map(str, clash[:5]))} changed here and meanwhile in the "
            "folder too. Nothing was saved. Open the book again to see the other change, then "
            "make yours."
        )
    order = {key: i for i, key in enumerate(keys(name, theirs))}
    kept = theirs[~keys(name, theirs).isin([*changed, *removed])]
    new = mine[keys(name, mine).isin(changed)]
    joined = pd.concat([frame for frame in (kept, new) if len(frame)] or [kept], ignore_index=True)
    text = joined.columns[[not pd.api.types.is_numeric_dtype(kind) for kind in joined.dtypes]]
    joined[text] = joined[text].fillna("")
    place = keys(name, joined).map(lambda key: order.get(key, len(order)))
    return joined.iloc[place.argsort(kind="stable")].reset_index(drop=True)


def changes(before: Mapping[str, pd.DataFrame], after: Mapping[str, pd.DataFrame]) -> list[str]:
    """Say in words how many rows of each table were added, changed or removed."""
    said = []
    for name, frame in after.items():
        old = before.get(name)
        if old is None or old is frame or old.equals(frame):
            continue
        was, now = _rows(name, old), _rows(name, frame)
        was, now = was[~was.index.duplicated()], now[~now.index.duplicated()]
        both = now.index.intersection(was.index)
        counts = {
            "added": len(now.index.difference(was.index)),
            "changed": int(now[both].ne(was[both]).sum()),
            "removed": len(was.index.difference(now.index)),
        }
        said += say_counts(name, counts)
    return said or ["nothing but the wording of the files"]


_NOUNS = {"swatches": "swatch", "spectra": "spectrum", "shared": "shared error"}


def say_counts(name: str, counts: Mapping[str, int]) -> list[str]:
    """Say how many rows of a table each verb is about: ``3 swatches added``."""
    one = _NOUNS.get(name, name.removesuffix("s"))
    many = {"shared": "shared errors"}.get(name, name)
    return [f"{n} {one if n == 1 else many} {verb}" for verb, n in counts.items() if n]


# What instruments and photos gave. Nobody types these anew, so a number that changed there is a
# fault; changes of the other tables are ordinary work in a spreadsheet, and only said.
MEASURED = ("readings", "spectra", "shared")
_REMEDY = "Undo brings back what was saved; saving the book keeps what stands there now."


def outside_changes(before: Book, now: Book, files: Iterable[str]) -> list[dict[str, Any]]:
    """Compare a book with its last version.

    Parameters
    ----------
    before, now : Book
        The last version, and the book as it stands in its folder.
    files : iterable of str
        The files whose bytes differ.

    Returns
    -------
    list of dict
        Faults as of `table.fault`, one a file, and ``grave``: whether numbers were lost.
    """
    was, stands = tables(before), tables(now)
    listed = [name for name, file in TABLE_FILES.items() if file in set(files)]
    found = [_change(name, *_compare(name, was[name], stands[name], now)) for name in listed]
    if before.white != now.white:
        whites = [table.white_text(white) for white in (before.white, now.white)]
        said = f"was changed outside dyelab: the book's white, {whites[0]}, became {whites[1]}"
        found.append(_say(PACKAGE, said, _REMEDY, grave=True))
    return found


def unknown_changes(files: Iterable[str]) -> list[dict[str, Any]]:
    """Say that files were changed outside, where the last version is no longer there to compare."""
    expected = "was changed outside dyelab, and what it was is no longer kept"
    remedy = "Compare it with a copy of your own; saving the book keeps what stands there now."
    return [_say(file, expected, remedy, grave=True) for file in files]


def _say(file: str, expected: str, remedy: str, *, grave: bool) -> dict[str, Any]:
    made = table.fault(file, None, "", file, expected, remedy)
    return {**made, "text": f"{file} {expected}. {remedy}", "grave": grave}


def _change(name: str, counts: dict[str, int], columns: list[str]) -> dict[str, Any]:
    file = TABLE_FILES[name]
    parts = [
        f"{counts[kind]:,} {_WORDS[kind][counts[kind] != 1]}" for kind in _WORDS if counts[kind]
    ]
    parts += [f"{'columns' if len(columns) > 1 else 'column'} {', '.join(columns[:4])} gone"] * (
        len(columns) > 0
    )
    if not parts:
        said = "was written anew outside dyelab; no value differs"
        return _say(file, said, "Nothing is to be done.", grave=False)
    rows = counts["rows"]
    differ = f"{rows:,} row{'s' * (rows != 1)} differ{'s' * (rows == 1)} ({', '.join(parts)})"
    lost = counts["gone"] + counts["changed"] > 0 and name in MEASURED
    grave = lost or counts["rounded"] > 0 or bool(columns)
    return _say(file, f"was changed outside dyelab: {differ}", _REMEDY, grave=grave)


_WORDS = {
    "rounded": ("number rounded", "numbers rounded"),
    "changed": ("value changed", "values changed"),
    "gone": ("row gone", "rows gone"),
    "new": ("row new", "rows new"),
}


def _compare(
    name: str, was: pd.DataFrame, now: pd.DataFrame, book: Book
) -> tuple[dict[str, int], list[str]]:
    """Count what differs, rows and cells that are set aside (and so named already) left out."""
    was, now = (frame.set_axis(_unique(keys(name, frame))) for frame in (was, now))
    waiting = book.aside.rows.get(name)
    keyed = waiting is not None and set(key_columns(name)) <= set(waiting)
    aside = set(keys(name, waiting)) if waiting is not None and keyed else set()
    gone = was.index.difference(now.index).difference(list(aside))
    both = was.index.intersection(now.index, sort=False)
    odd = book.aside.cells[book.aside.cells["table"] == name]
    known = set(zip(odd["key"], odd["column"], strict=True))
    touched = np.zeros(len(both), bool)
    counts = {"gone": len(gone), "new": len(now.index.difference(was.index))}
    counts |= {"rounded": 0, "changed": 0}
    for column in was.columns.intersection(now.columns):
        differs, rounded = _cells(was.loc[both, column], now.loc[both, column])
        if known:
            differs &= np.array([(str(key), column) not in known for key in both], bool)
        touched |= differs
        counts["rounded"] += int((differs & rounded).sum())
        counts["changed"] += int((differs & ~rounded).sum())
    counts["rows"] = int(touched.sum()) + counts["gone"] + counts["new"]
    lost = [str(c) for c in was.columns.difference(now.columns) if not table.blanks(was[c]).all()]
    return counts, lost


def _unique(marks: pd.Series) -> pd.Index:
    """Keys with a count where they repeat, as those of photos may."""
    again = marks.groupby(marks).cumcount()
    return pd.Index(marks.where(again == 0, marks + " #" + again.astype(str)))


def _cells(was: pd.Series, now: pd.Series) -> tuple[np.ndarray, np.ndarray]:
    """Which cells differ, and which of these are the old number with fewer digits."""
    if not all(pd.api.types.is_numeric_dtype(cells.dtype) for cells in (was, now)):
        texts = [np.array(table.texts(cells), object) for cells in (was, now)]
        return texts[0] != texts[1], np.zeros(len(was), bool)
    old, new = table.numbers(was), table.numbers(now)
    differs = ~((old == new) | (np.isnan(old) & np.isnan(new)))
    rounded = np.zeros(len(old), bool)
    for at in np.flatnonzero(differs & np.isfinite(old) & np.isfinite(new)):
        rounded[at] = _is_rounded(float(old[at]), float(new[at]))
    return differs, rounded


def _is_rounded(old: float, new: float) -> bool:
    places = [-int(Decimal(repr(value)).normalize().as_tuple().exponent) for value in (old, new)]
    within = abs(new - old) <= 0.5 * 10.0 ** -max(places[1], 0) * (1 + 1e-9)
    return places[1] < places[0] and within
