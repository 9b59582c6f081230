"""Tables and their rules: columns, units, ranges, the white-point rule, and how faults are worded.

Every table of a swatch book is described once, here, in the terms of the open Table Schema
standard. The description checks rows, types columns, and is written into the book's
``datapackage.json``.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import numpy as np
import pandas as pd

from dyelab.errors import InputError

LAB = ["L", "a", "b"]
WHITE = ["illuminant", "observer"]
STANDARD_UNCERTAINTIES = ["u_L", "u_a", "u_b"]
COVARIANCE = ["var_L", "var_a", "var_b", "cov_La", "cov_Lb", "cov_ab"]
DEFAULT_WHITE = ("D65", 10)


@dataclass(frozen=True)
class Column:
    """One column of a table: its type, unit, limits, and the remedy for a wrong value."""

    name: str
    kind: str = "string"  # string, number, integer, date, datetime: Table Schema's own names
    unit: str = ""
    required: bool = False
    minimum: float | None = None
    maximum: float | None = None
    options: tuple[str, ...] = ()
    about: str = ""
    remedy: str = ""
    default: str = ""  # what a blank cell stands for


@dataclass(frozen=True)
class Table:
    """A named table: its columns in order, the columns that identify a row, and its links.

    A link (column, table, column there) says that the value must exist in another table.
    """

    name: str
    columns: tuple[Column, ...]
    key: tuple[str, ...] = ()
    links: tuple[tuple[str, str, str], ...] = ()

    @property
    def names(self) -> list[str]:
        """Column names, in the order they are stored."""
        return [column.name for column in self.columns]


FORMS = ("cloth", "yarn", "paper", "pigment")
STEP_KINDS = ("scour", "tannin", "mordant", "dye", "vat", "modifier", "rinse", "other")
EXPOSURES = ("none", "wash", "light", "rub dry", "rub wet", "perspiration", "water", "other")
METHODS = ("photo", "scan", "spectral", "colorimeter", "typed")
_RGB = "Is this an RGB value? Convert it first: convert.screen_to_lab."

SWATCHES = Table(
    "swatches",
    (
        Column("swatch", required=True, about="short code written on the label"),
        Column("form", options=FORMS),
        Column("fibre", about="wool, cotton, silk, linen and so on"),
        Column("ground", about="the undyed base, such as bleached plain weave 120 g/m2"),
        Column("mass_g", "number", "g", minimum=0, about="dry mass before any bath"),
        Column("series"),
        Column("made_on", "date", remedy="Write it as 2026-04-30."),
        Column("note"),
    ),
    key=("swatch",),
)

STEPS = Table(
    "steps",
    (
        Column("swatch", required=True),
        Column("order", "integer", required=True, minimum=1),
        Column("kind", required=True, options=STEP_KINDS),
        Column("material", about="a name in the materials list"),
        Column("amount", "number", minimum=0),
        Column("unit", options=("% WOF", "g/L", "g")),
        Column(
            "area",
            about="whole, or the named part of the cloth this step touched",
            default="whole",
        ),
        Column("temperature_C", "number", "°C", minimum=-5, maximum=130),
        Column("minutes", "number", "min", minimum=0),
        Column("pH", "number", minimum=0, maximum=14),
        Column("bath", about="code of the bath, the same for swatches that shared it"),
        Column("liquor_ratio", "number", "L/kg", minimum=0, about="litres of bath per kg of fibre"),
        Column("bath_use", "integer", minimum=1, about="1 fresh, 2 used once before, and so on"),
        Column("state", options=("planned", "done"), default="done"),
        Column("note"),
    ),
    key=("swatch", "order", "area"),
    links=(("swatch", "swatches", "swatch"),),
)

READINGS = Table(
    "readings",
    (
        Column("reading", required=True),
        Column("swatch", required=True),
        Column(
            "part",
            about="swatch, or the adjacent fibre that may have been stained",
            default="swatch",
        ),
        Column(
            "area",
            about="whole, or a named part of a printed or painted cloth",
            default="whole",
        ),
        Column("exposure", required=True, options=EXPOSURES),
        Column("amount", "number", minimum=0, about="how much exposure, in `unit`"),
        Column("unit", options=("", "cycle", "h", "lx h", "reference step")),
        Column("test", about="a row of tests.csv"),
        Column("method", required=True, options=METHODS),
        Column("source", about="file the reading came from"),
        Column("illuminant", required=True, about="CIE illuminant, such as D65"),
        Column("observer", "integer", "°", required=True, options=("2", "10")),
        Column("geometry", about="such as 45/0 or d/8 (SCI)"),
        Column("L", "number", required=True, minimum=0, maximum=100, remedy=_RGB),
        Column("a", "number", required=True, minimum=-160, maximum=160, remedy=_RGB),
        Column("b", "number", required=True, minimum=-160, maximum=160, remedy=_RGB),
        Column("var_L", "number", minimum=0),
        Column("var_a", "number", minimum=0),
        Column("var_b", "number", minimum=0),
        Column("cov_La", "number"),
        Column("cov_Lb", "number"),
        Column("cov_ab", "number"),
        Column("n", "integer", minimum=1, about="independent areas or placements averaged"),
        Column("flags", about="words, parted by spaces"),
        Column("taken_at", "datetime", remedy="Write it as 2026-04-30T14:05:00."),
    ),
    key=("reading",),
    links=(("swatch", "swatches", "swatch"), ("test", "tests", "test")),
)

# Readings of one photo share its calibration error. Each row here is one direction of that
# error: how far it moves this reading for one standard deviation of the shared factor.
SHARED = Table(
    "shared",
    (
        Column("reading", required=True),
        Column("source", required=True, about="readings of one source move together"),
        Column("factor", "integer", required=True, minimum=1),
        Column("L", "number", required=True),
        Column("a", "number", required=True),
        Column("b", "number", required=True),
    ),
    key=("reading", "factor"),
    links=(("reading", "readings", "reading"),),
)

TESTS = Table(
    "tests",
    (
        Column("test", required=True),
        Column("exposure", required=True, options=EXPOSURES[1:]),
        Column("method", about="the standard or the home method followed"),
        Column("conditions"),
        Column("detergent"),
        Column("lamp"),
        Column("started_on", "date", remedy="Write it as 2026-04-30."),
        Column("ended_on", "date", remedy="Write it as 2026-04-30."),
        Column("who"),
        Column("note"),
    ),
    key=("test",),
)

PHOTOS = Table(
    "photos",
    (
        Column("photo", required=True, about="file in photos/, named by its content"),
        Column("swatch", about="the swatch it shows; blank for a card or a group"),
        Column("original", about="the name it came with"),
        Column("added_at", "datetime", remedy="Write it as 2026-04-30T14:05:00."),
        Column("note"),
    ),
    links=(("swatch", "swatches", "swatch"),),
)

ROLES = ("tannin", "mordant", "dye", "vat", "modifier", "scour", "assist")

MATERIALS = Table(
    "materials",
    (
        Column("material", required=True),
        Column("role", required=True, options=ROLES),
        Column("also", about="other names, parted by semicolons"),
        Column("formula", about="chemical formula, water of crystallisation after a dot"),
        Column("metal", options=("Al", "Fe", "Cu", "Sn", "Ti")),
        Column(
            "metal_percent",
            "number",
            "% by mass",
            minimum=0,
            maximum=100,
            about="worked out from the formula where there is one; else as the label states",
        ),
        Column("low_wof", "number", "% WOF", minimum=0, about="usual range, low end"),
        Column("high_wof", "number", "% WOF", minimum=0, about="usual range, high end"),
        Column("own_colour", about="the colour it brings by itself, or clear"),
        Column("hazards", about="GHS hazard statements, such as H302 H319"),
        Column("basis", about="where range and hazards come from"),
        Column("note"),
    ),
    key=("material",),
)


def spectra_table(columns: Iterable[str]) -> Table:
    """Describe a spectra table with these columns: `reading`, then one a wavelength in nm."""
    bands = (
        Column(str(name), "number", about=f"reflectance factor at {name} nm")
        for name in columns
        if str(name).replace(".", "", 1).isdigit()
    )
    return Table(
        "spectra",
        (Column("reading", required=True), *bands),
        key=("reading",),
        links=(("reading", "readings", "reading"),),
    )


def schema(table: Table, extra: Iterable[str] = ()) -> dict[str, Any]:
    """Return a table's description as a Table Schema; `extra` columns are plain text."""
    fields = [_field(column) for column in table.columns]
    fields += [{"name": name, "type": "string"} for name in extra]
    described: dict[str, Any] = {"fields": fields, "missingValues": [""]}
    if table.key:
        described["primaryKey"] = list(table.key)
    if table.links:
        described["foreignKeys"] = [
            {"fields": [here], "reference": {"resource": there, "fields": [column]}}
            for here, there, column in table.links
        ]
    return described


