"""The fastness panel on the example book, without a browser."""

import html

import pytest
from panels import EXAMPLE, choose

from dyelab import handout
from dyelab.panel import fastness


@pytest.fixture(scope="module")
def panel():
    return fastness.panel(EXAMPLE)


def weld(panel):
    return choose(
        panel, cloth="weld on wool", swatches=("W17", "W22"), exposure="light", at=1e7, asked="4"
    )


def test_it_opens_with_a_story(panel):
    assert "is at grade" in panel.sentence
    assert "Grade 4 is asked for." in panel.sentence
    assert panel.shown.figure is not None
    assert len(panel.choices["swatches"].value) == 2


def test_sentence_table_and_chips_agree(panel):
    said = weld(panel)
    rows = panel.shown.table
    last = rows[rows["after"].eq("10 million lx h of light")].set_index("recipe")
    for recipe, row in last.iterrows():
        swatch = recipe.split(":")[0]
        assert f"{swatch} is at grade {row['said']}: {row['verdict']}" in said
    assert said.startswith("After 10 million lx h of light: ")
    before, after = panel.shown.chips[0]
    assert before.label == "before"
    assert after.label == "10 million lx h of light"
    assert before.lab != after.lab


def test_the_slider_goes_through_the_test(panel):
    weld(panel)
    offered = [value for _, value in panel.choices["at"].options]
    assert offered == [0.0, 3e5, 1e6, 3e6, 1e7]
    values = [panel.shown.chips[0][-1].lab[2] for at in offered if choose(panel, at=at) is not None]
    assert values[0] > values[2] > values[3] > values[4]  # weld over alum loses its yellow
    assert "Before the test" in choose(panel, at=0.0)
    assert len(panel.shown.chips[0]) == 1


def test_the_figure_does_not_jump_while_the_slider_moves(panel):
    weld(panel)
    spans = set()
    for at in (3e5, 1e6, 1e7):
        choose(panel, at=at)
        spans.add(tuple(panel.shown.figure.layout.yaxis.range))
    assert len(spans) == 1


def test_a_stricter_grade_is_judged_anew(panel):
    weld(panel)
    assert ": did not hold" in choose(panel, asked="4")
    assert ": held" in choose(panel, asked="1")
    choose(panel, asked="4")


@pytest.mark.parametrize("quantity", ["dE00", "L", "C", "h", "dEF"])
def test_each_curve_is_drawn(panel, quantity):
    weld(panel)
    choose(panel, quantity=quantity)
    assert len([t for t in panel.shown.figure.data if t.mode == "markers"]) == 2


def test_another_cloth_brings_its_own_swatches(panel):
    choose(panel, cloth="madder on cotton")
    assert all(code.startswith("C") for code in panel.choices["swatches"].value)
    assert "is at grade" in panel.sentence


def test_nothing_chosen_says_how_to_choose(panel):
    weld(panel)
    assert "No swatch is chosen" in choose(panel, swatches=())
    assert "is at grade" in weld(panel)


def test_forecasts_tone_and_references_stand_in_the_notes(panel):
    weld(panel)
    notes = "\n".join(panel.shown.notes)
    for needed in (
        "visible change after",
        "turned as it changed",
        "blue wool",
        "What is seen holds for these pieces",
        "screening",
    ):
        assert needed in notes


def test_staining_of_the_cloth_beside_stands_in_the_notes(panel):
    choose(panel, cloth="madder on wool", swatches=("W01",), exposure="wash")
    notes = "\n".join(panel.shown.notes)
    assert "W01 stains the cloth beside it: adjacent wool to grade" in notes


def test_the_page_is_made_when_asked_for(panel, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    weld(panel)
    made = panel.shown.page()
    assert handout.write(made, tmp_path / "page.pdf").stat().st_size > 5000
    panel.keep.buttons["pdf"].click()
    assert list((tmp_path / "saved").glob("*.pdf"))


def test_a_book_without_tests_says_what_to_do(tmp_path, monkeypatch):
    from dyelab import book

    bk = book.open(EXAMPLE)
    bare = book.create(tmp_path / "bare")
    first = bk.readings[bk.readings["exposure"].eq("none")].head(3)
    first = first[first["part"].eq("swatch")].assign(test="")
    swatches = bk.swatches[bk.swatches["swatch"].isin(first["swatch"])]
    book.save(book.add(bare, swatches=swatches, readings=first))
    opened = fastness.panel(tmp_path / "bare")
    assert "No readings after a test yet" in html.unescape(opened.answer.value)
