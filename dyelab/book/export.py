"""A book out to a CSV folder, an XLSX file or a single zip, and back without loss.

In the CSV files, text that a spreadsheet would run as a formula carries an apostrophe; the
package says so, and whoever opens it here gets the text as it was.
"""

import json
import re
import zipfile
from pathlib import Path, PurePosixPath
from typing import Any

import pandas as pd

from dyelab import files, table
from dyelab.book import store
from dyelab.book.csv_text import read
from dyelab.book.model import Book
from dyelab.book.opening import NEUTRALISED, PACKAGE, as_csv, loaded, rendered
from dyelab.book.photos import FOLDER, leads_out
from dyelab.errors import InputError

_MOST_BYTES = 4 * 2**30
_CELL = 32_767
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\ufffe\uffff]|_x[0-9A-Fa-f]{4}_")
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")


def export(bk: Book, target: str | Path) -> Path:
    """Write the book out: to a ``.zip``, an ``.xlsx``, or else a folder of CSV files.

    The zip and the folder hold the photos; the XLSX file holds the tables.

    Raises
    ------
    InputError
        If the folder is not empty, or a text is too long for a spreadsheet cell.
    """
    path = Path(target)
    if path.suffix.lower() == ".xlsx":
        return _to_xlsx(bk, path)
    if path.suffix.lower() == ".zip":
        return _to_zip(bk, path)
    return _to_folder(bk, path)


def restore(source: str | Path, path: str | Path) -> Book:
    """Make a book in a new folder from what `export` wrote.

    Raises
    ------
    InputError
        If the source is not an export, or the folder is not empty.
    """
    origin, folder = Path(source), Path(path)
    if not origin.exists():
        raise InputError(f"{origin}: no such file or folder. Check the name.")
    if folder.exists() and any(folder.iterdir()):
        raise InputError(f"{folder}: this folder is not empty. Name a new one.")
    contents, photos = _unpacked(origin)
    if "swatches.csv" not in contents:
        raise InputError(f"{origin.name}: holds no swatches, so it is no book that was exported.")
    bk = loaded(folder, contents)
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in photos.items():
        with files.whole(folder / FOLDER / name, binary=True) as file:
            file.write(content)
    with store.locked(folder):
        what = [f"brought in from {origin.name}"]
        store.commit(folder, rendered(bk, _described(contents)), act="save", what=what)
    from dyelab.book.opening import open_book

    return open_book(folder)


def _described(contents: dict[str, bytes]) -> dict[str, Any]:
    package = json.loads(contents.get(PACKAGE, b"{}"))
    return {key: value for key, value in package.items() if key != NEUTRALISED}


def _neutral(bk: Book) -> dict[str, bytes]:
    """The book's files with formulas neutralised, and a package that says so."""
    contents = rendered(bk, {})
    package = json.loads(contents.pop(PACKAGE)) | {NEUTRALISED: True}
    for name, content in contents.items():
        frame = read(content, name, _numeric(name)).frame
        words = frame.select_dtypes(include=["object", "str"]).columns
        contents[name] = as_csv(frame.assign(**{n: frame[n].map(files.plain) for n in words}))
    text = json.dumps(package, ensure_ascii=False, indent=2) + "\n"
    return {PACKAGE: text.encode(), **contents}


def _photos(bk: Book) -> list[Path]:
    folder = bk.path / FOLDER
    return sorted(p for p in folder.iterdir() if p.is_file()) if folder.is_dir() else []


def _to_folder(bk: Book, path: Path) -> Path:
    if path.exists() and any(path.iterdir()):
        raise InputError(f"{path}: this folder is not empty. Name a new one.")
    for name, content in _neutral(bk).items():
        with files.whole(path / name, binary=True) as file:
            file.write(content)
    for photo in _photos(bk):
        with files.whole(path / FOLDER / photo.name, binary=True) as file:
            file.write(photo.read_bytes())
    return path


def _to_zip(bk: Book, path: Path) -> Path:
    with (
        files.whole(path, binary=True) as file,
        zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed,
    ):
        for name, content in _neutral(bk).items():
            packed.writestr(name, content)
        for photo in _photos(bk):
            packed.write(photo, f"{FOLDER}/{photo.name}", zipfile.ZIP_STORED)
    return path


