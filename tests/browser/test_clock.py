"""The fading clock in a browser: turned by key, button and lux, and no further than told."""

import pytest
from conftest import ARTEFACTS

from dyelab import handout
from dyelab.handout.sheets import clock


@pytest.fixture(scope="module")
def written(source, tmp_path_factory):
    page = clock.clock(source, swatches=["W05", "W06", "W17"])
    return handout.write(page, tmp_path_factory.mktemp("clock") / "clock.html")


def shades(page):
    chips = page.locator(".hands:not(.beside) .pair > div .fill")
    return [chip.evaluate("e => getComputedStyle(e).backgroundColor") for chip in chips.all()]


def test_the_light_turns_the_cloths_and_says_when_it_can_not(written, page):
    page.goto(written.as_uri())
    assert "1,104 hours of light" in page.locator(".time").inner_text()
    summer = shades(page)
    page.get_by_role("button", name="before").click()
    before = shades(page)
    assert before != summer
    slider = page.get_by_label("Light", exact=True)
    slider.focus()
    page.keyboard.press("ArrowRight")
    assert page.locator(".time").inner_text() != "0 hours of light, 0 days of 12 · 0 million lx h"
    page.get_by_role("button", name="a year", exact=True).click()
    assert page.locator(".hands:not(.beside) .said").first.inner_text() == "no forecast"
    page.get_by_label("Where").select_option(label="in a gallery")
    page.get_by_role("button", name="a summer").click()
    assert shades(page) != summer
    assert "· 0.05 million" in page.locator(".time").inner_text()


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_it_fits_every_width(written, page, theme):
    page.emulate_media(color_scheme=theme)
    page.goto(written.as_uri())
    for width in (1280, 390):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        ARTEFACTS.mkdir(exist_ok=True)
        page.screenshot(path=ARTEFACTS / f"clock-{theme}-{width}.png")
