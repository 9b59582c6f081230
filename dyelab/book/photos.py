"""The originals: photos and scans, never altered, named by their content."""

import hashlib
import re
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import Any

import pandas as pd

from dyelab import files, limits, recipe, table
from dyelab.book import folder, store
from dyelab.book.folder import PHOTOS as FOLDER
from dyelab.book.model import FAULT_COLUMNS, Book
from dyelab.book.opening import add, opened
from dyelab.errors import InputError


def inside(bk: Book, name: str) -> Path:
    """Return the path of a file that the book names; it can't lead out of the book's folder.

    Raises
    ------
    InputError
        If it does.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> bk = book.open(synth.example())
    >>> book.inside(bk, "readings.csv").name
    'readings.csv'
    """
    if leads_out(name):
        raise InputError(f"{name!r} leads out of the book's folder. Name a file inside it.")
    target = (bk.path / name).resolve()
    if not target.is_relative_to(bk.path.resolve()) or folder.is_link(bk.path / name):
        raise InputError(f"{name!r} leads out of the book's folder through a link. Copy it in.")
    return target


def leads_out(name: str) -> bool:
    """Whether a file name is absolute or climbs out of its folder, on any system."""
    parts = PurePosixPath(name.replace("\\", "/")).parts
    return name.startswith(("/", "\\", "~")) or ".." in parts or bool(re.match(r"[A-Za-z]:", name))


def keep_photo(
    bk: Book, file: str | Path, *, swatches: list[str] | None = None, goes_with: str = ""
) -> tuple[Book, str]:
    """Copy a photo into the book, named by its content, and list it in ``photos.csv``.

    The copy is made at once; the list is saved with the book. The same photo again is kept
    once. `goes_with` names an earlier photo of the book, by the same phone, of the same card in
    the same light.

    Returns
    -------
    book : Book
    name : str
        What to write as the `source` of its readings, such as ``photos/3f…9a.jpg``.

    Raises
    ------
    InputError
        If there is no such file.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> bk, name = book.keep_photo(book.create(folder / "mine"), photo)
    >>> bk.photos["original"].tolist()
    ['rendered_card_W01_W24.jpg']
    """
    origin = Path(file)
    if not origin.is_file():
        raise InputError(f"{origin}: no such photo. Check the name and the folder.")
    content = limits.content(origin, limits.PHOTO_BYTES)
    name = f"{_digest(content)}{_ending(origin)}"
    put(bk.path, [(name, content)])
    now = datetime.now(UTC).isoformat(timespec="seconds")
    listed = bk.photos.loc[bk.photos["photo"] == name, "swatch"]
    rows = [
        {"photo": name, "swatch": code, "original": origin.name, "added_at": now}
        | ({"goes_with": goes_with.removeprefix(f"{FOLDER}/")} if goes_with else {})
        for code in (swatches or [""])
        if code not in set(listed)
    ]
    return (add(bk, photos=pd.DataFrame(rows)) if rows else bk), f"{FOLDER}/{name}"


def _ending(origin: Path) -> str:
    """The file's ending, where it is one that any system takes."""
    ending = origin.suffix.lower()
    return ending if re.fullmatch(r"\.[a-z0-9]{1,8}", ending) else ""


def put(book: Path, photos: Iterable[tuple[str, bytes]]) -> None:
    """Write photos that are not in the book yet; under the lock, so that no save sweeps them.

    Raises
    ------
    InputError
        If a link stands in the way, or the disk is full; nothing half-written is left.
    """
    with store.locked(book):
        for name, content in photos:
            if folder.own(book, f"{FOLDER}/{name}") is None:
                try:
                    with files.whole(book / FOLDER / name, binary=True) as copy:
                        copy.write(content)
                except OSError as error:
                    raise InputError(
                        f"{book.name}: the photo {name} could not be written ({error.strerror}). "
                        "Make room or check the disk, and try again."
                    ) from error


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:24]


def photos_of(bk: Book, swatch: str) -> list[Path]:
    """Return the photos that show a swatch, by their list or by a reading taken from them.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> bk = book.open(synth.example())
    >>> book.photos_of(bk, "W01")
    []
    """
    listed = FOLDER + "/" + bk.photos.loc[bk.photos["swatch"] == swatch, "photo"]
    sources = bk.readings.loc[bk.readings["swatch"] == swatch, "source"]
    names = dict.fromkeys([*listed, *sources[sources.str.startswith(f"{FOLDER}/")]])
    found = [folder.own(bk.path, name) for name in names if not leads_out(name)]
    return [path for path in found if path is not None]


def check(path: str | Path) -> pd.DataFrame:
    """List every fault of a book: its rows, the photos it names, its history, links in it.

    Numbers that another program changed since the last save are faults too.

    Returns
    -------
    DataFrame
        `file, row, column, found, expected, remedy, text`, one row a fault.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> len(book.check(synth.example()))
    0
    """
    bk, unlike = opened(path)
    grave = [fault for fault in unlike if fault["grave"]]
    found = [*grave, *recipe.hazard_faults(bk.materials), *_photo_faults(bk), *_source_faults(bk)]
    more = pd.DataFrame(found, columns=FAULT_COLUMNS)
    return pd.concat([part for part in (bk.faults, more) if len(part)] or [more], ignore_index=True)


def _photo_faults(bk: Book) -> list[dict[str, Any]]:
    faults = []
    for at, name in enumerate(bk.photos["photo"]):
        held = None if leads_out(name) else folder.own(bk.path, f"{FOLDER}/{name}")
        if leads_out(name):
            expected, remedy = (
                "leads out of the book's folder",
                "Copy the photo in: book.keep_photo.",
            )
        elif held is None:
            expected, remedy = "is not in photos/", "Put the file back, or delete this row."
        elif _digest(limits.content(held, limits.PHOTO_BYTES)) != Path(name).stem:
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
