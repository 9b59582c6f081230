"""Files that are whole or absent: atomic writing, CSV cells as text, what the package ships.

The sheets of an XLSX file as rows of values; the one place that opens a workbook.

A workbook is a zip of XML, so it can be damaged in more ways than any other table, and a single
stray cell in its far corner makes it 17,000 million cells wide and long. Rows come only as wide
as their last cell, and the limits of `dyelab.limits` hold for every sheet.
"""

import csv
import io
import os
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dyelab import limits
from dyelab.errors import InputError, reading

if TYPE_CHECKING:
    import pandas as pd

_HERE = Path(__file__).resolve().parent


@contextmanager
def whole(path: str | Path, *, binary: bool = False) -> Iterator[Any]:
    """Open a file that appears under its name only once it is complete.

    Parameters
    ----------
    path : str or Path
        Where the file shall be. Its folder is made if missing.
    binary : bool
        Bytes instead of UTF-8 text.

    Yields
    ------
    file object
        Write to it; when the block ends well it is flushed to disk and renamed to
        `path`, when it raises nothing is left behind.

    Examples
    --------
    >>> from dyelab import files
    >>> with files.whole(folder / "note.txt") as file:
    ...     _ = file.write("dyed")
    >>> (folder / "note.txt").read_text("utf-8")
    'dyed'
    """
    target = Path(path)
    target.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent)
    try:
        text: dict[str, Any] = {} if binary else {"encoding": "utf-8", "newline": ""}
        with os.fdopen(handle, "wb" if binary else "w", **text) as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        os.chmod(name, 0o666 & ~umask())
        os.replace(name, target)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def write(path: str | Path, content: bytes | str) -> Path:
    """Write a file of these bytes or this text (UTF-8), whole or not at all; return its path.

    Examples
    --------
    >>> from dyelab import files
    >>> files.write(folder / "note.txt", b"whole").read_bytes()
    b'whole'
    """
    with whole(path, binary=True) as file:
        file.write(content.encode() if isinstance(content, str) else content)
    return Path(path)


def json_kept(path: Path) -> dict[str, Any]:
    """What a JSON file of our own keeping holds by name; nothing where it can't be read.

    Examples
    --------
    >>> from dyelab import files
    >>> files.json_kept(files.write(folder / "kept.json", '{"count": 3}'))
    {'count': 3}
    """
    import json

    try:
        held = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return {}
    return held if isinstance(held, dict) else {}


def stamp(path: str | Path) -> tuple[int, ...]:
    """What changes when anybody writes a file or folder: time in ns, size in bytes, its number.

    Nothing where there is no such file, which another program may delete at any moment.

    Examples
    --------
    >>> from dyelab import files
    >>> files.stamp(folder / "none.txt")
    ()
    """
    try:
        about = os.stat(path)
    except OSError:
        return ()
    return about.st_mtime_ns, about.st_size, about.st_ino


def umask() -> int:
    """Return the bits that new files of this process are made without.

    Examples
    --------
    >>> from dyelab import files
    >>> 0 <= files.umask() < 0o1000
    True
    """
    mask = os.umask(0)
    os.umask(mask)
    return mask


def shipped_path(*parts: str) -> Path:
    """Path of something that comes with dyelab: ``shipped("data", "studio")``.

    An installed wheel carries it inside the package, a checkout at its top level.

    Examples
    --------
    >>> from dyelab import files
    >>> files.shipped_path("data", "marlpit_yard").name
    'marlpit_yard'
    """
    packed = _HERE / "_shipped"
    return (packed if packed.is_dir() else _HERE.parent).joinpath(*parts)


_FORMULA = ("=", "+", "-", "@", "\t", "\r", "'")


def escape_formula(text: str) -> str:
    """Neutralise text that a spreadsheet would run as a formula, with a leading apostrophe.

    Text that begins with an apostrophe gets one more, so that `unescape_formula` brings
    all text back.

    Examples
    --------
    >>> from dyelab import files
    >>> files.escape_formula("=1+1")
    "'=1+1"
    """
    return f"'{text}" if text[:1] in _FORMULA and text else text


def write_table(frame: "pd.DataFrame", path: str | Path, float_format: str | None = None) -> Path:
    """Write a table as UTF-8 CSV that a spreadsheet opens without running anything in it.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import files
    >>> path = files.write_table(pd.DataFrame({"note": ["=1+1"]}), folder / "notes.csv")
    >>> path.read_text().splitlines()
    ['note', "'=1+1"]
    """
    with whole(path) as file:
        safe = escape_formulas(frame)
        safe.to_csv(file, index=False, lineterminator="\n", float_format=float_format)
    return Path(path)


def escape_formulas(frame: "pd.DataFrame") -> "pd.DataFrame":
    """Return a table whose texts a spreadsheet takes for texts, each as `escape_formula` makes it.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import files
    >>> files.escape_formulas(pd.DataFrame({"note": ["=1+1"], "a": [-3.0]}))["note"].tolist()
    ["'=1+1"]
    """
    texts = frame.select_dtypes(exclude="number").columns
    safe = {
        name: [escape_formula(c) if isinstance(c, str) else c for c in frame[name]]
        for name in texts
    }
    return frame.assign(**safe)


def unescape_formula(text: str) -> str:
    """Return the text that `escape_formula` was given.

    Examples
    --------
    >>> from dyelab import files
    >>> files.unescape_formula(files.escape_formula("=1+1"))
    '=1+1'
    """
    return text[1:] if text[:1] == "'" else text


