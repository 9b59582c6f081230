"""Untried recipes: see a colour, find a recipe, choose the next swatches, see the whole reach."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import ipywidgets as widgets
import numpy as np
import pandas as pd

from dyelab import convert, plan, predict, table, words
from dyelab.errors import InputError
from dyelab.panel import choices, frame, markup, shelf
from dyelab.plot import explore as drawn
from dyelab.plot import plane, style

_TASKS = ("recipe", "find", "next", "reach")
_DOSED = {"dye": "dye_wof", "tannin": "tannin_wof", "mordant": "mordant_wof"}
_METALS = ("iron_wof", "copper_wof")
_OTHER_LIGHT = ("A", 10)  # lamplight
_SIZE = 60_000  # candidates: plenty for a search, quick to predict
_OFFERED = {
    "recipe": {"fibre", *_DOSED, *_DOSED.values(), *_METALS, "fibre_g"},
    "find": {"fibre", "wanted", "tolerance", "most_iron", "no_copper", "fibre_g"},
    "next": {"fibre", "wanted", "most_iron", "no_copper", "many"},
    "reach": {"fibre"},
}
_FOUND = ["recipe", "tried", "L", "a", "b", "dE00", "chance", "extrapolates", "leans_on"]


@dataclass(frozen=True)
class _Bench:
    """A book's model, fitted once, and what was searched before."""

    made: pd.DataFrame
    model: predict.Model
    spans: tuple[float, float, float, float]
    kept: dict[Any, Any] = field(default_factory=dict)

    def reach(self, limits: predict.Limits) -> predict.Reach:
        """Candidates within limits, predicted once."""
        key = (str(dict(limits.hold)), str(dict(limits.most)), limits.without)
        if key not in self.kept:
            self.kept[key] = predict.reach(self.model, limits, size=_SIZE)
        return self.kept[key]


class Explorer(frame.Panel):
    """The panel, with the buttons that take a recipe further."""

    def __init__(self, book: Any = None) -> None:
        title = words.say("exploring.title")
        super().__init__("explore", title, _choose, _show, refresh=_fit, prepare=_bench, book=book)
        self.told = widgets.HTML()
        self.told.add_class("dl-saved")
        line = widgets.HBox(
            [_button("exploring.take", self._first), _button("exploring.put", self._put)]
        )
        line.add_class("dl-save")
        self.children: tuple[Any, ...] = (*self.children, line, self.told)

    def _first(self) -> None:
        self._tell(self._take_first)

    def _take_first(self) -> str:
        """Set the sliders to the first recipe listed."""
        rows = _recipes(self._ready, self.values)
        if self.values["task"] not in ("find", "next") or rows.empty:
            raise InputError(words.say("exploring.nothing_found"))
        best, self._quiet = rows.iloc[0], True
        try:
            for name in ("fibre", *_DOSED):
                self.choices[name].value = best[name]
            self._fit()
            for name in (*_DOSED.values(), *_METALS):
                self.choices[name].value = float(best[name])
            self.choices["task"].value = "recipe"
        finally:
            self._quiet = False
        self._guard(self._fit)
        self.update()
        return ""

    def _put(self) -> None:
        self._tell(self._into)

    def _into(self) -> str:
        from dyelab import book as books

        rows = _recipes(self._ready, self.values)
        if rows.empty:
            raise InputError(words.say("exploring.nothing_to_plan"))
        if Path(self.book.path).resolve() == shelf.example().resolve():
            put = words.say("exploring.put")
            raise InputError(words.say("exploring.example_kept", put=put))
        name = words.say("exploring.series")
        planned = plan.of_recipes(rows, name=name, keep=self.book)
        saved = books.save(plan.into(self.book, planned), name)
        self.book = saved
        told = {"swatches": str(len(planned.swatches)), "book": saved.title, "name": name}
        return words.say("exploring.put_in", **told)

    def _tell(self, work: Callable[[], str]) -> None:
        try:
            self.told.value = markup.sentence(work())
        except InputError as refusal:
            self.told.value = markup.notice(str(refusal))


