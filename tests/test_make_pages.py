"""The page maker without a browser."""

import nasty
import pandas as pd
import pytest
from panels import EXAMPLE, choose, said

from dyelab import book, handout
from dyelab.panel import make_pages


@pytest.fixture(scope="module")
def panel(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(tmp_path_factory.mktemp("desk"))
        yield make_pages.panel(EXAMPLE)


@pytest.mark.slow
@pytest.mark.parametrize("kind", list(make_pages.KINDS))
def test_every_kind_of_page_is_shown_and_can_be_saved(panel, kind):
    panel.choices["kind"].value = kind
    assert "is ready" in panel.sentence, said(panel)
    assert panel.shown.pictures[0][1].startswith(b"\x89PNG")
    asked = {name for name, w in panel.choices.items() if w.layout.display != "none"}
    assert set(make_pages.KINDS[kind].asks) <= asked
    assert panel.keep.buttons["pdf"].layout.display == ""


def test_a_page_is_saved_as_pdf_and_as_html(panel, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel.choices["kind"].value = "card"
    panel.keep.buttons["pdf"].click()
    panel.keep.buttons["html"].click()
    assert sorted(p.suffix for p in (tmp_path / "saved").iterdir()) == [".html", ".pdf"]


@pytest.mark.parametrize("text", nasty.ALL)
def test_a_teachers_own_words_are_shown_as_they_are(panel, text):
    choose(panel, kind="card", title=text)
    assert panel.shown.page.title == " ".join(text.split("\n"))
    assert "<script" not in panel.answer.value
    panel.choices["title"].value = ""


def test_a_logo_that_is_not_there_is_told_and_can_be_mended(panel):
    choose(panel, kind="card", logo="nowhere.png")
    assert "no such file" in said(panel)
    panel.choices["logo"].value = ""
    assert "is ready" in panel.sentence


def test_no_swatches_chosen_says_what_to_do(panel):
    choose(panel, kind="samples", swatches=())
    assert "Choose at least one" in said(panel)


@pytest.mark.parametrize("kind", ["mordants", "metals", "strip", "wall"])
def test_a_book_of_bare_cloth_says_that_nothing_is_dyed(tmp_path, monkeypatch, kind):
    monkeypatch.chdir(tmp_path)
    bk = book.create(tmp_path / "bare")
    read = {"reading": "R1", "swatch": "A", "exposure": "none", "method": "typed"}
    read |= {"illuminant": "D65", "observer": 10, "L": 90.0, "a": 0.0, "b": 6.0}
    cloth = pd.DataFrame([{"swatch": "A", "fibre": "wool"}])
    bk = book.save(book.add(bk, swatches=cloth, readings=pd.DataFrame([read])))
    assert "No dyed cloth has been measured" in choose(make_pages.panel(bk), kind=kind)


def test_a_shared_series_brings_its_table(panel):
    panel.choices["kind"].value = "series"
    assert {"recipe", "L", "pieces"} <= set(panel.shown.table)
    assert not {"rest", "metals_at", "iron_wof"} & set(panel.shown.table), "no codes on a screen"
    assert "iron_wof" in panel.shown.numbers
    assert [b for b in panel.shown.page.blocks if isinstance(b, handout.Live)]
