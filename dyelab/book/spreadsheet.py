"""A user's own spreadsheet into a book: guess what each column is, let the user say, then add."""

import difflib
import re
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from dyelab import errors, limits, table
from dyelab.book.csv_text import read
from dyelab.book.model import Book
from dyelab.book.opening import add
from dyelab.errors import InputError
from dyelab.table import workbook

KEEP = "keep"  # as a column of the user's own
LEAVE = ""

# Every field a spreadsheet of swatches may hold, with other words for it.
FIELDS: dict[str, tuple[str, ...]] = {
    "swatch": ("code", "id", "sample", "nr", "no", "number", "label", "name", "muster"),
    "form": ("type", "cloth or yarn", "material form"),
    "fibre": ("fiber", "cloth", "fabric", "yarn", "textile", "faser"),
    "ground": ("base", "substrate", "quality", "cloth quality"),
    "mass_g": ("weight", "grams", "mass", "dry weight", "wof weight", "gewicht"),
    "series": ("batch", "group", "set", "project", "serie"),
    "made_on": ("date", "dyed on", "day", "datum"),
    "note": ("notes", "remark", "remarks", "comment", "comments", "bemerkung"),
    "tannin": ("tannin name", "gall", "gerbstoff"),
    "tannin_wof": ("tannin %", "tannin percent", "tannin dose"),
    "mordant": ("mordant name", "beize", "alum type"),
    "mordant_wof": ("mordant %", "mordant percent", "alum", "alum %", "alum percent"),
    "dye": ("dyestuff", "plant", "dye plant", "colour source", "color source", "farbstoff"),
    "dye_wof": ("dye %", "dye percent", "dyestuff %", "plant %"),
    "iron_wof": ("iron", "iron %", "iron percent", "fe", "ferrous sulfate", "copperas", "eisen"),
    "copper_wof": ("copper", "copper %", "cu", "copper sulfate", "kupfer"),
    "modifier": ("after bath", "afterbath", "aftertreatment", "post mordant"),
    "L": ("l*", "lightness", "lab l"),
    "a": ("a*", "lab a"),
    "b": ("b*", "lab b"),
    "illuminant": ("light", "light source"),
    "observer": ("degree", "angle"),
}
_SWATCH = ("swatch", "form", "fibre", "ground", "mass_g", "series", "made_on", "note")
_STEPS = (
    ("tannin", "tannin", "tannin_wof", ""),
    ("mordant", "mordant", "mordant_wof", ""),
    ("dye", "dye", "dye_wof", ""),
    ("modifier", "modifier", "", ""),
    ("modifier", "", "iron_wof", "ferrous sulfate"),
    ("modifier", "", "copper_wof", "copper sulfate"),
)


def sheet(path: str | Path, name: str | None = None) -> pd.DataFrame:
    """Read a spreadsheet's cells as text: CSV, TSV or XLSX (its first sheet, or `name`).

    Raises
    ------
    InputError
        If it is no spreadsheet, is empty, or has no such sheet.
    """
    file = Path(path)
    if not file.is_file():
        raise InputError(f"{file}: no such file. Check the name and the folder.")
    if file.suffix.lower() in (".xlsx", ".xlsm"):
        frame = _excel(file, name)
    else:
        content = file.read_bytes()
        if b"\0" in content[:1000] and content[:2] not in (b"\xff\xfe", b"\xfe\xff"):
            raise InputError(f"{file.name}: not a table of text. Save it as CSV or XLSX first.")
        frame = read(content, file.name).frame
    if frame.empty:
        raise InputError(
            f"{file.name}: no rows. The first row names the columns, then one a swatch."
        )
    return frame.reset_index(drop=True)


def _excel(file: Path, name: str | None) -> pd.DataFrame:
    found = workbook.sheets(limits.content(file), file.name)
    chosen = next(iter(found), "") if name is None else name
    header, *body = found[errors.choose(chosen, found, "sheet", f"in {file.name}")] or [[]]
    width = max(map(len, [header, *body]))
    rows = [[*row, *[None] * (width - len(row))] for row in [header, *body]]
    names = ["" if cell is None else str(cell) for cell in rows[0]]
    kept = pd.DataFrame(rows[1:], columns=_apart(names), dtype=object).dropna(how="all")
    return table.as_text(kept, table.Table("", (table.Column("made_on", "date"),)))


def _apart(names: list[str]) -> list[str]:
    """Headings with a number behind those that repeat, and behind blank ones."""
    seen: Counter[str] = Counter()
    found = []
    for at, name in enumerate(names):
        seen[name] += 1
        found.append(
            f"column {at + 1}"
            if not name
            else f"{name}.{seen[name] - 1}" * (seen[name] > 1) or name
        )
    return found


