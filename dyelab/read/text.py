"""Bytes to text: encodings as they are met, and files that aren't text at all."""

import codecs
from pathlib import Path

from dyelab import limits
from dyelab.errors import InputError

_MAGIC = {
    b"%PDF": "a PDF",
    b"\x89PNG": "a PNG picture",
    b"\xff\xd8\xff": "a JPEG picture",
    b"II*\x00": "a TIFF picture",
    b"MM\x00*": "a TIFF picture",
    b"PK\x03\x04": "a zip or spreadsheet",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet (.xls)",
    b"\x1f\x8b": "a gzip archive",
}
_BOMS = {codecs.BOM_UTF8: "utf-8-sig", codecs.BOM_UTF16_LE: "utf-16", codecs.BOM_UTF16_BE: "utf-16"}


def content(path: Path) -> bytes:
    """Read a file whole.

    Raises
    ------
    InputError
        If it is missing, a folder, empty, unreadable, or larger than any measurement file.
    """
    if path.is_dir():
        raise InputError(f"{path} is a folder, not a measurement file. Name the files in it.")
    if not path.exists():
        raise InputError(f"{path}: there is no such file. Check the name and folder.")
    data = limits.content(path)
    if not data.strip():
        raise InputError(f"{path.name}: the file is empty. Export the measurements again.")
    return data


def decode(data: bytes, name: str) -> tuple[str, list[str]]:
    """Text of a file with its line ends made plain, and notes on what had to be decided.

    UTF-8 or UTF-16 by their marks, UTF-16 by its zero bytes, else UTF-8, else Windows-1252.

    Raises
    ------
    InputError
        If the bytes aren't text.
    """
    kind = next((what for magic, what in _MAGIC.items() if data.startswith(magic)), None)
    if kind:
        raise InputError(
            f"{name}: this is {kind}, found where measurement text was expected. "
            "Export the readings as CGATS, CxF, CSV or XLSX."
        )
    encoding = next((code for mark, code in _BOMS.items() if data.startswith(mark)), None)
    encoding = encoding or _wide(data)
    if encoding is None and _binary(data):
        raise InputError(
            f"{name}: the file holds binary data, not text. "
            "Export the readings as CGATS, CxF, CSV or XLSX."
        )
    text, notes = _decode(data, encoding, name)
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    limits.check(text.count("\n"), limits.ROWS, "lines", name)
    return text, notes


# Latin text in two bytes a letter has a zero in nine of ten of either half, other scripts few: they
# come with a mark. Text has no control letters but line ends and tabs; a few stray ones do no harm.
_ZEROS, _ODD = 0.4, 0.002  # shares of bytes


def _wide(data: bytes) -> str | None:
    """The encoding of text in two bytes a letter without a mark."""
    halves = {"utf-16-le": data[1:2000:2], "utf-16-be": data[:2000:2]}
    most = _ZEROS * len(data[:2000]) / 2
    return next((code for code, half in halves.items() if half.count(0) > most), None)


def _binary(data: bytes) -> bool:
    head = data[:100_000]
    odd = sum(head.count(bytes([code])) for code in (*range(9), *range(14, 32)))
    return odd > _ODD * len(head)


def _decode(data: bytes, encoding: str | None, name: str) -> tuple[str, list[str]]:
    try:
        return data.decode(encoding or "utf-8"), []
    except UnicodeDecodeError:
        if encoding:
            raise InputError(
                f"{name}: the text breaks off or is damaged ({encoding} expected). "
                "Export the measurements again."
            ) from None
    return data.decode("cp1252", errors="replace"), [
        "not UTF-8: read as Western European text (Windows-1252)"
    ]
