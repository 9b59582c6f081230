"""Rows of a spreadsheet to swatches, steps and readings, with a list of all that won't come in."""

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from dyelab import convert, errors, recipe, table, words
from dyelab.book import readings as from_instruments
from dyelab.book.spreadsheet import cells, vocabulary
from dyelab.book.spreadsheet.columns import (
    FIELDS,
    KEEP,
    KINDS,
    LEAVE,
    Meaning,
    meaning,
    role,
)
from dyelab.book.spreadsheet.sheets import LOST, Sheet
from dyelab.errors import InputError

ASKED = ["word", "material", "options", "count"]
_RANK = {"scour": 0, "tannin": 1, "mordant": 2, "assist": 2, "dye": 3, "vat": 3, "modifier": 4}
_VAT_HELP = ("hydrated lime", "fructose")  # what an indigo vat is made with, by custom of the trade
_NUMBERS = {"pH": (0.0, 14.0), "dips": (1.0, 99.0), "bath_use": (1.0, 99.0)}
_WHITE = re.compile(r"\b(D50|D55|D65|D75|A|C|E|F\d{1,2})\s*[/,;°]?\s*(10|2)\s*°?(?!\d)")
_XYZ = ("X", "Y", "Z")
_ONE = 1.6  # XYZ whose largest value is no larger count the perfect reflector as 1
_OF_STEP = (
    *("temperature_C", "minutes", "pH", "bath", "bath_use", "liquor_ratio", "order"),
    *("amount", "unit"),
)


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
    held = {"metal": "", "dips": 1, "bath_use": 1, **{k: v for k, v in step.items() if v == v}}
    amount = step.get("amount")
    texts = {name: str(held.get(name) or "") for name in ("kind", "metal", "material", "unit")}
    return recipe.sequence.Step(
        kind=texts["kind"],
        metal=texts["metal"],
        material=texts["material"],
        unit=texts["unit"],
        dips=int(held["dips"] or 1),
        bath_use=int(held["bath_use"] or 1),
        amount=math.nan if amount is None else float(amount),
        area=str(held.get("area") or "whole"),
    )


@dataclass
class _Taking:
    """What has been understood so far."""

    listed: pd.DataFrame
    answers: Mapping[str, str]
    white: tuple[str, int] | None
    source: str
    into: tuple[str, int] = table.DEFAULT_WHITE
    adapt: bool = False
    swatches: dict[str, dict[str, Any]] = field(default_factory=dict)
    place: dict[str, str] = field(default_factory=dict)
    wide: dict[str, dict[str, list[dict[str, Any]]]] = field(default_factory=dict)
    long: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    readings: list[dict[str, Any]] = field(default_factory=list)
    lost: list[tuple[str, str, str]] = field(default_factory=list)
    asked: dict[str, dict[str, Any]] = field(default_factory=dict)
    notes: dict[str, None] = field(default_factory=dict)

    def lose(self, where: str, found: str, why: str, **values: Any) -> None:
        """Put down that something won't come in."""
        self.lost.append((where, found, words.say(f"spreadsheet.{why}", **values)))


@dataclass(frozen=True)
class _Row:
    """One row of a sheet, its cells by meaning."""

    sheet: Sheet
    at: int
    means: Mapping[str, Meaning]  # by heading
    cells: Mapping[str, str]

    @property
    def place(self) -> str:
        """Where it is, as the user sees it."""
        return _on(self.sheet, self.sheet.row(self.at))

    def cell(self, heading: str) -> str:
        """Where one of its cells is."""
        return _on(self.sheet, self.sheet.cell(heading, self.at))

    def find(self, what: str, of: str = "", slot: int = 1) -> tuple[str, str, Meaning]:
        """The heading, text and meaning of a column; blank where there is none."""
        for heading, held in self.means.items():
            if (held.what, held.of, held.slot, held.after) == (what, of, slot, ""):
                return heading, self.cells[heading], held
        return "", "", Meaning(what)

    def text(self, what: str) -> str:
        """The text of a column."""
        return self.find(what)[1]


