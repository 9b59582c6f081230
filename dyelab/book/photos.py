"""The originals: photos and scans, never altered, named by their content."""

import hashlib
import re
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import Any

import pandas as pd

from dyelab import files, table
from dyelab.book.model import FAULT_COLUMNS, Book
from dyelab.book.opening import add, open_book
from dyelab.errors import InputError

FOLDER = "photos"


def inside(bk: Book, name: str) -> Path:
    """Return the path of a file that the book names; it can't lead out of the book's folder.

    Raises
    ------
    InputError
        If it does.
    """
    if leads_out(name):
        raise InputError(f"{name!r} leads out of the book's folder. Name a file inside it.")
    target = (bk.path / name).resolve()
    if not target.is_relative_to(bk.path.resolve()):
        raise InputError(f"{name!r} leads out of the book's folder through a link. Copy it in.")
    return target


def leads_out(name: str) -> bool:
    """Whether a file name is absolute or climbs out of its folder, on any system."""
    parts = PurePosixPath(name.replace("\\", "/")).parts
    return name.startswith(("/", "\\", "~")) or ".." in parts or bool(re.match(r"[A-Za-z]:", name))


def keep_photo(
    bk: Book, file: str | Path, *, swatches: list[str] | None = None
) -> tuple[Book, str]:
    """Copy a photo into the book, named by its content, and list it in ``photos.csv``.

    The copy is made at once; the list is saved with the book. The same photo again is kept
    once.

    Returns
    -------
    book : Book
    name : str
        What to write as the `source` of its readings, such as ``photos/3f…9a.jpg``.

    Raises
    ------
    InputError
        If there is no such file.
    """
    origin = Path(file)
    if not origin.is_file():
        raise InputError(f"{origin}: no such photo. Check the name and the folder.")
    content = origin.read_bytes()
    name = f"{_digest(content)}{origin.suffix.lower()}"
    target = bk.path / FOLDER / name
    if not target.exists():
        with files.whole(target, binary=True) as copy:
            copy.write(content)
    now = datetime.now(UTC).isoformat(timespec="seconds")
    listed = bk.photos.loc[bk.photos["photo"] == name, "swatch"]
    rows = [
        {"photo": name, "swatch": code, "original": origin.name, "added_at": now}
        for code in (swatches or [""])
        if code not in set(listed)
    ]
    return (add(bk, photos=pd.DataFrame(rows)) if rows else bk), f"{FOLDER}/{name}"


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:24]


def photos_of(bk: Book, swatch: str) -> list[Path]:
    """Return the photos that show a swatch, by their list or by a reading taken from them."""
    listed = FOLDER + "/" + bk.photos.loc[bk.photos["swatch"] == swatch, "photo"]
    sources = bk.readings.loc[bk.readings["swatch"] == swatch, "source"]
    names = dict.fromkeys([*listed, *sources[sources.str.startswith(f"{FOLDER}/")]])
    found = [inside(bk, name) for name in names if not leads_out(name)]
    return [path for path in found if path.is_file()]


def check(path: str | Path) -> pd.DataFrame:
    """List every fault of a book: its rows, and the photos that it names.

    Returns
    -------
    DataFrame
        `file, row, column, found, expected, remedy, text`, one row a fault.
    """
    bk = open_book(path)
    found = [*_photo_faults(bk), *_source_faults(bk)]
    more = pd.DataFrame(found, columns=FAULT_COLUMNS)
    return pd.concat([part for part in (bk.faults, more) if len(part)] or [more], ignore_index=True)


def _photo_faults(bk: Book) -> list[dict[str, Any]]:
    faults = []
    for at, name in enumerate(bk.photos["photo"]):
        target = bk.path / FOLDER / name
        if leads_out(name):
            expected, remedy = (
                "leads out of the book's folder",
                "Copy the photo in: book.keep_photo.",
            )
        elif not target.is_file():
            expected, remedy = "is not in photos/", "Put the file back, or delete this row."
        elif _digest(target.read_bytes()) != Path(name).stem:
            expected, remedy = "is not the photo it was", "Put the original back: it was altered."
        else:
            continue
        faults.append(table.fault("photos.csv", at + 2, "photo", name, expected, remedy))
    return faults


def _source_faults(bk: Book) -> list[dict[str, Any]]:
    odd = {name: leads_out(name) for name in bk.readings["source"].unique()}
    frame = bk.readings[bk.readings["source"].map(odd).astype(bool)]
    remedy = "Write the file's name alone, or copy a photo in: book.keep_photo."
    return [
        table.fault(
            "readings.csv",
            int(at) + 2,
            "source",
            source,
            "leads out of the book's folder",
            remedy,
            code,
        )
        for at, code, source in zip(frame.index, frame["reading"], frame["source"], strict=True)
    ]
