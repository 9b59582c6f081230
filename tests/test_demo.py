"""The demo: the whole job on the shipped example, and never over somebody's own work."""

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from worlds import synth

from dyelab import book, convert, grade
from dyelab.cli import demo_, terminal_text
from dyelab.cli.whole_folder import fresh
from dyelab.errors import InputError

ROOT = Path(__file__).parents[1]
LAB = ["L", "a", "b"]


def run(*arguments, cwd):
    """Run the command as a user does, elsewhere than in the checkout."""
    return subprocess.run(
        [sys.executable, "-m", "dyelab", "demo", *arguments],
        cwd=cwd,
        capture_output=True,
        text=True,
        encoding="utf-8",
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"},
    )


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    cwd = tmp_path_factory.mktemp("elsewhere")
    return run(cwd=cwd), cwd / "dyelab-demo"


@pytest.fixture(scope="module")
def example():
    return book.wide(book.open(synth.example()))


@pytest.fixture(scope="module")
def asked():
    return demo_.find(book.open(synth.example()))


@pytest.mark.slow
def test_the_demo_ends_well_and_names_its_files(done):
    result, folder = done
    assert result.returncode == 0, result.stderr
    assert "Traceback" not in result.stderr
    assert "setting the page" in result.stderr  # progress
    listed = re.findall(r"^  (\S+)  ", result.stdout.split("Files written")[1], flags=re.M)
    assert len(listed) >= 4
    assert all((folder / name).exists() for name in listed)
    assert {p.name for p in folder.iterdir()} == {n.rstrip("/") for n in listed} | {".dyelab-demo"}


@pytest.mark.slow
def test_the_demo_says_what_the_example_holds(done, example):
    said = " ".join(done[0].stdout.split())
    assert "invented" in said
    swatches, readings = example["swatch"].nunique() + 24, len(example) + 24  # those by phone
    assert f"{swatches} swatches, {readings} readings" in said
    for source in ("wool_as_dyed.txt", "cotton_as_dyed.cxf", "washed.xlsx", "light.csv"):
        assert source in said


@pytest.mark.slow
def test_the_numbers_said_are_those_of_the_book(done):
    """ΔE00 of madder on alumed wool, worked out here from the book's own readings."""
    result, folder = done
    wide = book.wide(book.open(folder / "book"))
    wool = wide[(wide["exposure"] == "none") & (wide["part"] == "swatch")]
    wool = wool[wool["method"] == "spectral"]
    wool = wool[(wool["fibre"] == "wool") & (wool["dye"] == "madder")]
    wool = wool[(wool["mordant"] == "potash alum") & (wool["copper_wof"] == 0)]
    wool = wool[(wool["dye_wof"] == 50) & (wool["mordant_wof"] == 15)]  # the usual doses
    before, after = (wool.loc[wool["iron_wof"] == d, LAB].mean().to_numpy() for d in (0.0, 2.0))
    distance = float(convert.dE00(before, after))
    said = " ".join(result.stdout.split())
    assert f"madder 50 % on wool with potash alum 15 % {distance:.1f} (" in said
    metals = pd.read_csv(folder / "metals.csv")
    row = metals[
        (metals["dye"] == "madder 50 %") & (metals["metal"] == "iron") & (metals["dose"] == 2)
    ]
    row = row[row["cloth"] == "wool with potash alum 15 %"].iloc[0]
    assert row["dE00"] == pytest.approx(distance, abs=1e-3)
    assert row["dE00_low"] < distance < row["dE00_high"]


@pytest.mark.slow
def test_the_photo_is_held_against_the_instrument(done):
    """The distances said, worked out here from the book the demo made."""
    result, folder = done
    bk = book.open(folder / "book")
    assert set(bk.readings["method"]) == {"spectral", "photo"}
    read = bk.readings[bk.readings["method"] == "photo"].set_index("swatch")[LAB]
    spectra = pd.read_csv(synth.sources() / "photos" / "by_instrument.csv", index_col="sample")
    lab = convert.spectrum_to_lab(synth.WAVELENGTHS, spectra.loc[read.index].to_numpy())
    off = convert.dE00(lab, read.to_numpy())
    said = " ".join(result.stdout.split())
    assert f"half lie within ΔE00 {np.median(off):.1f} of the instrument" in said
    assert f"all within {off.max():.1f}" in said
    assert len(list((folder / "book" / "photos").iterdir())) == 1
    assert len(list((folder / "overlays").iterdir())) == 1


@pytest.mark.slow
def test_the_demo_shows_where_the_quick_answer_is_wrong(done):
    said = " ".join(done[0].stdout.split("Where the quick answer is wrong")[1].split())
    assert "weld 50 % on cotton, pomegranate rind 8 %" in said
    assert "the tannin's" in said


@pytest.mark.slow
def test_the_page_is_a_pdf(done):
    content = (done[1] / "what_iron_did.pdf").read_bytes()
    assert content.startswith(b"%PDF-")
    assert len(content) > 10_000


