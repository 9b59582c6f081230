"""The choices a panel offers: one look, a name above each, all reachable by keyboard."""

import re
from collections import Counter
from collections.abc import Callable, Container, Iterable, Sequence
from typing import Any

import ipywidgets as widgets
import pandas as pd

from dyelab import shift, words
from dyelab.errors import InputError
from dyelab.panel.widgets import Number, TickList


def _is_key(name: str) -> bool:
    return "." in name and " " not in name and words.has_text(name)


def text_of(name: str) -> str:
    """Return the words of a key such as ``metals.dye``, or a text as it stands."""
    return words.say(name) if _is_key(name) else name


def _dress(widget: Any, name: str, note: str = "", unit: str = "") -> Any:
    """Give a widget its name: the words of a key such as ``metals.dye``, or a text as it stands.

    Its hint is `note`, else the words of the same key with ``_hint`` or ``_note`` behind.
    """
    beside = (f"{name}_hint", f"{name}_note")
    note = note or next((words.say(key) for key in beside if _is_key(key)), "")
    widget.description = f"{text_of(name)} ({unit})" if unit else text_of(name)
    widget.add_class("dl-choice")
    if hasattr(widget, "style"):
        widget.style.description_width = "auto"
    if hasattr(widget, "placeholder"):
        widget.placeholder = note
    if note:
        widget.tooltip = note
    return widget


def options(key: str, codes: Iterable[Any]) -> list[tuple[str, Any]]:
    """Options of a `pick`: each code under the words of the key that ends in it."""
    return [(words.say(f"{key}{code}"), code) for code in codes]


def _show_options(options: Iterable[Any]) -> tuple[list[Any], list[Any]]:
    """Options with ``none`` in words, where the words are other than the code; and their values."""
    listed, none = list(options), words.say("recipe_words.none")
    pairs = [o if isinstance(o, tuple) else (str(o), o) for o in listed]
    if none != "none" and "none" in [label for label, _ in pairs]:
        listed = [(none if label == "none" else label, value) for label, value in pairs]
    return listed, [value for _, value in pairs]


def _some(options: Iterable[Any]) -> tuple[list[Any], list[Any]]:
    """The same, with nothing to choose where there are none."""
    return _show_options(list(options) or [(words.say("recipe_words.none"), None)])


def pick(name: str, options: Iterable[Any], value: Any = None) -> Any:
    """One of a list; options are values or (label, value) pairs."""
    listed, values = _show_options(options)
    # By place: a list whose first option stands for None would else show nothing chosen.
    first = values.index(value) if value in values else (0 if values else None)
    return _dress(widgets.Dropdown(options=listed, index=first), name)


def read_by(methods: list[str]) -> Any:
    """Which method's readings to use; by pair the most trusted, where there are several."""
    best = [(words.say("reading.best"), "")] if len(methods) != 1 else []
    named = [(shift.way_text(name), name) for name in methods]
    return pick("reading.by", [*best, *named])


def method_notes(methods: Iterable[str], there: list[str]) -> list[str]:
    """Say by which methods the compared colours were read, where the book holds several."""
    if len(there) < 2:
        return []
    counts = Counter(methods)
    listed = [
        words.say("reading.count", name=shift.way_text(name), number=number)
        for name, number in counts.items()
    ]
    return [words.say("reading.used", listed=", ".join(listed))]


def pick_many(
    name: str, options: Iterable[Any], value: Sequence[Any] = (), *, rows: int = 5, note: str = ""
) -> Any:
    """Several of a list, by ticking; the value is a tuple."""
    listed, values = _show_options(options)
    kept = [v for v in value if v in values]
    return _dress(TickList(listed, kept, rows=rows).add_class("dl-many"), name, note)


def steps(name: str, options: Sequence[Any], value: Any = None) -> Any:
    """A slider over a few given values, such as the doses that were dyed."""
    listed, values = _some(options)
    first = value if value in values else values[0]
    return _dress(widgets.SelectionSlider(options=listed, value=first), name)


def amount(name: str, low: float, high: float, value: float, *, step: float, unit: str) -> Any:
    """A slider over a range, with its unit in the name and, in %, behind its number."""
    made = widgets.FloatSlider(min=low, max=high, value=value, step=step)
    made.readout_format = ".0f" if float(step).is_integer() else ".1f"
    if unit.startswith("%"):
        made.add_class("dl-percent")
    return _dress(made, name, unit=unit)


def number(name: str, value: float, *, unit: str = "", **limits: Any) -> Any:
    """A typed number, with the `low`, `high`, `step` and `whole` of `Number`."""
    return _dress(Number(value=value, **limits), name, unit=unit)


def refusal(widget: Any, value: Any) -> str:
    """Why a choice can't have this value, in words: blank where it can, or isn't asked for."""
    asked = isinstance(widget, Number) and widget.layout.display != "none"
    return widget.refusal(value) if asked else ""


def text(name: str, value: str = "", *, hint: str = "", long: bool = False) -> Any:
    """A line of text, or several."""
    made = widgets.Textarea(rows=6) if long else widgets.Text()
    made.value, made.continuous_update = value, False
    return _dress(made, name, hint)


def typed_or_listed(name: str, options: Sequence[str] = (), *, hint: str = "") -> Any:
    """A line of text with a list of what is known; anything else may be typed."""
    return _dress(widgets.Combobox(options=tuple(options), continuous_update=False), name, hint)


