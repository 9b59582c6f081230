"""What a panel remembers between days: the books seen, and the last choices made in each."""

import json
import os
from contextlib import suppress
from pathlib import Path
from typing import Any

from dyelab import files

_KEPT_BOOKS = 12  # what a list of books shows without scrolling


def state_file(name: str = "choices.json") -> Path:
    """Return the file of the choices, or another, in the user's own folder for state."""
    import platformdirs

    return Path(platformdirs.user_state_dir("dyelab")) / name


def _all() -> dict[str, Any]:
    return files.json_kept(state_file())


def _keep(held: dict[str, Any]) -> None:
    with suppress(OSError):  # a full or read-only home must not stop anybody's work
        files.write(state_file(), json.dumps(held, ensure_ascii=False, indent=1))


def choices(book: Path, panel: str) -> dict[str, Any]:
    """Return the last choices made in this panel with this book."""
    return dict(_all().get("choices", {}).get(str(book), {}).get(panel, {}))


def keep_choices(book: Path, panel: str, values: dict[str, Any]) -> None:
    """Remember the choices that can be written down; others, such as a file, are left out."""
    plain = {k: v for k, v in values.items() if _writable(v)}
    held = _all()
    held.setdefault("choices", {}).setdefault(str(book), {})[panel] = plain
    _keep(held)


def _writable(value: Any) -> bool:
    """Plain values, and several of them chosen together."""
    if isinstance(value, tuple | list):
        return all(isinstance(one, str | int | float) for one in value)
    return isinstance(value, str | int | float | bool)


def words(kind: str) -> dict[str, str]:
    """Return what words of spreadsheets were said to mean before, whatever the book."""
    held = _all().get("words", {}).get(kind, {})
    return {str(word): str(means) for word, means in held.items()}


def keep_words(kind: str, said: dict[str, str]) -> None:
    """Remember what words of a spreadsheet mean, such as its headings."""
    held = _all()
    held.setdefault("words", {}).setdefault(kind, {}).update(said)
    _keep(held)


def books() -> list[Path]:
    """Books opened before that are still there, the last one first."""
    listed = [Path(path) for path in _all().get("books", [])]
    return [path for path in listed if (path / "datapackage.json").is_file()]


def keep_book(book: Path) -> None:
    """Put a book at the head of those seen."""
    held = _all()
    others = [path for path in held.get("books", []) if path != str(book)]
    held["books"] = [str(book), *others][:_KEPT_BOOKS]
    _keep(held)


def start() -> Path | None:
    """The book the session was opened with (``dyelab open BOOK``), if any."""
    named = os.environ.get("DYELAB_BOOK", "")
    return Path(named) if named else None
