"""The pages of a metal: where a colour goes as it rises, and the strip to hold up in a class."""

from typing import Any

import numpy as np
import pandas as pd

from dyelab import compare, convert, shift, table, words
from dyelab.errors import InputError
from dyelab.handout import colours
from dyelab.handout import page as parts
from dyelab.handout.metal_texts import answer_text, distance, gaps, metals_text
from dyelab.plot import plane
from dyelab.shift.family import CONTROLS, Dose, Family

_WIDE = 430  # pixels of 720: near a square, so that the colours fill the plane
_LAMP = "FL11"  # a shop's tube, the light that parts dyeings most
_COLUMNS = ["dE00", "dE00_low", "dE00_high", "dL", "dC", "dH"]
_HIGH = 35  # mm, to be seen from the back of a room
_TALL, _LOW = 270, 205  # pixels of the figure, alone and under bands of controls
_BESIDE_CODE = 31  # mm, so that the sheet stays one where a code takes room in the head
_DRAWS = 500  # of the noise: the strip shows the middle alone

Splits = dict[Dose, shift.Separation]


def sheet(
    source: colours.Source, own: parts.Header = parts.Header(), *, metal: str, **picked: Any
) -> parts.Page:
    """One dye on one cloth from no metal to the most that was dyed.

    Parameters
    ----------
    source : Source
    own : Header
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
    one, doses, every = _find_doses(source, metal, picked)
    last = doses[-1]
    blocks = [
        parts.Text(answer_text(one, last), "lead"),
        _chips(_patches(source, every, one.dyed, "pages.not_measured", counted=True), 14),
        *_lamps(source, one, doses),
        *_controls(source, one, every),
        _figure(one, last),
        _numbers(one, doses),
        parts.Caution(source.cautions_of((one.dyed[dose] for dose in doses), doses=False)),
    ]
    title = words.say("pages.metal_title", metal=metal.capitalize(), dye=picked["dye"])
    # small margins and a low figure: on most cloths, controls and cautions then fill one sheet
    return source.page(own, title, blocks, tight=True, aside=tuple(gaps(one, last)))


def strip(
    source: colours.Source, own: parts.Header = parts.Header(), *, metal: str, **picked: Any
) -> parts.Page:
    """Bands of the dye, the tannin alone, the fibre alone, and what the metal did to the dye.

    Parameters
    ----------
    source : Source
    own : Header
    metal : str
        One of ``recipe.metals``, such as ``iron``.
    **picked
        As for the page of a metal.

    Raises
    ------
    InputError
        If there is no unmodified swatch, or none with this metal.
    """
    one, doses, every = _find_doses(source, metal, picked)
    splits = {dose: _split(source, one, metal, dose) for dose in doses[1:]}
    bands = tuple(_bands(source, one, metal, every, splits))
    blocks: list[Any] = [
        parts.Text(_sentence(one, metal, doses, splits), "lead"),
        parts.Bands(tuple(map(_column, every)), bands, _high(own)),
        *[parts.Text(text, "small") for text in _small(one, doses)],
    ]
    title = words.say("strip.title", metal=metal.capitalize(), dye=one.picked["dye"])
    laid: Any = {"landscape": True, "tight": True, "aside": tuple(gaps(one, doses[-1]))}
    return source.page(own, title, blocks, **laid)


def _find_doses(
    source: colours.Source, metal: str, picked: dict[str, Any]
) -> tuple[Family, list[Dose], list[Dose]]:
    """A recipe with this metal alone, its doses from none to the most, and those with the planned.

    Raises
    ------
    InputError
        If there is no unmodified swatch, or none with this metal.
    """
    one = shift.family(source.recipes, source.moves, metal=metal, **picked)
    doses: list[Dose] = [dose for dose in one.dyed if shift.with_only(dose, metal)]
    if len(doses) < 2:
        named = {"dye": picked["dye"], "fibre": picked["fibre"], "metal": metal}
        raise InputError(words.say("pages.no_metal", **named))
    return one, doses, sorted({*doses, *source.planned_doses(one, metal)})


def _column(dose: Dose) -> str:
    return metals_text(dose) or words.say("pages.no_salt")


def _patches(
    source: colours.Source,
    doses: list[Dose],
    rows: dict[Dose, dict[Any, Any]],
    gap: str,
    *,
    counted: bool = False,
) -> tuple[parts.Patch, ...]:
    """One patch a dose, in the same columns on every row of the page; a gap where none is."""

    def note(dose: Dose) -> str:
        if dose not in rows:
            return words.say(gap)
        return words.say("pages.pieces", count=rows[dose]["pieces"]) if counted else ""

    own = [rows.get(dose, {}) for dose in doses]
    return source.patches(own, list(map(_column, doses)), list(map(note, doses)))


def _chips(patches: tuple[parts.Patch, ...], height: float) -> parts.Chips:
    return parts.Chips(patches, columns=max(4, len(patches)), height_mm=height, touching=True)


def _lamps(source: colours.Source, one: Family, doses: list[Dose]) -> list[Any]:
    """The same cloths under a shop's lamp, where all of them have spectra."""
    waves, found = shift.reflectances(source.recipes, source.book.spectra)
    rows = [int(one.dyed[dose]["variant"]) for dose in doses]
    if not set(rows) <= set(found):
        return []
    light: Any = {"illuminant": _LAMP, "observer": source.white[1]}
    lab = convert.spectrum_to_lab(waves, np.array([found[row] for row in rows]), **light)
    frame = pd.DataFrame(lab, columns=table.LAB).assign(**light)
    named = f"{words.say(f'lamps.{_LAMP}')} ({_LAMP})"
    chips = _chips(tuple(parts.patches(frame, [""] * len(rows))), 9)
    return [parts.Text(words.say("lamps.page", lamp=named), "small"), chips]


