"""The recipe card of a swatch, and the page to staple swatches on."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from dyelab import book as books
from dyelab import compare, measure, recipe, shift, table, words
from dyelab.errors import choose
from dyelab.handout import colours
from dyelab.handout import page as parts

_LIQUOR = 20, 40  # water to dry fibre by weight, least and most (common practice of the trade)
_ROOMY = 7  # steps on one sheet with its cautions and wide margins
_FINE = 0.095  # g: less is told to two figures, so that a stock's millilitres agree with it


def card(source: colours.Source, own: parts.Header = parts.Header(), *, swatch: str) -> parts.Page:
    """What to weigh, in which order, how hot and how long, what came of it, and what can hurt.

    Parameters
    ----------
    source : Source
    own : Header
    swatch : str
        Code of the swatch.

    Raises
    ------
    InputError
        If the book has no such swatch.
    """
    bk = source.book
    choose(swatch, bk.swatches["swatch"], "swatch", "in this book")
    about = bk.swatches[bk.swatches["swatch"] == swatch].iloc[0].to_dict()
    steps, mass = bk.steps[bk.steps["swatch"] == swatch].sort_values("order"), about["mass_g"]
    used = [str(name) for name in steps["material"] if str(name)]
    blocks: list[Any] = [
        parts.Text(words.say("pages.card_lead", swatch=swatch), "lead"),
        *make_frames(source, [swatch])[swatch],
        parts.Caution(source.cautions(used)),
        parts.Heading(words.say("pages.steps")),
    ]
    table, stocks = _steps(source, steps, mass)
    notes = [_water(mass), *_salts(steps), *stocks, *filter(None, steps["note"])]
    blocks += [table, parts.Points(tuple(dict.fromkeys(notes)))]
    title = words.say("pages.card_title", recipe=_name(source, swatch))
    return source.page(own, title, blocks, tight=len(steps) > _ROOMY)


def samples(
    source: colours.Source, own: parts.Header = parts.Header(), *, swatches: Sequence[str]
) -> parts.Page:
    """Frames to staple the real swatches in, each beside its printed chip and its numbers.

    Raises
    ------
    InputError
        If the book has no such swatch.
    """
    wanted = set(source.check_swatches(swatches))
    chosen = [code for code in source.book.swatches["swatch"] if code in wanted]
    blocks = [
        parts.Text(words.say("pages.samples_lead", count=len(chosen)), "lead"),
        parts.Text(words.say("pages.samples_print"), "small"),
    ]
    made = make_frames(source, chosen)
    frames = [block for code in chosen for block in made[code]]
    title = source.title("pages.samples_title", "pages.samples_untitled")
    return source.page(own, title, [*blocks, *frames])


def _name(source: colours.Source, swatch: str) -> str:
    rows = source.of_swatch(swatch)
    if len(rows) and rows["area"].nunique() > 1:  # a printed cloth has no one recipe
        return swatch
    return colours.recipe(rows.iloc[0].to_dict()) if len(rows) else _name_planned(source, swatch)


def _name_planned(source: colours.Source, swatch: str) -> str:
    """The recipe of a swatch that wasn't measured yet; its code where the book has none."""
    own = [swatch in str(codes).split(", ") for codes in source.unread_recipes["swatch"]]
    return str(next(iter(source.unread_recipes.loc[own, "recipe"]), swatch))


def make_frames(source: colours.Source, swatches: Sequence[str]) -> dict[str, list[Any]]:
    """A frame for each swatch, with its chip, its picture if there is one, and what it is.

    Of a printed cloth, whose mean colour is nowhere on it, the areas follow as chips.
    """
    rows = source.leading_readings[source.leading_readings["swatch"].isin(list(swatches))]
    several = rows.groupby("swatch")["area"].transform("nunique") > 1
    whole = rows["area"].isin(["whole", ""])
    label = np.where(~several & whole, rows["swatch"], rows["swatch"] + " " + rows["area"])
    rows = rows.assign(label=label)
    first = rows.drop_duplicates("label").set_index("label", drop=False)
    chips = _chips(source, rows, [*swatches, *first.index])
    told = {name: colours.recipe(row) for name, row in first.to_dict("index").items()}
    for row in first[first["label"] != first["swatch"]].to_dict("records"):  # what its areas share
        told.setdefault(row["swatch"], colours.recipe({name: row[name] for name in _BATH}))
    own = first.groupby("swatch", sort=False)["label"].agg(list).to_dict()
    about = source.book.swatches.set_index("swatch").to_dict("index")
    told |= {code: _name_planned(source, code) for code in swatches if code not in own}
    return {code: _frame(code, about[code], own.get(code, []), chips, told) for code in swatches}


def _chips(source: colours.Source, rows: pd.DataFrame, labels: list[str]) -> dict[str, parts.Patch]:
    """A patch a label with its picture, blank for a label that was not read as one colour."""
    names = list(dict.fromkeys(labels))
    lab = pd.DataFrame(np.nan, index=names, columns=table.LAB)
    if len(rows):
        found = compare.gather(rows, by="label", piece="reading")
        lab.loc[list(found.names)] = found.mean
    white = dict(zip(table.WHITE, source.white, strict=True))
    made = parts.patches(lab.assign(**white), names)
    cut = source.crops(rows["swatch"])
    return {one.label: replace(one, crop=cut.get(one.label, b"")) for one in made}


