"""Metals are rows of one table: any of them is counted, and one row adds another."""

import re
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
import typed_books

from dyelab import book, handout, recipe, shift
from dyelab.errors import InputError
from dyelab.handout import colours
from dyelab.handout.sheets import metal as metal_page
from dyelab.handout.sheets import report, worksheet
from dyelab.panel import browse, compare, guess, home, plan
from dyelab.panel import metals as metals_panel
from dyelab.recipe import metals

HERE = Path(__file__).parent


def test_one_row_adds_a_metal_to_plan_compare_panel_and_page(tmp_path):
    made = subprocess.run(
        [sys.executable, HERE / "added_metal.py", tmp_path],
        capture_output=True,
        text=True,
        env={"PATH": "", "HOME": str(tmp_path), "XDG_STATE_HOME": str(tmp_path)},
    )
    assert made.stdout.endswith("walked through\n"), made.stderr[-2000:]


@pytest.mark.parametrize("missing", ["hazards", "disposal", "salt", "effect"])
def test_a_metal_without_its_hazards_or_disposal_is_refused(tmp_path, monkeypatch, missing):
    rows = metals.metals().drop(columns="column").astype(str)
    rows.loc[2, missing] = ""
    rows.to_csv(tmp_path / "metals.csv", index=False)
    monkeypatch.setattr(metals, "FILE", tmp_path / "metals.csv")
    metals.metals.cache_clear()
    try:
        with pytest.raises(InputError, match=f"row 4 \\(tin\\): {missing} is blank"):
            metals.metals()
    finally:
        monkeypatch.undo()
        metals.metals.cache_clear()


def test_every_salt_is_a_material_of_its_metal():
    listed = recipe.materials().set_index("material")
    for symbol, salt in metals.metals()[["symbol", "salt"]].itertuples(index=False):
        assert listed.loc[salt, "metal"] == symbol
        assert listed.loc[salt, "hazards"]


@pytest.mark.parametrize(
    ("salt", "metal"),
    [("stannous chloride", "tin"), ("titanium potassium oxalate", "titanium")],
)
def test_other_metals_are_asked_about_like_iron(tmp_path, salt, metal):
    bk = typed_books.random_book(tmp_path / "book", 1, salts=(salt,))
    found = shift.of_step(book.wide(bk), metal, shared=bk.shared)
    assert len(found.pairs) > 4
    assert found.pairs["recipe"].str.contains(metal).all()


def told(panel):
    shown = panel.shown
    return " ".join([panel.title, panel.sentence, *shown.notes, *shown.care])


def test_who_dyes_with_tin_and_titanium_never_meets_iron(tmp_path):
    salts = "stannous chloride", "titanium potassium oxalate"
    bk = typed_books.random_book(tmp_path / "book", 1, salts=salts)
    panels = {one.__name__: one.panel(bk) for one in (home, metals_panel, compare, browse, guess)}
    assert panels[metals_panel.__name__].title == "Tin and titanium"
    asked = plan.panel(bk).choices
    assert {"tin", "titanium"} < set(asked)
    assert "iron" in asked["another"].options
    source = colours.source(bk)
    pairs = source.pairs("tin")
    dyed = source.made.iloc[pairs[pairs["dye"] != "none"].iloc[0]["to_row"]]
    picked = {name: dyed[name] for name in ("fibre", "dye", "tannin", "mordant")}
    pages = [report.report(source), worksheet.worksheet(source, metal="tin")]
    pages += [metal_page.sheet(source, metal="tin", **picked)]
    texts = {name: told(panel) for name, panel in panels.items()}
    for page in pages:  # what children must not have in the room is named whatever was dyed
        texts[page.title] = [b for b in page.blocks if not isinstance(b, handout.Caution)]
    for name, text in texts.items():
        assert not re.search(r"\biron\b", str(text), re.IGNORECASE), name


def test_a_book_without_metals_has_a_page_of_metals_all_the_same(tmp_path):
    bk = typed_books.random_book(tmp_path / "book", 1, salts=())
    assert metals_panel.panel(bk).title == "Metals"


def test_aluminium_is_a_mordant_before_the_dye_and_a_metal_after(tmp_path):
    """Common practice of the trade: alum is a mordant; an alum after-bath modifies."""
    bk = book.create(tmp_path / "book")
    swatches = pd.DataFrame({"swatch": ["before", "after"], "fibre": "wool", "mass_g": 5.0})
    rows = [("before", 1, "mordant"), ("before", 2, "dye"), ("after", 1, "dye")]
    steps = pd.DataFrame([*rows, ("after", 2, "modifier")], columns=["swatch", "order", "kind"])
    alum = steps["kind"] != "dye"
    steps["material"] = alum.map({True: "potash alum", False: "madder"})
    steps = steps.assign(amount=10.0, unit="% WOF", area="whole")
    made = book.recipes(book.add(bk, swatches=swatches, steps=steps)).set_index("swatch")
    assert made.loc["before", ["mordant", "aluminium_wof"]].tolist() == ["potash alum", 0.0]
    assert made.loc["after", ["mordant", "aluminium_wof", "modifier"]].tolist() == [
        *("none", 10.0, "none")
    ]
