"""The explorer, as a dyer meets it."""

NOTEBOOK = "6_explore.ipynb"


def test_move_a_dose_find_a_colour_and_see_it(notebook, page, shot, looks, drawn, choose):
    opened = notebook(NOTEBOOK)
    opened.run_all(timeout=120_000)
    answer = page.locator(".dyelab .dl-answer")
    assert "expect L*" in answer.inner_text()
    before = answer.inner_text()
    iron = page.locator(".dyelab .dl-choice", has_text="Iron").locator(".noUi-handle").first
    iron.focus()
    drawn(lambda: page.keyboard.press("ArrowRight"))
    assert answer.inner_text() != before
    number = page.locator(".dyelab .dl-choice", has_text="Iron").locator(".widget-readout").first
    assert "%" in number.evaluate("e => getComputedStyle(e, '::after').content")
    number.click()
    page.keyboard.press("Control+A")
    page.keyboard.type("90")
    drawn(lambda: page.keyboard.press("Enter"))
    assert "90 is past the end of this slider" in page.locator(".dl-past").inner_text()
    drawn(lambda: [iron.focus(), page.keyboard.press("Home")])
    looks(opened, "explore-recipe")
    drawn(lambda: choose("Dyed over with", "indigo"))
    assert ", then indigo" in answer.inner_text()
    shot("explore-overdye", width=1280)
    drawn(lambda: choose("Dyed over with", "none"))
    drawn(lambda: choose("What would you like?", "all this book can reach"))
    shot("explore-reach")
    choose("What would you like?", "a recipe for a colour")
    field = page.locator(".dyelab").get_by_label("Wanted colour")
    field.fill("45, 25, 15")
    drawn(lambda: field.press("Enter"))
    assert "chance" in answer.inner_text()
    shot("explore-find", width=1280)
    drawn(lambda: choose("What would you like?", "a colour from a photo"), 60_000)
    first = answer.inner_text()
    assert first.startswith("This spot")
    shot("explore-spot", width=1280)
    box = page.locator(".dl-canvas").bounding_box()
    middle = {"x": box["width"] * 0.5, "y": box["height"] * 0.68}
    drawn(lambda: page.locator(".dl-canvas").click(position=middle))
    pointed = answer.inner_text()
    assert pointed != first
    across = page.locator(".dyelab .dl-choice", has_text="Across").locator(".noUi-handle").first
    across.focus()
    for _ in range(6):  # three percent: over the edge of the swatch
        drawn(lambda: page.keyboard.press("ArrowRight"))
    assert answer.inner_text() != pointed
    page.get_by_role("button", name="Find a recipe for this spot").press("Enter")
    page.locator(".dyelab").get_by_text("its own uncertainty").wait_for()
