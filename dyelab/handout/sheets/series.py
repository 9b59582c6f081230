"""One series to pass on: a page that opens in any browser, and the same numbers as a table."""

from typing import Any

import pandas as pd

from dyelab import table, words
from dyelab.errors import InputError
from dyelab.handout import colours
from dyelab.handout import page as parts
from dyelab.plot import plane

_NUMBERS = ["recipe", *table.LAB, *table.STANDARD_UNCERTAINTIES, "pieces"]
_FACTORS = [
    *colours.FACTORS,
    *table.LAB,
    *table.STANDARD_UNCERTAINTIES,
    *table.WHITE,
    "pieces",
]


def names(source: colours.Source) -> list[str]:
    """Series of the book that have been measured."""
    if "series" not in source.rows:
        return []
    return [str(name) for name in source.rows["series"].dropna().unique() if str(name)]


def _of(source: colours.Source, series: str | None) -> pd.DataFrame:
    if not series:
        return source.made
    rows = source.rows[source.rows["series"] == series]
    found = source.made[source.made["variant"].isin(rows["variant"])]
    if found.empty:
        raise InputError(words.say("pages.no_series", series=series))
    return found


def _planned(source: colours.Source, series: str | None) -> pd.DataFrame:
    """Recipes of the series that were planned and not measured yet."""
    if not series or source.unread.empty:
        return source.unread
    swatches = source.book.swatches
    own = set(swatches.loc[swatches["series"] == series, "swatch"])
    kept = [bool(own & set(str(codes).split(", "))) for codes in source.unread["swatch"]]
    return source.unread[kept]


def shared(
    source: colours.Source, own: parts.Own = parts.Own(), *, series: str | None = None
) -> parts.Page:
    """Return a page with the figures alive inside, for a student with nothing installed.

    Parameters
    ----------
    source : Source
    own : Own
    series : str, optional
        Name of a series in the book; all swatches without it.

    Raises
    ------
    InputError
        If no swatch of the series was measured.
    """
    made, unread = _of(source, series), _planned(source, series)
    title = series or getattr(source.book, "title", "") or words.say("pages.series_title")
    blocks: list[Any] = [
        parts.Text(words.say("pages.series_lead", recipes=len(made)), "lead"),
        parts.Text(words.say("pages.series_point"), only="screen"),
    ]
    for fibre, part in pd.concat([made, unread]).groupby("fibre", sort=False):
        read = part[part["L"].notna()]
        blocks.append(parts.Heading(parts.opened(str(fibre))))
        if len(read):
            figure = plane.figure(read.assign(group=_dyes(read)), size=13)
            blocks.append(parts.live(figure, words.say("pages.series_figure", fibre=fibre)))
        blocks.append(_chips(part))
    blocks += [parts.Heading(words.say("pages.numbers")), parts.number_table(made[_NUMBERS])]
    return own.page(str(title), blocks, white=source.white, how=source.how)


def _dyes(made: pd.DataFrame) -> pd.Series:
    return made["dye"].where(made["dye"] != "none", words.say("pages.undyed"))


def _chips(made: pd.DataFrame) -> parts.Chips:
    labels = [colours.recipe(row) for row in made.to_dict("records")]
    return parts.Chips(tuple(parts.patches(made[[*table.LAB, *table.WHITE]], labels)), columns=5)


def numbers(source: colours.Source, *, series: str | None = None) -> pd.DataFrame:
    """Return the series as a table for a spreadsheet: factors, CIELAB, uncertainties.

    Raises
    ------
    InputError
        If no swatch of the series was measured.
    """
    made = _of(source, series)
    return made[["swatch", *[name for name in _FACTORS if name in made]]].reset_index(drop=True)
