"""The plan notebook: plan a series, put it into a book, tick off a bath, find a swatch."""

import shutil

from dyelab import book

NOTEBOOK = "1_plan.ipynb"


def test_plan_print_put_record_and_find(notebook, page, shot, looks, desk):
    shutil.rmtree(desk / "madder-book", ignore_errors=True)  # left by a first go
    opened = notebook(NOTEBOOK)
    opened.run_all(until=".dyelab .dl-chips")
    panels = page.locator(".dyelab")
    plan, weigh, printing, record, browse = (panels.nth(i) for i in range(5))
    plan.locator(".dl-answer", has_text="swatches of").wait_for()
    record.locator(".dl-answer", has_text="Plan a series above").wait_for()
    weigh.get_by_label("What to work out").select_option(label="another salt of the same metal")
    weigh.get_by_text("brings as much aluminium as").wait_for()
    weigh.get_by_role("button", name="Save the table (CSV)").click()
    weigh.get_by_text("Saved:").wait_for()
    assert list((desk / "saved").glob("*eigh*.csv"))
    areas = printing.get_by_label("Areas, one a line: name = mordants")
    areas.fill("sky = aluminium acetate 5")
    areas.press("Tab")
    printing.get_by_text("sky on one cloth of cotton").wait_for()
    plan.get_by_label("Iron, % WOF").fill("0 1 2 4")
    plan.get_by_label("Iron, % WOF").press("Enter")
    page.wait_for_function(
        "document.querySelector('.dl-answer').textContent.includes('16 swatches of 8 recipes')"
    )
    plan.get_by_role("button", name="Make the sheets to print (PDF)").click()
    page.wait_for_function("document.body.textContent.includes('labels.pdf')")
    assert len(list((desk / "saved").glob("*_baths.pdf"))) == 1
    plan.get_by_label("Into a new book, in the folder").fill("madder-book")
    plan.get_by_label("Into a new book, in the folder").press("Tab")
    plan.get_by_role("button", name="Put the series into the book").click()
    page.wait_for_function(
        "document.body.textContent.includes('as planned. The panels below show it')"
    )
    assert len(book.open(desk / "madder-book").swatches) > 16

    record.get_by_text("still to be done").wait_for()  # the panels below have followed
    shot("record", selector=".dyelab >> nth=3")
    record.get_by_label("Weighed (g)").fill("2.5")
    record.get_by_label("Weighed (g)").press("Tab")
    record.get_by_role("button", name="Save what was done").click()
    record.get_by_text("Saved.").wait_for()
    steps = book.open(desk / "madder-book").steps
    assert (steps["state"] == "done").sum() > 1

    browse.get_by_label("Find").fill("wool, iron between 1 and 3")
    browse.get_by_label("Find").press("Enter")
    browse.get_by_text("say: wool, iron between 1 and 3").wait_for()
    looks(opened, "plan", "weigh", "printing", "record", "browse", "correct", "exchange")
