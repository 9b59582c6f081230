"""What a screen reader is told of home and of the guess page, in the order it is told."""

import re

from conftest import COLD

from dyelab.handout import guess

SILENT = {"generic", "none", "InlineTextBox", "StaticText", "LineBreak", "LabelText"}


def told(page):
    """Role, name and value of everything in Chromium's accessibility tree, in its order."""
    page.wait_for_timeout(500)
    asked = page.context.new_cdp_session(page)
    nodes = {n["nodeId"]: n for n in asked.send("Accessibility.getFullAXTree")["nodes"]}
    found, waiting = [], [next(iter(nodes))]
    while waiting:
        node = nodes[waiting.pop(0)]
        part = {key: node.get(key, {}).get("value", "") for key in ("role", "name", "value")}
        if not node.get("ignored") and part["role"] not in SILENT:
            found.append(tuple(str(part[key]) for key in ("role", "name", "value")))
        waiting = [one for one in node.get("childIds", []) if one in nodes] + waiting
    return found


def nonsense(found):
    """Names nobody would say: null, letters of an icon font, numbers of many decimals."""
    odd = re.compile(r"\bnull\b|undefined|[\ue000-\uf8ff]|\d\.\d{4,}")
    return [part for part in found if odd.search(part[1]) or (part[0] == "image" and not part[1])]


def in_order(found, *names):
    said = [name for _, name, _ in found]
    places = [next(i for i, one in enumerate(said) if one.startswith(name)) for name in names]
    return places == sorted(places)


def test_home_is_told_in_an_order_that_makes_sense(app, page):
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(app.replace("/?", "/voila/render/0_start.ipynb?"), timeout=COLD)
    page.wait_for_selector(".dl-wall", timeout=COLD)
    page.locator(".dyelab .dl-answer p").nth(1).wait_for()  # My materials, below
    found = told(page)
    assert nonsense(found) == []
    names = ("Where everything stands", "Swatch book", "What comes next", "All pages")
    assert in_order(found, *names, "My materials", "Name of the material", "Put it into the book")
    assert any(role == "image" and "measured" in name for role, name, _ in found), "the wall"
    assert not any(name == "To the book's home" for _, name, _ in found), "this is home"
    for panel in ("1_plan", "9_guess"):
        page.goto(app.replace("/?", f"/voila/render/{panel}.ipynb?"), timeout=COLD)
        page.wait_for_selector(".dyelab .dl-answer p", timeout=COLD)
        assert nonsense(told(page)) == []


def test_the_guess_page_says_each_slider_as_it_is_shown(page, source, tmp_path):
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(guess.write_guess_page(tmp_path / "g.html", source, metal="iron", count=2).as_uri())
    found = told(page)
    assert nonsense(found) == []
    assert in_order(found, "Your name", "1. ", "1. Lightness", "See the measured cloth", "2. ")
    slider = page.get_by_label("1. b*")
    assert slider.get_attribute("aria-valuetext") == slider.locator("xpath=..//output").inner_text()
    assert any(role == "image" and name.startswith("L* a* b*") for role, name, _ in found)
