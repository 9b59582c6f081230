"""The panels that plan, record and browse, without a browser."""

import html
import re
from datetime import date

import pandas as pd
import pytest
from panels import EXAMPLE, choose, said
from PIL import Image

from dyelab import book, plan
from dyelab.panel import browse, exchange, record
from dyelab.panel import plan as planning

pytestmark = pytest.mark.usefixtures("desk")


def test_planning_answers_every_choice():
    panel = planning.panel(EXAMPLE)
    assert "8 swatches of 4 recipes" in said(panel)  # two tannins by two iron doses, twice
    panel.choices["iron"].value = "0 1 2 4"
    assert "16 swatches of 8 recipes" in said(panel)
    panel.choices["more"].value = "madder 20"
    assert "32 swatches of 16 recipes" in said(panel)
    panel.choices["design"].value = "fraction"
    assert "(resolution 3)" in said(panel)
    assert any("can't be told" in note for note in panel.shown.notes)
    assert not any("hours with" in note for note in panel.shown.notes)
    choose(panel, design="full", fibre=("wool", "cotton", "silk"), pots=1)
    assert any("hours with 1 pot on at once" in note for note in panel.shown.notes)
    panel.choices["iron"].value = "two"
    assert "is no number" in said(panel)


def test_baths_are_counted_as_pots_whatever_else_goes_into_them():
    panel = planning.panel(EXAMPLE)
    before, water = re.search(r"in (\d+) baths.* (\d+) L of water", said(panel)).groups()
    choose(panel, tartar=6)
    assert f"in {before} baths" in said(panel)
    assert f"{water} L of water" in said(panel)
    pots, rounds = re.match(r"\D*(\d+) pots a round, (\d+) rounds", said(panel)).groups()
    assert int(before) == int(pots) * int(rounds)


def test_sheets_are_written_and_a_series_goes_into_a_new_book(tmp_path):
    panel = planning.panel(EXAMPLE)
    panel.actions["planning.sheets"].click()
    assert len(list((tmp_path / "saved").glob("*.pdf"))) == 4
    assert "checklist.pdf" in panel.told.value
    panel.actions["planning.put"].click()
    assert "example stays as it is" in panel.told.value
    panel.folder.value = str(tmp_path / "mine")
    panel.actions["planning.put"].click()
    assert "are in the book" in html.unescape(panel.told.value)
    assert len(book.open(tmp_path / "mine").swatches) == int(
        panel.told.value.split(" swatches")[0].split(">")[-1]
    )
    saved = book.open(tmp_path / "mine")
    assert saved.title == "mine"
    again = planning.planned_series(panel.book, **panel.values)
    assert set(again.swatches["swatch"]) == set(saved.swatches["swatch"]), (
        "sheets of what was put in"
    )


@pytest.fixture
def planned(tmp_path):
    s = plan.series({"fibre": ["wool"], "dye": ["madder 50"], "iron": [0, 2]}, name="Autumn")
    return book.save(plan.add_series(book.create(tmp_path / "b"), s))


def test_what_was_done_is_ticked_and_corrected(planned):
    panel = record.panel(planned)
    first = panel.choices["bath"].value
    total = len(plan.open_baths(planned))
    assert f"Baths still to be done: {total}" in said(panel)
    assert panel.choices["weighed"].value == pytest.approx(
        plan.open_baths(planned)["weigh_g"].iloc[0], abs=0.01
    )
    choose(panel, weighed=2.0, in_it=panel.choices["in_it"].options[:-1])
    panel.actions["planning.it_was"].click()
    after = book.open(planned.path)
    rows = after.steps[(after.steps["bath"] == first[1]) & (after.steps["state"] == "done")]
    assert len(rows) == len(panel.choices["in_it"].options) or len(rows) > 0
    assert rows["amount"].iloc[0] == pytest.approx(100 * 2 / (5 * len(rows)))
    panel.actions["planning.take_back"].click()
    assert (book.open(planned.path).steps["state"] == "planned").all()


