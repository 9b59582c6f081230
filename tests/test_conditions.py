"""Readings under conditions that clash are never paired; every panel and page answers alike."""

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from dyelab import book, convert, grade, shift, table
from dyelab.cli.compare_ import command
from dyelab.handout import colours
from dyelab.panel import compare as compare_panel
from dyelab.predict import training

BASE = np.array([[55.0, 30, 20], [38.0, 12, 9]])  # invented: madder without and with iron
IRON = [("dye", "madder", 50.0), ("modifier", "ferrous sulfate", 2.0)]
KINDS = {
    "sphere and 45/0": ({"geometry": "45/0"}, {"geometry": "d/8", "specular": "in"}),
    "M0 and M1": ({"m_condition": "M0"}, {"m_condition": "M1"}),
    "instrument and photo": ({}, {"method": "photo"}),
    "own and adapted": ({}, {"flags": "adapted"}),
}


def mixed(path, first, second, moved=1.5, pieces=3):
    """A book whose cloths were read twice, in two ways; the second reads lighter by `moved`."""
    rng = np.random.default_rng(3)
    codes = [f"{'AB'[i]}{n}" for i in (0, 1) for n in range(pieces)]
    steps = [
        {"swatch": code, "order": at, "kind": kind, "material": what, "amount": amount}
        for code in codes
        for at, (kind, what, amount) in enumerate(IRON[: 1 + (code[0] == "B")], 1)
    ]
    rows = []
    for code in codes:
        lab = BASE["AB".index(code[0])] + rng.normal(0, 0.2, 3)
        for way, (stated, off) in enumerate(((first, 0.0), (second, moved))):
            rows.append(
                {"reading": f"{code}-{way}", "swatch": code, "exposure": "none"}
                | {"method": "spectral", "illuminant": "D65", "observer": 10}
                | dict(zip(table.LAB, lab + np.array([off, 0, 0]), strict=True))
                | dict.fromkeys(["var_L", "var_a", "var_b"], 0.04)
                | stated
            )
    bk = book.create(path)
    return book.save(
        book.add(
            bk,
            swatches=pd.DataFrame({"swatch": codes, "fibre": "wool", "form": "cloth"}),
            steps=pd.DataFrame(steps).assign(unit="% WOF"),
            readings=pd.DataFrame(rows),
        )
    )


@pytest.mark.parametrize("kind", KINDS)
def test_one_question_has_one_answer_and_says_what_it_used(tmp_path, monkeypatch, kind):
    bk = mixed(tmp_path / "b", *KINDS[kind])
    alone = shift.as_dyed(book.wide(bk)[lambda w: w["reading"].str.endswith("-0")])
    true = shift.of_step(alone, "iron").pairs["dE00"].iloc[0]
    shown = compare_panel.panel(bk)
    assert shown.shown.table["dE00"].tolist() == [round(true, 1)]
    assert any("never averaged or mixed" in note for note in shown.shown.notes)
    source = colours.source(bk)
    on_page = shift.of_step(source.recipes, "iron").pairs["dE00"]
    assert on_page.tolist() == pytest.approx([true], abs=0.01)
    assert any("left out" in note for note in source.notes)
    learned = training.gather(book.wide(bk), None).made  # what the explorer learns from
    ends = learned.sort_values("iron_wof")[table.LAB].to_numpy(float)
    assert convert.dE00(*ends) == pytest.approx(true, abs=0.01)


def test_conditions_that_are_not_stated_clash_with_none():
    rows = pd.DataFrame({"method": "spectral", "geometry": ["45/0", "", "45/0"]})
    assert set(table.reading_ways(rows)) == {"spectral"}
    rows = rows.assign(m_condition=["M1", "", "M2"])
    assert table.reading_ways(rows).tolist() == [
        "spectral, 45/0, M1", "spectral, not stated", "spectral, 45/0, M2",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("before", "after", "flag"),
    [
        ({"geometry": "45/0"}, {"geometry": "d/8"}, "geometry_changed"),
        ({"m_condition": "M0"}, {"m_condition": "M1"}, "conditions_changed"),
        ({"layers": 1}, {"layers": 4}, "conditions_changed"),
        ({"backing": "white"}, {"backing": "black"}, "conditions_changed"),
        ({"geometry": "45/0"}, {}, ""),
    ],
)
def test_a_grade_across_conditions_is_not_promised(before, after, flag):
    both = [("none", 50.0, before), ("wash", 52.0, after)]
    rows = pd.DataFrame(
        [
            {"reading": name, "swatch": "W1", "part": "swatch", "exposure": name}
            | {"amount": 5.0 if name == "wash" else np.nan, "unit": "cycle", "L": L, "a": 5.0}
            | {"b": 5.0, "illuminant": "D65", "observer": 10, "method": "spectral", **stated}
            for name, L, stated in both
        ]
    )
    graded = grade.grades(grade.pair(rows))
    assert graded["flags"].iloc[0] == flag


def test_a_page_says_once_how_its_colours_were_read(tmp_path):
    bk = mixed(tmp_path / "b", *KINDS["sphere and 45/0"])
    source = colours.source(bk)
    assert source.how == "read by spectrophotometer, 45/0"


def test_compare_by_command_says_that_conditions_differ(tmp_path):
    source = tmp_path / "in.csv"
    source.write_text(
        "sample,L,a,b,illuminant,observer,geometry\nK,50,1,2,D65,10,45/0\nM,52,1,2,D65,10,d/8\n"
    )
    out = tmp_path / "out.csv"
    said = CliRunner().invoke(
        command, [str(source), "--reference", "K", "-o", str(out)], catch_exceptions=False
    )
    assert "K was read under 45/0, M under d/8" in said.output
