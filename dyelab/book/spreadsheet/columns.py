"""What each column of a spreadsheet was understood as.

A meaning is a short code: a field (``swatch``, ``fibre``, ``L``), a material named in rows
(``name:mordant``), the dose of such a material (``dose:mordant``) or of one that the heading
itself names (``dose=Alum``), heat and time of a step (``temperature_C:dye``), a reflectance band
(``band:400``), a colour after a test (``L@wash:5:cycle``). A second dye is ``name:dye:2``; a unit
of the heading stands last: ``dose=Alum|g``.
"""

import re
from typing import NamedTuple

import pandas as pd

from dyelab import limits, recipe
from dyelab.book.spreadsheet import cells, vocabulary
from dyelab.book.spreadsheet.sheets import Sheet

_SEEN = 40  # different cells of a column that are looked at: enough to tell what most of it holds
KEEP = "keep"  # as a column of the user's own
LEAVE = ""

SWATCH = ("swatch", "form", "fibre", "ground", "mass_g", "series", "made_on", "note")
STEP = (
    *("kind", "order", "material", "amount", "unit", "temperature_C", "minutes", "pH", "bath"),
    *("dips", "bath_use", "liquor_ratio"),
)
READING = (
    *("L", "a", "b", "X", "Y", "Z"),
    *("u", "u_L", "u_a", "u_b", "exposure", "exposure_amount", "white"),
    *("illuminant", "observer", "taken_at", "method"),
)
KINDS = ("scour", "tannin", "mordant", "assist", "dye", "vat", "modifier")
DOSED = ("g", "g/L", "g/kg", "mg", "kg")  # units of a dose other than % WOF
_ABOUT = ("temperature_C", "minutes", "pH", "bath", "dips")
FIELDS = (
    *SWATCH,
    "area",
    "recipe",
    *STEP,
    *(f"{what}:{kind}" for kind in KINDS for what in ("name", "dose")),
    "name:dye:2",
    "dose:dye:2",
    *(f"{about}:{kind}" for kind in ("mordant", "dye", "vat", "modifier") for about in _ABOUT),
    *READING,
)


class Meaning(NamedTuple):
    """A meaning taken apart; see the module's own words."""

    what: str
    of: str = ""  # a kind of step, or the material that the heading names
    slot: int = 1
    unit: str = ""
    after: str = ""  # exposure, as kind:amount:unit

    @property
    def code(self) -> str:
        """The meaning as one text."""
        named = "=" if self.what == "dose" and self.of not in KINDS and self.of else ":"
        code = self.what + (f"{named}{self.of}" if self.of else "")
        code += f"{'' if self.of else ':'}:{self.slot}" if self.slot > 1 else ""
        code += f"@{self.after}" if self.after else ""
        return code + (f"|{self.unit}" if self.unit else "")


def meaning(code: str) -> Meaning:
    """Take a code apart."""
    held, _, unit = code.partition("|")
    held, _, after = held.partition("@")
    if held.startswith("dose="):
        return Meaning("dose", held.removeprefix("dose="), 1, unit, after)
    what, of, slot = [*held.split(":"), "", ""][:3]
    return Meaning(what, of, int(slot or 1), unit, after)


def matches(
    sheet: Sheet, listed: pd.DataFrame | None = None, known: dict[str, str] | None = None
) -> pd.DataFrame:
    r"""Guess what each column of a spreadsheet is; a person looks over it before it is taken in.

    Parameters
    ----------
    sheet : Sheet
    listed : DataFrame, optional
        The materials list.
    known : dict of str to str, optional
        Meanings of headings that were confirmed before: they win.

    Returns
    -------
    DataFrame
        `column` (its heading), `letter`, `field` (the code of its meaning; ``keep`` where none is
        near), and `example`, the first cell that holds something. No field is given twice.

    Examples
    --------
    >>> from dyelab import book
    >>> path = folder / "own.csv"
    >>> _ = path.write_text("No,Fibre,Alum %\nK1,wool,15\n", "utf-8")
    >>> book.matches(book.sheet(path))[["column", "field"]]
       column      field
    0      No     swatch
    1   Fibre      fibre
    2  Alum %  dose=alum
    """
    materials = recipe.materials() if listed is None else listed
    found: dict[str, str] = {}
    before = ""
    for column in sheet.frame.columns:
        code = (known or {}).get(column) or _of_unit(column, before)
        code = code or _guess(column, sheet.frame[column], materials)
        before = found[column] = _free(code, set(found.values()))
    for column in sheet.frame.columns:
        if found[column] in (KEEP, "recipe", "kind") and column not in (known or {}):
            code = _by_cells(sheet, column, found, materials) or found[column]
            rest = {held for name, held in found.items() if name != column}
            found[column] = _free(code, rest)
    told = {"column": list(found), "letter": sheet.letters, "field": list(found.values())}
    example = [next(filter(None, sheet.frame[column]), "") for column in found]
    return pd.DataFrame({**told, "example": example})


