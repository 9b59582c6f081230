"""Pictures: what was measured where, and the cloth itself, cut out of its photo."""

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

import numpy as np
import pandas as pd

from dyelab import calibrate, convert, table
from dyelab.calibrate import map_points
from dyelab.errors import InputError
from dyelab.measure.single_photo import MeasuredPhoto
from dyelab.read import Photo
from dyelab.read import photo as read_photo

LONG_SIDE = 1600  # pixels: names beside 48 windows can be read, and a page stays light
_DARK, _LIGHT, _WARN = (20, 20, 20), (255, 255, 255), (0, 90, 255)


def overlay(picture: Photo, measured: MeasuredPhoto) -> bytes:
    r"""Draw card, target and windows over a reduced copy of the photo.

    Each window is outlined and named; a chip in its middle shows the colour that was measured;
    a cross marks a flagged one.

    Returns
    -------
    bytes
        A JPEG.

    Examples
    --------
    >>> from dyelab import calibrate, measure, read, synth
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> picture = read.photo(photo)
    >>> measured = measure.photo(picture, calibrate.reference("average"))
    >>> measure.overlay(picture, measured)[:4]
    b'\xff\xd8\xff\xe0'
    """
    import cv2

    canvas, scale = _reduce(picture)
    if measured.setup.target is not None:
        for quad in measured.setup.target.quads:
            _outline(canvas, quad * scale, 1)
        _outline(canvas, measured.setup.target.outline * scale, 2)
    white = measured.setup.calibration.white
    hexes, _ = convert.screen(
        measured.table[["L", "a", "b"]].to_numpy(float), illuminant=white[0], observer=white[1]
    )
    rows = zip(measured.table.itertuples(), measured.quads * scale, hexes, strict=True)
    # No single window is crossed out for what is said of the photo as a whole.
    own = {*measured.setup.calibration.flags, "no_card", table.BY_INSTRUMENT}
    for row, quad, colour in rows:
        _outline(canvas, quad, 2)
        _chip(canvas, quad, str(colour))
        _name(canvas, str(row.place), quad)
        if set(str(row.flags).split()) - own:
            _cross(canvas, quad)
    done, content = cv2.imencode(".jpg", canvas, [cv2.IMWRITE_JPEG_QUALITY, 88])
    assert done
    return content.tobytes()


def _reduce(picture: Photo) -> tuple[np.ndarray, float]:
    import cv2

    h, w = picture.pixels.shape[:2]
    scale = min(1.0, LONG_SIDE / max(h, w))
    size = (round(w * scale), round(h * scale))
    small = cv2.resize(picture.pixels, size, interpolation=cv2.INTER_AREA)
    if small.dtype != np.uint8:
        small = (small / 257).astype(np.uint8)
    return np.ascontiguousarray(small[..., ::-1]), scale


def _outline(canvas: np.ndarray, quad: np.ndarray, width: int) -> None:
    import cv2

    points = np.round(quad).astype(np.int32).reshape(-1, 1, 2)
    cv2.polylines(canvas, [points], True, _LIGHT, width + 2, cv2.LINE_AA)
    cv2.polylines(canvas, [points], True, _DARK, width, cv2.LINE_AA)


def _chip(canvas: np.ndarray, quad: np.ndarray, colour: str) -> None:
    import cv2

    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    middle = quad.mean(axis=0)
    radius = max(4, int(np.linalg.norm(quad[1] - quad[0]) / 5))
    at = (round(float(middle[0])), round(float(middle[1])))
    cv2.circle(canvas, at, radius, (blue, green, red), -1, cv2.LINE_AA)
    cv2.circle(canvas, at, radius, _LIGHT, 1, cv2.LINE_AA)


def _name(canvas: np.ndarray, place: str, quad: np.ndarray) -> None:
    import cv2

    size = max(0.4, float(np.linalg.norm(quad[1] - quad[0])) / 130)
    at = quad[np.argmin(quad.sum(axis=1))] + [3, 12 * size + 4]
    where = (round(float(at[0])), round(float(at[1])))
    text = place.encode("ascii", "replace").decode()[:16]
    for colour, width in ((_DARK, 3), (_LIGHT, 1)):
        cv2.putText(canvas, text, where, cv2.FONT_HERSHEY_SIMPLEX, size, colour, width)


def _cross(canvas: np.ndarray, quad: np.ndarray) -> None:
    import cv2

    p = [(round(float(x)), round(float(y))) for x, y in quad]
    for a, b in ((0, 2), (1, 3)):
        cv2.line(canvas, p[a], p[b], _LIGHT, 4, cv2.LINE_AA)
        cv2.line(canvas, p[a], p[b], _WARN, 2, cv2.LINE_AA)


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
        cut = _cut_out(file, wanted, size) if file is not None and wanted else {}
        colours = rows.set_index("reading")
        for reading, place in places.items():
            if place in cut:
                row = colours.loc[reading]
                lab = row[table.LAB].to_numpy(float)
                made[str(reading)] = _png(cut[place], lab, (row["illuminant"], row["observer"]))
    return made


def patchwork(pictures: Sequence[bytes]) -> bytes:
    """Join the middles of crops in one square PNG, each as large as the next; blank without any.

    Examples
    --------
    >>> from dyelab import measure
    >>> len(measure.patchwork([]))
    0
    """
    import cv2

    read = (cv2.imdecode(np.frombuffer(one, np.uint8), cv2.IMREAD_COLOR) for one in pictures)
    squares = [square for square in read if square is not None]
    if not squares:
        return b""
    side = 12 * (min(min(square.shape[:2]) for square in squares) // 12 or 1)
    rows = round(len(squares) ** 0.5)
    made = []
    for some in np.array_split(np.arange(len(squares)), rows):
        size = (side // rows, side // len(some))
        line = np.hstack([_middle(squares[i], *size) for i in some])
        made.append(cv2.resize(line, (side, side // rows)))
    return _encode(np.vstack(made))


def _middle(picture: np.ndarray, height: int, width: int) -> np.ndarray:
    top, left = (picture.shape[0] - height) // 2, (picture.shape[1] - width) // 2
    return picture[top : top + height, left : left + width]


def _encode(picture: np.ndarray) -> bytes:
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
def _cut_out(file: Path, places: tuple[str, ...], size: int) -> dict[str, np.ndarray]:
    """Squares of linear light (size, size, 3) of the places of one photo; none without a card."""
    try:
        picture = read_photo(file)
        pose = calibrate.find_card(picture)
    except InputError:
        return {}
    windows = {w.place: w for w in pose.layout.windows}
    found = {
        place: map_points(pose.to_pixels, windows[place].inner(_SHARE).corners)
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


def _png(square: np.ndarray, lab: np.ndarray, white: table.White) -> bytes:
    """Scale each channel so that the mean is the colour read, and encode for the screen."""
    target = convert.screen_light(lab, illuminant=str(white[0]), observer=int(white[1]))
    shown = square / np.maximum(square.mean(axis=(0, 1)), 1e-6) * np.clip(target, 0, 1)
    return _encode(convert.screen_levels(shown)[..., ::-1])
