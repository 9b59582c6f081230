"""Rows of a spreadsheet to swatches, steps and readings, with a list of all that won't come in."""

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from dyelab import convert, errors, recipe, table, words
from dyelab.book import readings as from_instruments
from dyelab.book.spreadsheet import cells, columns, vocabulary
from dyelab.book.spreadsheet.columns import KEEP, KINDS, Meaning, meaning, role
from dyelab.book.spreadsheet.sheets import LOST, Sheet
from dyelab.errors import InputError

ASKED = ["word", "material", "options", "count"]
_RANK = {"scour": 0, "tannin": 1, "mordant": 2, "assist": 2, "dye": 3, "vat": 3, "modifier": 4}
_VAT_HELP = ("hydrated lime", "fructose")  # what an indigo vat is made with, by custom of the trade
_NUMBERS = {"pH": (0.0, 14.0), "dips": (1.0, 99.0), "bath_use": (1.0, 99.0)}
_NUMBERS |= {"temperature_C": (-5.0, 130.0)}
_WHITE = re.compile(r"\b(D50|D55|D65|D75|A|C|E|F\d{1,2})\s*[/,;°]?\s*(10|2)\s*°?(?!\d)")
_XYZ = ("X", "Y", "Z")
_COLOUR = (*table.LAB, *_XYZ, "u", "u_L", "u_a", "u_b")
_ONE = 1.6  # XYZ whose largest value is no larger count the perfect reflector as 1
_OF_STEP = set(columns.STEP) - {"kind", "material", "dips"}  # what has to be said of which step

_Step = dict[str, Any]


@dataclass(frozen=True, eq=False)
class Incoming:
    """What a spreadsheet will bring into a book, before anything is saved.

    Attributes
    ----------
    swatches, steps, readings : DataFrame
        In the columns of `table.SWATCHES` and so on.
    spectra : DataFrame or None
    lost : DataFrame
        `where, found, why`: every column, row and cell that won't come in.
    asked : DataFrame
        `word, material, options, count`: names that could be several materials, or none, and
        what they are taken for unless it is said otherwise.
    notes : tuple of str
    source : str
        Name of the spreadsheet.
    shared : DataFrame or None
        In the columns of `table.SHARED`: the error of adapting.
    other_white : str
        White points of its colours other than the book's, whether adapted or left out.
    """

    swatches: pd.DataFrame
    steps: pd.DataFrame
    readings: pd.DataFrame
    spectra: pd.DataFrame | None
    lost: pd.DataFrame
    asked: pd.DataFrame
    notes: tuple[str, ...]
    source: str
    shared: pd.DataFrame | None = None
    other_white: str = ""

    def in_words(self, swatch: str) -> str:
        """What was done to a swatch: ``cotton, gallnut 8 %, potash alum 15 %, weld 50 %``."""
        row = self.swatches[self.swatches["swatch"] == swatch].iloc[0]
        done = self.steps[self.steps["swatch"] == swatch] if len(self.steps) else self.steps
        said = recipe.sequence.say(as_step(step) for step in done.to_dict("records"))
        return ", ".join(filter(None, (str(row.get("fibre", "") or ""), said)))


def as_step(step: Any) -> recipe.sequence.Step:
    """One row of steps, its blanks filled in."""
    held = {name: value for name, value in step.items() if value is not None and value == value}
    named = ("kind", "metal", "material", "unit")
    kind, metal, material, unit = (str(held.get(name) or "") for name in named)
    amount, area = float(held.get("amount", math.nan)), str(held.get("area") or "whole")
    dips, use = (int(held.get(name) or 1) for name in ("dips", "bath_use"))
    return recipe.sequence.Step(kind, metal, material, amount, unit, dips, use, area)


@dataclass
class _Taking:
    """What has been understood so far."""

    listed: pd.DataFrame
    answers: Mapping[str, str]
    white: table.White | None
    source: str
    into: table.White = table.DEFAULT_WHITE
    adapt: bool = False
    swatches: dict[str, dict[str, Any]] = field(default_factory=dict)
    place: dict[str, str] = field(default_factory=dict)
    wide: dict[str, dict[str, list[_Step]]] = field(default_factory=dict)
    long: dict[str, list[_Step]] = field(default_factory=dict)
    readings: list[dict[str, Any]] = field(default_factory=list)
    spectra: list[dict[str, Any]] = field(default_factory=list)
    names: set[str] = field(default_factory=set)  # of readings
    lost: list[tuple[str, str, str]] = field(default_factory=list)
    asked: dict[str, dict[str, Any]] = field(default_factory=dict)
    notes: dict[str, None] = field(default_factory=dict)

    def lose(self, where: str, found: str, why: str, **values: Any) -> None:
        """Put down that something won't come in."""
        self.lost.append((where, found, words.say(f"spreadsheet.{why}", **values)))


