"""Which swatch lies in which window: by label, by order, or as typed; and what is to be asked."""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from dyelab import measure, words
from dyelab.book import Book
from dyelab.errors import InputError

LABEL, TYPED, ORDER, BESIDE = "label", "typed", "order", "beside"
_ASKED = ("half", "strange", "twice", "several")  # a label is there and doesn't name its window


@dataclass(frozen=True)
class Naming:
    """Names of windows.

    Attributes
    ----------
    swatches : dict of str to str
        Swatch of each named place.
    how : dict of str to str
        Of every place: ``label``, ``typed``, ``order``, ``beside`` (a table beside the photo),
        or why it has no name, as `measure.names_by_label` has it.
    labels : DataFrame
        As `measure.names_by_label` gives it; empty without a card.
    """

    swatches: dict[str, str]
    how: dict[str, str]
    labels: pd.DataFrame

    @property
    def asked(self) -> list[str]:
        """Places whose label doesn't name them."""
        return [place for place, how in self.how.items() if how in _ASKED]


def name_windows(
    places: list[str], labels: pd.DataFrame, book: Book, picked: dict[str, Any], origin: Path | None
) -> Naming:
    """Name the windows: what is typed counts first, then labels, then order or a table beside."""
    typed = named(picked["names"])
    read = labels[labels["label"] == measure.READ]
    by_label = dict(zip(read["place"], read["swatch"], strict=True))
    codes, first = list(book.swatches["swatch"]), picked["first"]
    laid = codes[codes.index(first) :] if first in codes else []
    rest = dict(zip(places, laid, strict=False)) if laid else _beside(origin if not typed else None)
    doubtful = set(labels["place"][labels["label"].isin(_ASKED)])
    taken = {*by_label.values(), *typed.values()}
    rest = {p: s for p, s in rest.items() if p not in doubtful and s not in taken}
    swatches = rest | by_label | typed
    sources = [(typed, TYPED), (by_label, LABEL), (rest, ORDER if laid else BESIDE)]
    why = dict(zip(labels["place"], labels["label"], strict=True))
    how = {p: next((n for s, n in sources if p in s), why.get(p, "none")) for p in places}
    return Naming({p: s for p, s in swatches.items() if s}, how, labels)


def notes(naming: Naming) -> list[str]:
    """What is to be said about the labels, the windows to be asked for last."""
    labels = naming.labels
    rows = [r for r in labels.to_dict("records") if naming.how.get(r["place"]) in _ASKED]
    said = [_about(row) for row in rows if row["label"] != "twice"]
    for swatch, pair in labels[labels["label"] == "twice"].groupby("about"):
        if set(pair["place"]) & set(naming.asked):
            places = ", ".join(pair["place"])
            said.append(words.say("capture.label_twice", swatch=swatch, places=places))
    turned = labels["place"][labels["upside_down"] & labels["label"].eq("read")]
    if len(turned):
        said.append(words.say("capture.label_turned", places=", ".join(turned)))
    if naming.asked:
        said.append(words.say("capture.asked", lines=", ".join(f"{p} = …" for p in naming.asked)))
    if ORDER in naming.how.values():
        said.append(words.say("capture.by_order"))
    return said


def _about(row: dict[Any, Any]) -> str:
    return words.say(f"capture.label_{row['label']}", place=row["place"])


def named(text: str) -> dict[str, str]:
    """Which swatch lies at which place, from lines such as ``A1 = W07``.

    Raises
    ------
    InputError
        For a line that isn't so.
    """
    made = {}
    for line in filter(None, map(str.strip, re.split(r"[\n;,]", text))):
        place, equals, swatch = (part.strip() for part in line.partition("="))
        if not (place and equals and swatch):
            raise InputError(words.say("capture.line", line=line))
        made[place] = swatch
    return made


def _beside(origin: Path | None) -> dict[str, str]:
    """The table `place, swatch` of the photo's own name beside it, if there is one."""
    beside = None if origin is None else origin.with_suffix(".csv")
    if origin is None or beside is None or not beside.is_file():
        return {}
    from dyelab import book as books

    by_photo = books.read_places(beside)
    return by_photo.get("", {}) | by_photo.get(origin.name, {})


def annotations(naming: Naming, places: list[str], quads: Any) -> list[dict[str, Any]]:
    """Each name on its window, for the figure; a question mark where it is to be asked."""
    made = []
    for place, quad in zip(places, quads, strict=True):
        text = naming.swatches.get(place, "?" if naming.how[place] in _ASKED else "")
        if not text:
            continue
        low = quad[quad[:, 1].argsort()[2:]].mean(axis=0)
        made.append(
            {"x": float(low[0]), "y": float(low[1]), "text": text, "showarrow": False,
             "yanchor": "bottom", "borderpad": 2, "font": {"size": 11, "color": "#ffffff"},
             "bgcolor": "#a33b00" if text == "?" else "rgba(20,20,20,0.78)"}
        )  # fmt: skip
    return made