@pytest.mark.slow
def test_the_book_it_makes_is_sound_and_open(done):
    folder = done[1] / "book"
    assert book.check(folder).empty
    package = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    assert {r["name"] for r in package["resources"]} >= {"swatches", "steps", "readings"}


@pytest.mark.slow
def test_the_demo_never_runs_over_work(done, tmp_path):
    shutil.copytree(done[1], tmp_path / "mine")
    notes = tmp_path / "mine" / "notes.txt"
    notes.write_text("mine")
    again = run("--to", "mine", cwd=tmp_path)
    assert again.returncode == 1
    assert again.stderr.startswith("dyelab: mine holds work of yours (notes.txt is new")
    assert "Traceback" not in again.stderr
    assert again.stdout == ""
    assert notes.read_text() == "mine"


def said_like(text):
    """An interval in words, with the value inside."""
    value, low, high = map(float, re.fullmatch(r"(\S+) \((\S+) to (\S+)\)", text).groups())
    return low <= value <= high


@pytest.mark.parametrize("columns", [40, 80, 200])
def test_lines_keep_within_the_terminal_and_lose_no_word(monkeypatch, columns):
    monkeypatch.setenv("COLUMNS", str(columns))
    rows = [["a", "12.5", "long words " * 12], ["bcd", "3", "short"], ["", "", ""]]
    made = list(terminal_text.columns(rows))
    assert " ".join(" ".join(made).split()) == " ".join(" ".join(map(" ".join, rows)).split())
    assert max(map(len, made)) <= max(columns, 40)
    assert made[0].index("12.5") == next(m for m in made if "bcd" in m).index("3")
    assert terminal_text.sentence("word " * 60, indent=2).startswith("  word")
    assert max(map(len, terminal_text.sentence("word " * 60).split("\n"))) <= min(columns, 100)


def test_a_swatch_is_graded_against_itself(example, asked):
    held = asked.held[(asked.held["swatch"] == "W02") & (asked.held["amount"] == 10)].iloc[0]
    readings = example.set_index("reading")
    fresh, washed = (readings.loc[name, LAB].to_numpy(float) for name in ("W02", "W02-w10"))
    assert held["exposure"] == "wash"
    assert held["dE76"] == pytest.approx(np.linalg.norm(washed - fresh))
    row = demo_.grades(asked).set_index("cloth").loc["madder 50 % on wool, potash alum 15 %"]
    grade_after = grade.change_grade(fresh, washed)["change_grade"].iloc[0]
    assert row["after 10 washes"].startswith(grade_after)
    assert said_like(row["fades_like"])
    assert (asked.held["part"] == "swatch").all()
    assert not asked.held["fibre"].isna().any()


def fill(folder, text="one"):
    with fresh(folder) as made:
        (made / "book").mkdir()
        (made / "book" / "swatches.csv").write_text(text)


def stumble(folder):
    with fresh(folder) as made:
        (made / "half").write_text("half")
        raise RuntimeError


def listing(folder):
    return sorted(p.name for p in folder.iterdir())


def test_a_folder_is_made_and_made_again(tmp_path):
    fill(tmp_path / "out")
    fill(tmp_path / "out", "two")
    assert (tmp_path / "out" / "book" / "swatches.csv").read_text() == "two"
    assert listing(tmp_path) == ["out"]


def test_an_empty_folder_is_taken(tmp_path):
    (tmp_path / "out").mkdir()
    fill(tmp_path / "out")
    assert listing(tmp_path / "out") == [".dyelab-demo", "book"]


def test_a_folder_of_other_things_is_left_alone(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(InputError, match=r"isn't a demo folder.*another folder with --to"):
        fill(tmp_path)
    assert listing(tmp_path) == ["notes.txt"]


@pytest.mark.parametrize("name", ["book/swatches.csv", "book/notes.txt"])
def test_changed_and_added_files_are_left_alone(tmp_path, name):
    fill(tmp_path / "out")
    (tmp_path / "out" / name).write_text("mine")
    with pytest.raises(InputError, match=rf"holds work of yours \({name} is new or changed\)"):
        fill(tmp_path / "out", "two")
    assert (tmp_path / "out" / name).read_text() == "mine"


def test_a_file_in_the_way_is_left_alone(tmp_path):
    (tmp_path / "out").write_text("mine")
    with pytest.raises(InputError, match="is a file, not a folder"):
        fill(tmp_path / "out")
    assert (tmp_path / "out").read_text() == "mine"


def test_a_failure_leaves_the_old_folder_and_nothing_else(tmp_path):
    fill(tmp_path / "out")
    with pytest.raises(RuntimeError):
        stumble(tmp_path / "out")
    assert listing(tmp_path) == ["out"]
    assert (tmp_path / "out" / "book" / "swatches.csv").read_text() == "one"
