"""Pictures: JPEG, PNG, TIFF, HEIC and camera raw to pixels with the way back to linear light."""

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import reduce
from operator import or_
from pathlib import Path
from typing import Any

import numpy as np

from dyelab import limits
from dyelab.errors import InputError
from dyelab.read.encoding import encoding, in_srgb

FEWEST_PIXELS = 200  # on the short side: a window of the card then has a dozen across
_GREY = {np.dtype(np.uint8): 3, np.dtype(np.uint16): 800}  # levels: what JPEG adds to plain grey
RAW = {".dng", ".nef", ".cr2", ".cr3", ".arw", ".raf", ".orf", ".rw2", ".pef"}
_EXTRA = "Install it with: pip install 'dyelab[camera]'. Or export the photo as JPEG or TIFF."


@dataclass(frozen=True)
class Photo:
    """A picture as stored, turned upright, with the curve that undoes its encoding.

    Attributes
    ----------
    pixels : ndarray (h, w, 3)
        Red, green, blue; uint8 or uint16. Not to be written to.
    to_linear : ndarray (256, 3) or (65536, 3), float32
        Linear light, 0 to 1, for every stored value of each channel.
    name : str
        File name.
    notes : tuple of str
        What the file says of itself that matters: its colour profile, its orientation.
    """

    pixels: np.ndarray
    to_linear: np.ndarray = field(repr=False)
    name: str = ""
    notes: tuple[str, ...] = ()

    @property
    def full(self) -> int:
        """Largest value a pixel can store."""
        return len(self.to_linear) - 1


@limits.in_time
def photo(source: str | Path | bytes, *, name: str = "") -> Photo:
    """Read a picture.

    Parameters
    ----------
    source : str, Path or bytes
        The file, or its content.
    name : str
        For the messages, where `source` is bytes.

    Returns
    -------
    Photo
        Turned as its EXIF orientation says. An embedded colour profile of the usual kind
        (three curves and a matrix), or what the file states of its curve and primaries, is
        honoured: pixels of other primaries are brought to sRGB's. A picture that states
        nothing is taken as sRGB.

    Raises
    ------
    InputError
        If it can't be read, is broken off, is grey, CMYK or HDR, or is too large or too small.

    Examples
    --------
    >>> from dyelab import read, synth
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> read.photo(photo).pixels.dtype.name
    'uint8'
    """
    content, name = _content(source, name)
    if Path(name).suffix.lower() in RAW:
        return _raw(content, name)
    if content[:2] in (b"II", b"MM") and content[2:4] in (b"*\0", b"\0*", b"+\0", b"\0+"):
        deep = _deep_tiff(content, name)
        if deep is not None:
            return deep
    return _common(content, name)


def _content(source: str | Path | bytes, name: str) -> tuple[bytes, str]:
    if isinstance(source, bytes):
        content, name = source, name or "photo"
    else:
        name = Path(source).name
        content = limits.content(source, limits.PHOTO_BYTES)
    if not content:
        raise InputError(f"{name}: the file is empty. Copy it again from the camera.")
    return content, name


def _common(content: bytes, name: str) -> Photo:
    """Everything Pillow reads: 8 bits a channel, and 16-bit PNG by OpenCV."""
    from PIL import Image, ImageOps

    _with_heic(content, name)
    with _decode_safely(name):
        picture: Any = Image.open(io.BytesIO(content))
        check_size(picture.width, picture.height, name, len(content))
        _check_mode(picture, name)
        profile = picture.info.get("icc_profile")
        orientation = picture.getexif().get(0x0112, 1)
        deep = _deep_png(content, orientation)
        if deep is None and orientation == 1:
            deep = _whole_jpeg(content, picture)
        if deep is None:
            picture.load()
            if orientation != 1:
                picture = ImageOps.exif_transpose(picture)
            deep = np.asarray(picture if picture.mode == "RGB" else picture.convert("RGB"))
    _check_coloured(deep, name)
    return _make(deep, content, profile, name, ("turned upright",) if orientation != 1 else ())


