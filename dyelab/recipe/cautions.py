"""Cautions for a bath in the terms of the Globally Harmonised System (GHS).

Hazard statements of the GHS and of the EU's CLP: read from a cell, and said in words.

The statements and their sources stand in ``words/en/hazards.toml``.
"""

import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from dyelab import table, words
from dyelab.recipe import metals, sequence
from dyelab.recipe.materials import known_name, materials

_STATEMENT = re.compile(r"(?i)\b(EUH|H)\s?(\d{3})([A-Za-z]{0,2})\b")
# Precautionary statements stand beside the others on every sheet; they are advice, no hazard.
_PRECAUTION = re.compile(r"(?i)\bP\s?\d{3}(\s?\+\s?P?\s?\d{3})*\b")
NONE = "none"  # a material that is known to have no statement, as against one nobody looked up
_CHEMICAL = ("mordant", "modifier", "assist", "scour")
_BETWEEN = re.compile(r"[\s,;+/&.]+|\band\b")

# Those whose signal word is Danger in the most severe category that they are given to (GHS Rev.9,
# annex 3; CLP, annexes II and III).
_FILE = Path(__file__).with_name("danger.csv")
DANGER = frozenset(pd.read_csv(_FILE)["statement"])


def statements(text: str) -> tuple[list[str], list[str]]:
    """Read a cell of hazard statements.

    Parameters
    ----------
    text : str
        Such as ``H302 H318``, ``H302, H318``, ``H300+H310`` or ``EUH 031``.

    Returns
    -------
    known, unknown : lists of str
        Codes that have words, and whatever else stands there.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.statements("H302, H318; P280")
    (['H302', 'H318'], [])
    """
    known, unknown = [], []
    text = _PRECAUTION.sub(" ", text) if text.strip().lower() != NONE else ""
    for match in _STATEMENT.finditer(text):
        code = match.group(1).upper() + match.group(2)
        named = (code + match.group(3), code + match.group(3).upper(), code)
        found = next((name for name in named if words.has_text(f"hazards.{name}")), "")
        known += [found] if found else []
        unknown += [] if found else [match.group()]
    rest = _BETWEEN.split(_STATEMENT.sub(" ", text))
    return list(dict.fromkeys(known)), [*unknown, *filter(None, rest)]


def without_hazards(names: list[str], listed: pd.DataFrame) -> list[str]:
    """Return the chemicals among these materials whose hazards nobody has looked up."""
    rows = _rows(names, listed)
    blank = rows["hazards"].eq("") & rows["role"].isin(_CHEMICAL)
    strange = [name for name in names if known_name(name, listed) not in set(listed["material"])]
    return [*rows.loc[blank, "material"], *dict.fromkeys(filter(None, strange))]


def _codes(names: list[str], listed: pd.DataFrame) -> tuple[list[str], list[str]]:
    """Return the known and the unknown statements of all these materials."""
    hazards = _rows(names, listed)["hazards"]
    return statements(" ".join(text for text in hazards if text != NONE))


def hazard_faults(listed: pd.DataFrame) -> list[dict]:
    """Faults, as of `table.fault`, for what a materials list states that is no hazard statement.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.hazard_faults(recipe.materials())
    []
    """
    expected = "holds what is no hazard statement of the GHS or the CLP"
    remedy = "Copy the codes from the supplier's safety data sheet, such as H302 H318."
    rows = enumerate(zip(listed["material"], listed["hazards"], strict=True), 2)
    return [
        table.fault("materials.csv", at, "hazards", text, expected, remedy, str(name))
        for at, (name, text) in rows
        if statements(str(text))[1]
    ]


def not_for_children(names: list[str], listed: pd.DataFrame) -> list[str]:
    """Return the materials that stay out of a room where children work.

    These are metals but alum, vats, whatever carries Danger or an unknown statement, and whatever
    isn't listed: what is not known to be harmless is left out.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.not_for_children(["potash alum", "indigo"], recipe.materials())
    ['indigo']
    """
    found = []
    for name in dict.fromkeys(names):
        row = _rows([name], listed)
        known, unknown = _codes([name], listed)
        metal = set(row["metal"]) - {"", "Al"}
        harmful = metal or unknown or DANGER & set(known) or row["role"].eq("vat").any()
        found += [name] if row.empty or harmful else []
    return found


