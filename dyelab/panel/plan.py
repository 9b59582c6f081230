"""Plan a series, print its sheets, put it into a book; later, enter what was really done."""

import re
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from dyelab import book as books
from dyelab import plan, press, recipe, shift, table, words
from dyelab.book import Book
from dyelab.errors import InputError
from dyelab.panel import book_choice, choices, frame, remember, save
from dyelab.panel.book_choice import typed_path
from dyelab.recipe.advice import CELLULOSE, PROTEIN

_FACTORS = ("tannin", "mordant", "dye", "modifier")
_ROLES = {"dye": ("dye", "vat")}
_START = {
    "fibre": ("wool",),
    "tannin": ("none", "gallnut"),
    "mordant": ("potash alum",),
    "dye": ("madder",),
    "modifier": ("none",),
}
_SELDOM = (
    *("modifier", "another", "doses", "more", "over", "tartar", "design", "divide", "runs"),
    *("mass_g", "liquor_ratio", "baths", "water_bath", "pots", "paper"),
)
_MOST = 60  # recipes shown before anything is saved; the sheets hold them all
_PREVIEW = 110  # pixels an inch
_LONG_DAY = 12.0  # hours at the stove that nobody should plan for (common practice, no source)
_SHOWN = ["bath", "round", "day", "kind", "fibre", "material", "weigh_g", "fibre_g"]
_SHOWN += ["water_L", "swatches"]


class Planner(frame.Panel):
    """The panel that plans, with its two buttons below, and the new book that they may begin."""

    def __init__(self, book: frame.BookChoice = None) -> None:
        self.folder = choices.text("planning.new_book").add_class("dl-wide")
        self.white = choices.pick("planning.new_white", book_choice.whites())
        super().__init__(
            *("plan", "planning.title", _choose, _show),
            refresh=_fit,
            actions={"planning.put": Planner.into, "planning.sheets": _write_sheets},
            main=True,
            beside=(self.folder, self.white),
            seldom=_SELDOM,
            book=book,
        )
        self.folder.observe(lambda _: self._ask_white(), "value")
        self._ask_white()

    def _ask_white(self) -> None:
        """A book's white is asked for where one begins, and never again."""
        self.white.layout.display = None if self.folder.value.strip() else "none"

    def into(self) -> str:
        """Put the series into the book, or into a new one where a folder is named."""
        target = self.book
        planned = planned_series(self.book, **self.values)
        if self.folder.value.strip():
            white = table.book_white(self.white.value)
            target = books.create(typed_path(self.folder.value), white=white)
            chosen = self.values | {"name": planned.name}  # the sheets are those of this series
            remember.keep_choices(target.path, self.name, chosen)
        else:
            self.own("planning.example_kept", put=words.say("planning.put"))
        refuse_twice(target, planned)
        saved = self.save_book(plan.add_series(target, planned), planned.name)
        many = len(planned.swatches)
        return words.say("planning.put_in", swatches=many, book=saved.title)


def panel(book: frame.BookChoice = None) -> Planner:
    """Choose factors and levels, see what the series takes, print its sheets.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the last one, else the example.
    """
    return Planner(book)


def _choose(book: Book) -> dict[str, Any]:
    listed = books.materials(book)
    hint = words.say("planning.many_hint")
    offered = {name: _options(listed, name) for name in _FACTORS}
    usual = ("wool", "silk", "cotton")
    offered["fibre"] = sorted(PROTEIN | CELLULOSE, key=lambda name: (name not in usual, name))
    picks = {
        name: choices.pick_many(f"planning.{name}", offered[name], _START[name], note=hint)
        for name in ("fibre", *_FACTORS)
    }
    doses = words.say("planning.doses_hint")
    first, second, *further = _metals(book)
    return {
        "name": choices.text("planning.name", _name(book)),
        **picks,
        first: choices.text(_metal(first), "0 2", hint=doses),
        second: choices.text(_metal(second), "0", hint=doses),
        "another": choices.pick("planning.another", ["none", *further]),
        "doses": choices.text("planning.another_doses", "0 2", hint=doses),
        "more": choices.text("planning.more"),
        "over": choices.text("planning.over"),
        "tartar": choices.number("planning.tartar", 0, high=50, step=1, unit="% WOF"),
        **_sizes(),
    }


def _metal(metal: str) -> str:
    return words.say("planning.metal", metal=metal.capitalize())


def _metals(book: Book) -> list[str]:
    """All metals, those of the book first: the first two have a field of their own."""
    return list(dict.fromkeys([*shift.metals_of(books.recipes(book)), *recipe.metals.columns()]))


