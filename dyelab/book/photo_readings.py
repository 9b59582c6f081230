"""Readings of a photo into a book: which swatch lay where, and the error that they share."""

from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import pandas as pd

from dyelab import files, table
from dyelab.book.model import Book
from dyelab.book.opening import add
from dyelab.book.photos import keep_photo
from dyelab.book.views import located
from dyelab.errors import InputError

_FROM_PHOTO = ["illuminant", "observer", *table.LAB, *table.COVARIANCE, "n", "flags"]


class Measured(Protocol):
    """What `measure.photo` and `measure.photos` return: windows, and what they share."""

    @property
    def table(self) -> pd.DataFrame: ...

    @property
    def shared(self) -> pd.DataFrame: ...


def add_photo(
    bk: Book,
    measured: Measured,
    file: str | Path,
    names: Mapping[str, str],
    *,
    method: str = "photo",
    exposure: str = "none",
    amount: float | None = None,
    unit: str = "",
    taken_at: str = "",
    goes_with: str = "",
    witnesses: Collection[str] = (),
) -> tuple[Book, pd.DataFrame]:
    """Add the named windows of a photo to a book, with the photo and the error they share.

    Parameters
    ----------
    bk : Book
    measured : Measured or Result
        As `measure.photo` or `measure.photos` gives it, under the book's white.
    file : str or Path
        The photo; it is copied into the book.
    names : mapping of str to str
        Place on the card to swatch, such as ``{"A1": "W07"}``; other places are left out. A
        swatch that the book doesn't have is added to it. ``P-01 leaf`` is an area of a cloth.
    method : str
        ``photo`` or ``scan``.
    exposure, amount, unit
        As in `table.READINGS`; the same for all.
    taken_at : str
        Such as ``2026-04-30T14:05:00``.
    goes_with : str
        Source of the earlier photo that this one goes with, where `measure.joined` has given
        their readings the error that they share.
    witnesses : collection of str
        Swatches that were never treated, whatever the others went through.

    Returns
    -------
    book : Book
        Not saved yet.
    readings : DataFrame
        The rows of `table.READINGS` that were added.

    Raises
    ------
    InputError
        If no place is named, a named place was not measured, the colours have another white
        than the book, or the photo was added before.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import book, calibrate, measure, read, synth
    >>> rows = pd.DataFrame({"swatch": ["K-01"]})
    >>> bk = book.save(book.create(folder / "mine"))
    >>> bk = book.save(book.add(bk, swatches=rows))
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> picture = read.photo(photo)
    >>> measured = measure.photo(picture, calibrate.reference("average"))
    >>> bk, added = book.add_photo(bk, measured, photo, {"A1": "K-01"})
    >>> added["swatch"].tolist()
    ['K-01']
    """
    windows = _windows(measured, Path(file).name, names)
    if table.one_white(windows) != bk.white:
        raise InputError(
            f"{Path(file).name} was measured under {table.white_text(table.one_white(windows))}, "
            f"and this book keeps {table.white_text(bk.white)}. Measure it again with "
            "white=book.white."
        )
    there = located(bk, names.values())
    whats = [there.get(names[p], (names[p], "whole")) for p in windows["place"]]
    swatches, areas = [code for code, _ in whats], [area for _, area in whats]
    known = set(bk.swatches["swatch"])
    new = [code for code in dict.fromkeys(swatches) if code not in known]
    grown = add(bk, swatches=pd.DataFrame({"swatch": new})) if new else bk
    grown, source = keep_photo(grown, file, goes_with=goes_with)
    short = Path(source).stem[:8]
    rows = windows[_FROM_PHOTO].assign(
        reading=[
            f"{code}-{short}-{place}"
            for code, place in zip(swatches, windows["place"], strict=True)
        ],
        **{"swatch": swatches, "part": "swatch", "area": areas, "method": method},
        **{"source": source, "exposure": exposure, "unit": unit, "taken_at": taken_at},
        **{"amount": np.nan if amount is None else amount, "test": "", **table.NOT_STATED},
    )[table.READINGS.names]
    aside = located(bk, witnesses)
    untreated = rows["swatch"].isin({aside.get(name, (name, ""))[0] for name in witnesses})
    rows.loc[untreated, ["exposure", "amount", "unit"]] = ["none", np.nan, ""]
    again = sorted(set(rows["reading"]) & set(bk.readings["reading"]))
    if again:
        raise InputError(
            f"{Path(file).name} is in this book already (reading {again[0]}). Nothing was added; "
            "remove those readings first if it was measured better now."
        )
    shared = _shared(measured.shared, windows, rows)
    return add(grown, readings=rows, shared=shared), rows


def _windows(measured: Measured, photo: str, names: Mapping[str, str]) -> pd.DataFrame:
    """Rows of the named places of this photo."""
    windows = measured.table
    if windows["photo"].nunique() > 1:
        windows = windows[windows["photo"] == photo]
    missing = [place for place in names if place not in set(windows["place"])]
    if missing or not names:
        there = ", ".join(windows["place"].head(6)) + (" …" if len(windows) > 6 else "")
        what = f"no place {missing[0]!r} was measured" if missing else "no place is named"
        raise InputError(f"{photo}: {what}. Places: {there}. Name them such as A1 = W07.")
    return windows[windows["place"].isin(names)].reset_index(drop=True)


def _shared(shared: pd.DataFrame, windows: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """The shared error under the names that the readings have in the book."""
    own = dict(zip(windows["photo"] + "/" + windows["place"], rows["reading"], strict=True))
    kept = shared[shared["reading"].isin(own)]
    photo = windows["photo"].iloc[0]
    source = kept["source"].where(kept["source"].ne(photo), rows["source"].iloc[0])
    return kept.assign(reading=kept["reading"].map(own), source=source)


def read_places(path: str | Path) -> dict[str, dict[str, str]]:
    """Read which swatch lies where: a table `place, swatch`, and `photo` where there are several.

    Returns
    -------
    dict of str to dict of str to str
        By photo, place to swatch; under an empty name what holds for any photo.

    Raises
    ------
    InputError
        If a column is missing, a cell is blank, or a place is named twice.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> path = synth.sources() / "photos" / "rendered_card_W01_W24.csv"
    >>> book.read_places(path)[""]["A1"]
    'W01'
    """
    rows, _ = files.cells(path)
    where = Path(path).name
    for name in ("place", "swatch"):
        if name not in rows:
            raise InputError(
                f"{where}: no column {name!r}, found {', '.join(map(str, rows.columns))}. "
                "Give a table with the columns place and swatch, and photo if there are several."
            )
    found: dict[str, dict[str, str]] = {}
    for at, row in enumerate(rows.to_dict("records"), 2):
        _place(found, row, f"{where} row {at}")
    return found


def _place(found: dict[str, dict[str, str]], row: dict[Any, Any], where: str) -> None:
    photo, place, swatch = (str(row.get(n, "")).strip() for n in ("photo", "place", "swatch"))
    if not place or not swatch:
        raise InputError(f"{where}: place and swatch must both be filled in, such as A1, W07.")
    if place in found.setdefault(photo, {}):
        raise InputError(f"{where}: place {place!r} is named twice. Keep one line for it.")
    found[photo][place] = swatch
