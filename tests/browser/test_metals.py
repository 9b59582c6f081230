"""The first notebook, as a dyer meets it."""

NOTEBOOK = "4_metals.ipynb"


def test_choose_slide_save_and_see_the_file(notebook, page, drawn, choose, looks, save, desk):
    opened = notebook(NOTEBOOK)
    opened.run_all()
    answer = page.locator(".dyelab .dl-answer")
    assert "iron made" in answer.inner_text()
    drawn(lambda: choose("Dye", "madder"))
    handle = page.locator(".dyelab .noUi-handle").first
    handle.focus()
    before = answer.inner_text()
    drawn(lambda: page.keyboard.press("ArrowRight"))
    assert answer.inner_text() != before
    assert "ΔE00" in answer.inner_text()
    save(csv="Save the table (CSV)", svg="Save the figure (SVG)")
    saved = {path.suffix: path for path in (desk / "saved").glob("*copper*")}
    assert "<svg" in saved[".svg"].read_text(encoding="utf-8")
    assert "madder" in saved[".csv"].read_text(encoding="utf-8")
    looks(opened, "metals")
