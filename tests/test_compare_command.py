"""``dyelab compare`` from the outside: published pairs through it, and every kind of bad input."""

import re
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dyelab import cli

PUBLISHED = Path(__file__).parent / "published"
HEAD = "sample,L,a,b,illuminant,observer,u_L,u_a,u_b"
GOOD = f"{HEAD}\nalum,50,10,20,D65,10,0.2,0.2,0.2\niron,35,5,10,D65,10,0.2,0.2,0.2\n"
COLUMNS = [
    "reference",
    "sample",
    "dL",
    "da",
    "db",
    "dC",
    "dH",
    "dE76",
    "dE00",
    "dECMC",
    "dE00_low",
    "dE00_high",
    "verdict",
    "change_value",
    "change_grade",
    "staining_value",
    "staining_grade",
]


@pytest.fixture
def dyelab(monkeypatch, capsys, tmp_path):
    """Run a command in an empty folder: (exit code, standard error)."""
    monkeypatch.chdir(tmp_path)

    def run(*arguments):
        monkeypatch.setattr(sys, "argv", ["dyelab", *map(str, arguments)])
        try:
            cli.main()
        except SystemExit as ended:
            return ended.code or 0, capsys.readouterr().err
        return 0, capsys.readouterr().err

    return run


def compared(dyelab, text, *arguments, name="in.csv"):
    Path(name).write_text(text, encoding="utf-8")
    code, said = dyelab("compare", name, *arguments, "-o", "out.csv")
    assert code == 0, said
    return pd.read_csv("out.csv", dtype={"change_grade": str, "staining_grade": str}), said


def test_sharmas_pairs_to_four_decimals(dyelab):
    pairs = pd.read_csv(PUBLISHED / "sharma_2005.csv", comment="#")
    names = [[f"{k}{n}" for n in pairs["pair"]] for k in "rs"]
    rows = [
        f"{name},{row[0]},{row[1]},{row[2]},D65,2"
        for k, side in enumerate(names, 1)
        for name, row in zip(side, pairs[[f"L{k}", f"a{k}", f"b{k}"]].to_numpy(), strict=True)
    ]
    Path("pairs.csv").write_text(
        "reference,sample\n" + "\n".join(",".join(pair) for pair in zip(*names, strict=True))
    )
    text = "\n".join(["sample,L,a,b,illuminant,observer", *rows])
    result, _ = compared(dyelab, text, "--pairs", "pairs.csv")
    assert result.columns.to_list() == COLUMNS
    np.testing.assert_array_equal(result["dE00"].round(4), pairs["dE00"])
    assert result["dE00"].round(4).sum() == pytest.approx(183.1864)


@pytest.mark.parametrize(
    ("nominal", "column"),
    [
        # ISO 105-A02, table 1 (seen in EN 20105-A02:1994) and ISO 105-A03 (from memory).
        ((0, 0.8, 1.7, 2.5, 3.4, 4.8, 6.8, 9.6, 13.6), "change_grade"),
        ((0, 2.2, 4.3, 6.0, 8.5, 12.0, 16.9, 24.0, 34.1), "staining_grade"),
    ],
)
def test_grey_scale_nominals_to_their_grades(dyelab, nominal, column):
    grades = ["5", "4-5", "4", "3-4", "3", "2-3", "2", "1-2", "1"]
    rows = [f"g{i},{40 + step},0,0" for i, step in enumerate(nominal)]
    text = "\n".join(["sample,L,a,b", "grey,40,0,0", *rows])
    result, _ = compared(dyelab, text, "--reference", "grey")
    assert result[column].to_list() == grades


def test_differences_are_sample_minus_reference(dyelab):
    result, _ = compared(dyelab, GOOD, "--reference", "alum")
    assert (result["reference"][0], result["sample"][0]) == ("alum", "iron")
    assert result.loc[0, ["dL", "da", "db"]].to_list() == [-15, -5, -10]
    assert result.loc[0, "dC"] == pytest.approx(-np.hypot(5, 10))
    assert result["dE00_low"][0] < result["dE00"][0] < result["dE00_high"][0]
    assert result["verdict"][0] == "real"


def test_without_uncertainties_nothing_is_claimed(dyelab):
    result, said = compared(dyelab, "sample,L,a,b\nx,50,0,0\ny,60,0,0\n", "--reference", "x")
    assert result[["dE00_low", "dE00_high"]].isna().all(axis=None)
    assert result["verdict"][0] == "can't tell: no replicates"
    assert "no illuminant and observer are stated" in said


def test_replicates_are_told_apart_by_swatch(dyelab):
    rows = [f"{v},{v}{i},{50 + i / 5},{a},0" for v, a in (("x", 0), ("y", 9)) for i in range(3)]
    result, _ = compared(dyelab, "\n".join(["sample,swatch,L,a,b", *rows]), "--reference", "x")
    assert len(result) == 1
    assert result["verdict"][0] == "real, if each had its own pot"  # no bath is recorded


def test_many_comparisons_are_allowed_for_and_it_says_so(dyelab):
    rows = [f"s{i},{50 + 0.55 * (i > 0)},0,0,D65,10,0.2,0.2,0.2" for i in range(21)]
    one, _ = compared(dyelab, "\n".join([HEAD, *rows[:2]]), "--reference", "s0")
    many, said = compared(dyelab, "\n".join([HEAD, *rows]), "--reference", "s0")
    assert "allow for 20 comparisons" in said
    assert set(many["verdict"]) == {"could be chance"}
    assert one["dE00_low"][0] == pytest.approx(many["dE00_low"][0])


