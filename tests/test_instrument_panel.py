"""Readings of an instrument into a book: files, typed lines, what they were read after."""

import numpy as np
import pandas as pd
import pytest

from dyelab import book, read, synth, table
from dyelab.errors import InputError
from dyelab.panel import instrument


@pytest.fixture
def mine(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    codes = [f"W{i:02}" for i in range(1, 13)]
    bk = book.create(tmp_path / "mine", "Mine")
    return book.save(book.add(bk, swatches=pd.DataFrame({"swatch": codes}))).path


def test_a_file_of_spectra_comes_in_and_what_is_no_swatch_is_named(mine):
    panel = instrument.panel(mine)
    assert "Choose the file" in panel.answer.value
    panel.choices["path"].value = str(synth.sources() / "wool_as_dyed.txt")
    assert "12 readings of 12 swatches" in panel.sentence
    assert "W13" in " ".join(panel.shown.notes)
    panel.actions["instrument.add"].click()
    assert "Added 12 readings" in panel.told.value
    kept = book.open(mine)
    shipped = book.open(synth.example()).readings.set_index("reading")
    for row in kept.readings.to_dict("records"):
        # The example's own readings of the same file, made by the same conversion.
        assert [row[c] for c in "Lab"] == pytest.approx(
            shipped.loc[row["swatch"], list("Lab")].to_list(), abs=1e-3
        )
        assert (row["method"], row["exposure"]) == ("spectral", "none")
    assert list(kept.spectra["reading"]) == list(kept.readings["reading"])


def test_typed_lines_repeats_and_names(mine):
    panel = instrument.panel(mine)
    panel.choices["typed"].value = "x1 45,2 12.3 −4.1\n\n46.0 12.1 -4.0\nW02;30;1;2"
    panel.choices["names"].value = "x1 = w01"
    panel.choices["method"].value = "colorimeter"
    panel.choices["exposure"].value = "light"
    panel.choices["amount"].value = 1e6
    panel.choices["repeat"].value = 0.5
    panel.actions["instrument.add"].click()
    rows = book.open(mine).readings
    assert list(rows["swatch"]) == ["W01", "W01", "W02"]
    assert rows["reading"].is_unique
    assert list(rows["L"]) == [45.2, 46.0, 30.0]
    assert set(rows["var_L"]) == {0.25}
    assert set(rows["unit"]) == {"lx h"}
    assert set(rows["method"]) == {"colorimeter"}
    panel.choices["typed"].value = "W01 45 12 -4"
    panel.actions["instrument.add"].click()
    assert "3 more" not in panel.told.value
    assert len(book.open(mine).readings) == 4


def test_typed_lines_of_unknown_swatches_stay_until_they_are_put_right(mine):
    panel = instrument.panel(mine)
    panel.choices["typed"].value = "W01 45 12 -4\nX9 30 1 2\n31 1 2\nW02 40 1 2"
    assert "No swatch of this book: X9" in panel.below.value
    panel.actions["instrument.add"].click()
    assert "Added 2 readings" in panel.told.value
    assert panel.choices["typed"].value == "X9 30 1 2\n31 1 2"
    assert "Nothing to add yet: 2 readings, none of them" in panel.sentence
    assert panel.shown.table is None
    panel.choices["new"].value = True
    panel.actions["instrument.add"].click()
    assert "Added 2 readings" in panel.told.value
    assert panel.choices["typed"].value == ""
    kept = book.open(mine)
    assert "X9" in set(kept.swatches["swatch"])
    assert list(kept.readings["swatch"]) == ["W01", "W02", "X9", "X9"]


def test_typed_lines_stay_by_their_whole_name(mine):
    panel = instrument.panel(mine)
    panel.choices["typed"].value = "W0 30 1 2\nW01 45 12 -4\n007 31 1 2\nW02 40 1 2"
    panel.actions["instrument.add"].click()
    assert "Added 2 readings" in panel.told.value
    assert panel.choices["typed"].value == "W0 30 1 2\n007 31 1 2"


def test_repeats_tell_the_uncertainty_of_one_reading(mine):
    rng = np.random.default_rng(5)
    true = rng.uniform(30, 60, (12, 1, 3))
    values = (true + rng.normal(0, [0.2, 0.4, 0.6], (12, 10, 3))).reshape(-1, 3)
    lab = pd.DataFrame(values, columns=list("Lab")).assign(
        sample=np.repeat([f"W{i:02}" for i in range(1, 13)], 10),
        illuminant="D65", observer=10, source="x.csv",
    )  # fmt: skip
    rows = book.instrument_readings(book.open(mine), lab, None, method="colorimeter").readings
    found = rows[["var_L", "var_a", "var_b"]].iloc[0].to_numpy(float) ** 0.5
    # 108 degrees of freedom: the standard error of a standard deviation is 7 %.
    assert found == pytest.approx([0.2, 0.4, 0.6], rel=0.2)
    once = lab.drop_duplicates("sample")
    alone = book.instrument_readings(book.open(mine), once, None, method="colorimeter").readings
    assert set(alone["var_L"].round(6)) == {0.09}


def test_cielab_under_another_white_is_adapted_only_when_asked(mine):
    lab = read.typed_lines("W01 50 10 10", illuminant="D50", observer=2)
    with pytest.raises(InputError, match=r"begin a book under D50/2°.*ask for them to be adapted"):
        book.instrument_readings(book.open(mine), lab, None)
    made = book.instrument_readings(book.open(mine), lab, None, adapt=True)
    assert made.readings["flags"].tolist() == ["adapted"]
    assert table.one_white(made.readings) == ("D65", 10)
    grown = book.add_readings(book.open(mine), made)
    # The whole error of adapting is shared by swatches of one recipe: no mean of them is surer.
    v = grown.shared[table.LAB].to_numpy(float)
    own = table.covariances(grown.readings)[0] - v.T @ v
    assert own == pytest.approx(0.09 * np.eye(3), abs=1e-9)
    assert np.sqrt(np.trace(v.T @ v)) > 1
    assert set(grown.shared["scope"]) == {"recipe"}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("W01 45 12", "line 1"),
        ("W01 45 12 -4\nW02 145 0 0", "line 2: L[*] is 145, expected 0 to 100"),
        ("45 12 4", "names no swatch"),
        ("", "nothing is written"),
        ("W01 a b c", "three numbers"),
    ],
)
def test_a_typed_line_that_cannot_be_is_named(text, said):
    with pytest.raises(InputError, match=said):
        read.typed_lines(text, illuminant="D65", observer=10)


@pytest.mark.parametrize(
    "line",
    ["W07 45.2 12 -4.1", "W07: 45,2; 12; -4,1", "W07, 45.2, 12, -4.1", "W07 = 45.2\t12\t−4.1"],
)
def test_a_typed_line_is_taken_however_its_parts_are_parted(line):
    made = read.typed_lines(line, illuminant="D65", observer=10)
    assert made[["sample", "L", "a", "b"]].values.tolist() == [["W07", 45.2, 12.0, -4.1]]


def test_the_example_is_left_alone_and_strangers_are_refused(mine, tmp_path):
    panel = instrument.panel(mine)
    panel.choices["typed"].value = "Q99 45 12 -4"
    panel.actions["instrument.add"].click()
    assert "Say which is which" in panel.told.value
    panel = instrument.panel(synth.example())
    panel.choices["typed"].value = "W01 45 12 -4"
    panel.actions["instrument.add"].click()
    assert "example stays as it is" in panel.told.value


def test_values_of_no_swatch_here_are_named(mine):
    panel = instrument.panel(mine)
    panel.choices["typed"].value = "Z9 40 1 2"
    assert "Z9" in panel.below.value
