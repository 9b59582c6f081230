"""Which swatch lies in which window: by label, by order, or as typed; and what is to be asked."""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import ipywidgets as widgets
import pandas as pd

from dyelab import book as books
from dyelab import measure, words
from dyelab.book import Book
from dyelab.errors import InputError
from dyelab.panel import choices

LABEL, TYPED, ORDER, BESIDE, EMPTY = "label", "typed", "order", "beside", "empty"
# A label is there and doesn't name its window.
_ASKED = ("half", "strange", "twice", "several", "shared")


@dataclass(frozen=True)
class Naming:
    """Names of windows.

    Attributes
    ----------
    swatches : dict of str to str
        Swatch of each named place.
    how : dict of str to str
        Of every place: ``label``, ``typed``, ``order``, ``beside`` (a table beside the photo),
        or why it has no name: ``empty``, or as `measure.names_by_label` has it.
    labels : DataFrame
        As `measure.names_by_label` gives it; empty without a card.
    new : tuple of str
        Swatches named that the book doesn't know.
    bare : tuple of str
        Areas that their printed cloths don't have yet: nothing was put on them of their own.
    """

    swatches: dict[str, str]
    how: dict[str, str]
    labels: pd.DataFrame
    new: tuple[str, ...] = ()
    bare: tuple[str, ...] = ()

    @property
    def open(self) -> list[str]:
        """Places that may hold a swatch, those without a name first."""
        there = [place for place, how in self.how.items() if how != EMPTY]
        return sorted(there, key=lambda place: place in self.swatches)

    @property
    def unnamed(self) -> list[str]:
        """Places whose label doesn't name them."""
        return [place for place, how in self.how.items() if how in _ASKED]

    @property
    def summary(self) -> str:
        """How many windows have a name, and what to do next."""
        empty = [place for place, how in self.how.items() if how == EMPTY]
        count, named_ = len(self.how) - len(empty), len(self.swatches)
        key = "none" if not named_ else "all" if named_ == count else "some"
        told = [words.say(f"capture.told_{key}", count=count, named=named_, left=count - named_)]
        if self.unnamed:
            told.append(words.say("capture.asked_many", count=len(self.unnamed)))
        if empty:
            told.append(words.say("capture.told_empty", places=choices.code_range(empty)))
        if self.new:
            new = choices.code_range(self.new)
            told.append(words.say("capture.told_new", swatches=new, count=len(self.new)))
        if self.bare:
            told.append(words.say("capture.told_bare", areas=choices.code_range(self.bare)))
        return " ".join(told)

    @property
    def notes(self) -> list[str]:
        """What is to be said about the labels, the windows to be asked for last."""
        labels = self.labels
        rows = [r for r in labels.to_dict("records") if self.how.get(r["place"]) in _ASKED]
        said = [_about(row) for row in rows if row["status"] != "twice"]
        for swatch, pair in labels[labels["status"] == "twice"].groupby("about"):
            if set(pair["place"]) & set(self.unnamed):
                places = ", ".join(pair["place"])
                said.append(words.say("capture.label_twice", swatch=swatch, places=places))
        turned = labels["place"][labels["upside_down"] & labels["status"].eq("read")]
        if len(turned):
            said.append(words.say("capture.label_turned", places=", ".join(turned)))
        if self.unnamed:
            said.append(
                words.say("capture.asked", lines=", ".join(f"{p} = …" for p in self.unnamed))
            )
        if ORDER in self.how.values():
            said.append(words.say("capture.by_order"))
        return said

    def annotations(self, places: list[str], quads: Any) -> list[dict[str, Any]]:
        """Each name on its window, for the figure; a question mark where it is to be asked."""
        made = []
        for place, quad in zip(places, quads, strict=True):
            text = self.swatches.get(place, "?" if self.how[place] in _ASKED else "")
            if not text:
                continue
            low = quad[quad[:, 1].argsort()[2:]].mean(axis=0)
            made.append(
                {"x": float(low[0]), "y": float(low[1]), "text": text, "showarrow": False,
                 "yanchor": "bottom", "borderpad": 2, "font": {"size": 11, "color": "#ffffff"},
                 "bgcolor": "#a33b00" if text == "?" else "rgba(20,20,20,0.78)"}
            )  # fmt: skip
        return made


