"""Pieces cut from the photos: the cloth itself beside its chip, its colour put right for a screen.

A crop shows the weave and the unevenness that a flat chip can't; its mean is the colour that was
measured, so crop and chip agree.
"""

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

import numpy as np
import pandas as pd

from dyelab import calibrate, convert, table
from dyelab.calibrate import through
from dyelab.errors import InputError
from dyelab.read import Photo
from dyelab.read import photo as read_photo

SIZE = 96  # pixels a side: at 25 mm that is 98 a printed inch
_SHARE = 0.86  # of a window's width and height: its edge may hold the card's shadow
_METHODS = ("photo", "scan")


def crops(readings: pd.DataFrame, folder: str | Path, *, size: int = SIZE) -> dict[str, bytes]:
    """Cut what was read from the photos of a book.

    Parameters
    ----------
    readings : DataFrame
        Rows of `table.READINGS`.
    folder : str or Path
        Of the book; a `source` leads to a file inside it.
    size : int
        Pixels a side.

    Returns
    -------
    dict of str to bytes
        PNG by reading. Readings without a photo, whose photo is gone, shows no card, or whose
        window was drawn by hand are left out.

    Examples
    --------
    >>> from dyelab import book, measure, synth
    >>> bk = book.open(synth.example())
    >>> measure.crops(bk.readings.head(3), bk.path)
    {}
    """
    made: dict[str, bytes] = {}
    taken = readings[readings["method"].isin(_METHODS) & readings["source"].astype(str).ne("")]
    for source, rows in taken.groupby("source", sort=False):
        places = {row.reading: _place(row.reading, str(source)) for row in rows.itertuples()}
        wanted = tuple(sorted({place for place in places.values() if place}))
        file = _inside(Path(folder), str(source))
        cut = _cut(file, wanted, size) if file is not None and wanted else {}
        colours = rows.set_index("reading")
        for reading, place in places.items():
            if place in cut:
                row = colours.loc[reading]
                lab = row[table.LAB].to_numpy(float)
                made[str(reading)] = _png(cut[place], lab, (row["illuminant"], row["observer"]))
    return made


def in_a_row(pictures: Sequence[bytes]) -> bytes:
    """Join crops side by side in one PNG; blank where there are none.

    Examples
    --------
    >>> from dyelab import measure
    >>> len(measure.in_a_row([]))
    0
    """
    import cv2

    if not pictures:
        return b""
    read = (cv2.imdecode(np.frombuffer(one, np.uint8), cv2.IMREAD_COLOR) for one in pictures)
    return _encoded(np.hstack([square for square in read if square is not None]))


def _encoded(picture: np.ndarray) -> bytes:
    import cv2

    done, content = cv2.imencode(".png", np.ascontiguousarray(picture))
    assert done
    return bytes(content.tobytes())


def _place(reading: str, source: str) -> str:
    """Window that a reading of a photo was taken from: its name ends in photo and place."""
    return str(reading).rpartition(f"-{Path(source).stem[:8]}-")[2] if source else ""


def _inside(folder: Path, source: str) -> Path | None:
    """A file of the book, by a name that can't lead out of it."""
    file = (folder / source).resolve()
    return file if file.is_relative_to(folder.resolve()) and file.is_file() else None


@lru_cache(maxsize=64)
def _cut(file: Path, places: tuple[str, ...], size: int) -> dict[str, np.ndarray]:
    """Squares of linear light (size, size, 3) of the places of one photo; none without a card."""
    try:
        picture = read_photo(file)
        pose = calibrate.find_card(picture)
    except InputError:
        return {}
    windows = {w.place: w for w in pose.layout.windows}
    found = {
        place: through(pose.to_pixels, windows[place].inner(_SHARE).corners)
        for place in places
        if place in windows
    }
    return {place: _square(picture, quad, size) for place, quad in found.items()}


def _square(picture: Photo, quad: np.ndarray, size: int) -> np.ndarray:
    """Straighten a window and take it to linear light; averaged down, not picked out."""
    import cv2

    side = float(np.linalg.norm(np.roll(quad, -1, axis=0) - quad, axis=1).max())
    fine = size * max(1, min(6, round(side / size)))
    corners = np.array([[0, 0], [fine, 0], [fine, fine], [0, fine]], np.float32)
    turn = cv2.getPerspectiveTransform(np.asarray(quad, np.float32), corners)
    flat = cv2.warpPerspective(picture.pixels, turn, (fine, fine), flags=cv2.INTER_LINEAR)
    linear = np.stack([picture.to_linear[flat[..., i], i] for i in range(3)], axis=-1)
    return np.asarray(linear.reshape(size, fine // size, size, fine // size, 3).mean(axis=(1, 3)))


def _png(square: np.ndarray, lab: np.ndarray, white: tuple[str, int]) -> bytes:
    """Scale each channel so that the mean is the colour read, and encode for the screen."""
    target = convert.screen_light(lab, illuminant=str(white[0]), observer=int(white[1]))
    shown = square / np.maximum(square.mean(axis=(0, 1)), 1e-6) * np.clip(target, 0, 1)
    return _encoded(convert.screen_levels(shown)[..., ::-1])