@contextmanager
def _decode_safely(name: str) -> Iterator[None]:
    """Word as one refusal what decoders raise over damaged files, which is of dozens of kinds."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except InputError:
        raise
    except Exception as error:
        raise InputError(_broken(name, error)) from error


def _broken(name: str, error: Exception) -> str:
    if type(error).__name__ == "DecompressionBombError":
        return f"{name}: too many pixels. Export it smaller."
    if "truncated" in str(error).lower() or "broken" in str(error).lower():
        return f"{name}: the file breaks off before its end. Copy it again from the camera."
    why = "" if "<_io." in str(error) else f" ({str(error)[:80]})"  # the name of a thing inside
    return (
        f"{name}: not a picture dyelab can read{why}. "
        "Expected JPEG, PNG, TIFF, HEIC or camera raw: export it as one of these."
    )


def check_size(width: int, height: int, name: str, size: int) -> None:
    """Refuse before decoding what would fill the memory, or is too small to hold a card.

    `size` is that of the file in bytes: a photo that takes less than a hundredth of a byte a
    pixel is a flat picture made to fill a memory.
    """
    limits.check(width * height, limits.PIXELS, "pixels", name)
    if width * height > max(limits.FLAT_PIXELS, limits.PIXELS_A_BYTE * size):
        raise InputError(
            f"{name}: {width} by {height} pixels in {size:,} bytes is no photo. "
            "Use the file as the camera stored it."
        )
    if min(width, height) < FEWEST_PIXELS:
        raise InputError(
            f"{name}: {width} by {height} pixels is too small to measure. "
            "Use the photo as the camera stored it, not a preview."
        )


def _check_mode(picture: Any, name: str) -> None:
    mode = picture.mode
    if mode in ("CMYK", "YCCK"):
        raise InputError(
            f"{name}: a CMYK picture, made for printing; its colours were changed for ink. "
            "Use the camera's own RGB file."
        )
    if mode in ("1", "L", "LA", "I", "F") or mode.startswith("I;16"):
        raise InputError(f"{name}: a grey picture holds no colour. {_COLOUR}")
    if mode in ("LAB", "HSV"):
        raise InputError(f"{name}: a picture in {mode}. Export it as RGB.")


_COLOUR = "Take the photo in colour, without a black-and-white filter."


def _check_coloured(pixels: np.ndarray, name: str) -> None:
    few = pixels[::16, ::16].astype(np.int32)
    if np.ptp(few, axis=2).max() <= _GREY[pixels.dtype]:
        raise InputError(f"{name}: all pixels are grey, though stored as RGB. {_COLOUR}")


def _with_heic(content: bytes, name: str) -> None:
    if content[4:8] != b"ftyp":
        return
    try:
        import pillow_heif
    except ImportError as error:
        raise InputError(f"{name}: reading HEIC needs an extra. {_EXTRA}") from error
    pillow_heif.register_heif_opener()


def _decode_tiff(content: bytes, *flags: str) -> np.ndarray | None:
    import cv2

    asked = reduce(or_, (getattr(cv2, name) for name in flags))
    return cv2.imdecode(np.frombuffer(content, np.uint8), asked)


def _deep_png(content: bytes, orientation: int) -> np.ndarray | None:
    """Pixels of a 16-bit PNG, upright, which Pillow would cut to 8."""
    if not content.startswith(b"\x89PNG") or content[24] != 16:
        return None
    pixels = _decode_tiff(content, "IMREAD_UNCHANGED")
    if pixels is None:
        raise OSError("broken PNG")
    return _upright(pixels[..., 2::-1], orientation)


def _whole_jpeg(content: bytes, picture: Any) -> np.ndarray | None:
    """Pixels of an RGB JPEG that ends as it should, by the decoder that copies them least.

    None sends all others to Pillow, which says what is wrong with them.
    """
    if picture.format != "JPEG" or picture.mode != "RGB" or not content.endswith(b"\xff\xd9"):
        return None
    pixels = _decode_tiff(content, "IMREAD_COLOR_RGB", "IMREAD_IGNORE_ORIENTATION")
    return None if pixels is None or pixels.shape[1::-1] != picture.size else np.asarray(pixels)


def _deep_tiff(content: bytes, name: str) -> Photo | None:
    """Return a 16-bit TIFF; None where Pillow does as well."""
    from PIL import Image

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            head: Any = Image.open(io.BytesIO(content))
            check_size(head.width, head.height, name, len(content))
            tags = {tag: head.tag_v2.get(tag) for tag in (258, 262, 277, 274, 34675)}
    except InputError:
        raise
    except Exception:  # a layout Pillow doesn't know may still be a 16-bit one
        tags = {258: (16, 16, 16), 262: 2, 277: 3}
    bits = tags[258] if isinstance(tags[258], tuple) else (tags[258] or 8,)
    if max(bits) != 16 or (tags[277] or 1) < 3 or tags[262] != 2:
        return None
    pixels = _decode_tiff(content, "IMREAD_UNCHANGED", "IMREAD_IGNORE_ORIENTATION")
    if pixels is None or pixels.ndim != 3 or pixels.dtype != np.uint16:
        raise InputError(_broken(name, OSError("a broken or unusual 16-bit TIFF")))
    check_size(pixels.shape[1], pixels.shape[0], name, len(content))
    upright = np.ascontiguousarray(pixels[..., 2::-1])  # the decoder has turned it already
    _check_coloured(upright, name)
    return _make(upright, content, tags.get(34675), name, ())


def _upright(pixels: np.ndarray, orientation: int) -> np.ndarray:
    """Apply an EXIF orientation 1 to 8."""
    if orientation in (2, 4, 5, 7):
        pixels = pixels[:, ::-1]
    turns = {3: 2, 4: 2, 5: 1, 6: 3, 7: 3, 8: 1}.get(orientation, 0)
    return np.ascontiguousarray(np.rot90(pixels, turns))


def _raw(content: bytes, name: str) -> Photo:
    """Camera raw, developed without any tone curve: linear, 16 bit, camera's own primaries."""
    try:
        import rawpy
    except ImportError as error:
        raise InputError(f"{name}: reading camera raw needs an extra. {_EXTRA}") from error
    asked: dict[str, Any] = {"gamma": (1, 1), "no_auto_bright": True, "use_camera_wb": True}
    with _decode_safely(name), rawpy.imread(io.BytesIO(content)) as sensor:
        check_size(sensor.sizes.width, sensor.sizes.height, name, len(content))
        primaries = rawpy.ColorSpace.raw
        pixels = sensor.postprocess(**asked, half_size=True, output_bps=16, output_color=primaries)
    ramp = np.linspace(0, 1, 65536, dtype=np.float32)
    return Photo(pixels, np.stack([ramp] * 3, axis=1), name, ("camera raw, half size",))


