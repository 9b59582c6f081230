"""For the class: a worksheet to predict the shift, and check it."""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from dyelab import compare, convert, shift, table, words
from dyelab.errors import InputError
from dyelab.handout import colours
from dyelab.handout import page as parts
from dyelab.handout.metal_texts import change_words, controls, metals_text
from dyelab.shift.family import Dose

_LETTERS = ("A", "B", "C")
_APART = 8.0  # ΔE00: told apart at a glance on a class's printer (common practice, no source)
_REASONS = ("tannin", "dye", "own", "vat", "washed")
_NOTES = ("pages.answers_note", "pages.in_hue", "worksheet.basis")
_SOURCES = {("iron", "tannin"): "wilson", ("", "dye"): "manian", ("", "vat"): "zollinger"}


def worksheet(
    source: colours.Source,
    own: parts.Header = parts.Header(),
    *,
    metal: str,
    count: int = 5,
) -> parts.Page:
    """Pick what a metal makes of each colour, and say why.

    On paper the answers and their reasons are on the teacher's sheet, the last; on a screen each
    shows when it is tapped.

    Parameters
    ----------
    source : Source
    own : Header
    metal : str
        One of ``recipe.metals``, such as ``iron``.
    count : int
        Colours to ask about; fewer where the book has fewer.

    Raises
    ------
    InputError
        If no swatch differs from another by this metal alone.
    """
    found = pick_pairs(source, metal, int(count))
    if found.empty:
        raise InputError(words.say("pages.no_pairs", metal=metal))
    asking = [_Asked(source, n, row, metal) for n, row in enumerate(found.to_dict("records"), 1)]
    title = words.say("pages.worksheet_title", metal=metal)
    holding = [one for one in _REASONS if any(one in own.reasons for own in asking)]
    blocks = [
        parts.Fields((words.say("worksheet.name"), words.say("worksheet.date"))),
        parts.Text(words.say("worksheet.lead", metal=metal), "lead"),
        *[block for one in asking for block in one.question()],
        parts.HandIn(),
        parts.NewPage(only="paper"),
        parts.Heading(words.say("worksheet.teacher"), only="paper"),
        *[block for one in asking for block in one.answer()],
        parts.Text(" ".join(_why(metal, one) for one in holding), only="paper"),
        parts.Text(" ".join(map(words.say, _NOTES)), "small"),
        *_sources(metal, holding),
        parts.Caution(
            source.cautions_of((one.after for one in asking), children=True, doses=False)
        ),
    ]
    return source.page(own, title, blocks, tight=True)


def pick_pairs(source: colours.Source, metal: str, count: int) -> pd.DataFrame:
    """Matched pairs of many kinds: each dye and cloth once, at the dose most often dyed.

    One of three or more is on a tannin, where the book has one: there the metal does most.
    """
    pairs = source.pairs(metal)
    if pairs.empty:
        return pairs
    usual = pairs["dose"].mode().iloc[0]
    near = pairs.assign(off=(pairs["dose"] - usual).abs()).sort_values("off", kind="stable")
    once = near.drop_duplicates(["dye", "cloth"]).sort_index()
    dyed = once[once["dye"] != "none"].drop_duplicates("dye")
    rest = once.drop(dyed.index)
    listed = pd.concat([dyed, rest])
    tannin = listed[listed["tannin"] != "none"]
    if count < 3 or tannin.empty or (listed["tannin"].head(count) != "none").any():
        return listed.head(count)
    return pd.concat([listed.head(count - 1), tannin.head(1)])