def text_of(path: str | Path) -> str:
    """Return the text of a UTF-8 (or marked UTF-16) file.

    Raises
    ------
    InputError
        If there is no such file, or it is empty, binary, or in another encoding.

    Examples
    --------
    >>> from dyelab import files
    >>> _ = (folder / "note.txt").write_text("dyed", "utf-8")
    >>> files.text_of(folder / "note.txt")
    'dyed'
    """
    name = Path(path).name
    content = limits.content(path)
    if not content.strip():
        raise InputError(f"{name}: the file is empty. Expected a table with a heading row.")
    marked = content[:2] in (b"\xff\xfe", b"\xfe\xff")
    if b"\0" in content and not marked:
        raise InputError(
            f"{name}: binary data, not text. Save the table as CSV UTF-8 and give that file."
        )
    try:
        return content.decode("utf-16" if marked else "utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise InputError(
            f"{name} row {line}: byte 0x{content[error.start]:02x} isn't UTF-8 text. "
            "Save the table as CSV UTF-8 from your spreadsheet."
        ) from error


def json_of(path: str | Path) -> Any:
    """Return what a JSON file holds.

    Raises
    ------
    InputError
        As `text_of`; also if it isn't JSON, or is nested too deeply to be anybody's work.

    Examples
    --------
    >>> from dyelab import files
    >>> _ = (folder / "a.json").write_text('{"a": 1}', "utf-8")
    >>> files.json_of(folder / "a.json")
    {'a': 1}
    """
    import json

    name = Path(path).name
    try:
        return json.loads(text_of(path))
    except json.JSONDecodeError as error:
        raise InputError(f"{name} line {error.lineno}: not JSON ({error.msg}).") from error
    except (RecursionError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"{name}: not JSON that can be read ({error}).") from error


@limits.in_time
def cells(path: str | Path) -> tuple["pd.DataFrame", dict[int, str]]:
    r"""Read a CSV, semicolon or tab table as text cells, blank as ``""``.

    Returns
    -------
    DataFrame of str
        One row a line of data, headings stripped of spaces; short rows are filled with blanks.
    dict of int to str
        Rows whose number of cells isn't that of the heading, by the number a spreadsheet shows,
        each with its message.

    Raises
    ------
    InputError
        If the file can't be read as text, has no data row, or repeats a heading.

    Examples
    --------
    >>> from dyelab import files
    >>> _ = (folder / "a.csv").write_text("swatch,dye\nK1,weld\n", "utf-8")
    >>> files.cells(folder / "a.csv")[0]
      swatch   dye
    0     K1  weld
    """
    import pandas as pd

    name = Path(path).name
    rows = _records(text_of(path).lstrip(), name)
    heads = [cell.strip() for cell in rows[0]] if rows else []
    twice = {head for head in heads if head and heads.count(head) > 1}
    if twice:
        raise InputError(f"{name}: the heading {sorted(twice)[0]!r} is there twice. Rename one.")
    if len(rows) < 2:
        raise InputError(f"{name}: a heading but no rows. Add at least one row of data.")
    ragged = {
        number: f"{name} row {number}: {len(row)} cells, the heading has {len(heads)}. "
        "Is a cell missing, or a comma inside a cell without quotation marks?"
        for number, row in enumerate(rows[1:], 2)
        if len(row) != len(heads)
    }
    width = len(heads)
    full = [[cell.strip() for cell in (row + [""] * width)[:width]] for row in rows[1:]]
    return pd.DataFrame(full, columns=heads, dtype=str), ragged


def _records(text: str, name: str) -> list[list[str]]:
    """Rows of a table, parted by the sign most used in its heading; blank ones at its end go."""
    parted = max(",;\t", key=text.split("\n", 1)[0].count)
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=parted, strict=True))
    except csv.Error as error:
        raise InputError(
            f"{name}: the table breaks off or a quotation mark is left open ({error}). "
            "Save it again as CSV."
        ) from error
    limits.check(len(rows), limits.ROWS, "rows", name)
    limits.check(len(rows[0]) if rows else 0, limits.COLUMNS, "columns", name)
    while len(rows) > 1 and not any(map(str.strip, rows[-1])):
        rows.pop()
    return rows


def sheets(data: bytes, name: str) -> dict[str, list[list[Any]]]:
    """Return each sheet's rows by its title, without blank rows and cells at the end.

    Parameters
    ----------
    data : bytes
        The file.
    name : str
        What messages call it.

    Raises
    ------
    InputError
        If it is damaged, or larger than `dyelab.limits` allows.

    Examples
    --------
    >>> import io
    >>> import pandas as pd
    >>> from dyelab import files
    >>> kept = io.BytesIO()
    >>> pd.DataFrame({"swatch": ["K-01"]}).to_excel(kept, sheet_name="wool", index=False)
    >>> files.sheets(kept.getvalue(), "mine.xlsx")
    {'wool': [['swatch'], ['K-01']]}
    """
    import openpyxl

    with reading(name, "XLSX"):
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            size = sum(item.file_size for item in packed.infolist())
            limits.check(size, limits.TABLE_BYTES, "bytes when unpacked", name)
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        found = {str(sheet.title): _rows(sheet, name) for sheet in book.worksheets}
        book.close()
    return found


def _rows(sheet: Any, name: str) -> list[list[Any]]:
    place = f"{name}, sheet {sheet.title!r}"
    sheet.reset_dimensions()  # what the file says of its size may be anything
    rows: list[list[Any]] = []
    cells = filled = 0
    for count, given in enumerate(sheet.iter_rows(values_only=True), 1):
        row = list(given)
        while row and row[-1] in (None, ""):
            row.pop()
        said = f"columns (a cell in row {count} stands there)"
        limits.check(len(row), limits.COLUMNS, said, place)
        limits.check(count, limits.ROWS, "rows", place)
        cells += len(row)
        limits.check(cells, limits.CELLS, "cells", place)
        rows.append(row)
        filled = count if row else filled
    return rows[:filled]
