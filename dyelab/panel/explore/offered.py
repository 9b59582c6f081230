"""What the explorer asks for: a task, a recipe's materials and doses, a colour and limits."""

from typing import Any

import pandas as pd

from dyelab import convert, files, predict, words
from dyelab.panel import choices
from dyelab.panel.explore.bench import Bench
from dyelab.panel.explore.spot import WHITE_ONLY

TASKS = ("recipe", "find", "spot", "next", "reach")
SPOT = ("upload", "photo", "target", "across", "down", "size")
DOSED = {"dye": "dye_wof", "tannin": "tannin_wof", "mordant": "mordant_wof"}
EXAMPLE = ("data", "studio", "photos", "rendered_card_W01_W24.jpg")
METALS = ("iron_wof", "copper_wof")
_OFFERED = {
    "recipe": {"fibre", *DOSED, *DOSED.values(), *METALS, "fibre_g"},
    "find": {"fibre", "wanted", "tolerance", "most_iron", "no_copper", "fibre_g"},
    "spot": set(SPOT),
    "next": {"fibre", "wanted", "most_iron", "no_copper", "many"},
    "reach": {"fibre"},
}


def choose(bench: Bench) -> dict[str, Any]:
    """Return all choices; `fit` shows those that the task needs."""
    say = words.say
    tasks = [(say(f"exploring.task_{name}"), name) for name in TASKS]
    dyed = bench.made[bench.made["dye"] != "none"]
    picks: dict[str, Any] = {"task": choices.pick(say("exploring.task"), tasks)}
    fibres = list((dyed if len(dyed) else bench.made)["fibre"].value_counts().index)
    picks["fibre"] = choices.pick(say("exploring.fibre"), fibres)
    for name, dose in DOSED.items():
        kinds = list(bench.model.levels[name])
        usual = dyed[name].mode().iloc[0] if len(dyed) else kinds[0]
        picks[name] = choices.pick(say(f"exploring.{name}"), kinds, usual)
        picks[dose] = _dose(bench, dose, usual)
    for dose in METALS:
        picks[dose] = _dose(bench, dose, dose.removesuffix("_wof"))
    return {**picks, **_search(bench), **_photo()}


def _search(bench: Bench) -> dict[str, Any]:
    say = words.say
    top = max(float(bench.made["iron_wof"].max()), 1.0)
    return {
        "wanted": choices.text(say("exploring.wanted"), hint=say("exploring.wanted_hint")),
        "tolerance": choices.number(
            say("exploring.tolerance"), 3.0, low=0.5, high=20, step=0.5, unit="ΔE00"
        ),
        "most_iron": choices.number(
            say("exploring.most_iron"), top, low=0, high=top, step=0.5, unit="%"
        ),
        "no_copper": choices.tick(say("exploring.no_copper")),
        "many": choices.number(say("exploring.many"), 4, low=1, high=24, unit=""),
        "fibre_g": choices.number(
            say("exploring.fibre_g"), 100, low=0.1, high=100_000, step=10, unit="g"
        ),
    }


def _photo() -> dict[str, Any]:
    say = words.say
    known = [*convert.target_names(), WHITE_ONLY]
    targets = [(say(f"capture.target_{name}"), name) for name in known]
    share = say("exploring.spot_share")
    return {
        "upload": choices.upload(say("capture.upload"), "image/*,.dng,.nef,.cr2,.arw,.tif,.tiff"),
        "photo": choices.text(
            say("capture.path"), str(files.shipped(*EXAMPLE)), hint=say("capture.path_hint")
        ),
        "target": choices.pick(say("capture.target"), targets),
        "across": choices.amount(say("exploring.across"), 0, 100, 36, step=0.5, unit=share),
        "down": choices.amount(say("exploring.down"), 0, 100, 20, step=0.5, unit=share),
        "size": choices.amount(say("exploring.size"), 1, 30, 4, step=0.5, unit=share),
    }


def _range(bench: Bench, dose: str, material: str) -> tuple[float, float]:
    """Usual dose of a material, and how far its slider goes: a little past what was dyed."""
    name = dose.removesuffix("_wof")
    step = next((s for s in bench.model.steps if s.name == name), None)
    if step is None or material not in step.materials:
        return 0.0, 0.0
    i = step.materials.index(material)
    return float(step.usual[i]), float(1.25 * step.top[i])


def _dose(bench: Bench, dose: str, material: str) -> Any:
    usual, high = _range(bench, dose, material)
    start = 0.0 if dose in METALS else usual
    unit = words.say("exploring.unit")
    named = words.say(f"exploring.{dose}")
    return choices.amount(named, 0, max(high, 0.1), start, step=_step(high), unit=unit)


def _step(high: float) -> float:
    return 0.1 if high <= 10 else 0.5 if high <= 30 else 1.0


def fit(bench: Bench, made: dict[str, Any]) -> None:
    """Show what the task needs; give each dose the range of its material."""
    for name, widget in made.items():
        shown = name == "task" or name in _OFFERED[made["task"].value]
        if name in DOSED.values():
            shown = shown and made[name.removesuffix("_wof")].value != "none"
        if name in METALS:
            shown = shown and name.removesuffix("_wof") in bench.model.levels[name[:-4]]
        widget.layout.display = "" if shown else "none"
    for name, dose in DOSED.items():
        usual, high = _range(bench, dose, made[name].value)
        if high and made[dose].max != high:
            made[dose].max, made[dose].step, made[dose].value = high, _step(high), usual


def limits(values: dict[str, Any]) -> predict.Limits:
    """What the user has, or will not use."""
    most = {"iron_wof": float(values["most_iron"])}
    without = ("copper",) if values["no_copper"] else ()
    return predict.Limits({"fibre": values["fibre"]}, most, without)


def asked(values: dict[str, Any]) -> pd.DataFrame:
    """Recipe on the sliders."""
    row: dict[str, Any] = {name: values[name] for name in ("fibre", *DOSED)}
    row |= {name: float(values[name]) for name in (*DOSED.values(), *METALS)}
    for name, dose in DOSED.items():
        if row[name] == "none":
            row[dose] = 0.0
    return pd.DataFrame([row])
