"""What the explorer shows for each task."""

from typing import Any

import numpy as np
import pandas as pd

from dyelab import convert, predict, recipe, shift, table, words
from dyelab.errors import InputError
from dyelab.handout.page import cell
from dyelab.panel import frame
from dyelab.panel.explore import offered, spot
from dyelab.panel.explore.bench import Bench
from dyelab.plot import explore as drawn

_FOUND = ["recipe", "tried", "L", "a", "b", "dE00", "chance", "extrapolates", "leans_on"]


def recipes(bench: Bench, values: dict[str, Any]) -> pd.DataFrame:
    """Recipes now on show, for a plan."""
    if bench.model is None:
        return bench.kept["next"]
    task = values["task"]
    if task == "recipe":
        return offered.slider_recipe(bench, values)
    if task == "find" and values["wanted"].strip():
        return _find(bench, values).ranked.head(1)
    return _next(bench, values) if task == "next" else pd.DataFrame()


def _find(bench: Bench, values: dict[str, Any]) -> predict.Matches:
    limits = offered.limits(values)
    return predict.find(
        bench.model,
        _aim(bench, values),
        tolerance=float(values["tolerance"]),
        within=bench.reach(limits),
        **vars(limits),
    )


def _aim(bench: Bench, values: dict[str, Any]) -> Any:
    """The wanted colour: the spot's reading as long as its numbers stand in the field."""
    aim = bench.kept.get("aim")
    return values["wanted"] if aim is None or spot.text(aim) != values["wanted"] else aim


def _next(bench: Bench, values: dict[str, Any]) -> pd.DataFrame:
    limits, wanted = offered.limits(values), values["wanted"].strip() or None
    key = ("next", int(values["many"]), wanted, str(limits))
    if key not in bench.kept:
        given = {"around": wanted, **vars(limits)}
        bench.kept[key] = predict.next_swatches(bench.model, int(values["many"]), **given)
    return bench.kept[key]


def show(bench: Bench, task: str = "", progress: Any = None, **values: Any) -> frame.Answer:
    """Answer the task chosen."""
    if bench.model is None:
        return _show_few(bench)
    if task == "spot":
        return spot.show(bench, values, progress)
    shows = {"recipe": _show_recipe, "find": _show_find, "next": _show_next, "reach": _show_reach}
    return shows[task](bench, {"task": task, **values})


def _show_few(bench: Bench) -> frame.Answer:
    """What was measured, and what to dye so that there is something to foretell from."""
    figure = drawn.measurements(bench.tried)
    sentence = words.say("exploring.few", why=bench.trust)
    next_ = bench.kept["next"]
    rows = next_ if len(next_) else bench.made
    printed = words.say("exploring.few_printed", title=words.say("printing.title"))
    notes = [printed] if bench.has_printed_areas else []
    return frame.Answer(sentence, figure, rows[["recipe"]], (), notes, care=_care(bench, next_))


def _show_recipe(bench: Bench, values: dict[str, Any]) -> frame.Answer:
    said = bench.model.colour(offered.slider_recipe(bench, values))
    row, swatches = said.iloc[0].to_dict(), _swatches(bench, said)
    figure = drawn.predictions(bench.tried, said, _plausible(bench, swatches))
    weighed = predict.weigh_out(row, float(values["fibre_g"]))
    near = predict.closest(bench.made, _lab(said)).iloc[0]
    nearest = frame.Chip.of(near, words.say("exploring.chip_nearest"), str(near["recipe"]))
    chips = [_chips(bench, said, row), [nearest]]
    notes = [*_notes(bench), *_other_lights(bench, said.head(1), bench.made)]
    care = _care(bench, said.head(1))
    return frame.Answer(_tell(said, swatches), figure, weighed, chips, notes, care=care)


