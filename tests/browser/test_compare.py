"""The compare notebook and the lesson on controls, as a dyer meets them."""

from conftest import FITS


def test_pick_what_varies_and_see_every_picture(
    notebook, page, drawn, choose, shot, looks, save, desk
):
    opened = notebook("3_compare.ipynb")
    opened.run_all()
    answer = page.locator(".dyelab .dl-answer")
    assert "recipes" in answer.inner_text()
    assert page.locator(".dl-table").first.evaluate(FITS)  # no column off the screen
    drawn(lambda: choose("Only with dye", "madder"))
    assert "iron" in answer.inner_text()
    for picture in (
        "one small plane for each dye and fibre",
        "dose curve",
        "K/S spectra of the pair furthest apart",
        "family tree of the dye",
        "arrows on the colour planes",
    ):
        drawn(lambda name=picture: choose("Picture", name))
        page.wait_for_timeout(400)
        shot(f"compare-{picture.split()[0].replace('/', '')}", width=1280)
    looks(opened, "compare")
    drawn(lambda: choose("Show what this step does", "the tannin"))
    assert "tannin" in answer.inner_text()
    save(csv="Save the table (CSV)", svg="Save the figure (SVG)")
    assert {".csv", ".svg"} <= {path.suffix for path in (desk / "saved").iterdir()}


def test_the_tannins_share_is_told(notebook, page, drawn, choose, shot, looks):
    opened = notebook("8_lesson_controls.ipynb")
    opened.run_all()
    answer = page.locator(".dyelab .dl-answer")
    assert "the tannin's" in answer.inner_text()
    looks(opened, "share")
    drawn(lambda: choose("Work from", "colours alone (CIELAB)"))
    assert "difference of CIELAB differences" in answer.inner_text()
    shot("share-colours", width=1280)
