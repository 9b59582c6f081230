"""Picture files: every format to the same pixels, and bad ones refused in their own words."""

import io
import struct

import cv2
import numpy as np
import pytest
import raw
from PIL import Image, ImageCms

from dyelab import read
from dyelab.errors import InputError

RNG = np.random.default_rng(4)
SMALL = RNG.integers(20, 230, (30, 40, 3), np.uint8)
PIXELS = cv2.GaussianBlur(cv2.resize(SMALL, (320, 240)), (0, 0), 4)


def stored(form, pixels=PIXELS, **how):
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, form, **how)
    return file.getvalue()


@pytest.mark.parametrize("form", ["png", "tiff"])
def test_lossless_files_keep_every_pixel(form):
    np.testing.assert_array_equal(read.photo(stored(form)).pixels, PIXELS)


def test_jpeg_and_heic_come_close():
    pillow_heif = pytest.importorskip("pillow_heif")
    pillow_heif.register_heif_opener()
    for form in ("jpeg", "heif"):
        pixels = read.photo(stored(form, quality=95)).pixels
        assert np.abs(pixels.astype(int) - PIXELS).mean() < 4


def test_a_jpeg_has_the_pixels_that_pillow_gives():
    for how in ({"quality": 90}, {"quality": 80, "subsampling": 2}, {"progressive": True}):
        content = stored("jpeg", **how)
        wanted = np.asarray(Image.open(io.BytesIO(content)))
        for whole in (content, content + b"a film of the moment before"):
            np.testing.assert_array_equal(read.photo(whole).pixels, wanted)


@pytest.mark.parametrize("ending", [".png", ".tiff"])
def test_16_bit_files_keep_16_bits(ending, tmp_path):
    deep = (PIXELS.astype(np.uint16) * 257) ^ 3
    cv2.imwrite(str(tmp_path / f"a{ending}"), deep[..., ::-1])
    made = read.photo(tmp_path / f"a{ending}")
    np.testing.assert_array_equal(made.pixels, deep)
    assert made.to_linear.shape == (65536, 3)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_the_stored_orientation_is_undone(orientation):
    exif = Image.Exif()
    exif[0x0112] = orientation
    whole = read.photo(stored("png", exif=exif)).pixels
    upright = {1: PIXELS, 3: PIXELS[::-1, ::-1], 6: np.rot90(PIXELS, 3), 8: np.rot90(PIXELS)}
    flat = {2: PIXELS[:, ::-1], 4: PIXELS[::-1], 5: PIXELS.transpose(1, 0, 2)}
    other = {7: PIXELS[::-1, ::-1].transpose(1, 0, 2)}
    np.testing.assert_array_equal(whole, (upright | flat | other)[orientation])


def test_without_a_profile_the_curve_is_srgb():
    curve = read.photo(stored("png")).to_linear[:, 1]
    # IEC 61966-2-1, computed from its definition.
    np.testing.assert_allclose(curve[[0, 10, 128, 255]], [0, 0.0030353, 0.2158605, 1], atol=1e-6)


def test_the_curves_of_an_embedded_profile_are_used():
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    made = read.photo(stored("jpeg", icc_profile=srgb))
    np.testing.assert_allclose(made.to_linear, read.photo(stored("png")).to_linear, atol=2e-3)
    assert "embedded" in made.notes[0]


def test_a_profile_of_plain_gamma_is_used():
    made = read.photo(stored("png", icc_profile=gamma_profile(1.8)))
    np.testing.assert_allclose(made.to_linear[128], (128 / 255) ** 1.8, atol=2e-3)


def gamma_profile(gamma):
    """The smallest profile with three curves, by ICC.1:2022 7.2, 7.3 and 10.6."""
    curve = b"curv" + bytes(4) + struct.pack(">IH", 1, round(gamma * 256)) + bytes(2)
    tags = b"".join(struct.pack(">4sII", n, 168, len(curve)) for n in (b"rTRC", b"gTRC", b"bTRC"))
    return bytes(128) + struct.pack(">I", 3) + tags + curve


def bad(content, match, name="a.jpg"):
    with pytest.raises(InputError, match=match):
        read.photo(content, name=name)


def test_a_cmyk_jpeg():
    file = io.BytesIO()
    Image.fromarray(PIXELS).convert("CMYK").save(file, "jpeg")
    bad(file.getvalue(), r"CMYK picture, made for printing.*RGB")


def test_a_grey_jpeg():
    file = io.BytesIO()
    Image.fromarray(PIXELS).convert("L").save(file, "jpeg")
    bad(file.getvalue(), r"grey picture.*in colour")


def test_a_grey_picture_stored_as_rgb():
    bad(stored("jpeg", np.repeat(PIXELS[..., :1], 3, axis=2)), r"all pixels are grey")


def test_a_truncated_file():
    content = stored("jpeg")
    bad(content[: len(content) // 2], r"breaks off before its end.*Copy it again")


def test_a_tiny_picture():
    bad(stored("jpeg", PIXELS[:50, :60]), r"60 by 50 pixels is too small")


def test_a_decompression_bomb():
    png = bytearray(stored("png"))
    png[16:24] = struct.pack(">II", 40_000, 40_000)
    import zlib

    png[29:33] = struct.pack(">I", zlib.crc32(bytes(png[12:29])))
    bad(bytes(png), "too many pixels", "a.png")


def test_no_picture_at_all(tmp_path):
    bad(b"hello, this is text" * 40, r"not a picture dyelab can read.*Expected JPEG")
    bad(b"", "the file is empty")
    with pytest.raises(InputError, match=r"can't be read.*Check the name"):
        read.photo(tmp_path / "nowhere.jpg")


def test_a_broken_raw_file():
    pytest.importorskip("rawpy")
    bad(b"II*\0" + bytes(4000), "not a picture", "a.dng")


def test_a_raw_file_gives_linear_light_channel_by_channel():
    pytest.importorskip("rawpy")
    light = read.photo(stored("png")).to_linear[PIXELS, [0, 1, 2]]
    made = read.photo(raw.dng(0.8 * light), name="a.dng")
    assert made.full == 65535
    assert "raw" in made.notes[0]
    seen = made.pixels / made.full
    level = seen.mean(axis=(0, 1)) / light.mean(axis=(0, 1))
    np.testing.assert_allclose(seen / level, light, atol=0.01 * light.max())
