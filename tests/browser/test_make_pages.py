"""The page maker, as a teacher meets it."""

NOTEBOOK = "7_make_pages.ipynb"
SHEET = ".dyelab .dl-pictures img"


def answers(page, text):
    page.wait_for_function(
        "text => document.querySelector('.dl-answer').innerText.includes(text)", arg=text
    )


def test_choose_write_a_title_save_and_see_the_files(notebook, page, choose, looks, save, desk):
    opened = notebook(NOTEBOOK)
    opened.run_all(until=SHEET)
    panel = page.locator(".dyelab")
    assert panel.get_by_label("Fibre", exact=True).is_visible()
    assert not panel.get_by_label("Metal", exact=True).is_visible()
    choose("Page", "Class worksheet: predict the shift")
    answers(page, "What will iron do?")
    assert not panel.get_by_label("Fibre", exact=True).is_visible()
    title = panel.get_by_label("Title of your own")
    title.fill("<b>Iron</b> & us 🧵")
    title.press("Tab")
    answers(page, "<b>Iron</b> & us 🧵")
    save(pdf="Save the page (PDF)", html="Save to share (HTML)")
    saved = {path.suffix: path for path in (desk / "saved").glob("*")}
    assert saved[".pdf"].read_bytes().startswith(b"%PDF")
    assert "&lt;b&gt;Iron&lt;/b&gt; &amp; us 🧵" in saved[".html"].read_text(encoding="utf-8")
    with page.context.expect_page() as shared:
        page.locator(".dl-saved a[href$='.html']").click()
    assert "<b>Iron</b> & us 🧵" in shared.value.locator("h1").inner_text()
    assert shared.value.locator(".hand_in textarea").first.is_visible(), "its scripts run"
    shared.value.close()
    looks(opened, "make-pages")
