"""Joining tables: what two people changed at once, and what changed between two versions."""

import hashlib
from collections.abc import Mapping

import numpy as np
import pandas as pd

from dyelab import table
from dyelab.book.model import keys
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
    clash += [
        *removed.intersection(touched),
        *changed.intersection(was.index.difference(there.index)),
    ]
    if clash:
        raise InputError(
            f"{name}.csv: {', '.join(map(str, clash[:5]))} changed here and meanwhile in the "
            "folder too. Nothing was saved. Open the book again to see the other change, then "
            "make yours."
        )
    return _woven(name, mine, theirs, changed, removed)


def _woven(
    name: str, mine: pd.DataFrame, theirs: pd.DataFrame, changed: pd.Index, removed: pd.Index
) -> pd.DataFrame:
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
