"""The iron and copper panel on the example book, without a browser."""

import pytest
from panels import EXAMPLE, choose

from dyelab.panel import metals


@pytest.fixture(scope="module")
def panel():
    return metals.panel(EXAMPLE)


def test_it_opens_with_a_story(panel):
    assert "iron made" in panel.sentence
    assert "ΔE00" in panel.sentence


def test_the_way_leads_from_the_unmodified_swatch_to_the_dose_chosen(panel):
    choose(panel, fibre="wool", dye="madder", mordant="potash alum", iron=2.0, copper=0.0)
    (way,) = [t for t in panel.shown.figure.data if t.mode == "lines+markers"][:1]
    chips = panel.shown.chips[0]
    assert (way.x[0], way.y[0]) == pytest.approx(chips[0].lab[1:])
    assert (way.x[-1], way.y[-1]) == pytest.approx(chips[1].lab[1:])
    assert len(way.x) > 2


def test_iron_darkens_and_dulls_madder_and_more_so_the_more_of_it(panel):
    """Common practice of the trade: iron saddens."""
    distances = []
    for dose in (0.5, 1.0, 2.0, 4.0):
        choose(panel, fibre="wool", dye="madder", mordant="potash alum", iron=dose, copper=0.0)
        row = panel.shown.table.iloc[0]
        assert row["dL"] < 0
        assert row["dC"] < 0
        distances.append(row["dE00"])
    assert distances == sorted(distances)


def test_table_chips_and_sentence_agree(panel):
    choose(panel, fibre="wool", dye="madder", mordant="potash alum", iron=2.0, copper=0.0)
    row = panel.shown.table.iloc[0]
    before, after = (chip.lab for chip in panel.shown.chips[0])
    assert row["dL"] == pytest.approx(after[0] - before[0])
    assert f"{row['dE00']:.1f}" in panel.sentence
    assert row["dE00_low"] < row["dE00"] < row["dE00_high"]


def test_the_tannins_own_share_is_shown_beside(panel):
    choose(panel, fibre="cotton")
    assert "gallnut" in panel.choices["tannin"].options
    said = choose(panel, tannin="gallnut", iron=2.0, copper=0.0)
    assert "The tannin alone" in said
    assert "Undyed cloth" in said
    assert len(panel.shown.chips) == 3


def test_two_metals_together_are_told_beyond_the_sum_of_each(panel):
    """The example's model lets iron and copper compete for the dye's places."""
    choose(panel, fibre="wool", dye="cochineal", mordant="potash alum", iron=2.0, copper=0.0)
    assert not any("beyond the sum" in note for note in panel.shown.notes)
    choose(panel, copper=2.0)
    (told,) = [note for note in panel.shown.notes if "beyond the sum" in note]
    assert told.endswith("more than chance.")
    assert any(note.startswith("Real: two recipes that are alike") for note in panel.shown.notes)
    assert "comparisons were allowed for" in panel.shown.notes[0]


def test_nothing_that_was_not_dyed_is_shown(panel):
    choose(panel, fibre="wool", dye="madder", mordant="potash alum", iron=2.0)
    said = choose(panel, copper=2.0)
    assert "No swatch here" in said
    assert "Dyed so far" in said
    choose(panel, copper=0.0)
    assert panel.shown.table is not None


def test_every_recipe_of_the_example_can_be_reached_without_a_fault(panel):
    for fibre in panel.choices["fibre"].options:
        choose(panel, fibre=fibre)
        for dye in panel.choices["dye"].options:
            choose(panel, dye=dye)
            for tannin in panel.choices["tannin"].options:
                choose(panel, tannin=tannin)
                for mordant in panel.choices["mordant"].options:
                    said = choose(panel, mordant=mordant)
                    assert "did not expect" not in said
