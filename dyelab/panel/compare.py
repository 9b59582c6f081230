"""Compare variants: what one step did, to which cloths, and whether it is more than noise."""

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from dyelab import compare, plan, shift, words
from dyelab.errors import InputError
from dyelab.handout import colours
from dyelab.panel import book_choice, choices, frame
from dyelab.plot import shift as drawn

ALL = ""
_HELD = ("fibre", "dye", "tannin", "mordant")
_FIGURES = ("vectors", "multiples", "dose", "spectra", "family", "lamps")
_VERDICTS = (compare.REAL, compare.CHANCE, compare.CANNOT_TELL)
_SHOWN = 4  # chips of at most so many pairs


def panel(book: frame.Chosen = None) -> frame.Panel:
    """Pick what varies, what to hold, the reference and the formula; read what it did.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the example.
    """
    return frame.Panel(
        *("compare", words.say("comparing.title"), _choose, _show),
        refresh=_fit,
        prepare=book_choice.source,
        actions={"comparing.one_pot": _one_pot},
        seldom=("reference", "formula", "method"),
        book=book,
    )


def _one_pot(panel: frame.Panel) -> str:
    """Record that the swatches of each recipe shown shared a pot, and judge anew."""
    own = panel.own("comparing.example_kept", put=words.say("comparing.one_pot"))
    found = _found(panel.ready, **panel.values)
    made = found.recipes.made["swatch"]
    ends = sorted({*found.pairs["from_row"], *found.pairs["to_row"]})
    named = plan.one_pot(own, [made.iloc[row].split(", ") for row in ends])
    panel.save_book(named, words.say("comparing.one_pot"))
    return words.say("comparing.shared", recipes=len(ends))


def _choose(bench: colours.Source) -> dict[str, Any]:
    made = bench.every.made
    picks = {"what": choices.pick("comparing.what", _steps(made))}
    for name in _HELD:
        offered = _offered(made, name)
        first = _told_most(made) if name == "dye" else ALL
        picks[name] = choices.pick(f"comparing.{name}", offered, first)
    picks["reference"] = choices.pick(
        "comparing.reference", _levels(made, shift.metals_of(made)[0])
    )
    formulas = [(sign, name) for name, sign in compare.SIGNS.items()]
    picks["formula"] = choices.pick("comparing.formula", formulas, "dE00")
    figures = choices.options("comparing.", _FIGURES)
    picks["picture"] = choices.pick("comparing.picture", figures)
    picks["method"] = choices.read_by(bench.every.methods)
    return picks


def _steps(made: pd.DataFrame) -> list[tuple[str, str]]:
    """Steps that can vary: each metal of the book, several together, mordant, tannin."""
    metals = shift.metals_of(made)
    together = ["metals"] if len(metals) > 1 else []
    rest = [n for n in shift.VARIES if n in made and n not in shift.METALS]
    named = [(metal, metal) for metal in metals]
    return named + [(words.say(f"comparing.step_{n}"), n) for n in [*together, *rest]]


def _told_most(made: pd.DataFrame) -> str:
    """The dye whose recipes are most: one at a time tells more than all in one picture."""
    dyes = made.loc[made["dye"] != "none", "dye"]
    return str(dyes.value_counts().index[0]) if len(dyes) else ALL


def _offered(made: pd.DataFrame, name: str) -> list[tuple[str, str]]:
    names = ("dye", "tannin", "mordant")
    treated = (made[[n for n in names if n in made]] != "none").any(axis=1) | (
        made[list(shift.METALS.values())] > 0
    ).any(axis=1)
    found = list(dict.fromkeys(made.loc[treated, name]))
    return [(words.say("comparing.all"), ALL), *((one, one) for one in found)]


def _levels(made: pd.DataFrame, what: str) -> list[str]:
    """References to choose from: none first, then materials, then doses."""
    worded = list(shift.level(made, what))
    names = list(made[what]) if what in made else []
    return list(dict.fromkeys(["none", *names, *worded]))


def _fit(bench: colours.Source, widgets: dict[str, Any]) -> None:
    """Offer the references of the step that varies; a step that varies can't be held."""
    what = widgets["what"].value
    choices.set_options(widgets["reference"], _levels(bench.every.made, what))
    for name in _HELD:
        widgets[name].disabled = name == what


def _show(
    bench: colours.Source,
    what: str,
    reference: str,
    formula: str,
    picture: str,
    method: str,
    **held: str,
) -> frame.Shown:
    fixed = _fixed(what, held)
    found = _found(bench, what, reference, formula, method=method, **held)
    recipes = found.recipes
    if picture == "lamps":
        return _lamps(bench, found, formula)
    figure, said = _picture(bench.book.spectra, found, picture, what, fixed, formula)
    sentence = _sentence(found.pairs, what, reference, formula)
    return frame.Shown(
        f"{sentence} {said}".strip(),
        figure,
        _first(_table(found.pairs, formula), formula),
        _chips(bench, recipes.made, found.pairs, formula),
        [
            *_notes(found.pairs),
            *_together(recipes, what, fixed),
            *choices.method_notes(found.pairs.get("method", ()), bench.every.methods),
        ],
        numbers=_table(found.pairs, formula),
    )