def _frame(
    code: str,
    about: dict[Any, Any],
    labels: list[str],
    chips: dict[str, parts.Patch],
    told: dict[str, str],
) -> list[Any]:
    """The frame of one swatch, and the chips of its areas."""
    patch = chips[code]
    if several := len(labels) > 1:
        whole = measure.patchwork([chips[name].crop for name in labels if chips[name].crop])
        patch = replace(patch, note=words.say("pages.several_areas"), crop=whole)
    elif labels and labels != [code]:  # read in one area only
        patch = replace(chips[labels[0]], label=code)
    dated = words.say("pages.made_on", date=about["made_on"]) if about.get("made_on") else ""
    named = told.get(code if several else (labels or [code])[0], code)
    wanted = (named, about.get("ground"), dated, about.get("note"))
    lines = tuple(line.replace("g/m2", "g/m²") for line in wanted if isinstance(line, str) and line)
    areas = tuple(replace(chips[name], note=told[name]) for name in labels if several)
    grid = [parts.Chips(areas, columns=4, height_mm=14)] if several else []
    return [parts.Frame(patch, lines), *grid]


_BATH = ("dye", "dye_wof", "fibre")


def _steps(
    source: colours.Source, steps: pd.DataFrame, mass: Any
) -> tuple[parts.NumberTable, list[str]]:
    """The steps, and how to make the stocks of what is too little to weigh."""
    listed = books.materials(source.book)
    weighed = f" ({words.number(mass)} g)" if isinstance(mass, float) and np.isfinite(mass) else ""
    rows = [
        {
            "order": int(row["order"]),
            "kind": row["kind"],
            "area": "" if row["area"] == "whole" else row["area"],
            "material": row["material"],
            "dose": _dose(row),
            "grams": _grams(row, mass),
            "stock_ml": _stock(row, mass, listed),
            **{name: _plain(row[name]) for name in ("temperature_C", "minutes", "pH")},
        }
        for row in steps.to_dict("records")
    ]
    shown = pd.DataFrame(rows, columns=_STEP_COLUMNS)
    shown = shown.drop(columns=[n for n in ("area", "stock_ml") if (shown[n] == "").all()])
    made = parts.number_table(shown, words.say("pages.weighed", mass=weighed))
    right = tuple(name not in ("kind", "area", "material", "dose") for name in shown)
    return replace(made, numeric=right), [words.say("pages.stock")] * ("stock_ml" in shown)


_STEP_COLUMNS = ["order", "kind", "area", "material", "dose", "grams", "stock_ml"]
_STEP_COLUMNS += ["temperature_C", "minutes", "pH"]


def _water(mass: Any) -> str:
    """How much water, where the steps don't say."""
    low, high = _LIQUOR
    told = ""
    if mass is not None and pd.notna(mass) and mass > 0:
        litres = [recipe.water_L(float(mass), ratio) for ratio in _LIQUOR]
        told = words.say("pages.millilitres", low=1000 * litres[0], high=1000 * litres[1])
    return words.say("pages.water", low=low, high=high, millilitres=told)


def _salts(steps: pd.DataFrame) -> list[str]:
    """That a metal's dose, as the title has it, is one of its salt."""
    salts = {salt: metal for metal, salt in recipe.metals.salts().items()}
    there = [name for name in steps["material"] if name in shift.shifting_salts() & salts.keys()]
    named = {"metals": ", ".join(salts[name] for name in there), "salts": ", ".join(there)}
    return [words.say("pages.salt", **named)] if there else []


def _stock(row: dict[Any, Any], mass: Any, listed: pd.DataFrame) -> str:
    """For what is too little to weigh, the millilitres of a stock of 1 %."""
    grams = _weight(row, mass)
    little = grams is not None and recipe.how_to_measure(str(row["material"]), grams, listed)
    return f"{recipe.stock_ml(grams, 1.0):.1f}" if grams is not None and little else ""


def _dose(row: dict[Any, Any]) -> str:
    amount = row["amount"]
    dose = f"{words.number(amount)} {row['unit']}".strip() if pd.notna(amount) else "–"
    dips = float(row.get("dips") or 1)
    return words.say("pages.dips", dose=dose, dips=int(dips)) if dips > 1 else dose


def _plain(value: Any) -> str:
    return parts.cell(None) if pd.isna(value) else words.number(value)


def _weight(row: dict[Any, Any], mass: Any) -> float | None:
    """Grams for this swatch; a paste on one area isn't weighed by the whole."""
    known = row["area"] == "whole" and pd.notna(row["amount"]) and pd.notna(mass) and mass > 0
    if row["unit"] == "% WOF" and known:
        return recipe.grams(float(row["amount"]), float(mass))
    return float(row["amount"]) if row["unit"] == "g" and known else None


def _grams(row: dict[Any, Any], mass: Any) -> str:
    grams = _weight(row, mass)
    if grams is None:
        return parts.cell(None)
    return f"{grams:.2f}" if grams >= _FINE else f"{grams:.2g}"
