"""Metals: where a dyed colour goes when one joins, and what the cloth does alone."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from dyelab import compare, recipe, shift, words
from dyelab.book import Book
from dyelab.errors import InputError
from dyelab.handout import colours
from dyelab.handout.metal_texts import answer_text, gaps, metals_text
from dyelab.handout.page import capital
from dyelab.panel import book_choice, choices, frame
from dyelab.plot import plane, style
from dyelab.shift.family import CONTROLS, START, Dose, Family

_PICKED = ("fibre", "dye", "tannin", "mordant")
_SHOWN = ["dE00", "dE00_low", "dE00_high", "dL", "da", "db", "dC", "dH", "verdict"]


@dataclass(frozen=True)
class _Bench:
    """What the panel needs of a book, read once, and the families looked at so far.

    `made` has `plain`, the recipe without metals in words: what a family is picked by.
    """

    source: colours.Source
    made: pd.DataFrame
    kept: dict[str, Family] = field(default_factory=dict)
    shown: dict[tuple, frame.Answer] = field(default_factory=dict)
    offered: list[tuple] = field(default_factory=list)

    @property
    def metals(self) -> list[str]:
        return shift.metals_of(self.made)

    def family(self, plain: str) -> Family:
        if plain not in self.kept:
            rows = self.made[self.made["plain"] == plain]
            row = rows.iloc[shift.with_metal(rows).argmax()]  # which says when the metal went in
            shared = [*shift.shared_factors(self.made), "metals_at"]
            picked = {name: row[name] for name in shared if name in row}
            self.kept[plain] = shift.family(self.source.recipes, self.source.moves, **picked)
        return self.kept[plain]


def panel(book: frame.BookChoice = None) -> frame.Panel:
    """Pick a dye and a cloth, move the metals, see the colour travel.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the last one, else the example.
    """
    given: Any = {"refresh": _fit, "prepare": _bench, "heading": _heading, "book": book}
    return frame.Panel("metals", "metals.title", _choose, _show, **given)


def _heading(bench: _Bench) -> str:
    """The metals of the book; of a book without, what the page is about."""
    if not shift.with_metal(bench.made).any():
        return words.say("metals.title")
    *rest, last = bench.metals
    return capital(words.say("family.and").join(filter(None, (", ".join(rest), last))))


def _bench(book: Book) -> _Bench:
    source = book_choice.source(book)
    plain = shift.without_metals(source.made)
    return _Bench(source, style.with_screen_colours(source.made.assign(plain=plain)))


def _choose(bench: _Bench) -> dict[str, Any]:
    dyed = bench.made[bench.made["dye"] != "none"]
    if dyed.empty:
        raise InputError(words.say("metals.no_dyes"))
    asked = {**{name: name for name in _PICKED}, "recipe": "plain"}
    picks = {
        name: choices.pick(f"metals.{name}", choices.most_often(dyed, column))
        for name, column in asked.items()
    }
    doses = {}
    for metal in bench.metals:
        named = words.say("metals.metal", metal=metal.capitalize(), salt=colours.SALTS[metal])
        doses[metal] = choices.steps(named, _doses(dyed, metal))
    _fit(bench, picks | doses)
    _open_with_a_story(bench, picks["recipe"].value, doses)
    return {**picks, **doses}


def _open_with_a_story(bench: _Bench, plain: str, doses: dict[str, Any]) -> None:
    """Set the first metal to a usual dose that was dyed, so that there is something to see."""
    metal, table = bench.metals[0], recipe.metals.metals().set_index("metal")
    middle = table.loc[metal, ["low_wof", "high_wof"]].mean()
    part = bench.made[bench.made["plain"] == plain]
    alone = part[shift.without_others(part, metal)]
    usual = [dose for _, dose in _doses(alone, metal) if dose <= middle]
    doses[metal].value = usual[-1]


def _doses(made: pd.DataFrame, metal: str) -> list[tuple[str, float]]:
    found = sorted({0.0, *made[shift.METALS[metal]].dropna().astype(float)})
    if len(found) == 1:
        return [(words.say("metals.only_none"), 0.0)]
    return [(colours.dose(dose), dose) for dose in found]


def _fit(bench: _Bench, widgets: dict[str, Any]) -> None:
    """Offer only what was dyed: each choice narrows those below it."""
    if bench.offered == [_pick(widgets)]:
        return  # only a metal was moved
    left = bench.made[bench.made["dye"] != "none"]
    left = choices.narrow(widgets, left, _PICKED)
    recipe = widgets["recipe"]
    choices.set_options(recipe, choices.most_often(left, "plain"))
    recipe.layout.display = None if len(recipe.options) > 1 else "none"
    left = left[left["plain"] == recipe.value]
    for metal in bench.metals:
        choices.set_options(widgets[metal], _doses(left, metal))
    bench.offered[:] = [_pick(widgets)]


def _pick(widgets: dict[str, Any]) -> tuple:
    return tuple(widgets[name].value for name in (*_PICKED, "recipe"))


def _show(bench: _Bench, recipe: str, **chosen: Any) -> frame.Answer:
    dose = shift.doses_of(**{metal: chosen[metal] for metal in bench.metals})
    if (recipe, dose) not in bench.shown:
        bench.shown[recipe, dose] = answer(bench, bench.family(recipe), dose)
    return bench.shown[recipe, dose]


def answer(bench: _Bench, one: Family, dose: Dose) -> frame.Answer:
    """Say and draw what these metals made of a recipe."""
    if dose not in one.dyed:
        raise InputError(_not_dyed(one, dose))
    reach = colours.rows_with(bench.made, fibre=one.picked["fibre"])
    reach = reach[reach["dye"].isin([one.picked["dye"], "none"])]
    drawn = plane.figure(_draw(bench, one, dose), path="path", spans=plane.around(reach))
    moved = one.from_start(one.dyed[dose])
    notes = [str(moved["judged"])] if moved else []
    notes += _together(bench, one, dose)
    notes += gaps(one, dose)
    notes += [words.say("metals.outlines")] if pd.notna(one.dyed[dose]["u_L"]) else []
    notes += bench.source.notes
    table = _table(bench, one, dose).dropna(axis=1, how="all")
    care = bench.source.cautions_of([one.dyed[dose]])
    said = answer_text(one, dose)
    return frame.Answer(said, drawn, table, _chips(one, dose), notes, care=care)


def _together(bench: _Bench, one: Family, dose: Dose) -> list[str]:
    """What several metals did beyond the sum of each, or what to dye to learn it."""
    if sum(amount > 0 for amount in dose) < 2:
        return []
    both = shift.interaction(bench.source.recipes)
    wanted = {**one.picked, **dict(zip(shift.METALS.values(), dose, strict=True))}
    found = colours.rows_with(both, **wanted) if len(both) else both
    return list(found["words"]) or [words.say("metals.no_sum", metals=metals_text(dose))]


def _name(one: Family, name: str) -> str:
    return words.say(f"metals.{name}", dye=one.picked["dye"])


def _cloths(one: Family, dose: Dose) -> dict[str, list[dict[Any, Any]]]:
    """Return the way of the dyed cloth, then the controls, by name."""
    controls = {name: one.ends(name, dose) for name in CONTROLS}
    return {"dyed": one.way(dose), **{k: v for k, v in controls.items() if v}}


def _draw(bench: _Bench, one: Family, dose: Dose) -> pd.DataFrame:
    ways = _cloths(one, dose)
    rows = [row["variant"] for way in ways.values() for row in way]
    names = np.repeat(list(ways), [len(way) for way in ways.values()])
    painted = bench.made.iloc[rows].reset_index(drop=True)
    return painted.assign(group=[_name(one, name) for name in names], path=names)


def _table(bench: _Bench, one: Family, dose: Dose) -> pd.DataFrame:
    if dose == START:
        start = bench.made.iloc[[one.dyed[START]["variant"]]]
        columns = ["recipe", "L", "a", "b", "u_L", "u_a", "u_b", "pieces"]
        return start[columns].reset_index(drop=True)
    last = {name: rows[-1] for name, rows in _cloths(one, dose).items()}
    moved = {name: one.from_start(row) for name, row in last.items()}
    told = {name: change for name, change in moved.items() if change is not None}
    return pd.DataFrame([{"cloth": _name(one, n), **_readable(c)} for n, c in told.items()])


def _readable(change: dict[Any, Any]) -> dict[str, Any]:
    said = {**change, "verdict": compare.in_words(change)}
    return {column: said[column] for column in _SHOWN}


def _chips(one: Family, dose: Dose) -> list[list[frame.Chip]]:
    dyed = [one.dyed[stop] for stop in dict.fromkeys((START, dose))]
    groups = [_pair(dyed, words.say("metals.before"), words.say("metals.after"))]
    for name in CONTROLS:
        ends = one.ends(name, dose)
        if ends:
            groups.append(_pair(ends, _name(one, name), words.say("metals.with_metal")))
    return groups


def _pair(rows: list[dict[Any, Any]], *labels: str) -> list[frame.Chip]:
    return [
        frame.Chip.of(row, label, colours.recipe(row, bare=True))
        for row, label in zip(rows, labels, strict=False)
    ]


def _not_dyed(one: Family, dose: Dose) -> str:
    there = "; ".join(metals_text(stop) for stop in one.dyed if stop != START)
    picked = {name: one.picked[name] for name in ("dye", "fibre")}
    return words.say("metals.not_dyed", metals=metals_text(dose), there=there, **picked)
