"""The worksheet in a browser: ticked, handed in as lines, a class's lines counted beside each."""

import pytest
from conftest import ARTEFACTS

from dyelab import handout
from dyelab.handout.sheets import worksheet


@pytest.fixture(scope="module")
def written(source, tmp_path_factory):
    page = worksheet.worksheet(source, metal="iron", count=2)
    return handout.write(page, tmp_path_factory.mktemp("worksheet") / "w.html")


def ticked(page, student, letter):
    page.goto(page.url)
    page.get_by_label("Name").fill(student)
    first = page.locator("fieldset").first
    first.get_by_label("A", exact=True).check()
    first.get_by_label(letter, exact=True).check()  # one choice: the last
    page.get_by_label("the iron joins the dye").first.check()
    return page.get_by_label("Hand in your choices").input_value()


def test_choices_are_handed_in_and_counted(written, page):
    page.goto(written.as_uri())
    ada, ben = ticked(page, '=Ada, "7b"', "C"), ticked(page, "Ben", "B")
    key = page.locator("fieldset").first.get_attribute("data-key")
    assert ada.splitlines() == [
        "student,question,ticked",
        f"Ada   7b,{key},3",
        *ada.splitlines()[2:],
    ]
    assert len(ada.splitlines()) == 3
    page.get_by_text("count a class’s choices").click()
    again = f"Ben,{key},3"  # he thought again: his last line counts
    given = f"{ada}{ben}{again}\nElsewhere,1 X99 which,1\n<b>nonsense</b>\n"
    page.get_by_label("The class’s lines").fill(given)
    counts = [
        place.inner_text() for place in page.locator("fieldset").first.locator("output").all()
    ]
    assert counts == ["0", "0", "2"]
    assert "Students: 2. Lines left out" in page.locator(".hand_in").inner_text()
    assert page.locator(".hand_in").inner_text().rstrip().endswith("2.")
    page.set_viewport_size({"width": 390, "height": 900})
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.screenshot(path=ARTEFACTS / "worksheet-390.png", full_page=True)
