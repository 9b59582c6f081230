"""Correcting a book in its panel: steps, one unplanned swatch, codes, deletion, tests."""

import shutil

import pytest
from panels import choose

from dyelab import book, plan, synth
from dyelab.panel import correct


@pytest.fixture
def panel(tmp_path):
    shutil.copytree(synth.example(), tmp_path / "mine")
    return correct.panel(tmp_path / "mine")


def put(panel, **given):
    for name, value in given.items():
        panel.choices[name].value = value
    panel.actions["correcting.put"].click()
    return panel.told.value


def saved(panel):
    return book.open(panel.book.path)


def test_a_step_that_was_done_is_put_right_for_all_who_shared_its_bath(panel):
    choose(panel, swatch="W09", step=(2, "whole"))
    assert panel.choices["material"].value == "potash alum"
    assert panel.choices["amount"].value == "15"
    assert "It shared bath M1 with 16 other swatches" in panel.sentence
    assert "for 17 swatches" in put(panel, amount="16,5", note="scales slipped")
    steps = saved(panel).steps
    changed = steps[steps["note"] == "scales slipped"]
    assert set(changed["amount"]) == {16.5}
    assert len(changed) == 17
    assert panel.choices["swatch"].value == "W09"  # one goes on where one was
    assert "for 1 swatch." in put(panel, whole_bath=False, temperature="")


def test_a_dose_that_is_left_alone_keeps_all_its_digits(panel):
    third = panel.book.steps.query("swatch == 'W09' and order == 2").assign(amount=100 / 36)
    panel.save_book(book.change(panel.book, steps=third), "a third of a gram")
    choose(panel, swatch="W09", step=(2, "whole"))
    assert panel.choices["amount"].value == "2.78"
    assert "2.78 % WOF" in panel.sentence
    put(panel, whole_bath=False, note="by eye")
    kept = saved(panel).steps.query("swatch == 'W09' and order == 2")
    assert kept["note"].tolist() == ["by eye"]
    assert kept["amount"].tolist() == pytest.approx([100 / 36], rel=1e-9)


def test_what_is_put_right_for_a_bath_leaves_each_cloth_its_own_dips(tmp_path):
    levels = {"fibre": ["wool"], "dye": ["indigo 5 x1", "indigo 5 x3"]}
    series = plan.series(levels, name="Vat", replicates=1, controls=False)
    panel = correct.panel(book.save(plan.add_series(book.create(tmp_path / "own"), series)))
    vat = panel.book.steps[panel.book.steps["kind"] == "vat"].set_index("swatch")
    assert vat["bath"].nunique() == 1
    thrice = vat.index[vat["dips"] == 3][0]
    choose(panel, swatch=thrice, step=(int(vat.loc[thrice, "order"]), "whole"))
    assert "for 2 swatches" in put(panel, temperature="45")
    now = saved(panel).steps.query("kind == 'vat'").set_index("swatch")
    assert set(now["temperature_C"]) == {45.0}
    assert now["dips"].to_dict() == vat["dips"].to_dict()
    choose(panel, swatch=thrice, step=(int(vat.loc[thrice, "order"]), "whole"))
    put(panel, dips="4")
    now = saved(panel).steps.query("kind == 'vat'").set_index("swatch")
    assert sorted(now["dips"].dropna()) == sorted([*vat["dips"].drop(thrice).dropna(), 4])


def test_a_step_without_a_material_is_told_by_its_kind(tmp_path):
    levels = {"fibre": ["wool"], "dye": ["indigo 5 x3"]}
    bk = plan.add_series(book.create(tmp_path / "own"), plan.series(levels, name="Vat"))
    panel = correct.panel(book.save(bk))
    rinse = bk.steps[bk.steps["kind"] == "rinse"].iloc[0]
    choose(panel, swatch=rinse["swatch"], step=(int(rinse["order"]), "whole"))
    assert "is now rinse, for" in put(panel, note="twice")
    dip = bk.steps[bk.steps["kind"] == "vat"].iloc[0]
    choose(panel, swatch=dip["swatch"], step=(int(dip["order"]), "whole"))
    assert "a whole number of times" in put(panel, dips="2,5")


def test_one_swatch_that_nobody_planned_goes_in(panel):
    lines = "neutral soap 2, 60 °C, 30 min\nalum 15, 85 C, 1 h\nweld 50\niron 2 %\nindigo 5 x3"
    panel.choices["task"].value = "swatch"
    assert "madder 50, 65 °C, 60 min" in panel.sentence
    assert "X-01 is in the book" in put(panel, lines=lines)
    steps = saved(panel).steps.query("swatch == 'X-01'")
    assert steps["kind"].tolist() == ["scour", "mordant", "dye", "modifier", "vat"]
    assert steps["material"].iloc[1] == "potash alum"
    assert steps["minutes"].iloc[:2].tolist() == [30, 60]
    assert steps["dips"].iloc[-1] == 3


@pytest.mark.parametrize(
    ("lines", "said"),
    [("alder bark 50", "no material"), ("weld 50, hot", "what was done"), ("", "Write what was")],
)
def test_a_line_that_says_nothing_is_refused(panel, lines, said):
    panel.choices["task"].value = "swatch"
    assert said in put(panel, lines=lines)
    assert len(saved(panel).swatches) == 203


def test_a_swatch_gets_another_code_everywhere(panel):
    before = panel.book
    panel.choices["task"].value = "rename"
    assert "is in this book already" in put(panel, swatch="W09", new_code="W10")
    assert "W09 is K-9 now" in put(panel, swatch="W09", new_code="K-9")
    after = saved(panel)
    for name in ("swatches", "steps", "readings"):
        was, now = getattr(before, name)["swatch"], getattr(after, name)["swatch"]
        assert now.tolist() == was.replace("W09", "K-9").tolist()


def test_swatches_are_deleted_and_come_back(panel):
    panel.choices["task"].value = "delete"
    assert "No swatch is chosen" in put(panel)
    assert "2 swatches deleted" in put(panel, gone=("W09", "W10"))
    assert not saved(panel).readings["swatch"].isin(["W09", "W10"]).any()
    assert len(book.undo(panel.book.path).swatches) == 203


def test_a_fastness_test_is_entered_and_corrected(panel):
    bk = panel.book
    loose = bk.readings[(bk.readings["exposure"] == "wash") & (bk.readings["swatch"] == "W09")]
    panel.save_book(book.change(bk, readings=loose.assign(test="")), "loose")
    choose(panel, note="scales slipped", task="test")
    assert panel.choices["covers"].options == ("W09",)
    assert "no name yet" in put(panel)
    assert "there is a test wash already" in put(panel, test_name="wash")
    assert "with 3 readings" in put(panel, test_name="wash 2", test_method="by hand", who="Ada")
    after = saved(panel)
    assert after.tests.set_index("test").loc["wash 2", "method"] == "by hand"
    assert after.tests.set_index("test").loc["wash 2", "note"] == ""  # not a step's
    assert (after.readings["test"] == "wash 2").sum() == 3
    choose(panel, task="test", test="wash 2")
    assert panel.choices["who"].value == "Ada"
    assert "with 3 readings" in put(panel, who="Bea")
    assert saved(panel).tests.set_index("test").loc["wash 2", "who"] == "Bea"


def test_the_example_stays_as_it_is():
    shown = correct.panel(synth.example())
    assert "stays as it is" in put(shown, task="delete", gone=("W01",))
