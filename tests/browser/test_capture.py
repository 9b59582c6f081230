"""The capture notebook: measure a photo, drag a window, put the readings into a book."""

import shutil

import pytest
from conftest import COLD

from dyelab import book
from dyelab.panel import book_choice

sync_api = pytest.importorskip("playwright.sync_api")
NOTEBOOK = "2_capture.ipynb"


def drag(page, shape, right, down):
    """Drag the shape with this number in the picture by so many pixels of the screen."""
    box = page.locator(f'.dl-canvas .shapelayer path[data-index="{shape}"]').first.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + right / 2, y + down / 2, steps=4)
    page.mouse.move(x + right, y + down, steps=4)
    page.mouse.up()


def row(page, place):
    cells = page.locator(".dl-table tr", has=page.get_by_text(place, exact=True)).first
    return cells.locator("td").all_inner_texts()


def changed(page, place, before):
    """Wait for another row of this place, and give it."""
    for _ in range(120):
        now = row(page, place)
        if now != before:
            return now
        page.wait_for_timeout(250)
    raise AssertionError(f"{place} stayed {before}")


def test_measure_drag_and_add(notebook, page, shot, looks, tmp_path, drawn):
    mine = tmp_path / "photo-book"
    book.create(mine, "from photos")
    opened = notebook(NOTEBOOK)
    opened.run_all(until=".dyelab .dl-answer")
    panel, instrument = page.locator(".dyelab").first, page.locator(".dyelab").nth(1)
    panel.get_by_label("Swatch book", exact=True).select_option(label="another folder …")
    panel.get_by_label("Folder of your swatch book").fill(str(mine))
    panel.get_by_label("Folder of your swatch book").press("Enter")
    sync_api.expect(panel.get_by_label("Or the name of a photo's file")).to_have_value(
        "", timeout=30_000
    )
    panel.get_by_label("Or the name of a photo's file").fill(str(book_choice.example_photo()))
    drawn(lambda: panel.get_by_label("Or the name of a photo's file").press("Tab"), 90_000)
    assert "24" in panel.locator(".dl-answer").inner_text()
    before = row(page, "A1")
    assert before[1] == "W01"
    looks(opened, "capture")
    page.locator(".dl-canvas").first.scroll_into_view_if_needed()
    drag(page, 5, -16, 0)  # four corners and the target come first
    moved = changed(page, "A1", before)
    shot("capture-dragged")
    drag(page, 5, 16, 0)
    changed(page, "A1", moved)
    panel.get_by_role("button", name="Add the named").click()
    panel.get_by_text("24 readings").first.wait_for()
    kept = book.open(mine)
    assert len(kept.readings) == 24
    assert len(kept.shared) > 24
    # The other panel of the notebook has followed to the same book.
    typed = instrument.get_by_label("Or type: swatch, L*, a*, b*")
    typed.fill("W01 69.5 16.9 25.7\nW02 48.8 37.3 17.9\nX9 50 0 0")
    typed.press("Tab")
    instrument.get_by_text("2 readings of 2 swatches").first.wait_for()
    looks(opened, "capture-added", "instrument")
    instrument.get_by_role("button", name="Add the readings").click()
    instrument.get_by_text("Added 2 readings").wait_for()
    assert len(book.open(mine).readings) == 26


@pytest.mark.parametrize("where", ["lab", "app"])
def test_a_photo_is_chosen_as_a_file_is(where, request, page, tmp_path, shot):
    photo = tmp_path / "my dyed card.jpg"
    shutil.copyfile(book_choice.example_photo(), photo)
    address = request.getfixturevalue(where)
    if where == "lab":
        request.getfixturevalue("notebook")(NOTEBOOK)
    else:
        page.goto(address.replace("/?", f"/voila/render/{NOTEBOOK}?"), timeout=COLD)
    page.wait_for_selector(".dyelab .dl-answer p", timeout=COLD)
    with page.expect_file_chooser() as asked:
        page.get_by_role("button", name="Choose a photo").first.click()
    asked.value.set_files(photo)
    answer = page.locator(".dyelab .dl-answer").first
    answer.get_by_text("my dyed card.jpg: 24 windows measured").wait_for(timeout=90_000)
    typed = page.get_by_label("Or the name of a photo's file").first
    sync_api.expect(typed).to_have_value("")
    shot(f"capture-chosen-{where}")
    typed.fill(str(book_choice.example_photo()))
    typed.press("Tab")
    if where == "lab":
        answer.get_by_text("rendered_card_W01_W24.jpg: 24 windows").wait_for(timeout=90_000)
    else:  # a served panel reads what lies in the desk's folder alone
        answer.get_by_text("24 windows measured").or_(answer.get_by_text("folder")).first.wait_for()
