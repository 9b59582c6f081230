"""The fading clock: cloths after hours of light beside blue wools, on a slider or as a fan."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from dyelab import book, grade, table, words
from dyelab.errors import InputError
from dyelab.handout import colours, fastness, fastness_texts
from dyelab.handout import page as parts
from dyelab.plot import style

_UNIT = "lx h"
_DAY = 12  # hours of light in a day: about the yearly mean anywhere; the page says so
_MOMENTS = {"before": 0, "week": 7, "month": 30, "summer": 92, "half_year": 183, "year": 365}
# Illuminance in lx: a window and daylight as in S. Michalski, "Light, ultraviolet and infrared",
# Canadian Conservation Institute; from memory. The page names it.
_PLACES = {"window": 5000.0, "daylight": 30000.0, "room": 500.0, "gallery": 50.0}
_SUMMER = _DAY * _MOMENTS["summer"] * _PLACES["window"]  # lx h
_STEPS = 81  # of the slider, closer together near the start, where cloth changes fastest
_A_FAN = 6  # cloths on one fan of cards
_MOST = 48  # cloths: each is fitted anew, and nobody looks at more


def clock(
    source: colours.Source, own: parts.Header = parts.Header(), *, swatches: Sequence[str]
) -> parts.Page:
    """Cloths as light changes them, by the curves of their readings and no further.

    Parameters
    ----------
    source : Source
    own : Header
    swatches : sequence of str
        Codes; those read after light in lx h are shown, the others named to the author.

    Raises
    ------
    InputError
        If none of them was read after two doses of light, they are too many, or the book has no
        such swatch.
    """
    chosen = source.check_swatches(swatches)
    if len(chosen) > _MOST:
        raise InputError(words.say("clock.too_many", count=len(chosen), most=_MOST))
    found, drifts = _find_lit(source, chosen)
    doses = _doses([*drifts, *found.references])
    white = table.one_white(found.grades)
    hands = [_hand(one, fastness_texts.name_in(found, one.swatch), doses, white) for one in drifts]
    beside = [
        _hand(one, words.say("clock.wool", swatch=one.swatch), doses, white)
        for one in _references(found)
    ]
    whole = parts.Clock(
        tuple(doses),
        tuple(hands),
        tuple(beside),
        tuple((words.say(f"clock.{name}"), _DAY * days) for name, days in _MOMENTS.items()),
        tuple((words.say(f"clock.at_{name}"), lux) for name, lux in _PLACES.items()),
        _DAY * _MOMENTS["summer"],
        () if beside else tuple(map(_just_fades, doses)),
    )
    blocks = [
        parts.Text(_lead(drifts, found), "lead"),
        parts.Text(_say_cut(whole), only="paper"),
        replace(whole, only="screen"),
        *_fans(whole),
        parts.Points(tuple(_say(found, whole))),
        parts.Caution((*fastness.cautions(found), words.say("clock.beyond"))),
    ]
    lit = {one.swatch.removesuffix(f" {one.area}") for one in drifts}
    left = sorted(set(swatches) - lit)
    aside = (words.say("clock.unlit", swatches=", ".join(left)),) if left else ()
    laid: Any = {"landscape": True, "tight": True, "aside": aside, **fastness.foot(found)}
    return own.page(words.say("clock.title"), blocks, **laid)


def _say_cut(whole: parts.Clock) -> str:
    """How to make the fan; its squares where some are drawn."""
    at = [whole.at(hours) for _, hours in whole.moments]
    shades = [hand.shades[i] for hand in whole.hands for i in at if i is not None]
    squares = any(shade.least and shade.most for shade in shades)
    keys = ["clock.cut", *["clock.squares"] * squares]
    keys += ["fastness.scale_wools"] if whole.beside else []
    return " ".join(map(words.say, keys))


def _find_lit(source: colours.Source, swatches: list[str]) -> tuple[grade.Study, list[grade.Drift]]:
    """Fastness of those that were read after light, and their curves."""
    wide = book.wide(source.book)
    lit = wide[wide["exposure"].eq("light") & wide["unit"].eq(_UNIT)]
    there = [code for code in swatches if code in set(lit["swatch"])]
    of_light = wide[wide["exposure"].isin(["none", "light"])]
    given: Any = {"shared": source.shared, "spectra": source.book.spectra}
    found = grade.study(of_light, swatches=there, **given) if there else None
    drifts = [one for one in found.drifts if one.unit == _UNIT] if found else []
    if found is None or not drifts:
        known = [str(code) for code in lit.loc[~grade.is_reference(lit), "swatch"].unique()]
        key = "clock.none_lit" if known else "clock.no_light"
        raise InputError(words.say(key, known=", ".join(known[:12])))
    return found, drifts


def _references(found: grade.Study) -> list[grade.Drift]:
    """Curves of the blue wools, by their number."""
    lit = [one for one in found.references if one.exposure == "light" and one.unit == _UNIT]
    return sorted(lit, key=lambda one: one.swatch)


def _doses(drifts: list[grade.Drift]) -> np.ndarray:
    """Doses of the slider: where readings were made, at the moments named, and between."""
    far = grade.HORIZON * max(one.longest for one in drifts)
    named = [_DAY * days * _PLACES["window"] for days in _MOMENTS.values()]
    read = np.concatenate([one.amounts for one in drifts])
    every = np.unique([*far * np.linspace(0, 1, _STEPS) ** 2, *read, *named])
    return every[every <= far]


def _hand(one: grade.Drift, name: str, doses: np.ndarray, white: tuple[str, int]) -> parts.Hand:
    """A cloth at every dose."""
    rows = grade.along(one, doses)
    fills, least, most = (_fills(rows, end, white) for end in ("", "least_", "most_"))
    said = zip(fills[0], least[0], most[0], fills[1], rows["said"], rows["known"], strict=True)
    shades = [parts.Shade(a, b, c, bool(true), text, known) for a, b, c, true, text, known in said]
    return parts.Hand(name, tuple(shades))


def _fills(rows: pd.DataFrame, end: str, white: tuple[str, int]) -> tuple[list[str], np.ndarray]:
    """Screen colours, blank where the colour isn't known, and which are shown truly."""
    lab = rows[[f"{end}{name}" for name in table.LAB]].set_axis(table.LAB, axis=1)
    fills, inside = style.screen(lab.assign(illuminant=white[0], observer=white[1]))
    return fills.tolist(), inside


