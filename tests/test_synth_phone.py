"""The photographed batch: a rendered photo that reads back as what lay on the card."""

import numpy as np
import pandas as pd
import pytest
from PIL import Image
from worlds.synth import photo_batch

from dyelab import book, card, synth, table

FOLDER = synth.sources() / "photos"


@pytest.fixture(scope="module")
def read(tmp_path_factory):
    bk = book.create(tmp_path_factory.mktemp("phone") / "book")
    bk = synth.add_photographed(bk, FOLDER)
    return bk.readings, bk.shared


def test_a_swatch_lies_in_every_window():
    places = pd.read_csv(FOLDER / "photos.csv")
    assert list(places["place"]) == card.layout().places
    assert list(places["swatch"]) == list(photo_batch.recipes()["swatch"])
    assert list(pd.read_csv(FOLDER / "swatches.csv")["swatch"]) == list(places["swatch"])


def test_no_swatch_shares_a_code_with_the_first_batch():
    first = pd.read_csv(synth.sources() / "swatches.csv")["swatch"]
    assert not set(first) & set(photo_batch.recipes()["swatch"])


@pytest.mark.slow
def test_the_shipped_photo_is_what_the_seed_gives(tmp_path):
    photo_batch.write_phone(tmp_path)
    for name in ("photos.csv", "swatches.csv", "steps.csv"):
        assert (tmp_path / name).read_text() == (FOLDER / name).read_text()
    ours, theirs = (pd.read_csv(f / "by_instrument.csv") for f in (tmp_path, FOLDER))
    pd.testing.assert_frame_equal(ours, theirs, atol=2e-5)
    one, other = (np.asarray(Image.open(f / photo_batch.CARD), float) for f in (tmp_path, FOLDER))
    assert one.shape == other.shape
    assert np.abs(one - other).mean() < 0.5  # another JPEG library may round otherwise


@pytest.mark.slow
def test_the_photo_reads_as_the_instrument_does(read):
    readings, shared = read
    text = readings.map(lambda x: "" if pd.isna(x) else str(x))
    assert table.check(text, table.READINGS, "readings.csv").empty
    assert set(shared["reading"]) == set(readings["reading"])
    agreed = synth.agreement(readings, synth.by_instrument(FOLDER))
    assert len(agreed) == 24
    assert agreed["dE00"].median() < 2
    assert agreed["inside"].sum() >= 20


@pytest.mark.slow
def test_a_book_takes_the_batch_in_with_its_photo(tmp_path):
    bk = synth.add_photographed(book.create(tmp_path / "book", title="By phone"), FOLDER)
    again = book.open(bk.path)
    assert again.faults.empty
    assert len(again.readings) == 24
    assert set(again.shared["source"]) == set(again.readings["source"])
    kept = bk.path / "photos" / again.photos["photo"].iloc[0].removeprefix("photos/")
    assert kept.read_bytes() == (FOLDER / photo_batch.CARD).read_bytes()
    dyes = book.wide(again).set_index("swatch")
    assert dyes.loc["P04", "iron_wof"] == 2.0


def test_agreement_counts_what_lies_within_the_stated_uncertainty():
    read = pd.DataFrame(
        {
            **{"swatch": ["a", "b"], "L": [50.0, 50.0], "a": 0.0, "b": 0.0},
            **{"illuminant": "D65", "observer": 10, "u_L": 1.0, "u_a": 1.0, "u_b": 1.0},
        }
    )
    other = read.assign(sample=["a", "b"], L=[52.7, 52.9]).iloc[::-1]
    agreed = synth.agreement(read, other).set_index("swatch")["inside"]
    assert agreed["a"]  # 2.7 standard uncertainties: 95 % of three coordinates reach 2.80
    assert not agreed["b"]