BAD = {
    "empty": (b"", "the file is empty"),
    "blank": (b"  \n\n", "the file is empty"),
    "heading only": (b"sample,L,a,b\n", "no rows. Add at least one"),
    "truncated": (GOOD.encode()[:-22], r"row 3: 4 cells, the heading has 9"),
    "open quote": (b'sample,L,a,b\n"x,50,1,2\ny,51,1,2\n', "quotation mark is left open"),
    "binary": (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "binary data, not text"),
    "latin": ("sample,L,a,b\ngarancé,50,1,2\n".encode("latin-1"), "row 2: byte 0xe9"),
    "count": (b"sample,L,a,b\nx,50,1\ny,51,1,2\n", "row 2: 3 cells, the heading has 4"),
    "word": (b"sample,L,a,b\nx,dark,1,2\ny,51,1,2\n", r"row 2 \(x\): L = dark is not a number"),
    "comma": (b"sample;L;a;b\nx;50,5;1;2\ny;51;1;2\n", "Use a point, not a comma"),
    "duplicate": (b"sample,L,a,b\nx,50,1,2\nx,51,1,2\n", "row 3 .*x is there twice"),
    "RGB": (b"sample,L,a,b\nx,212,1,2\ny,51,1,2\n", "outside 0 to 100. Is this an RGB"),
    "negative u": (b"sample,L,a,b,u_L,u_a,u_b\nx,1,1,2,-1,1,1\ny,51,1,2,1,1,1\n", "u_L = -1"),
    "infinite": (b"sample,L,a,b\nx,inf,1,2\ny,51,1,2\n", "L = inf is not a number"),
    "no column": (b"sample,L,a\nx,50,1\n", "no column b. Found: sample, L, a"),
    "two whites": (
        b"sample,L,a,b,illuminant,observer\nx,50,1,2,D65,10\ny,51,1,2,D50,2\n",
        "can't compare D65/10° with D50/2°. Bring both to one white",
    ),
    "half a white": (
        b"sample,L,a,b,illuminant,observer\nx,50,1,2,D65,10\ny,51,1,2,,\n",
        "blank for y, and stated for others",
    ),
    "no reference": (b"sample,L,a,b\nxx,50,1,2\ny,51,1,2\n", "Did you mean 'xx'"),
    "nothing to compare": (b"sample,L,a,b\nx,50,1,2\n", "the only sample here"),
}


@pytest.mark.parametrize("kind", BAD)
def test_bad_input_gives_one_message_and_no_file(dyelab, kind):
    content, expected = BAD[kind]
    Path("in.csv").write_bytes(content)
    code, said = dyelab("compare", "in.csv", "--reference", "x", "-o", "out.csv")
    assert code == 1
    assert "Traceback" not in said
    assert len([line for line in said.splitlines() if line.startswith("dyelab: ")]) == 1
    assert re.search(expected, said), said
    assert sorted(path.name for path in Path().iterdir()) == ["in.csv"]


def test_skip_bad_keeps_good_rows_and_names_the_others(dyelab):
    text = "sample,L,a,b\nx,50,1,2\nbad,dark,1,2\nlong,1,2,3,4\ny,51,1,2\n"
    result, said = compared(dyelab, text, "--reference", "x", "--skip-bad")
    assert result["sample"].to_list() == ["y"]
    assert "left out: in.csv row 3 (bad): L = dark" in said
    assert "left out: in.csv row 4: 5 cells" in said


def test_an_unknown_sample_in_the_pairs_is_named(dyelab):
    Path("pairs.csv").write_text("reference,sample\nalum,iron\nalum,irony\n")
    Path("in.csv").write_text(GOOD)
    code, said = dyelab("compare", "in.csv", "--pairs", "pairs.csv", "-o", "out.csv")
    assert (code, Path("out.csv").exists()) == (1, False)
    assert "Did you mean 'iron'" in said
    result, said = compared(dyelab, GOOD, "--pairs", "pairs.csv", "--skip-bad")
    assert len(result) == 1
    assert "pair alum, irony names an unknown sample" in said


def test_a_missing_file_is_named(dyelab):
    code, said = dyelab("compare", "nowhere.csv", "--reference", "x", "-o", "out.csv")
    assert code == 1
    assert "nowhere.csv: can't be read" in said


def test_one_of_reference_and_pairs_is_asked_for(dyelab):
    Path("in.csv").write_text(GOOD)
    assert dyelab("compare", "in.csv", "-o", "out.csv")[0] == 2


@pytest.mark.parametrize("over", ["in.csv", "./pairs.csv"])
def test_what_is_read_is_never_written_over(dyelab, over):
    Path("in.csv").write_text(GOOD)
    Path("pairs.csv").write_text("reference,sample\nalum,iron\n")
    code, said = dyelab("compare", "in.csv", "--pairs", "pairs.csv", "-o", over)
    assert code == 1
    assert "would destroy it" in said
    assert Path("in.csv").read_text() == GOOD
    code, said = dyelab("measure", "in.csv", "--target", "average", "-o", "in.csv")
    assert (code, "would destroy it" in said) == (1, True)


def test_pots_are_the_replicates_where_they_are_told(dyelab):
    rows = ["sample,swatch,pot,L,a,b"]
    rows += [f"{n},{n}{i},pot {n}{i * own},{50 + 9 * (n == 'y') + i / 4},20,{10 - i / 4}"
             for n, own in (("x", 1), ("y", 1), ("z", 0)) for i in range(3)]  # fmt: skip
    result, _ = compared(dyelab, "\n".join(rows), "--reference", "x")
    assert result["verdict"].to_list() == ["real", "can't tell: one pot each"]


def test_names_a_spreadsheet_would_run_are_neutralised(dyelab):
    result, _ = compared(dyelab, "sample,L,a,b\n=1+1,50,1,2\ny,51,1,2\n", "--reference", "y")
    assert result["sample"][0] == "'=1+1"
