"""The recipes of a book, gathered once for a panel, by each method of reading asked for."""

from dataclasses import dataclass, field

import pandas as pd

from dyelab import shift
from dyelab.book import Book


@dataclass(frozen=True)
class Gathered:
    """Recipes of a book: `every` method apart, and by one method what `recipes` gives."""

    every: shift.Recipes
    spectra: pd.DataFrame | None
    wide: pd.DataFrame
    shared: pd.DataFrame | None
    kept: dict[str, shift.Recipes] = field(default_factory=dict)

    def recipes(self, method: str | None) -> shift.Recipes:
        """What was read by one method; by all of them, each apart, without."""
        if method is None or self.every.methods == [method]:
            return self.every
        if method not in self.kept:
            self.kept[method] = shift.as_dyed(self.wide, shared=self.shared, method=method)
        return self.kept[method]


def of(book: Book) -> Gathered:
    """Gather the recipes of an open book."""
    from dyelab import book as books

    wide = books.wide(book)
    return Gathered(shift.as_dyed(wide, shared=book.shared), book.spectra, wide, book.shared)
