"""A printed cloth, an overdye in three dips, and a mordant with tartar, through panels alone."""

import html

import numpy as np
import photos
import pytest
from worlds.synth import render

from dyelab import book, plan, shift
from dyelab.panel import (
    browse,
    capture,
    compare,
    explore,
    instrument,
    make_pages,
    metals,
    printed_cloth,
    record,
)
from dyelab.panel import plan as planning

pytestmark = pytest.mark.usefixtures("desk")


def told(panel):
    return html.unescape(panel.told.value)


def record_all(path):
    panel = record.panel(path)
    while len(plan.open_baths(book.open(path))):
        panel.actions["planning.it_was"].click()
    return book.open(path)


def read_all(path, names, rng):
    """Type a colour for each name, as an instrument without a file is read."""
    panel = instrument.panel(path)
    lines = [
        f"{name} {L:.2f} {a:.2f} {b:.2f}"
        for name, (L, a, b) in zip(names, rng.normal([50, 10, 20], [12, 6, 9], (len(names), 3)),
                                   strict=True)
    ]  # fmt: skip
    panel.choices["typed"].value = "\n".join(lines)
    panel.actions["instrument.add"].click()
    return book.open(path)


def test_overdyes_and_tartar_go_through_the_panels(tmp_path):
    bk = book.save(book.create(tmp_path / "b", "Marlpit winter"))
    panel = planning.panel(bk)
    panel.choices["tannin"].value = ("none",)
    panel.choices["dye"].value = ("weld", "madder")
    panel.choices["over"].value = "weld 50 + indigo 5 x3"
    panel.choices["tartar"].value = 6
    panel.choices["controls"].value = False
    panel.choices["replicates"].value = 1
    assert "swatches of" in html.unescape(panel.sentence)
    panel.actions["planning.put"].click()
    bk = record_all(bk.path)
    made = book.recipes(bk)
    over = made[made["dye"] == "weld + indigo"]
    assert len(over) == 2  # with iron and without
    assert set(made["assist_wof"]) == {6.0}
    bk = read_all(bk.path, list(bk.swatches["swatch"]), np.random.default_rng(4))
    assert len(bk.readings) == len(bk.swatches)
    iron = metals.panel(bk)
    iron.choices["dye"].value = "weld + indigo"
    told = html.unescape(iron.sentence)
    assert "With 2 % iron, weld 50 %, then indigo 5 % in 3 dips" in told
    assert "weld 50 %, then indigo 5 % in 3 dips" in iron.values["recipe"]
    assert compare.panel(bk).shown is not None
    seen = browse.panel(bk)
    seen.choices["swatch"].value = over["swatch"].iloc[0]
    assert "3 dips" in html.unescape(seen.below.value + seen.answer.value)
    pages = make_pages.panel(bk)
    assert pages.shown is not None


def test_a_printed_cloth_goes_through_the_panels(tmp_path):
    bk = book.save(book.create(tmp_path / "b", "Marlpit prints"))
    for code in ("P-01", "P-02"):
        panel = printed_cloth.panel(bk.path)
        panel.choices["code"].value = code
        panel.choices["areas"].value = (
            "leaf = aluminium acetate 5\nstem = aluminium acetate 5 + ferrous acetate 2\n"
            "flower = ferrous acetate 2\nsky = none"
        )
        panel.actions["printing.put"].click()
    bk = record_all(bk.path)
    assert bk.swatches["made_on"].ne("").all()
    names = [f"{c} {area}" for c in ("P-01", "P-02") for area in ("leaf", "stem", "flower")]
    bk = read_all(bk.path, names, np.random.default_rng(4))
    assert sorted(set(bk.readings["area"])) == ["flower", "leaf", "stem"]
    iron = metals.panel(bk)
    assert iron.values["mordant"] == "aluminium acetate"
    pairs = shift.of_step(book.wide(bk), "iron").pairs
    assert any("stem" in recipe for recipe in pairs["recipe"])


def photographed(path, names, file, seed=3):
    """Lay cloths of invented spectra on a card, photograph it, and add it through the panel."""
    bare = np.full((24 - len(names), len(render.BANDS)), render.PAPER)
    spectra = np.vstack([photos.cloth(seed, len(names)), bare])
    shot = render.Shot(megapixels=4.0, tilt=6.0)
    file.write_bytes(render.render(spectra, shot, seed=seed).jpeg())
    panel = capture.panel(path)
    panel.choices["path"].value = str(file)
    assert f"{len(names)} windows measured; none has a name yet" in panel.sentence
    for name in names:  # tap and choose, window after window
        assert name in panel.tap.swatch.options
        panel.tap.swatch.value = name
    assert "each with its swatch's name" in panel.sentence
    panel.add.click()
    assert f"Added {len(names)} readings" in html.unescape(panel.answer.value)
    return book.open(path)


def handed_out(path):
    panel = make_pages.panel(path)
    panel.keep.buttons["pdf"].click()
    assert "Saved:" in panel.keep.told.value, panel.answer.value
    return panel


@pytest.mark.slow
def test_a_printed_cloth_is_photographed_compared_and_handed_out(tmp_path):
    bk = book.save(book.create(tmp_path / "b", "Marlpit prints"))
    names = []
    for code in ("P-01", "P-02"):
        panel = printed_cloth.panel(bk.path)
        panel.choices["code"].value = code
        panel.choices["areas"].value = (
            "leaf = aluminium acetate 5\nstem = aluminium acetate 5 + ferrous acetate 2\n"
            "flower = ferrous acetate 2\nbud = ferrous acetate 5"
        )
        panel.actions["printing.put"].click()
        names += [f"{code} {area}" for area in ("leaf", "stem", "flower", "bud")]
    record_all(bk.path)
    bk = photographed(bk.path, names, tmp_path / "print.jpg")
    assert list(bk.readings["area"]) == ["leaf", "stem", "flower", "bud"] * 2
    assert compare.panel(bk).shown.table is not None
    asked = explore.panel(bk)
    assert "are needed to tell this book's materials" in asked.sentence
    handed_out(bk.path)


@pytest.mark.slow
def test_an_overdye_with_tartar_is_photographed_predicted_and_handed_out(tmp_path):
    bk = book.save(book.create(tmp_path / "b", "Marlpit winter"))
    panel = planning.panel(bk)
    panel.choices["tannin"].value = ("none",)
    panel.choices["dye"].value = ("weld", "madder", "indigo")
    panel.choices["over"].value = "weld 50 + indigo 5 x3"
    panel.choices["tartar"].value = 6
    panel.choices["controls"].value = False
    panel.choices["iron"].value = "0 2 4"
    panel.actions["planning.put"].click()
    bk = record_all(bk.path)
    assert len(bk.swatches) == 24
    bk = photographed(bk.path, list(bk.swatches["swatch"]), tmp_path / "card.jpg")
    shown = compare.panel(bk).shown
    assert shown.table is not None
    asked = explore.panel(bk)
    asked.choices["dye"].value = "weld"
    assert "expect L*" in asked.sentence, asked.sentence
    asked.choices["over"].value = "indigo"
    asked.choices["over_wof"].value = 5.0
    asked.choices["dips"].value = 3
    assert "then indigo 5 % in 3 dips" in asked.sentence
    assert "expect L*" in asked.sentence, asked.sentence
    asked.choices["over"].value = "none"
    asked.choices["dye"].value = "madder"
    assert "madder" in asked.sentence
    handed_out(bk.path)
