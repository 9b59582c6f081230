"""The fastness notebook in a browser: choose, slide through the test, save the page."""

import pytest
from conftest import traced

NOTEBOOK = "5_fastness.ipynb"


@pytest.fixture
def panel(notebook, page):
    opened = notebook(NOTEBOOK)
    opened.run_all()
    return opened


def test_slide_through_the_light_and_save_the_page(panel, page, drawn, choose, desk, shot, looks):
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
    page.get_by_role("button", name="PDF").click()
    page.wait_for_function(
        "document.querySelector('.dl-saved').innerText.trim().endsWith('.pdf')", timeout=60_000
    )
    assert [path for path in (desk / "saved").iterdir() if path.suffix == ".pdf"]
    assert not traced(page)
    assert page.foreign == []
