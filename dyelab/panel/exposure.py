"""What had happened to the cloth before it was read: three choices, the same wherever asked."""

from typing import Any

from dyelab import words
from dyelab.panel import choices

_UNITS: dict[str, list[str]] = {
    "none": [""],
    "wash": ["cycle"],
    "light": ["lx h", "h", "reference step"],
    "rub dry": ["cycle"],
    "rub wet": ["cycle"],
    "perspiration": ["h", "cycle"],
    "water": ["h", "cycle"],
    "other": ["cycle", "h"],
}


def offered() -> dict[str, Any]:
    """Widgets `exposure`, `amount` and `unit`, to begin with: as dyed."""
    after = [(words.say(f"occasion.{name.replace(' ', '_')}"), name) for name in _UNITS]
    return {
        "exposure": choices.pick(words.say("occasion.read"), after),
        "amount": choices.number(words.say("occasion.amount"), 1, low=0, high=1e9, step=1, unit=""),
        "unit": choices.pick(words.say("occasion.unit"), _named("none")),
    }


def fit(made: dict[str, Any]) -> None:
    """Ask how much only where something was done, and in what that is counted."""
    exposure = made["exposure"].value
    choices.set_options(made["unit"], _named(exposure))
    for name in ("amount", "unit"):
        made[name].layout.display = "none" if exposure == "none" else None


def told(picked: dict[str, Any]) -> dict[str, Any]:
    """The choices as a reading keeps them."""
    if picked["exposure"] == "none":
        return {"exposure": "none", "amount": None, "unit": ""}
    return {name: picked[name] for name in ("exposure", "amount", "unit")}


def _named(exposure: str) -> list[tuple[str, str]]:
    return [
        (words.say(f"occasion.unit_{unit.replace(' ', '_') or 'none'}"), unit)
        for unit in _UNITS[exposure]
    ]
