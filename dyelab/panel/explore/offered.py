"""What the explorer asks for: a task, a recipe's materials and doses, a colour and limits."""

from typing import Any

import numpy as np
import pandas as pd

from dyelab import convert, predict, recipe, words
from dyelab.panel import book_choice, choices
from dyelab.panel.explore.bench import Bench
from dyelab.panel.explore.spot import WHITE_ONLY

TASKS = ("recipe", "find", "spot", "next", "reach")
SPOT = ("upload", "photo", "target", "across", "down", "size")
DOSED = {"dye": "dye_wof", "tannin": "tannin_wof", "mordant": "mordant_wof"}
METALS = recipe.metals.columns()
_MOST = {metal: f"most_{metal}" for metal in METALS}
_OVER = ("over", "over_wof", "dips")
_OFFERED = {
    "recipe": {"fibre", *DOSED, *DOSED.values(), *_OVER, *METALS.values(), "fibre_g"},
    "find": {"fibre", "wanted", "tolerance", *_MOST.values(), "fibre_g"},
    "spot": set(SPOT),
    "next": {"fibre", "wanted", *_MOST.values(), "many"},
    "reach": {"fibre"},
}


def choose(bench: Bench) -> dict[str, Any]:
    """Return all choices; `fit` shows those that the task needs."""
    if bench.model is None:
        return {}
    tasks = choices.options("exploring.task_", TASKS)
    dyed = bench.made[bench.made["dye"] != "none"]
    picks: dict[str, Any] = {"task": choices.pick("exploring.task", tasks)}
    fibres = list((dyed if len(dyed) else bench.made)["fibre"].value_counts().index)
    picks["fibre"] = choices.pick("exploring.fibre", fibres)
    for name, dose in DOSED.items():
        kinds = list(bench.model.levels[name])
        usual = dyed[name].mode().iloc[0] if len(dyed) else kinds[0]
        picks[name] = choices.pick(f"exploring.{name}", kinds, usual)
        picks[dose] = _dose(bench, dose, picks[name].value)
        if name == "dye":
            picks |= _over(bench)
    salts = recipe.metals.salts()
    for metal in _metals(bench):
        text = words.say("exploring.metal_wof", Metal=metal.capitalize(), salt=salts[metal])
        picks[METALS[metal]] = _slider(text, _range(bench, metal, metal)[1], 0.0)
    return {**picks, **_search(bench), **_photo()}


def _over(bench: Bench) -> dict[str, Any]:
    """A second dye with a dose of its own, and the dips of a vat."""
    return {
        "over": choices.pick("exploring.over", ["none", *bench.alone], "none"),
        "over_wof": _slider(words.say("exploring.over_wof"), 0.1, 0.0),
        "dips": choices.amount(
            "exploring.dips", 1, 12, 1, step=1, unit=words.say("exploring.dips_unit")
        ),
    }


def _metals(bench: Bench) -> list[str]:
    """Metals that the book holds."""
    return [m for m in METALS if m in bench.model.levels[m]]


def _search(bench: Bench) -> dict[str, Any]:
    most = {}
    for metal in _metals(bench):
        top = float(bench.made[METALS[metal]].max())
        text = words.say("exploring.most_metal", metal=metal)
        most[_MOST[metal]] = choices.number(text, top, high=top, step=0.5, unit="%")
    return {
        "wanted": choices.text("exploring.wanted"),
        "tolerance": choices.number(
            "exploring.tolerance", 3.0, low=0.5, high=20, step=0.5, unit="ΔE00"
        ),
        **most,
        "many": choices.number("exploring.many", 4, low=1, high=24, whole=True),
        "fibre_g": choices.number(
            "exploring.fibre_g", 100, low=0.1, high=100_000, step=10, unit="g"
        ),
    }


def _photo() -> dict[str, Any]:
    known = [*convert.target_names(), WHITE_ONLY]
    targets = choices.options("capture.target_", known)
    share = words.say("exploring.spot_share")
    upload, photo = choices.photo(str(book_choice.example_photo()))
    return {
        "upload": upload,
        "photo": photo,
        "target": choices.pick("capture.target", targets),
        "across": choices.amount("exploring.across", 0, 100, 36, step=0.5, unit=share),
        "down": choices.amount("exploring.down", 0, 100, 20, step=0.5, unit=share),
        "size": choices.amount("exploring.size", 1, 30, 4, step=0.5, unit=share),
    }


