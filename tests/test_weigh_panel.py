"""The panels that weigh, dilute and exchange, and that plan a printed cloth."""

import html

import nasty
import pandas as pd
import pytest
from panels import EXAMPLE, choose, said

from dyelab import book, recipe
from dyelab.panel import printed_cloth, weigh

pytestmark = pytest.mark.usefixtures("desk")


@pytest.fixture
def sums():
    panel = weigh.panel(EXAMPLE)
    panel.choices["material"].value = "potash alum"
    return panel


@pytest.mark.parametrize(("name", "typed"), [("fibre_g", 4.5), ("volume_ml", 20)])
def test_a_small_number_is_taken_as_it_is_typed(name, typed):
    sums = weigh.panel(EXAMPLE)
    sums.choices[name].value = typed
    assert "outside" not in said(sums)
    assert sums.choices[name].value == typed


def test_a_part_of_a_piece_and_a_dose_past_the_end_are_refused_in_words(sums):
    choose(sums, dose=3000)
    assert "Dose (% WOF): 3000 is outside 0 to 300" in said(sums)
    choose(sums, task="cloth", pieces=2.5)  # the dose is no longer asked for
    assert "2.5 is not a whole number. Type one from 1 to 1000" in said(sums)
    choose(sums, pieces=2)
    assert "2 pieces" in said(sums)


def test_a_dose_is_weighed_or_measured_from_a_stock(sums):
    choose(sums, dose=16, fibre_g=250, liquor_ratio=30, stock_percent=10)
    assert "weigh 40 g, in 7.5 L of bath at 1 : 30" in said(sums)
    assert "measure 400 mL" in said(sums)  # 40 g at 10 g in 100 mL
    assert sums.shown.table["stock_ml"].item() == pytest.approx(400)
    sums.choices["stock_percent"].value = 0
    assert "measure" not in said(sums)


def test_a_weighed_amount_is_a_dose(sums):
    choose(sums, task="dose", weighed_g=12, fibre_g=80)
    assert "is 15 % WOF" in said(sums)


def test_a_stock_is_diluted_and_a_weaker_one_refused(sums):
    choose(sums, task="dilute", volume_ml=500, strength=4, stock_strength=100)
    assert "20 mL of the stock of 100 g/L, made up with 480 mL of water" in said(sums)
    sums.choices["strength"].value = 200
    assert "can't be diluted to 200" in said(sums)


def test_a_salt_is_exchanged_by_its_metal(sums):
    """Dried alum has no water; both masses are sums of standard atomic weights (IUPAC 2021).

    KAl(SO4)2·12H2O 474.37 g/mol and Al2(SO4)3·18H2O 666.40 g/mol with two aluminium atoms.
    """
    choose(sums, task="exchange", wanted="aluminium sulfate 18-hydrate", dose=15, fibre_g=200)
    expected = 15 * 666.40 / 2 / 474.37
    assert f"{expected:.2f} % WOF of aluminium sulfate 18-hydrate" in said(sums)
    table = sums.shown.table.set_index("material")
    assert table.loc["aluminium sulfate 18-hydrate", "weigh_g"] == pytest.approx(
        2 * expected, rel=1e-3
    )
    assert "brings as much aluminium as" in said(sums)
    metal = table["wof"] * table["metal_percent"]
    assert metal.to_numpy() == pytest.approx(metal.iloc[0])
    assert set(sums.choices["wanted"].options).isdisjoint({"ferrous sulfate", "potash alum"})


def test_a_bath_in_grams_a_litre_is_a_dose(sums):
    choose(sums, task="bath", strength=5, liquor_ratio=30, fibre_g=100)
    assert "is 15 % WOF: 15 g for 100 g of dry fibre in 3 L" in said(sums)


def test_cloth_is_weighed_by_its_size(sums):
    choose(sums, task="cloth", width_cm=150, length_cm=200, g_per_m2=140, pieces=3)
    assert "3 pieces" in said(sums)
    assert "weigh 1260 g" in said(sums)


def test_cautions_stand_beside_every_salt_that_is_weighed(sums):
    sums.choices["material"].value = "copper sulfate"
    for task in ("weigh", "dose", "dilute", "exchange", "bath"):
        sums.choices["task"].value = task
        assert set(recipe.care(["copper sulfate"], hot=False)) <= set(sums.shown.care)
        hazards = [text for text in sums.shown.care if text.startswith("Danger, copper sulfate")]
        assert "very toxic to aquatic life" in hazards[0], task
    choose(sums, task="weigh", dose=0.5, fibre_g=100)
    assert any("shows whole grams" in note for note in sums.shown.notes)


