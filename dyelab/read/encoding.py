"""How a picture stores light: its curves and primaries, from an ICC profile or the file's tags.

A file may say so in an ICC profile, in the four numbers of ITU-T H.273 (HEIC, AVIF and newer PNG),
or by PNG's gamma and chromaticities. Whatever says nothing is taken as sRGB (IEC 61966-2-1).
"""

import struct
import zlib
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dyelab.convert.srgb import srgb_from_linear, srgb_to_linear
from dyelab.errors import InputError

# Primaries that differ from sRGB's by less than this in any term give colours within 0.2 dE00.
_SAME = 0.01
_CHUNK = 256  # rows turned at once, to hold memory down
# Chromaticities of red, green, blue and white, each x, y (ITU-T H.273, table 2).
_PRIMARIES = {
    1: (0.64, 0.33, 0.30, 0.60, 0.15, 0.06, 0.3127, 0.3290),  # BT.709, that of sRGB
    5: (0.64, 0.33, 0.29, 0.60, 0.15, 0.06, 0.3127, 0.3290),  # BT.601, 625 lines
    6: (0.63, 0.34, 0.31, 0.595, 0.155, 0.07, 0.3127, 0.3290),  # BT.601, 525 lines
    9: (0.708, 0.292, 0.170, 0.797, 0.131, 0.046, 0.3127, 0.3290),  # BT.2020
    11: (0.680, 0.320, 0.265, 0.690, 0.150, 0.060, 0.314, 0.351),  # P3, cinema white
    12: (0.680, 0.320, 0.265, 0.690, 0.150, 0.060, 0.3127, 0.3290),  # P3, D65: Display P3
}
_HDR = {16: "PQ", 18: "HLG"}
_NO_HDR = (
    "The file's tone is made for very bright screens, and what light a value stands for depends "
    "on the screen. Export the photo as a usual JPEG, or switch HDR off in the camera."
)


@dataclass(frozen=True)
class Encoding:
    """Curves (full + 1, 3) of stored values, and the way to sRGB's primaries, if they differ."""

    curves: np.ndarray
    to_srgb: np.ndarray | None
    note: str


def encoding(content: bytes, profile: bytes | None, full: int, name: str) -> Encoding:
    """Find how a picture stores light.

    Parameters
    ----------
    content : bytes
        The file.
    profile : bytes, optional
        Its ICC profile.
    full : int
        Largest stored value.
    name : str
        For the messages.

    Raises
    ------
    InputError
        If it is stored for high dynamic range (PQ, HLG), which gives no reflectance.
    """
    stored = np.linspace(0, 1, full + 1)
    tagged = _h273(content)
    if tagged and tagged[1] in _HDR:
        raise InputError(f"{name}: an HDR picture ({_HDR[tagged[1]]}). {_NO_HDR}")
    if profile:
        found = _of_profile(profile, stored, name)
        if found is not None:
            return found
        note = "sRGB curve; the embedded profile is of a kind that has no curves"
        return _with_curve(srgb_to_linear(stored), None, note)
    if tagged and tagged != (2, 2):
        note = "curve and primaries of the file's own tags (H.273: {}, {})".format(*tagged)
        curve = _CURVES.get(tagged[1], srgb_to_linear)
        return _with_curve(curve(stored), _PRIMARIES.get(tagged[0]), note)
    plain = _with_curve(srgb_to_linear(stored), None, "sRGB curve; no colour profile")
    return _of_png(content, stored) or plain


def _with_curve(values: np.ndarray, primaries: tuple[float, ...] | None, note: str) -> Encoding:
    """One curve for all three channels; without primaries they are sRGB's."""
    matrix = _to_srgb(_xyz(primaries), _xyz(_PRIMARIES[1])) if primaries else None
    return Encoding(np.stack([values] * 3, axis=1), matrix, note)