@dataclass(frozen=True)
class _Row:
    """One row of a sheet, its cells by meaning."""

    taking: _Taking
    sheet: Sheet
    at: int
    means: Mapping[str, Meaning]  # by heading
    texts: Mapping[str, str]

    @property
    def place(self) -> str:
        """Where it is, as the user sees it."""
        return _on(self.sheet, self.sheet.row(self.at))

    @cached_property
    def cells(self) -> list["_Cell"]:
        """Its cells, in the order of the columns."""
        return [_Cell(self, name, mean, self.texts[name]) for name, mean in self.means.items()]

    def find(self, what: str, of: str = "", slot: int = 1) -> "_Cell":
        """The cell of a column; one without heading and text where there is none."""
        wanted = (what, of, slot, "")
        for cell in self.cells:
            if (cell.mean.what, cell.mean.of, cell.mean.slot, cell.mean.after) == wanted:
                return cell
        return _Cell(self, "", Meaning(what), "")

    def text(self, what: str) -> str:
        """The text of a column."""
        return self.find(what).text

    def lose(self, found: str, why: str, **values: Any) -> None:
        """Put down that the row, or something of it, won't come in."""
        self.taking.lose(self.place, found, why, **values)


class _Cell(NamedTuple):
    """One cell, with what its heading means."""

    row: _Row
    heading: str
    mean: Meaning
    text: str

    @property
    def where(self) -> cells.Locale:
        """How its sheet writes numbers and dates."""
        return self.row.sheet.locale

    @property
    def parts(self) -> list[cells.Ingredient]:
        """What it says was used."""
        if vocabulary.material(self.text, self.row.taking.listed):  # whose name may hold a number
            return [cells.Ingredient(self.text, None, "", 1)]
        return cells.ingredients(self.text, self.where)

    def read(self, reader: Callable[..., Any], why: str, *more: Any, **values: Any) -> Any:
        """What a reader of `cells` makes of it; None where it is blank, or put down as unread."""
        found = reader(self.text, self.where, *more) if self.text else None
        if self.text and found is None:
            self.lose(why, **values)
        return found

    def used(self) -> list[cells.Ingredient]:
        """Its parts; of what they say, numbers that are none are put down."""
        for part in self.parts:
            if part.unread:
                self.lose("unread", what=words.heading(part.unread))
        return self.parts

    def lose(self, why: str, **values: Any) -> None:
        """Put down that it won't come in."""
        sheet = self.row.sheet
        place = _on(sheet, sheet.cell(self.heading, self.row.at))
        self.row.taking.lose(place, self.text, why, **values)


def understand(
    sheets: Sequence[Sheet],
    meanings: Mapping[str, Mapping[str, str]],
    *,
    listed: pd.DataFrame | None = None,
    answers: Mapping[str, str] | None = None,
    white: table.White | None = None,
    into: table.White = table.DEFAULT_WHITE,
    adapt: bool = False,
) -> Incoming:
    r"""Work out what some sheets of one spreadsheet would bring into a book.

    Parameters
    ----------
    sheets : sequence of Sheet
    meanings : mapping
        By sheet, then by heading, the code of its meaning as `matches` gives it; ``keep``
        carries a column along as one of the user's own, ``""`` leaves it out.
    listed : DataFrame, optional
        The materials list.
    answers : mapping of str to str, optional
        Which material a word stands for, where `Incoming.asked` asks.
    white : (illuminant, observer), optional
        Of colours whose white point the spreadsheet doesn't say.
    into : (illuminant, observer)
        The book's white: reflectances are computed for it.
    adapt : bool
        Whether L*, a*, b* and X, Y, Z under another white may be adapted to the book's, which errs
        by 1 to 5 on dyed cloth: flagged ``adapted``, the error carried as for an instrument's
        readings. Else they are put down among what won't come in.

    Raises
    ------
    InputError
        If no column holds the swatch code, or one field is given to two columns.

    Examples
    --------
    >>> from dyelab import book
    >>> path = folder / "own.csv"
    >>> _ = path.write_text("No,Fibre,Alum %\nK1,wool,15\n", "utf-8")
    >>> one = book.sheet(path)
    >>> fields = book.matches(one).set_index("column")["field"].to_dict()
    >>> incoming = book.understand([one], {one.name: fields})
    >>> incoming.in_words("K1")
    'wool, potash alum 15 %'
    """
    known = recipe.materials() if listed is None else listed
    said = {vocabulary.plain(word): name for word, name in (answers or {}).items()}
    taking = _Taking(known, said, white, sheets[0].file, into, adapt)
    coded = 0
    for sheet in sheets:
        means = _meanings(sheet, meanings.get(sheet.name, {}))
        taking.lost += [
            (_on(sheet, w), f, y) for w, f, y in sheet.lost[LOST].itertuples(index=False)
        ]
        taking.notes |= dict.fromkeys(sheet.notes)
        if not any(held.what == "swatch" for held in means.values()):
            if len(sheets) > 1:
                taking.lose(f"sheet {sheet.name}", f"{len(sheet.frame)} rows", "no_code_here")
            continue
        coded += 1
        _columns_left(taking, sheet, means)
        for row in _rows(taking, sheet, means):
            _take(row)
    if not coded:
        raise InputError(words.say("spreadsheet.no_code"))
    return _finish(taking)


