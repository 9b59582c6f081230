"""What metals did to a recipe, in words: for the panel, the page of a metal and the worksheet."""

from typing import Any

import pandas as pd

from dyelab import compare, shift, words
from dyelab.handout import colours
from dyelab.shift.family import CONTROLS, START, Dose, Family


def metals_text(dose: Dose) -> str:
    """The metals in words: ``2 % iron and 1 % copper``."""
    doses = zip(shift.METALS, dose, strict=True)
    parts = [
        words.say("family.metal", metal=name, dose=colours.dose(amount))
        for name, amount in doses
        if amount > 0
    ]
    return words.say("family.and").join(parts)


def distance(row: dict[Any, Any]) -> str:
    """How far a colour moved, with its interval where one is known."""
    if pd.isna(row["dE00_low"]) or pd.isna(row["dE00_high"]):
        return words.say("family.distance", value=f"{row['dE00']:.1f}")
    values = {k: f"{row[k]:.1f}" for k in ("dE00", "dE00_low", "dE00_high")}
    return words.say("family.span", **values)


def answer_text(one: Family, dose: Dose) -> str:
    """The answer in words: what the metals did to the dye, and to cloth without it."""
    row = one.from_start(one.dyed[dose])
    if row is None:
        return words.say("family.start", recipe=one.name)
    named = {"metals": metals_text(dose), "recipe": one.name}
    key = "answer" if row["verdict"] == compare.REAL else "seen"  # no cause where it may be chance
    said = words.say(f"family.{key}", **named, **change_words(row))
    return " ".join([said, *controls(one, dose)])


def change_words(row: dict[Any, Any]) -> dict[str, str]:
    """How far a colour moved, which way, and whether it did, for a sentence."""
    verdict = compare.in_words(row, said=True)
    return {"distance": distance(row), "moved": row["moved"], "verdict": verdict}


def controls(one: Family, dose: Dose) -> list[str]:
    """What the metals did to the cloths that dyed nothing."""
    said = []
    for name in CONTROLS:
        ends = one.ends(name, dose)
        change = one.from_start(ends[-1]) if len(ends) == 2 else None
        if change is not None:
            said.append(words.say(f"family.{name}_moved", **change_words(change)))
    return said


def gaps(one: Family, dose: Dose) -> list[str]:
    """Controls that would tell more and were not dyed."""
    if dose == START:
        return []
    wanted = [name for name in CONTROLS if name == "undyed" or one.picked["tannin"] != "none"]
    return [
        words.say(f"family.no_{name}", metals=metals_text(dose), tannin=one.picked["tannin"])
        for name in wanted
        if len(one.ends(name, dose)) < 2
    ]