_DOSE = re.compile(r"( [\d.,]+)?( x\d+)?$")  # what a level says behind a material's name
_SELF_HEATING = {"H250", "H251", "H252", "H260", "H261"}
_COLUMNS = ("tannin", "mordant", "dye", "modifier", "assist")


def cautions(
    names: Iterable[str],
    listed: pd.DataFrame | None = None,
    *,
    hot: bool = True,
    children: bool = False,
    doses: bool = True,
) -> tuple[str, ...]:
    """Return what to say beside a bath of these materials, most serious first.

    Parameters
    ----------
    names : iterable of str
        Materials in the bath, or levels of a plan such as ``weld + indigo 5 x3``. One that is not
        listed is treated as a powder of unknown hazard.
    listed : DataFrame, optional
        The materials list.
    hot : bool
        Whether the bath is warmed.
    children : bool
        Whether children work in the room.
    doses : bool
        Whether usual doses and hints are wanted too; else only what is said of harmful materials.

    Returns
    -------
    tuple of str
        `hazards`, `care`, `notes`; last, that the supplier's sheet decides.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.cautions(["potash alum"])[0]
    'Warning, potash alum: causes serious eye irritation.'
    """
    names, known = _part_names(names, listed)
    *said, decides = care(names, known, hot=hot, children=children)
    rows = _rows(names, known)
    if not doses:
        rows = rows[~rows["hazards"].isin(["", NONE])].assign(high_wof=0.0)
    beside = filter(None, map(_note, rows.to_dict("records")))
    return *hazards(names, known), *said, *beside, decides


def care(
    names: Iterable[str],
    listed: pd.DataFrame | None = None,
    *,
    hot: bool = True,
    children: bool = False,
) -> tuple[str, ...]:
    """Return how to go about a bath of these materials; that the sheet decides is said last.

    Parameters
    ----------
    names, listed, hot, children
        As for `cautions`.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.care(["ferrous sulfate"])[0]
    'Gloves and goggles, while weighing and while lifting cloth from the bath.'
    """
    names, known = _part_names(names, listed)
    rows = _rows(names, known)
    out = not_for_children(names, known) if children else []
    return (
        *([words.say("recipe.children_out", what=", ".join(out))] if out else []),
        *(words.say(f"recipe.{key}") for key in ["gloves", "dust", *_where(rows, hot)]),
        *_damp(rows),
        *_for_children(children),
        *metals.disposal(rows["metal"]),
        words.say("recipe.sheet"),
    )


def _for_children(children: bool) -> list[str]:
    """How children take part, and what is kept out of their room."""
    out = ", ".join(metal for symbol, metal in metals.symbols().items() if symbol != "Al")
    return [words.say("recipe.children", metals=out)] if children else []


def hazards(names: Iterable[str], listed: pd.DataFrame | None = None) -> tuple[str, ...]:
    """Return the hazards of these materials as stated, and what nobody has stated yet.

    Parameters
    ----------
    names, listed
        As for `cautions`.

    Returns
    -------
    tuple of str
        A line for each set of statements, naming the materials that have it, danger first.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.hazards(["potash alum", "chalk"])
    ('Warning, potash alum: causes serious eye irritation.',)
    """
    names, known = _part_names(names, listed)
    alike: dict[tuple[str, ...], list[str]] = {}
    unknown: list[str] = []
    for name in dict.fromkeys(_rows(names, known)["material"]):
        codes, strange = _codes([name], known)
        unknown += strange
        if codes:
            alike.setdefault(tuple(sorted(codes)), []).append(name)
    worst_first = sorted(alike.items(), key=lambda one: DANGER.isdisjoint(one[0]))
    said = [_state(codes, which) for codes, which in worst_first]
    if unknown:
        text = ", ".join(dict.fromkeys(unknown))[:80]
        said.append(words.say("recipe.unknown_statement", what=text))
    asked = without_hazards(names, known)
    if asked:
        said.append(words.say("recipe.no_statement", what=", ".join(asked)))
    return tuple(said)


