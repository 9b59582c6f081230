"""Compare variants: what one step did, to which cloths, and whether it is more than noise."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from dyelab import compare, plan, shift, words
from dyelab.errors import InputError
from dyelab.handout import colours
from dyelab.handout.page import cell
from dyelab.panel import book_choice, choices, frame
from dyelab.plot import shift as drawn

ALL = ""
_HELD = ("fibre", "dye", "tannin", "mordant")
_FIGURES = ("vectors", "multiples", "dose", "spectra", "family", "lamps")
_VERDICTS = (compare.REAL, compare.CHANCE, compare.CANNOT_TELL)
_SHOWN = 4  # chips of at most so many pairs


def panel(book: frame.BookChoice = None) -> frame.Panel:
    """Pick what varies, what to hold, the reference and the formula; read what it did.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the last one, else the example.
    """
    return frame.Panel(
        *("compare", "comparing.title", _choose, _show),
        refresh=_fit,
        prepare=book_choice.source,
        actions={"comparing.one_pot": _one_pot},
        seldom=("reference", "formula", "method"),
        book=book,
    )


def _one_pot(panel: frame.Panel) -> str:
    """Record that the swatches of each recipe shown shared a pot, and judge anew."""
    own = panel.own("comparing.example_kept", put=words.say("comparing.one_pot"))
    one = _ask(panel.ready, **panel.values)
    made = one.found.recipes.made["swatch"]
    ends = sorted({*one.pairs["from_row"], *one.pairs["to_row"]})
    named = plan.one_pot(own, [made.iloc[row].split(", ") for row in ends])
    panel.save_book(named, words.say("comparing.one_pot"))
    return words.say("comparing.shared", recipes=len(ends))


def _choose(bench: colours.Source) -> dict[str, Any]:
    made = bench.every.made
    picks = {"what": choices.pick("comparing.what", _steps(made))}
    for name in _HELD:
        offered = _offer(made, name)
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


def _offer(made: pd.DataFrame, name: str) -> list[tuple[str, str]]:
    names = ("dye", "tannin", "mordant")
    treated = (made[[n for n in names if n in made]] != "none").any(axis=1)
    treated |= shift.with_metal(made)
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


@dataclass(frozen=True)
class _Asked:
    """What was chosen, and the pairs that it gives."""

    what: str
    reference: str
    formula: str
    hold: dict[str, str]
    found: shift.Shift

    @property
    def pairs(self) -> pd.DataFrame:
        return self.found.pairs

    @property
    def furthest(self) -> pd.DataFrame:
        """The pairs, the furthest apart first."""
        return self.pairs.iloc[np.argsort(-self.pairs[self.formula].to_numpy(), kind="stable")]


def _ask(
    bench: colours.Source, what: str, reference: str, formula: str, method: str, **held: str
) -> _Asked:
    hold = {name: held[name] for name in _HELD if held[name] != ALL and name != what}
    given: Any = {"reference": reference, "formula": formula}
    found = shift.of_step(bench.by(method), what, hold=hold, **given)
    return _Asked(what, **given, hold=hold, found=found)


def _show(bench: colours.Source, picture: str, **chosen: str) -> frame.Answer:
    one = _ask(bench, **chosen)
    read_by = choices.method_notes(one.pairs.get("method", ()), bench.every.methods)
    if picture == "lamps":
        return _lamps(bench, one, read_by)
    figure, said = _picture(bench, one, picture)
    numbers = _table(one)
    return frame.Answer(
        f"{_sentence(one)} {said}".strip(),
        figure,
        _first(numbers, one.formula),
        _chips(bench, one),
        [*_notes(one.pairs), *_together(one), *read_by],
        numbers=numbers,
    )


def _first(numbers: pd.DataFrame, formula: str) -> pd.DataFrame:
    """The columns that answer, the ones a screen has room for; all of them are saved."""
    ends = [formula, f"{formula}_low", f"{formula}_high"]
    more = ["more_swatches"] if (numbers["more_swatches"] > 0).any() else []
    return numbers[["recipe", "verdict", "moved", *ends, *more]].dropna(axis=1, how="all").round(1)


def _sentence(one: _Asked) -> str:
    pairs, what, formula = one.pairs, one.what, one.formula
    if len(pairs) == 1:
        return str(pairs["words"].iloc[0])
    mean = shift.mean_shift(pairs).iloc[0]
    furthest = shift.rank(pairs, formula=formula).iloc[0]
    counts = pairs["verdict"].value_counts()
    base = "without" if one.reference == "none" else "with"
    return words.say(
        "comparing.answer",
        what=what if what in shift.METALS else words.say(f"comparing.step_{what}"),
        reference=words.say(f"comparing.{base}", reference=one.reference),
        pairs=len(pairs),
        moved=mean["moved"],
        sign=compare.SIGNS[formula],
        low=f"{pairs[formula].min():.1f}",
        high=f"{pairs[formula].max():.1f}",
        furthest=furthest["recipe"],
        hanging=compare.caveats_in_words(pairs),
        **{code: int(counts.get(code, 0)) for code in _VERDICTS},
    )


def _table(one: _Asked) -> pd.DataFrame:
    formula = one.formula
    names = ["recipe", formula, f"{formula}_low", f"{formula}_high", "noise_floor", "verdict"]
    names += ["more_swatches", "moved", "dL", "da", "db", "dC", "dH", "pieces"]
    ways = shift.rank(one.pairs, formula=formula)[["saddening", "warming", "greening"]]
    shown = compare.readable(one.furthest)[names]
    return pd.concat([shown.reset_index(drop=True), ways], axis=1)


def _chips(bench: colours.Source, one: _Asked) -> list[list[frame.Chip]]:
    """The furthest pairs, edge to edge, with the cloth itself where a photo has it."""
    far, made = one.furthest.head(_SHOWN), one.found.recipes.made
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
        told = int(pairs["comparisons"].iloc[0])  # those that can't be told count for nothing
        notes += [words.say("comparing.many", number=told)] if told > 1 else []
        mean = shift.mean_shift(pairs).iloc[0]
        values = {name: cell(mean[name]) for name in mean.index if name.startswith("d")}
        notes.append(words.say("comparing.mean", pairs=len(pairs), **values))
    return [*notes, words.say("comparing.floor"), words.say("comparing.marks")]


def _together(one: _Asked) -> list[str]:
    """What two metals did together beyond the sum of each, where both were dyed."""
    if one.what not in shift.METALS:
        return []
    both = shift.interaction(one.found.recipes)
    keep = np.ones(len(both), bool)
    for name, value in one.hold.items():
        keep &= (both[name] == value).to_numpy() if name in both else False
    return list(both[keep].head(3)["words"]) if len(both) else []


def _picture(bench: colours.Source, one: _Asked, picture: str) -> tuple[go.Figure | None, str]:
    """The figure asked for, and what it adds to the answer."""
    made = one.found.recipes.made
    if picture == "multiples":
        return drawn.multiples(one.pairs, made), ""
    if picture == "dose":
        if one.what not in shift.METALS:
            metals = ", ".join(shift.metals_of(bench.every.made))
            raise InputError(words.say("comparing.no_dose", metals=metals))
        curve = _curve(one)
        return drawn.dose(curve), curve.sentence
    if picture == "spectra":
        return _spectra(bench.book.spectra, one)
    if picture == "family":
        return _family(made, one.hold), ""
    return drawn.vectors(one.pairs, made), ""


def _curve(one: _Asked) -> shift.DoseCurve:
    """The dose curve; where the doses are too few for one, they themselves and what it needs."""
    given: Any = {"hold": one.hold, "formula": one.formula}
    try:
        return shift.dose_curve(one.found.recipes, one.what, **given)
    except InputError as needs:
        tried = shift.tried_doses(one.found.recipes, one.what, **given)
        return replace(tried, sentence=words.say("comparing.tried", needs=needs))


def _spectra(spectra: pd.DataFrame | None, one: _Asked) -> tuple[go.Figure, str]:
    """K/S of the pair that moved furthest; weaker or duller is said in words."""
    best = one.furthest.iloc[0]
    ends = int(best["from_row"]), int(best["to_row"])
    read = spectra is not None and len(spectra)
    depth = shift.depth_of(one.found.recipes, *ends, spectra) if read else None
    if depth is None:
        raise InputError(words.say("comparing.no_spectra", recipe=best["recipe"]))
    curves = depth.wavelengths, depth.reference, depth.sample
    names = words.say("comparing.before"), str(best["level"])
    return drawn.spectra(*curves, names=names), depth.sentence


def _lamps(bench: colours.Source, one: _Asked, read_by: list[str]) -> frame.Answer:
    """Each pair under several lights: the furthest as chips, all of them as numbers."""
    pairs = one.furthest
    rows = list(zip(pairs["from_row"].astype(int), pairs["to_row"].astype(int), strict=True))
    seen = shift.under_lamps(one.found.recipes, rows, bench.book.spectra)
    first = seen[seen["pair"] == seen["pair"].min()]
    named = pairs["recipe"].to_numpy()[seen["pair"]]
    table = seen.assign(recipe=named).pivot(index=["pair", "recipe"], columns="lamp", values="dE00")
    table.columns = [words.say(f"lamps.{lamp}") for lamp in table.columns]
    notes = [_metamers(seen, pairs["recipe"].to_numpy()), words.say("lamps.about"), *read_by]
    said = f"{first['pair'].map(lambda i: pairs['recipe'].iloc[i]).iloc[0]}: "
    chips = [_light_pair(row) for row in first.to_dict("records")]
    shown = table.reset_index().drop(columns="pair").round(1)
    return frame.Answer(said + shift.lamps_sentence(first), None, shown, chips, notes)


def _light_pair(row: dict[Any, Any]) -> list[frame.Chip]:
    """A pair under one light, edge to edge."""
    lamp = words.say(f"lamps.{row['lamp']}")
    told = (words.say("comparing.before"), f"ΔE00 {row['dE00']:.1f}")
    under = {**row, "illuminant": row["lamp"]}
    return [frame.Chip.of(under, text, lamp, ending=f"_{i}") for i, text in enumerate(told, 1)]


def _metamers(seen: pd.DataFrame, names: np.ndarray) -> str:
    """Which pairs are alike in daylight and apart under a lamp."""
    found = shift.metamers(seen)
    if not found:
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
    labels = [label or words.say("comparing.plain") for label in shift.recipe_names(part, ("dye",))]
    doses = map(shift.dose_text, part["dye"], part["dye_wof"])
    told = [  # two doses of the dye are two leaves
        f"{label}, {dose}" if labels.count(label) > 1 else label
        for label, dose in zip(labels, doses, strict=True)
    ]
    return drawn.family(part, labels=told)
