"""The recipe card of a swatch, and the page to staple swatches on."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from dyelab import compare, measure, recipe, table, words
from dyelab.errors import choose
from dyelab.handout import colours
from dyelab.handout import page as parts


def card(source: colours.Source, own: parts.Own = parts.Own(), *, swatch: str) -> parts.Page:
    """What to weigh, in which order, how hot and how long, what came of it, and what can hurt.

    Parameters
    ----------
    source : Source
    own : Own
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
    steps = bk.steps[bk.steps["swatch"] == swatch].sort_values("order")
    used = [str(name) for name in steps["material"] if str(name)]
    blocks: list[Any] = [
        *_frames(source, swatch),
        parts.Heading(words.say("pages.steps")),
        _steps(steps, about.get("mass_g")),
    ]
    notes = [str(note) for note in steps.get("note", []) if isinstance(note, str) and note]
    blocks += [parts.Points(tuple(notes))] if notes else []
    blocks.append(parts.Caution(source.cautions(used)))
    return own.page(
        words.say("pages.card_title", recipe=_named(source, swatch)),
        blocks,
        white=source.white,
        how=source.how,
    )


def samples(
    source: colours.Source, own: parts.Own = parts.Own(), *, swatches: Sequence[str]
) -> parts.Page:
    """Frames to staple the real swatches in, each beside its printed chip and its numbers.

    Raises
    ------
    InputError
        If the book has no such swatch.
    """
    chosen = source.chosen(swatches)
    blocks = [parts.Text(words.say("pages.samples_lead"), "small")]
    frames = [frame for code in chosen for frame in _frames(source, code)]
    title = words.say("pages.samples_title", book=getattr(source.book, "title", "") or "")
    return own.page(title.strip(), [*blocks, *frames], white=source.white, how=source.how)


def _named(source: colours.Source, swatch: str) -> str:
    rows = source.of_swatch(swatch)
    if len(rows) and rows["area"].nunique() > 1:  # a printed cloth has no one recipe
        return swatch
    return colours.recipe(rows.iloc[0].to_dict()) if len(rows) else swatch


def _frames(source: colours.Source, swatch: str) -> list[parts.Block]:
    """A frame for the swatch; for a printed cloth, whose mean colour is nowhere, its areas too."""
    rows = source.of_swatch(swatch)
    whole = frame(source, swatch, swatch, rows)
    if not len(rows) or set(rows["area"]) == {"whole"}:
        return [whole]
    apart = [
        frame(source, swatch, f"{swatch} {area}", own)
        for area, own in rows.groupby("area", sort=False)
    ]
    areas = [replace(one.patch, note=one.lines[0]) for one in apart]
    return [whole, parts.Chips(tuple(areas), columns=4, height_mm=14)]


def frame(source: colours.Source, swatch: str, label: str, rows: pd.DataFrame) -> parts.Frame:
    """A frame for one swatch, with its chip, its picture if there is one, and what it is."""
    bk = source.book
    about = bk.swatches[bk.swatches["swatch"] == swatch].iloc[0]
    mean = np.full(3, np.nan)
    if rows["area"].nunique() == 1:  # a cloth of several areas has no one colour
        (mean,) = compare.gather(rows.assign(cloth=label), by="cloth", piece="reading").mean
    chip = dict(zip([*table.LAB, *table.WHITE], [*mean, *source.white], strict=True))
    lab = pd.DataFrame([chip])
    (patch,) = parts.patches(lab, [label])
    if rows["area"].nunique() > 1:
        patch = replace(patch, note=words.say("pages.several_areas"))
    patch = replace(patch, crop=_picture(source, swatch, label))
    named = colours.recipe(rows.iloc[0].to_dict()) if len(rows) else swatch
    wanted = (named, about.get("ground"), about.get("made_on"), about.get("note"))
    lines = tuple(str(line) for line in wanted if isinstance(line, str) and line)
    return parts.Frame(patch, lines)


def _picture(source: colours.Source, swatch: str, label: str) -> bytes:
    """The cloth or the area that goes by this label; of a printed cloth, its areas in a row."""
    cut = source.crops([swatch])
    return cut.get(label) or (measure.in_a_row(list(cut.values())) if label == swatch else b"")


def _steps(steps: pd.DataFrame, mass: Any) -> parts.NumberTable:
    weighed = f" ({float(mass):g} g)" if isinstance(mass, float) and np.isfinite(mass) else ""
    rows = [
        {
            "order": int(row["order"]),
            "kind": row["kind"],
            "area": "" if row["area"] == "whole" else row["area"],
            "material": row["material"],
            "dose": _dose(row),
            "grams": _grams(row, mass),
            **{name: _plain(row[name]) for name in ("temperature_C", "minutes", "pH")},
        }
        for row in steps.to_dict("records")
    ]
    shown = pd.DataFrame(rows, columns=_STEP_COLUMNS)
    if (shown["area"] == "").all():
        shown = shown.drop(columns="area")
    made = parts.number_table(shown, words.say("pages.weighed", mass=weighed))
    right = tuple(name not in ("kind", "area", "material", "dose") for name in shown)
    return replace(made, numeric=right)


_STEP_COLUMNS = [
    "order",
    "kind",
    "area",
    "material",
    "dose",
    "grams",
    "temperature_C",
    "minutes",
    "pH",
]


def _dose(row: dict[Any, Any]) -> str:
    amount = row["amount"]
    dose = f"{float(amount):g} {row['unit']}".strip() if pd.notna(amount) else "–"
    dips = float(row.get("dips") or 1)
    return words.say("pages.dips", dose=dose, dips=int(dips)) if dips > 1 else dose


def _plain(value: Any) -> str:
    return parts.cell(None) if pd.isna(value) else f"{float(value):g}"


def _grams(row: dict[Any, Any], mass: Any) -> str:
    """Grams for this swatch, to a hundredth; a paste on one area isn't weighed by the whole."""
    known = (
        row["area"] == "whole"
        and pd.notna(row["amount"])
        and mass is not None
        and pd.notna(mass)
        and mass > 0
    )
    if row["unit"] == "% WOF" and known:
        return f"{recipe.grams(float(row['amount']), float(mass)):.2f}"
    return f"{float(row['amount']):.2f}" if row["unit"] == "g" and known else parts.cell(None)
