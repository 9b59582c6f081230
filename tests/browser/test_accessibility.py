"""Automated accessibility rules (axe-core) on the served panels and the HTML pages."""

from pathlib import Path

import pytest
from conftest import COLD

from dyelab import handout
from dyelab.handout import guess
from dyelab.handout.sheets import metal as metal_page
from dyelab.handout.sheets import mordants as mordant_sheet
from dyelab.handout.sheets import series as series_page
from dyelab.handout.sheets import worksheet

AXE = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"
GRAVE = ("serious", "critical")

pytestmark = pytest.mark.skipif(
    not AXE.exists(),
    reason="axe-core is not there: npm install --no-package-lock --prefix tests/browser",
)


def findings(page, within):
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("within => axe.run(within, {resultTypes: ['violations']})", within)
    return [
        (rule["id"], rule["impact"], [node["html"][:160] for node in rule["nodes"][:3]])
        for rule in found["violations"]
        if rule["impact"] in GRAVE
    ]


@pytest.mark.parametrize(
    ("name", "until", "theme"),
    [
        ("0_start", ".dl-wall", "light"),
        ("0_start", ".dl-wall", "dark"),
        ("4_metals", ".dl-canvas .main-svg", "light"),
        ("4_metals", ".dl-canvas .main-svg", "dark"),
        ("7_make_pages", ".dl-pictures img", "dark"),
        ("1_plan", ".dl-chips", "light"),
        ("2_capture", ".dl-answer", "dark"),
        ("3_compare", ".dl-canvas .main-svg", "dark"),
        ("5_fastness", ".dl-canvas .main-svg", "light"),
        ("6_explore", ".dl-canvas .main-svg", "dark"),
        ("8_lesson_controls", ".dl-canvas .main-svg", "light"),
        ("9_guess", ".dl-answer p", "light"),
    ],
)
def test_a_served_panel_has_no_serious_finding(app, page, name, until, theme):
    page.goto(app.replace("/?", f"/voila/render/{name}.ipynb?theme={theme}&"), timeout=COLD)
    page.wait_for_selector(until, timeout=COLD)
    page.wait_for_timeout(500)
    assert findings(page, ".dyelab") == []


@pytest.fixture(scope="module")
def pages(source):
    cloth = {"fibre": "cotton", "dye": "madder", "tannin": "gallnut"}
    return {
        "mordants": mordant_sheet.sheet(source, fibre="wool", dye="madder"),
        "iron": metal_page.sheet(source, metal="iron", **cloth, mordant="aluminium acetate"),
        "worksheet": worksheet.worksheet(source, metal="iron"),
        "series": series_page.sheet(source),
    }


@pytest.mark.parametrize(
    ("name", "scheme"),
    [
        ("mordants", "light"),
        ("iron", "light"),
        ("iron", "dark"),
        ("worksheet", "dark"),
        ("series", "light"),
    ],
)
def test_a_page_has_no_serious_finding_and_needs_no_network(page, pages, tmp_path, name, scheme):
    page.emulate_media(color_scheme=scheme)
    refused = []
    page.on("console", lambda said: refused.append(said.text) if said.type == "error" else None)
    page.goto(handout.html(pages[name], tmp_path / "page.html").as_uri())
    if name in ("iron", "series"):
        page.wait_for_selector(".live .main-svg")
    assert refused == []
    page.context.set_offline(True)
    assert findings(page, "html") == []


def test_everything_in_a_panel_is_reached_by_keyboard(app, page):
    page.goto(app.replace("/?", "/voila/render/4_metals.ipynb?"), timeout=COLD)
    page.wait_for_selector(".dl-canvas .main-svg", timeout=COLD)
    page.locator(".dyelab select").first.focus()
    seen = []
    for _ in range(16):
        seen.append(
            page.evaluate(
                "() => { const e = document.activeElement; return e.getAttribute('aria-label') || "
                "(e.labels && e.labels[0] && e.labels[0].innerText) || e.innerText || e.tagName; }"
            )
        )
        page.keyboard.press("Tab")
    for wanted in ("Swatch book", "Fibre", "Dye", "Tannin", "Mordant", "Save the table (CSV)"):
        assert any(wanted in name for name in seen), (wanted, seen)
    assert any("Iron" in name for name in seen)
    assert any("Table:" in name for name in seen)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_guess_page_has_no_serious_finding_before_and_after(page, source, tmp_path, scheme):
    page.emulate_media(color_scheme=scheme)
    page.add_init_script(AXE.read_text(encoding="utf-8"))  # the page itself lets nothing in
    page.goto(guess.write_guess_page(tmp_path / "g.html", source, metal="iron", count=2).as_uri())
    for revealed in (False, True):
        if revealed:
            page.get_by_label("1. Lightness L*").press("ArrowLeft")
            page.get_by_role("button", name="See the measured cloth").first.click()
        found = page.evaluate("axe.run('html', {resultTypes: ['violations']})")["violations"]
        assert [rule["id"] for rule in found if rule["impact"] in GRAVE] == []