def test_the_next_bath_opens_as_planned_and_not_as_the_last_was(planned):
    panel = record.panel(planned)
    for name, value in {"temperature": 33, "minutes": 7, "pH": 4, "on": "2024-05-01"}.items():
        panel.choices[name].value = value
    panel.choices["in_it"].value = panel.choices["in_it"].options[:1]
    panel.actions["planning.it_was"].click()
    for again in (panel, record.panel(planned.path)):
        row = plan.open_baths(book.open(planned.path)).iloc[0]
        assert again.choices["temperature"].value == row["temperature_C"]
        assert again.choices["minutes"].value == row["minutes"]
        assert again.choices["pH"].value == 0
        assert again.choices["on"].value == date.today().isoformat()
        assert again.choices["in_it"].value == again.choices["in_it"].options


def test_baths_are_told_apart_and_all_can_be_saved_as_planned(planned):
    panel = record.panel(planned)
    named = [name for name, _ in panel.choices["bath"].options]
    assert len({name.partition("  ")[2] for name in named}) == len(named)
    assert any("ferrous sulfate 2 %, A-0" in name for name in named)
    assert not any(" ," in name for name in named)
    panel.choices["on"].value = "2024-05-01"
    panel.actions["planning.all_so"].click()
    after = book.open(planned.path)
    assert (after.steps["state"] == "done").all()
    assert set(after.swatches["made_on"].astype(str).str[:10]) == {"2024-05-01"}
    panel.actions["planning.take_back"].click()
    assert (book.open(planned.path).steps["state"] == "planned").all()


def test_only_what_a_button_names_is_taken_back(planned):
    panel = record.panel(planned)
    panel.actions["planning.it_was"].click()
    there = book.open(planned.path)
    elsewhere = book.save(book.add(there, swatches=pd.DataFrame({"swatch": ["X-9"]})), "by hand")
    take_back = panel.actions["planning.take_back"]
    assert "done" in take_back.description
    take_back.click()
    assert "another page has saved since" in panel.told.value
    assert "X-9" in set(book.open(elsewhere.path).swatches["swatch"])
    assert "by hand" in take_back.description
    take_back.click()
    assert "X-9" not in set(book.open(elsewhere.path).swatches["swatch"])


def test_a_bath_done_as_planned_keeps_its_dose_however_little_is_weighed(tmp_path):
    factors = {"fibre": ["wool"], "mordant": ["potash alum 15"], "dye": ["weld 50"]}
    s = plan.series(factors | {"iron": [0, 0.5]}, mass_g=2.3, controls=False, name="Small")
    panel = record.panel(book.save(plan.add_series(book.create(tmp_path / "b"), s)))
    for _ in plan.open_baths(panel.book).index:
        panel.actions["planning.it_was"].click()  # 0.0115 g of iron stand there as 0.01
    done = book.open(tmp_path / "b").steps
    assert set(done["state"]) == {"done"}
    iron = done.loc[done["material"] == "ferrous sulfate", "amount"]
    assert set(iron) == {0.5}
    assert set(done.loc[done["kind"] == "scour", "amount"]) == {2.0}


def test_a_bath_planned_by_hand_keeps_what_its_plan_leaves_open(tmp_path):
    rows = pd.DataFrame({"swatch": ["K1", "K2"], "fibre": "wool", "mass_g": 5.0})
    steps = pd.DataFrame({"swatch": ["K1", "K2"], "order": 1, "kind": "dye", "material": "weld"})
    steps = steps.assign(amount=[50.0, 25.0], unit="% WOF", bath="D1", bath_use=2, state="planned")
    bk = book.add(book.create(tmp_path / "b"), swatches=rows, steps=steps)
    panel = record.panel(book.save(bk))
    assert "no heat or time stated" in said(panel)
    assert "nan" not in said(panel)
    panel.actions["planning.it_was"].click()
    assert "D1 is done" in panel.told.value
    done = book.open(tmp_path / "b").steps
    assert done["amount"].tolist() == [50.0, 25.0]
    assert done["bath_use"].tolist() == [2, 2]
    assert done["minutes"].isna().all()