@pytest.fixture
def mine(tmp_path):
    return book.save(book.create(tmp_path / "prints", "Prints"))


def test_a_printed_cloth_is_planned_and_goes_into_the_book(mine):
    panel = printed_cloth.panel(mine)
    assert "leaf, stem, ground on one cloth of cotton" in said(panel)
    assert "Bare cloth, ground, takes what the dye gives it alone" in said(panel)
    table = panel.shown.table.set_index(["area", "material"])
    assert table.loc[("whole", "madder"), "weigh_g"] == pytest.approx(6.0)  # 30 % of 20 g
    assert table.loc[("leaf", "aluminium acetate"), "weigh_g"] != 0
    for _ in range(2):
        panel.actions["printing.put"].click()
    found = book.areas(book.open(mine.path)).set_index("area")
    assert found.loc["stem", "iron_wof"] == 2.0
    assert panel.choices["code"].value != ""
    assert "P-01" in set(book.open(mine.path).swatches["swatch"])


def test_a_line_that_is_no_area_and_a_code_that_is_taken_are_named(mine):
    panel = printed_cloth.panel(mine)
    panel.choices["areas"].value = "leaf aluminium acetate 5"
    assert "does not say an area" in said(panel)
    panel.choices["areas"].value = "leaf = alum 5\nleaf = none"
    assert "named twice" in said(panel)
    panel.choices["areas"].value = "leaf = potassium dichromate 2"
    assert "P-01" not in said(panel)
    example = printed_cloth.panel(EXAMPLE)
    example.choices["code"].value = "W01"
    assert "is in this book already" in said(example)
    example.actions["printing.put"].click()
    assert "example stays as it is" in html.unescape(example.told.value)


@pytest.mark.parametrize("text", nasty.ALL)
def test_text_of_ones_own_is_shown_letter_by_letter(mine, text):
    panel = printed_cloth.panel(mine)
    choose(panel, code=text, areas=f"{text.replace('=', '').replace(';', '')} = none")
    assert "<script" not in panel.answer.value
    assert "<img" not in panel.answer.value


def test_each_material_starts_at_its_usual_dose_and_another_is_asked_about(sums):
    assert sums.choices["dose"].value == 16
    sums.choices["material"].value = "copper sulfate"
    assert sums.choices["dose"].value == 2
    assert "Is that meant?" not in said(sums)
    sums.choices["dose"].value = 4
    assert "Is that meant? 4 % WOF of copper sulfate is outside the usual 1 to 3 %" in said(sums)
    sums.choices["dose"].value = 20
    assert "more than twice the usual 1 to 3 %: look at the decimal point" in said(sums)
    sums.choices["material"].value = "stannous chloride"
    assert sums.choices["dose"].value == pytest.approx(1.2)


@pytest.mark.parametrize(
    ("material", "why"),
    [
        ("chalk", "doesn't dissolve in water"),
        ("hydrated lime", "doesn't dissolve in water"),
        ("walnut hull", "boil it out in a measured volume"),
        ("alder bark", "boil it out in a measured volume"),
        ("potash alum", "No more than about 11 g of potash alum dissolve"),
    ],
)
def test_no_stock_is_offered_of_what_does_not_dissolve(mine, material, why):
    """Solubility of alum: 5.9 g of KAl(SO4)2 in 100 g of water at 20 °C (handbook, memory)."""
    own = pd.DataFrame([{"material": "alder bark", "role": "dye", "high_wof": 40.0}])
    panel = weigh.panel(book.save(book.add(mine, materials=own)))
    panel.choices["material"].value = material
    choose(panel, dose=5, fibre_g=100, stock_percent=20)
    assert "stock_ml" not in panel.shown.table
    assert any(why in note for note in panel.shown.notes)
    choose(panel, task="dilute", stock_strength=200)
    assert why in said(panel)
    choose(panel, task="weigh", material="logwood extract")
    assert "stock_ml" in panel.shown.table
    assert any("The dose is of the extract" in text for text in panel.shown.care)