def _field(column: Column) -> dict[str, Any]:
    rules: dict[str, Any] = {}
    if column.required:
        rules["required"] = True
    if column.minimum is not None:
        rules["minimum"] = column.minimum
    if column.maximum is not None:
        rules["maximum"] = column.maximum
    options = [option for option in column.options if option]
    if options:
        rules["enum"] = [int(x) for x in options] if column.kind == "integer" else options
    about = f"{column.about} ({column.unit})" if column.unit and column.about else column.about
    field: dict[str, Any] = {"name": column.name, "type": column.kind}
    if about or column.unit:
        field["description"] = about or column.unit
    return {**field, "constraints": rules} if rules else field


def one_white(*tables: pd.DataFrame) -> tuple[str, int]:
    """Return the one illuminant and observer that all rows share.

    Raises
    ------
    InputError
        If the columns are missing, or if the rows mix white points; the message gives the
        call that brings them to one.
    """
    seen: dict[tuple[str, int], None] = {}
    for frame in tables:
        missing = [name for name in WHITE if name not in frame.columns]
        if missing:
            raise InputError(
                f"no {' or '.join(missing)} column: CIELAB means nothing without its white point. "
                "Add the columns, such as illuminant D65 and observer 10."
            )
        pairs = frame[WHITE].drop_duplicates()
        seen.update(dict.fromkeys((str(i), int(o)) for i, o in pairs.itertuples(index=False)))
    if not seen:
        return DEFAULT_WHITE
    if len(seen) > 1:
        names = [f"{illuminant}/{observer}°" for illuminant, observer in seen]
        raise InputError(
            f"can't compare {' with '.join(names)}. Bring both to one white: "
            f'convert.adapt(table, "{DEFAULT_WHITE[0]}", {DEFAULT_WHITE[1]}).'
        )
    return next(iter(seen))