def test_a_day_that_is_none_is_refused_before_anything_is_saved(planned):
    panel = record.panel(planned)
    panel.choices["on"].value = "yesterday"
    panel.actions["planning.it_was"].click()
    assert "yesterday is not a date" in panel.told.value
    assert (book.open(planned.path).steps["state"] == "planned").all()


def test_baths_of_no_series_are_named_so(tmp_path):
    cloth = plan.printed_cloth("P-1", {"leaf": "aluminium acetate 5"})
    panel = record.panel(book.save(book.add(book.create(tmp_path / "p"), **cloth)))
    panel.actions["planning.all_so"].click()
    assert "of “Without a series” saved" in panel.told.value
    panel.actions["planning.take_back"].click()
    assert "Taken back: Without a series:" in panel.told.value


def test_a_book_without_a_plan_says_what_to_do():
    panel = record.panel(EXAMPLE)
    assert "Plan a series above" in said(panel)
    assert panel.actions["planning.it_was"].layout.display == "none"


def test_browsing_finds_sorts_and_opens():
    panel = browse.panel(EXAMPLE)
    everything = len(book.open(EXAMPLE).swatches)
    assert f"{everything} of {everything} swatches" in said(panel)
    panel.choices["find"].value = "cotton, iron between 1 and 3"
    assert "say: cotton, iron between 1 and 3" in said(panel)
    assert (panel.shown.table["fibre"] == "cotton").all()
    assert panel.shown.table["iron_wof"].between(1, 3).all()
    panel.choices["order"].value = "lightness"
    assert panel.shown.table["L"].dropna().is_monotonic_increasing
    code = panel.choices["swatch"].options[1][1]
    panel.choices["swatch"].value = code
    assert said(panel).startswith(f"<p>{code}: cotton")
    assert any(note.startswith("1. ") for note in panel.shown.notes)
    choose(panel, swatch="", find="aubergine")
    assert "no swatch here says 'aubergine'" in said(panel)


def test_a_swatch_shows_its_photo_and_its_history(planned, tmp_path):
    Image.new("RGB", (900, 600), "red").save(tmp_path / "p.jpg")
    code = planned.swatches["swatch"].iloc[0]
    bk, _ = book.keep_photo(planned, tmp_path / "p.jpg", swatches=[code])
    bk = book.save(bk)
    panel = browse.panel(bk)
    panel.choices["swatch"].value = code
    assert "no reading yet" in said(panel)
    (picture,) = panel.shown.pictures
    assert picture[1].startswith(b"\x89PNG")
    assert any("1 photo added" in note for note in panel.shown.notes)
    assert any("(planned)" in note for note in panel.shown.notes)


def test_a_spreadsheet_is_confirmed_and_taken_in(planned, tmp_path):
    text = "Sample Nr,Fabric,Dye plant,Iron,Shelf\nZ1,silk,weld,2,B\n"
    (tmp_path / "own.csv").write_text(text, "utf-8")
    panel = exchange.panel(planned)
    panel.choices["file"].value = str(tmp_path / "own.csv")
    guesses = {made.column: made.value for made in panel.columns.children}
    expected = {"Sample Nr": "swatch", "Fabric": "fibre", "Dye plant": "name:dye"}
    expected["Iron"] = "dose=iron"
    assert guesses == {**expected, "Shelf": "keep"}
    panel.columns.children[-1].value = ""
    assert panel.shown.table["where"].tolist() == ["column E (Shelf)"]
    assert "silk, weld, ferrous sulfate 2 %" in html.unescape(panel.understood.value).replace(
        "\N{NO-BREAK SPACE}", " "
    )
    assert [made.word for made in panel.asked.children] == ["iron"]
    panel.actions["exchange.go"].click()
    assert "1 swatch came into" in html.unescape(panel.told.value)
    found = book.open(planned.path)
    assert "Shelf" not in found.swatches
    assert book.recipes(found).set_index("swatch").loc["Z1", "iron_wof"] == 2.0
    panel.choices["task"].value = "undo"
    panel.actions["exchange.go"].click()
    assert "Z1" not in set(book.open(planned.path).swatches["swatch"])


