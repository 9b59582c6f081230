"""The book's home: how far swatches have come, what is next, and materials of one's own."""

import shutil
import time

import pandas as pd
import pytest

from dyelab import book, files, plan
from dyelab.errors import InputError
from dyelab.panel import book_choice, home, own_materials
from dyelab.panel import plan as plan_panel

pytestmark = pytest.mark.usefixtures("desk")
EXAMPLE = files.shipped_path("data", "marlpit_yard")


@pytest.fixture
def mine(desk):
    """Two swatches planned, one dyed, one measured, one washed once, one washed twice."""
    codes = ["P1", "P2", "D1", "M1", "W1", "W2"]
    swatches = pd.DataFrame({"swatch": codes, "fibre": "wool", "series": "first", "mass_g": 5.0})
    steps = pd.DataFrame({"swatch": codes, "order": 1, "kind": "dye", "material": "madder"})
    steps["state"] = ["planned", "planned", "done", "done", "done", "done"]
    steps["bath"], steps["amount"], steps["unit"] = "D1", 50.0, "% WOF"
    seen = [("M1", "none", 0), ("W1", "none", 0), ("W2", "none", 0), ("W1", "wash", 1)]
    seen += [("W2", "wash", 1), ("W2", "wash", 5)]
    readings = pd.DataFrame(seen, columns=["swatch", "exposure", "amount"])
    readings["reading"] = [f"r{i}" for i in range(len(seen))]
    readings["L"] = [50.0, 51, 52, 53, 54, 55]
    white = {"a": 30.0, "b": 20.0, "illuminant": "D65", "observer": 10, "method": "typed"}
    bk = book.add(book.create(desk / "mine", "Mine"), swatches=swatches, steps=steps)
    return book.save(book.add(bk, readings=readings.assign(part="swatch", **white)))


def test_each_swatch_stands_where_its_records_say(mine):
    rows = plan.stages(mine).set_index("swatch")
    stages = ["planned", "planned", "dyed", "measured", "tested", "tested"]
    assert list(rows["stage"]) == stages
    assert rows.loc["W2", ["L", "L_after", "amount"]].tolist() == [52, 55, 5]


def test_what_comes_next_counts_swatches_and_leads_there(mine):
    told = {one.what: one for one in plan.next_tasks(mine)}
    assert {name: one.swatches for name, one in told.items()} == {
        "bath": 2,
        "measure": 1,
        "wash": 1,
        "test": 1,
    }
    assert dict(told["wash"].facts) == {"now": "1", "most": "5"}
    shown = home.panel(mine).patches.value
    assert 'href="1_plan.ipynb#record">Next bath: D1, madder' in shown
    assert "it stands at 1 of 5 washes" in shown
    assert shown.count('class="dl-w dl-planned"') == 2


def test_a_bath_of_measured_swatches_is_not_asked_for(mine):
    first = mine.readings.head(1)
    rows = [first.assign(reading=f"n{at}", swatch=code) for at, code in enumerate(("P1", "P2"))]
    assert "bath" in {one.what for one in plan.next_tasks(mine)}
    done = book.add(mine, readings=pd.concat(rows))
    told = {one.what: one for one in plan.next_tasks(done)}
    assert "bath" not in told
    assert (told["tick"].swatches, told["tick"].facts) == (2, (("left", 1),))
    shown = home.panel(book.save(done)).patches.value
    assert 'href="1_plan.ipynb#record">Say what was really done in 1 bath' in shown
    assert "never recorded, though 2 swatches are measured" in shown


def test_where_nothing_waits_it_is_not_said_that_a_plan_is_done(mine):
    only = book.remove(mine, [code for code in mine.swatches["swatch"] if code != "W2"])
    assert plan.next_tasks(only) == []
    shown = home.panel(book.save(only)).patches.value
    assert 'href="3_compare.ipynb">Nothing waits to be dyed, measured or tested' in shown


def test_a_wall_of_five_hundred_windows_is_one_quick_piece(mine, desk):
    swatches = pd.DataFrame({"swatch": [f"S{i}" for i in range(500)], "series": "many"})
    rows = pd.DataFrame({"reading": [f"q{i}" for i in range(500)], "swatch": swatches["swatch"]})
    rows = rows.assign(part="swatch", exposure="none", method="typed", illuminant="D65")
    rows = rows.assign(L=[20 + i / 8 for i in range(500)], a=5.0, b=9.0, observer=10)
    big = book.save(book.add(mine, swatches=swatches, readings=rows))
    start = time.perf_counter()
    panel = home.panel(big.path)
    assert time.perf_counter() - start < 5  # 0.5 s on an idle machine
    assert panel.patches.value.count('class="dl-w ') >= 506
    assert len(panel.patches.value) < 150_000