def _state(codes: tuple[str, ...], which: list[str]) -> str:
    signal = "warning" if DANGER.isdisjoint(codes) else "danger"
    texts = [words.say(f"hazards.{code}") for code in codes]
    what = "; ".join(text[0].lower() + text[1:] for text in texts)
    return words.say(f"recipe.{signal}", which=", ".join(which), what=what)


def _damp(rows: pd.DataFrame) -> list[str]:
    """What takes fire of itself, most of all when damp, has rules of its own for a spill."""
    codes = rows["hazards"].map(lambda text: set(statements(text)[0]))
    out = rows.loc[[not _SELF_HEATING.isdisjoint(one) for one in codes], "material"]
    return [words.say("recipe.self_heating", what=", ".join(out))] if len(out) else []


def _part_names(
    names: Iterable[str], listed: pd.DataFrame | None
) -> tuple[list[str], pd.DataFrame]:
    """Materials by name, those of a level that joins several each by itself, without doses; all."""
    known = materials() if listed is None else listed
    found = [part for name in names for part in str(name).split(" + ") if part not in ("", "none")]
    listed = {name: known_name(name, known) for name in found}
    there = set(known["material"])
    plain = (name if listed[name] in there else _DOSE.sub("", name) for name in found)
    return list(dict.fromkeys(plain)), known


def _rows(names: Iterable[str], known: pd.DataFrame) -> pd.DataFrame:
    return known[known["material"].isin([known_name(name, known) for name in names])]


def _where(rows: pd.DataFrame, hot: bool) -> list[str]:
    """Air, heat, pots: what the bath is, beside what is in it."""
    metal = bool(set(rows["metal"]) & set(metals.symbols()))
    vat = rows["role"].eq("vat").any()
    asked = {"air": hot, "heat": hot, "pots": metal, "vat": bool(vat)}
    return [key for key, wanted in asked.items() if wanted]


def before_you_begin(children: bool = False) -> tuple[str, ...]:
    """Return what holds for every bath of a day, to be read once before the first.

    Common practice of the trade; it defers to the supplier's sheet and to local rules.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.before_you_begin()[-1]
    "The supplier's safety data sheet and your local rules decide, not this list."
    """
    keys = ("health", "mask", "first_aid", "spill", "drains", "kitchen")
    said = (words.say(f"recipe.{key}") for key in keys)
    return *said, *_for_children(children), words.say("recipe.sheet")


def notes(names: Iterable[str], listed: pd.DataFrame | None = None) -> tuple[str, ...]:
    """Return the usual dose of each material and what the list says of it, a line each.

    Parameters
    ----------
    names, listed
        As for `cautions`.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.notes(["madder"])
    ('madder: usual dose 30 to 100 % of the weight of fibre. Keep under 70 °C for clear reds.',)
    """
    rows = _rows(*_part_names(names, listed)).to_dict("records")
    return tuple(filter(None, map(_note, rows)))


def _note(row: Any) -> str:
    usual = row["high_wof"] > 0
    low = max(row["low_wof"], 0) if row["low_wof"] == row["low_wof"] else 0
    dose = words.say("recipe.usual", low=f"{low:g}", high=f"{row['high_wof']:g}") if usual else ""
    note = words.listed_text("material_notes", row["material"], row["note"])
    said = " ".join(filter(None, [dose, note]))
    return f"{row['material']}: {said}" if said else ""


def materials_of(row: Mapping[Any, Any]) -> list[str]:
    """Return what a recipe's row takes: its materials, and the salts of its metals.

    Parameters
    ----------
    row : mapping
        A row of ``book.recipes`` or of a model's recipes.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.materials_of({"mordant": "potash alum", "dye": "weld", "iron_wof": 2.0})
    ['potash alum', 'weld', 'ferrous sulfate']
    """
    named = [str(row.get(name) or "none") for name in _COLUMNS]
    doses = [(salt, row.get(f"{metal}_wof")) for metal, salt in metals.salts().items()]
    more = [step.material for step in sequence.steps(str(row.get("rest") or ""))]
    salts = [salt for salt, dose in doses if dose is not None and dose > 0]
    return [name for name in dict.fromkeys([*named, *salts, *more]) if name not in ("", "none")]