def test_a_book_goes_out_from_the_panel_and_another_comes_in(planned, tmp_path):
    panel = exchange.panel(planned)
    for task in ("zip", "xlsx", "folder"):
        panel.choices["task"].value = task
        assert panel.actions["exchange.go"].description.startswith("Save the")
        panel.actions["exchange.go"].click()
    assert sorted(path.name for path in (tmp_path / "saved").iterdir()) == ["b", "b.xlsx", "b.zip"]
    other = book.save(book.create(tmp_path / "other"))
    panel = exchange.panel(other)
    panel.choices["task"].value = "merge"
    panel.actions["exchange.go"].click()
    assert "Name the folder of the other book" in panel.told.value
    for form, times in (("b.zip", 1), ("b.xlsx", 1)):
        panel.choices["file"].value = str(tmp_path / "saved" / form)
        panel.actions["exchange.go"].click()
        assert len(book.open(other.path).swatches) == times * len(planned.swatches)
    panel = exchange.panel(EXAMPLE)
    panel.actions["exchange.go"].click()
    assert "example stays as it is" in panel.told.value


def test_with_children_in_the_room_metal_baths_are_left_out_and_said():
    panel = planning.panel(EXAMPLE)
    panel.choices["iron"].value = "0 2,5"
    assert "8 swatches of 4 recipes" in said(panel)  # 0 and 2.5, not 0, 2 and 5
    assert "ferrous sulfate" in set(panel.shown.table["material"])
    panel.choices["children"].value = True
    assert any("work in the room: ferrous sulfate" in note for note in panel.shown.notes)
    choose(panel, over="weld 50 + indigo vat 5 x3", more="woad 5")
    note = next(note for note in panel.shown.notes if "work in the room" in note)
    assert all(name in note for name in ("indigo", "hydrated lime", "woad")), note
    out = {"ferrous sulfate", "copper sulfate", "indigo", "woad", "hydrated lime"}
    assert not set(panel.shown.table["material"]) & out


def test_recipes_are_seen_before_saving_and_a_second_press_adds_nothing(tmp_path):
    mine = book.save(book.create(tmp_path / "mine", "Mine"))
    panel = planning.panel(mine.path)
    seen = [chip.label for chip in panel.shown.chips]
    assert any("madder" in text for text in seen)
    assert {chip.lab for chip in panel.shown.chips} == {None}
    codes = [chip.note for chip in panel.shown.chips]
    panel.actions["planning.put"].click()
    assert [chip.note for chip in panel.shown.chips] == codes, "the sheets show the book's codes"
    kept = book.open(mine.path).swatches["swatch"]
    assert set(", ".join(codes).split(", ")) == set(kept)
    before = len(book.open(mine.path).swatches)
    panel.actions["planning.put"].click()
    assert "nothing was added" in html.unescape(panel.told.value)
    assert len(book.open(mine.path).swatches) == before


def test_taking_back_and_putting_again_name_what_they_do(planned):
    panel = record.panel(planned)
    bath = panel.choices["bath"].value[1]
    assert panel.actions["planning.put_back"].layout.display == "none"
    panel.actions["planning.it_was"].click()
    assert panel.actions["planning.take_back"].description == f"Take back: {bath} done"
    panel.actions["planning.take_back"].click()
    assert f"Taken back: {bath} done" in panel.told.value
    assert panel.actions["planning.put_back"].description == f"Put again: {bath} done"
    panel.actions["planning.put_back"].click()
    assert f"{bath} done" in panel.actions["planning.take_back"].description
    assert (book.open(planned.path).steps["state"] == "done").any()
