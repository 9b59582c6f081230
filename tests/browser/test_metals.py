"""The first notebook, as a dyer meets it."""

import pytest
from conftest import traced

NOTEBOOK = "4_iron_and_copper.ipynb"


@pytest.fixture
def panel(notebook, page):
    opened = notebook(NOTEBOOK)
    opened.run_all()
    return opened


def test_choose_slide_save_and_see_the_file(panel, page, drawn, choose, desk):
    answer = page.locator(".dyelab .dl-answer")
    assert answer.inner_text()
    handle = page.locator(".dyelab .noUi-handle").first
    handle.focus()
    page.keyboard.press("Home")
    page.wait_for_function(
        "document.querySelector('.dl-answer').innerText.includes('without iron')"
    )
    drawn(lambda: page.keyboard.press("ArrowRight"))
    assert "iron made" in answer.inner_text()
    assert "ΔE00" in answer.inner_text()
    before = answer.inner_text()
    drawn(lambda: choose("Fibre", "cotton"))
    assert answer.inner_text() != before
    for name, suffix in (("Save the table (CSV)", "csv"), ("Save the figure (SVG)", "svg")):
        page.get_by_role("button", name=name).click()
        page.wait_for_function(
            "end => document.querySelector('.dl-saved').innerText.trim().endsWith(end)",
            arg="." + suffix,
        )
    saved = {path.suffix: path for path in (desk / "saved").iterdir()}
    assert {".csv", ".svg"} <= set(saved)
    assert "<svg" in saved[".svg"].read_text(encoding="utf-8")
    assert "weld" in saved[".csv"].read_text(encoding="utf-8")
    assert not traced(page)
    assert page.foreign == []


def test_both_themes_and_both_widths(panel, page, shot, choose, drawn):
    drawn(lambda: choose("Dye", "madder"))
    page.locator(".dyelab .noUi-handle").first.focus()
    drawn(lambda: page.keyboard.press("ArrowRight"))
    page.wait_for_timeout(500)
    for theme in ("light", "dark"):
        panel.theme(theme)
        for width in (1280, 800):
            shot(f"metals-{theme}-{width}", width=width)
            fits = "e => e.scrollWidth <= e.clientWidth + 1"
            assert page.locator(".dyelab").evaluate(fits)
    panel.theme("light")
