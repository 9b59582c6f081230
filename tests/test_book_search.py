"""Search by words: a small book of invented swatches, each answer counted by hand."""

import contextlib

import numpy as np
import pandas as pd
import pytest

from dyelab import book, synth
from dyelab.errors import InputError

ROWS = [
    # swatch, fibre, tannin, mordant, dye, iron, L, note
    ("K-01", "cotton", "gallnut", 15, "madder", 0, 45.0, ""),
    ("K-02", "cotton", "gallnut", 15, "madder", 2, 38.0, "uneven"),
    ("K-03", "cotton", "", 15, "weld", 4, 60.0, ""),
    ("K-04", "wool", "", 12, "weld", 1, 62.0, "from the cotton field"),
    ("K-05", "wool", "pomegranate rind", 15, "", 3, 30.0, ""),
    ("K-06", "wool", "", 0, "indigo", 0, 25.0, ""),
]


@pytest.fixture(scope="module")
def bk(tmp_path_factory):
    made = book.create(tmp_path_factory.mktemp("search") / "b")
    steps = []
    for swatch, _, tannin, alum, dye, iron, _, _ in ROWS:
        wanted = [("tannin", tannin, 8), ("mordant", "potash alum" if alum else "", alum)]
        wanted += [("vat" if dye == "indigo" else "dye", dye, 50)]
        wanted += [("modifier", "ferrous sulfate" if iron else "", iron)]
        done = [step for step in wanted if step[1]]
        steps += [(swatch, i, *step, "% WOF") for i, step in enumerate(done, start=1)]
    columns = ["swatch", "order", "kind", "material", "amount", "unit"]
    return book.add(
        made,
        swatches=pd.DataFrame([{"swatch": r[0], "fibre": r[1], "note": r[7]} for r in ROWS]),
        steps=pd.DataFrame(steps, columns=columns),
        readings=pd.DataFrame(
            [(f"R{r[0]}", r[0], "none", "typed", "D65", 10, r[6], 10, 10) for r in ROWS],
            columns=["reading", "swatch", "exposure", "method", "illuminant", "observer", *"Lab"],
        ),
    )


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("", "123456"),
        ("cotton, iron between 1 and 3", "2"),
        ("iron between 1 and 3", "245"),
        ("iron 1 to 3", "245"),
        ("iron at least 3 %", "35"),
        ("iron above 3", "3"),
        ("iron at most 2", "24"),
        ("iron below 3", "24"),
        ("iron 2", "2"),
        ("iron", "2345"),
        ("no iron", "16"),
        ("madder or weld, no tannin", "34"),
        ("weld and wool", "4"),
        ("with tannin", "125"),
        ("without mordant", "6"),
        ("alum 12", "4"),
        ("alum between 13 and 20, wool", "5"),
        ("tannin above 5", "125"),
        ("L below 40", "256"),
        ("lightness between 40 and 61", "13"),
        ("undyed", "5"),
        ("vat", "6"),
        ("pomegranate", "5"),
        ("uneven", "2"),
        ('"cotton field"', "4"),
        ("K-03", "3"),
        ("Cotton swatches dyed with MADDER", "12"),
    ],
)
def test_words_find_what_they_say(bk, text, found):
    assert [code[-1] for code in book.search(bk, text)["swatch"]] == list(found)


def test_a_word_that_is_nowhere_is_refused_with_the_nearest(bk):
    with pytest.raises(InputError, match=r"no swatch here says 'maddar'. Did you mean 'madder'"):
        book.search(bk, "cotton, maddar")
    with pytest.raises(InputError, match=r"Write like: cotton, iron between 1 and 3"):
        book.search(bk, "zzz above 3")
    steps = bk.steps.assign(material=bk.steps["material"].replace("ferrous sulfate", "tin"))
    with pytest.raises(InputError, match=r"Write like: cotton, \w+ between 1 and 3") as refusal:
        book.search(book.change(bk, steps=steps), "zzz above 3")
    assert "iron between" not in str(refusal.value)


@pytest.mark.parametrize("text", ["(((", "iron between", "a*b+[", "%", "no", "or", "iron above x"])
def test_odd_input_is_refused_in_words_or_finds_nothing(bk, text):
    with contextlib.suppress(InputError):
        assert len(book.search(bk, text)) <= len(ROWS)


def test_a_dye_is_meant_before_a_series_that_bears_its_name(tmp_path):
    rows = pd.DataFrame({"swatch": ["A", "B"], "series": ["madder", "other"], "fibre": "wool"})
    steps = pd.DataFrame({"swatch": ["A", "B"], "order": 1, "kind": "dye"})
    steps["material"] = ["weld", "madder"]
    bk = book.add(book.create(tmp_path / "b"), swatches=rows, steps=steps)
    assert list(book.search(bk, "madder")["swatch"]) == ["B"]
    assert list(book.search(bk, "series madder")["swatch"]) == ["A"]


def test_a_decimal_comma_finds_what_a_point_finds():
    bk = book.open(synth.example())
    for text in ("iron 0.5", "iron 0.5, cotton", "iron between 0.5 and 2.5", "L below 40.5"):
        points, commas = book.search(bk, text), book.search(bk, text.replace(".", ","))
        assert len(points) > 0
        assert list(points["swatch"]) == list(commas["swatch"])


def test_negative_colours_and_unknown_doses_are_found(tmp_path):
    codes = pd.DataFrame({"swatch": ["A", "B", "C"]})
    readings = codes.assign(reading=codes["swatch"], exposure="none", method="typed")
    readings = readings.assign(illuminant="D65", observer=10, L=40.0, a=[-6.0, 2.0, 9.0], b=-20.5)
    steps = pd.DataFrame({"swatch": ["A", "B"], "order": 1, "kind": "modifier"})
    steps = steps.assign(material="ferrous sulfate", amount=[2.0, None], unit=["% WOF", ""])
    bk = book.add(book.create(tmp_path / "b"), swatches=codes, steps=steps, readings=readings)
    for text, found in {
        "a below -5": "A",
        "a at most 5": "AB",
        "a between -7 and 3": "AB",
        "a -7 to −5": "A",
        "b above -21": "ABC",
        "iron": "AB",
        "no iron": "C",
        "iron at least 1": "A",
    }.items():
        assert "".join(book.search(bk, text)["swatch"]) == found, text


def test_a_sum_of_doses_is_unknown_if_one_is(tmp_path):
    steps = pd.DataFrame({"swatch": "A", "order": [1, 2], "kind": "mordant"})
    steps["material"] = ["potash alum", "aluminium acetate"]
    steps = steps.assign(amount=[15.0, None], unit=["% WOF", ""])
    bk = book.add(
        book.create(tmp_path / "b"), swatches=pd.DataFrame({"swatch": ["A"]}), steps=steps
    )
    assert np.isnan(book.recipes(bk)["mordant_wof"].iloc[0])
