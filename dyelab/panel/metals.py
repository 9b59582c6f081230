"""Iron and copper: where a dyed colour goes when a metal joins, and what the cloth does alone."""

from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from dyelab import compare, shift, words
from dyelab.errors import InputError
from dyelab.handout import variants
from dyelab.handout.family import CONTROLS, START, Family, family, gaps, metals, told
from dyelab.panel import choices, frame
from dyelab.plot import plane, style

_PICKED = ("fibre", "dye", "tannin", "mordant")
_USUAL_IRON = 2.0  # % WOF: the upper end of common practice for saddening
_SHOWN = ["dE00", "dE00_low", "dE00_high", "dL", "da", "db", "dC", "dH", "verdict"]


@dataclass(frozen=True)
class _Bench:
    """What the panel needs of a book, read once, and the families looked at so far."""

    recipes: shift.Recipes
    made: pd.DataFrame
    notes: list[str]
    kept: dict[tuple, Family] = field(default_factory=dict)
    shown: dict[tuple, frame.Shown] = field(default_factory=dict)
    offered: list[tuple] = field(default_factory=list)

    def family(self, picked: dict[str, str]) -> Family:
        key = tuple(picked.values())
        if key not in self.kept:
            self.kept[key] = family(self.recipes, self.made, **picked)
        return self.kept[key]


def panel(book: Any = None) -> frame.Panel:
    """Pick a dye and a cloth, move the metals, see the colour travel.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the example.
    """
    title = words.say("metals.title")
    return frame.Panel(
        "iron-and-copper", title, _choose, _show, refresh=_fit, prepare=_bench, book=book
    )


def _bench(book: Any) -> _Bench:
    source = variants.source(book)
    return _Bench(source.recipes, style.painted(source.made), source.notes)


def _choose(bench: _Bench) -> dict[str, Any]:
    dyed = bench.made[bench.made["dye"] != "none"]
    if dyed.empty:
        raise InputError(words.say("metals.no_dyes"))
    picks = {
        name: choices.pick(words.say(f"metals.{name}"), _kinds(dyed, name)) for name in _PICKED
    }
    doses = {
        metal: choices.steps(words.say(f"metals.{metal}"), _doses(dyed, metal))
        for metal in variants.METALS
    }
    doses["iron"].value = _telling(bench, {name: pick.value for name, pick in picks.items()})
    return {**picks, **doses}


def _telling(bench: _Bench, picked: dict[str, str]) -> float:
    """Return the iron dose to open with: a usual one that was dyed, so that there is a story."""
    one = variants.only(bench.made, **picked, copper_wof=0.0)
    usual = [dose for _, dose in _doses(one, "iron") if dose <= _USUAL_IRON]
    return usual[-1]


def _kinds(made: pd.DataFrame, name: str) -> list[str]:
    """What was dyed, the most often dyed first."""
    return list(made[name].value_counts().index)


def _doses(made: pd.DataFrame, metal: str) -> list[tuple[str, float]]:
    found = sorted({0.0, *made[f"{metal}_wof"].fillna(0.0).astype(float)})
    if len(found) == 1:
        return [(words.say("metals.only_none"), 0.0)]
    return [(variants.dose(dose), dose) for dose in found]


def _fit(bench: _Bench, widgets: dict[str, Any]) -> None:
    """Offer only what was dyed: each choice narrows those below it."""
    if bench.offered == [_picked(widgets)]:
        return  # only a metal was moved
    left = bench.made[bench.made["dye"] != "none"]
    for name in _PICKED:
        choices.set_options(widgets[name], _kinds(left, name))
        left = left[left[name] == widgets[name].value]
    for metal in variants.METALS:
        choices.set_options(widgets[metal], _doses(left, metal))
    bench.offered[:] = [_picked(widgets)]


def _picked(widgets: dict[str, Any]) -> tuple:
    return tuple(widgets[name].value for name in _PICKED)


def _show(bench: _Bench, iron: float, copper: float, **picked: str) -> frame.Shown:
    key = (*picked.values(), iron, copper)
    if key not in bench.shown:
        bench.shown[key] = _made(bench, iron, copper, picked)
    return bench.shown[key]


