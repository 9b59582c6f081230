"""Weigh and dilute: grams and stock for a dose, a weaker solution, another salt, a cloth."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from dyelab import recipe, words
from dyelab.book import Book
from dyelab.errors import InputError
from dyelab.panel import choices, frame

_LITTLE = 1.0  # g: what a kitchen scale errs by
_ASKS = {
    "weigh": ("material", "dose", "fibre_g", "liquor_ratio", "stock_percent"),
    "dose": ("material", "weighed_g", "fibre_g"),
    "dilute": ("material", "volume_ml", "strength", "stock_strength"),
    "exchange": ("material", "wanted", "dose", "fibre_g"),
    "bath": ("material", "strength", "liquor_ratio", "fibre_g"),
    "cloth": ("width_cm", "length_cm", "g_per_m2", "pieces"),
}
_NUMBERS: dict[str, tuple[float, float, float, str]] = {  # start, most, step, unit
    "dose": (15, 300, 0.5, "% WOF"),
    "fibre_g": (100, 1e6, 10, "g"),
    "weighed_g": (15, 1e6, 0.1, "g"),
    "liquor_ratio": (40, 300, 5, "L"),
    "stock_percent": (10, 100, 1, "%"),
    "volume_ml": (1000, 1e6, 50, "mL"),
    "strength": (5, 1000, 0.5, "g/L"),
    "stock_strength": (100, 1000, 5, "g/L"),
    "width_cm": (150, 1000, 1, "cm"),
    "length_cm": (100, 1e5, 1, "cm"),
    "g_per_m2": (140, 2000, 5, "g/m²"),
    "pieces": (1, 1000, 1, ""),
}


def panel(book: frame.Chosen = None) -> frame.Panel:
    """Do the sums of the dye pot, with the cautions of what is weighed.

    Parameters
    ----------
    book : Book or path, optional
        Its own materials count too. Else the one the session was opened with, else the example.
    """
    title = words.say("weighing.title")
    return frame.Panel("weigh", title, _choose, _show, refresh=_fit, prepare=_listed, book=book)


def _listed(book: Book) -> pd.DataFrame:
    return recipe.materials(book.materials)


def _choose(listed: pd.DataFrame) -> dict[str, Any]:
    say = words.say
    tasks = choices.coded("weighing.task_", _ASKS)
    names = list(listed["material"])
    made = {
        "task": choices.pick("weighing.task", tasks),
        "material": choices.pick("weighing.material", names),
        "wanted": choices.pick("weighing.wanted", names),
    }
    for name, (start, most, step, unit) in _NUMBERS.items():
        low = 0 if name in ("dose", "weighed_g", "stock_percent", "strength") else step
        label = say(f"weighing.{name}")
        start = _usual(listed, names[0]) if name == "dose" else start
        made[name] = choices.number(label, start, low=low, high=most, step=step, unit=unit)
    return made


def _fit(listed: pd.DataFrame, made: dict[str, Any]) -> None:
    """Show what the task asks for; a salt is exchanged for salts of its own metal."""
    task = made["task"].value
    salts = list(listed.loc[listed["metal_percent"].gt(0), "material"])
    names = salts if task == "exchange" else list(listed["material"])
    choices.set_options(made["material"], names)
    _usual_dose(listed, made)
    choices.set_options(made["wanted"], _twins(listed, made["material"].value))
    choices.only(made, ("task", *_ASKS[task]))


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


def _asked(listed: pd.DataFrame, material: str, dose: float) -> list[str]:
    """Ask whether a dose outside the usual range is meant."""
    try:
        low, high, most = recipe.usual_range(material, listed)
    except InputError as error:
        return [str(error)]
    if low <= dose <= high:
        return []
    key = "weighing.over_most" if dose > most else "weighing.outside"
    return [words.say(key, material=material, dose=dose, low=low, high=high)]


def _salts(listed: pd.DataFrame, material: str) -> pd.DataFrame:
    """Salts of the metal that a material holds, itself among them."""
    metal = recipe.find(material, listed)["metal"]
    return listed[listed["metal"].eq(metal) & listed["metal_percent"].gt(0) & (metal != "")]


def _twins(listed: pd.DataFrame, material: str) -> list[str]:
    return [name for name in _salts(listed, material)["material"] if name != material]


def _show(listed: pd.DataFrame, task: str, **chosen: Any) -> frame.Shown:
    asked = {name: chosen[name] for name in _ASKS[task]}
    named = [asked[name] for name in ("material", "wanted") if asked.get(name)]
    care = recipe.cautions(named, listed, hot=False) if named else ()
    return replace(_SUMS[task](listed, **asked), care=care)


def _weigh(
    listed: pd.DataFrame,
    material: str,
    dose: float,
    fibre_g: float,
    liquor_ratio: float,
    stock_percent: float,
) -> frame.Shown:
    grams, water = recipe.grams(dose, fibre_g), recipe.water_L(fibre_g, liquor_ratio)
    said: dict[str, Any] = {"material": material, "dose": dose, "fibre_g": fibre_g, "grams": grams}
    sentence = _asked(listed, material, dose)
    sentence.append(words.say("weighing.weigh", **said, water=water, ratio=liquor_ratio))
    row: dict[str, Any] = {"material": material, "wof": dose, "weigh_g": grams, "water_L": water}
    notes = _metal(listed, material, dose)
    apart = recipe.no_stock(material, stock_percent, listed)
    if apart:
        notes.append(apart)
    elif stock_percent > 0:
        row["stock_ml"] = recipe.stock_ml(grams, stock_percent)
        told: dict[str, Any] = {"strength": stock_percent}
        sentence.append(words.say("weighing.from_stock", ml=row["stock_ml"], **told))
        notes.append(words.say("weighing.make_stock", material=material, **told))
    if 0 < grams < _LITTLE:
        key = "weighing.small_solid" if apart else "weighing.small"
        notes.append(words.say(key, grams=grams))
    return frame.Shown(" ".join(sentence), table=pd.DataFrame([row]), notes=notes)


def _metal(listed: pd.DataFrame, material: str, dose: float) -> list[str]:
    """How much of the metal itself a dose brings, where the material holds one."""
    row = recipe.find(material, listed)
    if not np.isfinite(row["metal_percent"]):
        return []
    wof = recipe.metal_wof(material, dose, listed)
    return [words.say("weighing.metal", wof=wof, metal=_named(row["metal"]))]


def _named(metal: str) -> str:
    """Name of a metal; a book's own may be one without a name here."""
    return recipe.metals.symbols().get(metal, metal)


