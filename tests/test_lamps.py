"""Cloths under other lights: pairs alike in daylight and apart under a lamp are found and said."""

import numpy as np
import pandas as pd
import pytest

from dyelab import book, convert, shift, synth
from dyelab.errors import InputError
from dyelab.handout import colours
from dyelab.handout.sheets import metal as metal_page
from dyelab.panel import compare as panel

BANDS = np.arange(400, 701, 10)


def alike_in_daylight():
    """Two spectra with one CIELAB under D65/10°: they differ by a metameric black (CIE 15)."""
    first = 0.3 + 0.15 * np.sin(BANDS / 70.0)
    weights = np.linalg.pinv(
        np.stack([convert.spectrum_to_xyz(BANDS, row) for row in np.eye(len(BANDS))]).T
    )
    bump = 0.12 * np.sin(BANDS / 17.0)
    black = bump - weights @ convert.spectrum_to_xyz(BANDS, bump)
    return first, first + black


def book_of(path, spectra):
    codes = [f"W{i}" for i in range(len(spectra))]
    bk = book.create(path)
    bk = book.add(
        bk,
        swatches=pd.DataFrame({"swatch": codes, "fibre": "wool", "form": "cloth"}),
        steps=pd.DataFrame(
            [
                {"swatch": code, "order": order, "kind": kind, "material": material}
                | {"amount": amount, "unit": "% WOF"}
                for i, code in enumerate(codes)
                for order, (kind, material, amount) in enumerate(
                    [("dye", "madder", 50), ("modifier", "ferrous sulfate", 2)][: i + 1], 1
                )
            ]
        ),
    )
    table = pd.DataFrame(spectra, columns=[str(band) for band in BANDS])
    made = book.instrument_readings(bk, None, table.assign(sample=codes, source="x.cxf"))
    return book.save(book.add_readings(bk, made))


def test_a_metameric_pair_is_found_and_an_equal_one_is_not(tmp_path):
    first, second = alike_in_daylight()
    bk = book_of(tmp_path / "one", [first, second])
    recipes = shift.as_dyed(book.wide(bk))
    seen = shift.under_lamps(recipes, [(0, 1)], bk.spectra).set_index("lamp")
    assert seen.loc["D65", "dE00"] < 0.01
    assert seen.loc["FL11", "dE00"] > 2
    told = shift.lamps_sentence(seen.reset_index())
    assert told.startswith("Alike in daylight, apart under a lamp")
    # ISO 18314-4: with no difference under the first light the index is ΔE*ab under the second.
    ends = [seen.loc["A", [f"{c}_{n}" for c in "Lab"]].to_numpy(float) for n in (1, 2)]
    assert seen.loc["A", "index"] == pytest.approx(convert.dE76(*ends), abs=0.02)
    same = shift.under_lamps(recipes, [(0, 0)], bk.spectra)
    assert shift.lamps_sentence(same).startswith("This difference is much the same")


def test_the_compare_panel_shows_pairs_under_named_lights(tmp_path, monkeypatch):
    bk = book_of(tmp_path / "one", list(alike_in_daylight()))
    shown = panel.panel(bk)
    shown.choices["picture"].value = "lamps"
    assert "Alike in daylight, apart under a lamp" in shown.sentence
    pairs = shown.shown.chips
    assert [pair[0].note for pair in pairs] == [
        "daylight", "a filament lamp", "a shop's tube", "a white LED",
    ]  # fmt: skip
    assert {chip.illuminant for pair in pairs for chip in pair} == set(shift.LAMPS)
    assert any("iron 2 %" in note for note in shown.shown.notes)


def test_under_the_books_own_light_the_lamps_say_what_the_comparison_says():
    bk = book.open(synth.example())
    recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    pairs = shift.pairs(recipes, "iron")
    rows = list(zip(pairs["from_row"], pairs["to_row"], strict=True))
    seen = shift.under_lamps(recipes, rows, bk.spectra)
    daylight = seen[seen["lamp"] == "D65"].reset_index(drop=True)
    for name in ("dE00", "dE00_low", "dE00_high"):
        assert daylight[name].to_numpy() == pytest.approx(pairs[name].to_numpy(), abs=0.05), name
    assert (seen["dE00_low"] <= seen["dE00"]).all()
    assert (seen["dE00"] <= seen["dE00_high"]).all()
    assert "(" in shift.lamps_sentence(seen[seen["pair"] == 0])


def test_predicted_colours_under_lamps_come_with_their_doubt():
    grey, warm = np.array([[50.0, 0, 0]]), np.array([[50.0, 3, 0]])
    sure, unsure = ({"D65": (s * np.eye(3)[None],) * 2} for s in (1e-4, 4.0))
    near, far = (shift.differences_under({"D65": (grey, warm)}, s).iloc[0] for s in (sure, unsure))
    assert near["dE00_low"] == pytest.approx(near["dE00"], abs=0.1)
    assert far["dE00_low"] == 0 < near["dE00"] + 2 < far["dE00_high"]


def test_what_could_be_chance_is_not_called_apart():
    seen = pd.DataFrame({"pair": 0, "lamp": ["D65", "A"], "dE00": [0.5, 3.2], "index": [0.0, 2.4]})
    assert shift.metamers(seen.assign(dE00_low=[0.0, 0.6])) == [0]
    assert shift.metamers(seen.assign(dE00_low=[0.0, 0.0])) == []


def test_without_spectra_other_lights_are_refused_in_words(tmp_path):
    bk = book_of(tmp_path / "one", list(alike_in_daylight()))
    recipes = shift.as_dyed(book.wide(bk))
    with pytest.raises(InputError, match="only be computed from spectra"):
        shift.under_lamps(recipes, [(0, 1)], bk.spectra.head(0))


def test_the_iron_page_shows_two_lights():
    bk = book.open(synth.example())
    source = colours.source(bk)
    made = source.made
    rows = made[(made["iron_wof"] > 0) & (made["dye"] != "none")]
    picked = rows.iloc[0][["fibre", "dye", "tannin", "mordant"]].to_dict()
    page = str(metal_page.sheet(source, metal="iron", **picked))
    assert "under a shop's tube (FL11)" in page


def test_a_difference_that_nearly_goes_under_one_lamp_isnt_steady():
    """Another lamp at which it is a little larger doesn't hide that."""
    seen = pd.DataFrame({"lamp": ["D65", "A", "FL11"], "dE00": [10.0, 2.0, 10.3]})
    said = shift.lamps_sentence(seen.assign(index=[0.0, 8.0, 0.5]))
    assert said.startswith("The difference changes with the light")
    assert "10.0 under daylight, 2.0 under a filament lamp" in said
