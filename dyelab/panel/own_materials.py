"""Materials of the dyer's own: a dye or a salt that the shipped list doesn't know."""

from typing import Any

import pandas as pd

from dyelab import book as books
from dyelab import recipe, table, words
from dyelab.book import Book
from dyelab.errors import InputError
from dyelab.panel import choices, frame

_ROLES = ("dye", "mordant", "tannin", "vat", "modifier", "assist", "scour")
_SHOWN = ["material", "role", "metal", "low_wof", "high_wof", "hazards", "note"]
_MORE = ("metal", "hazards")


def panel(book: frame.BookChoice = None) -> frame.Panel:
    """Enter a material of one's own; it can then be planned, recorded and searched for.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the last one, else the example.
    """
    return frame.Panel(
        *("materials", "own_materials.title", _choose, _show),
        refresh=_fit,
        actions={"own_materials.put": _put_in_book},
        main=True,
        remember="never",
        book=book,
    )


def _put_in_book(panel: frame.Panel) -> str:
    target, row = panel.own(), material_row(**panel.values)
    name = row["material"].iloc[0]
    put = books.change if name in set(target.materials["material"]) else books.add
    what = words.say("own_materials.history", name=name)
    saved = panel.save_book(put(target, materials=row), what)
    return words.say("own_materials.saved", name=name, book=saved.title)


def material_row(
    name: str, role: str, metal: str, low: float, high: float, hazards: str, note: str, more: bool
) -> pd.DataFrame:
    """Return the row of `table.MATERIALS` that was entered, checked.

    Raises
    ------
    InputError
        If it has no name, is too dangerous to offer, its range is upside down, or its hazards
        aren't statements of the GHS.
    """
    name = " ".join(name.split())
    if not name:
        raise InputError(words.say("own_materials.no_name"))
    recipe.refuse_unsafe(name, metal)
    if low > high:
        raise InputError(words.say("own_materials.range", low=f"{low:g}", high=f"{high:g}"))
    _, unknown = recipe.statements(hazards)
    if more and unknown:
        raise InputError(words.say("own_materials.hazards_unknown", text=", ".join(unknown)))
    basis = "basis" if low or high else "basis_kind"
    low, high = (low, high) if low or high else _usual().get(role, (0, 0))
    row = {"material": name, "role": role, "basis": words.say(f"own_materials.{basis}")}
    row |= {"note": note.strip()} if note.strip() else {}
    row |= {"low_wof": f"{low:g}", "high_wof": f"{high:g}"} if high else {}
    if more:
        row |= {"metal": metal, "hazards": hazards.strip()}
    return table.as_text(pd.DataFrame([row]), table.MATERIALS)


def _choose(_book: Book) -> dict[str, Any]:
    roles = choices.options("own_materials.role_", _ROLES)
    metals = [
        (words.say("recipe_words.none"), ""),
        *recipe.metals.metals()[["metal", "symbol"]].itertuples(index=False),
    ]
    return {
        "name": choices.text("own_materials.name"),
        "role": choices.pick("own_materials.role", roles),
        "low": choices.number("own_materials.low", 0, high=500, unit="% WOF"),
        "high": choices.number("own_materials.high", 0, high=500, unit="% WOF"),
        "note": choices.text("own_materials.note"),
        "more": choices.tick("own_materials.more"),
        "metal": choices.pick("own_materials.metal", [tuple(one) for one in metals]),
        "hazards": choices.text("own_materials.hazards"),
    }


def _fit(_book: Book, made: dict[str, Any]) -> None:
    """Ask for what a safety sheet tells only where that is wanted.

    Doses are never filled in here: what comes late would take the place of what was just typed.
    """
    choices.only(made, [name for name in made if name not in _MORE or made["more"].value])


def _usual() -> dict[str, tuple[float, float]]:
    """Middle of the least and of the most that the list's materials of each kind take, % WOF."""
    listed = recipe.materials()
    ends = listed.assign(**{name: pd.to_numeric(listed[name]) for name in ("low_wof", "high_wof")})
    middle = ends.groupby("role")[["low_wof", "high_wof"]].median().dropna()
    return {str(role): (float(low), float(high)) for role, (low, high) in middle.T.items()}


def _show(book: Book, **chosen: Any) -> frame.Answer:
    own = book.materials
    name = " ".join(chosen["name"].split())
    said = words.say("own_materials.count" if len(own) else "own_materials.none", count=len(own))
    known = recipe.known_name(name, recipe.materials(own)) if name else ""
    there = known in set(recipe.materials(own)["material"])
    notes = [words.say("own_materials.known", name=known)] if there else []
    usual = _usual().get(chosen["role"])
    if usual and not (chosen["low"] or chosen["high"]):
        notes.append(words.say("own_materials.as_kind", low=f"{usual[0]:g}", high=f"{usual[1]:g}"))
    notes.append(words.say("own_materials.sheet"))
    shown = own[_SHOWN] if len(own) else None
    return frame.Answer(said, table=shown, notes=notes, care=_hazards(name, chosen))


def _hazards(name: str, chosen: dict[str, Any]) -> tuple[str, ...]:
    """What the statements typed say in words, and whether any are asked for."""
    if not name:
        return ()
    row = {"material": name, "role": chosen["role"], "hazards": chosen["hazards"]}
    listed = recipe.materials(table.as_text(pd.DataFrame([row]), table.MATERIALS))
    return recipe.hazards([name], listed)