def _on(sheet: Sheet, where: str) -> str:
    return f"{sheet.name}, {where}" if len(sheet.names) > 1 else where


def _meanings(sheet: Sheet, given: Mapping[str, str]) -> dict[str, Meaning]:
    for column in given:
        errors.choose(column, sheet.frame.columns, "column", "in the spreadsheet")
    means = {column: meaning(code) for column, code in given.items() if code != columns.LEAVE}
    fields = {one.partition(":")[0].partition("=")[0] for one in columns.FIELDS} | {KEEP, "band"}
    seen: dict[str, str] = {}
    for column, held in means.items():
        errors.choose(held.what, fields, "field", "of a swatch")
        code = held._replace(unit="").code
        if code != KEEP and code in seen:
            raise InputError(
                words.say("spreadsheet.twice", one=seen[code], other=column, field=code)
            )
        seen[code] = column
    return means


def _columns_left(taking: _Taking, sheet: Sheet, means: Mapping[str, Meaning]) -> None:
    stepped = any(held.what in ("material", "kind") for held in means.values())
    for column in sheet.frame.columns:
        held = [text for text in sheet.frame[column] if text]
        mean = means.get(column)
        why = "column_left" if mean is None else ""
        if mean is not None and mean.what in _OF_STEP and not mean.of and not stepped:
            why = "which_pot" if mean.what == "bath" else "which_step"
        if why and held:
            found = f"{held[0][:40]}{' …' if len(held) > 1 else ''}"
            taking.lose(_on(sheet, sheet.column(column)), found, why)


def _rows(taking: _Taking, sheet: Sheet, means: dict[str, Meaning]) -> Iterator[_Row]:
    """Rows with their code; a blank code belongs to the one above where rows are steps."""
    heading = next(column for column, held in means.items() if held.what == "swatch")
    whats = {held.what for held in means.values()}
    follows = bool(whats & {"material", "kind", "exposure"})
    above = ""
    for at, row in zip(sheet.frame.index, sheet.frame.to_dict("records"), strict=True):
        code = row[heading].strip()
        if not code and follows and above:
            row, code = {**row, heading: above}, above
            taking.notes[words.say("spreadsheet.code_above")] = None
        made = _Row(taking, sheet, int(at), means, {c: row[c].strip() for c in means})
        if code:
            above = code
            yield made
        else:
            made.lose(", ".join(x for x in row.values() if x)[:80], "row_no_code")


def _take(row: _Row) -> None:
    taking, code = row.taking, row.text("swatch")
    if code not in taking.swatches:
        taking.place[code] = row.place
    _swatch(row, code)
    area = row.text("area") or "whole"
    stepped = _long_steps(row, code, area)
    wide = _wide_steps(row)
    read = _readings(row, code, area)
    known, before = taking.wide.setdefault(code, {}), {"code": code, "first": taking.place[code]}
    if area in known and wide and _plain_steps(wide) != _plain_steps(known[area]):
        row.lose(recipe.sequence.say(map(as_step, wide)), "other_recipe", **before)
    elif area in known and not (stepped or read):
        row.lose(code, "code_again", **before)
    if area not in known or (wide and not known[area]):
        known[area] = wide


def _plain_steps(done: list[_Step]) -> list[_Step]:
    return [{k: v for k, v in step.items() if not k.startswith("\0")} for step in done]


# Swatches ---------------------------------------------------------------------------------------


def _swatch(row: _Row, code: str) -> None:
    held = row.taking.swatches.setdefault(code, {"swatch": code})
    for cell in row.cells:
        name = cell.mean.what
        if name == KEEP:
            name = cell.heading + (" (own)" if cell.heading in table.SWATCHES.names else "")
        if not cell.text or cell.mean.what not in (*_OF_SWATCH, KEEP):
            continue
        value = _of_swatch(cell)
        if value is not None and held.setdefault(name, value) != value:
            cell.lose("differs", first=held[name], code=code)


def _form(text: str, _where: cells.Locale) -> str | None:
    found = text.lower().rstrip("s")
    return found if found in table.FORMS else None


def _grams(text: str, where: cells.Locale, unit: str) -> float | None:
    amount = cells.amount(text, where, unit or "g")
    return amount.value if amount and amount.unit == "g" and amount.value >= 0 else None