def matches(frame: pd.DataFrame) -> pd.DataFrame:
    """Guess what each column of a spreadsheet is; a person looks over it before `take_in`.

    Returns
    -------
    DataFrame
        `column` (theirs), `field` (ours, ``keep`` where none is near), `sure` (0 to 1), and
        `example`, the first cell that holds something.
    """
    scores = {column: _scores(column) for column in frame.columns}
    order = sorted(
        ((score, column, field) for column, own in scores.items() for field, score in own.items()),
        key=lambda item: -item[0],
    )
    found: dict[str, tuple[str, float]] = {}
    for score, column, field in order:
        taken = {given for given, _ in found.values()}
        if score >= 0.72 and column not in found and field not in taken:
            found[column] = (field, score)
    rows = [(c, *found.get(c, (KEEP, 0.0)), _example(frame[c])) for c in frame.columns]
    return pd.DataFrame(rows, columns=["column", "field", "sure", "example"])


def _scores(column: str) -> dict[str, float]:
    plain = _plain(column)
    return {
        field: max(_near(plain, _plain(name)) for name in (field, *others))
        for field, others in FIELDS.items()
    }


def _plain(name: str) -> str:
    words = name.replace("%", " percent ").replace("_wof", " percent")
    return " ".join(re.findall(r"[a-zäöüß*]+|\d+", words.lower().replace("wof", " ")))


def _near(one: str, two: str) -> float:
    if one == two:
        return 1.0
    if min(len(one), len(two)) < 3:
        return 0.0
    return difflib.SequenceMatcher(None, one, two).ratio()


def _example(cells: pd.Series) -> str:
    held = cells[~table.blanks(cells)]
    return str(held.iloc[0]) if len(held) else ""


def take_in(bk: Book, frame: pd.DataFrame, confirmed: Mapping[str, str]) -> Book:
    """Add a spreadsheet's rows to a book, its columns as the user confirmed them.

    Parameters
    ----------
    bk : Book
    frame : DataFrame
        From `sheet`.
    confirmed : mapping of str to str
        Their column to our field (`FIELDS`); ``keep`` carries it along as a column of its
        own, ``""`` leaves it out. Columns that are not named are left out.

    Raises
    ------
    InputError
        If no column holds the swatch code, a field is named twice, or a cell breaks a rule.
    """
    columns = _columns(frame, confirmed)
    text = table.as_text(frame.rename(columns=columns)[list(columns.values())], _ANY)
    text = text.apply(lambda cells: cells.str.strip())
    own = [name for name, field in confirmed.items() if field == KEEP and name in frame]
    swatches = text[[name for name in _SWATCH if name in text]].join(
        table.as_text(frame[own], _ANY)
    )
    made: dict[str, Any] = {"swatches": swatches.drop_duplicates("swatch")}
    steps = _steps(text)
    if len(steps):
        made["steps"] = steps
    if {"L", "a", "b"} <= set(text):
        made["readings"] = _readings(text)
    return add(bk, **made)


_ANY = table.Table("", ())


def _columns(frame: pd.DataFrame, confirmed: Mapping[str, str]) -> dict[str, str]:
    for column in confirmed:
        errors.choose(column, frame.columns, "column", "in the spreadsheet")
    columns = {c: f for c, f in confirmed.items() if f not in (KEEP, LEAVE)}
    for field in columns.values():
        errors.choose(field, FIELDS, "field", "of a swatch")
    twice = {f for f in columns.values() if list(columns.values()).count(f) > 1}
    if twice:
        raise InputError(f"two columns are both called {twice.pop()!r}. Keep one of them.")
    if "swatch" not in columns.values():
        raise InputError("no column holds the swatch code. Say which one does: {'…': 'swatch'}.")
    return columns


def _steps(text: pd.DataFrame) -> pd.DataFrame:
    found = []
    for row in text.drop_duplicates("swatch").to_dict("records"):
        order = 0
        for kind, name, dose, salt in _STEPS:
            material = salt if salt and _amount(row.get(dose, "")) else str(row.get(name, ""))
            if material.lower() in ("", "none", "no", "-", "0") or (salt and material != salt):
                continue
            order += 1
            amount = _dose(str(row.get(dose, ""))) if dose else ""
            found.append(
                {
                    "swatch": row["swatch"],
                    "order": order,
                    "kind": kind,
                    "material": material,
                    "amount": amount,
                    "unit": "% WOF" if amount else "",
                }
            )
    return pd.DataFrame(found)


def _dose(text: str) -> str:
    return text.replace("%", "").strip().replace(",", ".")


def _amount(text: Any) -> bool:
    try:
        return float(_dose(str(text))) > 0
    except ValueError:
        return bool(str(text).strip()) and str(text).strip().lower() not in ("none", "no", "-")


def _readings(text: pd.DataFrame) -> pd.DataFrame:
    held = text[(text[["L", "a", "b"]] != "").all(axis=1)]
    if {"illuminant", "observer"} - set(text):
        raise InputError(
            "L, a and b mean nothing without their white point. Add columns illuminant "
            "(such as D65) and observer (2 or 10) to the spreadsheet, or leave L, a and b out."
        )
    count = held.groupby("swatch").cumcount() + 1
    return held[["swatch", "L", "a", "b", "illuminant"]].assign(
        observer=held["observer"].str.rstrip("°"),
        reading=held["swatch"] + np.where(count > 1, "-r" + count.astype(str), "-r1"),
        exposure="none",
        method="typed",
    )
