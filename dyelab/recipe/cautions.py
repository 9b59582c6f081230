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
    rows = known[known["material"].isin([materials.known_name(name, known) for name in names])]
    codes, unknown = hazard_statements.of(list(rows["material"]), known)
    said = []
    if codes:
        word = "danger" if set(codes) & hazard_statements.DANGER else "warning"
        what = "; ".join(words.say(f"hazards.{code}") for code in sorted(codes))
        said.append(words.say(f"recipe.{word}", what=what[0] + what[1:].lower()))
    if unknown:
        said.append(words.say("recipe.unknown_statement", what=", ".join(unknown)[:80]))
    keys = ["gloves", "dust", *_where(rows, hot)]
    keys += ["children"] if children else []
    out = hazard_statements.not_for_children(list(names), known) if children else []
    said += [words.say("recipe.children_out", what=", ".join(out))] if out else []
    return (
        *said,
        *(words.say(f"recipe.{key}") for key in keys),
        *metals.disposal(rows["metal"]),
        words.say("recipe.sheet"),
    )


def _where(rows: pd.DataFrame, hot: bool) -> list[str]:
    """Air, heat, pots: what the bath is, beside what is in it."""
    metal = bool(set(rows["metal"]) & set(metals.symbols()))
    vat = rows["role"].eq("vat").any()
    asked = {"air": hot, "heat": hot, "pots": metal, "vat": bool(vat)}
    return [key for key, wanted in asked.items() if wanted]
