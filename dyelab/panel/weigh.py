"""Weigh and dilute: grams and stock for a dose, a weaker solution, another salt, a cloth."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from dyelab import book as books
from dyelab import recipe, words
from dyelab.errors import InputError
from dyelab.panel import choices, frame

_Known = dict[str, Any]  # what was asked and worked out, by the name that words and columns have
_LITTLE = 1.0  # g: what a kitchen scale errs by
# What may be nothing, and the least of what is counted; of the rest a tenth: one swatch is a few
# grams.
_LEAST = {"dose": 0, "weighed_g": 0, "stock_percent": 0, "strength": 0, "pieces": 1}
_NUMBERS: dict[str, tuple[float, float, float, str]] = {  # start, most, step, unit
    "dose": (15, 300, 0.5, "% WOF"),
    "fibre_g": (100, 1e6, 10, "g"),
    "weighed_g": (15, 1e6, 0.1, "g"),
    "liquor_ratio": (40, 300, 5, "L"),
    "stock_percent": (10, 100, 1, "g in 100 mL"),
    "volume_ml": (1000, 1e6, 50, "mL"),
    "strength": (5, 1000, 0.5, "g/L"),
    "stock_strength": (100, 1000, 5, "g/L"),
    "width_cm": (150, 1000, 1, "cm"),
    "length_cm": (100, 1e5, 1, "cm"),
    "g_per_m2": (140, 2000, 5, "g/m²"),
    "pieces": (1, 1000, 1, ""),
}


def panel(book: frame.BookChoice = None) -> frame.Panel:
    """Do the sums of the dye pot, with the cautions of what is weighed.

    Parameters
    ----------
    book : Book or path, optional
        Its own materials count too. Else the one the session was opened with, else the last one,
        else the example.
    """
    given: Any = {"refresh": _fit, "prepare": books.materials, "book": book}
    return frame.Panel("weigh", "weighing.title", _choose, _show, **given)


def _choose(listed: pd.DataFrame) -> dict[str, Any]:
    tasks = choices.options("weighing.task_", _TASKS)
    names = list(listed["material"])
    made = {
        "task": choices.pick("weighing.task", tasks),
        "material": choices.pick("weighing.material", names),
        "wanted": choices.pick("weighing.wanted", names),
    }
    for name, (start, most, step, unit) in _NUMBERS.items():
        start = _usual(listed, names[0]) if name == "dose" else start
        told: dict[str, Any] = {"low": _LEAST.get(name, 0.1), "high": most, "step": step}
        whole = name == "pieces"
        made[name] = choices.number(f"weighing.{name}", start, **told, unit=unit, whole=whole)
    return made


def _fit(listed: pd.DataFrame, made: dict[str, Any]) -> None:
    """Show what the task asks for; a salt is exchanged for salts of its own metal."""
    task = made["task"].value
    salts = list(listed.loc[listed["metal_percent"].gt(0), "material"])
    names = salts if task == "exchange" else list(listed["material"])
    choices.set_options(made["material"], names)
    _usual_dose(listed, made)
    choices.set_options(made["wanted"], _twins(listed, made["material"].value))
    choices.only(made, ("task", *_TASKS[task][0]))


def _usual(listed: pd.DataFrame, material: str) -> float:
    """The middle of a material's usual range; nothing where the list states none."""
    try:
        low, high, _ = recipe.usual_range(material, listed)
    except InputError:
        return 0.0
    return round((low + high) / 2, 1)


def _usual_dose(listed: pd.DataFrame, made: dict[str, Any]) -> None:
    """Start at the usual dose of a material when another one is chosen."""
    material = made["material"].value
    if getattr(made["dose"], "dl_material", material) != material:
        made["dose"].value = _usual(listed, material)
    made["dose"].dl_material = material


def _doubts(listed: pd.DataFrame, material: str, dose: float) -> list[str]:
    """Ask whether a dose outside the usual range is meant."""
    try:
        low, high, most = recipe.usual_range(material, listed)
    except InputError as error:
        return [str(error)]
    key = "weighing.over_most" if dose > most else "weighing.outside"
    told = words.say(key, material=material, dose=dose, low=low, high=high)
    return [] if low <= dose <= high else [told]


def _salts(listed: pd.DataFrame, material: str) -> pd.DataFrame:
    """Salts of the metal that a material holds, itself among them."""
    metal = recipe.find(material, listed)["metal"]
    return listed[listed["metal"].eq(metal) & listed["metal_percent"].gt(0) & (metal != "")]


def _twins(listed: pd.DataFrame, material: str) -> list[str]:
    return [name for name in _salts(listed, material)["material"] if name != material]


def _show(listed: pd.DataFrame, task: str, **chosen: Any) -> frame.Answer:
    asks, work = _TASKS[task]
    asked = {name: chosen[name] for name in asks}
    named = [asked[name] for name in ("material", "wanted") if asked.get(name)]
    care = recipe.cautions(named, listed, hot=False) if named else ()
    return replace(work(listed, asked), care=care)


