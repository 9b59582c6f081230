"""Cautions for a bath in the terms of the Globally Harmonised System (GHS)."""

from collections.abc import Iterable

import pandas as pd

from dyelab import words
from dyelab.recipe import hazard_statements, materials, metals


def cautions(
    names: Iterable[str],
    listed: pd.DataFrame | None = None,
    *,
    hot: bool = True,
    children: bool = False,
) -> tuple[str, ...]:
    """Return what to say beside a bath of these materials, most serious first.

    Parameters
    ----------
    names : iterable of str
        Materials in the bath. One that is not listed is treated as a powder of unknown hazard.
    listed : DataFrame, optional
        The materials list.
    hot : bool
        Whether the bath is warmed.
    children : bool
        Whether children work in the room.
    """
    known = materials.materials() if listed is None else listed
    names = list(names)
    rows = _rows(names, known)
    out = hazard_statements.not_for_children(names, known) if children else []
    return (
        *hazards(names, known),
        *([words.say("recipe.children_out", what=", ".join(out))] if out else []),
        *(words.say(f"recipe.{key}") for key in ["gloves", "dust", *_where(rows, hot)]),
        *([words.say("recipe.children")] if children else []),
        *metals.disposal(rows["metal"]),
        words.say("recipe.sheet"),
    )


def hazards(names: Iterable[str], listed: pd.DataFrame | None = None) -> tuple[str, ...]:
    """Return the hazards of these materials as stated, and what nobody has stated yet.

    Parameters
    ----------
    names, listed
        As for `cautions`.
    """
    known = materials.materials() if listed is None else listed
    names = list(names)
    codes, unknown = hazard_statements.of(list(_rows(names, known)["material"]), known)
    said = []
    if codes:
        word = "danger" if set(codes) & hazard_statements.DANGER else "warning"
        what = "; ".join(words.say(f"hazards.{code}") for code in sorted(codes))
        said.append(words.say(f"recipe.{word}", what=what[0] + what[1:].lower()))
    if unknown:
        said.append(words.say("recipe.unknown_statement", what=", ".join(unknown)[:80]))
    asked = hazard_statements.unstated(names, known)
    if asked:
        said.append(words.say("recipe.no_statement", what=", ".join(asked)))
    return tuple(said)


def _rows(names: Iterable[str], known: pd.DataFrame) -> pd.DataFrame:
    return known[known["material"].isin([materials.known_name(name, known) for name in names])]


def _where(rows: pd.DataFrame, hot: bool) -> list[str]:
    """Air, heat, pots: what the bath is, beside what is in it."""
    metal = bool(set(rows["metal"]) & set(metals.symbols()))
    vat = rows["role"].eq("vat").any()
    asked = {"air": hot, "heat": hot, "pots": metal, "vat": bool(vat)}
    return [key for key, wanted in asked.items() if wanted]


def before_you_begin(children: bool = False) -> tuple[str, ...]:
    """Return what holds for every bath of a day, to be read once before the first.

    Common practice of the trade; it defers to the supplier's sheet and to local rules.
    """
    keys = ["health", "mask", "first_aid", "spill", "drains", "kitchen"]
    return tuple(words.say(f"recipe.{key}") for key in [*keys, *["children"] * children, "sheet"])


def notes(names: Iterable[str], listed: pd.DataFrame | None = None) -> tuple[str, ...]:
    """What the materials list says of each, such as ``ammonia: never near bleach.``"""
    rows = _rows(names, materials.materials() if listed is None else listed)
    pairs = zip(rows["material"], rows["note"], strict=True)
    return tuple(f"{name}: {note[0].lower()}{note[1:]}" for name, note in pairs if note)
