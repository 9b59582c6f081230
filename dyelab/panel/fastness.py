"""Fastness: how a colour goes through washing or light, what grade that is, and what to promise."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from dyelab import book as books
from dyelab import grade, shift, table, words
from dyelab.book import Book
from dyelab.errors import InputError
from dyelab.handout import fastness as page
from dyelab.handout import fastness_texts
from dyelab.panel import choices, frame

_QUANTITIES = ("dEF", "dE00", "L", "C", "h")
_MOST = 8  # swatches looked at together


@dataclass(frozen=True)
class _Bench:
    """What the panel needs of a book, read once, and the studies made so far."""

    wide: pd.DataFrame
    tested: pd.DataFrame  # one row a tested swatch, with its recipe and `cloth`
    book: Book
    kept: dict[tuple, grade.Study] = field(default_factory=dict)

    def study(self, swatches: tuple[str, ...], asked: str, progress: Any) -> grade.Study:
        key = (swatches, asked)
        if key not in self.kept:
            self.kept[key] = grade.study(
                self.wide,
                swatches=swatches,
                shared=self.book.shared,
                spectra=self.book.spectra,
                change=asked,
                progress=lambda share: progress(share, words.say("fastness_panel.fitting")),
            )
        return self.kept[key]


def panel(book: frame.BookChoice = None) -> frame.Panel:
    """Pick swatches and a test, move through it, see the colour go.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the last one, else the example.
    """
    return frame.Panel(
        "fastness", "fastness_panel.title", _choose, _show, refresh=_fit, prepare=_bench, book=book
    )


def _bench(book: Book) -> _Bench:
    wide = books.wide(book)
    wide = wide.assign(piece=table.pieces(wide))
    after = wide[wide["exposure"].ne("none") & ~grade.is_reference(wide)]
    tested = after.drop_duplicates("piece").reset_index(drop=True)
    cloths = [_cloth(row) for row in tested.to_dict("records")]
    return _Bench(wide, tested.assign(cloth=cloths), book)


def _cloth(row: dict[Any, Any]) -> str:
    dye = words.say("fastness_panel.undyed") if row["dye"] == "none" else row["dye"]
    return words.say("fastness_panel.cloth", dye=dye, fibre=row["fibre"])


def _choose(bench: _Bench) -> dict[str, Any]:
    if bench.tested.empty:
        raise InputError(f"{words.say('grade.no_after')} {words.say('washing.see')}")
    dyed_first = bench.tested.sort_values("dye", key=lambda dye: dye.eq("none"), kind="stable")
    cloths = list(dyed_first["cloth"].drop_duplicates())
    quantities = choices.options("fastness_panel.", _QUANTITIES)
    return {
        "cloth": choices.pick("fastness_panel.what", cloths),
        "swatches": choices.pick_many(
            "fastness_panel.swatches", _swatches(bench, cloths[0]), _twins(bench, cloths[0])
        ),
        "exposure": choices.pick("fastness_panel.exposure", _exposures(bench, ())),
        "at": choices.steps("fastness_panel.at", [("0", 0.0)]),
        "quantity": choices.pick("fastness_panel.quantity", quantities),
        "asked": choices.pick("fastness_panel.asked", grade.GRADES, grade.CHANGE),
        "full": choices.tick("fastness_panel.full"),
    }


def _swatches(bench: _Bench, cloth: str) -> list[tuple[str, str]]:
    rows = bench.tested[bench.tested["cloth"].eq(cloth)].to_dict("records")
    named = [{**row, "swatch": row["piece"]} for row in rows]
    return [(fastness_texts.name(row, bare=True), row["swatch"]) for row in named]


def _twins(bench: _Bench, cloth: str) -> tuple[str, ...]:
    """A swatch without metal over its mordant and one with, to open with something to see."""
    rows = bench.tested[bench.tested["cloth"].eq(cloth)]
    doses = rows[list(shift.METALS.values())]
    plain = rows[doses.eq(0).all(axis=1) & rows["mordant"].ne("none")].head(1)
    plain = plain if len(plain) else rows.head(1)
    same = rows["mordant"].eq(plain["mordant"].iloc[0]) & rows["tannin"].eq(plain["tannin"].iloc[0])
    shifted = rows[same & doses.ge(1).any(axis=1)].head(1)
    return tuple(dict.fromkeys([*plain["piece"], *shifted["piece"]]))


def _tests(bench: _Bench, swatches: tuple[str, ...]) -> pd.DataFrame:
    names = swatches or tuple(bench.tested["piece"])
    rows = bench.wide[bench.wide["piece"].isin(names) & bench.wide["part"].eq("swatch")]
    return rows[rows["exposure"].ne("none")]


def _exposures(bench: _Bench, swatches: tuple[str, ...]) -> list[tuple[str, str]]:
    there = set(_tests(bench, swatches)["exposure"])
    return [(words.wording("fastness.", name), name) for name in table.EXPOSURES if name in there]


def _amounts(bench: _Bench, swatches: tuple[str, ...], exposure: str) -> list[tuple[str, float]]:
    rows = _tests(bench, swatches)
    rows = rows[rows["exposure"].eq(exposure) & rows["amount"].gt(0)]
    found = rows[["amount", "unit"]].drop_duplicates().sort_values("amount")
    said = [(words.say("fastness.before"), 0.0)]
    return said + [(grade.amount_text(x, u), float(x)) for x, u in found.itertuples(index=False)]


def _fit(bench: _Bench, widgets: dict[str, Any]) -> None:
    """Offer the swatches of this cloth, their tests, and the amounts they were read after."""
    cloth = widgets["cloth"].value
    offered = _swatches(bench, cloth)
    if list(widgets["swatches"].options) != offered:
        widgets["swatches"].options = offered
        widgets["swatches"].value = _twins(bench, cloth)
    swatches = tuple(widgets["swatches"].value)
    choices.set_options(widgets["exposure"], _exposures(bench, swatches))
    offered_amounts = _amounts(bench, swatches, widgets["exposure"].value)
    if list(widgets["at"].options) != offered_amounts:
        widgets["at"].options = offered_amounts
        widgets["at"].value = offered_amounts[-1][1]


def _show(bench: _Bench, progress: Any, **chosen: Any) -> frame.Answer:
    swatches, exposure, at = (chosen[name] for name in ("swatches", "exposure", "at"))
    if not swatches:
        raise InputError(words.say("fastness_panel.none"))
    if len(swatches) > _MOST:
        raise InputError(words.say("fastness_panel.many", most=_MOST))
    found = bench.study(tuple(swatches), chosen["asked"], progress)
    rows = found.of(exposure)
    if rows.empty:
        raise InputError(words.say("fastness_panel.not_so", exposure=exposure))
    now = rows if rows["amount"].isna().all() else rows[rows["amount"].eq(at)]
    return frame.Answer(
        _sentence(now, at),
        page.figure(found, exposure, chosen["quantity"], at=at or None),
        fastness_texts.grade_table(rows),
        _chips(found, rows, now),
        [*_more_alike(bench, swatches), *_notes(found, exposure, chosen["quantity"])],
        page=lambda: page.page(found, bench.book.tests, book=bench.book, full=chosen["full"]),
    )


def _sentence(now: pd.DataFrame, at: float) -> str:
    if now.empty:
        return words.say("fastness_panel.start" if at == 0 else "fastness_panel.none_at")
    return grade.pieces_sentence(now, grade.exposure_text(now.iloc[0]))


def _chips(found: grade.Study, rows: pd.DataFrame, now: pd.DataFrame) -> list[list[frame.Chip]]:
    """Each swatch before, and beside it as it is at the chosen amount."""
    groups: list[list[frame.Chip]] = []
    for swatch, part in rows.groupby("swatch", sort=False):
        told = words.say("fastness.before")
        groups.append([frame.Chip.of(part.iloc[0], told, str(swatch), ending="_before")])
        for _, row in now[now["swatch"].eq(swatch)].iterrows():
            said = words.say("fastness.grade", said=row["said"])
            groups[-1].append(frame.Chip.of(row, grade.exposure_text(row), said))
    return groups


def _notes(found: grade.Study, exposure: str, quantity: str) -> list[str]:
    """Forecasts, changes of tone, blue wool, and what limits all of it."""
    last = found.hardest(exposure)
    notes = []
    for _, row in last.iterrows():
        notes.append(grade.forecast_sentence(found, row["swatch"], exposure))
        if row["verdict"] != "not_settled":
            notes.append(grade.tone_sentence(row))
    notes += page.beside_sentences(found) if exposure == "light" else []
    notes += fastness_texts.held_sentences(found, exposure)
    notes += page.stain_sentences(found, exposure)
    one = next((d for d in found.drifts if d.exposure == exposure), None)
    if one is not None and quantity in one.left_out:
        notes.append(words.say("fastness_panel.no_curve", why=one.left_out[quantity]))
    if one is None:
        notes.append(words.say("fastness_panel.one_amount"))
    elif not np.isfinite(one.longest):
        notes.append(words.say("grade.no_amounts"))
    by_photo = exposure == "wash" and last["screening"].any()
    steps = [words.say("washing.see")] if by_photo else []
    return [*[note for note in notes if note], *found.gaps, *page.cautions(found), *steps]


def _more_alike(bench: _Bench, swatches: tuple[str, ...]) -> list[str]:
    """Swatches of the recipes chosen that were tested too: replicates, which settle more."""
    rows = bench.tested
    alike = rows[rows["recipe"].isin(rows.loc[rows["piece"].isin(swatches), "recipe"])]
    more = [name for name in alike["piece"] if name not in swatches]
    return [words.say("fastness_panel.more_alike", swatches=", ".join(more))] if more else []