def _range(bench: Bench, step: str, material: str) -> tuple[float, float]:
    """Usual dose of a material, and how far its slider goes: a little past what was dyed."""
    doses = bench.doses.get((step, material), [])
    if not doses:
        return 0.0, 0.0
    apart = _step(high := 1.25 * max(doses))
    return float(np.median(doses)), apart * float(np.ceil(round(high / apart, 6)))


def _slider(text: str, high: float, start: float) -> Any:
    unit = words.say("exploring.unit")
    return choices.amount(text, 0, max(high, 0.1), start, step=_step(high), unit=unit)


def _dose(bench: Bench, dose: str, material: str) -> Any:
    usual, high = _range(bench, dose.removesuffix("_wof"), material)
    return _slider(words.say(f"exploring.{dose}"), high, usual)


def _step(high: float) -> float:
    return 0.1 if high <= 10 else 0.5 if high <= 30 else 1.0


def fit(bench: Bench, made: dict[str, Any]) -> None:
    """Show what the task needs; give each dose the range of its material."""
    if not made:
        return
    dyes = {"dye_wof": made["dye"].value, "over_wof": made["over"].value}
    material = {dose: (dose[:-4], made[dose[:-4]].value) for dose in DOSED.values()}
    material["over_wof"] = ("dye", dyes["over_wof"])
    hidden = {dose for dose, key in material.items() if not bench.doses.get(key)}
    if not bench.vats & set(dyes.values()):
        hidden.add("dips")
    if len(bench.alone) < 2 or dyes["dye_wof"] == "none":
        hidden |= set(_OVER[:2])
    for name, widget in made.items():
        shown = name == "task" or (name in _OFFERED[made["task"].value] and name not in hidden)
        widget.layout.display = "" if shown else "none"
    for dose, key in material.items():
        usual, high = _range(bench, *key)
        if high and made[dose].max != high:
            with made[dose].hold_sync():  # else the browser sends back the old dose, cut at the end
                made[dose].max, made[dose].step, made[dose].value = high, _step(high), usual


def limits(values: dict[str, Any]) -> predict.Limits:
    """What the user has, or will not use."""
    most = {METALS[m]: float(values[name]) for m, name in _MOST.items() if name in values}
    without = tuple(metal for metal in METALS if most.get(METALS[metal]) == 0)
    return predict.Limits({"fibre": values["fibre"]}, most, without)


def slider_recipe(bench: Bench, values: dict[str, Any]) -> pd.DataFrame:
    """Recipe on the sliders."""
    row: dict[str, Any] = {name: values[name] for name in ("fibre", *DOSED)}
    row |= {dose: float(values.get(dose, 0)) for dose in (*DOSED.values(), *METALS.values())}
    for name, dose in DOSED.items():
        if row[name] == "none":
            row[dose] = 0.0
    return pd.DataFrame([row | _dyes(bench, values)])


def _dyes(bench: Bench, values: dict[str, Any]) -> dict[str, Any]:
    """The dyes on the sliders, the first under the second."""
    both = [(values["dye"], values["dye_wof"]), (values["over"], values["over_wof"])]
    parts = [
        predict.Part(
            dye,
            float(dose) if bench.doses.get(("dye", dye)) else np.nan,
            int(values["dips"]) if dye in bench.vats else 1,
        )
        for dye, dose in both
        if dye != "none" and not (dose == 0 and bench.doses.get(("dye", dye)))
    ]
    dye, dose = predict.dye_columns(parts) if parts else ("none", 0.0)
    return {"dye": dye, "dye_wof": dose}


def slider_values(row: Any) -> dict[str, Any]:
    """The sliders of a recipe."""
    found = {name: row[name] for name in ("fibre", *DOSED)}
    found |= {dose: float(row[dose]) for dose in (*DOSED.values(), *METALS.values()) if dose in row}
    parts = predict.layers(str(row["dye"]), float(row["dye_wof"]))
    dips = max([1, *(part.dips for part in parts)])
    under, over, *_ = [*parts, predict.Part("none", 0.0), predict.Part("none", 0.0)]
    dyes = {"dye": under.material, "over": over.material, "dips": dips}
    return {**found, **dyes, "dye_wof": under.dose, "over_wof": over.dose}
