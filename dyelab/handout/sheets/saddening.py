"""The saddening strip: the metal rising from left to right, in bands across one lying sheet."""

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from dyelab import shift, table, words
from dyelab.handout import colours
from dyelab.handout import page as parts
from dyelab.handout.metal_texts import distance, dosed, gaps, metals
from dyelab.shift.family import CONTROLS, Dose, Family

_HIGH = 35  # mm, to be seen from the back of a room
_BESIDE_CODE = 31  # mm, so that the sheet stays one where a code takes room in the head
_DRAWS = 500  # of the noise: the strip shows the middle alone


def strip(
    source: colours.Source, own: parts.Own = parts.Own(), *, metal: str = "iron", **picked: Any
) -> parts.Page:
    """Bands of the dye, the tannin alone, the fibre alone, and what the metal did to the dye.

    Parameters
    ----------
    source : Source
    own : Own
    metal : str
        One of ``recipe.metals``, such as ``iron``.
    **picked
        As for the page of a metal.

    Raises
    ------
    InputError
        If there is no unmodified swatch, or none with this metal.
    """
    one, doses = dosed(source, metal, picked)
    splits = {dose: _split(source, one, metal, dose) for dose in doses[1:]}
    every: list[Dose] = sorted({*doses, *source.planned_doses(one, metal)})
    bands = tuple(_bands(source, one, metal, every, splits))
    blocks: list[Any] = [
        parts.Text(_sentence(one, metal, doses, splits), "lead"),
        parts.Bands(tuple(_column(dose) for dose in every), bands, _high(own)),
        *[parts.Text(text, "small") for text in _small(one, doses)],
    ]
    title = words.say("strip.title", metal=metal.capitalize(), dye=one.picked["dye"])
    white: Any = {"white": source.white, "how": source.how}
    made = own.page(title, blocks, landscape=True, **white)
    return replace(made, aside=tuple(gaps(one, doses[-1])), tight=True)


def _high(own: parts.Own) -> float:
    """How high a band is: as on A4, and higher on larger paper."""
    high = _BESIDE_CODE if own.address else _HIGH
    return high * max(1.0, parts.PAPERS[own.paper][0] / parts.PAPERS["Letter"][0])


def _column(dose: Dose) -> str:
    return metals(dose) or words.say("pages.no_salt")


def _split(source: colours.Source, one: Family, metal: str, dose: Dose) -> shift.Separation:
    return shift.separate(
        source.recipes,
        metal,
        hold=one.picked,
        spectra=getattr(source.book, "spectra", None),
        dose=dose[list(shift.METALS).index(metal)],
        draws=_DRAWS,
    )


def _bands(
    source: colours.Source,
    one: Family,
    metal: str,
    doses: list[Dose],
    splits: dict[Dose, shift.Separation],
) -> list[parts.Band]:
    """The dye, its controls, and the dye's own share; a control nobody could dye has no band."""
    dye = str(one.picked["dye"])
    made = [_band(source, dye, doses, one.dyed)]
    for name in CONTROLS:
        if name == "undyed" or one.picked.get("tannin", "none") != "none":
            gap = words.say("strip.gap_undyed")
            made.append(_band(source, _control(one, name), doses, one.controls.get(name, {}), gap))
    share: dict[Dose, dict[Any, Any]] = {dose: s.as_if("dye") for dose, s in splits.items()}
    known = {dose: row for dose, row in share.items() if np.isfinite(row["L"])}
    share = {doses[0]: {**one.dyed[doses[0]], "swatch": ""}, **known} if known else {}
    note = words.say("strip.own_note", metal=metal)
    own = _band(source, words.say("strip.own", dye=dye), doses, share, words.say("strip.untold"))
    return [*made, replace(own, note=note)]


def _control(one: Family, name: str) -> str:
    mordant = str(one.picked.get("mordant", "none"))
    key = "undyed_with" if name == "undyed" and mordant != "none" else name
    return words.say(f"strip.{key}", tannin=one.picked.get("tannin", ""), mordant=mordant)


def _band(
    source: colours.Source,
    name: str,
    doses: list[Dose],
    rows: dict[Dose, dict[Any, Any]],
    gap: str = "",
) -> parts.Band:
    columns = [*table.LAB, *table.WHITE]
    own = [rows.get(dose, {}) for dose in doses]
    lab = pd.DataFrame(own, columns=columns)
    notes = [gap or words.say("strip.gap") if dose not in rows else "" for dose in doses]
    made = parts.patches(lab, [_column(dose) for dose in doses], notes)
    return parts.Band(name, source.pictured(own, made))


def _sentence(
    one: Family, metal: str, doses: list[Dose], splits: dict[Dose, shift.Separation]
) -> str:
    """What a class takes home, from the strongest dose whose controls were dyed."""
    known = [dose for dose in doses[1:] if np.isfinite(splits[dose].as_if("dye")["L"])]
    last = known[-1] if known else doses[-1]
    row = one.moved(one.dyed[last]) or {}
    named = {"metals": parts.opened(metals(last)), "dye": one.picked["dye"], "moved": row["moved"]}
    said = words.say("strip.lead", fibre=one.picked["fibre"], **named)
    return f"{said} {_share(metal, splits[last]) if known else words.say('strip.unknown')}"


def _share(metal: str, split: shift.Separation) -> str:
    rows = split.parts.set_index("part").to_dict("index")
    dye = rows["dye"]
    if "seen_share" not in dye or not np.isfinite(dye["seen_share"]):
        return words.say("strip.own_moved", metal=metal, moved=dye["moved"])
    tenths = int(np.clip(round(dye["seen_share"] / 10), 0, 10))
    key = "at_least" if dye.get("bound") == "at_least" else "share"
    return words.say(f"strip.{key}", tenths=tenths, metal=metal)


def _small(one: Family, doses: list[Dose]) -> list[str]:
    """Recipe, replicates and interval of each band, as small as they may be."""
    bands = {"dyed": one.dyed, **one.controls}
    said = [parts.seen(words.say("strip.key"))]
    for rows in bands.values():
        start = rows.get(doses[0])
        if start is None:
            continue
        told = [_dose(one, dose, rows[dose]) for dose in doses if dose in rows]
        said.append(words.say("strip.small", recipe=colours.recipe(start), doses="; ".join(told)))
    return said


def _dose(one: Family, dose: Dose, row: dict[Any, Any]) -> str:
    change = one.moved(row)
    pieces = words.say("strip.count", count=row["pieces"])
    return ", ".join([_column(dose), *([distance(change)] if change else []), pieces])