def need(frame: pd.DataFrame, columns: Sequence[str], what: str) -> None:
    """Raise unless the frame has all these columns.

    Raises
    ------
    InputError
        Names the missing columns, those found, and what they are for.
    """
    missing = [name for name in columns if name not in frame.columns]
    if missing:
        raise InputError(
            f"{what}: no column {', '.join(missing)}. Found: {', '.join(map(str, frame.columns))}. "
            f"Needed: {', '.join(columns)}."
        )


def covariances(frame: pd.DataFrame) -> np.ndarray:
    """Covariance of each row's L*, a*, b*.

    Parameters
    ----------
    frame : DataFrame
        With the six columns of `COVARIANCE`, or with `u_L, u_a, u_b` (standard uncertainties,
        taken as independent). Blank means not known.

    Returns
    -------
    ndarray, shape (n, 3, 3)
        NaN where not known.
    """
    if set(COVARIANCE) <= set(frame.columns):
        LL, aa, bb, La, Lb, ab = frame[COVARIANCE].to_numpy(float).T
        La, Lb, ab = (np.where(np.isnan(LL), np.nan, np.nan_to_num(x)) for x in (La, Lb, ab))
        return np.stack([LL, La, Lb, La, aa, ab, Lb, ab, bb], axis=-1).reshape(-1, 3, 3)
    if set(STANDARD_UNCERTAINTIES) <= set(frame.columns):
        u = frame[STANDARD_UNCERTAINTIES].to_numpy(float)
        return (u**2)[:, :, None] * np.eye(3)
    return np.full((len(frame), 3, 3), np.nan)