def _tell(said: pd.DataFrame, swatches: np.ndarray) -> str:
    row = said.iloc[0]
    told = {name: cell(row[name]) for name in table.LAB}
    told |= {"recipe": row["recipe"], "leans": row["leans_on"]}
    near = predict.nine_in_ten(_lab(said), swatches)
    text = words.say("exploring.said", near=f"{near:.1f}", **told)
    if row["extrapolates"]:
        text += " " + words.say("exploring.guess", why=row["extrapolates"])
    return text


def _swatches(bench: Bench, said: pd.DataFrame) -> np.ndarray:
    """Colours that swatches of the first recipe may have, (n, 3)."""
    first = said.head(1)
    lab, C = first[table.LAB].to_numpy(float), table.covariances(first)
    return predict.simulate(bench.model, lab, C)[0]


def _plausible(bench: Bench, swatches: np.ndarray) -> list[str]:
    illuminant, observer = bench.model.white
    few = swatches[: drawn.PATCH].copy()
    few[:, 0] = np.clip(few[:, 0], 0, 100)
    return list(convert.screen(few, illuminant=illuminant, observer=observer)[0])


def _notes(bench: Bench) -> list[str]:
    return [bench.trust, *bench.model.notes]


def _care(bench: Bench, rows: pd.DataFrame) -> tuple[str, ...]:
    """Cautions of all that these recipes take."""
    used = [
        name
        for row in rows.to_dict("records")
        for name in recipe.materials_of(row | {"dye": "none"})
    ]
    dyes = zip(rows["dye"], rows["dye_wof"], strict=True)
    used += [part.material for dye, dose in dyes for part in predict.layers(dye, dose)]
    return recipe.cautions(used, bench.listed)


def _chips(bench: Bench, said: pd.DataFrame, here: dict[str, Any]) -> list[frame.Chip]:
    """Return the predicted colour under the book's light, and under lamps where spectra tell."""
    own = words.say("exploring.chip_other", illuminant=table.white_text(bench.model.white))
    lamps = [name for name in shift.LAMPS if name != here["illuminant"]]
    if not bench.model.spectral:
        return [frame.Chip.of(here, own)]
    under = (frame.Chip.of(_light(bench, said, name), _under(name)) for name in lamps)
    return [frame.Chip.of(here, own), *under]


def _light(bench: Bench, said: pd.DataFrame, lamp: str) -> pd.Series:
    """The first recipe's predicted colour under a lamp, as a row of a table."""
    observer = bench.model.white[1]
    (seen,), _ = bench.model.under(said.head(1), (lamp, observer))
    lab = dict(zip(table.LAB, seen, strict=True))
    return pd.Series({**lab, "illuminant": lamp, "observer": observer})


def _under(lamp: str) -> str:
    return words.say("exploring.chip_other", illuminant=words.say(f"lamps.{lamp}"))


def _other_lights(bench: Bench, said: pd.DataFrame, others: pd.DataFrame) -> list[str]:
    """How a recipe and the nearest of another dye, alike here, part under other lights."""
    if not bench.model.spectral:
        return [words.say("lamps.not_spectral")]
    others = others[~others["dye"].isin([said["dye"].iloc[0], "none"])]
    other = predict.closest(others, _lab(said), within=predict.SIDE_BY_SIDE)
    if other.empty:
        return []
    both = pd.concat([said.head(1), other], ignore_index=True)
    observer = bench.model.white[1]
    told = {lamp: bench.model.under(both, (lamp, observer)) for lamp in shift.LAMPS}
    seen, covariances = ({lamp: one[i] for lamp, one in told.items()} for i in range(2))
    beside = words.say("exploring.beside", recipe=other["recipe"].iloc[0])
    return [f"{beside} {shift.lamps_sentence(shift.differences_under(seen, covariances))}"]


def _lab(said: pd.DataFrame) -> np.ndarray:
    """Colour of the first recipe, (3,)."""
    return np.asarray(said[table.LAB].iloc[0], float)