def in_srgb(pixels: np.ndarray, found: Encoding) -> tuple[np.ndarray, np.ndarray, str]:
    """Bring pixels of other primaries to sRGB's, in 16 bits; what leaves its gamut is clipped.

    Returns
    -------
    pixels : ndarray (h, w, 3)
    curves : ndarray (full + 1, 3)
    note : str
    """
    if found.to_srgb is None:
        return pixels, found.curves, found.note
    levels = np.linspace(0, 1, 65536)
    encoded = np.rint(srgb_from_linear(levels) * 65535).astype(np.uint16)
    curves = found.curves.astype(np.float32)
    turned = np.empty(pixels.shape, np.uint16)
    matrix = found.to_srgb.T.astype(np.float32)
    for top in range(0, len(pixels), _CHUNK):
        rows = pixels[top : top + _CHUNK]
        light = np.stack([np.take(curves[:, c], rows[..., c]) for c in range(3)], axis=-1)
        index = np.rint(np.clip(light @ matrix, 0, 1) * 65535).astype(np.uint16)
        turned[top : top + _CHUNK] = np.take(encoded, index)
        # A channel that was full stays full, so that burnt-out places are still seen as such.
        burnt = (rows >= len(curves) - 1).any(axis=-1)
        turned[top : top + _CHUNK][burnt] = 65535
    srgb = np.stack([srgb_to_linear(levels)] * 3, axis=1)
    return turned, srgb, f"{found.note}, brought to sRGB's primaries"


def _to_srgb(to_xyz: np.ndarray, srgb: np.ndarray) -> np.ndarray | None:
    """Matrix from these primaries to sRGB's; None where they are the same."""
    matrix = np.linalg.solve(srgb, to_xyz)
    return None if np.abs(matrix - np.eye(3)).max() < _SAME else matrix


def _xyz(primaries: tuple[float, ...]) -> np.ndarray:
    """Linear red, green, blue to XYZ, from chromaticities; the white has Y = 1."""
    xy = np.array(primaries, float).reshape(4, 2)
    if not (np.isfinite(xy).all() and (xy[:, 1] > 0.001).all()):
        raise ValueError("chromaticities")
    full = np.stack([xy[:, 0] / xy[:, 1], np.ones(4), (1 - xy.sum(axis=1)) / xy[:, 1]])
    scale = np.linalg.solve(full[:, :3], full[:, 3])
    return full[:, :3] * scale


def _h273(content: bytes) -> tuple[int, int] | None:
    """Primaries and transfer characteristics by number: an nclx box, or PNG's cICP chunk."""
    if content[4:8] == b"ftyp":
        at = content.find(b"colrnclx")
        if 0 <= at <= len(content) - 12:
            first, second = struct.unpack_from(">HH", content, at + 8)
            return first, second
    chunk = _png_chunks(content).get(b"cICP", b"")
    return (chunk[0], chunk[1]) if len(chunk) >= 2 else None


def _bt709(v: np.ndarray) -> np.ndarray:
    """ITU-R BT.709 and BT.601, stored to light."""
    return np.where(v < 0.081, v / 4.5, ((v + 0.099) / 1.099) ** (1 / 0.45))


# Stored to light by code (ITU-T H.273, table 3); any other is near sRGB's own curve.
_CURVES: dict[int, Callable[[np.ndarray], np.ndarray]] = {
    **dict.fromkeys((1, 6, 14, 15), _bt709),
    4: lambda v: v**2.2,  # BT.470 System M
    5: lambda v: v**2.8,  # BT.470 Systems B and G
    8: np.asarray,
}


def _png_chunks(content: bytes) -> dict[bytes, bytes]:
    """The short chunks of a PNG before its pixels."""
    found: dict[bytes, bytes] = {}
    at = 8
    while content[:4] == b"\x89PNG" and at + 12 <= len(content) and len(found) < 50:
        size, kind = struct.unpack_from(">I4s", content, at)
        if kind == b"IDAT":
            break
        body = content[at + 8 : at + 8 + size]
        told = int.from_bytes(content[at + 8 + size : at + 12 + size], "big")
        if size < 1000 and zlib.crc32(kind + body) == told:
            found[kind] = body
        at += 12 + size
    return found


def _of_png(content: bytes, stored: np.ndarray) -> Encoding | None:
    """PNG's gAMA and cHRM (PNG, third edition, 11.3.2), where no sRGB chunk overrules them."""
    chunks = _png_chunks(content)
    if b"sRGB" in chunks or len(chunks.get(b"gAMA", b"")) != 4:
        return None
    (value,) = struct.unpack(">I", chunks[b"gAMA"])
    if not 10_000 <= value <= 200_000:
        return None
    primaries = None
    if len(chunks.get(b"cHRM", b"")) == 32:
        white, *rest = np.array(struct.unpack(">8I", chunks[b"cHRM"])).reshape(4, 2) / 1e5
        primaries = tuple(np.concatenate([*rest, white]))
    srgb = value == 45_455  # what a writer of sRGB states beside it
    light = srgb_to_linear(stored) if srgb else stored ** (100_000 / value)
    try:
        return _with_curve(light, primaries, "gamma that the PNG states")
    except (ValueError, np.linalg.LinAlgError):
        return None