def _make(
    pixels: np.ndarray, content: bytes, profile: bytes | None, name: str, notes: tuple[str, ...]
) -> Photo:
    full = 255 if pixels.dtype == np.uint8 else 65535
    made, curves, note = in_srgb(pixels, encoding(content, profile, full, name))
    made = made if made.flags.c_contiguous else np.ascontiguousarray(made)
    return Photo(made, curves.astype(np.float32), name, (*notes, note))


_MAKE, _MODEL, _TAKEN, _INNER, _ORIGINAL = 0x010F, 0x0110, 0x0132, 0x8769, 0x9003


def file_data(path: str | Path) -> dict[str, str]:
    """Return `camera` and `taken_at` (2026-04-30T14:05:00) as the file has them, else blank.

    Examples
    --------
    >>> from dyelab import read, synth
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> sorted(read.file_data(photo))[:2]
    ['camera', 'taken_at']
    """
    from PIL import Image

    blank = {"camera": "", "taken_at": ""}
    try:
        with Image.open(path) as picture:
            found: Any = picture.getexif()
    except Exception:  # no picture that Pillow knows, or a broken header: it says nothing
        return blank
    camera = " ".join(_text(found.get(tag)) for tag in (_MAKE, _MODEL)).strip()
    taken = _text(found.get_ifd(_INNER).get(_ORIGINAL) or found.get(_TAKEN))
    return blank | {"camera": camera[:80], "taken_at": _moment(taken)}


def _text(value: Any) -> str:
    text = value if isinstance(value, str) else ""
    return "".join(c for c in text if c.isprintable()).strip()


def _moment(text: str) -> str:
    """``2026:04:30 14:05:00`` as ISO 8601."""
    from datetime import datetime

    try:
        return datetime.strptime(text[:19], "%Y:%m:%d %H:%M:%S").isoformat()
    except ValueError:
        return ""
