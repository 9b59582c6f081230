"""Many photos at once, through any `concurrent.futures` executor."""

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor, as_completed
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import pandas as pd

from dyelab import calibrate, convert, files, read, words
from dyelab.calibrate import Calibration, Reference
from dyelab.card import Layout
from dyelab.errors import InputError
from dyelab.measure.pictures import overlay
from dyelab.measure.single_photo import MeasuredPhoto, photo
from dyelab.table import DEFAULT_WHITE, LAB, WHITE, White, white_text

Progress = Callable[[int, int], None]
_Made = MeasuredPhoto | InputError


@dataclass(frozen=True)
class Result:
    """What many photos gave: tables as in `MeasuredPhoto`, a message for each photo left out."""

    table: pd.DataFrame
    shared: pd.DataFrame
    faults: dict[str, str]


def photos(
    paths: Iterable[str | Path],
    target: str | Path | None = "average",
    *,
    layout: Layout | None = None,
    add: str | Path | None = None,
    method: str = "auto",
    stored: Calibration | None = None,
    overlays: str | Path | None = None,
    executor: Executor | None = None,
    progress: Progress | None = None,
    skip_bad: bool = False,
    white: White = DEFAULT_WHITE,
) -> Result:
    """Measure photos of swatch cards.

    Parameters
    ----------
    paths : iterable of str or Path
        The photos. Names must differ, since readings are named by them.
    target : str, Path or None
        The target's values: a measurement file, the name of a published average, or None for
        the card's white paper alone.
    layout : Layout, optional
        By default whichever of our cards the markers name.
    add : str or Path, optional
        Instrument readings of some windows, `sample` the place; with several photos a column
        `photo` says which photo each belongs to.
    method : str
        ``auto``, ``plain`` or ``learned``.
    stored : Calibration, optional
        Made before, used for every photo whose greys still fit it.
    overlays : str or Path, optional
        Folder for a picture a photo that shows what was measured.
    executor : Executor, optional
        Any `concurrent.futures` executor, such as a process pool or a Dask client's
        ``get_executor()``; without one the photos are measured one after another.
    progress : callable, optional
        Called with photos done and photos in all.
    skip_bad : bool
        Leave out photos that are refused, and say why in `faults`.
    white : (illuminant, observer)
        Of the colours; a stored calibration must be for the same.

    Returns
    -------
    Result
        Rows in the order of the photos.

    Raises
    ------
    InputError
        For the first photo refused, unless `skip_bad`.

    Examples
    --------
    >>> from dyelab import measure, synth
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> len(measure.photos([photo]).table)
    24
    """
    listed = _distinct([Path(path) for path in paths])
    calibrate.check_method(method)
    if stored is not None and (add is not None or method != "auto"):
        raise InputError(
            "a calibration kept before is used as it is: added readings and a method would change "
            "nothing. Leave them out, or make a new calibration with them."
        )
    _same_white(stored, white)
    reference = None if target is None else calibrate.reference(target, white)
    readings = None if add is None else _read_added(Path(add), len(listed), white)
    folder = None if overlays is None else Path(overlays)
    how = {"layout": layout, "method": method, "stored": stored, "white": white}
    jobs = [
        partial(_work, path, reference, folder, add=_for_photo(readings, path.name), **how)
        for path in listed
    ]
    done = _run(jobs, executor, progress or (lambda _done, _all: None))
    return _gather(listed, done, skip_bad)


def calibration(
    path: str | Path,
    target: str | Path = "average",
    *,
    layout: Layout | None = None,
    add: str | Path | None = None,
    method: str = "auto",
    white: White = DEFAULT_WHITE,
) -> Calibration:
    """Calibration of one photo of a card, to be kept for others taken alike.

    Parameters
    ----------
    path : str or Path
        The photo.
    target, layout, add, method, white
        As for `photos`; added readings count whether or not they name the photo.

    Raises
    ------
    InputError
        If the photo can't be calibrated.

    Examples
    --------
    >>> from dyelab import measure, synth
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> measure.calibration(photo).method
    'learned'
    """
    calibrate.check_method(method)
    readings = None if add is None else _read_added(Path(add), 1, white)
    made = photo(
        read.photo(path),
        calibrate.reference(target, white),
        layout=layout,
        add=_for_photo(readings, Path(path).name),
        method=method,
    )
    return made.setup.calibration


