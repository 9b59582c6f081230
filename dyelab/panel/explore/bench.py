"""A book's model, fitted once, and what was asked of it before."""

from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Any

import pandas as pd

from dyelab import book as books
from dyelab import predict, shift, words
from dyelab.book import Book
from dyelab.plot import explore as drawn
from dyelab.plot import style

_SIZE = 60_000  # candidates: plenty for a search, quick to predict


@dataclass(frozen=True)
class Bench:
    """A book's model, fitted once, and what was searched before."""

    made: pd.DataFrame
    model: Any  # predict.Model; None while the book can't teach one yet
    tried: drawn.Backdrop
    trust: str
    listed: pd.DataFrame  # the materials of the book
    kept: dict[Any, Any] = field(default_factory=dict)

    @cached_property
    def doses(self) -> dict[tuple[str, str], list[float]]:
        """Doses that were dyed, by step and material; each dye of several has its own."""
        found: dict[tuple[str, str], list[float]] = {}
        for row in self.made.to_dict("records"):
            own = [
                ("dye", part.material, part.dose)
                for part in predict.layers(row["dye"], row["dye_wof"])
            ]
            own += [(name, row[name], row[f"{name}_wof"]) for name in ("tannin", "mordant")]
            own += [
                (metal, metal, row[column])
                for metal, column in shift.METALS.items()
                if column in row
            ]
            for step, material, dose in own:
                if dose > 0:
                    found.setdefault((step, material), []).append(float(dose))
        return found

    @cached_property
    def has_printed_areas(self) -> bool:
        """Whether areas of printed cloths are among the recipes: no plan of swatches makes more."""
        return bool(self.made["rest"].str.endswith("printed").any())

    @cached_property
    def alone(self) -> list[str]:
        """Dyes that the book knows alone, so that they may lie over or under one another."""
        known = self.model.over.dyes.alone
        return [dye for dye in self.model.levels["dye"] if dye in known]

    @cached_property
    def vats(self) -> set[str]:
        """Dyes that are dipped."""
        vat = self.made["vat"] if "vat" in self.made else pd.Series(False, self.made.index)
        rows = zip(self.made["dye"], self.made["dye_wof"], vat, strict=True)
        found = [(predict.layers(dye, dose), is_vat) for dye, dose, is_vat in rows]
        return {
            part.material
            for own, is_vat in found
            for part in own
            if part.dips > 1 or (is_vat and len(own) == 1)
        }

    def reach(self, limits: predict.Limits) -> predict.Reach:
        """Candidates within limits, predicted once."""
        key = (str(dict(limits.hold)), str(dict(limits.most)), limits.without)
        if key not in self.kept:
            self.kept[key] = predict.reach(self.model, limits, size=_SIZE)
        return self.kept[key]


def prepare(book: Book) -> Bench:
    """Learn from a book."""
    try:
        model = learn(book)
    except predict.TooFew as few:
        made = style.with_screen_colours(few.made)
        kept = {"next": few.offered}
        return Bench(made, None, drawn.backdrop(made), str(few), books.materials(book), kept)
    made = style.with_screen_colours(model.made)
    return Bench(made, model, drawn.backdrop(made), _trust(model), books.materials(book))


@lru_cache(1)
def learn(book: Book) -> predict.Model:
    """Fit a book's model, once while the book stays as it is."""
    return predict.fit(books.wide(book), spectra=book.spectra)


def _trust(model: predict.Model) -> str:
    """How good the model is, in words."""
    errors = {name: f"{getattr(model, name):.1f}" for name in ("error", "error_90")}
    counts = {"recipes": len(model.made), "swatches": len(model.left_out)}
    return words.say("exploring.trust", inside=f"{100 * model.inside:.0f}", **errors, **counts)