def _fans(whole: parts.Clock) -> list[Any]:
    """The same on paper: a fan of cards for every six cloths."""
    blocks: list[Any] = []
    for at in range(0, len(whole.hands), _A_FAN):
        blocks += [parts.NewPage(only="paper")] if blocks else []
        blocks.append(replace(whole, hands=whole.hands[at : at + _A_FAN], only="paper"))
    return blocks


def _lead(drifts: list[grade.Drift], found: grade.Study) -> str:
    """Who changed most and who least after a summer, or that nobody can say."""
    dose = np.array([_SUMMER])
    rows = [grade.along(one, dose).iloc[0] for one in drifts]
    told = [pair for pair in zip(drifts, rows, strict=True) if pair[1]["known"] != grade.UNTOLD]
    told.sort(key=lambda pair: -pair[1]["difference"])
    said = [_keeps(found, *pair) for pair in told]
    if len(said) < 2:
        return (
            words.say("clock.lead_one", cloth=said[0]) if said else words.say("clock.lead_untold")
        )
    low, high = (np.array([row[end] for _, row in told]) for end in ("low", "high"))
    alone = {"most": low[0] > high[1:].max(), "least": high[-1] < low[:-1].min()}  # NaN: not known
    ranks = {
        f"{end}_rank": words.say(f"clock.{end}{'' if first else '_shared'}")
        for end, first in alone.items()
    }
    return words.say("clock.lead", most=said[0], least=said[-1], **ranks)


def _keeps(found: grade.Study, one: grade.Drift, at: pd.Series) -> str:
    cloth = fastness_texts.name_in(found, one.swatch).removeprefix(f"{one.swatch}: ")
    name = words.say("clock.named", swatch=one.swatch, cloth=cloth)
    ahead = words.say("clock.a_forecast") if at["known"] == grade.FORECAST else ""
    return words.say("clock.keeps", name=name, said=at["said"], forecast=ahead)


def _just_fades(dose: float) -> str:
    """The blue wool that this dose just fades, where none was lit beside the cloths."""
    if dose == 0:
        return ""
    number, edge = grade.from_dose(dose)
    return words.say(f"clock.just_{edge or 'at'}", number=f"{number:.1f}")


def _say(found: grade.Study, whole: parts.Clock) -> list[str]:
    """What the blue wools say, and what the moments assume."""
    assumed = {"days": _MOMENTS["summer"], "hours": _DAY, "lux": f"{_PLACES['window']:,.0f}"}
    none = [] if whole.beside else [words.say("clock.no_references")]
    summer = words.say("clock.assumes", dose=f"{_SUMMER / 1e6:.1f}", **assumed)
    return [*fastness.beside_sentences(found), *none, summer, words.say("clock.alike")]
