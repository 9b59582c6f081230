"""What a photo's file says of how it was taken: camera and time."""

from pathlib import Path
from typing import Any

_MAKE, _MODEL, _TAKEN, _INNER, _ORIGINAL = 0x010F, 0x0110, 0x0132, 0x8769, 0x9003


def file_data(path: str | Path) -> dict[str, str]:
    """Return `camera` and `taken_at` (2026-04-30T14:05:00) as the file has them, else blank."""
    blank = {"camera": "", "taken_at": ""}
    try:
        found = _exif(path)
    except Exception:  # no picture that Pillow knows, or a broken header: it says nothing
        return blank
    camera = " ".join(_text(found.get(tag)) for tag in (_MAKE, _MODEL)).strip()
    taken = _text(found.get_ifd(_INNER).get(_ORIGINAL) or found.get(_TAKEN))
    return blank | {"camera": camera[:80], "taken_at": _moment(taken)}


def _exif(path: str | Path) -> Any:
    from PIL import Image

    with Image.open(path) as picture:
        return picture.getexif()


def _text(value: Any) -> str:
    text = value if isinstance(value, str) else ""
    return "".join(c for c in text if c.isprintable()).strip()


def _moment(text: str) -> str:
    """``2026:04:30 14:05:00`` as ISO 8601."""
    from datetime import datetime

    try:
        return datetime.strptime(text[:19], "%Y:%m:%d %H:%M:%S").isoformat()
    except ValueError:
        return ""
