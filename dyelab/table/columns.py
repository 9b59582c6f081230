"""What each table of a book holds: columns, units, limits, keys, links; as a Table Schema too."""

from collections.abc import Iterable
from dataclasses import dataclass
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


FORMS = ("cloth", "yarn", "paper", "pigment")


STEP_KINDS = (
    *("scour", "tannin", "mordant", "assist", "dye", "vat", "modifier", "rinse", "other"),
)


EXPOSURES = ("none", "wash", "light", "rub dry", "rub wet", "perspiration", "water", "other")


SCOPES = ("photo", "recipe")


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
        Column("label_number", "integer", minimum=0, about="what its label's two markers bear"),
        Column("source", about="spreadsheet it came from"),
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
        Column("dips", "integer", minimum=1, about="times dipped into a vat; blank is once"),
        Column("state", options=("planned", "done"), default="done"),
        Column("note"),
    ),
    key=("swatch", "order", "area"),
    links=(("swatch", "swatches", "swatch"),),
)


M_CONDITIONS = ("M0", "M1", "M2", "M3")


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
        Column("geometry", about="of light and eye, such as 45/0 or d/8"),
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
        Column("specular", options=("", "in", "out"), about="whether a sphere takes gloss in"),
        Column(
            "m_condition",
            options=("", *M_CONDITIONS),
            about="ultraviolet in the lamp (ISO 13655): M0 not said, M1 D50, M2 none, M3 polarised",
        ),
        Column("aperture_mm", "number", "mm", minimum=0, about="width of the spot that is read"),
        Column("backing", about="what lies under the cloth, such as white or black"),
        Column("layers", "integer", minimum=1, about="of cloth, folded on itself"),
    ),
    key=("reading",),
    links=(("swatch", "swatches", "swatch"), ("test", "tests", "test")),
)


# Readings of one photo share its calibration error. Each row here is one direction of that
# error: how far it moves this reading for one standard deviation of the shared factor. Part of
# the error belongs to the dyed spectrum: swatches of one recipe share it, others don't.
SHARED = Table(
    "shared",
    (
        Column("reading", required=True),
        Column("source", required=True, about="readings of one source move together"),
        Column("factor", "integer", required=True, minimum=1),
        Column("L", "number", required=True),
        Column("a", "number", required=True),
        Column("b", "number", required=True),
        Column(
            "scope",
            options=SCOPES,
            about="photo: all readings of the source share it; recipe: only those of one recipe",
            default="photo",
        ),
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
        Column(
            "goes_with",
            about="an earlier photo by the same phone, of the same card in the same light, whose "
            "calibration error this one shares",
        ),
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
        Column("metal", about="symbol of the metal it brings, such as Al or Fe"),
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


# Noise about black may fall a little below 0, and brightened cloth shine above 1; nothing that is
# dyed leaves these bounds.
LEAST_REFLECTANCE, MOST_REFLECTANCE = -0.05, 2.0


def spectra_table(columns: Iterable[str]) -> Table:
    """Describe a spectra table with these columns: `reading`, then one a wavelength in nm."""
    bands = (
        Column(
            str(name),
            "number",
            minimum=LEAST_REFLECTANCE,
            maximum=MOST_REFLECTANCE,
            about=f"reflectance factor at {name} nm",
            remedy="Reflectance factors run from 0 to 1: is it in percent, or is a point lost?",
        )
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
