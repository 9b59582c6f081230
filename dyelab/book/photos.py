"""The originals: photos and scans, never altered, named by their content."""

import re
from collections.abc import Collection, Iterable, Mapping
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import Any, Protocol

import numpy as np
import pandas as pd

from dyelab import files, limits, recipe, table
from dyelab.book import folder, store
from dyelab.book.folder import PHOTOS as FOLDER
from dyelab.book.opening import add, open_checked
from dyelab.book.readings import enter
from dyelab.book.swatch_book import FAULT_COLUMNS, Book
from dyelab.book.views import locate
from dyelab.errors import InputError


def path_inside(bk: Book, name: str) -> Path:
    """Return the path of a file that the book names; it can't lead out of the book's folder.

    Raises
    ------
    InputError
        If it does.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> bk = book.open(synth.example())
    >>> book.path_inside(bk, "readings.csv").name
    'readings.csv'
    """
    if leads_out(name):
        raise InputError(f"{name!r} leads out of the book's folder. Name a file inside it.")
    target = (bk.path / name).resolve()
    if not target.is_relative_to(bk.path.resolve()) or folder.is_link(bk.path / name):
        raise InputError(f"{name!r} leads out of the book's folder through a link. Copy it in.")
    return target


def leads_out(name: str) -> bool:
    """Whether a file name is absolute or climbs out of its folder, on any system."""
    parts = PurePosixPath(name.replace("\\", "/")).parts
    return name.startswith(("/", "\\", "~")) or ".." in parts or bool(re.match(r"[A-Za-z]:", name))


def keep_photo(
    bk: Book, file: str | Path, *, swatches: list[str] | None = None, goes_with: str = ""
) -> tuple[Book, str]:
    """Copy a photo into the book, named by its content, and list it in ``photos.csv``.

    The copy is made at once; the list is saved with the book. The same photo again is kept
    once. `goes_with` names an earlier photo of the book, by the same phone, of the same card in
    the same light.

    Returns
    -------
    book : Book
    name : str
        What to write as the `source` of its readings, such as ``photos/3f…9a.jpg``.

    Raises
    ------
    InputError
        If there is no such file.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> bk, name = book.keep_photo(book.create(folder / "mine"), photo)
    >>> bk.photos["original"].tolist()
    ['rendered_card_W01_W24.jpg']
    """
    origin = Path(file)
    if not origin.is_file():
        raise InputError(f"{origin}: no such photo. Check the name and the folder.")
    content = limits.content(origin, limits.PHOTO_BYTES)
    ending = origin.suffix.lower()  # kept where any system takes it
    name = store.digest(content) + (ending if re.fullmatch(r"\.[a-z0-9]{1,8}", ending) else "")
    put(bk.path, [(name, content)])
    now = datetime.now(UTC).isoformat(timespec="seconds")
    listed = bk.photos.loc[bk.photos["photo"] == name, "swatch"]
    rows = [
        {"photo": name, "swatch": code, "original": origin.name, "added_at": now}
        | ({"goes_with": goes_with.removeprefix(f"{FOLDER}/")} if goes_with else {})
        for code in (swatches or [""])
        if code not in set(listed)
    ]
    return (add(bk, photos=pd.DataFrame(rows)) if rows else bk), f"{FOLDER}/{name}"


def put(book: Path, photos: Iterable[tuple[str, bytes]]) -> None:
    """Write photos that are not in the book yet; under the lock, so that no save sweeps them.

    Raises
    ------
    InputError
        If a link stands in the way, or the disk is full; nothing half-written is left.
    """
    with store.hold_lock(book):
        for name, content in photos:
            if folder.plain_file(book, f"{FOLDER}/{name}") is None:
                try:
                    files.write(book / FOLDER / name, content)
                except OSError as error:
                    raise InputError(
                        f"{book.name}: the photo {name} could not be written ({error.strerror}). "
                        "Make room or check the disk, and try again."
                    ) from error


def photos_of(bk: Book, swatch: str) -> list[Path]:
    """Return the photos that show a swatch, by their list or by a reading taken from them.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> bk = book.open(synth.example())
    >>> book.photos_of(bk, "W01")
    []
    """
    listed = FOLDER + "/" + bk.photos.loc[bk.photos["swatch"] == swatch, "photo"]
    sources = bk.readings.loc[bk.readings["swatch"] == swatch, "source"]
    names = dict.fromkeys([*listed, *sources[sources.str.startswith(f"{FOLDER}/")]])
    found = [folder.plain_file(bk.path, name) for name in names if not leads_out(name)]
    return [path for path in found if path is not None]


def check(path: str | Path) -> pd.DataFrame:
    """List every fault of a book: its rows, the photos it names, its history, links in it.

    Numbers that another program changed since the last save are faults too.

    Returns
    -------
    DataFrame
        `file, row, column, found, expected, remedy, text`, one row a fault.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> len(book.check(synth.example()))
    0
    """
    bk, unlike = open_checked(path)
    grave = [fault for fault in unlike if fault["grave"]]
    found = [*grave, *recipe.hazard_faults(bk.materials), *_photo_faults(bk), *_source_faults(bk)]
    more = pd.DataFrame(found, columns=FAULT_COLUMNS)
    return pd.concat([part for part in (bk.faults, more) if len(part)] or [more], ignore_index=True)


