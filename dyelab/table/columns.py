"""What each table of a book holds: columns, units, limits, keys, links; as a Table Schema too."""

import csv
import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any


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

    def options(self, name: str) -> tuple[str, ...]:
        """What a column may hold."""
        return next(column.options for column in self.columns if column.name == name)


_TEXTS = ("kind", "unit", "about", "remedy", "default")


def _column(row: dict[str, str]) -> Column:
    low, high = (json.loads(row[name] or "null") for name in ("minimum", "maximum"))
    kind, unit, about, remedy, default = (row[name] for name in _TEXTS)
    options = tuple(row["options"].split("|")) if row["options"] else ()
    required = row["required"] == "yes"
    return Column(row["column"], kind, unit, required, low, high, options, about, remedy, default)


with Path(__file__).with_suffix(".csv").open(encoding="utf-8", newline="") as _file:
    _COLUMNS = list(csv.DictReader(_file))


def describe(name: str, *key: str, links: tuple[tuple[str, str, str], ...] = ()) -> Table:
    """Describe a table by its rows of ``columns.csv``, beside this module."""
    return Table(name, tuple(_column(row) for row in _COLUMNS if row["table"] == name), key, links)


_SWATCH = ("swatch", "swatches", "swatch")
SWATCHES = describe("swatches", "swatch")
STEPS = describe("steps", "swatch", "order", "area", links=(_SWATCH,))
READINGS = describe("readings", "reading", links=(_SWATCH, ("test", "tests", "test")))
# Readings of one photo share its calibration error. Each row here is one direction of that
# error: how far it moves this reading for one standard deviation of the shared factor. Part of
# the error belongs to the dyed spectrum: swatches of one recipe share it, others don't.
SHARED = describe("shared", "reading", "factor", links=(("reading", "readings", "reading"),))
TESTS = describe("tests", "test")
PHOTOS = describe("photos", links=(_SWATCH,))
MATERIALS = describe("materials", "material")

FORMS = SWATCHES.options("form")
EXPOSURES, METHODS = READINGS.options("exposure"), READINGS.options("method")
M_CONDITIONS = READINGS.options("m_condition")[1:]
# Flag of a window whose own reading by instrument corrected its photo: no evidence of its own.
BY_INSTRUMENT = "by_instrument"

# Noise about black may fall a little below 0, and brightened cloth shine above 1; nothing that is
# dyed leaves these bounds.
LEAST_REFLECTANCE, MOST_REFLECTANCE = -0.05, 2.0


def spectra_table(columns: Iterable[str]) -> Table:
    """Describe a spectra table with these columns: `reading`, then one a wavelength in nm.

    Examples
    --------
    >>> from dyelab import table
    >>> [column.name for column in table.spectra_table(["reading", "400", "410"]).columns]
    ['reading', '400', '410']
    """
    remedy = "Reflectance factors run from 0 to 1: is it in percent, or is a point lost?"
    limits: dict[str, Any] = {"minimum": LEAST_REFLECTANCE, "maximum": MOST_REFLECTANCE}
    bands = (
        Column(name, "number", about=f"reflectance factor at {name} nm", remedy=remedy, **limits)
        for name in map(str, columns)
        if is_band(name)
    )
    held = (Column("reading", required=True), *bands)
    return Table("spectra", held, key=("reading",), links=(("reading", "readings", "reading"),))


def is_band(name: str) -> bool:
    """Whether a column is named by a wavelength in nm.

    Examples
    --------
    >>> from dyelab import table
    >>> table.is_band("400"), table.is_band("reading")
    (True, False)
    """
    return name.replace(".", "", 1).isdigit()


def schema(table: Table, extra: Iterable[str] = ()) -> dict[str, Any]:
    """Return a table's description as a Table Schema; `extra` columns are plain text.

    Examples
    --------
    >>> from dyelab import table
    >>> table.schema(table.SWATCHES)["fields"][0]["name"]
    'swatch'
    """
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
    number = int if column.kind == "integer" else str
    options = [number(option) for option in column.options if option]
    rules: dict[str, Any] = {"required": column.required or None, "minimum": column.minimum}
    rules |= {"maximum": column.maximum, "enum": options or None}
    rules = {name: rule for name, rule in rules.items() if rule is not None}
    about = f"{column.about} ({column.unit})" if column.unit and column.about else column.about
    field: dict[str, Any] = {"name": column.name, "type": column.kind}
    if about or column.unit:
        field["description"] = about or column.unit
    return {**field, "constraints": rules} if rules else field
