"""Panels of one notebook turn to the book that one of them opens or saves."""

import os
from pathlib import Path

import pandas as pd
import pytest

from dyelab import book
from dyelab.panel import browse, plan, record


@pytest.fixture
def three(desk):
    """Three panels of one notebook, the last not on show, and a book of the user's own."""
    own = book.save(book.create(desk / "own", "My own"))
    made = [record.panel(), browse.panel(), browse.panel()]
    for shown in made[:2]:
        shown._repr_mimebundle_()
    yield own, *made
    for shown in made:
        shown.close()


def test_a_book_chosen_in_one_panel_is_taken_up_by_the_others_on_show(three):
    own, first, second, hidden = three
    first.shelf.choose(own.path)
    assert second.book.path == own.path
    assert str(own.path) in [value for _, value in second.shelf.list.options]
    assert hidden.book.path != own.path


def test_what_one_panel_saves_the_others_show(three):
    own, first, second, _ = three
    first.shelf.choose(own.path)
    saved = book.save(book.add(own, swatches=pd.DataFrame({"swatch": ["K-01"]})))
    first.turn_to(saved)
    assert list(second.book.swatches["swatch"]) == ["K-01"]


def test_a_closed_panel_is_left_alone(three):
    own, first, second, _ = three
    second.close()
    first.shelf.choose(own.path)
    assert second.book.path != own.path


def test_a_record_of_the_example_is_refused(desk):
    shown = record.panel()
    shown.actions["planning.take_back"].click()
    assert "example stays as it is" in shown.told.value


def test_a_button_that_fails_says_so_in_words(desk):
    shown = plan.panel()
    shown.tell(lambda: {}["of all things"])
    assert "did not expect" in shown.told.value
    assert (Path(os.environ["XDG_STATE_HOME"]) / "dyelab" / "last-fault.txt").exists()
