"""A book's own white: kept, followed by all that is computed, never mixed with another."""

import json

import numpy as np
import pandas as pd
import photos
import pytest
from worlds.synth import render

from dyelab import book, calibrate, convert, measure, read, table
from dyelab.errors import InputError
from dyelab.handout import colours
from dyelab.handout.sheets.report import report
from dyelab.panel import plan

BANDS = list(range(400, 701, 10))


@pytest.fixture
def mine(tmp_path):
    bk = book.create(tmp_path / "mine", "Mine", white=("D50", 2))
    return book.save(book.add(bk, swatches=pd.DataFrame({"swatch": ["W1", "W2", "W3"]})))


def test_a_book_keeps_the_white_it_began_with(mine, tmp_path):
    assert book.open(mine.path).white == ("D50", 2)
    package = json.loads((mine.path / "datapackage.json").read_text())
    assert package["white"] == {"illuminant": "D50", "observer": 2}
    for name in ("as.zip", "as.xlsx", "folder"):
        target = tmp_path / name
        kept = book.export(mine, target)
        assert book.restore(kept, tmp_path / f"from {name}").white == ("D50", 2)
    assert book.create(tmp_path / "usual").white == ("D65", 10)


def test_an_old_book_stands_under_the_default_and_a_spoilt_white_is_refused(mine):
    file = mine.path / "datapackage.json"
    package = json.loads(file.read_text())
    file.write_text(json.dumps(package | {"white": {"illuminant": "F11", "observer": 2}}))
    with pytest.raises(InputError, match=r"datapackage.json: white: 'F11/2'.*one of D65/10°"):
        book.open(mine.path)
    del package["white"]
    file.write_text(json.dumps(package))
    assert book.open(mine.path).white == ("D65", 10)


def test_spectra_are_computed_for_the_books_white_and_its_own_cielab_is_left_alone(mine):
    spectra = pd.DataFrame([np.linspace(0.1, 0.7, len(BANDS))], columns=map(str, BANDS))
    spectra = spectra.assign(sample="W1", source="x.cxf")
    typed = read.typed_lines("W2 50 10 -20", illuminant="D50", observer=2)
    rows = book.instrument_readings(mine, typed, spectra).readings
    true = convert.spectrum_to_lab(
        BANDS, spectra[[str(b) for b in BANDS]].to_numpy(float), illuminant="D50", observer=2
    )
    assert rows.loc[rows["swatch"] == "W1", table.LAB].to_numpy(float) == pytest.approx(true)
    own = rows[rows["swatch"] == "W2"].iloc[0]
    assert [own[c] for c in table.LAB] == [50, 10, -20]
    assert own["flags"] == ""
    assert table.one_white(rows) == ("D50", 2)


def test_books_of_two_whites_are_not_joined(mine, tmp_path):
    other = book.create(tmp_path / "other")
    with pytest.raises(InputError, match="other is a book under D65/10°, this one under D50/2°"):
        book.merge(mine, other)


def test_the_panel_that_begins_books_offers_the_white(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel = plan.panel()
    panel.folder.value = str(tmp_path / "new")
    panel.white.value = "D50/2°"
    panel.actions["planning.put"].click()
    assert "are in the book" in panel.told.value
    assert book.open(tmp_path / "new").white == ("D50", 2)


def test_a_photo_is_measured_for_the_white_asked_for(tmp_path):
    spectra = photos.cloth(1)
    shot = photos.easy()
    (tmp_path / "card.jpg").write_bytes(shot.jpeg())
    true = convert.spectrum_to_lab(render.BANDS, spectra, illuminant="D50", observer=2)
    own = {}
    for white in (("D65", 10), ("D50", 2)):
        made = measure.photo(
            read.photo(tmp_path / "card.jpg"), calibrate.reference("average", white)
        )
        assert table.one_white(made.table) == white
        truth = shot.truth if white == ("D65", 10) else true
        off = made.table[table.LAB].to_numpy(float) - truth
        inside = (
            np.einsum("nk,nkl,nl->n", off, np.linalg.inv(table.covariances(made.table)), off)
            < 7.815
        )  # chi-square with three degrees of freedom, 95 %
        own[white] = (np.median(np.linalg.norm(off, axis=1)), inside.mean())
    assert own["D50", 2][0] < 1.2 * own["D65", 10][0]
    assert own["D50", 2][1] >= own["D65", 10][1] - 0.1
    # One white taken for the other is several times further off.
    assert np.median(np.linalg.norm(true - shot.truth, axis=1)) > 2 * own["D50", 2][0]


def test_a_stored_calibration_serves_its_own_white_alone(tmp_path):
    (tmp_path / "card.jpg").write_bytes(photos.easy().jpeg())
    made = measure.calibration(tmp_path / "card.jpg", white=("D50", 2))
    kept = calibrate.read_calibration(calibrate.write_calibration(made, tmp_path / "c.json"))
    assert kept.white == ("D50", 2)
    with pytest.raises(InputError, match="under D50/2°, and D65/10° is wanted"):
        measure.photos([tmp_path / "card.jpg"], stored=kept)


def test_pages_name_the_white(mine):
    source = mine
    grown = book.add(
        source,
        readings=pd.DataFrame(
            [
                {"reading": "r1", "swatch": "W1", "exposure": "none", "method": "typed"}
                | {"illuminant": "D50", "observer": 2, "L": 50, "a": 1, "b": 2}
            ]
        ),
        steps=pd.DataFrame(
            [{"swatch": "W1", "order": 1, "kind": "dye", "material": "madder", "amount": 50}]
        ).assign(unit="% WOF"),
    )
    page = report(colours.source(grown))
    assert "D50/2°" in page.note
    assert "D65" not in str(page)


def test_a_colour_under_another_white_is_not_taken_in(mine):
    row = {"reading": "r1", "swatch": "W1", "exposure": "none", "method": "typed"}
    row |= {"illuminant": "D65", "observer": 10, "L": 50, "a": 1, "b": 2}
    with pytest.raises(InputError, match=r"r1 stands under D65/10°, this book under D50/2°"):
        book.add(mine, readings=pd.DataFrame([row]))
