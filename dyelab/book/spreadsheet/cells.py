"""What one cell says: numbers of any locale, doses, dates, temperatures, times, exposures."""

import re
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any, NamedTuple

from dyelab import limits, table
from dyelab.book.spreadsheet import vocabulary
from dyelab.errors import InputError

NOTHING = {"", *vocabulary.groups("nothing")["nothing"]}
YES = vocabulary.groups("yes")["yes"]
_COMMA = re.compile(r"^[-+]?\d+,(\d{1,2}|\d{4,})(\s*\D*)?$|^[-+]?\d{1,3}(\.\d{3})+,\d+|^0,\d+")
_POINT = re.compile(r"^[-+]?\d+\.(\d{1,2}|\d{4,})(\s*\D*)?$|^[-+]?\d{1,3}(,\d{3})+\.\d+|^0\.\d+")
_NUMBER = re.compile(r"[-+−]?\d[\d.,'’\s]*(?:[eE][-+]?\d+)?")
_GOES_ON = re.compile(r"\s*[-–—/:]\s*\d")  # behind one end of a range, or of a ratio
_AMOUNT = re.compile(rf"^\s*(?:approx\.?|ca\.?|~)?\s*({_NUMBER.pattern})\s*(.*?)\s*$")
_FIRST_SERIAL, _LAST_SERIAL = 20_000, 80_000  # days a spreadsheet counts: the years 1954 to 2119


class Locale(NamedTuple):
    """How a sheet writes numbers and dates."""

    comma: bool = False  # 12,5 rather than 12.5
    day_first: bool = True
    sure_of_days: bool = True


def locale(texts: Iterable[str], semicolons: bool = False) -> Locale:
    """Judge from all cells of a sheet how it writes its numbers and dates."""
    cells = [text for text in texts if len(text) <= limits.PHRASE]
    commas = sum(bool(_COMMA.match(cell)) for cell in cells)
    points = sum(bool(_POINT.match(cell)) for cell in cells)
    comma = commas > points or (semicolons and commas == points)
    slashed = [found for cell in cells if (found := _SLASHED.match(cell))]
    first = any(int(m[1]) > 12 for m in slashed)
    second = any(int(m[2]) > 12 for m in slashed)
    sure = not slashed or first != second
    return Locale(comma, not second or first, sure)


def number(text: str, where: Locale) -> float | None:
    """Read a number as its sheet writes it; None where it is none."""
    if len(text) > limits.PHRASE:
        return None
    held = text.strip().replace("−", "-").replace("\u00a0", "").replace("\u202f", "")
    held = re.sub(r"(?<=\d)[\s'’](?=\d{3})", "", held)
    if where.comma and re.fullmatch(r"[-+]?[1-9]\d{0,2}(\.\d{3})+", held):
        held = held.replace(".", "")
    elif re.fullmatch(r"[-+]?[1-9]\d{0,2},\d{3}", held):
        held = held.replace(",", "." if where.comma else "")
    try:
        return table.number(held)
    except InputError:
        return None


class Amount(NamedTuple):
    """A number with the unit that stood behind it, in our words; ``?`` for another word."""

    value: float
    unit: str


# Units that are one of ours times a number: grams a kilogram of fibre are tenths of a per cent.
_PER_OURS = {"g/kg": ("% WOF", 10.0), "mg": ("g", 1000.0), "kg": ("g", 0.001)}


def _in_ours(value: float, unit: str) -> Amount:
    ours, times = _PER_OURS.get(unit, (unit, 1.0))
    return Amount(round(value / times, 9), ours)


def amount(text: str, where: Locale, unit: str = "") -> Amount | None:
    """Read ``15 %``, ``2,5 g/L``, ``185 °F`` or a bare number; None where there is none.

    `unit` is the one of its heading, for a number that has none of its own.
    """
    match = _AMOUNT.match(_spelt(text)) if len(text) <= limits.PHRASE else None
    value = number(match[1], where) if match else None
    if match is None or value is None or _GOES_ON.match(match[2]):
        return None
    own = match[2].strip(" ()[].")
    return _in_ours(value, vocabulary.unit(own) or "?" if own else unit)


def _spelt(text: str) -> str:
    """A text with ``o.w.f.`` as ``wof``, ``.5`` as ``0.5`` and ``1h30`` as ``1:30 h``."""
    text = re.sub(r"(?i)\b(?:o\.? ?w|w\.? ?o)\.? ?f\b\.?", "wof", text)
    text = re.sub(r"(?<![\w.,])([.,]\d)", r"0\1", text)
    return re.sub(r"(?i)\b(\d+) ?h ?(\d{2})\b", r"\1:\2 h", text)


class Ingredient(NamedTuple):
    """One material of a cell with its dose, heat and time, where it has them."""

    material: str
    value: float | None
    unit: str
    dips: int
    celsius: float | None = None
    minutes: float | None = None
    unread: str = ""  # of what it says a number that is none: ``10-15 %``, ``½``, ``2 tsp``


