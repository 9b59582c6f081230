"""The lesson's figure comes back, whatever book was on show before and however fast."""

import shutil
from dataclasses import replace

import pytest

from dyelab import book, synth

BOOKS = {"Example: Marlpit Yard": True, "Nothing yet": False, "Cochineal alone": True}
# The drawing as an eye sees it: marks in it, nothing of it narrow or left from another book.
DRAWN = """() => {
  const canvas = document.querySelector('.dl-canvas'), svg = canvas.querySelector('.main-svg');
  if (!svg || canvas.clientWidth < 200) return false;
  const marks = [...svg.querySelectorAll('.trace path, .trace rect, .trace .point, .points path')];
  return marks.some((one) => one.getBoundingClientRect().width > 0);
}"""
HIDDEN = "() => !document.querySelector('.dl-canvas').clientWidth"


@pytest.fixture
def books(desk):
    """An empty book and one of another dye, beside the notebooks."""
    nothing, red = desk / "nothing", desk / "cochineal"
    made = book.create(nothing, "Nothing yet")
    book.save(made)
    shutil.copytree(synth.example(), red)
    whole = book.open(red)
    kept = book.recipes(whole).query("dye in ('cochineal', 'none')")["swatch"]
    tables = {
        name: rows[rows["swatch"].isin(kept)]
        for name, rows in book.tables(whole).items()
        if "swatch" in rows
    }
    seen = tables["readings"]["reading"]
    for name in ("spectra", "shared"):
        rows = getattr(whole, name)
        tables[name] = rows[rows["reading"].isin(seen)]
    book.save(replace(whole, title="Cochineal alone", **tables))
    yield BOOKS
    shutil.rmtree(nothing)
    shutil.rmtree(red)


def test_the_lesson_s_figure_is_there_after_every_change_of_the_book(
    books, notebook, page, choose, drawn
):
    opened = notebook("8_lesson_controls.ipynb")
    opened.run_all()
    choose("Work from", "spectra (K/S)")
    drawn(lambda: choose("Work from", "colours alone (CIELAB)"))  # a figure of other axes
    shelf = page.get_by_label("Swatch book", exact=True)
    first, empty, red = books
    for name in (red, empty, first, empty, red, first):  # one after the other, each looked at
        shelf.select_option(label=name)
        page.wait_for_function(DRAWN if books[name] else HIDDEN)
    for last in (first, red):  # faster than they are drawn
        for name in (red, empty, first, red, empty, red, first, empty, last):
            shelf.select_option(label=name)
        page.wait_for_timeout(1500)
        page.wait_for_function(DRAWN)
