"""What lies in a book's folder: its own files, and what is never followed, links above all.

A book may come from a stranger. A link in it could lead a reading to a private file, or a save
to a file outside, so nothing that is a link, a pipe or a device is ever opened.
"""

import json
import os
import re
import stat
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from dyelab import limits
from dyelab.book.swatch_book import FILES
from dyelab.errors import InputError

HISTORY = "history"
PHOTOS = "photos"
_MOST_ENTRIES = 200_000  # looked through for links; a book has some thousands


def is_link(path: Path) -> bool:
    """Whether this is a link of any kind, also one that leads nowhere."""
    return path.is_symlink() or getattr(os.path, "isjunction", lambda _: False)(path)


def plain_file(book: Path, name: str) -> Path | None:
    """Return the path of a plain file of the book, None where there is none or a link."""
    steps = [book.joinpath(*Path(name).parts[: n + 1]) for n in range(len(Path(name).parts))]
    try:
        if any(is_link(step) for step in steps) or not stat.S_ISREG(steps[-1].lstat().st_mode):
            return None
    except OSError:
        return None
    return steps[-1]


def content(book: Path, name: str, most: int = limits.TABLE_BYTES) -> bytes | None:
    """Return what a plain file of the book holds, None where there is none or a link."""
    file = plain_file(book, name)
    return limits.content(file, most) if file is not None else None


def photos(book: Path) -> list[Path]:
    """Return the files in ``photos/``, by name; links and hidden files left out."""
    held = names(book / PHOTOS) if not is_link(book / PHOTOS) else []
    found = [plain_file(book, f"{PHOTOS}/{name}") for name in sorted(held) if name[:1] != "."]
    return [path for path in found if path is not None]


def names(folder: Path) -> list[str]:
    """Return the names in a folder, none where it can't be read."""
    try:
        return os.listdir(folder)
    except OSError:
        return []


def strange(book: Path) -> Iterator[str]:
    """Yield the links, pipes and devices in a book, by their path inside it."""
    seen = 0
    for here, folders, names in os.walk(book):
        for name in sorted([*folders, *names]):
            path = Path(here, name)
            try:
                kind = path.lstat().st_mode
            except FileNotFoundError:  # another program saves, and its part file is gone by now
                continue
            if is_link(path) or not (stat.S_ISREG(kind) or stat.S_ISDIR(kind)):
                yield path.relative_to(book).as_posix()
        folders[:] = [name for name in folders if not is_link(Path(here, name))]
        seen += len(folders) + len(names)
        if seen > _MOST_ENTRIES:
            return


def refuse_strange(book: Path, files: Iterable[str], folders: Iterable[str]) -> None:
    """Refuse to write where a link, or anything else that is not of the book's making, stands.

    Raises
    ------
    InputError
        Names the first.
    """
    kinds = dict.fromkeys(folders, stat.S_ISDIR) | dict.fromkeys(files, stat.S_ISREG)
    kinds |= {str(Path(name).parent): stat.S_ISDIR for name in kinds if "/" in name}
    for name in sorted(kinds):
        path = book / name
        if is_link(path) or (path.exists() and not kinds[name](path.lstat().st_mode)):
            raise InputError(
                f"{book.name}: {name} is a link, or not what a book keeps there. Nothing was "
                "changed. Delete it, or put what it should hold in its place."
            )


_DIGEST = re.compile(r"[0-9a-f]{24}")
_NAMED = re.compile(r"(\d{6,9})\.(json|pending)")
ACTS = ("save", "undo", "redo", "found")


def number(name: str) -> int | None:
    """Return the version a history file is about, by its name; None if it is no such file."""
    match = _NAMED.fullmatch(name)
    return int(match.group(1)) if match else None


def parse_version(content: bytes, name: str) -> dict[str, Any]:
    """Read a history file: it may name the book's own files only, by digests of 24 hex digits.

    Raises
    ------
    InputError
        If it breaks a rule; the message says which, without place or remedy.
    """
    try:
        found = json.loads(content)
    except (ValueError, RecursionError) as error:
        raise InputError("is damaged: not the text of a version") from error
    if not isinstance(found, dict) or not _plain(found):
        raise InputError("is damaged: not the description of a version")
    if found["version"] != number(name):
        raise InputError(f"is about version {found['version']!r}, not the one it is named for")
    for held in ("files", "before"):
        for file, digest in found[held].items():
            _own(file)
            if not isinstance(digest, str) or not _DIGEST.fullmatch(digest):
                raise InputError(f"names a content by {str(digest)[:60]!r}, not by 24 hex digits")
    for file in found["removed"]:
        _own(file)
    return found


def _plain(found: dict[str, Any]) -> bool:
    """Whether everything is there and of its kind; what early versions lacked is filled in."""
    found.setdefault("before", {})
    found.setdefault("removed", [])
    found.setdefault("saved_at", "")
    kinds = {"version": int, "act": str, "saved_at": str, "what": list, "removed": list}
    kinds |= {"files": dict, "before": dict}
    whole = all(isinstance(found.get(key), kind) for key, kind in kinds.items())
    return whole and found["act"] in ACTS and all(isinstance(text, str) for text in found["what"])


def _own(file: Any) -> None:
    if file not in FILES:
        raise InputError(f"names {str(file)[:80]!r}, which is no file of a book's own")