def _first(numbers: pd.DataFrame, formula: str) -> pd.DataFrame:
    """The columns that answer, the ones a screen has room for; all of them are saved."""
    ends = [formula, f"{formula}_low", f"{formula}_high"]
    more = ["more_swatches"] if (numbers["more_swatches"] > 0).any() else []
    return numbers[["recipe", "verdict", "moved", *ends, *more]]


def _fixed(what: str, held: dict[str, str]) -> dict[str, str]:
    return {name: value for name, value in held.items() if value != ALL and name != what}


def _found(
    bench: colours.Source,
    what: str,
    reference: str,
    formula: str,
    *,
    method: str,
    picture: str = "",
    **held: str,
) -> shift.Shift:
    recipes = bench.by(method)
    hold = _fixed(what, held)
    return shift.of_step(recipes, what, reference=reference, formula=formula, hold=hold)


def _sentence(pairs: pd.DataFrame, what: str, reference: str, formula: str) -> str:
    if len(pairs) == 1:
        return str(pairs["words"].iloc[0])
    mean = shift.mean_shift(pairs).iloc[0]
    furthest = shift.rank(pairs, formula=formula).iloc[0]
    counts = pairs["verdict"].value_counts()
    base = "without" if reference == "none" else "with"
    return words.say(
        "comparing.answer",
        what=what if what in shift.METALS else words.say(f"comparing.step_{what}"),
        reference=words.say(f"comparing.{base}", reference=reference),
        pairs=len(pairs),
        moved=mean["moved"],
        sign=compare.SIGNS[formula],
        low=f"{pairs[formula].min():.1f}",
        high=f"{pairs[formula].max():.1f}",
        furthest=furthest["recipe"],
        **{code: int(counts.get(code, 0)) for code in _VERDICTS},
    )


def _table(pairs: pd.DataFrame, formula: str) -> pd.DataFrame:
    names = ["recipe", formula, f"{formula}_low", f"{formula}_high", "noise_floor", "verdict"]
    names += ["more_swatches", "moved", "dL", "da", "db", "dC", "dH", "pieces"]
    order = np.argsort(-pairs[formula].to_numpy(), kind="stable")
    ways = shift.rank(pairs, formula=formula)[["saddening", "warming", "greening"]]
    shown = compare.readable(pairs.iloc[order])[names]
    return pd.concat([shown.reset_index(drop=True), ways], axis=1)


def _chips(
    bench: colours.Source, made: pd.DataFrame, pairs: pd.DataFrame, formula: str
) -> list[list[frame.Chip]]:
    """The furthest pairs, edge to edge, with the cloth itself where a photo has it."""
    far = pairs.iloc[np.argsort(-pairs[formula].to_numpy(), kind="stable")[:_SHOWN]]
    sides = []
    for row, label, note in (("from_row", None, "reference"), ("to_row", "level", "recipe")):
        cloths = made.iloc[far[row].astype(int)]
        said = far[label].astype(str) if label else [words.say("comparing.before")] * len(far)
        rows = cloths.to_dict("records")
        parts = zip(rows, said, far[note].astype(str), bench.cloth(rows), strict=True)
        sides.append([replace(frame.Chip.of(c, s, n), crop=crop) for c, s, n, crop in parts])
    return [list(pair) for pair in zip(*sides, strict=True)]


def _notes(pairs: pd.DataFrame) -> list[str]:
    notes = [words.say("comparing.single")] if (pairs["pots"] < 2).any() else []
    notes += [words.say("comparing.assumed")] if pairs["assumed"].any() else []
    if len(pairs) > 1:
        notes.append(words.say("comparing.many", number=len(pairs)))
        mean = shift.mean_shift(pairs).iloc[0]
        values = {name: f"{mean[name]:.1f}" for name in mean.index if name.startswith("d")}
        notes.append(words.say("comparing.mean", pairs=len(pairs), **values))
    return [*notes, words.say("comparing.floor"), words.say("comparing.marks")]


def _together(recipes: shift.Recipes, what: str, held: dict[str, str]) -> list[str]:
    """What iron and copper did together beyond the sum of each, where both were dyed."""
    if what not in shift.METALS:
        return []
    both = shift.interaction(recipes)
    keep = np.ones(len(both), bool)
    for name, value in held.items():
        keep &= (both[name] == value).to_numpy() if name in both else False
    return list(both[keep].head(3)["words"]) if len(both) else []


