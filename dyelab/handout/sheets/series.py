"""One series to pass on: a page that opens in any browser, and the same numbers as a table."""

from typing import Any

import pandas as pd

from dyelab import compare, table, words
from dyelab.errors import InputError
from dyelab.handout import colours
from dyelab.handout import page as parts
from dyelab.plot import plane

SHOWN = ["recipe", *table.LAB, *table.STANDARD_UNCERTAINTIES, "pieces"]
_FACTORS = [*colours.FACTORS, *table.LAB, *table.STANDARD_UNCERTAINTIES, *table.WHITE, "pieces"]


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


def _find_planned(source: colours.Source, series: str | None) -> pd.DataFrame:
    """Recipes of the series that were planned and not measured yet."""
    if not series or source.unread_recipes.empty:
        return source.unread_recipes
    swatches = source.book.swatches
    own = set(swatches.loc[swatches["series"] == series, "swatch"])
    kept = [bool(own & set(str(codes).split(", "))) for codes in source.unread_recipes["swatch"]]
    return source.unread_recipes[kept]


def sheet(
    source: colours.Source, own: parts.Header = parts.Header(), *, series: str | None = None
) -> parts.Page:
    """Return a page with the figures alive inside, for a student with nothing installed.

    Parameters
    ----------
    source : Source
    own : Header
    series : str, optional
        Name of a series in the book; all swatches without it.

    Raises
    ------
    InputError
        If no swatch of the series was measured.
    """
    made, unread = _of(source, series), _find_planned(source, series)
    every = pd.concat([made, unread])
    blocks: list[Any] = [*_furthest(source, made), *strips(source, every)]
    for fibre, part in made.groupby("fibre", sort=False):
        said = words.say("pages.series_figure", fibre=fibre)
        figure = plane.figure(part.assign(group=_dyes(part)), size=13, groups=list(_dyes(made)))
        blocks += [parts.Heading(parts.capital(said)), parts.live(figure, said)]
        blocks.append(parts.Text(words.say("pages.series_marks"), "small"))
    blocks.append(parts.Text(words.say("pages.series_point"), only="screen"))
    blocks += [
        parts.Heading(words.say("pages.numbers")),
        parts.number_table(made[SHOWN], words.say("pages.series_numbers")),
    ]
    whole = source.title("pages.series_whole", "pages.series_title")
    return source.page(own, series or whole, blocks)


def _furthest(source: colours.Source, made: pd.DataFrame) -> list[Any]:
    """How far one dye reaches: of all dyes here, the two colours of one that differ most."""
    found = [
        (*compare.widest_pair(part[table.LAB].to_numpy()), part)
        for (_, dye), part in made.groupby(["fibre", "dye"], sort=False)
        if dye != "none" and len(part) > 1
    ]
    if not found:
        return [parts.Text(words.say("pages.series_alone", recipes=len(made)), "lead")]
    far, light, dark, part = max(found, key=lambda one: one[0])
    records, ends = part.to_dict("records"), [light, dark]
    labels = [colours.addition_labels(records)[at] for at in ends]
    named = {"dye": part["dye"].iloc[0], "fibre": part["fibre"].iloc[0], "far": f"{far:.1f}"}
    said = words.say("pages.series_lead", light=labels[0], dark=labels[1], **named)
    shown = source.patches([records[at] for at in ends], labels)
    return [parts.Text(parts.with_step(said), "lead"), parts.Chips(shown, 2, 22, touching=True)]


def strips(source: colours.Source, every: pd.DataFrame) -> list[Any]:
    """The colours of each dye on each fibre, from light to dark, then what isn't measured yet."""
    blocks: list[Any] = []
    for (fibre, dye), part in every.groupby(["fibre", "dye"], sort=False):
        rows = part.sort_values("L", ascending=False, na_position="last", kind="stable")
        records = rows.to_dict("records")
        named = colours.cloth({"dye": dye, "cloth": fibre})
        title = words.say("pages.light_to_dark", count=int(rows["L"].notna().sum()), cloth=named)
        made = source.patches(records, colours.addition_labels(records))
        chips = parts.Chips(made, columns=6, height_mm=13, touching=True)
        blocks += [parts.Heading(parts.capital(title)), chips]
    return blocks


def _dyes(made: pd.DataFrame) -> pd.Series:
    return made["dye"].where(made["dye"] != "none", words.say("pages.undyed"))


def numbers(source: colours.Source, *, series: str | None = None) -> pd.DataFrame:
    """Return the series as a table for a spreadsheet: factors, CIELAB, uncertainties.

    Raises
    ------
    InputError
        If no swatch of the series was measured.
    """
    made = _of(source, series)
    names = ["swatch", "recipe", *(name for name in _FACTORS if name in made)]
    return made[names].reset_index(drop=True)