def panel(book: Any = None) -> Explorer:
    """Move the doses of a recipe nobody has dyed yet; see the colours it may give.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the example.
    """
    return Explorer(book)


def _button(key: str, work: Callable[[], None]) -> widgets.Button:
    button = widgets.Button(description=words.say(key))
    button.add_class("dl-button")
    button.on_click(lambda _: work())
    return button


def _bench(book: Any) -> _Bench:
    from dyelab import book as books

    model = predict.fit(books.wide(book), spectra=book.spectra)
    made = style.painted(model.made)
    return _Bench(made, model, plane.around(made))


def _choose(bench: _Bench) -> dict[str, Any]:
    say = words.say
    tasks = [(say(f"exploring.task_{name}"), name) for name in _TASKS]
    dyed = bench.made[bench.made["dye"] != "none"]
    picks: dict[str, Any] = {"task": choices.pick(say("exploring.task"), tasks)}
    fibres = list((dyed if len(dyed) else bench.made)["fibre"].value_counts().index)
    picks["fibre"] = choices.pick(say("exploring.fibre"), fibres)
    for name, dose in _DOSED.items():
        kinds = list(bench.model.levels[name])
        usual = dyed[name].mode().iloc[0] if len(dyed) else kinds[0]
        picks[name] = choices.pick(say(f"exploring.{name}"), kinds, usual)
        picks[dose] = _dose(bench, dose, usual)
    for dose in _METALS:
        picks[dose] = _dose(bench, dose, dose.removesuffix("_wof"))
    return {**picks, **_search(bench)}


def _search(bench: _Bench) -> dict[str, Any]:
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


def _range(bench: _Bench, dose: str, material: str) -> tuple[float, float]:
    """Usual dose of a material, and how far its slider goes: a little past what was dyed."""
    name = dose.removesuffix("_wof")
    step = next((s for s in bench.model.steps if s.name == name), None)
    if step is None or material not in step.materials:
        return 0.0, 0.0
    i = step.materials.index(material)
    return float(step.usual[i]), float(1.25 * step.top[i])


def _dose(bench: _Bench, dose: str, material: str) -> Any:
    usual, high = _range(bench, dose, material)
    start = 0.0 if dose in _METALS else usual
    unit = words.say("exploring.unit")
    named = words.say(f"exploring.{dose}")
    return choices.amount(named, 0, max(high, 0.1), start, step=_step(high), unit=unit)


def _step(high: float) -> float:
    return 0.1 if high <= 10 else 0.5 if high <= 30 else 1.0


def _fit(bench: _Bench, made: dict[str, Any]) -> None:
    """Show what the task needs; give each dose the range of its material."""
    for name, widget in made.items():
        shown = name == "task" or name in _OFFERED[made["task"].value]
        if name in _DOSED.values():
            shown = shown and made[name.removesuffix("_wof")].value != "none"
        if name in _METALS:
            shown = shown and name.removesuffix("_wof") in bench.model.levels[name[:-4]]
        widget.layout.display = "" if shown else "none"
    for name, dose in _DOSED.items():
        usual, high = _range(bench, dose, made[name].value)
        if high and made[dose].max != high:
            made[dose].max, made[dose].step, made[dose].value = high, _step(high), usual


def _limits(values: dict[str, Any]) -> predict.Limits:
    most = {"iron_wof": float(values["most_iron"])}
    without = ("copper",) if values["no_copper"] else ()
    return predict.Limits({"fibre": values["fibre"]}, most, without)


def _asked(values: dict[str, Any]) -> pd.DataFrame:
    row: dict[str, Any] = {name: values[name] for name in ("fibre", *_DOSED)}
    row |= {name: float(values[name]) for name in (*_DOSED.values(), *_METALS)}
    for name, dose in _DOSED.items():
        if row[name] == "none":
            row[dose] = 0.0
    return pd.DataFrame([row])


def _recipes(bench: _Bench, values: dict[str, Any]) -> pd.DataFrame:
    """Recipes now on show, for a plan."""
    task = values["task"]
    if task == "recipe":
        return _asked(values)
    if task == "find" and values["wanted"].strip():
        return _found(bench, values).ranked.head(1)
    return _next(bench, values) if task == "next" else pd.DataFrame()


