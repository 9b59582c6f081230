"""What every format is first turned into: rows of text cells with their line numbers."""

import re
from dataclasses import dataclass, field

import pandas as pd


@dataclass(frozen=True)
class Grid:
    """Text cells under column names, as found in a file.

    `rows` are the numbers a person sees beside each row: lines of a text, rows of a sheet.
    `white` is what the file itself says of illuminant and observer, `scale` whether it calls its
    reflectance per cent or factors, `norm` the number that stands for the perfect reflector, and
    `conditions` how it was read; blank where it says nothing. `told` are words of its head that
    may say that it is no reflectance at all.
    """

    cells: pd.DataFrame
    rows: list[int]
    white: tuple[str, int] | None = None
    scale: str = ""
    norm: float | None = None
    conditions: dict[str, str] = field(default_factory=dict)
    told: tuple[str, ...] = ()
    sheet: str = ""
    notes: tuple[str, ...] = ()
    faults: tuple[dict, ...] = ()
    row_word: str = "row"


_ILLUMINANT = re.compile(
    r"\b(D(?:50|55|60|65|75)|ID(?:50|65)|LED-[A-Z]+\d|FL?3\.\d+|FL?\d{1,2}|HP\d|[ABCE])\b"
)
_OBSERVER = re.compile(r"(?<![\d.])(10|2)(?![\d.])")


def illuminant_in(text: str) -> str | None:
    """CIE illuminant named in a text such as ``ILLUMINANT,D50``, or None."""
    found = _ILLUMINANT.search(text.upper().replace("ILLUMINANT", " ").replace("_", " "))
    if not found:
        return None
    name = found.group(1)
    return f"FL{name[1:]}" if re.fullmatch(r"F\d.*", name) else name


def observer_in(text: str) -> int | None:
    """Observer angle, 2 or 10, named in a text such as ``2 degree`` or ``CIE1964_10``, or None."""
    cleaned = re.sub(r"19(31|64)", " ", str(text)).replace("_", " ")
    cleaned = _ILLUMINANT.sub(" ", cleaned.upper())
    found = _OBSERVER.search(cleaned)
    if found:
        return int(found.group(1))
    return 2 if "1931" in str(text) else 10 if "1964" in str(text) else None
