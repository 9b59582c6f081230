"""Pictures stored otherwise: other primaries, curves, depths and orientations, the same colours.

Primaries and curves: ITU-T H.273 (2021), table 2 and 3; IEC 61966-2-1; PNG, third edition, 11.3.2;
ICC.1:2022. The conversions are checked against littleCMS too.
"""

import io
import struct
import zlib

import cv2
import numpy as np
import pytest
from PIL import Image, ImageCms

from dyelab import read
from dyelab.convert.srgb import srgb_from_linear, srgb_to_linear
from dyelab.errors import InputError

RNG = np.random.default_rng(11)
LIGHT = cv2.resize(RNG.uniform(0.05, 0.85, (30, 40, 3)), (320, 240))
# XYZ of the primaries, D65, from their chromaticities (H.273, table 2): computed.
SRGB = np.array(
    [
        [0.4123908, 0.3575843, 0.1804808],
        [0.2126390, 0.7151687, 0.0721923],
        [0.0193308, 0.1191948, 0.9505322],
    ]
)
P3 = np.array(
    [
        [0.4865709, 0.2656677, 0.1982173],
        [0.2289746, 0.6917385, 0.0792869],
        [0.0000000, 0.0451134, 1.0439444],
    ]
)
WIDE = np.array(
    [
        [0.6369580, 0.1446169, 0.1688810],
        [0.2627002, 0.6779981, 0.0593017],
        [0.0000000, 0.0280727, 1.0609851],
    ]
)
BRADFORD = np.array(  # D65 to the D50 of profiles (ICC.1:2022, annex E, computed)
    [
        [1.0478112, 0.0228866, -0.0501270],
        [0.0295424, 0.9904844, -0.0170491],
        [-0.0092345, 0.0150436, 0.7521316],
    ]
)


def in_primaries(matrix):
    return np.clip(LIGHT @ np.linalg.solve(matrix, SRGB).T, 0, 1)


def bits8(encoded):
    return np.rint(encoded * 255).astype(np.uint8)


def profile(matrix, gamma=None):
    """A profile of three curves and a matrix; without a gamma the curve is sRGB's."""
    numbers = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
    whole = struct.pack(">5i", *(round(v * 65536) for v in numbers))
    curve = b"para" + bytes(4) + struct.pack(">HH", 3, 0) + whole
    if gamma:
        curve = b"curv" + bytes(4) + struct.pack(">IH", 1, round(gamma * 256)) + bytes(2)
    columns = (BRADFORD @ matrix).T
    xyz = [
        b"XYZ " + bytes(4) + struct.pack(">3i", *np.rint(c * 65536).astype(int)) for c in columns
    ]
    white = b"XYZ " + bytes(4) + struct.pack(">3i", 63190, 65536, 54061)
    text = b"mluc" + bytes(4) + struct.pack(">II", 1, 12) + b"enUS" + struct.pack(">II", 2, 28)
    text += "x".encode("utf-16-be") + bytes(2)
    tags = {b"desc": text, b"cprt": text, b"wtpt": white}
    tags |= {f"{c}XYZ".encode(): body for c, body in zip("rgb", xyz, strict=True)}
    tags |= {f"{c}TRC".encode(): curve for c in "rgb"}
    at, table, data = 132 + 12 * len(tags), b"", b""
    for name, body in tags.items():
        body += bytes(-len(body) % 4)
        table += struct.pack(">4sII", name, at + len(data), len(body))
        data += body
    head = struct.pack(">I4sI4s4s4s", 0, b"lcms", 0x04300000, b"mntr", b"RGB ", b"XYZ ")
    head += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + bytes(28)
    head += struct.pack(">3i", 63190, 65536, 54061) + bytes(48)
    whole = head + struct.pack(">I", len(tags)) + table + data
    return struct.pack(">I", len(whole)) + whole[4:]


def saved(pixels, form="png", **how):
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, form, **how)
    return file.getvalue()


def light_of(photo):
    return np.stack([photo.to_linear[photo.pixels[..., c], c] for c in range(3)], axis=-1)


def worst(photo, wanted=LIGHT):
    return np.abs(srgb_from_linear(light_of(photo)) - srgb_from_linear(wanted)).max()