def _found(bench: _Bench, values: dict[str, Any]) -> predict.Found:
    limits = _limits(values)
    return predict.find(
        bench.model,
        values["wanted"],
        tolerance=float(values["tolerance"]),
        hold=limits.hold,
        most=limits.most,
        without=limits.without,
        within=bench.reach(limits),
    )


def _next(bench: _Bench, values: dict[str, Any]) -> pd.DataFrame:
    limits, wanted = _limits(values), values["wanted"].strip() or None
    key = ("next", int(values["many"]), wanted, str(limits))
    if key not in bench.kept:
        bench.kept[key] = predict.next_swatches(
            bench.model,
            int(values["many"]),
            around=wanted,
            hold=limits.hold,
            most=limits.most,
            without=limits.without,
        )
    return bench.kept[key]


def _show(bench: _Bench, task: str, **values: Any) -> frame.Shown:
    shows = {"recipe": _show_recipe, "find": _show_find, "next": _show_next, "reach": _show_reach}
    return shows[task](bench, {"task": task, **values})


def _show_recipe(bench: _Bench, values: dict[str, Any]) -> frame.Shown:
    said = bench.model.colour(_asked(values))
    row = said.iloc[0]
    figure = drawn.landing(bench.made, said, _plausible(bench, said), spans=bench.spans)
    weighed = predict.weigh_out(dict(row), float(values["fibre_g"]))
    chips = [_chips(bench, said), [_nearest(bench, said)]]
    return frame.Shown(_told(bench, said), figure, weighed, chips, _notes(bench, row))


def _told(bench: _Bench, said: pd.DataFrame) -> str:
    row = said.iloc[0]
    swatches = predict.draws(bench.model, *_middle(said))[0]
    lab = said[table.LAB].to_numpy(float)
    away = convert.dE00(np.broadcast_to(lab, swatches.shape), swatches)
    numbers = {name: f"{row[name]:.1f}".replace("-", "−") for name in table.LAB}
    near = f"{np.quantile(away, 0.9):.1f}"
    text = words.say(
        "exploring.said", recipe=row["recipe"], near=near, leans=row["leans_on"], **numbers
    )
    if row["extrapolates"]:
        text += " " + words.say("exploring.guess", why=row["extrapolates"])
    return text


