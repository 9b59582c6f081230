"""The history of one swatch: which saves touched it, and how."""

import csv
import io
from collections import Counter
from pathlib import Path
from typing import Any

import pandas as pd

from dyelab.book import store
from dyelab.book.merge_tables import noun
from dyelab.book.model import Book

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
        said = [text for name in _TABLES for text in _said(name, before[name], held[name])]
        if said:
            rows.append((manifest["version"], manifest["saved_at"], "; ".join(said)))
        before = held
    return pd.DataFrame(rows, columns=["version", "saved_at", "what"])


def _lines(path: Path, manifest: dict[str, Any], name: str, swatch: str) -> Counter[str] | None:
    """The swatch's rows in a version of a table, None where the version is no longer kept."""
    content = store.kept(path, manifest, f"{name}.csv")
    if content is None:
        return None
    reader = csv.DictReader(io.StringIO(content.decode("utf-8", "replace"), newline=""))
    return Counter(
        "\x1f".join(f"{k}={v}" for k, v in row.items() if v)
        for row in reader
        if row.get("swatch") == swatch
    )


def _said(name: str, before: Counter[str], now: Counter[str]) -> list[str]:
    added, gone = (now - before).total(), (before - now).total()
    changed = min(added, gone)
    counts = {"added": added - changed, "changed": changed, "removed": gone - changed}
    return [f"{count} {noun(name, count)} {verb}" for verb, count in counts.items() if count]
