"""The guess page in a browser: dragged, moved by keys, revealed, handed in; on a phone too."""

import numpy as np
import pytest
from conftest import ARTEFACTS

from dyelab import convert
from dyelab.handout import guess


@pytest.fixture(scope="module")
def written(source, tmp_path_factory):
    return guess.write_guess_page(
        tmp_path_factory.mktemp("guess") / "g.html", source, metal="iron", count=3
    )


def test_a_student_drags_reveals_and_hands_in(written, page):
    page.goto(written.as_uri())
    page.get_by_label("Your name").fill("Ada, 7b")
    press = page.get_by_role("button", name="See the measured cloth").first
    assert press.is_disabled()
    box = page.locator(".plane").first.bounding_box()
    page.mouse.move(box["x"] + 40, box["y"] + 40)
    page.mouse.down()
    page.mouse.move(box["x"] + 150, box["y"] + 160)
    page.mouse.up()
    slider = page.get_by_label("1. Lightness L*")
    slider.focus()
    for _ in range(20):
        page.keyboard.press("ArrowLeft")
    press.click()
    assert "ΔE00" in page.locator(".told").first.inner_text()
    lines = page.locator("#out").input_value().split("\n")
    assert lines[0] == "student,question,swatch,L,a,b"
    assert lines[1].startswith("Ada  7b,1,")
    assert slider.is_disabled()


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_it_fits_every_width(written, page, theme):
    page.emulate_media(color_scheme=theme)
    page.goto(written.as_uri())
    for width in (1280, 800, 390):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        ARTEFACTS.mkdir(exist_ok=True)
        page.screenshot(path=ARTEFACTS / f"guess-{theme}-{width}.png")


def test_its_difference_and_its_colours_are_the_librarys(written, page):
    page.goto(written.as_uri())
    rng = np.random.default_rng(8)
    one, two = (
        np.column_stack([rng.uniform(5, 95, 40), rng.uniform(-70, 70, (40, 2))]) for _ in "12"
    )
    # pairs of Sharma, Wu and Dalal (2005), table 1, where hue turns over and greys meet
    one = np.vstack([one, [[50, 2.5, 0], [50, 0, 0], [50, -1, 2], [50, 2.49, -0.001]]])
    two = np.vstack([two, [[50, 0, -2.5], [50, -1, 2], [50, 0, 0], [50, -2.49, 0.0011]]])
    pairs = [one.tolist(), two.tolist()]
    seen = page.evaluate("([one, two]) => one.map((lab, i) => dE00(lab, two[i]))", pairs)
    assert seen == pytest.approx(convert.dE00(one, two).tolist(), abs=1e-9)
    shown = page.evaluate("labs => labs.map(lab => screen(lab).css)", one.tolist())
    wanted, _ = convert.screen(one, illuminant="D65", observer=10)
    levels = [[int(v) for v in text[4:-1].split()] for text in shown]
    theirs = [list(bytes.fromhex(name[1:])) for name in wanted]
    assert np.abs(np.array(levels) - np.array(theirs)).max() <= 1
