"""The fastness notebook in a browser: choose, slide through the test, save the page."""

import pytest

NOTEBOOK = "5_fastness.ipynb"


@pytest.fixture
def panel(notebook, page):
    opened = notebook(NOTEBOOK)
    opened.run_all()
    return opened


def test_slide_through_the_light_and_save_the_page(
    panel, page, save, drawn, choose, desk, shot, looks
):
    answer = page.locator(".dyelab .dl-answer")
    assert "is at grade" in answer.inner_text()
    drawn(lambda: choose("Cloth", "weld on wool"))
    drawn(lambda: choose("Test", "Light"))
    assert "million lx h of light" in answer.inner_text()
    shot("fastness-light", width=1280)
    handle = page.locator(".dyelab .noUi-handle").first
    handle.focus()
    drawn(lambda: page.keyboard.press("ArrowLeft"))
    assert "After 3 million lx h of light" in answer.inner_text()
    looks(panel, "fastness")
    save(pdf="PDF")
    assert [path for path in (desk / "saved").iterdir() if path.suffix == ".pdf"]