def _controls(source: colours.Source, one: Family, doses: list[Dose]) -> list[Any]:
    blocks: list[Any] = []
    for name in CONTROLS:
        rows = one.controls.get(name, {})
        if any(dose in rows for dose in doses[1:]):
            plain = {**next(iter(rows.values())), **dict.fromkeys(shift.METALS.values(), 0.0)}
            blocks.append(parts.Text(colours.recipe(plain)))
            blocks.append(
                _chips(_patches(source, doses, rows, "strip.gap_undyed", counted=True), 7)
            )
    return blocks


def _figure(one: Family, last: Dose) -> parts.Live:
    drawn = plane.figure(
        _draw(one, last), path="path", height=_LOW if one.controls else _TALL, fitted=True
    )
    return parts.live(drawn, answer_text(one, last), width=_WIDE)


def _draw(one: Family, last: Dose) -> pd.DataFrame:
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
        change = one.from_start(one.dyed[dose]) or {}
        numbers = {name: float(change[name]) for name in _COLUMNS}
        said = {"words": change["moved"], "verdict": compare.in_words(change)}
        rows.append({"added": metals_text(dose), **numbers, **said})
    return parts.number_table(
        pd.DataFrame(rows),
        parts.with_step(f"{words.say('pages.compared_start')} {words.say('pages.in_hue')}"),
    )


def _high(own: parts.Header) -> float:
    """How high a band is: as on A4, and higher on larger paper."""
    high = _BESIDE_CODE if own.address else _HIGH
    return high * max(1.0, parts.PAPERS[own.paper][0] / parts.PAPERS["Letter"][0])


def _split(source: colours.Source, one: Family, metal: str, dose: Dose) -> shift.Separation:
    amount = dose[list(shift.METALS).index(metal)]
    given: Any = {"hold": one.picked, "spectra": source.book.spectra, "draws": _DRAWS}
    return shift.separate(source.recipes, metal, dose=amount, **given)


def _bands(
    source: colours.Source, one: Family, metal: str, doses: list[Dose], splits: Splits
) -> list[parts.Band]:
    """The dye, its controls, and the dye's own share; a control nobody could dye has no band."""
    dye = str(one.picked["dye"])
    shown = [(dye, one.dyed, "strip.gap")]
    for name in CONTROLS:
        if name == "undyed" or one.picked["tannin"] != "none":
            shown.append((_control(one, name), one.controls.get(name, {}), "strip.gap_undyed"))
    share: dict[Dose, dict[Any, Any]] = {dose: s.as_if("dye") for dose, s in splits.items()}
    known = {dose: row for dose, row in share.items() if np.isfinite(row["L"])}
    share = {doses[0]: {**one.dyed[doses[0]], "swatch": ""}, **known} if known else {}
    shown.append((words.say("strip.own", dye=dye), share, "strip.untold"))
    notes = [""] * (len(shown) - 1) + [words.say("strip.own_note", metal=metal)]
    return [
        parts.Band(name, _patches(source, doses, rows, gap), note)
        for (name, rows, gap), note in zip(shown, notes, strict=True)
    ]


def _control(one: Family, name: str) -> str:
    tannin, mordant = one.picked["tannin"], one.picked["mordant"]
    key = "undyed_with" if name == "undyed" and mordant != "none" else name
    return words.say(f"strip.{key}", tannin=tannin, mordant=mordant)


def _sentence(one: Family, metal: str, doses: list[Dose], splits: Splits) -> str:
    """What a class takes home, from the strongest dose whose controls were dyed."""
    known = [dose for dose in doses[1:] if np.isfinite(splits[dose].as_if("dye")["L"])]
    last = known[-1] if known else doses[-1]
    row = one.from_start(one.dyed[last]) or {}
    named = {"metals": metals_text(last), **{n: one.picked[n] for n in ("dye", "fibre")}}
    key = "lead" if row["verdict"] == compare.REAL else "lead_seen"
    told = {"moved": row["moved"], "verdict": compare.in_words(row, said=True)}
    said = words.say(f"strip.{key}", **named, **told)
    if not known:
        return f"{said} {words.say('strip.unknown')}"
    # of what may be chance there is no share to tell
    return f"{said} {_share(metal, splits[last])}" if key == "lead" else said


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
    said = [parts.with_step(words.say("strip.key"))]
    for rows in (one.dyed, *one.controls.values()):
        if doses[0] in rows:
            told = "; ".join(_dose(one, dose, rows[dose]) for dose in doses if dose in rows)
            recipe = colours.recipe(rows[doses[0]])
            said.append(words.say("strip.small", recipe=recipe, doses=told))
    return said


def _dose(one: Family, dose: Dose, row: dict[Any, Any]) -> str:
    change = one.from_start(row)
    pieces = words.say("strip.count", count=row["pieces"])
    return ", ".join([_column(dose), *([distance(change)] if change else []), pieces])
