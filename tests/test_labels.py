"""Labels: numbers to markers and back, read from photos, and what is said where they fail."""

import labelled
import numpy as np
import pandas as pd
import pytest
from worlds.synth import render

from dyelab import calibrate, card, measure, read

PLACES = ["A1", "A2", "A3", "B1", "B2", "D6"]


def seen(picture):
    photo = read.photo(picture.jpeg(), name="a.jpg")
    return measure.read_labels(photo, calibrate.find_card(photo))


def test_numbers_go_to_two_markers_and_back():
    digits = card.label_markers()
    assert not set(digits) & set(card.marker_numbers())
    for number in (0, 1, len(digits), 123_456, len(digits) ** 2 - 1):
        left, right = card.marker_pair(number)
        assert {left, right} <= set(digits)
        assert card.label_number(left, right) == number


def test_numbers_stay_apart_from_those_taken():
    first = card.label_numbers(["a", "b"], "Autumn")
    assert card.label_numbers(["a", "b"], "Autumn") == first
    moved = card.label_numbers(["a", "b"], "Autumn", taken=first)
    assert not set(moved) & set(first)


@pytest.fixture(scope="module")
def awry():
    """One label as it should be, and every way in which one can be wrong."""
    laid = [
        render.Label(1000, "A1", 2.0),
        render.Label(2000, "A2", 1.0, turn=180.0),
        render.Label(3000, "A3", 1.0, hidden=(0.0, 5.0)),
        render.Label(4000, "B1"),
        render.Label(4000, "B2"),
        render.Label(99_999, "D6"),
    ]
    picture, _ = labelled.photo(4, megapixels=5.0, labels=laid, tilt=10.0)
    return seen(picture)


def test_each_way_of_failing_is_told(awry):
    swatches = pd.DataFrame(
        {"swatch": ["W1", "W2", "W3", "W4", "W9"], "label_number": [1000, 2000, 3000, 4000, None]}
    )
    swatches["label_number"] = swatches["label_number"].astype("Int64")
    told = measure.names_by_label(awry, [*PLACES, "C1"], swatches).set_index("place")
    assert list(told["status"]) == ["read", "read", "half", "twice", "twice", "strange", "none"]
    assert list(told["swatch"]) == ["W1", "W2", "", "", "", "", ""]
    assert list(told["about"][["B1", "B2"]]) == ["W4", "W4"]
    assert list(told["upside_down"]) == [False, True, False, False, False, False, False]


def test_a_number_that_two_swatches_have_names_neither():
    seen_labels = pd.DataFrame({"place": ["A1", "A2"], "number": [7, 8], "turned": [0, 0]})
    swatches = pd.DataFrame({"swatch": ["W1", "W2", "W3"], "label_number": [7, 7, 8]})
    told = measure.names_by_label(seen_labels, ["A1", "A2"], swatches)
    assert list(told["status"]) == ["shared", "read"]
    assert list(told["swatch"]) == ["", "W3"]


def test_two_labels_above_one_window_name_nothing():
    laid = [render.Label(1000, "A1", -2.0), render.Label(2000, "A1", 2.0, down_mm=7.0)]
    picture, _ = labelled.photo(4, megapixels=5.0, labels=laid, tilt=10.0)
    swatches = pd.DataFrame({"swatch": ["W1", "W2"], "label_number": [1000, 2000]})
    told = measure.names_by_label(seen(picture), ["A1"], swatches)
    assert list(told["status"]) == ["several"]
    assert list(told["swatch"]) == [""]


def test_a_card_without_labels_reads_none():
    picture, _ = labelled.photo(2, megapixels=4.0, labels=[])
    assert seen(picture).empty


@pytest.mark.slow
@pytest.mark.parametrize("kind", list(card.KINDS))
def test_labels_are_read_at_twelve_megapixels_and_a_tilt_of_thirty_degrees(kind):
    picture, laid = labelled.photo(5, kind)
    found = seen(picture)
    pairs = dict(zip(found["place"], found["number"], strict=True))
    right = [pairs.get(label.place) == label.number for label in laid]
    assert np.mean(right) >= 0.95
    assert set(found["number"].dropna()) <= {label.number for label in laid}