_OF_SWATCH = ("form", "fibre", "ground", "mass_g", "series", "made_on", "note")


def _of_swatch(cell: _Cell) -> Any:
    """A field of a swatch as the book holds it; None where it can't be."""
    match cell.mean.what:
        case "fibre":
            return vocabulary.fibre(cell.text)
        case "form":
            return cell.read(_form, "form", forms=", ".join(table.FORMS))
        case "made_on":
            return cell.read(cells.day, "date")
        case "mass_g":
            return cell.read(_grams, "mass", cell.mean.unit)
    return cell.text


# Steps ------------------------------------------------------------------------------------------


def _wide_steps(row: _Row) -> list[_Step]:
    """Steps of columns: named materials with their doses, and doses whose heading names one."""
    found: list[_Step] = []
    for cell in row.cells:
        what, of = cell.mean.what, cell.mean.of
        if what == "recipe":
            found += _steps_told(cell)
        elif what == "name" and of in KINDS:
            found += _steps_named(cell)
        elif what == "dose" and not (of in KINDS and row.find("name", of, cell.mean.slot).heading):
            found += _steps_headed(cell)
    joined = _join(found)
    _about(row, joined)
    return _in_order(joined)


def _steps_told(cell: _Cell) -> list[_Step]:
    """Steps written out in one cell, in the order written."""
    taking, named = cell.row.taking, ""
    found: list[_Step] = []
    for part in cell.used():
        kind, rest = vocabulary.step_in(part.material, taking.listed)
        if not (kind or rest):
            cell.lose("no_material")
            continue
        if kind and not rest and part.value is None:  # says what the next was used for
            named = kind
            continue
        material = _material(taking, rest or part.material, "")
        kind = _kind_of(material, kind or named, taking.listed)
        found.append({**_step(kind, material, part), "\0written": cell.heading})
        named = ""
    if named:
        found.append({**_step(named, "", _TICKED), "\0written": cell.heading})
    if not cell.parts and not cells.is_nothing(cell.text):
        cell.lose("no_material")
    return found


def _steps_named(cell: _Cell) -> list[_Step]:
    """Steps of a cell that names one or several materials; their dose stands there or beside."""
    taking, kind = cell.row.taking, cell.mean.of
    beside = cell.row.find("dose", kind, cell.mean.slot)
    dose, held = _dose(beside), cell.used()
    if not held and dose is not None and (dose.value or 0) > 0:
        return _steps_headed(beside)
    if dose is not None and len(held) > 1 and dose.value is not None:
        beside.lose("one_dose", several=cell.text)
        dose = None
    if dose is not None and dose.value == 0:
        return []
    found = []
    for part in held:
        material = _material(taking, part.material or cell.text, kind)
        if part.value is None and dose is not None:
            part = part._replace(value=dose.value, unit=dose.unit)
        found.append(_step(_kind_of(material, kind, taking.listed), material, part, kind))
    return found


def _steps_headed(cell: _Cell) -> list[_Step]:
    """The step of a dose whose heading names its material; if only its kind, which is asked."""
    dose, taking = _dose(cell), cell.row.taking
    if dose is None or dose.value == 0:
        return []
    kind = cell.mean.of if cell.mean.of in KINDS else ""
    material = _material(taking, cell.mean.of, kind)
    return [_step(_kind_of(material, kind, taking.listed), material, dose, kind)]


def _kind_of(material: str, column: str, listed: pd.DataFrame) -> str:
    """The kind of step of a material in such a column; vats, tannins, assists are what they are."""
    own = role(material, listed)
    if (own, column) in (("vat", "dye"), ("tannin", "mordant")) or own == "assist":
        return own
    return column or own or "other"


_TICKED = cells.Ingredient("", None, "", 1)  # used, with no dose told


def _dose(cell: _Cell) -> cells.Ingredient | None:
    """A dose as written; None where there is none; its value None where it was only ticked."""
    held = cell.text
    if not cell.heading or cells.is_nothing(held):
        zero = held.lower() not in ("", "-", "–", "—", "n/a", "na", "/")
        return cells.Ingredient("", 0.0, "", 1) if zero and cell.heading else None
    if held.lower() in cells.YES:
        return _TICKED
    dips = cell.parts
    if dips and dips[0].dips > 1 and not dips[0].material and dips[0].value is None:
        return dips[0]
    amount = cells.amount(held, cell.where, cell.mean.unit or "% WOF")
    if amount is None or amount.unit not in ("% WOF", "g/L", "g") or amount.value < 0:
        cell.lose("dose")
        return None
    return cells.Ingredient("", *amount, 1)


