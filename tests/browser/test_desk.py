"""JupyterLab as a dyer meets it: it opens at home, pages run by themselves, kernels may end."""

from conftest import ARTEFACTS, COLD, FITS

WALL = ".dl-wall .dl-w"


def test_it_opens_at_home_and_leads_on(page, lab):
    page.goto(f"{lab}/lab?reset", timeout=COLD)
    page.wait_for_selector(WALL, timeout=COLD)
    assert page.locator(".jp-CodeCell .jp-Editor:visible").count() == 0
    page.screenshot(path=ARTEFACTS / "desk-home.png")
    page.get_by_role("link", name="What the metals did", exact=True).click()
    page.wait_for_selector(".dl-canvas .main-svg", timeout=COLD)
    assert page.locator("text=model not found").count() == 0


def test_a_page_runs_again_after_its_kernel_ended(page, lab, notebook):
    notebook("0_start.ipynb").run_all(until=WALL)
    page.evaluate("() => void window.jupyterapp.commands.execute('notebook:restart-kernel')")
    page.get_by_role("button", name="Confirm Kernel Restart").click()
    page.wait_for_selector("text=Nothing saved is lost")
    page.get_by_role("button", name="Run this page again").click()
    page.wait_for_selector(WALL, timeout=COLD)


def test_a_tab_that_lay_behind_when_the_browser_was_closed_comes_alive(page, lab):
    page.goto(f"{lab}/lab?reset", timeout=COLD)
    page.wait_for_selector(WALL, timeout=COLD)
    page.get_by_role("link", name="What the metals did", exact=True).click()
    page.wait_for_selector(".dl-canvas .main-svg", timeout=COLD)
    page.get_by_role("link", name="To the book's home").first.click()
    page.wait_for_selector(f".jp-NotebookPanel:not(.lm-mod-hidden) {WALL}", timeout=COLD)
    page.wait_for_timeout(2000)  # the desk keeps its tabs
    page.goto(f"{lab}/lab", timeout=COLD)
    page.wait_for_selector(f".jp-NotebookPanel:not(.lm-mod-hidden) {WALL}", timeout=COLD)
    page.wait_for_timeout(25_000)  # somebody looks at home first
    page.locator(".lm-TabBar-tab:has-text('4_metals')").click()
    page.wait_for_selector(
        ".jp-NotebookPanel:not(.lm-mod-hidden) .dl-canvas .main-svg", timeout=COLD
    )


def test_a_notebook_of_somebody_else_does_not_run_by_itself(page, lab, notebook, desk):
    import nbformat

    strange = nbformat.v4.new_notebook()
    strange.cells = [nbformat.v4.new_code_cell("open('ran', 'w').close()")]
    nbformat.write(strange, desk / "strange.ipynb")
    notebook("strange.ipynb")
    page.wait_for_timeout(3000)
    assert not (desk / "ran").exists()


def test_home_fits_both_themes_and_all_widths(notebook, page, shot):
    opened = notebook("0_start.ipynb")
    opened.run_all(until=WALL)
    for theme in ("light", "dark"):
        opened.theme(theme)
        for width in (1280, 800):
            shot(f"home-{theme}-{width}", ".dyelab", width)
            assert page.locator(".dyelab").first.evaluate(FITS)


def test_a_list_is_worked_by_arrows_and_not_the_notebook(notebook, page):
    notebook("0_start.ipynb").run_all(until=".dl-wall .dl-w")
    name, role = (page.get_by_label(one) for one in ("Name of the material", "What it is for"))
    name.fill("alder bark")
    name.press("Tab")
    page.wait_for_timeout(1500)
    for wanted in (1, 2):
        page.keyboard.press("ArrowDown")
        page.wait_for_timeout(300)
        assert role.evaluate("one => one.selectedIndex") == wanted