def _free(code: str, taken: set[str]) -> str:
    """The code, or its next slot where a second dye or mordant stands beside the first."""
    if code in (KEEP, LEAVE) or code not in taken:
        return code
    held = meaning(code)
    if held.what == "recipe" or (held.what in ("name", "dose", *_ABOUT) and held.of in KINDS):
        return _free(held._replace(slot=held.slot + 1).code, taken)
    return KEEP


def _of_unit(heading: str, before: str) -> str:
    """A heading that is only a unit is of the material named in the column before it."""
    unit = vocabulary.unit(re.sub(r"\s+\d+$", "", heading[: limits.PHRASE]))
    held = meaning(before)
    if not unit or held.what not in ("name", "dose") or held.of not in KINDS:
        return ""
    if unit in ("% WOF", *DOSED):
        return held._replace(what="dose", unit=_dose_unit(unit)).code if held.what == "name" else ""
    about = "temperature_C" if unit.startswith("°") else "minutes"
    return held._replace(what=about, unit=unit).code


def _by_cells(sheet: Sheet, column: str, found: dict[str, str], listed: pd.DataFrame) -> str:
    """What a column without a known heading holds, by its cells: a test, a day, steps in words."""
    held = [text for text in dict.fromkeys(sheet.frame[column]) if not cells.is_nothing(text)][
        :_SEEN
    ]
    worded = [text for text in held if re.search(r"[^\W\d_]{2}", text)]
    if not worded or len(worded) < len(held):
        return ""
    tests = [cells.exposure(text, sheet.locale) for text in held]
    if all(tests) and any(one.kind != "none" for one in tests if one):
        return "exposure"
    if all(cells.day(text, sheet.locale) for text in held):
        return "taken_at" if "L" in found.values() else "made_on"
    if all(vocabulary.plain(text) in vocabulary.words("fibre") for text in held):
        return "fibre"
    known = [
        any(_is_known(part, listed) for part in cells.ingredients(t, sheet.locale)) for t in held
    ]
    return "recipe" if sum(known) > len(known) / 2 else ""


def _is_known(part: cells.Ingredient, listed: pd.DataFrame) -> bool:
    _, name = vocabulary.step_in(part.material, listed)
    return bool(vocabulary.shared_name(name) or vocabulary.material(name, listed))


def _guess(heading: str, column: pd.Series, listed: pd.DataFrame) -> str:
    words, unit = _part_unit(heading)
    rules = (_band, _colour, _spread, _of_step, _field, _material)
    for rule in rules:
        if (found := rule(words, unit, listed)) is not None:
            return _looked_at(found, column).code
    return KEEP


def _looked_at(found: Meaning, column: pd.Series) -> Meaning:
    """A heading that names a kind of step holds names or doses: the cells say which."""
    if found.what == "fibre" or found.of not in KINDS or found.what not in ("name", "dose"):
        return found
    held = [text for text in column if text.strip().lower() not in cells.NOTHING]
    doses = [cells.amount(text, cells.Locale()) for text in held]
    numeric = sum(one is not None for one in doses) > len(held) / 2
    if found.what == "name" and held and numeric:
        return found._replace(what="dose")
    return found if found.what == "dose" or not found.unit else found._replace(what="dose")


_UNIT = re.compile(r"[\[(]([^\[\]()]*)[\])]|(%)|(?:\bin\b|,|/)\s*([^\s]+)\s*$")


def _part_unit(heading: str) -> tuple[str, str]:
    """The words of a heading and its unit: ``Alum (% WOF)``, ``Dye g``, ``Temp. °C``."""
    unit = ""
    held = heading = heading[: limits.PHRASE]
    told = vocabulary.plain(held.replace("_", " ")).split()
    for many in (4, 3, 2):  # words of a unit at the end: g per kg
        if not unit and len(told) > many and (one := vocabulary.unit(" ".join(told[-many:]))):
            unit, held = one, " ".join(told[:-many])
    for match in _UNIT.finditer(held):
        if one := vocabulary.unit(next(filter(None, match.groups()), "")):
            unit, held = one, held.replace(match[0], " ")
    words = vocabulary.plain(held.replace("_", " "))
    words = re.sub(r"\b(wof|o w f|percent|per cent|prozent|pour cent)\b", " ", words).strip()
    if words != vocabulary.plain(held.replace("_", " ")) and not unit:
        unit = "% WOF"
    rest, _, last = words.rpartition(" ")
    if not unit and rest and last not in ("c", "f", "h") and (one := vocabulary.unit(last)):
        words, unit = rest, one
    return " ".join(words.split()), unit


def _band(words: str, unit: str, _listed: pd.DataFrame) -> Meaning | None:
    match = re.fullmatch(r"(?:r\s*|refl\w*\s*)?(\d{3})(?:[.,]0+)?\s*(?:nm)?", words)
    inside = match and 300 <= int(match[1]) <= 1100
    return Meaning("band", match[1], unit=unit) if match and inside else None


_LAB = re.compile(r"^(?:cie )?(?:lab |xyz )?([labxyz])(?: \*)?(?: (.+))?$")