def understand(
    sheets: Sequence[Sheet],
    meanings: Mapping[str, Mapping[str, str]],
    *,
    listed: pd.DataFrame | None = None,
    answers: Mapping[str, str] | None = None,
    white: tuple[str, int] | None = None,
    into: tuple[str, int] = table.DEFAULT_WHITE,
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
            _take(taking, row)
    if not coded:
        raise InputError(words.say("spreadsheet.no_code"))
    return _finished(taking)


def _on(sheet: Sheet, where: str) -> str:
    return f"{sheet.name}, {where}" if len(sheet.names) > 1 else where


def _meanings(sheet: Sheet, given: Mapping[str, str]) -> dict[str, Meaning]:
    for column in given:
        errors.choose(column, sheet.frame.columns, "column", "in the spreadsheet")
    means = {column: meaning(code) for column, code in given.items() if code != LEAVE}
    fields = {one.partition(":")[0].partition("=")[0] for one in FIELDS} | {KEEP, "band"}
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
            why = "which_step"
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
        made = _Row(sheet, int(at), means, {c: row[c] for c in means})
        if not code:
            taking.lose(made.place, ", ".join(x for x in row.values() if x)[:80], "row_no_code")
            continue
        above = code
        yield made


def _take(taking: _Taking, row: _Row) -> None:
    code = row.text("swatch").strip()
    first = code not in taking.swatches
    if first:
        taking.place[code] = row.place
    _swatch(taking, row, code)
    area = row.text("area").strip() or "whole"
    stepped = _long_steps(taking, row, code, area)
    wide = _wide_steps(taking, row)
    read = _readings(taking, row, code, area)
    known = taking.wide.setdefault(code, {})
    if area in known and wide and _plain_steps(wide) != _plain_steps(known[area]):
        taking.lose(row.place, recipe.sequence.say(map(as_step, wide)), "other_recipe",
                    code=code, first=taking.place[code])  # fmt: skip
    elif area in known and not (stepped or read):
        taking.lose(row.place, code, "code_again", code=code, first=taking.place[code])
    if area not in known or (wide and not known[area]):
        known[area] = wide


def _plain_steps(done: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [{k: v for k, v in step.items() if not k.startswith("\0")} for step in done]


# Swatches ---------------------------------------------------------------------------------------


def _swatch(taking: _Taking, row: _Row, code: str) -> None:
    held = taking.swatches.setdefault(code, {"swatch": code})
    for heading, mean in row.means.items():
        text = row.cells[heading].strip()
        if not text or mean.what == "swatch":
            continue
        if mean.what == KEEP:
            name, value = _own_name(heading), text
        elif mean.what in ("form", "fibre", "ground", "mass_g", "series", "made_on", "note"):
            name, value = mean.what, _of_swatch(taking, row, heading, mean, text)
        else:
            continue
        if value is None:
            continue
        if held.setdefault(name, value) != value:
            taking.lose(row.cell(heading), text, "differs", first=held[name], code=code)


def _own_name(heading: str) -> str:
    return f"{heading} (own)" if heading in table.SWATCHES.names else heading


def _of_swatch(taking: _Taking, row: _Row, heading: str, mean: Meaning, text: str) -> Any:
    """A field of a swatch as the book holds it; None where it can't be."""
    where = row.sheet.locale
    if mean.what == "fibre":
        return vocabulary.fibre(text)
    if mean.what == "form":
        found = text.lower().rstrip("s")
        if found not in table.FORMS:
            taking.lose(row.cell(heading), text, "form", forms=", ".join(table.FORMS))
            return None
        return found
    if mean.what == "made_on":
        if (day := cells.day(text, where)) is None:
            taking.lose(row.cell(heading), text, "date")
        return day
    if mean.what == "mass_g":
        amount = cells.amount(text, where)
        factor = {"": 1, "g": 1}.get((amount.unit or mean.unit) if amount else "?")
        if amount is None or factor is None or amount.value < 0:
            taking.lose(row.cell(heading), text, "mass")
            return None
        return amount.value
    return text


# Steps ------------------------------------------------------------------------------------------


def _wide_steps(taking: _Taking, row: _Row) -> list[dict[str, Any]]:
    """Steps of columns: named materials with their doses, and doses whose heading names one."""
    found: list[dict[str, Any]] = []
    for heading, mean in row.means.items():
        text = row.cells[heading].strip()
        if mean.what == "recipe":
            found += _told(taking, row, heading, text)
        elif mean.what == "name" and mean.of in KINDS:
            found += _named(taking, row, heading, mean, text)
        elif mean.what == "dose" and mean.of not in KINDS:
            found += _headed(taking, row, heading, mean, text)
        elif mean.what == "dose" and not row.find("name", mean.of, mean.slot)[0]:
            found += _nameless(taking, row, heading, mean, text, found)
    joined = _joined(found)
    _about(taking, row, joined)
    return _in_order(joined)


def _told(taking: _Taking, row: _Row, heading: str, text: str) -> list[dict[str, Any]]:
    """Steps written out in one cell, in the order written."""
    found, named = [], ""
    for part in cells.parts(text, row.sheet.locale):
        kind, rest = vocabulary.step_in(part.material, taking.listed)
        if kind and not rest and part.value is None:  # says what the next was used for
            named = kind
            continue
        material = _material(taking, rest or part.material, "")
        kind = _kind_of(material, kind or named, taking.listed)
        found.append({**_step(kind, material, part), "\0written": heading})
        named = ""
    if named:
        found.append({**_step(named, "", cells.Part("", None, "", 1)), "\0written": heading})
    if not found and not cells.nothing(text):
        taking.lose(row.cell(heading), text, "no_material")
    return found


def _named(
    taking: _Taking, row: _Row, heading: str, mean: Meaning, text: str
) -> list[dict[str, Any]]:
    """Steps of a cell that names one or several materials; their dose stands there or beside."""
    dose_heading, dose_text, dose_mean = row.find("dose", mean.of, mean.slot)
    dose = _dose(taking, row, dose_heading, dose_mean, dose_text)
    held = cells.parts(text, row.sheet.locale)
    if not held and dose is not None and (dose.value or 0) > 0:
        return _nameless(taking, row, dose_heading, dose_mean, dose_text, [])
    if dose is not None and len(held) > 1 and dose.value is not None:
        taking.lose(row.cell(dose_heading), dose_text, "one_dose", several=text)
        dose = None
    if dose is not None and dose.value == 0:
        return []
    found = []
    for part in held:
        material = _material(taking, part.material or text, mean.of)
        kind = _kind_of(material, mean.of, taking.listed)
        if part.value is None and dose is not None:
            part = part._replace(value=dose.value, unit=dose.unit)
        found.append({**_step(kind, material, part), "\0slot": mean.slot, "\0kind": mean.of})
    return found


def _headed(
    taking: _Taking, row: _Row, heading: str, mean: Meaning, text: str
) -> list[dict[str, Any]]:
    """The step of a column whose heading names its material."""
    dose = _dose(taking, row, heading, mean, text)
    if dose is None or dose.value == 0:
        return []
    material = _material(taking, mean.of, "")
    kind = role(material, taking.listed) or "other"
    return [_step(kind, material, dose)]


def _nameless(
    taking: _Taking,
    row: _Row,
    heading: str,
    mean: Meaning,
    text: str,
    found: list[dict[str, Any]],
) -> list[dict[str, Any]]:
    """A dose of a tannin, mordant or dye that is named nowhere: which it was is asked."""
    dose = _dose(taking, row, heading, mean, text)
    if dose is None or dose.value == 0:
        return []
    material = _material(taking, mean.of, mean.of)
    kind = _kind_of(material, mean.of, taking.listed)
    return [{**_step(kind, material, dose), "\0kind": mean.of}]


def _kind_of(material: str, column: str, listed: pd.DataFrame) -> str:
    """The kind of step of a material in such a column; vats, tannins, assists are what they are."""
    own = role(material, listed)
    if (own, column) in (("vat", "dye"), ("tannin", "mordant")) or own == "assist":
        return own
    return column or own or "other"


def _dose(taking: _Taking, row: _Row, heading: str, mean: Meaning, text: str) -> cells.Part | None:
    """A dose as written; None where there is none; its value None where it was only ticked."""
    held = text.strip()
    if not heading or cells.nothing(held):
        zero = held.lower() not in ("", "-", "–", "—", "n/a", "na", "/")
        return cells.Part("", 0.0, "", 1) if zero and heading else None
    if held.lower() in cells.YES:
        return cells.Part("", None, "", 1)
    dips = cells.parts(held, row.sheet.locale)
    if dips and dips[0].dips > 1 and not dips[0].material and dips[0].value is None:
        return dips[0]
    amount = cells.amount(held, row.sheet.locale)
    unit = (amount.unit or mean.unit or "% WOF") if amount else "?"
    if amount is None or unit not in ("% WOF", "g/L", "g") or amount.value < 0:
        taking.lose(row.cell(heading), text, "dose")
        return None
    return cells.Part("", amount.value, unit, 1)


def _step(kind: str, material: str, part: cells.Part) -> dict[str, Any]:
    """A step; without an amount it has no unit either."""
    step: dict[str, Any] = {"kind": kind, "material": material, "amount": part.value}
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
        options, guess = list(vocabulary.SEVERAL[shared]), vocabulary.SEVERAL[shared][0]
    else:
        roles = ("dye", "vat") if kind == "dye" else (kind,)
        fits = taking.listed["role"].isin(roles) if kind else taking.listed["role"] != ""
        options = [word, *taking.listed.loc[fits, "material"]]
        guess = word
    chosen = taking.answers.get(key, guess)
    entry = taking.asked.setdefault(key, {"word": word, "options": options, "count": 0})
    entry |= {"material": chosen, "count": entry["count"] + 1}
    return chosen


def _joined(found: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """A material named in one column and dosed in another is one step."""
    made: list[dict[str, Any]] = []
    for step in found:
        same = [one for one in made if one["material"] == step["material"]
                and (one["amount"] is None) != (step["amount"] is None)]  # fmt: skip
        if same and "\0written" not in step:
            if same[0]["amount"] is None:
                same[0] |= {"amount": step["amount"], "unit": step["unit"]}
            same[0]["dips"] = same[0]["dips"] or step["dips"]
        else:
            made.append(step)
    return made


def _in_order(found: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The trade's order: tannin, mordant with its assist, dyes as their columns stand, modifier."""
    written = any("\0written" in step for step in found)
    vats = any(step["kind"] == "vat" for step in found)

    def rank(step: dict[str, Any]) -> tuple[float, int]:
        if written:
            return (0.0, int(step["kind"] == "other" and "\0written" not in step))
        helps_vat = step["kind"] == "assist" and vats and step["material"] in _VAT_HELP
        return (3.5 if helps_vat else _RANK.get(step["kind"], 5), step["kind"] == "assist")

    return sorted(found, key=rank)


_ABOUT = {"temperature_C": "temperature", "minutes": "minutes_", "pH": "number", "dips": "number"}


def _about(taking: _Taking, row: _Row, steps: list[dict[str, Any]]) -> None:
    """Heat, time, pH, bath and dips of a kind of step, from columns of their own."""
    for heading, mean in row.means.items():
        if mean.what == "dips" and not mean.of:
            mean = mean._replace(of="vat")
        if mean.of not in KINDS or mean.what not in (*_ABOUT, "bath"):
            continue
        text = row.cells[heading].strip()
        if not text:
            continue
        fits = [s for s in steps if s["kind"] == mean.of or s.get("\0kind") == mean.of]
        fits = fits[mean.slot - 1 : mean.slot] or fits[:1]
        value = _value(taking, row, heading, mean, text)
        if not fits:
            taking.lose(row.cell(heading), text, "no_step", kind=mean.of)
        elif value is not None:
            fits[0][mean.what] = value


def _value(taking: _Taking, row: _Row, heading: str, mean: Meaning, text: str) -> Any:
    """Heat, time, a number or a text of a step; None where it can't be read."""
    where = row.sheet.locale
    if mean.what == "bath":
        return text
    if mean.what == "temperature_C":
        value = cells.celsius(text, where, mean.unit)
        good = value is not None and -5 <= value <= 130
    elif mean.what == "minutes":
        value = cells.minutes(text, where, mean.unit)
        good = value is not None and value >= 0
    else:
        found = cells.amount(re.sub(r"(?i)^\s*ph\s*", "", text), where)
        low, high = _NUMBERS.get(mean.what, (0.0, math.inf))
        value = found.value if found else None
        if value is None and mean.what == "dips":
            part = cells.parts(text, where)
            value = float(part[0].dips) if part and part[0].dips > 1 else None
        good = value is not None and low <= value <= high
    if not good:
        taking.lose(row.cell(heading), text, "value", what=words.heading(mean.what))
        return None
    return value


def _long_steps(taking: _Taking, row: _Row, code: str, area: str) -> bool:
    """The step that a row is, where rows are steps."""
    kind_text, (heading, text, _) = row.text("kind").strip(), row.find("material")
    if not (kind_text or text.strip()):
        return False
    kind = vocabulary.near(kind_text, vocabulary.words("step")) if kind_text else ""
    made = []
    for part in cells.parts(text, row.sheet.locale) or [cells.Part("", None, "", 1)]:
        material = _material(taking, part.material, str(kind or "")) if part.material else ""
        own = role(material, taking.listed)
        final = "vat" if kind == "dye" and own == "vat" else (kind or own or "other")
        final = "assist" if own == "assist" else final
        made.append(_step(str(final), material, part))
    if kind is None:
        taking.notes[words.say("spreadsheet.kind", found=kind_text)] = None
    _long_dose(taking, row, made)
    for heading, mean in row.means.items():
        text = row.cells[heading].strip()
        if mean.of == "" and mean.what in (*_ABOUT, "bath", "bath_use", "liquor_ratio") and text:
            value = _value(taking, row, heading, mean, text)
            if value is not None:
                for step in made:
                    step[mean.what] = value
    order = cells.number(row.text("order"), row.sheet.locale) if row.text("order") else None
    for step in made:
        taking.long.setdefault(code, []).append(
            {**step, "area": area, "\0order": order, "\0place": row.place}
        )
    return True


def _long_dose(taking: _Taking, row: _Row, made: list[dict[str, Any]]) -> None:
    """The amount of a row's step, in the unit beside it."""
    heading, text, mean = row.find("amount")
    unit_heading, unit_text, _ = row.find("unit")
    if not text.strip() or text.strip() in ("-", "–"):
        return
    unit = vocabulary.unit(unit_text) if unit_text.strip() else ""
    if unit_text.strip() and unit not in ("% WOF", "g/L", "g"):
        taking.lose(row.cell(unit_heading), unit_text, "unit")
        return
    dose = _dose(taking, row, heading, mean._replace(unit=unit or mean.unit), text)
    if dose is None:
        return
    if len(made) > 1:
        taking.lose(row.cell(heading), text, "one_dose", several=row.text("material"))
        return
    made[0] |= {"amount": dose.value, "unit": dose.unit if dose.value is not None else ""}
    made[0]["dips"] = made[0]["dips"] or (dose.dips if dose.dips > 1 else None)


# Readings ---------------------------------------------------------------------------------------


def _readings(taking: _Taking, row: _Row, code: str, area: str) -> bool:
    """The readings of a row: its own, and those under headings that name a test."""
    found = False
    afters = dict.fromkeys(m.after for m in row.means.values() if m.what in (*table.LAB, *_XYZ))
    bands = any(m.what == "band" for m in row.means.values())
    for after in afters or ({"": None} if bands else {}):
        found |= _reading(taking, row, code, area, after)
    return found


def _reading(taking: _Taking, row: _Row, code: str, area: str, after: str) -> bool:
    held = {
        m.what: (heading, row.cells[heading].strip())
        for heading, m in row.means.items()
        if m.after == after and m.what in (*table.LAB, *_XYZ, "u", "u_L", "u_a", "u_b")
    }
    spectrum = _spectrum(taking, row) if after == "" else {}
    names = table.LAB if any(held.get(name, ("", ""))[1] for name in table.LAB) else _XYZ
    texts = [held.get(name, ("", ""))[1] for name in names]
    if not any(texts) and not spectrum:
        return False
    values = _colour(taking, row, held, names)
    exposed = _exposed(taking, row, after)
    white = _white(taking, row)
    if exposed is None or (None in values.values() and not spectrum):
        if exposed is not None:
            taking.lose(row.place, ", ".join(filter(None, texts)), "colour_part")
        return True
    if white is None and not spectrum:
        taking.lose(row.place, ", ".join(texts), "white")
        return True
    if names == _XYZ:
        values = _from_xyz(row, held, values, white)
    taking.readings.append(
        {
            "swatch": code,
            "area": area,
            "exposure": exposed.kind,
            "amount": exposed.amount,
            "unit": exposed.unit,
            **values,
            **_uncertain(row, held),
            "\0white": white,
            "\0place": row.place,
            "\0spectrum": spectrum,
            "method": _method(row, spectrum),
            "taken_at": _taken(row),
        }
    )
    return True


def _colour(
    taking: _Taking, row: _Row, held: dict[str, tuple[str, str]], names: Sequence[str]
) -> dict[str, float | None]:
    """L*, a* and b* (or X, Y and Z) of a reading, None for each that is missing or no number."""
    values = {}
    for name in names:
        heading, text = held.get(name, ("", ""))
        values[name] = cells.number(text, row.sheet.locale) if text else None
        if text and values[name] is None:
            taking.lose(row.cell(heading), text, "colour")
    return values


def _from_xyz(
    row: _Row, held: dict[str, tuple[str, str]], values: dict[str, Any], white: Any
) -> dict[str, float | None]:
    """CIELAB (CIE 15) of X, Y and Z, on whichever scale the sheet counts light: to 1 or to 100."""
    if None in values.values():
        return dict.fromkeys(table.LAB)
    columns = row.sheet.frame[[held[name][0] for name in _XYZ]].to_numpy().ravel()
    most = max(cells.number(text, row.sheet.locale) or 0.0 for text in columns)
    xyz = [values[name] * (100 if most <= _ONE else 1) for name in _XYZ]
    lab = convert.xyz_to_lab(xyz, convert.white(*white))
    return dict(zip(table.LAB, map(float, lab), strict=True))


def _taken(row: _Row) -> str:
    day = cells.day(row.text("taken_at"), row.sheet.locale) if row.text("taken_at") else None
    return f"{day}T00:00:00" if day else ""


def _method(row: _Row, spectrum: dict[str, float]) -> str:
    said = row.text("method").strip().lower()
    return "spectral" if spectrum else said if said in table.METHODS else "typed"


def _uncertain(row: _Row, held: Mapping[str, tuple[str, str]]) -> dict[str, float]:
    """Variances from stated standard uncertainties; one for all three where only one is stated."""
    found = {}
    for name in table.LAB:
        text = held.get(f"u_{name}", held.get("u", ("", "")))[1].lstrip("±").strip()
        value = cells.number(text, row.sheet.locale) if text else None
        if value is not None and value >= 0:
            found[f"var_{name}"] = value**2
    return found if len(found) == 3 else {}


def _exposed(taking: _Taking, row: _Row, after: str) -> cells.Exposure | None:
    if after:
        kind, amount, unit = after.split(":")
        return cells.Exposure(kind, float(amount) if amount else None, unit)
    heading, text, _ = row.find("exposure")
    found = cells.exposure(text, row.sheet.locale)
    if found is None:
        taking.lose(row.cell(heading), text, "exposure")
        return None
    counted, many, _ = row.find("exposure_amount")
    if not heading and not counted:
        return _of_sheet(taking, row.sheet) or found
    number = cells.amount(many, row.sheet.locale) if many.strip() else None
    if number is None or found.amount is not None:
        return found
    if found.kind == "none" and number.value > 0:  # a count without a word: its heading has one
        kind = vocabulary.exposure(counted) or "wash"
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


def _white(taking: _Taking, row: _Row) -> tuple[str, int] | None:
    """The white point of a row's colours: its own columns, the sheet's headings, or as told."""
    light = row.text("illuminant").strip().upper()
    angle = re.sub(r"\D", "", row.text("observer"))
    if light and angle in ("2", "10"):
        return light, int(angle)
    for text in (row.text("white"), row.text("illuminant"), row.sheet.above):
        if match := _WHITE.search(text):
            return match[1], int(match[2])
    return taking.white


def _spectrum(taking: _Taking, row: _Row) -> dict[str, float]:
    found: dict[str, float] = {}
    for heading, mean in row.means.items():
        if mean.what == "band" and (text := row.cells[heading].strip()):
            value = cells.amount(text, row.sheet.locale)
            if value is None:
                taking.lose(row.cell(heading), text, "colour")
                return {}
            percent = "%" in (value.unit + mean.unit)
            found[mean.of] = value.value / 100 if percent else value.value
    if found and max(found.values()) > 2:  # no cloth sends back twice the light: these are per cent
        found = {band: value / 100 for band, value in found.items()}
        taking.notes[words.say("spreadsheet.percent")] = None
    return found


# Everything together ----------------------------------------------------------------------------


def _finished(taking: _Taking) -> Incoming:
    readings, spectra = _read_tables(taking)
    steps = pd.DataFrame(list(_all_steps(taking)))
    swatches = pd.DataFrame(list(taking.swatches.values())).astype(object)
    swatches = swatches.where(swatches.notna(), "")
    swatches["source"] = taking.source
    swatches["bare_areas"] = [_bare(taking, code, steps) for code in swatches["swatch"]]
    readings, shared, others = _under_one_white(taking, readings)
    made = {"swatches": swatches, "steps": steps, "readings": readings}
    for name, rules in (("steps", table.STEPS), ("readings", table.READINGS)):
        if len(made[name]):
            made[name] = _checked(taking, made[name], rules)
    kept = made["readings"]["reading"] if len(made["readings"]) else []
    return Incoming(
        **made,
        spectra=_of_kept(spectra, kept),
        shared=_of_kept(shared, kept),
        other_white=others,
        lost=pd.DataFrame(taking.lost, columns=LOST),
        asked=pd.DataFrame(list(taking.asked.values()), columns=ASKED),
        notes=tuple(taking.notes),
        source=taking.source,
    )


def _of_kept(rows: pd.DataFrame | None, kept: Any) -> pd.DataFrame | None:
    rows = None if rows is None else rows[rows["reading"].isin(kept)].reset_index(drop=True)
    return rows if rows is not None and len(rows) else None


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
    moved, error = from_instruments.adapted(rows, taking.into)
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
        done = [*_by_area(taking.wide.get(code, {})), *_ordered(taking.long.get(code, []))]
        for order, step in enumerate(done, start=1):
            held = {k: v for k, v in step.items() if not k.startswith("\0")}
            yield {"swatch": code, "order": order, **held, "\0place": step.get("\0place") or
                   taking.place[code]}  # fmt: skip


def _by_area(areas: dict[str, list[dict[str, Any]]]) -> list[dict[str, Any]]:
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


def _ordered(done: list[dict[str, Any]]) -> list[dict[str, Any]]:
    if all(step["\0order"] is not None for step in done):
        return sorted(done, key=lambda step: step["\0order"])
    return done


def _read_tables(taking: _Taking) -> tuple[pd.DataFrame, pd.DataFrame | None]:
    rows, bands = [], []
    taken: set[str] = set()
    for held in taking.readings:
        row = {k: v for k, v in held.items() if not k.startswith("\0")}
        spectrum = held["\0spectrum"]
        white = held["\0white"] or taking.into
        if spectrum and (row["L"] is None or white != taking.into):
            white = taking.into
            lab = convert.spectra_to_lab(pd.DataFrame([{"reading": "x", **spectrum}]), *white)
            row |= {name: float(lab[name].iloc[0]) for name in table.LAB}
        row["reading"] = _reading_name(taking.source, row, taken)
        row |= {"illuminant": white[0], "observer": white[1], "source": taking.source}
        rows.append({**row, "\0place": held["\0place"]})
        if spectrum:
            bands.append({"reading": row["reading"], **spectrum})
    return pd.DataFrame(rows), pd.DataFrame(bands) if bands else None


def _reading_name(source: str, row: dict[str, Any], taken: set[str]) -> str:
    """A name that the same row gets again the next time."""
    area = "" if row["area"] == "whole" else f"-{row['area']}"
    amount = "" if row["amount"] is None else f"{row['amount']:g}"
    after = "" if row["exposure"] == "none" else f"-{row['exposure']}{amount}"
    stem = f"{row['swatch']}{area}{after}-{Path(source).stem[:20]}".replace(" ", "_")
    number = 1
    while (name := stem if number == 1 else f"{stem}-{number}") in taken:
        number += 1
    taken.add(name)
    return name


def _checked(taking: _Taking, frame: pd.DataFrame, rules: table.Table) -> pd.DataFrame:
    """Rows that the book can hold; a value beyond its limits is put down with the user's row."""
    text = table.as_text(frame.drop(columns="\0place"), rules)
    faults = table.check(text, rules, taking.source, rows=range(len(frame)))
    needed = {column.name for column in rules.columns if column.required}
    bad = set()
    for fault in faults.to_dict("records"):
        at = fault["row"]
        taking.lost.append(
            (
                frame["\0place"].iloc[at],
                f"{fault['column']} = {fault['found']}",
                f"{fault['expected']}. {fault['remedy']}",
            )
        )
        if fault["column"] in needed:
            bad.add(at)
        else:
            frame.loc[frame.index[at], fault["column"]] = None
    return frame.drop(columns="\0place").drop(index=[frame.index[at] for at in bad])