def _step(kind: str, material: str, part: cells.Ingredient, column: str = "") -> dict[str, Any]:
    """A step of a column of this kind; without an amount it has no unit either."""
    step: dict[str, Any] = {"kind": kind, "material": material, "amount": part.value}
    step |= {"\0kind": column} if column else {}
    step["unit"] = (part.unit or "% WOF") if part.value is not None else ""
    step["dips"] = part.dips if part.dips > 1 else None
    about = {"temperature_C": part.celsius, "minutes": part.minutes}
    return step | {name: value for name, value in about.items() if value is not None}


def _material(taking: _Taking, word: str, kind: str) -> str:
    """Our name of a material; a word that could be several, or none, is put down to be asked."""
    key = vocabulary.plain(word)
    shared = vocabulary.shared_name(word)
    named = vocabulary.material(word, taking.listed)
    if named and not shared:
        return named
    if not shared and (rest := vocabulary.step_in(word, taking.listed)[1]) not in ("", word):
        return _material(taking, rest, kind)
    if shared:
        options = list(vocabulary.groups("several")[shared])
        guess = options[0]
    else:
        roles = ("dye", "vat") if kind == "dye" else (kind,)
        fits = taking.listed["role"].isin(roles) if kind else taking.listed["role"] != ""
        options = [word, *taking.listed.loc[fits, "material"]]
        guess = word
    chosen = taking.answers.get(key, guess)
    entry = taking.asked.setdefault(key, {"word": word, "options": options, "count": 0})
    entry |= {"material": chosen, "count": entry["count"] + 1}
    return chosen


def _join(found: list[_Step]) -> list[_Step]:
    """A material named in one column and dosed in another is one step."""
    made: list[_Step] = []
    for step in found:
        same = [one for one in made if one["material"] == step["material"]
                and (one["amount"] is None) != (step["amount"] is None)]  # fmt: skip
        if same and "\0written" not in step:
            same[0] |= {k: v for k, v in step.items() if same[0].get(k) in (None, "")}
        else:
            made.append(step)
    return made


def _in_order(found: list[_Step]) -> list[_Step]:
    """The trade's order: tannin, mordant with its assist, dyes as their columns stand, modifier."""
    written = any("\0written" in step for step in found)
    vats = any(step["kind"] == "vat" for step in found)

    def rank(step: dict[str, Any]) -> tuple[float, int]:
        if written:
            return (0.0, int(step["kind"] == "other" and "\0written" not in step))
        helps_vat = step["kind"] == "assist" and vats and step["material"] in _VAT_HELP
        return (3.5 if helps_vat else _RANK.get(step["kind"], 5), step["kind"] == "assist")

    return sorted(found, key=rank)


_ABOUT = ("temperature_C", "minutes", "pH", "dips")
_OF_ROW = (*_ABOUT, "bath", "bath_use", "liquor_ratio")


def _about(row: _Row, steps: list[_Step]) -> None:
    """Heat, time, pH, bath and dips of a kind of step, from columns of their own."""
    for cell in row.cells:
        what, of, slot = cell.mean.what, cell.mean.of, cell.mean.slot
        of = of or ("vat" if what == "dips" and not row.find("material").heading else "")
        if of not in KINDS or what not in (*_ABOUT, "bath") or not cell.text:
            continue
        if what == "bath" and not cells.bath(cell.text):
            continue
        fits = [s for s in steps if s["kind"] == of or s.get("\0kind") == of]
        fits = fits[slot - 1 : slot] or fits[:1]
        value = _value(cell)
        if not fits:
            cell.lose("no_step", kind=of)
        elif value is not None:
            fits[0][what] = value


def _value(cell: _Cell) -> Any:
    """Heat, time, a number or a text of a step; None where it can't be read."""
    what, unit = cell.mean.what, cell.mean.unit
    if what == "bath":
        return cells.bath(cell.text)
    readers = {"temperature_C": cells.celsius, "minutes": cells.minutes}
    low, high = _NUMBERS.get(what, (0.0, math.inf))

    def within(text: str, where: cells.Locale) -> float | None:
        value = readers[what](text, where, unit) if what in readers else _count(text, where)
        return value if value is not None and low <= value <= high else None

    return cell.read(within, "value", what=words.heading(what))


def _count(text: str, where: cells.Locale) -> float | None:
    """A plain number: ``pH 5``, ``3 dips``, ``x3``, ``1:30``."""
    found = cells.amount(re.sub(r"(?i)^\s*(?:ph\s*|1\s*[:/])|[:/]\s*1\s*$", "", text), where)
    dips = [part.dips for part in cells.ingredients(text, where) if part.dips > 1]
    return found.value if found else float(dips[0]) if dips else None


