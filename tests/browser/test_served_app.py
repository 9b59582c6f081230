"""The panels without code, as somebody meets them who was given an address."""

from conftest import ARTEFACTS, COLD

CANVAS = ".dl-canvas .main-svg"
FITS = "e => e.scrollWidth <= e.clientWidth + 1"


def test_choose_slide_save_and_see_the_file(app, page, drawn, choose, desk):
    page.goto(app, timeout=COLD)
    page.wait_for_selector(".dl-wall", timeout=COLD)
    page.get_by_role("link", name="What the metals did", exact=True).click()
    page.wait_for_selector(CANVAS, timeout=COLD)
    answer = page.locator(".dl-answer")
    assert "iron made" in answer.inner_text()
    drawn(lambda: choose("Dye", "madder"))
    handle = page.locator(".dyelab .noUi-handle").first
    handle.focus()
    before = answer.inner_text()
    drawn(lambda: page.keyboard.press("ArrowRight"))
    assert answer.inner_text() != before
    page.get_by_role("button", name="Save the table (CSV)").click()
    page.wait_for_function("document.querySelector('.dl-saved').innerText.trim().endsWith('.csv')")
    told = page.locator(".dl-saved").inner_text().strip()
    assert (desk / "saved" / told.removeprefix("Saved: ")).is_file()
    assert page.locator(".jp-CodeCell .jp-InputArea-editor").count() == 0
    for width in (1280, 800):
        page.set_viewport_size({"width": width, "height": 1400})
        page.wait_for_timeout(600)
        ARTEFACTS.mkdir(exist_ok=True)
        page.screenshot(path=ARTEFACTS / f"served-{width}.png", full_page=True)
        assert page.locator(".dyelab").evaluate(FITS)


def test_two_browsers_on_one_served_book_and_kernels_that_end(app, chromium, desk):
    """Each browser has panels of its own; one without the token is shown nothing."""
    pages = []
    for _ in range(2):
        page = chromium.new_context().new_page()
        page.goto(app.replace("/?", "/voila/render/4_metals.ipynb?"), timeout=COLD)
        assert "token" not in page.url
        page.wait_for_selector(CANVAS, timeout=COLD)
        pages.append(page)
    answers = [page.locator(".dl-answer").inner_text() for page in pages]
    assert answers[0] == answers[1]
    stranger = chromium.new_context().new_page()
    stranger.goto(app.split("?")[0], timeout=COLD)
    assert "ask for the token" in stranger.locator("body").inner_text()
    for page in pages:
        page.context.close()


def test_the_address_leads_home_and_every_page_back_there(app, page, desk):
    (desk / "saved").mkdir(exist_ok=True)
    (desk / "saved" / f"{'a_page_saved_under_a_long_name_' * 3}.pdf").write_bytes(b"%PDF-1.4")
    page.goto(app, timeout=COLD)
    page.wait_for_selector(".dl-wall .dl-w", timeout=COLD)
    for width in (1280, 800, 390):
        page.set_viewport_size({"width": width, "height": 1400})
        page.wait_for_timeout(300)
        page.screenshot(path=ARTEFACTS / f"home-served-{width}.png", full_page=True)
        assert page.locator(".dyelab").first.evaluate(FITS)
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.get_by_role("link", name="What one step did").click()
    page.wait_for_selector(".dl-answer p", timeout=COLD)
    inner = """() => [...document.querySelectorAll("#rendered_cells .jp-OutputArea-output")]
        .filter(e => e.scrollHeight > e.clientHeight + 3)
        .filter(e => getComputedStyle(e).overflowY !== "visible").length"""
    assert page.evaluate(inner) == 0
    bottom = page.locator(".dyelab").bounding_box()
    below = page.get_by_text("What could make this wrong").bounding_box()
    assert below["y"] >= bottom["y"] + bottom["height"], "the panel covers what follows it"
    page.get_by_role("link", name="To the book's home").first.click()
    page.wait_for_selector(".dl-wall .dl-w", timeout=COLD)
    assert "Shift" not in page.locator("body").inner_text()


def test_a_page_whose_kernel_has_ended_says_so_and_runs_again(app, page):
    page.goto(app, timeout=COLD)
    page.wait_for_selector(".dl-wall .dl-w", timeout=COLD)
    page.route("**/api/kernels/**", lambda ask: ask.fulfill(status=404))
    page.evaluate("dispatchEvent(new Event('focus'))")
    page.wait_for_selector("text=Nothing saved is lost")
    page.unroute("**/api/kernels/**")
    page.get_by_role("button", name="Run this page again").click()
    page.wait_for_selector(".dl-wall .dl-w", timeout=COLD)


def test_a_page_that_is_left_ends_its_kernel(app, page):
    page.goto(app.replace("/?", "/voila/render/4_metals.ipynb?"), timeout=COLD)
    page.wait_for_selector(CANVAS, timeout=COLD)
    asked = "() => JSON.parse(document.getElementById('jupyter-config-data').textContent).kernelId"
    there = "name => fetch(`/api/kernels/${name}`).then((answer) => answer.status === 200)"
    kernel = page.evaluate(asked)
    assert page.evaluate(there, kernel)
    page.goto(app, timeout=COLD)
    page.wait_for_function(f"async (name) => !(await ({there})(name))", arg=kernel, timeout=30_000)