def _sizes() -> dict[str, Any]:
    kinds = choices.options("planning.", ("full", "fraction", "optimal"))
    return {
        "design": choices.pick("planning.design", kinds),
        "divide": choices.pick("planning.divide", [2, 3, 4, 8, 9]),
        "runs": choices.number("planning.runs", 12, low=2, high=500, whole=True),
        "replicates": choices.number("planning.replicates", 2, low=1, high=12, whole=True),
        "controls": choices.tick("planning.controls", True),
        "mass_g": choices.number("planning.mass_g", 5, low=0.1, high=1000, step=0.5, unit="g"),
        "liquor_ratio": choices.number(
            "planning.liquor_ratio", 40, low=5, high=300, step=5, unit="L"
        ),
        "baths": choices.pick("planning.baths", choices.options("planning.", plan.POTS)),
        "water_bath": choices.number("planning.water_bath", 0, high=60, whole=True),
        "pots": choices.number("planning.pots", 2, low=1, high=12, whole=True),
        "paper": choices.pick("planning.paper", ["A4", "Letter"]),
        "children": choices.tick("planning.children"),
    }


def _name(book: Book) -> str:
    own = words.say("planning.series") if book_choice.is_example(book) else book.title
    return f"{own} {date.today().year}"


def _options(listed: pd.DataFrame, name: str) -> list[str]:
    roles = _ROLES.get(name, (name,))
    return ["none", *listed.loc[listed["role"].isin(roles), "material"]]


def _fit(_book: Book, made: dict[str, Any]) -> None:
    made["doses"].layout.display = "none" if made["another"].value == "none" else None
    for name, design in (("divide", "fraction"), ("runs", "optimal")):
        made[name].layout.display = None if made["design"].value == design else "none"


def _keep(book: Book, chosen: dict[str, Any]) -> tuple[dict[str, list[Any]], list[str]]:
    """Factors and levels, and what stays out of a room where children work."""
    listed = books.materials(book)
    found = _ask(listed, chosen)
    if not chosen["children"]:
        return found, []
    used = {
        (name, text): plan.materials_of(name, text, listed)
        for name, given in found.items()
        if name != "fibre"
        for text in given
    }
    out = recipe.not_for_children([one for names in used.values() for one in names], listed)
    for name in set(found) - {"fibre"}:
        safe = [text for text in found[name] if not set(used[name, text]) & set(out)]
        found[name] = safe or ["0" if name in recipe.metals.columns() else "none"]
    return found, out


def _ask(listed: pd.DataFrame, chosen: dict[str, Any]) -> dict[str, list[Any]]:
    found: dict[str, list[Any]] = {"fibre": list(chosen["fibre"])}
    found |= {name: list(chosen[name]) for name in _FACTORS if chosen[name]}
    for text in _list(chosen["more"]):
        first = text.partition("+")[0].strip()
        row = recipe.find(first.rpartition(" ")[0] or first, listed)
        factor = "dye" if row["role"] == "vat" else str(row["role"])
        if factor not in _FACTORS:
            key = "planning.no_scour" if row["role"] == "scour" else "planning.no_factor"
            raise InputError(words.say(key, material=row["material"]))
        found.setdefault(factor, []).append(text)
    if over := _list(chosen["over"]):
        found["dye"] = [*found.get("dye", []), *over]
    if chosen["tartar"]:
        found["mordant"] = [_with_tartar(x, chosen["tartar"]) for x in found.get("mordant", [])]
    for metal, text in _metal_doses(chosen).items():
        doses = table.number_list(text.replace("%", " "), metal) or [0]
        found[metal] = list(dict.fromkeys(f"{dose:g}" for dose in doses))
    return found


def _list(text: str) -> list[str]:
    return [part for part in map(str.strip, re.split(r";|,\s|,(?!\d)", text)) if part]


def _with_tartar(mordant: str, dose: float) -> str:
    """Cream of tartar into the mordant's bath; an acetate or iron doesn't bear it."""
    plain = mordant == "none" or "acetate" in mordant or "ferrous" in mordant
    return mordant if plain else f"{mordant} + cream of tartar {dose:g}"


def _metal_doses(chosen: dict[str, Any]) -> dict[str, str]:
    """Doses as written, by metal."""
    doses = {metal: chosen[metal] for metal in recipe.metals.columns() if metal in chosen}
    return doses if chosen["another"] == "none" else {**doses, chosen["another"]: chosen["doses"]}