def _long_steps(row: _Row, code: str, area: str) -> bool:
    """The step that a row is, where rows are steps."""
    taking, kind_text, named = row.taking, row.text("kind"), row.find("material")
    if not (kind_text or named.text):
        return False
    kind = vocabulary.meaning_of(kind_text, vocabulary.words("step")) if kind_text else ""
    made = []
    for part in named.used() or [_TICKED]:
        material = _material(taking, part.material, str(kind or "")) if part.material else ""
        made.append(_step(_kind_of(material, str(kind or ""), taking.listed), material, part))
    if kind is None:
        taking.notes[words.say("spreadsheet.kind", found=kind_text)] = None
    _long_dose(row, made)
    for cell in row.cells:
        if cell.mean.of == "" and cell.mean.what in _OF_ROW and cell.text:
            value = _value(cell)
            for step in made if value is not None else ():
                step[cell.mean.what] = value
    told = {
        "area": area,
        "\0order": cells.number(row.text("order"), row.sheet.locale),
        "\0place": row.place,
    }
    taking.long.setdefault(code, []).extend({**step, **told} for step in made)
    return True


def _long_dose(row: _Row, made: list[_Step]) -> None:
    """The amount of a row's step, in the unit beside it."""
    cell, unit_cell = row.find("amount"), row.find("unit")
    if cell.text in ("", "-", "–"):
        return
    unit = vocabulary.unit(unit_cell.text) if unit_cell.text else ""
    if unit_cell.text and unit not in ("% WOF", *columns.DOSED):
        unit_cell.lose("unit")
        return
    dose = _dose(cell._replace(mean=cell.mean._replace(unit=unit or cell.mean.unit)))
    if dose is None:
        return
    if len(made) > 1:
        cell.lose("one_dose", several=row.text("material"))
        return
    made[0] |= {"amount": dose.value, "unit": dose.unit if dose.value is not None else ""}
    made[0]["dips"] = made[0]["dips"] or (dose.dips if dose.dips > 1 else None)


# Readings ---------------------------------------------------------------------------------------


def _readings(row: _Row, code: str, area: str) -> bool:
    """The readings of a row: its own, and those under headings that name a test."""
    found = False
    afters = dict.fromkeys(m.after for m in row.means.values() if m.what in (*table.LAB, *_XYZ))
    bands = any(m.what == "band" for m in row.means.values())
    for after in afters or ({"": None} if bands else {}):
        found |= _read_row(row, code, area, after)
    return found


def _read_row(row: _Row, code: str, area: str, after: str) -> bool:
    held = {c.mean.what: c for c in row.cells if c.mean.after == after and c.mean.what in _COLOUR}
    spectrum = _spectrum(row) if after == "" else {}
    names = table.LAB if any(held[n].text for n in table.LAB if n in held) else _XYZ
    own = {name: held.get(name, row.find("")) for name in names}
    texts = [cell.text for cell in own.values()]
    if not any(texts) and not spectrum:
        return False
    values = {name: cell.read(cells.number, "colour") for name, cell in own.items()}
    exposed, white = _exposure(row, after), _white(row)
    lacks = "colour_part" if None in values.values() else "" if white else "white"
    if exposed is None or (lacks and not spectrum):
        if exposed is not None:
            row.lose(", ".join(filter(None, texts)), lacks)
        return True
    if names == _XYZ:
        values = _from_xyz(own, values, white)
    taking, kept = row.taking, white or row.taking.into
    if spectrum and (None in values.values() or kept != taking.into):
        kept = taking.into
        lab = convert.spectra_to_lab(pd.DataFrame([{"reading": "x", **spectrum}]), *kept)
        values = {name: float(lab[name].iloc[0]) for name in table.LAB}
    made = {"swatch": code, "area": area, **exposed.cells, **values, **_uncertain(held)}
    made |= {
        "method": _method(row, spectrum),
        "taken_at": _time_taken(row),
        "source": taking.source,
    }
    made |= {
        "reading": _reading_name(made, taking.names),
        **dict(zip(table.WHITE, kept, strict=True)),
    }
    taking.readings.append({**made, "\0place": row.place})
    if spectrum:
        taking.spectra.append({"reading": made["reading"], **spectrum})
    return True


def _reading_name(row: dict[str, Any], taken: set[str]) -> str:
    """A name that the same row gets again the next time."""
    area = "" if row["area"] == "whole" else f"-{row['area']}"
    amount = "" if row["amount"] is None else f"{row['amount']:g}"
    after = "" if row["exposure"] == "none" else f"-{row['exposure']}{amount}"
    stem = f"{row['swatch']}{area}{after}-{Path(row['source']).stem[:20]}".replace(" ", "_")
    return table.free_name(stem, taken)