def _made(bench: _Bench, iron: float, copper: float, picked: dict[str, str]) -> frame.Shown:
    one = bench.family(picked)
    if (iron, copper) not in one.dyed:
        raise InputError(_not_dyed(one, iron, copper))
    reach = variants.only(bench.made, fibre=picked["fibre"])
    reach = reach[reach["dye"].isin([picked["dye"], "none"])]
    drawn = plane.figure(_drawn(one, iron, copper), path="path", spans=plane.around(reach))
    moved = one.moved(one.dyed[iron, copper])
    notes = [str(moved["judged"])] if moved else []
    notes += _together(bench, iron, copper, picked)
    notes += [*gaps(one, iron, copper), words.say("metals.outlines"), *bench.notes]
    sentence = told(one, iron, copper)
    table = _table(one, iron, copper)
    return frame.Shown(sentence, drawn, table, _chips(one, iron, copper), notes)


def _together(bench: _Bench, iron: float, copper: float, picked: dict[str, str]) -> list[str]:
    """What both metals did beyond the sum of each, or what to dye to learn it."""
    if not (iron and copper):
        return []
    both = shift.interaction(bench.recipes)
    found = variants.only(both, **picked, iron_wof=iron, copper_wof=copper) if len(both) else both
    return list(found["words"]) or [words.say("metals.no_sum", iron=iron, copper=copper)]


def _named(one: Family, name: str) -> str:
    return words.say(f"metals.{name}", **({"dye": one.picked["dye"]} if name == "dyed" else {}))


def _cloths(one: Family, iron: float, copper: float) -> dict[str, list[dict[Any, Any]]]:
    """Return the way of the dyed cloth, then the controls, by name."""
    controls = {name: one.ends(name, iron, copper) for name in CONTROLS}
    return {"dyed": one.way(iron, copper), **{k: v for k, v in controls.items() if v}}


def _drawn(one: Family, iron: float, copper: float) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {**row, "group": _named(one, name), "path": name}
            for name, rows in _cloths(one, iron, copper).items()
            for row in rows
        ]
    )


def _table(one: Family, iron: float, copper: float) -> pd.DataFrame:
    if (iron, copper) == START:
        start = pd.DataFrame([one.dyed[START]])
        return start[["recipe", "L", "a", "b", "u_L", "u_a", "u_b", "pieces"]]
    last = {name: rows[-1] for name, rows in _cloths(one, iron, copper).items()}
    moved = {name: one.moved(row) for name, row in last.items()}
    return pd.DataFrame(
        [
            {"cloth": _named(one, name), **_shown(change)}
            for name, change in moved.items()
            if change is not None
        ]
    )


def _shown(change: dict[Any, Any]) -> dict[str, Any]:
    said = {**change, "verdict": compare.in_words(change)}
    return {column: said[column] for column in _SHOWN}


def _chips(one: Family, iron: float, copper: float) -> list[list[frame.Chip]]:
    dyed = [one.dyed[dose] for dose in dict.fromkeys((START, (iron, copper)))]
    groups = [_pair(dyed, words.say("metals.before"), words.say("metals.after"))]
    for name in CONTROLS:
        ends = one.ends(name, iron, copper)
        if ends:
            groups.append(_pair(ends, _named(one, name), words.say("metals.with_metal")))
    return groups


def _pair(rows: list[dict[Any, Any]], *labels: str) -> list[frame.Chip]:
    return [_chip(row, label) for row, label in zip(rows, labels, strict=False)]


def _chip(row: dict[Any, Any], label: str) -> frame.Chip:
    lab = (float(row["L"]), float(row["a"]), float(row["b"]))
    note = variants.recipe(row, bare=True)
    return frame.Chip(label, lab, note, str(row["illuminant"]), int(row["observer"]))


def _not_dyed(one: Family, iron: float, copper: float) -> str:
    there = "; ".join(metals(*dose) for dose in one.dyed if dose != START)
    picked = {name: one.picked[name] for name in ("dye", "fibre")}
    return words.say("metals.not_dyed", metals=metals(iron, copper), there=there, **picked)
