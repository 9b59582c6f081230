"""A book's model, fitted once, and what was asked of it before."""

from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from dyelab import predict, words
from dyelab.book import Book
from dyelab.plot import explore as drawn
from dyelab.plot import style

_SIZE = 60_000  # candidates: plenty for a search, quick to predict


@dataclass(frozen=True)
class Bench:
    """A book's model, fitted once, and what was searched before."""

    made: pd.DataFrame
    model: predict.Model
    tried: drawn.Ground
    trust: str
    listed: pd.DataFrame  # the materials of the book
    kept: dict[Any, Any] = field(default_factory=dict)

    def reach(self, limits: predict.Limits) -> predict.Reach:
        """Candidates within limits, predicted once."""
        key = (str(dict(limits.hold)), str(dict(limits.most)), limits.without)
        if key not in self.kept:
            self.kept[key] = predict.reach(self.model, limits, size=_SIZE)
        return self.kept[key]


def prepared(book: Book) -> Bench:
    """Learn from a book."""
    from dyelab import book as books

    model = predict.fit(books.wide(book), spectra=book.spectra)
    made = style.painted(model.made)
    return Bench(made, model, drawn.ground(made), _trust(model), books.materials(book))


def _trust(model: predict.Model) -> str:
    """How good the model is, in words."""
    return words.say(
        "exploring.trust",
        recipes=len(model.made),
        swatches=len(model.left_out),
        error=f"{model.error:.1f}",
        error_90=f"{model.error_90:.1f}",
        inside=f"{100 * model.inside:.0f}",
    )