def with_covariances(frame: pd.DataFrame, matrices: np.ndarray) -> pd.DataFrame:
    """Return the table with its six covariance columns set from (n, 3, 3) matrices."""
    m = np.asarray(matrices, float)
    terms = [m[:, 0, 0], m[:, 1, 1], m[:, 2, 2], m[:, 0, 1], m[:, 0, 2], m[:, 1, 2]]
    return frame.assign(**dict(zip(COVARIANCE, terms, strict=True)))


def fault(
    file: str,
    row: int | None,
    column: str,
    found: Any,
    expected: str,
    remedy: str,
    label: str = "",
    word: str = "row",
) -> dict[str, Any]:
    """One fault as a record: where it is, what was found, what was expected, what to do."""
    place = file + (f" {word} {row}" if row is not None else "") + (f" ({label})" if label else "")
    subject = f"{column} = {found}" if column else f"{found}"
    text = f"{place}: {subject} {expected}. {remedy}".strip()
    return {
        "file": file,
        "row": row,
        "column": column,
        "found": found,
        "expected": expected,
        "remedy": remedy,
        "text": text,
    }


def check(
    frame: pd.DataFrame,
    table: Table,
    file: str,
    first_row: int = 2,
    *,
    rows: Sequence[int] | None = None,
) -> pd.DataFrame:
    """List every fault of a table of text cells, without changing it.

    Parameters
    ----------
    frame : DataFrame
        As read from a file: every cell text, blank as ``""``. A column of plain numbers may
        be numeric already, blank as NaN.
    table : Table
        What the columns should hold.
    file : str
        Name used in the messages.
    first_row : int
        Number a spreadsheet shows beside the first row of data.
    rows : sequence of int, optional
        The number of every row, where they don't follow each other.

    Returns
    -------
    DataFrame
        Columns `file, row, column, found, expected, remedy, text`; empty when all is well.
    """
    faults: list[dict[str, Any]] = []
    label = frame[table.key[0]] if table.key and table.key[0] in frame else None

    def note(mask: np.ndarray, column: str, expected: str, remedy: str) -> None:
        for i in np.flatnonzero(mask):
            name = str(label.iloc[i]) if label is not None else ""
            text = _text(frame[column].iloc[i], "").removesuffix(".0")
            row = int(i) + first_row if rows is None else int(rows[int(i)])
            faults.append(fault(file, row, column, text or "''", expected, remedy, name))

    for column in table.columns:
        if column.name not in frame:
            if column.required:
                faults.append(
                    fault(file, 1, "", f"no column {column.name!r}", "is there", "Add the column.")
                )
            continue
        for mask, expected, remedy in _column_faults(frame[column.name], column):
            note(mask, column.name, expected, remedy)
    keys = [key for key in table.key if key in frame]
    if keys and len(frame):
        twice = frame.duplicated(keys, keep="first").to_numpy()
        note(twice, keys[0], "is there twice", "Give each row its own.")
    names = ["file", "row", "column", "found", "expected", "remedy", "text"]
    return pd.DataFrame(faults, columns=names)


def _column_faults(cells: pd.Series, column: Column) -> Iterable[tuple[np.ndarray, str, str]]:
    """Yield (rows at fault, what was expected, what to do) for each rule of a column."""
    blank = blanks(cells)
    if column.required:
        yield blank, "is blank", f"Fill in the {column.name}."
    if column.options:
        options: list[Any] = list(column.options)
        if column.kind == "integer":
            options += [float(option) for option in options]
        wrong = ~cells.isin(options).to_numpy() & ~blank
        listing = ", ".join(option or "blank" for option in column.options)
        yield wrong, f"is not one of {listing}", column.remedy or "Choose one of these."
    if column.kind in ("number", "integer"):
        yield from _number_faults(cells, column, blank)
    if column.kind in ("date", "datetime"):
        good = {text for text in cells.unique() if _is_time(str(text), column.kind)}
        yield ~cells.isin(good).to_numpy() & ~blank, f"is not a {column.kind}", column.remedy


def _is_time(text: str, kind: str) -> bool:
    try:
        read = datetime.fromisoformat(text)
    except ValueError:
        return False
    short = len(text) == 10
    return read is not None and (short if kind == "date" else "T" in text and not short)


