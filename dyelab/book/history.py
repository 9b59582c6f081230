"""Every save of a book is kept: taken back, put again, opened as it was, and what it did."""

import csv
import io
from collections import Counter
from pathlib import Path
from typing import Any

import pandas as pd

from dyelab.book import store
from dyelab.book.opening import from_files, keep_outside_edits, open_book
from dyelab.book.swatch_book import FILES, Book
from dyelab.book.table_changes import say_counts
from dyelab.errors import InputError


def undo(path: str | Path) -> Book:
    """Go back to the book before its last save, and open it. `redo` brings it again.

    Raises
    ------
    InputError
        If there is nothing to undo.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import book
    >>> rows = pd.DataFrame({"swatch": ["K-01"]})
    >>> bk = book.save(book.create(folder / "mine"))
    >>> bk = book.save(book.add(bk, swatches=rows))
    >>> len(book.undo(bk.path).swatches)
    0
    """
    return _step(Path(path), "undo")


def redo(path: str | Path) -> Book:
    """Bring again what `undo` took back.

    Raises
    ------
    InputError
        If there is nothing to bring again.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import book
    >>> rows = pd.DataFrame({"swatch": ["K-01"]})
    >>> bk = book.save(book.create(folder / "mine"))
    >>> bk = book.save(book.add(bk, swatches=rows))
    >>> before = book.undo(bk.path)
    >>> book.redo(bk.path)
    Book('mine': 1 swatches, 0 steps, 0 readings, 0 faults)
    """
    return _step(Path(path), "redo")


def _step(path: Path, act: str) -> Book:
    with store.hold_lock(path):
        store.recover(path)
        keep_outside_edits(path, store.snapshot(path, FILES))
        done, undone = store.steps_back(path)
        if (act == "undo" and len(done) < 2) or (act == "redo" and not undone):
            raise InputError(f"{path.name}: there is nothing to {act}.")
        target = done[-2] if act == "undo" else undone[-1]
        about = done[-1] if act == "undo" else undone[-1]
        said = [f"{act}: {'; '.join(about['what'])}"]
        store.commit(path, store.contents(path, target), act=act, what=said)
    return open_book(path)


def next_steps(path: str | Path) -> tuple[str, str]:
    """Say what `undo` would take back and what `redo` would bring again; blank for nothing.

    Examples
    --------
    >>> from dyelab import book
    >>> bk = book.save(book.create(folder / "mine"), "begun")
    >>> book.next_steps(bk.path)
    ('', '')
    """
    done, undone = store.steps_back(Path(path))
    back = done[-1]["what"] if len(done) > 1 else []
    again = undone[-1]["what"] if undone else []
    return "; ".join(back[:1]), "; ".join(again[:1])


def history(path: str | Path) -> pd.DataFrame:
    """List the book's versions, oldest first: version, saved_at, act, what.

    Examples
    --------
    >>> from dyelab import book
    >>> bk = book.save(book.create(folder / "mine"), "begun")
    >>> book.history(bk.path)["what"].tolist()
    ['a new book']
    """
    rows = [{**m, "what": "; ".join(m["what"])} for m in store.manifests(Path(path))]
    return pd.DataFrame(rows, columns=["version", "saved_at", "act", "what"])


def open_version(path: str | Path, version: int) -> Book:
    """Open an earlier version of the book, to look at or take from.

    Raises
    ------
    InputError
        If there is no such version, or its files are no longer kept.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import book
    >>> rows = pd.DataFrame({"swatch": ["K-01"]})
    >>> bk = book.save(book.create(folder / "mine"))
    >>> bk = book.save(book.add(bk, swatches=rows))
    >>> len(book.open_version(bk.path, 1).swatches)
    0
    """
    folder = Path(path)
    every = {m["version"]: m for m in store.manifests(folder)}
    if version not in every:
        raise InputError(
            f"{folder.name}: no version {version}. There are 1 to {max(every, default=0)}."
        )
    return from_files(folder, store.contents(folder, every[version]))


_TABLES = ("swatches", "steps", "readings", "photos")


def swatch_history(bk: Book, swatch: str) -> pd.DataFrame:
    """List the saves that touched a swatch, oldest first.

    Returns
    -------
    DataFrame
        `version, saved_at, what`. Versions whose files are no longer kept are left out.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import book
    >>> rows = pd.DataFrame({"swatch": ["K-01"]})
    >>> bk = book.save(book.create(folder / "mine"))
    >>> bk = book.save(book.add(bk, swatches=rows))
    >>> book.swatch_history(bk, "K-01")["what"].tolist()
    ['1 swatch added']
    """
    rows = []
    before: dict[str, Counter[str]] = {name: Counter() for name in _TABLES}
    for manifest in store.manifests(bk.path):
        now = {name: _lines(bk.path, manifest, name, swatch) for name in _TABLES}
        if any(lines is None for lines in now.values()):
            continue
        held = {name: lines or Counter() for name, lines in now.items()}
        said = [text for name in _TABLES for text in _say(name, before[name], held[name])]
        if said:
            rows.append((manifest["version"], manifest["saved_at"], "; ".join(said)))
        before = held
    return pd.DataFrame(rows, columns=["version", "saved_at", "what"])


def _lines(path: Path, manifest: dict[str, Any], name: str, swatch: str) -> Counter[str] | None:
    """The swatch's rows in a version of a table, None where the version is no longer kept."""
    content = store.kept_content(path, manifest, f"{name}.csv")
    if content is None:
        return None
    reader = csv.DictReader(io.StringIO(content.decode("utf-8", "replace"), newline=""))
    own = (row for row in reader if row.get("swatch") == swatch)
    return Counter("\x1f".join(f"{k}={v}" for k, v in row.items() if v) for row in own)


def _say(name: str, before: Counter[str], now: Counter[str]) -> list[str]:
    added, gone = (now - before).total(), (before - now).total()
    changed = min(added, gone)
    counts = {"added": added - changed, "changed": changed, "removed": gone - changed}
    return say_counts(name, counts)