@pytest.mark.parametrize("name", ["P3", "wide"])
@pytest.mark.parametrize("form", ["png", "jpeg", "tiff"])
def test_a_picture_of_other_primaries_gives_the_same_light(name, form):
    matrix = {"P3": P3, "wide": WIDE}[name]
    inside = (in_primaries(matrix) < 1).all(axis=-1)
    how = {"quality": 98, "subsampling": 0} if form == "jpeg" else {}
    content = saved(
        bits8(srgb_from_linear(in_primaries(matrix))), form, icc_profile=profile(matrix), **how
    )
    made = read.photo(content)
    off = np.abs(srgb_from_linear(light_of(made)) - srgb_from_linear(LIGHT))[inside]
    assert np.median(off) < 0.004
    assert off.max() < (0.08 if form == "jpeg" else 0.03)
    assert "brought to sRGB's primaries" in made.notes[0]


def test_the_conversion_is_that_of_little_cms():
    pixels = bits8(srgb_from_linear(in_primaries(P3)))
    mine = light_of(read.photo(saved(pixels, icc_profile=profile(P3))))
    theirs = ImageCms.profileToProfile(
        Image.fromarray(pixels),
        ImageCms.ImageCmsProfile(io.BytesIO(profile(P3))),
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )
    assert np.abs(srgb_from_linear(mine) - np.asarray(theirs) / 255).max() < 2 / 255


def test_srgb_itself_keeps_its_pixels():
    pixels = bits8(srgb_from_linear(LIGHT))
    made = read.photo(saved(pixels, icc_profile=profile(SRGB)))
    np.testing.assert_array_equal(made.pixels, pixels)


def test_burnt_out_places_stay_full():
    pixels = bits8(srgb_from_linear(in_primaries(P3)))
    pixels[:40, :40] = (255, 120, 40)
    made = read.photo(saved(pixels, icc_profile=profile(P3)))
    assert (made.pixels[:40, :40] == 65535).all()


def with_chunks(content, *chunks):
    """Put chunks into a PNG behind its first one."""
    made = b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        for kind, body in chunks
    )
    return content[:33] + made + content[33:]


def test_gamma_and_chromaticities_of_a_png():
    pixels = bits8(LIGHT ** (1 / 1.8))
    made = read.photo(with_chunks(saved(pixels), (b"gAMA", struct.pack(">I", 55_556))))
    assert worst(made) < 0.01
    xy = (31270, 32900, 68000, 32000, 26500, 69000, 15000, 6000)
    both = ((b"gAMA", struct.pack(">I", 55_556)), (b"cHRM", struct.pack(">8I", *xy)))
    wide = bits8(in_primaries(P3) ** (1 / 1.8))
    assert np.median(np.abs(light_of(read.photo(with_chunks(saved(wide), *both))) - LIGHT)) < 0.004


@pytest.mark.parametrize(
    ("code", "encode"),
    [
        (8, lambda x: x),
        (13, srgb_from_linear),
        (1, lambda x: np.where(x < 0.018, 4.5 * x, 1.099 * x**0.45 - 0.099)),
        (4, lambda x: x ** (1 / 2.2)),
    ],
)
def test_the_curve_that_a_png_states_by_number(code, encode):
    content = with_chunks(saved(bits8(encode(LIGHT))), (b"cICP", bytes([1, code, 0, 1])))
    assert np.median(np.abs(light_of(read.photo(content)) - LIGHT)) < 0.003


@pytest.mark.parametrize(("code", "name"), [(16, "PQ"), (18, "HLG")])
def test_hdr_is_refused(code, name):
    content = with_chunks(saved(bits8(LIGHT)), (b"cICP", bytes([9, code, 0, 1])))
    with pytest.raises(InputError, match=rf"an HDR picture \({name}\).*switch HDR off"):
        read.photo(content, name="a.png")


