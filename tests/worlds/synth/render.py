"""Invented photos of a swatch card, rendered from spectra, with known answers.

The printed page (from the very template that prints it) is painted with swatches and a 24-patch
target as a camera sees them: reflectance times light times sensitivity, summed over wavelength.
It is then seen in perspective, lit unevenly, blurred, given noise, and stored as a phone would.
"""

import io
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np

from dyelab import card as cards
from dyelab import convert
from dyelab.card import Layout, printing
from dyelab.convert.colour_science import library
from dyelab.convert.srgb import SRGB_TO_XYZ, srgb_from_linear

BANDS = np.arange(380.0, 731.0, 10.0)
PAPER, INK, FRAME, TABLE = 0.88, 0.035, 0.03, 0.25
PATCH_SHARE = 0.88  # of the pitch


@dataclass(frozen=True)
class Shot:
    """How a photo is taken; the defaults are an easy one."""

    light: str = "D65"
    camera: str = "Nikon 5100 (NPL)"
    megapixels: float = 3.0
    tilt: float = 0.0  # degrees
    towards: float = 0.0  # direction of the tilt, degrees
    turn: float = 0.0  # degrees, in the plane of the picture
    falloff: float = 0.0  # light over the card changes by plus and minus this share
    blur: float = 0.6  # standard deviation in pixels
    noise: float = 0.004  # standard deviation at white, photon noise
    steeper: float = 0.0  # how much the tone curve is steeper than sRGB in the middle
    exposure: float = 0.8  # linear level of the paper, 1 is full
    quality: int = 92  # of the JPEG
    weave: float = 0.08  # relative depth of the texture
    form: str = "cloth"  # cloth, or yarn
    target: tuple[float, float, float, float] = (0.0, 0.0, 1.0, 0.0)  # shift mm, scale, turn
    developed: float = 0.8  # how far the camera's colours are brought to sRGB; 0 leaves them raw
    filling: float = 0.9  # share of the picture's height or width that the card takes
    cut: float = 0.0  # share of the card pushed out of the picture


@dataclass(frozen=True)
class Label:
    """A label on the card: its number, where it lies, and what of it is hidden by a dark thread."""

    number: int
    place: str
    aside_mm: float = 0.0  # to the right of the window's left edge
    down_mm: float = 0.0  # from the strip's upper edge
    turn: float = 0.0  # degrees
    hidden: tuple[float, float] = (0.0, 0.0)  # mm along the label, from and to


@dataclass(frozen=True)
class Picture:
    """A rendered photo: pixels (h, w, 3) 8 bit, what is where, and the true colours."""

    pixels: np.ndarray
    to_pixels: np.ndarray  # homography, mm on the page to pixels
    truth: np.ndarray  # (n, 3) CIELAB, D65/10°, a row a window
    card: Layout
    shot: Shot = field(repr=False)

    def jpeg(self) -> bytes:
        """Return the photo as a JPEG file's bytes."""
        from PIL import Image

        file = io.BytesIO()
        Image.fromarray(self.pixels).save(file, "jpeg", quality=self.shot.quality, subsampling=2)
        return file.getvalue()


def sensitivity(camera: str, wavelengths: np.ndarray) -> np.ndarray:
    """Relative spectral sensitivity (k, 3) of a published camera's channels, each up to 1."""
    table = library().MSDS_CAMERA_SENSITIVITIES[camera]
    columns = [
        np.interp(wavelengths, table.wavelengths, v, left=0, right=0) for v in table.values.T
    ]
    return np.stack(columns, axis=-1)


def sees(spectra: np.ndarray, shot: Shot, wavelengths: np.ndarray = BANDS) -> np.ndarray:
    """Linear camera values (n, 3) of reflectance spectra; the perfect reflector gives 1, 1, 1."""
    light = convert.illuminant_power(shot.light, wavelengths)
    response = sensitivity(shot.camera, wavelengths) * light[:, None]
    raw = np.asarray(spectra, float) @ response / response.sum(axis=0)
    return raw @ _development(shot.light, shot.camera, shot.developed).T


