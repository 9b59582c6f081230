"""Two books into one, also where their codes clash."""

from dataclasses import replace
from typing import Any

import pandas as pd

from dyelab import limits, recipe, table
from dyelab.book import folder
from dyelab.book.folder import PHOTOS
from dyelab.book.opening import add
from dyelab.book.photos import put
from dyelab.book.swatch_book import Aside, Book, keys, tables
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
    What an earlier merge brought in under an ending is known again: brought in once more, a book
    adds what is new in it. Photos are copied at once; they are named by content and can't clash.

    Raises
    ------
    InputError
        If the books have different whites.

    Returns
    -------
    book : Book
        `bk` itself where the other holds nothing new.
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
        known = _clashes(name, code, tables(bk), theirs)
        taken = {*getattr(bk, name)[code], *theirs[name][code]}
        new = {was: now or table.free_name(was, taken, "~{}") for was, now in known.items()}
        renamed += [(name, was, now) for was, now in new.items() if not known[was]]
        if name == "materials" and new:  # a step may name it in other capitals, or otherwise
            written = {
                text: recipe.known_name(text, theirs[name]) for text in theirs["steps"][code]
            }
            new |= {text: new[listed] for text, listed in written.items() if listed in new}
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
    aside = replace(
        bk.aside,
        rows=_join_rows(bk.aside.rows, other.aside.rows),
        lines=_join(bk.aside.lines, other.aside.lines),
        cells=_join(bk.aside.cells, other.aside.cells),
    )
    more = rows or _count(aside) > _count(bk.aside)
    joined = replace(add(bk, **rows), aside=aside) if more else bk
    renamed += [("steps", was, now) for was, now in baths]
    return joined, pd.DataFrame(renamed, columns=["table", "was", "now"])


def _join_rows(
    ours: dict[str, pd.DataFrame], theirs: dict[str, pd.DataFrame]
) -> dict[str, pd.DataFrame]:
    """Rows set aside of every table of both books."""
    more = {name: _join(ours[name], theirs[name]).fillna("") for name in ours if name in theirs}
    return {**theirs, **ours, **more}


def _count(aside: Aside) -> int:
    return len(aside.lines) + len(aside.cells) + sum(map(len, aside.rows.values()))


def _join(ours: pd.DataFrame, theirs: pd.DataFrame) -> pd.DataFrame:
    return pd.concat([ours, theirs], ignore_index=True).drop_duplicates(ignore_index=True)


def _own_baths(
    ours: dict[str, pd.DataFrame], theirs: dict[str, pd.DataFrame]
) -> tuple[pd.DataFrame, list[tuple[str, str]]]:
    """Their steps, baths called as other baths of ours renamed; and what was renamed."""
    one, two = _baths(ours), _baths(theirs)
    here = dict(zip(keys("steps", ours["steps"]), one, strict=True))
    there = zip(keys("steps", theirs["steps"]), two, strict=True)
    same = {bath: here[step] for step, bath in there if step in here}
    new: dict[tuple[str, str], tuple[str, str]] = {}
    for series, bath in sorted({*one} & {*two} - {*same}):
        if bath:
            taken = {named for where, named in (*one, *two) if where == series}
            new[series, bath] = series, table.free_name(bath, taken, "~{}")
    named = {**same, **new}
    renamed = pd.Series([named.get(at, at)[1] for at in two], two.index, dtype=object)
    return theirs["steps"].assign(bath=renamed), [(was[1], now[1]) for was, now in new.items()]


def _baths(book: dict[str, pd.DataFrame]) -> pd.Series:
    """Series and bath of every step."""
    series = book["steps"]["swatch"].map(book["swatches"].set_index("swatch")["series"]).fillna("")
    pairs = zip(series.astype(str), book["steps"]["bath"].fillna("").astype(str), strict=True)
    return pd.Series(list(pairs), index=series.index, dtype=object)


def _clashes(
    name: str, code: str, ours: dict[str, pd.DataFrame], theirs: dict[str, pd.DataFrame]
) -> dict[str, str]:
    """Codes in both books that stand for different things, and under what ending ours has each."""
    mine, its = (_contents(frames, name, code) for frames in (ours, theirs))
    return {
        c: next((o for o in mine if o.startswith(f"{c}~") and mine[o] == its[c]), "")
        for c in sorted({*mine} & {*its})
        if mine[c] != its[c]
    }


def _contents(book: dict[str, pd.DataFrame], name: str, code: str) -> dict[str, list[str | None]]:
    """What a book says of each of its codes; of a swatch, also what was done to it."""
    held = [name, "steps"] if name == "swatches" else [name]
    said = [_content(book[each], code) for each in held]
    return {c: [one.get(c) for one in said] for c in book[name][code]}


def _content(frame: pd.DataFrame, code: str) -> dict[str, str]:
    """Everything said of a code, as one text; blank columns and a bath's ending say nothing."""
    found: dict[str, str] = {}
    columns = sorted(str(column) for column in frame.columns)
    texts = frame[columns].astype(str)
    if "bath" in texts:
        texts["bath"] = texts["bath"].str.replace(r"~\d+$", "", regex=True)
    for row in texts.to_dict("records"):
        said = ";".join(
            f"{k}={v}" for k, v in row.items() if k != code and v not in ("", "nan", "<NA>")
        )
        found[row[code]] = found.get(row[code], "") + "|" + said
    return found