_DIPS = re.compile(
    r"(?i)\b(?:in\s+)?(\d+)\s*(?:x\s*)?(?:dips?|züge?n?|trempages?|x)\b|\bx\s*(\d+)\b"
)
_DOSE = re.compile(
    r"(?i)(?<![\w.,])(\d{1,3}(?: \d{3})+|\d+(?:[.,]\d+)*)\s*"
    r"(% ?wof|%|g ?(?:/|per) ?(?:l|kg|100 ?g)|[km]g|g|gr|grams?|percent|pct|prozent|wof)?(?!\w|-\w)"
)
_FOREIGN = "|".join(vocabulary.groups("unit")["foreign"])
_UNSURE = re.compile(rf"(?i)\d[\d.,]*(?:\s*[-–—/:]\s*\d|\s*(?:{_FOREIGN})(?!\w))|\d*\s?[½⅓⅔¼¾⅛]")

_NEXT = re.compile(r"\s?(?:;|\n|→|->|>|\b(?:then|dann|puis|luego|poi|dan)\b|,(?!\d))\s?")
_WITH = re.compile(r"\s?(?:\+|&|\b(?:with|and|mit|und|avec|et|con|met)\b)\s?")
_RANGED = r"(\d+(?:[.,:]\d+)?(?:\s*[-–—]\s*\d+(?:[.,]\d+)?)?)\s*"
_HEAT = re.compile(rf"(?i)\b(?:at|bei|à|a|op)?\s*{_RANGED}(?:°|deg\w*)\s*([CF])\b")
_TIME = re.compile(
    rf"(?i)\b(?:for|für|pendant|durante)?\s*{_RANGED}"
    r"(min(?:s|utes?|uten|uti|utos)?|h|hr|hrs|hours?|std|stunden?|heures?|horas?|ore|uur)\b\.?"
)


def ingredients(text: str, where: Locale) -> list[Ingredient]:
    """Read what a cell says was used: ``alum 15 % with tartar 6, 1 h at 85 °C; indigo, 3 dips``.

    Heat and time that stand alone are those of all that went in together before them.
    """
    made: list[list[Ingredient]] = []
    for step in _steps(text):
        heat, time = _HEAT.search(step), _TIME.search(step)
        rest = _TIME.sub(" ", _HEAT.sub(" ", step)) if heat or time else step
        about = {
            "celsius": celsius(f"{heat[1]} °{heat[2].upper()}", where) if heat else None,
            "minutes": minutes(f"{time[1]} {time[2]}", where) if time else None,
        }
        own = [part for piece in _WITH.split(rest) if (part := _part(piece, where)) is not None]
        if not own and made and (heat or time):
            own = made.pop()
        known: dict[str, Any] = {name: value for name, value in about.items() if value is not None}
        if (heat and about["celsius"] is None) or (time and about["minutes"] is None):
            known["unread"] = "temperature_C" if heat and about["celsius"] is None else "minutes"
        made.append([part._replace(**known) for part in own])
    return [part for own in made for part in own]


def _steps(text: str) -> list[str]:
    """Parts of a line; a comma between two digits is a decimal one.

    Dips go with what they dip, a dose behind a comma with what has none yet.
    """
    text = re.sub(r"[^\S\n]+", " ", _spelt(text))  # a long run of blanks would be split slowly
    joined: list[str] = []
    for piece in _NEXT.split(text):
        alone = _DIPS.sub("", piece).strip(" .:") == "" and piece.strip()
        dose = piece.strip() and _DOSE.sub("", piece).strip(" .:") == ""
        if joined and (alone or (dose and not _DOSE.search(joined[-1]))):
            joined[-1] += f" {piece}"
        elif piece.strip():
            joined.append(piece)
    return joined


def is_nothing(text: str) -> bool:
    """Whether a cell says that something was not used: blank, ``none``, ``ohne Beize``."""
    held = text.strip().lower()
    without = r"(?:sin|ohne|sans|senza|zonder|without|no)\s\w+$"
    return held in NOTHING or bool(re.match(without, held))


def bath(text: str) -> str:
    """A bath's name as written; blank where the cell says none, or that nobody knows.

    Swatches under one sign for "unknown" did not lie in one bath.
    """
    untold = is_nothing(text) or text.strip().lower() in vocabulary.groups("unknown")["unknown"]
    return text if re.search(r"\d", text) or not untold else ""


def _part(piece: str, where: Locale) -> Ingredient | None:
    if is_nothing(piece) or not piece.strip(" .:"):
        return None
    dips = _DIPS.search(piece)
    rest = _DIPS.sub(" ", piece) if dips else piece
    count = int(dips[1] or dips[2]) if dips else 1
    every = list(_DOSE.finditer(rest))
    found = [one for one in every if one[2]] or every
    unsure = _UNSURE.search(rest) or (found[0] if len(found) > 1 else None)
    if unsure:
        return Ingredient(_name(rest[: unsure.start()]), None, "", count, unread="amount")
    value = number(found[0][1], where) if found else None
    if value is None:
        return Ingredient(_name(rest), None, "", count)
    dose = found[0]
    name = _name(f"{rest[: dose.start()]} {rest[dose.end() :]}")
    return Ingredient(name, *_in_ours(value, vocabulary.unit(dose[2] or "") or ""), count)