def _photo_faults(bk: Book) -> list[dict[str, Any]]:
    faults = []
    for at, name in enumerate(bk.photos["photo"]):
        held = None if leads_out(name) else folder.plain_file(bk.path, f"{FOLDER}/{name}")
        if leads_out(name):
            expected = "leads out of the book's folder"
            remedy = "Copy the photo in: book.keep_photo."
        elif held is None:
            expected, remedy = "is not in photos/", "Put the file back, or delete this row."
        elif store.digest(limits.content(held, limits.PHOTO_BYTES)) != Path(name).stem:
            expected, remedy = "is not the photo it was", "Put the original back: it was altered."
        else:
            continue
        faults.append(table.fault("photos.csv", at + 2, "photo", name, expected, remedy))
    return faults


def _source_faults(bk: Book) -> list[dict[str, Any]]:
    odd = {name: leads_out(name) for name in bk.readings["source"].unique()}
    frame = bk.readings[bk.readings["source"].map(odd).astype(bool)]
    expected = "leads out of the book's folder"
    remedy = "Write the file's name alone, or copy a photo in: book.keep_photo."
    return [
        table.fault("readings.csv", int(at) + 2, "source", source, expected, remedy, code)
        for at, code, source in zip(frame.index, frame["reading"], frame["source"], strict=True)
    ]


_FROM_PHOTO = ["illuminant", "observer", *table.LAB, *table.COVARIANCE, "n", "flags"]


class PhotoWindows(Protocol):
    """What `measure.photo` and `measure.photos` return: windows, and what they share."""

    @property
    def table(self) -> pd.DataFrame: ...

    @property
    def shared(self) -> pd.DataFrame: ...


def add_photo(
    bk: Book,
    measured: PhotoWindows,
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
    measured : PhotoWindows or Result
        As `measure.photo` or `measure.photos` gives it, under the book's white.
    file : str or Path
        The photo; it is copied into the book.
    names : mapping of str to str
        Place on the card to swatch, such as ``{"A1": "W07"}``; other places are left out. A
        swatch that the book doesn't have is added to it. ``P-01 leaf`` is an area of a cloth.
        Windows whose own readings by instrument corrected the photo are left out: what it says
        there is no evidence of its own.
    method : str
        ``photo`` or ``scan``.
    exposure, amount, unit
        As in `table.READINGS`; the same for all.
    taken_at : str
        Such as ``2026-04-30T14:05:00``.
    goes_with : str
        Source of the earlier photo that this one goes with, where `measure.join` has given
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
    grown = enter(bk, names.values())
    there = locate(grown, names.values())
    swatches, areas = zip(*(there[names[place]] for place in windows["place"]), strict=True)
    grown, source = keep_photo(grown, file, goes_with=goes_with)
    short = Path(source).stem[:8]
    rows = windows[_FROM_PHOTO].assign(
        reading=[f"{s}-{short}-{at}" for s, at in zip(swatches, windows["place"], strict=True)],
        **{"swatch": swatches, "part": "swatch", "area": areas, "method": method},
        **{"source": source, "exposure": exposure, "unit": unit, "taken_at": taken_at},
        **{"amount": np.nan if amount is None else amount, "test": "", **table.NOT_STATED},
    )[table.READINGS.names]
    aside = locate(bk, witnesses)
    untreated = rows["swatch"].isin({aside.get(name, (name, ""))[0] for name in witnesses})
    rows.loc[untreated, ["exposure", "amount", "unit"]] = ["none", np.nan, ""]
    _refuse_again(bk, source, [f"-{short}-{at}" for at in windows["place"]], Path(file).name)
    shared = _share(measured.shared, windows, rows)
    return add(grown, readings=rows, shared=shared), rows


def _refuse_again(bk: Book, source: str, ends: list[str], photo: str) -> None:
    """Raise where one of these windows is in the book already, under whatever name."""
    known = bk.readings.loc[bk.readings["source"].eq(source), "reading"]
    again = sorted(known[known.str.endswith(tuple(ends))])
    if again:
        raise InputError(
            f"{photo} is in this book already (reading {again[0]}). Nothing was added; remove "
            "those readings first if it was measured or named better now."
        )


def _windows(measured: PhotoWindows, photo: str, names: Mapping[str, str]) -> pd.DataFrame:
    """Rows of the named places of this photo."""
    windows = measured.table
    if windows["photo"].nunique() > 1:
        windows = windows[windows["photo"] == photo]
    missing = [place for place in names if place not in set(windows["place"])]
    if missing or not names:
        there = ", ".join(windows["place"].head(6)) + (" …" if len(windows) > 6 else "")
        what = f"no place {missing[0]!r} was measured" if missing else "no place is named"
        raise InputError(f"{photo}: {what}. Places: {there}. Name them such as A1 = W07.")
    named = windows[windows["place"].isin(names)]
    own = ~named["flags"].str.split().map(lambda flags: table.BY_INSTRUMENT in flags)
    if not own.any():
        raise InputError(
            f"{photo}: an instrument's readings of every swatch named here corrected this photo, "
            "so it has nothing of its own to add for them. Name further places."
        )
    return named[own].reset_index(drop=True)


def _share(shared: pd.DataFrame, windows: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
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
        photo, place, swatch = (str(row.get(n, "")).strip() for n in ("photo", "place", "swatch"))
        if not place or not swatch:
            said = "place and swatch must both be filled in, such as A1, W07."
            raise InputError(f"{where} row {at}: {said}")
        if place in found.setdefault(photo, {}):
            said = f"place {place!r} is named twice. Keep one line for it."
            raise InputError(f"{where} row {at}: {said}")
        found[photo][place] = swatch
    return found
