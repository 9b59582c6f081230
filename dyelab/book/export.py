"""A book out to a CSV folder, an XLSX file or a single zip, and back without loss.

In the CSV files, text that a spreadsheet would run as a formula carries an apostrophe; the
package says so, and whoever opens it here gets the text as it was.
"""

import json
import os
import re
import shutil
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from typing import Any

import pandas as pd

from dyelab import files, limits, table
from dyelab.book import folder, opening, store
from dyelab.book.folder import PHOTOS
from dyelab.book.photos import leads_out, put
from dyelab.book.swatch_book import FILES, PACKAGE, Book
from dyelab.errors import InputError, reading

_CELL = 32_767  # letters that a cell of an XLSX file holds
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\ufffe\uffff]|_x[0-9A-Fa-f]{4}_")
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")


def export(bk: Book, target: str | Path) -> Path:
    """Write the book out: to a ``.zip``, an ``.xlsx``, or else a folder of CSV files.

    The zip and the folder hold the photos; the XLSX file holds the tables.

    Raises
    ------
    InputError
        If the folder is not empty, or a text is too long for a spreadsheet cell.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> bk = book.open(synth.example())
    >>> book.export(bk, folder / "yard.zip").name
    'yard.zip'
    """
    path = Path(target)
    if path.suffix.lower() == ".xlsx":
        return _to_xlsx(bk, path)
    if path.suffix.lower() == ".zip":
        return _to_zip(bk, path)
    return _to_folder(bk, path)


@limits.in_time
def restore(source: str | Path, path: str | Path) -> Book:
    """Make a book in a new folder from what `export` wrote.

    Raises
    ------
    InputError
        If the source is not an export, or the folder is not empty.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> bk = book.open(synth.example())
    >>> book.restore(book.export(bk, folder / "yard.zip"), folder / "again")
    Book('again': 203 swatches, 679 steps, 913 readings, 0 faults)
    """
    origin, target = Path(source), Path(path)
    if not origin.exists():
        raise InputError(f"{origin}: no such file or folder. Check the name.")
    if target.exists() and any(target.iterdir()):
        raise InputError(f"{target}: this folder is not empty. Name a new one.")
    with _whole_folder(target) as made, _open_export(origin) as (contents, pictures):
        _build(origin, made, contents, pictures)
    return opening.open_book(target)


def _build(
    origin: Path, made: Path, contents: dict[str, bytes], pictures: Iterator[tuple[str, bytes]]
) -> None:
    """Make the book in this folder."""
    if "swatches.csv" not in contents:
        raise InputError(f"{origin.name}: holds no swatches, so it is no book that was exported.")
    bk = opening.from_files(made, contents)
    made.mkdir(parents=True)
    put(made, pictures)
    with store.hold_lock(made):
        what = [f"brought in from {origin.name}"]
        store.commit(
            made, opening.file_contents(bk, opening.package_of(contents)), act="save", what=what
        )


def _neutral(bk: Book) -> dict[str, bytes]:
    """The book's files with formulas neutralised, and a package that says so."""
    package = json.loads(opening.file_contents(bk, {})[PACKAGE]) | {opening.NEUTRALISED: True}
    plain = {
        name: opening.as_csv(files.escape_formulas(one)) for name, one in opening.frames(bk).items()
    }
    return {PACKAGE: opening.as_json(package), **plain}


def _to_folder(bk: Book, path: Path) -> Path:
    if path.exists() and any(path.iterdir()):
        raise InputError(f"{path}: this folder is not empty. Name a new one.")
    with _whole_folder(path) as made:
        for name, content in _neutral(bk).items():
            files.write(made / name, content)
        for photo in folder.photos(bk.path):
            files.write(made / PHOTOS / photo.name, limits.content(photo, limits.PHOTO_BYTES))
    return path


@contextmanager
def _whole_folder(target: Path) -> Iterator[Path]:
    """A folder beside its place to write in, so that it appears there whole or not at all."""
    made = target.with_name(f".{target.name}.part")
    shutil.rmtree(made, ignore_errors=True)
    try:
        yield made
        if target.is_dir():  # empty, which not every system replaces
            target.rmdir()
        os.replace(made, target)
    finally:
        shutil.rmtree(made, ignore_errors=True)


def _to_zip(bk: Book, path: Path) -> Path:
    with (
        files.whole(path, binary=True) as file,
        zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed,
    ):
        for name, content in _neutral(bk).items():
            packed.writestr(name, content)
        for photo in folder.photos(bk.path):
            packed.write(photo, f"{PHOTOS}/{photo.name}", zipfile.ZIP_STORED)
    return path


