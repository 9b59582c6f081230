"""A picture that shows what was measured where."""

import numpy as np

from dyelab import convert
from dyelab.measure.single_photo import Measured
from dyelab.read import Photo

LONG_SIDE = 1600
_DARK, _LIGHT, _WARN = (20, 20, 20), (255, 255, 255), (0, 90, 255)


def overlay(picture: Photo, measured: Measured) -> bytes:
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

    canvas, scale = _reduced(picture)
    if measured.setup.target is not None:
        for quad in measured.setup.target.quads:
            _outline(canvas, quad * scale, 1)
        _outline(canvas, measured.setup.target.outline * scale, 2)
    white = measured.setup.calibration.white
    hexes, _ = convert.screen(
        measured.table[["L", "a", "b"]].to_numpy(float), illuminant=white[0], observer=white[1]
    )
    rows = zip(measured.table.itertuples(), measured.quads * scale, hexes, strict=True)
    own = _own_flags(measured)
    for row, quad, colour in rows:
        _outline(canvas, quad, 2)
        _chip(canvas, quad, str(colour))
        _name(canvas, str(row.place), quad)
        if set(str(row.flags).split()) - own:
            _cross(canvas, quad)
    done, content = cv2.imencode(".jpg", canvas, [cv2.IMWRITE_JPEG_QUALITY, 88])
    assert done
    return content.tobytes()


def _own_flags(measured: Measured) -> set[str]:
    """Flags of the photo as a whole, which no single window is to be crossed out for."""
    return {*measured.setup.calibration.flags, "no_card"}


def _reduced(picture: Photo) -> tuple[np.ndarray, float]:
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