def _want(bench: Bench, lab: np.ndarray) -> pd.DataFrame:
    illuminant, observer = bench.model.white
    row = dict(zip(table.LAB, lab, strict=True))
    named = words.say("exploring.wanted")
    return pd.DataFrame([{**row, "illuminant": illuminant, "observer": observer, "swatch": named}])


def _show_find(bench: Bench, values: dict[str, Any]) -> frame.Answer:
    if not values["wanted"].strip():
        raise InputError(words.say("exploring.first_colour"))
    found = _find(bench, values)
    wanted = _want(bench, found.wanted)
    first = found.ranked.head(1)
    plausible = _plausible(bench, _swatches(bench, first))
    figure = drawn.predictions(bench.tried, first, plausible, wanted=wanted)
    rows = found.ranked[_FOUND].assign(chance=(100 * found.ranked["chance"]).round())
    best = first.iloc[0]
    pair = [frame.Chip.of(wanted.iloc[0], words.say("exploring.chip_wanted"))]
    pair.append(frame.Chip.of(best, words.say("exploring.chip"), str(best["recipe"])))
    notes = [_weigh(best, values)]
    if not isinstance(_aim(bench, values), str):
        notes.append(words.say("exploring.spot_aim"))
    notes += [*_notes(bench), *_other_lights(bench, first, found.ranked)]
    seen, care = rows.drop(columns="leans_on"), _care(bench, first)
    return frame.Answer(found.sentence, figure, seen, [pair], notes, care=care, numbers=rows)


def _weigh(row: Any, values: dict[str, Any]) -> str:
    fibre_g = float(values["fibre_g"])
    lines = [
        f"{line.material} {words.number(line.grams)} g"
        for line in predict.weigh_out(dict(row), fibre_g).itertuples()
    ]
    return words.say("exploring.weigh", fibre_g=words.number(fibre_g), lines=", ".join(lines))


def _show_next(bench: Bench, values: dict[str, Any]) -> frame.Answer:
    series = _next(bench, values)
    where = words.say(f"exploring.where_{'colour' if values['wanted'].strip() else 'all'}")
    told = {"before": f"{series['u_before'].iloc[0]:.1f}"}
    told["after"] = f"{series['u_after'].iloc[-1]:.1f}"
    sentence = words.say("exploring.next", many=len(series), where=where, **told)
    said = bench.model.colour(series)
    figure = drawn.predictions(bench.tried, said, [])
    rows = series[["recipe", "L", "a", "b", "u_before", "u_after"]]
    return frame.Answer(sentence, figure, rows, (), _notes(bench), care=_care(bench, series))


def _show_reach(bench: Bench, values: dict[str, Any]) -> frame.Answer:
    if "gamut" not in bench.kept:
        bench.kept["gamut"] = (
            predict.gamut(bench.model, by=["fibre"]),
            predict.gamut(bench.model, by=["fibre", "mordant"]),
        )
    whole, parts = bench.kept["gamut"]
    fibre = values["fibre"]
    row = whole.counts.set_index("group").loc[fibre]
    adds = [
        words.say("exploring.adds", Metal=metal.capitalize(), many=int(row[f"{metal}_adds"]))
        for metal in offered.METALS
        if f"{metal}_adds" in row
    ]
    told = {"without": int(row["without"]), "adds": " ".join(adds)}
    outlines = whole.outlines[whole.outlines["group"] == fibre]
    mine = bench.made[bench.made["fibre"] == fibre]
    notes = [words.say("exploring.reach_note"), *_notes(bench)]
    return frame.Answer(
        words.say("exploring.reach", group=fibre, **told),
        drawn.gamut(outlines, mine),
        _named_groups(parts.counts),
        notes=notes,
        care=_care(bench, mine),
    )


def _named_groups(counts: pd.DataFrame) -> pd.DataFrame:
    bare = f" · {words.say('exploring.no_mordant')}"
    return counts.assign(group=counts["group"].str.replace(" · none", bare, regex=False))