def _colour(words: str, _unit: str, _listed: pd.DataFrame) -> Meaning | None:
    match = _LAB.match(words)
    if not match:
        return None
    name, rest = match[1].upper() if match[1] in "lxyz" else match[1], match[2] or ""
    rest = re.sub(r"\b[a-f] ?\d{1,2} ?[/,]? ?(2|10) ?°?\s*$", "", rest).strip()  # a white point
    if not rest:
        return Meaning(name)
    after = cells.exposure(rest, cells.Locale())
    if after is None or after.kind == "none":
        return Meaning(name) if after else None
    amount = "" if after.amount is None else f"{after.amount:g}"
    return Meaning(name, after=f"{after.kind}:{amount}:{after.unit}")


def _spread(words: str, _unit: str, _listed: pd.DataFrame) -> Meaning | None:
    match = re.fullmatch(r"(?:u|sd|s|±|unsicherheit|incertitude|error) ([lab])(?: \*)?", words)
    match = match or re.fullmatch(r"([lab])(?: \*)? (?:±|sd|error|unsicherheit|uncertainty)", words)
    if not match:
        return None
    return Meaning(f"u_{match[1].upper() if match[1] == 'l' else match[1]}")


def _of_step(words: str, unit: str, listed: pd.DataFrame) -> Meaning | None:
    """Heat, time, pH or bath of a named step: ``mordant temp``, ``dye bath``, ``alum minutes``."""
    fields = vocabulary.words("field")
    for left, right in [] if words in vocabulary.words("step") else _splits(words):
        for one, other in ((left, right), (right, left)):
            about = vocabulary.meaning_of(one, fields)
            kind = _kind(other, listed)
            if about in _ABOUT and kind:
                held = unit if unit in ("°C", "°F", "min", "h") else ""
                return Meaning(about, kind, unit=held)
    if unit in ("°C", "°F", "min", "h") and (kind := _kind(words, listed)):
        return Meaning("temperature_C" if unit.startswith("°") else "minutes", kind, unit=unit)
    return None


def _splits(words: str) -> list[tuple[str, str]]:
    held = words.split()
    return [(" ".join(held[:n]), " ".join(held[n:])) for n in range(1, len(held))]


def _kind(words: str, listed: pd.DataFrame) -> str:
    """The kind of step that words name, or that a material is used in."""
    if (found := vocabulary.meaning_of(words, vocabulary.words("step"))) in KINDS:
        return str(found)
    named = vocabulary.material(words, listed)
    return role(named, listed) if named else ""


def role(material: str, listed: pd.DataFrame) -> str:
    """The kind of step a material is commonly used in; iron and copper come last."""
    row = listed[listed["material"] == material]
    if row.empty:
        return ""
    if row["metal"].iloc[0] in ("Fe", "Cu"):
        return "modifier"
    return str(row["role"].iloc[0])


def _field(words: str, unit: str, listed: pd.DataFrame) -> Meaning | None:
    named, slot = _slot_of(words)
    kind = vocabulary.words("step").get(named)
    exact = vocabulary.words("field").get(words)
    if exact is None and kind in KINDS:
        return Meaning("dose" if unit else "name", str(kind), slot, _dose_unit(unit))
    if exact is None and slot > 1 and not named:
        return Meaning("dose" if unit else "name", "dye", slot, _dose_unit(unit))
    for left, right in [] if exact else _splits(named):
        kinds = vocabulary.words("step").get(left)
        field = vocabulary.words("field").get(right)
        if kinds in KINDS and field in ("amount", "unit"):
            return Meaning("dose", str(kinds), slot, _dose_unit(unit))
        if kinds in KINDS and right in ("name", "material", "type", "1"):
            return Meaning("name", str(kinds), slot)
    if exact is None and (vocabulary.shared_name(words) or vocabulary.material(words, listed)):
        return None
    found = exact or vocabulary.meaning_of(words, vocabulary.words("field"))
    if found is None and (kind := vocabulary.meaning_of(named, vocabulary.words("step"))) in KINDS:
        return Meaning("dose" if unit else "name", str(kind), slot, _dose_unit(unit))
    if found == "minutes" and unit == "":
        return Meaning("minutes")
    return meaning(found)._replace(unit=unit if found in _UNITED else "") if found else None


_UNITED = ("temperature_C", "minutes", "amount", "mass_g")


def _slot_of(words: str) -> tuple[str, int]:
    """A number or an "over" in a heading says which of several dyes it is."""
    over = vocabulary.words("slot")
    for word in sorted(over, key=len, reverse=True):
        if re.search(rf"(?<!\w){re.escape(word)}(?!\w)", words):
            return " ".join(words.replace(word, " ").split()), int(over[word])
    match = re.fullmatch(r"(.+?) ([1-4])(?: (.+))?", words)
    if match:
        return " ".join(filter(None, (match[1], match[3]))), int(match[2])
    return words, 1


def _dose_unit(unit: str) -> str:
    return unit if unit in (*DOSED, "foreign") else ""


def _material(words: str, unit: str, listed: pd.DataFrame) -> Meaning | None:
    """A heading that names a material is the dose of that material."""
    for text in (words, *(left for left, right in _splits(words) if right in ("dose", "amount"))):
        if vocabulary.shared_name(text) or vocabulary.material(text, listed):
            return Meaning("dose", text, unit=_dose_unit(unit))
    return None