def _middle(said: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    return said[table.LAB].to_numpy(float), table.covariances(said)


def _plausible(bench: _Bench, said: pd.DataFrame) -> list[str]:
    swatches = predict.draws(bench.model, *_middle(said.head(1)), drawn.PATCH)[0]
    illuminant, observer = bench.model.white
    swatches[:, 0] = np.clip(swatches[:, 0], 0, 100)
    return list(convert.screen(swatches, illuminant=illuminant, observer=observer)[0])


def _notes(bench: _Bench, row: Any) -> list[str]:
    left = bench.model.left_out
    trust = words.say(
        "exploring.trust",
        recipes=len(left),
        error=f"{bench.model.error:.1f}",
        error_90=f"{left['dE00'].quantile(0.9):.1f}",
        inside=f"{100 * left['inside'].mean():.0f}",
    )
    notes = [trust, *bench.model.notes]
    metals = row is not None and (row["iron_wof"] > 0 or row["copper_wof"] > 0)
    return [*notes, words.say("exploring.cautions")] if metals else notes


def _chip(row: Any, label: str, note: str = "") -> frame.Chip:
    lab = tuple(float(row[name]) for name in table.LAB)
    return frame.Chip(label, lab, note, str(row["illuminant"]), int(row["observer"]))  # type: ignore[arg-type]


def _chips(bench: _Bench, said: pd.DataFrame) -> list[frame.Chip]:
    """Return the predicted colour under the book's light and by lamplight."""
    illuminant, observer = _OTHER_LIGHT
    here = said.iloc[0]
    seen = bench.model.basis.lab(bench.model.spread(said.head(1))[0], _OTHER_LIGHT)[0]
    other = {**dict(zip(table.LAB, seen, strict=True)), "illuminant": illuminant}
    other["observer"] = observer
    note = "" if bench.model.spectral else words.say("exploring.adapted")
    own = words.say("exploring.chip_other", illuminant=f"{here['illuminant']}")
    lamp = words.say("exploring.chip_other", illuminant=illuminant)
    return [_chip(here, own), _chip(other, lamp, note)]


def _nearest(bench: _Bench, said: pd.DataFrame) -> frame.Chip:
    lab = bench.made[table.LAB].to_numpy(float)
    target = np.broadcast_to(said[table.LAB].to_numpy(float)[0], lab.shape)
    row = bench.made.iloc[int(convert.dE00(target, lab).argmin())]
    return _chip(row, words.say("exploring.chip_nearest"), str(row["recipe"]))


def _wanted(bench: _Bench, lab: np.ndarray) -> pd.DataFrame:
    illuminant, observer = bench.model.white
    row = dict(zip(table.LAB, lab, strict=True))
    named = words.say("exploring.wanted")
    return pd.DataFrame([{**row, "illuminant": illuminant, "observer": observer, "swatch": named}])


def _show_find(bench: _Bench, values: dict[str, Any]) -> frame.Shown:
    if not values["wanted"].strip():
        raise InputError(words.say("exploring.first_colour"))
    found = _found(bench, values)
    wanted = _wanted(bench, found.wanted)
    first = found.ranked.head(1)
    figure = drawn.landing(
        bench.made, first, _plausible(bench, first), wanted=wanted, spans=bench.spans
    )
    rows = found.ranked[_FOUND].assign(chance=(100 * found.ranked["chance"]).round())
    pair = [_chip(wanted.iloc[0], words.say("exploring.chip_wanted"))]
    pair.append(_chip(first.iloc[0], words.say("exploring.chip"), str(first.iloc[0]["recipe"])))
    notes = [_weighed(first.iloc[0], values), words.say("exploring.photo_note")]
    notes += _notes(bench, first.iloc[0])
    return frame.Shown(found.sentence, figure, rows, [pair], notes)


def _weighed(row: Any, values: dict[str, Any]) -> str:
    fibre_g = float(values["fibre_g"])
    lines = [
        f"{line.material} {line.grams:.3g} g"
        for line in predict.weigh_out(dict(row), fibre_g).itertuples()
    ]
    return words.say("exploring.weigh", fibre_g=f"{fibre_g:g}", lines=", ".join(lines))


def _show_next(bench: _Bench, values: dict[str, Any]) -> frame.Shown:
    offered = _next(bench, values)
    where = "colour" if values["wanted"].strip() else "all"
    sentence = words.say(
        "exploring.next",
        many=len(offered),
        where=words.say(f"exploring.where_{where}"),
        before=f"{offered['u_before'].iloc[0]:.1f}",
        after=f"{offered['u_after'].iloc[-1]:.1f}",
    )
    said = bench.model.colour(offered)
    figure = drawn.landing(bench.made, said, [], spans=bench.spans)
    rows = offered[["recipe", "L", "a", "b", "u_before", "u_after"]]
    metals = offered[list(_METALS)].max()
    return frame.Shown(sentence, figure, rows, (), _notes(bench, metals))


def _show_reach(bench: _Bench, values: dict[str, Any]) -> frame.Shown:
    if "gamut" not in bench.kept:
        bench.kept["gamut"] = (
            predict.gamut(bench.model, by=["fibre"]),
            predict.gamut(bench.model, by=["fibre", "mordant"]),
        )
    whole, parts = bench.kept["gamut"]
    fibre = values["fibre"]
    row = whole.counts.set_index("group").loc[fibre]
    sentence = words.say(
        "exploring.reach",
        group=fibre,
        without=int(row["without"]),
        iron=int(row["iron_adds"]),
        copper=int(row["copper_adds"]),
    )
    outlines = whole.outlines[whole.outlines["group"] == fibre]
    mine = bench.made[bench.made["fibre"] == fibre]
    figure = drawn.gamut(outlines, mine)
    notes = [words.say("exploring.reach_note"), *_notes(bench, None)]
    return frame.Shown(sentence, figure, parts.counts, (), notes)