def _picture(
    spectra: pd.DataFrame | None,
    found: shift.Shift,
    picture: str,
    what: str,
    held: dict[str, str],
    formula: str,
) -> tuple[go.Figure | None, str]:
    """The figure asked for, and what it adds to the answer."""
    made = found.recipes.made
    if picture == "multiples":
        return drawn.multiples(found.pairs, made), ""
    if picture == "dose":
        if what not in shift.METALS:
            raise InputError(words.say("comparing.no_dose"))
        curve = _curve(found.recipes, what, held, formula)
        return drawn.dose(curve), curve.sentence
    if picture == "spectra":
        return _spectra(spectra, found, formula)
    if picture == "family":
        return _family(made, held), ""
    return drawn.vectors(found.pairs, made), ""


def _curve(
    recipes: shift.Recipes, what: str, held: dict[str, str], formula: str
) -> shift.DoseCurve:
    """The dose curve; where the doses are too few for one, they themselves and what it needs."""
    try:
        return shift.dose_curve(recipes, what, hold=dict(held), formula=formula)
    except InputError as needs:
        tried = shift.tried_doses(recipes, what, hold=dict(held), formula=formula)
        return replace(tried, sentence=words.say("comparing.tried", needs=needs))


def _spectra(
    spectra: pd.DataFrame | None, found: shift.Shift, formula: str
) -> tuple[go.Figure, str]:
    """K/S of the pair that moved furthest; weaker or duller is said in words."""
    pairs = found.pairs
    best = pairs.iloc[int(np.argmax(pairs[formula].to_numpy()))]
    ends = int(best["from_row"]), int(best["to_row"])
    read = spectra is not None and len(spectra)
    depth = shift.depth_of(found.recipes, *ends, spectra) if read else None
    if depth is None:
        raise InputError(words.say("comparing.no_spectra", recipe=best["recipe"]))
    curves = depth.wavelengths, depth.reference, depth.sample
    names = str(best["reference"]), str(best["recipe"])
    return drawn.spectra(*curves, names=names), depth.sentence


def _lamps(bench: colours.Source, found: shift.Shift, formula: str) -> frame.Shown:
    """Each pair under several lights: the furthest as chips, all of them as numbers."""
    pairs = found.pairs.iloc[np.argsort(-found.pairs[formula].to_numpy(), kind="stable")]
    rows = list(zip(pairs["from_row"].astype(int), pairs["to_row"].astype(int), strict=True))
    seen = shift.under_lamps(found.recipes, rows, bench.book.spectra)
    first = seen[seen["pair"] == seen["pair"].min()]
    named = pairs["recipe"].to_numpy()[seen["pair"]]
    table = seen.assign(recipe=named).pivot(index=["pair", "recipe"], columns="lamp", values="dE00")
    table.columns = [words.say(f"lamps.{lamp}") for lamp in table.columns]
    notes = [_metamers(seen, pairs["recipe"].to_numpy()), words.say("lamps.about")]
    notes += choices.method_notes(pairs.get("method", ()), bench.every.methods)
    said = f"{first['pair'].map(lambda i: pairs['recipe'].iloc[i]).iloc[0]}: "
    chips = [_lit(row) for row in first.to_dict("records")]
    shown = table.reset_index().drop(columns="pair").round(1)
    return frame.Shown(said + shift.lamps_sentence(first), None, shown, chips, notes)


def _lit(row: dict[Any, Any]) -> list[frame.Chip]:
    """A pair under one light, edge to edge."""
    lamp = words.say(f"lamps.{row['lamp']}")
    told = (words.say("comparing.before"), f"ΔE00 {row['dE00']:.1f}")
    under = {**row, "illuminant": row["lamp"]}
    return [frame.Chip.of(under, text, lamp, ending=f"_{i}") for i, text in enumerate(told, 1)]


def _metamers(seen: pd.DataFrame, names: np.ndarray) -> str:
    """Which pairs are alike in daylight and apart under a lamp."""
    wide = seen.pivot(index="pair", columns="lamp", values="dE00")
    here = wide[shift.LAMPS[0]] <= shift.ALIKE
    found = wide.index[here & (wide.max(axis=1) >= shift.APART)]
    if not len(found):
        return words.say("lamps.none_found")
    return words.say("lamps.found", pairs="; ".join(str(names[i]) for i in found[:6]))


def _family(made: pd.DataFrame, held: dict[str, str]) -> go.Figure:
    if "dye" not in held:
        raise InputError(words.say("comparing.pick_dye"))
    keep = np.ones(len(made), bool)
    if "method" in made:  # one tree, one way of reading: the one that has read most of it
        keep &= (made["method"] == made["method"].value_counts().idxmax()).to_numpy()
    for name, value in held.items():
        if name in ("dye", "fibre"):
            keep &= (made[name] == value).to_numpy()
    part = made[keep].reset_index(drop=True)
    labels = shift.label(part, ("dye",))
    return drawn.family(part, labels=[label or words.say("comparing.plain") for label in labels])
