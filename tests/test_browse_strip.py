"""A swatch's own strip: the cloth cut from its photos, as dyed and then as it went."""

import photo_book

from dyelab.panel import browse, compare


def test_a_swatch_shows_the_cloth_itself_in_the_order_of_its_washes(tmp_path, monkeypatch):
    bk = photo_book.photographed(tmp_path / "b", washes=(0, 10))
    panel = browse.panel(bk)
    panel.choices["swatch"].value = "P4"
    (strip,) = panel.shown.chips
    assert [chip.label for chip in strip] == ["as dyed", "after 10 washes"]
    assert all(chip.crop.startswith(b"\x89PNG") for chip in strip)
    assert panel.patches.value.count('class="dl-cloth"') == 2
    assert not panel.shown.pictures  # no whole cards where the cloth itself can be shown


def test_a_comparison_shows_the_cloths_themselves(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    bk = photo_book.photographed(tmp_path / "b", washes=(0,))
    panel = compare.panel(bk)
    (pair,) = panel.shown.chips
    assert all(chip.crop.startswith(b"\x89PNG") for chip in pair)
    assert pair[0].crop != pair[1].crop