def planned_series(book: Book, **chosen: Any) -> plan.Series:
    """Plan the series of the choices made; codes in the book are not given again.

    A series that the book holds already is planned with the codes it has there: its sheets are
    written after it was saved as well as before.
    """
    there = book.swatches["series"] == (chosen["name"].strip() or _name(book))
    if there.any():
        codes = set(book.swatches.loc[there, "swatch"])
        steps = book.steps[~book.steps["swatch"].isin(codes)]
        earlier = replace(book, swatches=book.swatches[~there], steps=steps)
        again = _plan(earlier, chosen)
        if set(again.swatches["swatch"]) == codes:
            return again
    return _plan(book, chosen)


def _plan(book: Book, chosen: dict[str, Any]) -> plan.Series:
    return plan.series(
        _keep(book, chosen)[0],
        name=chosen["name"].strip() or _name(book),
        **{name: chosen[name] for name in ("design", "divide", "controls", "mass_g")},
        liquor_ratio=chosen["liquor_ratio"],
        runs=int(chosen["runs"]) if chosen["design"] == "optimal" else None,
        replicates=int(chosen["replicates"]),
        pots=chosen["baths"],
        water_bath=int(chosen["water_bath"]),
        listed=books.materials(book),
        keep=book,
    )


def refuse_twice(book: Book, planned: plan.Series) -> None:
    """Raise if the book holds this series already: a second press changes nothing."""
    there = int((book.swatches["series"] == planned.name).sum())
    if there and there == len(planned.swatches):
        raise InputError(words.say("planning.there_already", name=planned.name, swatches=there))


def _recipes(rows: pd.DataFrame) -> list[frame.Chip]:
    """A blank window for each recipe, with the codes of its swatches."""
    rows = rows.sort_values([*plan.RECIPE, "swatch"], kind="stable")  # dyed in random order
    lines = rows.apply(plan.recipe_line, axis=1)
    codes = rows["swatch"].groupby(lines, sort=False).agg(", ".join)
    return [frame.Chip(text, None, listed) for text, listed in codes.head(_MOST).items()]


def _show(book: Book, **chosen: Any) -> frame.Answer:
    planned = planned_series(book, **chosen)
    rows = planned.swatches
    own = rows[rows["purpose"] == "series"]
    counts = {"swatches": len(own), "recipes": int((own["replicate"] == 1).sum())}
    counts |= {"controls": len(rows) - len(own)}
    sums = {"fibre": rows["mass_g"].sum(), "water": plan.totals(planned)["amount"].iloc[-1]}
    effort = plan.effort(planned, int(chosen["pots"]))
    told = {"effort": words.say("planning.effort", **effort), "baths": effort["baths"]}
    sentence = words.say("planning.sentence", **told, **counts, **sums)
    if planned.resolution:
        sentence += " " + words.say("planning.resolution", resolution=planned.resolution)
    out = _keep(book, chosen)[1]
    notes = [words.say("planning.children_out", what=", ".join(out))] if out else []
    notes += [words.say("planning.cannot", what=text) for text in planned.cannot]
    notes += [*_long_day(planned, int(chosen["pots"])), *planned.notes]
    notes += [words.say("planning.keeps"), words.say("planning.own")]
    listed, used = books.materials(book), planned.baths["material"].unique()
    asked = {"paper": chosen["paper"], "children": chosen["children"], "listed": listed}
    template, data, pictures = plan.page(planned, "baths", **asked)
    made: Any = press.typeset(template, data, pictures=pictures, form="png", ppi=_PREVIEW)
    preview = [(words.say("planning.first_page"), made[0] if isinstance(made, list) else made)]
    baths = planned.baths[_SHOWN].assign(weigh_g=planned.baths["weigh_g"].replace(0, np.nan))
    return frame.Answer(
        sentence,
        table=baths,
        chips=_recipes(rows),
        notes=notes,
        care=recipe.cautions(used, listed, children=chosen["children"]),
        pictures=preview,
    )


def _long_day(planned: plan.Series, pots: int) -> list[str]:
    """The longest day of the timetable, where it is more than one can stand at the stove."""
    longest = max(plan.timetable(planned, pots), key=lambda day: day["hours"])
    told = {"day": longest["day"], "hours": longest["hours"], "pots": pots}
    return [words.say("planning.long_day", **told)] if longest["hours"] > _LONG_DAY else []


def _write_sheets(panel: frame.Panel) -> str:
    book, chosen = panel.book, panel.values
    planned = planned_series(book, **chosen)
    written = plan.sheets(
        planned,
        Path.cwd() / save.FOLDER,
        paper=chosen["paper"],
        pots=int(chosen["pots"]),
        children=chosen["children"],
        listed=books.materials(book),
    )
    return words.say("planning.wrote", files="\n".join(str(path) for path in written.values()))