def _dose(listed: pd.DataFrame, material: str, weighed_g: float, fibre_g: float) -> frame.Shown:
    wof = recipe.wof(weighed_g, fibre_g)
    amounts: dict[str, Any] = {"fibre_g": fibre_g, "wof": wof}
    said = words.say("weighing.dosed", material=material, weighed_g=weighed_g, **amounts)
    row = pd.DataFrame([{"material": material, "weigh_g": weighed_g, **amounts}])
    sentence = " ".join([said, *_asked(listed, material, wof)])
    return frame.Shown(sentence, table=row, notes=_metal(listed, material, wof))


def _dilute(
    listed: pd.DataFrame, material: str, volume_ml: float, strength: float, stock_strength: float
) -> frame.Shown:
    if apart := recipe.no_stock(material, stock_strength / 10, listed):
        raise InputError(apart)
    stock, water = recipe.diluted_ml(volume_ml, strength, stock_strength)
    said: dict[str, Any] = {"stock": stock, "water": water, "volume": volume_ml}
    said |= {"strength": strength, "stock_strength": stock_strength}
    row = {"material": material, "stock_ml": stock, "water_ml": water, "g_per_L": strength}
    told, notes = words.say("weighing.diluted", **said), [words.say("weighing.add_slowly")]
    return frame.Shown(told, table=pd.DataFrame([row]), notes=notes)


def _exchange(
    listed: pd.DataFrame, material: str, wanted: str | None, dose: float, fibre_g: float
) -> frame.Shown:
    if not wanted or wanted == material:
        raise InputError(words.say("weighing.no_twin", material=material))
    rows = _salts(listed, material)[["material", "formula", "metal_percent"]]
    doses = [recipe.exchange(dose, material, name, listed)[0] for name in rows["material"]]
    table = rows.assign(wof=doses, weigh_g=[recipe.grams(wof, fibre_g) for wof in doses])
    other, caution = recipe.exchange(dose, material, wanted, listed)
    metal = _named(recipe.find(material, listed)["metal"])
    said: dict[str, Any] = {"material": material, "wanted": wanted, "metal": metal}
    said |= {"dose": dose, "other": other, "fibre_g": fibre_g}
    told = words.say("weighing.exchanged", **said, grams=recipe.grams(other, fibre_g))
    notes = [caution, words.say("weighing.by_label"), words.say("weighing.salts", metal=metal)]
    return frame.Shown(told, table=table, notes=notes)


def _bath(
    listed: pd.DataFrame, material: str, strength: float, liquor_ratio: float, fibre_g: float
) -> frame.Shown:
    wof, water = recipe.bath_wof(strength, liquor_ratio), recipe.water_L(fibre_g, liquor_ratio)
    grams = recipe.grams(wof, fibre_g)
    said: dict[str, Any] = {"material": material, "strength": strength, "ratio": liquor_ratio}
    said |= {"wof": wof, "fibre_g": fibre_g, "water": water, "grams": grams}
    row: dict[str, Any] = {"material": material, "g_per_L": strength, "wof": wof}
    table = pd.DataFrame([{**row, "weigh_g": grams, "water_L": water}])
    sentence = " ".join([words.say("weighing.bathed", **said), *_asked(listed, material, wof)])
    return frame.Shown(sentence, table=table, notes=_metal(listed, material, wof))


def _cloth(
    _listed: pd.DataFrame, width_cm: float, length_cm: float, g_per_m2: float, pieces: float
) -> frame.Shown:
    grams = recipe.cloth_g(width_cm, length_cm, g_per_m2, int(pieces))
    said: dict[str, Any] = {"width": width_cm, "length": length_cm, "density": g_per_m2}
    sentence = words.say("weighing.cloth", grams=grams, pieces=int(pieces), **said)
    return frame.Shown(sentence, notes=[words.say("weighing.cloth_note")])


_SUMS: dict[str, Callable[..., frame.Shown]] = {
    "weigh": _weigh,
    "dose": _dose,
    "dilute": _dilute,
    "exchange": _exchange,
    "bath": _bath,
    "cloth": _cloth,
}