def test_an_empty_book_says_how_to_begin(desk):
    panel = home.panel(book.save(book.create(desk / "new", "New")))
    assert "New is empty" in panel.sentence
    assert 'href="1_plan.ipynb">Plan a first series' in panel.patches.value


def test_pages_saved_here_are_linked_the_newest_first(mine, desk):
    (desk / "saved").mkdir()
    (desk / "saved" / "a b.html").write_text("x")
    assert 'href="../files/saved/a%20b.html">a b.html' in home.panel(mine).below.value


def test_a_name_that_looks_like_markup_stays_text(mine, desk):
    rows = pd.DataFrame({"swatch": ['<img src="x">'], "series": ["<script>alert(1)</script>"]})
    shown = home.panel(book.save(book.add(mine, swatches=rows))).patches.value
    assert "<script" not in shown
    assert "<img" not in shown


def test_a_material_of_ones_own_is_planned_with_afterwards(mine):
    panel = own_materials.panel(mine.path)
    panel.choices["name"].value = "alder bark"
    panel.actions["own_materials.put"].click()
    assert "alder bark is in Mine" in panel.told.value
    listed = book.materials(book.open(mine.path)).set_index("material")
    assert listed.loc["alder bark", "role"] == "dye"
    assert listed.loc["alder bark", "basis"] == "dose taken from its kind, entered by nobody"
    assert panel.choices["name"].value == ""
    planned = plan_panel.panel(mine.path)
    planned.choices["dye"].value = ("alder bark",)
    assert any("alder bark 35" in chip.label for chip in planned.shown.chips)


def test_a_typed_dose_stays_when_the_kind_is_chosen_after_it(mine):
    panel = own_materials.panel(mine.path)
    panel.choices["low"].value = 1
    for role in ("mordant", "tannin", "mordant"):
        panel.choices["role"].value = role
    assert (panel.choices["low"].value, panel.choices["high"].value) == (1, 0)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"name": " "}, "no name yet"),
        ({"name": "lead acetate"}, "not offered"),
        ({"low": 5.0, "high": 2.0}, "above the most"),
        ({"hazards": "H999 nasty"}, "H999"),
    ],
)
def test_an_entry_that_cannot_stand_is_refused_in_words(given, said):
    whole = {"name": "bark", "role": "dye", "metal": "", "low": 1.0, "high": 2.0}
    whole |= {"hazards": "", "note": "", "more": True}
    with pytest.raises(InputError, match=said):
        own_materials.material_row(**{**whole, **given})


def test_the_example_takes_no_material():
    panel = own_materials.panel(EXAMPLE)
    panel.choices["name"].value = "alder bark"
    panel.actions["own_materials.put"].click()
    assert "stays as it is" in panel.told.value


def test_a_stored_panel_says_that_it_is_not_running(mine):
    assert "Run all cells" in home.panel(mine)._repr_mimebundle_()["text/plain"]


def test_an_open_book_is_kept_until_anything_of_it_changes(tmp_path):
    path = shutil.copytree(book_choice.example(), tmp_path / "held")
    first = book_choice.open_book(path)
    assert book_choice.open_book(path) is first
    for name in ("swatches.csv", "datapackage.json"):
        (path / name).write_bytes((path / name).read_bytes())
        assert book_choice.open_book(path) is not first
        first = book_choice.open_book(path)
    (path / "set_aside").mkdir(exist_ok=True)
    (path / "set_aside" / "swatches.csv").write_text("swatch\n")
    assert book_choice.open_book(path) is not first
    mine = book.wide(first)
    mine["L"] = 0.0
    assert book.wide(first)["L"].max() > 0, "whoever asks has a table of their own"


def test_a_swatch_read_only_after_a_test_hangs_on_the_wall(desk):
    read = pd.DataFrame({"reading": ["R"], "swatch": ["A"], "exposure": "wash", "amount": 5.0})
    read = read.assign(unit="cycle", method="typed", illuminant="D65", observer=10)
    bk = book.add(
        book.create(desk / "late"),
        swatches=pd.DataFrame({"swatch": ["A", "B"]}),
        readings=read.assign(L=50.0, a=1.0, b=2.0),
    )
    assert "dl-wall" in home.wall(plan.stages(bk))
