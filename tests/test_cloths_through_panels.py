"""A printed cloth, an overdye in three dips, and a mordant with tartar, through panels alone."""

import html

import numpy as np
import pytest

from dyelab import book, plan, shift
from dyelab.panel import browse, compare, instrument, make_pages, metals, printed_cloth, record
from dyelab.panel import plan as planning


@pytest.fixture(autouse=True)
def _own_home(tmp_path, monkeypatch):
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)


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
    assert "2 % iron made weld 50 %, then indigo 5 % in 3 dips" in told
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
    pairs = shift.of_metal(book.wide(bk), "iron").pairs
    assert any("stem" in recipe for recipe in pairs["recipe"])