def more_choices(shown: Sequence[Any], *, open_: bool) -> tuple[Any, Any]:
    """A press, and the choices it shows: those seldom asked for."""
    press = widgets.ToggleButton(value=open_, description=words.say("frame.more"))
    box = widgets.VBox(list(shown)).add_class("dl-behind")

    def turn(_change: Any) -> None:
        box.layout.display = None if press.value else "none"

    press.observe(turn, "value")
    turn(None)
    return press.add_class("dl-button"), box


def tick(name: str, value: bool = False) -> Any:
    """Yes or no."""
    return _dress(widgets.Checkbox(value=value, indent=False), name)


def upload(name: str, accept: str = "", *, many: bool = False) -> Any:
    """A file of the user's own; ``widget.value`` is ipywidgets' tuple of uploads."""
    made = widgets.FileUpload(accept=accept, multiple=many, description=text_of(name))
    return made.add_class("dl-button")


def file(button: str, accept: str, name: str, value: str = "") -> tuple[Any, Any]:
    """A file that is chosen, or a path that is typed: what was given last counts alone."""
    chosen, typed = upload(button, accept), text(name, value)
    chosen.instead, typed.instead = (typed, ""), (chosen, ())
    return chosen, typed


def photo(value: str = "") -> tuple[Any, Any]:
    """A photo that is chosen, or its path typed."""
    return file("capture.upload", "image/*,.dng,.nef,.cr2,.arw,.tif,.tiff", "capture.path", value)


def set_options(widget: Any, options: Iterable[Any]) -> None:
    """Give a `pick` or `steps` new options and keep its value where that is still one."""
    listed, values = _some(options)
    if list(widget.options) == listed:
        return
    kept = widget.value
    widget.options = listed
    if isinstance(kept, tuple):
        widget.value = tuple(v for v in kept if v in values)
    elif kept in values:
        widget.value = kept
    elif widget.index is None:  # one that had no options before shows nothing chosen
        widget.index = 0


def button(key: str, work: Callable[[], None]) -> widgets.Button:
    """Return a button that says the words of `key` and does `work`."""
    made = widgets.Button(description=words.say(key)).add_class("dl-button")
    made.on_click(lambda _: work())
    return made


def equations(text: str, apart: str, refusal: str) -> list[tuple[str, str]]:
    """Both sides of each line such as ``A1 = W07``; `apart` are the signs that part lines.

    Raises
    ------
    InputError
        For a line that isn't so: the words of `refusal`.
    """
    found = []
    for line in filter(None, map(str.strip, re.split(apart, text))):
        left, sign, right = map(str.strip, line.partition("="))
        if not (left and sign and right):
            raise InputError(words.say(refusal, line=line))
        found.append((left, right))
    return found


def code_range(codes: Sequence[str]) -> str:
    """Codes in a line, the first and the last of more than three."""
    return ", ".join(codes) if len(codes) < 4 else f"{codes[0]} … {codes[-1]}"


def only(made: dict[str, Any], names: Container[str]) -> None:
    """Show these choices and hide the rest."""
    for name, widget in made.items():
        widget.layout.display = None if name in names else "none"


def most_often(rows: pd.DataFrame, name: str) -> list[Any]:
    """What a column holds, the most frequent first."""
    return list(rows[name].value_counts().index)


def narrow(
    widgets_: dict[str, Any],
    rows: pd.DataFrame,
    names: Sequence[str],
    listed: Callable[[pd.DataFrame, str], list[Any]] = most_often,
) -> pd.DataFrame:
    """Offer in each `pick` what is left after those before it; return the rows left by all."""
    for name in names:
        set_options(widgets_[name], listed(rows, name))
        rows = rows[rows[name] == widgets_[name].value]
    return rows


_COUNTED_IN: dict[str, list[str]] = {
    "none": [""],
    "wash": ["cycle"],
    "light": ["lx h", "h", "reference step"],
    "rub dry": ["cycle"],
    "rub wet": ["cycle"],
    "perspiration": ["h", "cycle"],
    "water": ["h", "cycle"],
    "other": ["cycle", "h"],
}


def exposures() -> dict[str, Any]:
    """What was done to the cloth before it was read, at first nothing: three choices."""
    after = [(words.say(f"occasion.{name.replace(' ', '_')}"), name) for name in _COUNTED_IN]
    return {
        "exposure": pick(words.say("occasion.read"), after),
        "amount": number(words.say("occasion.amount"), 1, high=1e9),
        "unit": pick(words.say("occasion.unit"), _count("none")),
    }


def fit_exposure(made: dict[str, Any]) -> None:
    """Ask how much only where something was done, and in what that is counted."""
    exposure = made["exposure"].value
    set_options(made["unit"], _count(exposure))
    for name in ("amount", "unit"):
        made[name].layout.display = "none" if exposure == "none" else None


def exposure_values(picked: dict[str, Any]) -> dict[str, Any]:
    """The choices as a reading keeps them."""
    if picked["exposure"] == "none":
        return {"exposure": "none", "amount": None, "unit": ""}
    return {name: picked[name] for name in ("exposure", "amount", "unit")}


def exposure_text(picked: dict[str, Any]) -> str:
    """What was done to the cloth before it was read, such as "after washing, 5 times"."""
    exposure = picked["exposure"]
    said = words.say(f"occasion.{exposure.replace(' ', '_')}")
    unit = {value: label for label, value in _count(exposure)}.get(picked["unit"], "")
    return said if exposure == "none" else f"{said}, {picked['amount']:g} {unit}"


def _count(exposure: str) -> list[tuple[str, str]]:
    keys = {unit: unit.replace(" ", "_") or "none" for unit in _COUNTED_IN[exposure]}
    return [(words.say(f"occasion.unit_{key}"), unit) for unit, key in keys.items()]
