"""The page of a metal: where a colour goes as the metal rises, and why."""

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from dyelab import compare, convert, shift, table, words
from dyelab.handout import colours
from dyelab.handout import page as parts
from dyelab.handout.metal_texts import dosed, gaps, metals, told
from dyelab.plot import plane
from dyelab.shift.family import CONTROLS, Dose, Family

_WIDE = 430  # pixels of 720: near a square, so that the colours fill the plane
_LAMP = "FL11"  # a shop's tube, the light that parts dyeings most
_COLUMNS = ["dE00", "dE00_low", "dE00_high", "dL", "dC", "dH"]


def sheet(
    source: colours.Source, own: parts.Own = parts.Own(), *, metal: str = "iron", **picked: Any
) -> parts.Page:
    """One dye on one cloth from no metal to the most that was dyed.

    Parameters
    ----------
    source : Source
    own : Own
    metal : str
        One of ``recipe.metals``, such as ``iron``.
    **picked
        ``fibre``, ``dye``, ``tannin``, ``mordant``; of several recipes that have these, as with
        two doses of the dye, the one with most metals, unless ``dye_wof`` and such say which.

    Raises
    ------
    InputError
        If there is no unmodified swatch, or none with this metal.
    """
    one, doses = dosed(source, metal, picked)
    last = doses[-1]
    every = sorted({*doses, *source.planned_doses(one, metal)})
    blocks = [
        parts.Text(told(one, last), "lead"),
        _chips(source, every, one.dyed, 14, "pages.not_measured"),
        *_lamps(source, one, doses),
        *_controls(source, one, every),
        _figure(one, last),
        _numbers(one, doses),
        parts.Caution(source.cautions(source.used(one.dyed[dose] for dose in doses), doses=False)),
    ]
    title = words.say("pages.metal_title", metal=metal.capitalize(), dye=picked["dye"])
    aside = tuple(gaps(one, last))
    return replace(own.page(title, blocks, white=source.white, how=source.how), aside=aside)


def _chips(
    source: colours.Source, doses: list[Dose], rows: dict[Dose, dict], height: float, gap: str
) -> parts.Chips:
    """One chip a dose, in the same columns on every row of the page; dashed where none is."""
    own = [rows.get(dose, {}) for dose in doses]
    lab = pd.DataFrame(own, columns=[*table.LAB, *table.WHITE])
    labels = [metals(dose) or words.say("pages.no_salt") for dose in doses]
    notes = [
        words.say("pages.pieces", count=rows[dose]["pieces"]) if dose in rows else words.say(gap)
        for dose in doses
    ]
    made = source.pictured(own, parts.patches(lab, labels, notes))
    return parts.Chips(made, columns=max(4, len(doses)), height_mm=height, touching=True)


def _lamps(source: colours.Source, one: Family, doses: list[Dose]) -> list[Any]:
    """The same cloths under a shop's lamp, where all of them have spectra."""
    waves, found = shift.reflectances(source.recipes, getattr(source.book, "spectra", None))
    rows = [int(one.dyed[dose]["variant"]) for dose in doses if dose in one.dyed]
    if not rows or not set(rows) <= set(found):
        return []
    light: Any = {"illuminant": _LAMP, "observer": source.white[1]}
    lab = convert.spectrum_to_lab(waves, np.array([found[row] for row in rows]), **light)
    frame = pd.DataFrame(lab, columns=table.LAB).assign(**light)
    chips = parts.Chips(
        tuple(parts.patches(frame, [""] * len(rows))),
        columns=max(4, len(rows)),
        height_mm=9,
        touching=True,
    )
    named = f"{words.say(f'lamps.{_LAMP}')} ({_LAMP})"
    return [parts.Text(words.say("lamps.page", lamp=named), "small"), chips]


def _controls(source: colours.Source, one: Family, doses: list[Dose]) -> list[Any]:
    blocks: list[Any] = []
    for name in CONTROLS:
        rows = one.controls.get(name, {})
        if any(dose in rows for dose in doses[1:]):
            plain = {**next(iter(rows.values())), **dict.fromkeys(shift.METALS.values(), 0.0)}
            blocks += [
                parts.Text(colours.recipe(plain)),
                _chips(source, doses, rows, 7, "strip.gap_undyed"),
            ]
    return blocks


def _figure(one: Family, last: Dose) -> parts.Live:
    drawn = plane.figure(_drawn(one, last), path="path", height=270, fitted=True)
    return parts.live(drawn, told(one, last), width=_WIDE)


def _drawn(one: Family, last: Dose) -> pd.DataFrame:
    parts_ = {one.picked["dye"]: one.way(last)}
    for name in CONTROLS:
        ends = one.ends(name, max(filter(last.__ge__, one.controls.get(name, {})), default=last))
        if ends:
            parts_[words.say(f"metals.{name}")] = ends
    return pd.DataFrame(
        [{**row, "group": name, "path": name} for name, rows in parts_.items() for row in rows]
    )


def _numbers(one: Family, doses: list[Dose]) -> parts.NumberTable:
    rows = []
    for dose in doses[1:]:
        change = one.moved(one.dyed[dose]) or {}
        numbers = {name: float(change[name]) for name in _COLUMNS}
        said = {"words": change["moved"], "verdict": compare.in_words(change)}
        rows.append({"added": metals(dose), **numbers, **said})
    return parts.number_table(
        pd.DataFrame(rows),
        parts.seen(f"{words.say('pages.compared_start')} {words.say('pages.in_hue')}"),
    )