@cache
def _development(light: str, camera: str, share: float) -> np.ndarray:
    """Matrix from raw to about linear sRGB, white to white, as a camera's own program applies."""
    target = convert.target_spectra()
    spectra = target[[str(int(band)) for band in BANDS]].to_numpy(float)
    xyz = convert.spectrum_to_xyz(BANDS, spectra, observer=2) / 100
    srgb = xyz @ np.linalg.inv(SRGB_TO_XYZ).T
    raw = sees(spectra, Shot(light=light, camera=camera, developed=0.0)) if share else spectra
    best = np.linalg.lstsq(raw, srgb, rcond=None)[0].T if share else np.eye(3)
    best = best / best.sum(axis=1, keepdims=True)
    return share * best + (1 - share) * np.eye(3)


def render(
    spectra: np.ndarray,
    shot: Shot | None = None,
    *,
    card: Layout | None = None,
    wavelengths: np.ndarray = BANDS,
    seed: int = 0,
    labels: Sequence["Label"] = (),
) -> Picture:
    """Render a photo of a card.

    Parameters
    ----------
    spectra : ndarray (n, k)
        Reflectance factors of the swatches, a row a window, in the layout's order.
    shot : Shot, optional
        How it is taken.
    card : Layout, optional
        By default the A4 card for cloth.
    wavelengths : ndarray (k,)
        In nm.
    seed : int
        Of noise and texture.
    labels : sequence of Label
        Laid above the windows.

    Returns
    -------
    Picture
    """
    shot, card = shot or Shot(), card or cards.layout()
    rng = np.random.default_rng(seed)
    width, height = _size(shot)
    to_pixels = _view(card, shot, width, height)
    scale = min(12.0, 1.3 * _density(card, to_pixels))
    page = _page(card, scale, shot)
    _paint_target(page, card, scale, shot)
    _paint_windows(page, card, scale, sees(spectra, shot, wavelengths), shot, rng)
    for label in labels:
        _lay(page, label, card, scale, shot)
    seen = _photographed(page, card, scale, to_pixels, (width, height), shot)
    truth = convert.spectrum_to_lab(wavelengths, np.asarray(spectra, float))
    return Picture(_stored(seen, shot, rng), to_pixels, truth, card, shot)


def _size(shot: Shot) -> tuple[int, int]:
    height = round((shot.megapixels * 1e6 / (4 / 3)) ** 0.5 / 8) * 8
    return round(height * 4 / 3 / 8) * 8, height


def _view(card: Layout, shot: Shot, width: int, height: int) -> np.ndarray:
    """Pinhole camera over a tilted page, the whole page in the picture."""
    w, h = card.page_mm
    turn, tilt, way = np.radians([shot.turn, shot.tilt, shot.towards])
    spin = _about_z(way) @ _about_x(tilt) @ _about_z(-way) @ _about_z(turn)
    distance = 1.6 * np.hypot(w, h)
    centred = np.array([[1, 0, -w / 2], [0, 1, -h / 2], [0, 0, 1]])
    plane = np.column_stack([spin[:, 0], spin[:, 1], [0, 0, distance]])
    seen = plane @ centred
    corners = _through(seen, np.array([[0, 0], [w, 0], [w, h], [0, h]]))
    low, span = corners.min(axis=0), np.ptp(corners, axis=0)
    zoom = shot.filling * min(width / span[0], height / span[1])
    shift = (np.array([width, height]) - zoom * span) / 2 - zoom * low
    shift[0] += shot.cut * zoom * span[0]
    return np.array([[zoom, 0, shift[0]], [0, zoom, shift[1]], [0, 0, 1]]) @ seen


def _about_z(angle: float) -> np.ndarray:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])


def _about_x(angle: float) -> np.ndarray:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[1, 0, 0], [0, c, -s], [0, s, c]])


def _through(homography: np.ndarray, points: np.ndarray) -> np.ndarray:
    moved = np.column_stack([points, np.ones(len(points))]) @ homography.T
    return moved[:, :2] / moved[:, 2:]


