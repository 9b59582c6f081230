"""Guess, then see: the page is one file with the cloths in it; guesses are read and judged."""

import json
import re

import numpy as np
import pandas as pd
import pytest

from dyelab import book, convert, shift
from dyelab.handout import guess
from dyelab.panel import guess as panel_of_guesses


@pytest.fixture
def page(source):
    return guess.guess_page(source, metal="iron", count=4, note="<script>alert(1)</script>")


def data_of(page):
    return json.loads(re.search(r"const DATA = (.*);\n", page).group(1))


def test_the_page_is_one_small_file_that_asks_nothing_of_a_network(page):
    assert len(page.encode()) < 400_000
    assert "default-src 'none'" in page
    assert re.findall(r"(?:src|href)=[\"']?(?!data:)\w", page) == []
    assert "<script>alert" not in page


def test_its_cloths_are_those_of_the_printed_worksheet(page, source):
    told = data_of(page)["questions"]
    assert len(told) == 4
    made = source.made.set_index("swatch")
    for one in told:
        row = made.loc[next(code for code in made.index if one["key"] in code.split(", "))]
        assert one["after"] == pytest.approx(row[["L", "a", "b"]].tolist(), abs=0.006)


def test_its_matrix_shows_a_colour_as_the_chips_do(page, source):
    held = data_of(page)
    rng = np.random.default_rng(5)
    lab = np.column_stack([rng.uniform(5, 95, 50), rng.uniform(-60, 60, (50, 2))])
    xyz = convert.lab_to_xyz(lab, convert.white(*source.white)) / 100
    shown = xyz @ np.array(held["matrix"]).T
    wanted = convert.screen_light(lab, illuminant=source.white[0], observer=source.white[1])
    assert shown == pytest.approx(wanted, abs=1e-9)


def test_guesses_are_read_in_any_order_and_odd_lines_are_named():
    text = "student,question,swatch,L,a,b\nAda,1,W05,40,10,5\nnonsense\nAda,1,W05,41,10,5\n"
    guesses, left = shift.read_guesses(text + "Bo,2,W06,200,0,0\n")
    assert guesses.to_dict("records") == [
        {"student": "Ada", "question": 1, "swatch": "W05", "L": 41.0, "a": 10.0, "b": 5.0}
    ]
    assert left == ["nonsense", "Bo,2,W06,200,0,0"]


def test_a_guess_is_judged_against_the_measured_cloth(source):
    asked = guess.questions(source, metal="iron", count=3)
    one = asked[0]
    text = f"Ada,1,{one.key},{one.after[0]},{one.after[1]},{one.after[2]}\n"
    text += f"Bo,1,{one.key},{one.before[0]},{one.before[1]},{one.before[2]}\n"
    judged = shift.judge_guesses(shift.read_guesses(text)[0], asked)
    far = float(convert.dE00(one.after, one.before))
    assert judged["dE00"].tolist() == pytest.approx([0, far], abs=1e-6)
    assert shift.class_mean(judged, asked)["students"].tolist() == [2]


def test_a_book_without_pairs_says_what_to_dye(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    lab = {"L": 40.0, "a": 30.0, "b": 20.0, "illuminant": "D65", "observer": 10}
    reading = {"reading": "r", "swatch": "A", "exposure": "none", "method": "typed", **lab}
    bk = book.add(book.create(tmp_path / "own"), swatches=pd.DataFrame([{"swatch": "A"}]))
    panel = panel_of_guesses.panel(book.save(book.add(bk, readings=pd.DataFrame([reading]))))
    assert "No two swatches in this book differ in iron alone" in panel.answer.value
    panel.actions["guess.write"].click()
    assert "Dye one cloth with iron and its twin without" in panel.told.value


def test_the_panel_writes_the_page_and_gathers_the_class(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel = panel_of_guesses.panel()
    assert "No guesses yet" in panel.sentence
    panel.actions["guess.write"].click()
    (written,) = (tmp_path / "saved").glob("guess-iron-*.html")
    assert written.name in panel.told.value
    key = data_of(written.read_text())["questions"][0]["key"]
    panel.choices["given"].value = f"Ada,1,{key},40,10,5\nBo,1,{key},50,8,6\n"
    assert "2 guesses by 2 students on 1 cloth." in panel.sentence
    assert len(panel.shown.table) == 2