def _number_faults(
    cells: pd.Series, column: Column, blank: np.ndarray
) -> Iterable[tuple[np.ndarray, str, str]]:
    values = numbers(cells)
    wrong = ~np.isfinite(values) & ~blank
    comma = wrong.copy()
    comma[wrong] = ["," in str(cell) for cell in cells[wrong]]
    yield comma, "is not a number", "Use a point, not a comma, for decimals."
    yield wrong & ~comma, "is not a number", "Type a plain number, or leave it blank."
    if column.kind == "integer":
        yield (~wrong & ~blank & (values % 1 != 0)), "is not a whole number", "Round it."
    low, high = column.minimum, column.maximum
    with np.errstate(invalid="ignore"):
        below = values < low if low is not None else np.zeros(len(values), bool)
        above = values > high if high is not None else np.zeros(len(values), bool)
    unit = f" {column.unit}" if column.unit else ""
    span = (
        f"is outside {low:g} to {high:g}{unit}"
        if low is not None and high is not None
        else f"is below {low:g}{unit}"
        if low is not None
        else f"is above {high:g}{unit}"
        if high is not None
        else ""
    )
    yield (below | above) & ~wrong, span, column.remedy or "Check the value and its unit."


def typed(frame: pd.DataFrame, table: Table) -> pd.DataFrame:
    """Turn checked text cells into typed columns, adding blank columns that are missing.

    Dates stay text (ISO 8601), so that nothing is lost on saving. A blank cell takes the
    column's default. Columns the table doesn't know are kept as text, after the known ones.
    """
    columns: dict[str, Any] = {}
    for column in table.columns:
        cells = frame.get(column.name, pd.Series("", index=frame.index))
        if column.kind in ("number", "integer"):
            values = pd.Series(numbers(cells), index=frame.index)
            columns[column.name] = values.astype("Int64") if column.kind == "integer" else values
        else:
            filled = cells.where(cells != "", column.default) if column.default else cells
            columns[column.name] = filled.astype(str)
    extra = {name: frame[name] for name in frame.columns if name not in columns}
    return pd.DataFrame({**columns, **extra}, index=frame.index)


def blanks(cells: pd.Series) -> np.ndarray:
    """Return which cells hold nothing: ``""`` in text, NaN in numbers."""
    if pd.api.types.is_numeric_dtype(cells.dtype):
        return cells.isna().to_numpy()
    return (cells == "").to_numpy()


def numbers(cells: pd.Series) -> np.ndarray:
    """Return the cells as floats, NaN where blank or no number."""
    if pd.api.types.is_numeric_dtype(cells.dtype):
        return cells.to_numpy(float, na_value=np.nan)
    blank = blanks(cells)
    if blank.all():
        return np.full(len(cells), np.nan)
    return pd.to_numeric(cells.where(~blank, "nan"), errors="coerce").to_numpy(float)


def as_text(frame: pd.DataFrame, table: Table) -> pd.DataFrame:
    """Turn a table of any cells into text cells, as they would stand in a file; blank is ``""``."""
    kinds = {column.name: column.kind for column in table.columns}
    columns = {str(name): _texts(frame[name], kinds.get(str(name), "")) for name in frame.columns}
    return pd.DataFrame(columns, index=frame.index, dtype=str)


def _texts(cells: pd.Series, kind: str) -> list[str]:
    if isinstance(cells.dtype, pd.StringDtype):
        return cells.fillna("").tolist()
    return [_text(cell, kind) for cell in cells.tolist()]


def _text(cell: Any, kind: str) -> str:
    if isinstance(cell, str):
        return cell
    if cell is None or cell is pd.NA or cell is pd.NaT or cell != cell:
        return ""
    if isinstance(cell, (date, datetime)):  # a pandas Timestamp is one too
        return cell.isoformat()[:10] if kind == "date" else cell.isoformat()
    if isinstance(cell, (float, np.floating)):
        whole = kind == "integer" and float(cell).is_integer()
        return str(int(cell)) if whole else repr(float(cell))
    return str(cell)


def empty(table: Table) -> pd.DataFrame:
    """Return the table with its typed columns and no rows."""
    return typed(pd.DataFrame({name: pd.Series(dtype=str) for name in table.names}), table)