def worth_reading(table: pd.DataFrame, count: int = 12) -> dict[str, list[str]]:
    """Which windows to read by instrument, so that `add` helps the others most.

    Parameters
    ----------
    table : DataFrame
        What `photos` made: `photo, place, L, a, b`.
    count : int
        Windows a photo.

    Returns
    -------
    dict of str to list of str
        Places of each photo, the most telling first: those whose colours speak for most others.

    Examples
    --------
    >>> from dyelab import calibrate, measure, read, synth
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> picture = read.photo(photo)
    >>> measured = measure.photo(picture, calibrate.reference("average"))
    >>> len(measure.worth_reading(measured.table.assign(photo="card"), 3)["card"])
    3
    """
    return {
        str(name): list(part["place"].iloc[calibrate.most_telling(part[LAB].to_numpy(), count)])
        for name, part in table.groupby("photo", sort=False)
    }


def _distinct(paths: list[Path]) -> list[Path]:
    if not paths:
        raise InputError("no photos given. Name at least one JPEG, PNG, TIFF, HEIC or raw file.")
    names = [path.name for path in paths]
    twice = [name for name in names if names.count(name) > 1]
    if twice:
        raise InputError(f"two photos are named {twice[0]!r}. Rename one: readings go by the name.")
    return paths


def _same_white(stored: Calibration | None, white: White) -> None:
    if stored is not None and stored.white != white:
        raise InputError(
            f"the stored calibration gives colours under {white_text(stored.white)}, and "
            f"{white_text(white)} is wanted: make a calibration for that white, or ask for its own."
        )


def _read_added(path: Path, count: int, white: White) -> pd.DataFrame:
    """Readings of own swatches, as CIELAB under this white."""
    found = read.measurements(path, options={})
    if found.spectra is not None:
        table = convert.spectra_to_lab(found.spectra, *white)
    else:
        assert found.lab is not None
        table = found.lab
        if table_white := {(i, o) for i, o in table[WHITE].itertuples(index=False)} - {white}:
            theirs = next(iter(table_white))
            raise InputError(
                f"{path.name}: these readings are CIELAB under {white_text(theirs)}, and colours "
                f"are measured for {white_text(white)}. Ask for theirs (--illuminant {theirs[0]} "
                f"--observer {theirs[1]}), or give spectra."
            )
    if "photo" not in table and count > 1:
        raise InputError(
            f"{path.name}: {count} photos, and no column 'photo' that says which one each reading "
            "belongs to. Add it, with the photos' file names."
        )
    return table


def _for_photo(readings: pd.DataFrame | None, name: str) -> pd.DataFrame | None:
    if readings is None or "photo" not in readings:
        return readings
    return readings[readings["photo"].astype(str) == name].reset_index(drop=True)


def _run(
    jobs: Sequence[Callable[[], _Made]], executor: Executor | None, progress: Progress
) -> list[_Made]:
    progress(0, len(jobs))
    if executor is None:
        done = []
        for i, job in enumerate(jobs, 1):
            done.append(job())
            progress(i, len(jobs))
        return done
    futures = [executor.submit(job) for job in jobs]
    try:
        for i, _ in enumerate(as_completed(futures), 1):
            progress(i, len(jobs))
    except BaseException:
        for future in futures:
            future.cancel()
        raise
    return [future.result() for future in futures]


def _work(path: Path, reference: Reference | None, overlays: Path | None, **how: Any) -> _Made:
    import cv2

    cv2.setNumThreads(1)  # one photo a process; threads of their own would only compete
    try:
        picture = read.photo(path)
        made = photo(picture, reference, **how)
        if overlays is not None:
            files.write(overlays / f"{path.name}.overlay.jpg", overlay(picture, made))
    except InputError as error:
        return error
    return made


def _gather(paths: list[Path], done: list[_Made], skip_bad: bool) -> Result:
    faults = {
        path.name: str(one) for path, one in zip(paths, done, strict=True)
        if isinstance(one, InputError)
    }  # fmt: skip
    good = [one for one in done if isinstance(one, MeasuredPhoto)]
    if faults and not (skip_bad and good):
        first = next(iter(faults.values()))
        count = len(faults) - 1
        more = words.say("cli.more_photos", photos=count) if count else ""
        raise InputError(first + more)
    table = pd.concat([one.table for one in good], ignore_index=True)
    shared = pd.concat([one.shared for one in good], ignore_index=True)
    return Result(table, shared, faults)