def _to_xlsx(bk: Book, path: Path) -> Path:
    from openpyxl import Workbook

    workbook = Workbook(write_only=True)
    contents = rendered(bk, {})
    about = workbook.create_sheet("about")
    about.append([_cell(about, "title"), _cell(about, bk.title)])
    about.append([_cell(about, "white"), _cell(about, table.white_text(bk.white))])
    contents.pop(PACKAGE)
    for name, content in contents.items():
        sheet = workbook.create_sheet(_sheet_name(name))
        frame = read(content, name, _numeric(name)).frame
        sheet.append([_cell(sheet, column) for column in frame.columns])
        for row in frame.itertuples(index=False, name=None):
            sheet.append([_cell(sheet, value) for value in row])
    with files.whole(path, binary=True) as file:
        workbook.save(file)
    return path


def _numeric(name: str) -> set[str]:
    from dyelab.book.opening import NUMERIC

    return NUMERIC.get(name.removesuffix(".csv"), set())


def _sheet_name(name: str) -> str:
    return name.removesuffix(".csv").replace("/", " ")


def _cell(sheet: Any, value: Any) -> Any:
    """A cell that is text, whatever it begins with; numbers stay numbers."""
    from openpyxl.cell import WriteOnlyCell

    if not isinstance(value, str):
        return None if value != value else value
    if value == "":
        return None
    text = _CONTROL.sub(lambda m: _escape(m.group()), value)
    if len(text) > _CELL:
        raise InputError(
            f"a text of {len(text):,} letters is too long for a spreadsheet cell ({_CELL:,}): "
            f"{value[:40]!r}… Export to a .zip instead."
        )
    cell = WriteOnlyCell(sheet, text)
    cell.data_type = "s"
    return cell


def _escape(text: str) -> str:
    return "".join(f"_x{ord(c):04X}_" for c in text[:1]) + text[1:]


def _unescape(text: str) -> str:
    return _ESCAPED.sub(lambda m: chr(int(m.group(1), 16)), text)


def _unpacked(origin: Path) -> tuple[dict[str, bytes], dict[str, bytes]]:
    if origin.is_dir():
        found = {
            p.relative_to(origin).as_posix(): p.read_bytes()
            for pattern in ("*.csv", PACKAGE, "set_aside/*.csv", f"{FOLDER}/*")
            for p in origin.glob(pattern)
            if p.is_file()
        }
    elif origin.suffix.lower() == ".xlsx":
        return _from_xlsx(origin), {}
    else:
        found = _from_zip(origin)
    photos = {PurePosixPath(n).name: c for n, c in found.items() if n.startswith(f"{FOLDER}/")}
    return {n: c for n, c in found.items() if not n.startswith(f"{FOLDER}/")}, photos


def _damaged(origin: Path, kind: str, error: Exception) -> InputError:
    return InputError(f"{origin.name}: not a whole {kind} file ({error}). Copy it again.")


def _from_zip(origin: Path) -> dict[str, bytes]:
    try:
        with zipfile.ZipFile(origin) as packed:
            if sum(entry.file_size for entry in packed.infolist()) > _MOST_BYTES:
                raise InputError(f"{origin.name}: unpacks to over 4 GB. This is no swatch book.")
            names = [entry.filename for entry in packed.infolist() if not entry.is_dir()]
            out = [name for name in names if leads_out(name)]
            if out:
                raise InputError(f"{origin.name}: {out[0]!r} leads out of its folder. Not opened.")
            return {name: packed.read(name) for name in names}
    except (zipfile.BadZipFile, zipfile.LargeZipFile, EOFError) as error:
        raise InputError(
            f"{origin.name}: not a whole zip file ({error}). Copy it again."
        ) from error


def _from_xlsx(origin: Path) -> dict[str, bytes]:
    from openpyxl import load_workbook

    try:
        workbook = load_workbook(origin, read_only=True, data_only=True)
    except (OSError, KeyError, ValueError, zipfile.BadZipFile) as error:
        raise InputError(
            f"{origin.name}: not a whole XLSX file ({error}). Copy it again."
        ) from error
    contents = {}
    told: dict[str, str] = {}
    for sheet in workbook.worksheets:
        rows = [[_text(value) for value in row] for row in sheet.iter_rows(values_only=True)]
        if sheet.title == "about":
            told = {row[0]: row[1] for row in rows if len(row) > 1}
            continue
        name = sheet.title.replace("set_aside ", "set_aside/") + ".csv"
        header, *body = rows or [[]]
        width = len(header)
        filled = [row + [""] * (width - len(row)) for row in body]
        contents[name] = as_csv(pd.DataFrame(filled, columns=header, dtype=str))
    workbook.close()
    package: dict[str, Any] = {"title": told.get("title") or origin.stem}
    if "white" in told:
        package["white"] = dict(zip(table.WHITE, table.book_white(told["white"]), strict=True))
    contents[PACKAGE] = json.dumps(package).encode()
    return contents


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return _unescape(value)
    return repr(value) if isinstance(value, float) else str(value)