def _density(card: Layout, to_pixels: np.ndarray) -> float:
    w, h = card.page_mm
    middle = np.array([[w / 2, h / 2], [w / 2 + 1, h / 2], [w / 2, h / 2 + 1]])
    seen = _through(to_pixels, middle)
    return float(np.linalg.norm(seen[1:] - seen[0], axis=1).max())


def _page(card: Layout, scale: float, shot: Shot) -> np.ndarray:
    """The print as linear camera values: paper and ink, in between by the print's tone."""
    tone = (cards.bitmap(card, scale) / 255.0).astype(np.float32) ** 2.2
    paper = sees(np.full((1, len(BANDS)), PAPER), shot)[0]
    return (INK + (paper - INK) * tone[..., None]).astype(np.float32)


def _paint_target(page: np.ndarray, card: Layout, scale: float, shot: Shot) -> None:
    import cv2

    spectra = convert.target_spectra()
    colours = sees(spectra[[str(int(band)) for band in BANDS]].to_numpy(float), shot)
    right, down, size, turn = shot.target
    pitch = size * 13.0
    place = card.target_area.centre + np.array([right, down])
    spin = _about_z(np.radians(turn))[:2, :2]

    def fill(x: float, y: float, w: float, h: float, colour: np.ndarray) -> None:
        corners = np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]]) @ spin.T + place
        points = np.round(corners * scale * 16).astype(np.int32)
        cv2.fillConvexPoly(page, points, colour.tolist(), cv2.LINE_8, 4)

    fill(-3.2 * pitch, -2.2 * pitch, 6.4 * pitch, 4.4 * pitch, np.full(3, FRAME))
    side = PATCH_SHARE * pitch
    for i, colour in enumerate(colours):
        x, y = (i % 6 - 3) * pitch, (i // 6 - 2) * pitch
        edge = (pitch - side) / 2
        fill(x + edge, y + edge, side, side, colour)


def _paint_windows(
    page: np.ndarray,
    card: Layout,
    scale: float,
    colours: np.ndarray,
    shot: Shot,
    rng: np.random.Generator,
) -> None:
    for window, colour in zip(card.windows, colours, strict=True):
        x0, y0 = np.round(window.corners[0] * scale).astype(int)
        x1, y1 = np.round(window.corners[2] * scale).astype(int)
        texture = _texture((y1 - y0, x1 - x0), scale, shot, rng)
        page[y0:y1, x0:x1] = colour * texture[..., None]


def _lay(page: np.ndarray, label: Label, card: Layout, scale: float, shot: Shot) -> None:
    import cv2

    wide, high = cards.LABEL_MM
    fine = 16  # pixels a mm of the label itself
    ink = np.ones((round(high * fine), round(wide * fine)), np.float32)
    for at, number in enumerate(cards.marker_pair(label.number)):
        x, side = printing.QUIET_MM + at * cards.PITCH_MM, round(cards.MARKER_MM * fine)
        cells = np.array(cards.marker_cells(number), np.float32)
        left, top = round(x * fine), round(printing.QUIET_MM * fine)
        ink[top : top + side, left : left + side] = np.kron(cells, np.ones((side // 8, side // 8)))
    begin, end = (round(side * fine) for side in label.hidden)
    ink[:, begin:end] = 0.25
    window = next(w for w in card.windows if w.place == label.place)
    spin = _about_z(np.radians(label.turn))[:2, :2]
    middle = window.corners[0] + [wide / 2 + label.aside_mm, label.down_mm - high / 2]
    corners = np.array([[-wide, -high], [wide, -high], [wide, high], [-wide, high]]) / 2
    ends = (corners @ spin.T + middle) * scale
    low = np.maximum(np.floor(ends.min(axis=0)).astype(int), 0)
    high = np.ceil(ends.max(axis=0)).astype(int) + 1
    part = page[low[1] : high[1], low[0] : high[0]]
    ends = (ends - low).astype(np.float32)
    start = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32) * ink.shape[::-1]
    fit = cv2.getPerspectiveTransform(start.astype(np.float32), ends)
    small = cv2.GaussianBlur(ink, (0, 0), 0.4 * fine / scale)
    seen = cv2.warpPerspective(small, fit, part.shape[1::-1], flags=cv2.INTER_LINEAR)
    there = cv2.warpPerspective(np.ones_like(ink), fit, part.shape[1::-1]) > 0.5
    paper = sees(np.full((1, len(BANDS)), PAPER), shot)[0]
    part[there] = (INK + (paper - INK) * seen[..., None])[there]


def _texture(
    shape: tuple[int, int], scale: float, shot: Shot, rng: np.random.Generator
) -> np.ndarray:
    """Light and shade of a plain weave or of wound yarn, and slow unevenness; mean 1."""
    import cv2

    y, x = np.mgrid[: shape[0], : shape[1]] / scale
    period = rng.uniform(0.8, 1.6)
    across = np.sin(2 * np.pi * (x / period + rng.random()))
    along = np.sin(2 * np.pi * (y / period + rng.random())) if shot.form == "cloth" else 1.0
    slow = cv2.resize(rng.standard_normal((4, 4)).astype(np.float32), shape[::-1])
    fibre = rng.standard_normal(shape)
    texture = 1 + shot.weave * (across * along + 0.12 * slow + 0.3 * fibre)
    return np.clip(texture / texture.mean(), 0.2, 2).astype(np.float32)


def _photographed(
    page: np.ndarray,
    card: Layout,
    scale: float,
    to_pixels: np.ndarray,
    size: tuple[int, int],
    shot: Shot,
) -> np.ndarray:
    import cv2

    from_canvas = to_pixels @ np.diag([1 / scale, 1 / scale, 1])
    table = (TABLE,) * 3
    seen = cv2.warpPerspective(page, from_canvas, size, flags=cv2.INTER_LINEAR, borderValue=table)
    if shot.blur:
        seen = cv2.GaussianBlur(seen, (0, 0), shot.blur)
    middle = _through(to_pixels, np.array([card.page_mm]) / 2)[0]
    corner = _through(to_pixels, np.array([[0.0, 0.0]]))[0]
    reach = np.linalg.norm(corner - middle)
    way = np.radians(shot.towards + 40)
    x, y = np.meshgrid(*(np.arange(n, dtype=np.float32) for n in size))
    along = ((x - middle[0]) * np.cos(way) + (y - middle[1]) * np.sin(way)) / reach
    away = ((x - middle[0]) ** 2 + (y - middle[1]) ** 2) / reach**2
    light = 1 + shot.falloff * np.clip(0.7 * along - 0.6 * (away - 0.5), -1, 1)
    return seen * (light / (1 + shot.falloff) * shot.exposure / PAPER)[..., None]


def _stored(seen: np.ndarray, shot: Shot, rng: np.random.Generator) -> np.ndarray:
    noise = rng.standard_normal(seen.shape, dtype=np.float32)
    seen = seen + noise * np.sqrt(np.maximum(seen, 0) * shot.noise**2 + (shot.noise / 4) ** 2)
    return np.round(255 * encoded(np.clip(seen, 0, 1), shot.steeper)).astype(np.uint8)


def encoded(linear: np.ndarray, steeper: float = 0.0) -> np.ndarray:
    """Stored value 0 to 1 of linear light: the sRGB curve, then more contrast if asked for."""
    linear = np.asarray(linear, np.float32)
    srgb = srgb_from_linear(linear)
    smooth = srgb * srgb * (3 - 2 * srgb)
    return (1 - steeper) * srgb + steeper * smooth


def dark(picture: Picture) -> Picture:
    """Cover the target with a dark cloth, as an unlucky photo might."""
    import cv2

    pixels = picture.pixels.copy()
    corners = _through(picture.to_pixels, picture.card.target_area.corners)
    cv2.fillConvexPoly(pixels, np.round(corners).astype(np.int32), (40, 35, 50))
    return replace(picture, pixels=pixels)