@dataclass(frozen=True)
class _Asked:
    """One question: a pair, its candidate colours, its reasons."""

    source: colours.Source
    number: int
    row: dict[Any, Any]
    metal: str

    @property
    def dose(self) -> str:
        return metals_text(self._dose)

    @property
    def after(self) -> dict[Any, Any]:
        return self.source.made.iloc[self.row["to_row"]].to_dict()

    @cached_property
    def candidates(self) -> list[int]:
        """Row numbers of colours to choose from, the right one among them."""
        others = _unlike(self.source.made, self.row["from_row"], self.row["to_row"])
        place = self.number * 2 % (len(others) + 1)  # no place is the right one twice running
        return [*others[:place], int(self.row["to_row"]), *others[place:]]

    @property
    def letter(self) -> str:
        return _LETTERS[self.candidates.index(int(self.row["to_row"]))]

    def question(self) -> list[Any]:
        values = {"number": self.number, "cloth": colours.cloth(self.row), "dose": self.dose}
        labels = [words.say("pages.before"), *_LETTERS]
        made = _chips(self.source, [self.row["from_row"], *self.candidates], labels)
        hidden = tuple(replace(patch, numbers="") for patch in made)
        why = tuple(words.say(f"worksheet.{reason}", metal=self.metal) for reason in _REASONS)
        label, letters = words.say("worksheet.tap"), tuple(_LETTERS[: len(made) - 1])
        key = f"{self.number} {str(self.after['swatch']).split(',')[0]}"
        return [
            parts.Heading(words.say("pages.question", **values)),
            parts.Chips(hidden, columns=5, height_mm=11, sticky=True),
            parts.TickQuestion(words.say("worksheet.which"), letters, 5, f"{key} which", one=True),
            parts.TickQuestion(words.say("worksheet.why"), why, key=f"{key} why"),
            parts.Reveal(label, self._pair(), (self._said(), self._right(), *self._because())),
        ]

    def answer(self) -> list[Any]:
        pair = parts.Chips(
            self._pair(), columns=4, height_mm=7, touching=True, only="paper", sticky=True
        )
        texts = [self._said(), " ".join([self._right(), *self._controls()])]
        return [pair, *[parts.Text(text, only="paper") for text in texts]]

    def _pair(self) -> tuple[parts.Patch, ...]:
        labels = [f"{self.number}. {words.say('pages.before')}", f"{self.letter}: {self.dose}"]
        return _chips(self.source, [self.row["from_row"], self.row["to_row"]], labels)

    def _said(self) -> str:
        told = words.say("pages.one", recipe=colours.cloth(self.row), **change_words(self.row))
        return f"{self.letter}. {told}"

    def _right(self) -> str:
        """The reasons to tick, and the metal's own colour where it is a small part of it."""
        ticked = [words.say(f"worksheet.{one}", metal=self.metal) for one in self.reasons]
        said = words.say("worksheet.right", reasons="; ".join(ticked))
        if "own" in self.reasons or self.row["verdict"] != compare.REAL or not self._bare_moved():
            return said
        own = words.say("worksheet.own", metal=self.metal)
        return f"{said} {words.say('worksheet.partly', reason=own)}"

    def _because(self) -> list[str]:
        """Why the reasons hold, then what the cloths without the dye showed."""
        return [" ".join(_why(self.metal, one) for one in self.reasons), *self._controls()]

    @cached_property
    def reasons(self) -> list[str]:
        """Which of the reasons hold."""
        after = self.after
        tannin, dye = after.get("tannin", "none") != "none", after["dye"] != "none"
        rows = self.source.rows
        vat = "vat" in rows and bool(rows.loc[rows["variant"] == self.row["to_row"], "vat"].any())
        found = {"tannin": tannin, "dye": dye and not vat, "vat": vat, "own": not (tannin or dye)}
        return [reason for reason, holds in found.items() if holds]

    @cached_property
    def _family(self) -> shift.Family | None:
        """The dyed cloth with its controls; none where the pair has another metal in both."""
        picked = {key: self.after[key] for key in shift.shared_factors(self.source.made)}
        try:
            return shift.family(self.source.recipes, self.source.moves, metal=self.metal, **picked)
        except InputError:
            return None

    def _bare_moved(self) -> bool:
        """Whether the metal changed cloth without dye and tannin by more than chance."""
        ends = self._family.ends("undyed", self._dose) if self._family else []
        change = self._family.from_start(ends[-1]) if self._family and len(ends) == 2 else None
        return bool(change and change["verdict"] == compare.REAL)

    def _controls(self) -> list[str]:
        if self.after["dye"] == "none" or self._family is None:
            return []
        return controls(self._family, self._dose)

    @property
    def _dose(self) -> Dose:
        return shift.doses_of(**{self.metal: self.row["dose"]})


def _source(metal: str, reason: str) -> str:
    """Which published source a reason has; ``none`` for the common practice of the trade."""
    return _SOURCES.get((metal, reason)) or _SOURCES.get(("", reason), "none")


def _why(metal: str, reason: str) -> str:
    """Why a reason holds, and who says so."""
    why = words.say(f"worksheet.because_{reason}", metal=metal)
    source = words.say(f"worksheet.cite_{_source(metal, reason)}")
    return parts.capital(words.say("worksheet.because", why=why, source=source))


def _sources(metal: str, reasons: list[str]) -> list[Any]:
    """Published sources of these reasons, in full."""
    cited = dict.fromkeys(_source(metal, reason) for reason in reasons)
    texts = [words.say(f"worksheet.source_{name}") for name in cited if name != "none"]
    said = words.say("worksheet.sources", sources=" ".join(texts))
    return [parts.Text(said, "small")] if texts else []


def _unlike(made: pd.DataFrame, start: int, right: int) -> list[int]:
    """Two other colours of the book, told from the right one and each other at a glance.

    As near as that allows, so that choosing takes thought: of the same fibre where it has enough.
    """
    lab = made[table.LAB].to_numpy(float)
    off = convert.dE00(np.broadcast_to(lab[right], lab.shape), lab)
    same = (made["fibre"] == made["fibre"].iloc[right]).to_numpy()
    chosen: list[int] = []
    for at in np.lexsort((off, ~same)):
        apart = [float(convert.dE00(lab[[one]], lab[[at]])[0]) for one in (right, *chosen)]
        if at != start and min(apart) >= _APART:
            chosen.append(int(at))
        if len(chosen) == len(_LETTERS) - 1:
            break
    return chosen


def _chips(source: colours.Source, rows: list[int], labels: list[str]) -> tuple[parts.Patch, ...]:
    return tuple(parts.patches(source.made.iloc[rows], labels[: len(rows)]))