def _weigh(listed: pd.DataFrame, asked: _Known) -> frame.Answer:
    material, strength, fibre_g = (asked[n] for n in ("material", "stock_percent", "fibre_g"))
    water = recipe.water_L(fibre_g, asked["liquor_ratio"])
    grams = recipe.grams(asked["dose"], fibre_g)
    found = {**asked, "wof": asked["dose"], "weigh_g": grams, "water_L": water}
    sentence = [*_doubts(listed, material, found["wof"]), words.say("weighing.weigh", **found)]
    columns, notes = ["material", "wof", "weigh_g", "water_L"], _metal(listed, found)
    apart = recipe.no_stock(material, strength, listed)
    if apart:
        notes.append(apart)
    elif strength > 0:
        columns.append("stock_ml")
        found["stock_ml"] = recipe.stock_ml(grams, strength)
        sentence.append(words.say("weighing.from_stock", **found))
        notes.append(words.say("weighing.make_stock", **found))
    if 0 < grams < _LITTLE:
        key = "weighing.small_solid" if apart else "weighing.small"
        notes.append(words.say(key, **found))
    return frame.Answer(" ".join(sentence), table=pd.DataFrame([found])[columns], notes=notes)


def _metal(listed: pd.DataFrame, found: _Known) -> list[str]:
    """How much of the metal itself a dose brings, where the material holds one."""
    row = recipe.find(found["material"], listed)
    if not np.isfinite(row["metal_percent"]):
        return []
    wof = recipe.metal_wof(found["material"], found["wof"], listed)
    return [words.say("weighing.metal", wof=wof, metal=_name(row["metal"]))]


def _name(metal: str) -> str:
    """Name of a metal; a book's own may be one without a name here."""
    return recipe.metals.symbols().get(metal, metal)


def _dose(listed: pd.DataFrame, asked: _Known) -> frame.Answer:
    grams = asked["weighed_g"]
    wof = recipe.wof(grams, asked["fibre_g"])
    columns = ["material", "weigh_g", "fibre_g", "wof"]
    return _show_dose(listed, "dosed", {**asked, "wof": wof, "weigh_g": grams}, columns)


def _show_dose(listed: pd.DataFrame, key: str, found: _Known, columns: list[str]) -> frame.Answer:
    """What a dose came to, in a sentence and a row, and whether it is meant."""
    doubts = _doubts(listed, found["material"], found["wof"])
    sentence = " ".join([words.say(f"weighing.{key}", **found), *doubts])
    table = pd.DataFrame([found])[columns]
    return frame.Answer(sentence, table=table, notes=_metal(listed, found))


def _dilute(listed: pd.DataFrame, asked: _Known) -> frame.Answer:
    strength, stock_strength = asked["strength"], asked["stock_strength"]
    if apart := recipe.no_stock(asked["material"], stock_strength / 10, listed):
        raise InputError(apart)
    stock, water = recipe.diluted_ml(asked["volume_ml"], strength, stock_strength)
    found = {**asked, "stock_ml": stock, "water_ml": water, "g_per_L": strength}
    row = pd.DataFrame([found])[["material", "stock_ml", "water_ml", "g_per_L"]]
    notes = [words.say("weighing.add_slowly")]
    return frame.Answer(words.say("weighing.diluted", **found), table=row, notes=notes)


def _exchange(listed: pd.DataFrame, asked: _Known) -> frame.Answer:
    material, wanted, fibre_g = (asked[name] for name in ("material", "wanted", "fibre_g"))
    if not wanted or wanted == material:
        salts = listed.loc[listed["metal_percent"].gt(0), "metal"].value_counts()
        several = ", ".join(_name(metal) for metal, count in salts.items() if count > 1)
        raise InputError(words.say("weighing.no_twin", material=material, metals=several))
    rows = _salts(listed, material)[["material", "formula", "metal_percent"]]
    doses = [recipe.exchange(asked["dose"], material, n, listed)[0] for n in rows["material"]]
    table = rows.assign(wof=doses, weigh_g=[recipe.grams(wof, fibre_g) for wof in doses])
    wof, caution = recipe.exchange(asked["dose"], material, wanted, listed)
    metal = _name(recipe.find(material, listed)["metal"])
    found = {**asked, "wof": wof, "metal": metal, "weigh_g": recipe.grams(wof, fibre_g)}
    notes = [caution, words.say("weighing.by_label"), words.say("weighing.salts", metal=metal)]
    return frame.Answer(words.say("weighing.exchanged", **found), table=table, notes=notes)


def _bath(listed: pd.DataFrame, asked: _Known) -> frame.Answer:
    strength, ratio, fibre_g = (asked[n] for n in ("strength", "liquor_ratio", "fibre_g"))
    wof, water = recipe.bath_wof(strength, ratio), recipe.water_L(fibre_g, ratio)
    found = {**asked, "g_per_L": strength, "wof": wof, "water_L": water}
    found |= {"weigh_g": recipe.grams(wof, fibre_g)}
    columns = ["material", "g_per_L", "wof", "weigh_g", "water_L"]
    return _show_dose(listed, "bathed", found, columns)


def _cloth(_listed: pd.DataFrame, asked: _Known) -> frame.Answer:
    found = {**asked, "pieces": int(asked["pieces"])}
    found["weigh_g"] = recipe.cloth_g(**found)
    sentence = words.say("weighing.cloth", **found)
    return frame.Answer(sentence, notes=[words.say("weighing.cloth_note")])


_Sum = Callable[[pd.DataFrame, _Known], frame.Answer]
_TASKS: dict[str, tuple[tuple[str, ...], _Sum]] = {  # what each asks for, and works out
    "weigh": (("material", "dose", "fibre_g", "liquor_ratio", "stock_percent"), _weigh),
    "dose": (("material", "weighed_g", "fibre_g"), _dose),
    "dilute": (("material", "volume_ml", "strength", "stock_strength"), _dilute),
    "exchange": (("material", "wanted", "dose", "fibre_g"), _exchange),
    "bath": (("material", "strength", "liquor_ratio", "fibre_g"), _bath),
    "cloth": (("width_cm", "length_cm", "g_per_m2", "pieces"), _cloth),
}
