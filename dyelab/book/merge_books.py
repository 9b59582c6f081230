"""Two books into one, also where their codes clash."""

from dataclasses import replace
from typing import Any

import pandas as pd

from dyelab import limits, recipe, table
from dyelab.book import folder
from dyelab.book.folder import PHOTOS
from dyelab.book.opening import add
from dyelab.book.photos import put
from dyelab.book.swatch_book import Book, keys, tables
from dyelab.errors import InputError

_CODES = {"materials": "material", "swatches": "swatch", "tests": "test", "readings": "reading"}
_WHERE = {
    "material": ("materials", "steps"),
    "swatch": ("swatches", "steps", "readings", "photos"),
    "test": ("tests", "readings"),
    "reading": ("readings", "spectra", "shared"),
}


def merge(bk: Book, other: Book) -> tuple[Book, pd.DataFrame]:
    """Bring everything of another book into this one; `save` writes it.

    A code that both use for the same thing is the same thing. A code that they use for
    different things gets an ending in the book brought in: ``K-07`` becomes ``K-07~2``. So does
    a bath of a series that both have, unless a swatch of both lay in it: it was another pot.
    Photos are copied at once; they are named by content and can't clash.

    Raises
    ------
    InputError
        If the books have different whites.

    Returns
    -------
    book : Book
    renamed : DataFrame
        `table, was, now`, one row a code that was given an ending.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import book, synth
    >>> bk = book.open(synth.example())
    >>> rows = pd.DataFrame({"swatch": ["W01"]})
    >>> other = book.add(book.create(folder / "other"), swatches=rows)
    >>> joined, renamed = book.merge(bk, other)
    >>> renamed
          table  was    now
    0  swatches  W01  W01~2
    """
    if other.white != bk.white:
        ours, its = (table.white_text(each.white) for each in (bk, other))
        raise InputError(
            f"{other.path.name} is a book under {its}, this one under {ours}: their colours can't "
            "be compared as they stand. Nothing was joined: begin a book under the white that the "
            "instrument gives, or read the swatches again under this one's."
        )
    theirs = tables(other)
    renamed: list[tuple[str, str, str]] = []
    for name, code in _CODES.items():
        clashes = _clashes(name, code, tables(bk), theirs)
        taken = {*getattr(bk, name)[code], *theirs[name][code]}
        new = {clash: table.free_name(clash, taken, "~{}") for clash in clashes}
        renamed += [(name, was, now) for was, now in new.items()]
        if name == "materials" and new:  # a step may name it in other capitals, or otherwise
            written = {
                text: recipe.known_name(text, theirs[name]) for text in theirs["steps"][code]
            }
            new |= {text: new[known] for text, known in written.items() if known in new}
        for held in _WHERE[code]:
            changed = theirs[held][code].replace(new)
            theirs[held] = theirs[held].assign(**{code: changed})
    theirs["steps"], baths = _own_baths(tables(bk), theirs)
    here = {name: keys(name, frame) for name, frame in tables(bk).items()}
    fresh = {name: frame[~keys(name, frame).isin(here[name])] for name, frame in theirs.items()}
    pictures = [p for p in folder.photos(other.path) if not (bk.path / PHOTOS / p.name).exists()]
    if pictures:
        put(bk.path, ((p.name, limits.content(p, limits.PHOTO_BYTES)) for p in pictures))
    rows: Any = {name: frame for name, frame in fresh.items() if len(frame)}
    joined = add(bk, **rows)
    aside = replace(
        bk.aside,
        rows={**other.aside.rows, **bk.aside.rows},
        lines=pd.concat([bk.aside.lines, other.aside.lines], ignore_index=True),
        cells=pd.concat([bk.aside.cells, other.aside.cells], ignore_index=True),
    )
    renamed += [("steps", was, now) for was, now in baths]
    return replace(joined, aside=aside), pd.DataFrame(renamed, columns=["table", "was", "now"])


def _own_baths(
    ours: dict[str, pd.DataFrame], theirs: dict[str, pd.DataFrame]
) -> tuple[pd.DataFrame, list[tuple[str, str]]]:
    """Their steps, baths called as other baths of ours renamed; and what was renamed."""
    one, two = _baths(ours), _baths(theirs)
    both = {*ours["swatches"]["swatch"]} & {*theirs["swatches"]["swatch"]}
    same = set(two[theirs["steps"]["swatch"].isin(both)])
    new: dict[tuple[str, str], tuple[str, str]] = {}
    for series, bath in sorted({*one} & {*two} - same):
        if bath:
            taken = {named for where, named in (*one, *two) if where == series}
            new[series, bath] = series, table.free_name(bath, taken, "~{}")
    renamed = pd.Series([new.get(at, at)[1] for at in two], two.index, dtype=object)
    return theirs["steps"].assign(bath=renamed), [(was[1], now[1]) for was, now in new.items()]


def _baths(book: dict[str, pd.DataFrame]) -> pd.Series:
    """Series and bath of every step."""
    series = book["steps"]["swatch"].map(book["swatches"].set_index("swatch")["series"]).fillna("")
    pairs = zip(series.astype(str), book["steps"]["bath"].fillna("").astype(str), strict=True)
    return pd.Series(list(pairs), index=series.index, dtype=object)


def _clashes(
    name: str, code: str, ours: dict[str, pd.DataFrame], theirs: dict[str, pd.DataFrame]
) -> list[str]:
    """Codes in both books that stand for different things."""
    both = set(ours[name][code]) & set(theirs[name][code])
    held = [name, "steps"] if name == "swatches" else [name]
    marks = [{each: _content(frame[each], code) for each in held} for frame in (ours, theirs)]
    return sorted(c for c in both if any(marks[0][t].get(c) != marks[1][t].get(c) for t in held))


def _content(frame: pd.DataFrame, code: str) -> dict[str, str]:
    """Everything said of a code, as one text; blank columns say nothing."""
    found: dict[str, str] = {}
    columns = sorted(str(column) for column in frame.columns)
    for row in frame[columns].astype(str).to_dict("records"):
        said = ";".join(f"{k}={v}" for k, v in row.items() if v not in ("", "nan", "<NA>"))
        found[row[code]] = found.get(row[code], "") + "|" + said
    return found