def _from_xyz(own: dict[str, _Cell], values: dict[str, Any], white: Any) -> dict[str, float | None]:
    """CIELAB (CIE 15) of X, Y and Z, on whichever scale the sheet counts light: to 1 or to 100."""
    if None in values.values() or white is None:
        return dict.fromkeys(table.LAB)
    sheet = own["X"].row.sheet
    texts = sheet.frame[[cell.heading for cell in own.values()]].to_numpy().ravel()
    most = max(cells.number(text, sheet.locale) or 0.0 for text in texts)
    xyz = [values[name] * (100 if most <= _ONE else 1) for name in _XYZ]
    lab = convert.xyz_to_lab(xyz, convert.white(*white))
    return dict(zip(table.LAB, map(float, lab), strict=True))


def _time_taken(row: _Row) -> str:
    day = row.find("taken_at").read(cells.day, "date")
    return f"{day}T00:00:00" if day else ""


def _method(row: _Row, spectrum: dict[str, float]) -> str:
    cell = row.find("method")
    said = cell.text.lower()
    if said and said not in table.METHODS:
        cell.lose("method", methods=", ".join(table.METHODS))
    return "spectral" if spectrum else said if said in table.METHODS else "typed"


def _uncertain(held: Mapping[str, _Cell]) -> dict[str, float]:
    """Variances from stated standard uncertainties; one for all three where only one is stated."""
    found = {}
    stated = {name: held.get(f"u_{name}", held.get("u")) for name in table.LAB}
    told = {name: cell for name, cell in stated.items() if cell and cell.text}
    for name, cell in told.items():
        value = cells.number(cell.text.lstrip("±").strip(), cell.where)
        if value is not None and value >= 0:
            found[f"var_{name}"] = value**2
    if len(found) == 3:
        return found
    for cell in {cell.heading: cell for cell in told.values()}.values():
        cell.lose("spread")
    return {}


def _exposure(row: _Row, after: str) -> cells.Exposure | None:
    if after:
        kind, amount, unit = after.split(":")
        return cells.Exposure(kind, float(amount) if amount else None, unit)
    told, counted = row.find("exposure"), row.find("exposure_amount")
    found = cells.exposure(told.text, told.where)
    if found is None:
        told.lose("exposure")
        return None
    if not told.heading and not counted.heading:
        return _of_sheet(row.taking, row.sheet) or found
    number = cells.amount(counted.text, counted.where) if counted.text else None
    if number is None and not cells.is_nothing(counted.text):
        counted.lose("colour")
    if number is None or found.amount is not None:
        return found
    if found.kind == "none" and number.value > 0:  # a count without a word: its heading has one
        kind = vocabulary.exposure(counted.heading) or "wash"
        return cells.Exposure(kind, number.value, "h" if kind == "light" else "cycle")
    unit = "" if found.kind == "none" else "h" if found.kind == "light" else "cycle"
    return found._replace(amount=number.value or None, unit=unit)


def _of_sheet(taking: _Taking, sheet: Sheet) -> cells.Exposure | None:
    """What all readings of a sheet came after, by its name or the text above its headings."""
    for text in (sheet.name, *sheet.lost["found"]):
        found = cells.exposure(text, sheet.locale) if text else None
        if found and found.kind != "none" and (found.amount is not None or text == sheet.name):
            taking.notes[words.say("spreadsheet.by_name", sheet=sheet.name, after=text)] = None
            return found
    return None


def _white(row: _Row) -> table.White | None:
    """The white point of a row's colours: its own columns, the sheet's headings, or as told."""
    light = row.text("illuminant").upper()
    angle = re.sub(r"\D", "", row.text("observer"))
    if light and angle in ("2", "10"):
        return light, int(angle)
    for text in (row.text("white"), row.text("illuminant"), row.sheet.above):
        if match := _WHITE.search(text):
            return match[1], int(match[2])
    return row.taking.white


def _spectrum(row: _Row) -> dict[str, float]:
    found: dict[str, float] = {}
    for cell in row.cells:
        if cell.mean.what == "band" and cell.text:
            value = cells.amount(cell.text, cell.where)
            if value is None:
                cell.lose("colour")
                return {}
            percent = "%" in (value.unit + cell.mean.unit)
            found[cell.mean.of] = value.value / 100 if percent else value.value
    if found and max(found.values()) > 2:  # no cloth sends back twice the light: these are per cent
        found = {band: value / 100 for band, value in found.items()}
        row.taking.notes[words.say("spreadsheet.percent")] = None
    return found


# Everything together ----------------------------------------------------------------------------


