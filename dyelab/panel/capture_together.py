"""A photo that goes with an earlier one of the book: choose it, check it, say what came of it."""

from dataclasses import dataclass
from typing import Any

from dyelab import measure, words
from dyelab.panel import choices

_MOST = 20  # photos offered, the latest first


@dataclass(frozen=True)
class Pairing:
    """An earlier photo, and how the one at hand compares with it."""

    earlier: measure.Earlier
    kin: measure.Kinship

    @property
    def together(self) -> bool:
        return self.kin.verdict == "together"


def choose(book: Any) -> dict[str, Any]:
    """Widgets `goes_with` and `witnesses`."""
    return {
        "goes_with": choices.pick("capture.goes_with", _earlier(book)),
        "witnesses": choices.text("capture.witnesses"),
    }


def _earlier(book: Any) -> list[tuple[str, str]]:
    return [(words.say("capture.goes_alone"), ""), *photos(book)]


def fit(book: Any, made: dict[str, Any]) -> None:
    """Offer the photos that the book has by now; ask for witnesses of one that goes with them."""
    choices.set_options(made["goes_with"], _earlier(book))
    made["goes_with"].layout.display = None if len(made["goes_with"].options) > 1 else "none"
    made["witnesses"].layout.display = None if made["goes_with"].value else "none"


def photos(book: Any) -> list[tuple[str, str]]:
    """Photos of the book that another can go with: what they are called here, and their source."""
    rows = book.readings[book.readings["method"].eq("photo")]
    rows = rows[rows["reading"].isin(book.shared["reading"])]
    names = dict(zip("photos/" + book.photos["photo"], book.photos["original"], strict=True))
    found = []
    for source, codes in rows.groupby("source", sort=False)["swatch"].agg(list).items():
        told = {"name": names.get(source, source), "first": codes[0], "last": codes[-1]}
        named = words.say("capture.photo_called", count=len(codes), **told)
        found.append((named, str(source)))
    return found[::-1][:_MOST]


def witnesses(text: str) -> tuple[str, ...]:
    """Swatch codes, parted by commas or spaces."""
    return tuple(text.replace(",", " ").replace(";", " ").split())


def notes(pairing: Pairing | None, made: Any, book: Any) -> list[str]:
    """Whether the photos go together, and what the witnesses saw."""
    if pairing is None:
        return [words.say("capture.may_go_with")] if photos(book) else []
    if not pairing.together:
        return [words.say(f"capture.apart_{pairing.kin.verdict}", apart=pairing.kin.apart)]
    said = [words.say("capture.together", apart=pairing.kin.apart)]
    for row in made.witnesses.to_dict("records"):
        key = "capture.witness_large" if row["large"] else "capture.witness"
        said.append(words.say(key, swatch=row["swatch"], change=row["dE00"]))
    return said