# Red, green and blue of sRGB in the D50 of profiles (IEC 61966-2-1, adapted as ICC.1 annex E says).
_SRGB_D50 = np.array(
    [
        [0.4360747, 0.3850649, 0.1430804],
        [0.2225045, 0.7168786, 0.0606169],
        [0.0139322, 0.0971045, 0.7141733],
    ]
)


def _of_profile(profile: bytes, stored: np.ndarray, name: str) -> Encoding | None:
    """Three curves and a matrix of an ICC profile (ICC.1:2022, 8.3.3); None for other kinds."""
    try:
        curves = np.stack(
            [_curve(_tag(profile, f"{c}TRC".encode()), stored) for c in "rgb"], axis=1
        )
    except (KeyError, struct.error, IndexError, ValueError, OverflowError):
        return None
    if not np.isfinite(curves).all():
        return None
    transfer = _cicp(profile)
    if transfer in _HDR:
        raise InputError(f"{name}: an HDR picture ({_HDR[transfer]}). {_NO_HDR}")
    note = "curves of the embedded colour profile"
    try:
        matrix = _to_srgb(_colorants(profile), _SRGB_D50)
    except (KeyError, struct.error, ValueError, np.linalg.LinAlgError):
        matrix = None
    return Encoding(np.clip(curves, 0, 1), matrix, note)


def _cicp(profile: bytes) -> int:
    """Transfer number of a profile's cicp tag (ICC.1:2022, 9.2.17); 0 where there is none."""
    try:
        tag = _tag(profile, b"cicp")
    except (KeyError, struct.error):
        return 0
    return tag[9] if len(tag) >= 10 else 0


def _colorants(profile: bytes) -> np.ndarray:
    """Red, green and blue in D50 XYZ, as columns; they must make a white near D50."""
    columns = [struct.unpack_from(">3i", _tag(profile, f"{c}XYZ".encode()), 8) for c in "rgb"]
    matrix = np.array(columns).T / 65536
    if np.abs(matrix.sum(axis=1) - _SRGB_D50.sum(axis=1)).max() > 0.05:
        raise ValueError("no D50 white")
    return matrix


def _tag(profile: bytes, name: bytes) -> bytes:
    """Data of one tag of an ICC profile (ICC.1:2022, 7.3)."""
    (count,) = struct.unpack_from(">I", profile, 128)
    for i in range(min(count, 100)):
        signature, offset, size = struct.unpack_from(">4sII", profile, 132 + 12 * i)
        if signature == name:
            return profile[offset : offset + size]
    raise KeyError(name)


def _curve(tag: bytes, x: np.ndarray) -> np.ndarray:
    """Evaluate curveType (ICC.1:2022, 10.6) or parametricCurveType (10.18)."""
    if tag[:4] == b"curv":
        (count,) = struct.unpack_from(">I", tag, 8)
        if count == 0:
            return x
        table = np.frombuffer(tag, ">u2", count, 12).astype(float)
        if count == 1:
            return x ** (table[0] / 256)
        return np.interp(x, np.linspace(0, 1, count), table / 65535)
    if tag[:4] != b"para":
        raise ValueError("no curve")
    (kind,) = struct.unpack_from(">H", tag, 8)
    count = (1, 3, 4, 5, 7)[kind]
    p = [v / 65536 for v in struct.unpack_from(f">{count}i", tag, 12)]
    with np.errstate(all="ignore"):  # a damaged curve is found out by its values
        return _parametric(kind, p, x)


def _parametric(kind: int, p: list[float], x: np.ndarray) -> np.ndarray:
    g, a, b, c, d, e, f = (p + [0.0] * 7)[:7]
    if kind == 0:
        return x**g
    if a == 0:
        raise ValueError("a curve without a slope")
    rise = np.maximum(a * x + b, 0) ** g
    if kind < 3:  # Y = (aX + b)^g (+ c) from -b/a on, c below
        return np.where(x >= -b / a, rise + (c if kind == 2 else 0), c if kind == 2 else 0)
    return np.where(x >= d, rise + e, c * x + f)