def _to_xlsx(bk: Book, path: Path) -> Path:
    from openpyxl import Workbook

    made = Workbook(write_only=True)
    about = made.create_sheet("about")
    about.append([_cell(about, "title"), _cell(about, bk.title)])
    about.append([_cell(about, "white"), _cell(about, table.white_text(bk.white))])
    for name, frame in opening.frames(bk).items():
        sheet = made.create_sheet(name.removesuffix(".csv").replace("/", " "))
        sheet.append([_cell(sheet, column) for column in frame.columns])
        for row in frame.itertuples(index=False, name=None):
            sheet.append([_cell(sheet, value) for value in row])
    with files.whole(path, binary=True) as file:
        made.save(file)
    return path


def _cell(sheet: Any, value: Any) -> Any:
    """A cell that is text, whatever it begins with; numbers stay numbers."""
    from openpyxl.cell import WriteOnlyCell

    if not isinstance(value, str):
        return None if pd.isna(value) else value
    if value == "":
        return None
    text = _CONTROL.sub(lambda m: f"_x{ord(m.group()[0]):04X}_{m.group()[1:]}", value)
    if len(text) > _CELL:
        raise InputError(
            f"a text of {len(text):,} letters is too long for a spreadsheet cell ({_CELL:,}): "
            f"{value[:40]!r}… Export to a .zip instead."
        )
    cell = WriteOnlyCell(sheet, text)
    cell.data_type = "s"
    return cell


@contextmanager
def _open_export(origin: Path) -> Iterator[tuple[dict[str, bytes], Iterator[tuple[str, bytes]]]]:
    """Yield an export's tables by file, and its photos one by one."""
    if origin.is_dir():
        tables = {name: folder.content(origin, name) for name in FILES}
        held = {name: content for name, content in tables.items() if content is not None}
        most = limits.PHOTO_BYTES
        yield held, ((p.name, limits.content(p, most)) for p in folder.photos(origin))
    elif origin.suffix.lower() == ".xlsx":
        yield _from_xlsx(origin), iter(())
    else:
        with reading(origin.name, "zip"):
            packed = zipfile.ZipFile(origin)
        with packed:
            yield _from_zip(origin, packed), _photos_of(packed)


def _from_zip(origin: Path, packed: zipfile.ZipFile) -> dict[str, bytes]:
    entries = [entry for entry in packed.infolist() if not entry.is_dir()]
    limits.check(sum(e.file_size for e in entries), limits.UNPACKED_BYTES, "bytes", origin.name)
    out = [entry.filename for entry in entries if leads_out(entry.filename)]
    if out:
        raise InputError(f"{origin.name}: {out[0]!r} leads out of its folder. Not opened.")
    return {
        e.filename: _entry(packed, e, limits.TABLE_BYTES) for e in entries if e.filename in FILES
    }


def _photos_of(packed: zipfile.ZipFile) -> Iterator[tuple[str, bytes]]:
    for entry in packed.infolist():
        path = PurePosixPath(entry.filename)
        placed = len(path.parts) == 2 and path.parts[0] == PHOTOS and not entry.is_dir()
        if placed and path.name[:1] != ".":
            yield path.name, _entry(packed, entry, limits.PHOTO_BYTES)


def _entry(packed: zipfile.ZipFile, entry: zipfile.ZipInfo, most: int) -> bytes:
    limits.check(entry.file_size, most, "bytes", entry.filename)
    with reading(Path(str(packed.filename)).name, "zip"):
        return packed.read(entry)


def _from_xlsx(origin: Path) -> dict[str, bytes]:
    contents = {}
    told: dict[str, str] = {}
    found = files.sheets(limits.content(origin), origin.name)
    for name, values in found.items():
        rows = [[_text(value) for value in row] for row in values] or [[]]
        if name == "about":
            told = {row[0]: row[1] for row in rows if len(row) > 1}
            continue
        width = max(map(len, rows))
        header, *body = [row + [""] * (width - len(row)) for row in rows]
        frame = pd.DataFrame(body, columns=header, dtype=str)
        contents[name.replace("set_aside ", "set_aside/") + ".csv"] = opening.as_csv(frame)
    package: dict[str, Any] = {"title": told.get("title") or origin.stem}
    if "white" in told:
        package["white"] = dict(zip(table.WHITE, table.book_white(told["white"]), strict=True))
    contents[PACKAGE] = json.dumps(package).encode()
    return contents


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return _ESCAPED.sub(lambda m: chr(int(m.group(1), 16)), value)
    return repr(value) if isinstance(value, float) else str(value)
