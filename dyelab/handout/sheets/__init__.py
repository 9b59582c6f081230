"""The pages to hand out: what makes each kind, and what it asks for."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from dyelab import words
from dyelab.errors import InputError
from dyelab.handout import fastness
from dyelab.handout import page as parts
from dyelab.handout.colours import Source
from dyelab.handout.sheets import (
    cards,
    clock,
    metal,
    mordants,
    report,
    series,
    sorting,
    wall,
    worksheet,
)

CLOTH = ("fibre", "dye", "tannin", "mordant")


@dataclass(frozen=True)
class Kind:
    """A kind of page.

    Attributes
    ----------
    sheet : callable
        ``sheet(source, own, **chosen)``.
    asks : tuple of str
        The choices it asks for.
    """

    sheet: Callable[..., parts.Page]
    asks: tuple[str, ...]

    def make(self, source: Source, own: parts.Header, chosen: dict[str, Any]) -> parts.Page:
        """Return the page; of what was chosen by name it takes what it asks for.

        Raises
        ------
        InputError
            If it asks for a dyed cloth and none was measured; or as its own sheet does.
        """
        if any(name in CLOTH and chosen[name] is None for name in self.asks):
            raise InputError(words.say("pages.none_dyed"))
        return self.sheet(source, own, **{name: chosen[name] for name in self.asks})


def _fastness(source: Source, own: parts.Header, **chosen: Any) -> parts.Page:
    return fastness.sheet(source.book, own, **chosen)


KINDS = {
    "mordants": Kind(mordants.sheet, ("fibre", "dye")),
    "metals": Kind(metal.sheet, ("metal", *CLOTH)),
    "strip": Kind(metal.strip, ("metal", *CLOTH)),
    "fastness": Kind(_fastness, ("series", "full")),
    "clock": Kind(clock.clock, ("swatches",)),
    "card": Kind(cards.card, ("swatch",)),
    "worksheet": Kind(worksheet.worksheet, ("metal", "count")),
    "samples": Kind(cards.samples, ("swatches",)),
    "sorting": Kind(sorting.cards, ("swatches",)),
    "wall": Kind(wall.chart, ("fibre", "upright")),
    "series": Kind(series.sheet, ("series",)),
    "report": Kind(report.report, ()),
}