def name_windows(
    table: pd.DataFrame, labels: pd.DataFrame, book: Book, picked: dict[str, Any],
    origin: Path | None,
) -> Naming:  # fmt: skip
    """Name the windows: what is typed counts first, then labels, then order or a table beside.

    Parameters
    ----------
    table : DataFrame
        `place` and `flags` of each window, as measured.

    Raises
    ------
    InputError
        If a line names a place that isn't there, or one swatch twice.
    """
    places, codes = list(table["place"]), list(book.swatches["swatch"])
    typed = _spell(read_names(picked["names"]), places, book)
    read = labels[labels["status"] == measure.READ]
    by_label = dict(zip(read["place"], read["swatch"], strict=True))
    first = picked["first"]
    laid = codes[codes.index(first) :] if first in codes else []
    bare = _bare(table)
    rest = dict(zip([p for p in places if p not in bare], laid, strict=False))
    rest = rest if laid else _beside(origin if not typed else None)
    doubtful = set(labels["place"][labels["status"].isin(_ASKED)])
    taken = {*by_label.values(), *typed.values()}
    rest = {p: s for p, s in rest.items() if p not in doubtful and s not in taken}
    swatches = rest | by_label | typed
    sources = [(typed, TYPED), (by_label, LABEL), (rest, ORDER if laid else BESIDE)]
    why = dict(zip(labels["place"], labels["status"], strict=True))
    why |= {place: EMPTY for place in bare if place not in doubtful}
    how = {p: next((n for s, n in sources if p in s), why.get(p, "none")) for p in places}
    swatches = {p: s for p, s in swatches.items() if s and p in places}
    there = {*codes, *candidates(book)}
    new = dict.fromkeys(s for s in swatches.values() if s not in there)
    apart = tuple(name for name in new if books.part_of(book, name)[0])
    return Naming(swatches, how, labels, tuple(s for s in new if s not in apart), apart)


def candidates(book: Book) -> list[str]:
    """What may lie in a window: the book's swatches, and the areas of those that have any."""
    areas = books.named_areas(book)
    each = [(code, areas.get(code, [""])) for code in book.swatches["swatch"]]
    return [f"{code} {area}".strip() for code, own in each for area in own]


def _spell(typed: dict[str, str], places: list[str], book: Book) -> dict[str, str]:
    """Lines with places and swatches spelt as the card and the book spell them."""
    located = books.locate(book, typed.values())
    spelt = {
        name: code if area == "whole" else f"{code} {area}"
        for name, (code, area) in located.items()
    }
    there = {place.casefold(): place for place in places}
    for place in typed:
        if place.casefold() not in there:
            raise InputError(
                words.say("capture.no_place", place=place, places=choices.code_range(places))
            )
    found = {there[p.casefold()]: spelt.get(s, s) for p, s in typed.items()}
    twice = [swatch for swatch, count in Counter(found.values()).items() if count > 1]
    if twice:
        where = ", ".join(place for place, swatch in found.items() if swatch == twice[0])
        raise InputError(words.say("capture.typed_twice", swatch=twice[0], places=where))
    return found


def _bare(table: pd.DataFrame) -> list[str]:
    """The windows at the end of the card that look like bare paper.

    One among others may hold an undyed cloth as white as paper.
    """
    looks = table["flags"].str.split().map(lambda flags: EMPTY in flags)
    return list(table["place"][looks[::-1].cummin()[::-1]])


class Tap(widgets.HBox):
    """Which swatch lies in a window: tap the window in the picture, or choose it here."""

    def __init__(self, told: Callable[[str, str], None]) -> None:
        self._told, self._named = told, dict[str, str]()
        self.place = choices.pick("capture.tap_place", [])
        hint = words.say("capture.tap_hint")
        self.swatch = choices.typed_or_listed("capture.tap_swatch", hint=hint)
        self.place.observe(lambda _: self._show(), "value")
        self.swatch.observe(self._given, "value")
        super().__init__([self.place, self.swatch])
        self.add_class("dl-tap")
        self.offer([], [])

    def offer(
        self, places: list[str], swatches: list[str], named: dict[str, str] | None = None
    ) -> None:
        """Offer windows, those without a name first, and the book's swatches not yet named."""
        self._named = named or {}
        self.layout.display = "" if places else "none"
        listed = [(f"{p}: {self._named[p]}" if p in self._named else p, p) for p in places]
        self.place.options = listed
        self.place.value = next(iter(places), None)
        self.swatch.options = [s for s in swatches if s not in self._named.values()]
        self._show()

    def turn_to(self, place: str) -> None:
        """Ask for this window next."""
        if place in dict(self.place.options).values():
            self.place.value = place

    def _show(self) -> None:
        self._quiet = True
        self.swatch.value = self._named.get(self.place.value, "")
        self._quiet = False

    def _given(self, change: Any) -> None:
        swatch = change["new"].strip()
        if swatch and not self._quiet and self.place.value:
            self._told(self.place.value, swatch)


def _about(row: dict[Any, Any]) -> str:
    return words.say(f"capture.label_{row['status']}", place=row["place"])


def read_names(text: str) -> dict[str, str]:
    """Which swatch lies at which place, from lines such as ``A1 = W07``.

    Raises
    ------
    InputError
        For a line that isn't so.
    """
    return dict(choices.equations(text, r"[\n;,]", "capture.line"))


def _beside(origin: Path | None) -> dict[str, str]:
    """The table `place, swatch` of the photo's own name beside it, if there is one."""
    beside = None if origin is None else origin.with_suffix(".csv")
    if origin is None or beside is None or not beside.is_file():
        return {}
    by_photo = books.read_places(beside)
    return by_photo.get("", {}) | by_photo.get(origin.name, {})
