"""What one version of a book may say of itself: the one place where a history file is believed."""

import json
import re
from typing import Any

from dyelab.book.model import FILES
from dyelab.errors import InputError

_DIGEST = re.compile(r"[0-9a-f]{24}")
_NAMED = re.compile(r"(\d{6,9})\.(json|pending)")
ACTS = ("save", "undo", "redo", "found")


def number(name: str) -> int | None:
    """Return the version a history file is about, by its name; None if it is no such file."""
    match = _NAMED.fullmatch(name)
    return int(match.group(1)) if match else None


def parsed(content: bytes, name: str) -> dict[str, Any]:
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
