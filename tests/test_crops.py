"""Crops of the cloth: the right window, its mean the colour that was read, nothing invented."""

import cv2
import numpy as np
import photo_book
import pytest

from dyelab import convert, measure, table


@pytest.fixture(scope="module")
def bk(tmp_path_factory):
    return photo_book.photographed(tmp_path_factory.mktemp("photo"), washes=(0, 10))


def test_the_mean_of_a_crop_is_the_colour_that_was_read(bk):
    made = measure.crops(bk.readings, bk.path)
    assert set(made) == set(bk.readings["reading"])
    for row in bk.readings.itertuples():
        pixels = cv2.imdecode(np.frombuffer(made[row.reading], np.uint8), cv2.IMREAD_COLOR)
        assert pixels.shape == (96, 96, 3)
        assert pixels.std() > 1  # a weave, not a flat chip
        chip, _ = convert.screen([row.L, row.a, row.b])
        wanted = [int(str(chip)[i : i + 2], 16) for i in (1, 3, 5)]
        np.testing.assert_allclose(pixels.reshape(-1, 3).mean(axis=0)[::-1], wanted, atol=2.5)


def test_readings_without_a_photo_or_a_card_have_no_crop(bk, tmp_path):
    typed = bk.readings.assign(method="typed")
    assert measure.crops(typed, bk.path) == {}
    gone = bk.readings.assign(source="photos/gone.jpg")
    assert measure.crops(gone, bk.path) == {}
    outside = bk.readings.assign(source="../../etc/passwd")
    assert measure.crops(outside, bk.path) == {}
    blank = tmp_path / "blank.png"
    cv2.imwrite(str(blank), np.full((200, 300, 3), 200, np.uint8))
    by_hand = bk.readings.head(1).assign(source="blank.png", reading="P1-blank-A1")
    assert measure.crops(by_hand, tmp_path) == {}


def test_a_crop_is_of_its_own_window(bk):
    """Crops of two swatches differ as their readings do."""
    made = measure.crops(bk.readings, bk.path)
    rows = bk.readings[bk.readings["exposure"].eq("none")].set_index("swatch")
    assert convert.dE00(*rows.loc[["P1", "P4"], table.LAB].to_numpy(float)) > 10
    assert made[rows.at["P1", "reading"]] != made[rows.at["P4", "reading"]]