def _name(text: str) -> str:
    """A material's name: neither the signs of a dose nor its number in a list, ``1. alum``."""
    return " ".join(re.sub(r"(?i)^\s*\d[.)] |\bwof\b|[()\[\]:=@%]", " ", text).split())


_SLASHED = re.compile(r"^\s*(\d{1,2})[/-](\d{1,2})[/-](\d{2,4})\b")
_DOTTED = re.compile(r"^\s*(\d{1,2})\.\s*(\d{1,2})\.\s*(\d{2,4})")
_ISO = re.compile(r"^\s*(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})")
_WEEKDAY = r"^\s*(?:[^\W\d]+\.?,?\s+)?"
_NAMED = re.compile(
    _WEEKDAY + r"(\d{1,2})(?:st|nd|rd|th|er|[.ºª°])?\s*(?:de\s+|of\s+)?([^\W\d]{3,})\.?,?\s*"
    r"(?:del?\s+)?(\d{2,4})\b"
)
_AMERICAN = re.compile(_WEEKDAY + r"([^\W\d]{3,})\.?\s*(\d{1,2})(?:st|nd|rd|th)?,?\s*(\d{4})")
_MONTHS = {name: int(at) for at, names in vocabulary.groups("month").items() for name in names}


def day(text: str, where: Locale) -> str | None:
    """Read a date as ISO 8601; None where it is none."""
    rules: tuple[tuple[Any, tuple[int, int, int]], ...] = (
        (_ISO, (1, 2, 3)),
        (_DOTTED, (3, 2, 1)),
        (_SLASHED, (3, 2, 1) if where.day_first else (3, 1, 2)),
        (_NAMED, (3, 2, 1)),
        (_AMERICAN, (3, 1, 2)),
    )
    for pattern, (year, month, dom) in rules:
        if match := pattern.match(text[: limits.PHRASE]):
            return _iso(match[year], match[month], match[dom])
    serial = number(text, where)
    if serial is not None and _FIRST_SERIAL < serial < _LAST_SERIAL:
        return (date(1899, 12, 30) + timedelta(days=int(serial))).isoformat()
    return None


def _iso(year: str, month: str, dom: str) -> str | None:
    word = month.lower()
    named = month if month.isdigit() else _MONTHS.get(word[:4]) or _MONTHS.get(word[:3]) or 0
    full = int(year) + (2000 if len(year) == 2 else 0)
    try:
        return date(full, int(named), int(dom)).isoformat()
    except ValueError:
        return None


def celsius(text: str, where: Locale, unit: str = "") -> float | None:
    """Read a temperature in °C, whichever of the two scales it is written in."""
    found = amount(text, where, unit or "°C")
    if found is None or found.unit not in ("°C", "°F"):
        return None
    return round((found.value - 32) / 1.8, 2) if found.unit == "°F" else found.value


def minutes(text: str, where: Locale, unit: str = "") -> float | None:
    """Read a time in minutes: ``45 min``, ``1 h``, ``1:30``, ``1h30``."""
    text = text[: limits.PHRASE]
    if match := re.fullmatch(r"\s*(\d+)\s*(?:h|:|std\.?)\s*(\d{2})(?::00)?\s*(?:min|h)?\s*", text):
        return 60 * float(match[1]) + float(match[2])
    found = amount(text, where, unit or "min")
    if found is None or found.unit not in ("min", "h"):
        return None
    return found.value * (60 if found.unit == "h" else 1)


class Exposure(NamedTuple):
    """What a reading was taken after."""

    kind: str
    amount: float | None
    unit: str

    @property
    def cells(self) -> dict[str, Any]:
        """The cells of a reading that say it."""
        return dict(zip(table.EXPOSURE, self, strict=True))


_BARE = Exposure("none", None, "")
_UNITS = {"wash": "cycle", "light": "h"}


def exposure(text: str, where: Locale) -> Exposure | None:
    """Read ``new``, ``after 5 washes``, ``20 h light``, ``W5``; None where it isn't understood."""
    held = " ".join(text[: limits.PHRASE].lower().split())
    if is_nothing(held):
        return _BARE
    if match := re.fullmatch(r"([wl])\s*(\d+)\s*h?", held):
        kind = "wash" if match[1] == "w" else "light"
        return Exposure(kind, float(match[2]), _UNITS[kind]) if float(match[2]) else _BARE
    named = vocabulary.exposure(held)
    if named is None:
        return None
    found = _NUMBER.search(held)
    if found and _GOES_ON.match(held[found.end() :]):
        return None
    value = number(found[0], where) if found else None
    if named == "none" or value == 0:
        return _BARE
    return Exposure(named, value, "" if value is None else _UNITS.get(named, "cycle"))
