"""From text cells to a book: every row checked, the good ones typed, the others set aside."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd

from dyelab import table
from dyelab.book.csv_text import Cells, end_to_end
from dyelab.book.swatch_book import ASIDE, CELLS, FAULT_COLUMNS, LINES, Aside, description, keys

_Fault = dict[str, Any]  # as of `table.fault`
_TRIMMED = {"fibre", "series", "material", "ground"}


def sort_out(
    found: Mapping[str, Cells],
    aside: Mapping[str, Cells],
    known: Mapping[str, pd.DataFrame] | None = None,
) -> tuple[dict[str, pd.DataFrame], Aside, pd.DataFrame]:
    """Check every row of every table.

    Parameters
    ----------
    found : mapping of str to Cells
        The book's tables as text, parents before children.
    aside : mapping of str to Cells
        What an earlier save set aside, by table, and ``lines`` and ``cells``.
    known : mapping of str to DataFrame, optional
        Tables already checked that these may link to.

    Returns
    -------
    typed : dict of str to DataFrame
        The rows in good order; a faulty optional cell is blank.
    aside : Aside
        Everything else, as it stood.
    faults : DataFrame
    """
    typed: dict[str, pd.DataFrame] = dict(known or {})
    rows: dict[str, pd.DataFrame] = {}
    faults: list[_Fault] = []
    cells: list[dict[str, str]] = []
    old_lines = _earlier(aside, "lines", LINES)[LINES].itertuples(index=False)
    lines = [(name, "", line) for name, line in old_lines]
    for name, read in found.items():
        parts = [read.frame, _earlier(aside, name, [])]
        frame = end_to_end(*parts) if len(parts[1]) else read.frame
        frame = frame.reset_index(drop=True)
        listed = _list_faults(name, frame, typed, rows)
        typed[name], rows[name], blanked = _split(name, frame, listed)
        cells += blanked
        lines += [(name, str(row), line) for row, line in read.broken]
        faults += _place(name, parts, listed)
    left, old = _old_cells(aside, typed)
    faults += [*_line_faults(lines), *old]
    kept = Aside(
        rows={name: frame for name, frame in rows.items() if len(frame)},
        lines=pd.DataFrame([(name, line) for name, _, line in lines], columns=LINES, dtype=str),
        cells=pd.concat([pd.DataFrame(cells, columns=CELLS, dtype=str), left], ignore_index=True),
    )
    return typed, kept, pd.DataFrame(faults, columns=FAULT_COLUMNS)


def _list_faults(
    name: str, frame: pd.DataFrame, typed: dict[str, pd.DataFrame], rows: dict[str, pd.DataFrame]
) -> list[_Fault]:
    """Faults of one table, rows by their position in the frame."""
    rules = description(name, frame)
    _tidy(frame, rules)
    found: Any = table.check(frame, rules, f"{name}.csv", rows=range(len(frame)))
    found = found.to_dict("records")
    for link in rules.links:
        here, there, column = link
        if here in frame and there in typed:
            waiting = set(rows[there].get(column, ())) if there in rows else set()
            found += _link_faults(f"{name}.csv", frame, link, typed[there][column], waiting)
    return found + list(_covariance_faults(frame) if name == "readings" else ())


def _tidy(frame: pd.DataFrame, rules: table.Table) -> None:
    """Trim codes and choices, and fill in what a blank stands for, in place."""
    for column in rules.columns:
        if column.name not in frame:
            continue
        cells = frame[column.name]
        if pd.api.types.is_numeric_dtype(cells.dtype):
            continue
        if column.required or column.options or column.name in _TRIMMED:
            odd = {text: text.strip() for text in cells.unique() if text != text.strip()}
            cells = cells.replace(odd) if odd else cells
        if column.default:
            cells = cells.where(cells != "", column.default)
        frame[column.name] = cells


def _link_faults(
    file: str, frame: pd.DataFrame, link: tuple[str, str, str], known: pd.Series, waiting: set[str]
) -> Iterator[_Fault]:
    here, there, column = link
    cells = frame[here]
    for at in np.flatnonzero(~cells.isin(known).to_numpy() & ~table.blanks(cells)):
        code = cells.iloc[at]
        expected = f"is not in {there}.csv"
        remedy = f"Add the {column} there, or correct the code here."
        if code in waiting:
            remedy = "Its row there has a fault of its own: mend that first, and this is well."
        label = str(frame.iloc[int(at), 0]) if frame.columns[0] != here else ""
        yield table.fault(file, int(at), here, code, expected, remedy, label)


def _covariance_faults(frame: pd.DataFrame) -> Iterator[_Fault]:
    """Covariances that no error can have: a correlation beyond 1."""
    if not set(table.COVARIANCE) <= set(frame.columns):
        return
    terms = pd.DataFrame({name: table.numbers(frame[name]) for name in table.COVARIANCE})
    at = np.flatnonzero((terms[table.COVARIANCE[3:]].fillna(0) != 0).any(axis=1))
    matrices = table.covariances(terms.iloc[at])
    known = np.isfinite(matrices).all(axis=(1, 2))
    least = np.full(len(at), np.inf)
    least[known] = np.linalg.eigvalsh(matrices[known])[:, 0]
    wrong = least < -1e-6 * np.trace(np.nan_to_num(matrices), axis1=1, axis2=2)
    expected = "does not fit the other covariance terms: a correlation beyond 1"
    remedy = "Copy all six terms again from where the reading was made, or leave them blank."
    for i in map(int, at[wrong]):
        label = str(frame["reading"].iloc[i]) if "reading" in frame else ""
        said = frame["var_L"].iloc[i], expected, remedy, label
        yield table.fault("readings.csv", i, "var_L", *said)


def _place(name: str, parts: list[pd.DataFrame], listed: list[_Fault]) -> list[_Fault]:
    """Turn positions into the file and the row number that a spreadsheet shows, in place."""
    numbers = [int(row) for part in parts for row in part.index] if listed else []
    for fault in listed:
        if fault["column"]:
            at = fault["row"]
            file = f"{ASIDE}/{name}.csv" if at >= len(parts[0]) else f"{name}.csv"
            said = fault["text"].removeprefix(f"{name}.csv row {at}")
            text = f"{file} row {numbers[at]}{said}"
            fault |= {"file": file, "row": numbers[at], "text": text}
    return listed


def _split(
    name: str, frame: pd.DataFrame, listed: list[_Fault]
) -> tuple[pd.DataFrame, pd.DataFrame, list[dict[str, str]]]:
    """Typed good rows, rows set aside, and single cells set aside."""
    rules, text = description(name, frame), frame
    if any(column.required and column.name not in text for column in rules.columns):
        return table.empty(rules), table.as_text(text, rules), []
    serious = {column.name for column in rules.columns if column.required} | set(rules.key)
    told = [(fault["row"], fault["column"]) for fault in listed if fault["column"]]
    bad = np.zeros(len(frame), bool)
    bad[[at for at, column in told if column in serious]] = True
    light = [(at, column) for at, column in told if column not in serious and not bad[at]]
    blanked = [(at, column, str(text.at[at, column])) for at, column in light]
    text = text.copy() if blanked else text
    for at, column, _ in blanked:
        numeric = pd.api.types.is_numeric_dtype(text[column].dtype)
        text.at[at, column] = np.nan if numeric else ""
    good = table.as_typed(text[~bad], rules)
    names = keys(name, good) if blanked else pd.Series(dtype=str)
    cells = [
        {"table": name, "key": str(names.loc[at]), "column": column, "found": found}
        for at, column, found in blanked
    ]
    left = table.as_text(text[bad].reset_index(drop=True), rules)
    return good.reset_index(drop=True), left, cells


def _earlier(aside: Mapping[str, Cells], name: str, columns: list[str]) -> pd.DataFrame:
    """What an earlier save set aside under this name; without rows where it set aside nothing."""
    held = aside[name].frame if name in aside else pd.DataFrame()
    return pd.DataFrame(columns=columns, dtype=str) if held.empty else held


_REASON = {
    False: "is no row of {name}.csv: too many cells, or a quotation mark left open",
    True: "is no row of {name}.csv: it holds a NUL or a damaged byte (shown as \ufffd), so its "
    "numbers can't be trusted",
}


def _line_faults(lines: list[tuple[str, str, str]]) -> Iterator[_Fault]:
    remedy = "Mend the line; cells that hold a comma stand in quotation marks."
    for i, (name, row, line) in enumerate(lines):
        place = (f"{name}.csv", int(row)) if row else (f"{ASIDE}/lines.csv", i + 2)
        expected = _REASON["\ufffd" in line].format(name=name)
        yield table.fault(*place, "", f"the line {line[:60]!r}", expected, remedy)


def _old_cells(
    aside: Mapping[str, Cells], typed: dict[str, pd.DataFrame]
) -> tuple[pd.DataFrame, list[_Fault]]:
    """Cells set aside earlier whose place is still blank, and the faults that say so."""
    frame = _earlier(aside, "cells", CELLS)
    blank = [_still_blank(typed, *row) for row in frame[CELLS[:3]].itertuples(index=False)]
    kept = frame[np.array(blank, bool)]
    faults = []
    for row, cell in kept.iterrows():
        place = (f"{ASIDE}/cells.csv", int(str(row)), cell["column"], cell["found"])
        expected = f"could not be used in {cell['table']}.csv, where the cell is blank now"
        remedy = f"Fill in the right value in {cell['table']}.csv, or delete this row."
        faults.append(table.fault(*place, expected, remedy, cell["key"]))
    return kept.reset_index(drop=True), faults


def _still_blank(typed: dict[str, pd.DataFrame], name: str, key: str, column: str) -> bool:
    frame = typed.get(name)
    if frame is None or column not in frame:
        return False
    cells = frame.loc[keys(name, frame) == key, column]
    return bool(len(cells)) and (bool(cells.isna().iloc[0]) or cells.iloc[0] == "")
