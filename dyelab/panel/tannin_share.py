"""The tannin's share: how much of a metal's effect is on the dye, the tannin, the fibre."""

from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from dyelab import book as books
from dyelab import shift, words
from dyelab.errors import InputError
from dyelab.handout import colours
from dyelab.panel import book_choice, choices, frame
from dyelab.plot import plane
from dyelab.plot import shift as drawn

_PICKED = ("fibre", "tannin", "dye")
_COLUMNS = ["part", "share", "share_low", "share_high", "seen_share", "ks", "ks_low", "ks_high"]
_FIRST = ["part", "share", "share_low", "share_high", "seen_share", "distance", "moved"]
_COLOUR = ["part", "distance", "distance_low", "distance_high", "dL", "da", "db", "moved"]


def panel(book: frame.BookChoice = None) -> frame.Panel:
    """Pick a dyed, tannined cloth and a metal; see what the metal really did to the dye.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the last one, else the example.
    """
    return frame.Panel(
        "share", "share.title", _choose, _show, refresh=_fit, prepare=book_choice.source, book=book
    )


def _choose(bench: colours.Source) -> dict[str, Any]:
    made = pd.concat([_find_dyed(bench, metal) for metal in shift.METALS])
    if made.empty:
        raise InputError(words.say("share.nothing"))
    metals = shift.metals_of(made)
    metal = metals[0]
    start = _start(bench, metal)
    picks = {"metal": choices.pick("share.metal", metals, metal)}
    for name in _PICKED:
        options = list(made[name].unique())
        picks[name] = choices.pick(f"share.{name}", options, start[name])
    dose = float(start[shift.METALS[metal]])
    picks["dose"] = choices.pick("share.dose", _doses(made, metal), dose)
    sources = [(words.say("share.spectra"), True), (words.say("share.colours"), False)]
    picks["method"] = choices.read_by(bench.every.methods)
    picks["by_spectra"] = choices.pick("share.source", sources)
    return picks


def _find_dyed(bench: colours.Source, metal: str) -> pd.DataFrame:
    """Dyed recipes with this metal alone; those with controls at the same dose first."""
    made = bench.every.made
    column = shift.METALS[metal]
    alone = shift.without_others(made, metal)
    found = made[(made["dye"] != "none") & (made[column] > 0) & alone]
    same = ["fibre", "tannin", "mordant", column]
    undyed = set(made.loc[made["dye"] == "none", same].itertuples(index=False, name=None))
    controlled = [row in undyed for row in found[same].itertuples(index=False, name=None)]
    return found.iloc[np.argsort(~np.array(controlled, bool), kind="stable")]


def _start(bench: colours.Source, metal: str) -> pd.Series:
    """The recipe to open with: on the tannin that has most colour of its own."""
    made = bench.every.made
    bare = (made["dye"] == "none") & (made[list(shift.METALS.values())] == 0).all(axis=1)
    chroma = made[bare].assign(C=np.hypot(made["a"], made["b"])).groupby("tannin")["C"].max()
    found = _find_dyed(bench, metal)
    own = found["tannin"].map(chroma).where(found["tannin"] != "none").fillna(-1.0)
    best = found[own == own.max()]
    return best.sort_values("pieces", ascending=False, kind="stable").iloc[0]


def _doses(made: pd.DataFrame, metal: str) -> list[tuple[str, float]]:
    return [(f"{dose:g} %", dose) for dose in made[shift.METALS[metal]].unique() if dose > 0]


def _fit(bench: colours.Source, widgets: dict[str, Any]) -> None:
    """Offer only what was dyed with this metal: each choice narrows those below it."""
    left = _find_dyed(bench, widgets["metal"].value)
    left = choices.narrow(widgets, left, _PICKED, lambda rows, name: list(rows[name].unique()))
    choices.set_options(widgets["dose"], _doses(left, widgets["metal"].value))


def _show(
    bench: colours.Source,
    metal: str,
    dose: float | None,
    by_spectra: bool,
    method: str,
    **hold: str,
) -> frame.Answer:
    if dose is None or "none" in (hold["fibre"], hold["dye"]):
        raise InputError(words.say("share.not_dyed", metal=metal))
    spectra = bench.book.spectra if by_spectra else None
    found = shift.separate(bench.by(method), metal, hold=dict(hold), spectra=spectra, dose=dose)
    notes = [_lacks(bench, recipe) for recipe in found.missing]
    if by_spectra and found.basis != "K/S":
        notes.append(words.say("share.no_spectra"))
    notes += [words.say(f"share.how_{'ks' if found.basis == 'K/S' else 'lab'}")]
    notes += choices.method_notes([found.method], bench.every.methods)
    numbers = _table(found)
    table = numbers[[name for name in _FIRST if name in numbers]].round(1)
    chips = _chips(found, metal)
    return frame.Answer(found.sentence, _figure(found), table, chips, notes, numbers=numbers)


def _lacks(bench: colours.Source, recipe: str) -> str:
    """What a missing control wants: to be dyed, to be measured, or to be measured as the rest."""
    dyed = books.recipes(bench.book)
    dyed = dyed.loc[[named == recipe for named in shift.recipe_names(dyed)], "swatch"]
    if dyed.empty:
        return words.say("share.missing", recipe=recipe)
    swatches = ", ".join(dyed)
    read = bench.wide[bench.wide["swatch"].isin(dyed) & (bench.wide["exposure"] == "none")]
    if read.empty:
        return words.say("share.unread", recipe=recipe, swatches=swatches)
    ways = ", ".join(shift.way_text(way) for way in dict.fromkeys(read["method"]))
    return words.say("share.read_else", recipe=recipe, swatches=swatches, ways=ways)


def _figure(found: shift.Separation) -> go.Figure:
    if found.spectra is not None:
        return drawn.split(found)
    there = found.cells.dropna(subset=["L"]).iloc[::-1]
    pairs = there["cell"].str.replace(" with", "")
    named = there.assign(group=pairs.map(lambda cell: words.say(f"share.cell_{cell}")), path=pairs)
    return plane.figure(named, path="path")


def _table(found: shift.Separation) -> pd.DataFrame:
    wanted = [*_COLUMNS, *(name for name in _COLOUR if name != "part")]
    parts = found.parts[[name for name in wanted if name in found.parts]]
    said = parts["part"].map(lambda part: words.say(f"share.part_{part}"))
    there = parts.drop(columns="part").notna().any(axis=1)  # no share without its controls
    return parts.assign(part=said)[there].dropna(axis=1, how="all")


def _chips(found: shift.Separation, metal: str) -> list[Any]:
    """Dyed, tannin alone and bare cloth, each without and with the metal, edge to edge."""
    rows = found.cells.to_dict("records")
    chips = []
    for with_metal, without in zip(rows[::2], rows[1::2], strict=True):
        pair = [
            frame.Chip.of(row, words.say(key, metal=metal), str(row["recipe"]))
            for row, key in ((without, f"share.cell_{without['cell']}"), (with_metal, "share.with"))
            if np.isfinite(row["L"])
        ]
        if pair:
            chips.append(pair)
    return chips