def _finish(taking: _Taking) -> Incoming:
    steps = pd.DataFrame(list(_all_steps(taking)))
    swatches = pd.DataFrame(list(taking.swatches.values())).astype(object)
    swatches = swatches.where(swatches.notna(), "")
    swatches["source"] = taking.source
    swatches["bare_areas"] = [_bare(taking, code, steps) for code in swatches["swatch"]]
    readings, shared, others = _under_one_white(taking, pd.DataFrame(taking.readings))
    made = {"swatches": swatches, "steps": steps, "readings": readings}
    for name, rules in (("steps", table.STEPS), ("readings", table.READINGS)):
        if len(made[name]):
            made[name] = _check(taking, made[name], rules)
    kept = made["readings"]["reading"] if len(made["readings"]) else []
    return Incoming(
        **made,
        spectra=_of_kept(pd.DataFrame(taking.spectra), kept),
        shared=_of_kept(shared, kept),
        other_white=others,
        lost=pd.DataFrame(taking.lost, columns=LOST),
        asked=pd.DataFrame(list(taking.asked.values()), columns=ASKED),
        notes=tuple(taking.notes),
        source=taking.source,
    )


def _of_kept(rows: pd.DataFrame | None, kept: Any) -> pd.DataFrame | None:
    if rows is None or rows.empty:
        return None
    rows = rows[rows["reading"].isin(kept)].reset_index(drop=True)
    return rows if len(rows) else None


def _under_one_white(
    taking: _Taking, rows: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame | None, str]:
    """Readings under the book's white: others are adapted where that was said, else put down."""
    whites = list(rows[table.WHITE].itertuples(index=False, name=None)) if len(rows) else []
    other = np.array([white != taking.into for white in whites], bool)
    named = ", ".join(dict.fromkeys(map(table.white_text, (w for w in whites if w != taking.into))))
    if not other.any():
        return rows, None, ""
    if not taking.adapt:
        for row in rows[other].to_dict("records"):
            found = ", ".join(f"{row[name]:.4g}" for name in table.LAB)
            theirs = table.white_text((row["illuminant"], row["observer"]))
            taking.lose(row["\0place"], found, "other_white", white=theirs)
        return rows[~other], None, named
    stated = rows.reindex(columns=[f"var_{name}" for name in table.LAB]).to_numpy(float)
    stated = np.where(other[:, None] & np.isnan(stated), from_instruments.UNSTATED**2, stated)
    moved, error = from_instruments.adapt_readings(rows, taking.into)
    moved["adapted_from"] = list(map(table.white_text, whites))
    shared = from_instruments.shared_by_adapting(moved, error)
    spread = stated[:, :, None] * np.eye(3) + error
    return table.with_covariances(moved.drop(columns="adapted_from"), spread), shared, named


def _bare(taking: _Taking, code: str, steps: pd.DataFrame) -> str:
    """Areas that rows name and no step of their own touched."""
    stepped = set(steps.loc[steps["swatch"] == code, "area"]) if len(steps) else set()
    return "; ".join(area for area in taking.wide[code] if area not in {"whole", *stepped})


def _all_steps(taking: _Taking) -> Iterator[dict[str, Any]]:
    for code in taking.swatches:
        done = [*_by_area(taking.wide.get(code, {})), *_order(taking.long.get(code, []))]
        for order, step in enumerate(done, start=1):
            held = {k: v for k, v in step.items() if not k.startswith("\0")}
            yield {"swatch": code, "order": order, **held, "\0place": step.get("\0place") or
                   taking.place[code]}  # fmt: skip


def _by_area(areas: dict[str, list[_Step]]) -> list[_Step]:
    """Steps of a cloth's areas: what all had was done to the whole, where no row says so itself."""
    named = {area: _plain_steps(done) for area, done in areas.items() if area != "whole"}
    whole = _plain_steps(areas.get("whole", []))
    if not whole and len(named) > 1:
        first, *others = named.values()
        whole = [step for step in first if all(step in done for done in others)]
    found = [{**step, "area": "whole"} for step in whole]
    for area, done in named.items():
        found += [{**step, "area": area} for step in done if step not in whole]
    return sorted(found, key=lambda step: _RANK.get(step["kind"], 5))


def _order(done: list[_Step]) -> list[_Step]:
    if all(step["\0order"] is not None for step in done):
        return sorted(done, key=lambda step: step["\0order"])
    return done


def _check(taking: _Taking, frame: pd.DataFrame, rules: table.Table) -> pd.DataFrame:
    """Rows that the book can hold; a value beyond its limits is put down with the user's row."""
    text = table.as_text(frame.drop(columns="\0place"), rules)
    faults = table.check(text, rules, taking.source, rows=range(len(frame)))
    needed = {column.name for column in rules.columns if column.required}
    bad = set()
    for fault in faults.to_dict("records"):
        at = fault["row"]
        found, why = "{column} = {found}".format(**fault), "{expected}. {remedy}".format(**fault)
        taking.lost.append((frame["\0place"].iloc[at], found, why))
        if fault["column"] in needed:
            bad.add(at)
        else:
            frame.loc[frame.index[at], fault["column"]] = None
    return frame.drop(columns="\0place").drop(index=[frame.index[at] for at in bad])