def test_an_hdr_heic_is_refused_and_a_p3_one_converted():
    heif = pytest.importorskip("pillow_heif")
    heif.register_heif_opener()
    plain = saved(bits8(srgb_from_linear(in_primaries(P3))), "heif", quality=95)
    at = plain.find(b"colrnclx")
    if at < 0:
        pytest.skip("this pillow_heif writes no nclx box")
    for codes, match in (((12, 13), None), ((9, 16), "HDR picture"), ((9, 18), "HDR picture")):
        content = plain[: at + 8] + struct.pack(">HH", *codes) + plain[at + 12 :]
        if match:
            with pytest.raises(InputError, match=match):
                read.photo(content, name="a.heic")
        else:
            off = np.abs(srgb_from_linear(light_of(read.photo(content))) - srgb_from_linear(LIGHT))
            assert np.median(off) < 0.01


def tiff16(pixels, orientation):
    """The smallest 16-bit TIFF with an orientation (TIFF 6.0, section 8)."""
    height, width = pixels.shape[:2]
    data = pixels.astype("<u2").tobytes()
    at = 8 + 2 + 11 * 12 + 4
    entries = [(256, 4, 1, width), (257, 4, 1, height), (258, 3, 3, at), (259, 3, 1, 1)]
    entries += [(262, 3, 1, 2), (273, 4, 1, at + 6), (274, 3, 1, orientation), (277, 3, 1, 3)]
    entries += [(278, 4, 1, height), (279, 4, 1, len(data)), (284, 3, 1, 1)]
    table = b"".join(struct.pack("<HHII", *entry) for entry in entries)
    head = b"II*\0" + struct.pack("<I", 8) + struct.pack("<H", len(entries)) + table + bytes(4)
    return head + struct.pack("<3H", 16, 16, 16) + data


def turned(pixels, orientation):
    """How a picture lies in a file of this orientation (EXIF 2.32, tag 274)."""
    lies = {
        1: pixels,
        2: pixels[:, ::-1],
        3: pixels[::-1, ::-1],
        4: pixels[::-1],
        5: pixels.transpose(1, 0, 2),
        6: np.rot90(pixels),
        7: pixels[::-1, ::-1].transpose(1, 0, 2),
        8: np.rot90(pixels, 3),
    }
    return np.ascontiguousarray(lies[orientation])


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("form", ["png", "tiff", "jpeg", "png 16", "tiff 16"])
def test_every_orientation_in_every_format_and_depth(form, orientation):
    upright = (np.rint(srgb_from_linear(LIGHT) * 65535)).astype(np.uint16)
    lies = turned(upright, orientation)
    exif = Image.Exif()
    exif[0x0112] = orientation
    if form == "tiff 16":
        content = tiff16(lies, orientation)
    elif form == "png 16":
        body = exif.tobytes().removeprefix(b"Exif\0\0")
        made = cv2.imencode(".png", lies[..., ::-1])[1].tobytes()
        content = with_chunks(made, (b"eXIf", body))
    else:
        how = {"quality": 98} if form == "jpeg" else {}
        content = saved((lies >> 8).astype(np.uint8), form, exif=exif, **how)
    made = read.photo(content)
    shift = 0 if made.pixels.dtype == np.uint16 else 8
    assert made.pixels.shape == upright.shape
    off = np.abs(made.pixels.astype(int) - (upright >> shift)) / made.full
    assert np.median(off) < 0.02


def test_a_heic_is_turned_by_its_decoder_alone():
    """A HEIC is turned by its boxes; what its EXIF says of that is history (ISO/IEC 23008-12)."""
    pytest.importorskip("pillow_heif").register_heif_opener()
    exif = Image.Exif()
    exif[0x0112] = 6
    pixels = bits8(srgb_from_linear(LIGHT))
    made = read.photo(saved(pixels, "heif", exif=exif, quality=95))
    assert made.pixels.shape == pixels.shape
    assert np.median(np.abs(made.pixels.astype(int) - pixels)) < 4


def test_a_flat_picture_made_to_fill_the_memory_is_refused():
    flat = np.zeros((3000, 3000, 3), np.uint8)
    flat[::2, :, 0] = 200
    with pytest.raises(InputError, match=r"is no photo"):
        read.photo(saved(flat, compress_level=9), name="a.png")


def test_light_and_stored_values_are_inverse():
    levels = np.linspace(0, 1, 1001)
    np.testing.assert_allclose(srgb_from_linear(srgb_to_linear(levels)), levels, atol=2e-6)
