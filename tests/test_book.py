"""The swatch book: what is saved comes back, what is faulty is listed and never lost."""

import os
import subprocess
import sys

import pandas as pd
import pytest
from frictionless import Package

from dyelab import book
from dyelab.errors import InputError

READING = ["reading", "swatch", "exposure", "method", "illuminant", "observer", "L", "a", "b"]
ODD = 'commas, "quotes"\nand a line\r\nmore; Köln, 🌿, مرحبا, =1+1'


def small(path, n=3):
    """A book of invented swatches: wool and cotton, alum, iron."""
    bk = book.create(path, "Invented")
    codes = [f"K-{i:02}" for i in range(1, n + 1)]
    swatches = pd.DataFrame(
        {"swatch": codes, "fibre": ["wool", "cotton"] * (n // 2) + ["wool"] * (n % 2)}
    ).assign(form="cloth", mass_g=5.0, made_on="2026-04-30", note=ODD)
    steps = pd.DataFrame(
        [
            (code, order, *step)
            for code in codes
            for order, step in enumerate(
                [
                    ("tannin", "gallnut", 8.0, "% WOF"),
                    ("mordant", "alum", 0.75, "g"),
                    ("dye", "madder", 50.0, "% WOF"),
                    ("modifier", "iron", 2.0, "% WOF"),
                ],
                start=1,
            )
        ],
        columns=["swatch", "order", "kind", "material", "amount", "unit"],
    )
    readings = pd.DataFrame(
        [
            (f"R{i}", code, "none", "typed", "D65", 10, 50 + i / 7, 20.1, 10.0)
            for i, code in enumerate(codes)
        ],
        columns=READING,
    )
    spectra = pd.DataFrame({"reading": readings["reading"], "400": 0.1 + 0.2, "410": 1.0 / 3})
    return book.save(
        book.add(bk, swatches=swatches, steps=steps, readings=readings, spectra=spectra)
    )


def same(one, two):
    for name, frame in book.tables(one).items():
        pd.testing.assert_frame_equal(frame, getattr(two, name))


def valid(path):
    report = Package(str(path / "datapackage.json")).validate()
    return report.valid or report.flatten(["title", "fieldName", "message"])


def test_what_is_saved_comes_back(tmp_path):
    bk = small(tmp_path / "b")
    again = book.open(tmp_path / "b")
    same(bk, again)
    assert again.title == "Invented"
    assert again.faults.empty
    assert valid(tmp_path / "b") is True


def test_a_new_book_is_valid_and_a_full_folder_is_refused(tmp_path):
    book.create(tmp_path / "b")
    assert valid(tmp_path / "b") is True
    with pytest.raises(InputError, match=r"not empty.*open its book"):
        book.create(tmp_path / "b")


def test_opening_what_is_no_book_says_what_to_do(tmp_path):
    with pytest.raises(InputError, match=r"no such folder.*dyelab open"):
        book.open(tmp_path / "nowhere")
    with pytest.raises(InputError, match=r"no swatches.csv"):
        book.open(tmp_path)


def test_recipes_give_one_row_a_swatch(tmp_path):
    row = book.recipes(small(tmp_path / "b")).iloc[0]
    expected = {
        "swatch": "K-01",
        "fibre": "wool",
        "tannin": "gallnut",
        "tannin_wof": 8.0,
        "mordant": "potash alum",
        "mordant_wof": 15.0,  # 0.75 g on 5 g of fibre
        "dye": "madder",
        "dye_wof": 50.0,
        "vat": False,
        "iron_wof": 2.0,
        "copper_wof": 0.0,
        "modifier": "none",
    }
    assert {name: row[name] for name in expected} == expected


def test_iron_alone_is_the_mordant_and_a_bare_swatch_is_none(tmp_path):
    bk = book.create(tmp_path / "b")
    steps = pd.DataFrame(
        [("A", 1, "mordant", "iron", 2.0, "% WOF"), ("B", 1, "mordant", "iron", 3.0, "g/L")],
        columns=["swatch", "order", "kind", "material", "amount", "unit"],
    ).assign(liquor_ratio=[None, 30])
    bk = book.add(bk, swatches=pd.DataFrame({"swatch": ["A", "B", "C"]}), steps=steps)
    found = book.recipes(bk).set_index("swatch")
    assert found["mordant"].to_list() == ["ferrous sulfate", "ferrous sulfate", "none"]
    assert found["iron_wof"].to_list() == pytest.approx([2.0, 9.0, 0.0])  # 3 g/L x 30 L/kg


def test_areas_of_a_printed_cloth_have_recipes_of_their_own(tmp_path):
    bk = book.create(tmp_path / "b")
    steps = pd.DataFrame(
        [
            ("P", 1, "mordant", "aluminium acetate", 5.0, "% WOF", "leaf"),
            ("P", 1, "mordant", "iron", 2.0, "% WOF", "stem"),
            ("P", 2, "dye", "madder", 30.0, "% WOF", "whole"),
        ],
        columns=["swatch", "order", "kind", "material", "amount", "unit", "area"],
    )
    readings = pd.DataFrame(
        [("R1", "P", "none", "typed", "D65", 10, 50, 1, 1)], columns=READING
    ).assign(area="stem")
    bk = book.add(bk, swatches=pd.DataFrame({"swatch": ["P"]}), steps=steps, readings=readings)
    found = book.areas(bk).set_index("area")
    assert found["dye"].to_dict() == {"whole": "madder", "leaf": "madder", "stem": "madder"}
    assert found.loc["leaf", ["mordant", "iron_wof"]].to_list() == ["aluminium acetate", 0.0]
    assert found.loc["stem", ["mordant", "iron_wof"]].to_list() == ["ferrous sulfate", 2.0]
    assert book.wide(bk)["iron_wof"].to_list() == [2.0]


def test_adding_a_faulty_row_changes_nothing(tmp_path):
    bk = small(tmp_path / "b")
    rows = pd.DataFrame([("R9", "alun", "none", "typed", "D65", 10, 212, 0, 0)], columns=READING)
    with pytest.raises(InputError, match=r"L = 212.* is outside 0 to 100.*RGB"):
        book.add(bk, readings=rows)
    with pytest.raises(InputError, match=r"swatch = alun is not in swatches.csv"):
        book.add(bk, readings=rows.assign(L=21))
    with pytest.raises(InputError, match=r"K-01.*is there twice"):
        book.add(bk, swatches=pd.DataFrame({"swatch": ["K-01"]}))
    with pytest.raises(InputError, match=r"no table 'swatch'.*Did you mean 'swatches'"):
        book.add(bk, swatch=rows)


def edit(path, name, old, new):
    file = path / name
    file.write_text(file.read_text("utf-8").replace(old, new), "utf-8", newline="")


def test_a_broken_row_is_listed_kept_and_hides_nothing(tmp_path):
    path = tmp_path / "b"
    small(path)
    edit(path, "readings.csv", "R1,K-02", "R1,K-99")
    edit(path, "swatches.csv", "K-03,cloth,wool,,5", "K-03,cloth,wool,,about five")
    bk = book.open(path)
    assert bk.readings["reading"].to_list() == ["R0", "R2"]
    assert bk.swatches["swatch"].to_list() == ["K-01", "K-02", "K-03"]
    text = "\n".join(bk.faults["text"])
    assert "swatches.csv row 4 (K-03): mass_g = about five is not a number." in text
    assert "readings.csv row 3 (R1): swatch = K-99 is not in swatches.csv." in text
    more = book.add(bk, swatches=pd.DataFrame({"swatch": ["K-04"]}))
    book.save(more)
    assert valid(path) is True
    again = book.open(path)
    assert {"K-99", "about five"} <= set(again.faults["found"])
    assert "K-99" in (path / "set_aside" / "readings.csv").read_text("utf-8")


def test_a_covariance_that_can_not_be_is_listed_and_taken_as_unknown(tmp_path):
    bk = small(tmp_path / "b")
    good = {"var_L": 0.04, "var_a": 0.04, "var_b": 0.04, "cov_La": 0.03, "cov_Lb": 0.0, "cov_ab": 0}
    bk = book.save(book.change(bk, readings=bk.readings.assign(**good)))
    frame = pd.read_csv(bk.path / "readings.csv", dtype=str, keep_default_na=False)
    frame.loc[1, "cov_La"] = "0.05"
    frame.to_csv(bk.path / "readings.csv", index=False)
    opened = book.open(bk.path)
    assert "a correlation beyond 1" in opened.faults["text"].item()
    assert opened.readings["var_L"].isna().to_list() == [False, True, False]


def test_a_mended_row_comes_back(tmp_path):
    path = tmp_path / "b"
    small(path)
    edit(path, "readings.csv", "R1,K-02", "R1,K-99")
    edit(path, "swatches.csv", "K-03,cloth,wool,,5", "K-03,cloth,wool,,about five")
    book.save(book.open(path))
    edit(path, "set_aside/readings.csv", "K-99", "K-02")
    edit(path, "swatches.csv", "K-03,cloth,wool,,,", "K-03,cloth,wool,,5.0,")
    bk = book.open(path)
    assert bk.faults.empty
    assert sorted(bk.readings["reading"]) == ["R0", "R1", "R2"]
    book.save(bk)
    assert not (path / "set_aside" / "readings.csv").exists()
    assert valid(path) is True


@pytest.mark.parametrize("line", ['R8,K-01,"open,none,,,,typed', "R8" + ",x" * 60])
def test_a_line_that_is_no_row_is_kept(tmp_path, line):
    path = tmp_path / "b"
    small(path)
    text = (path / "readings.csv").read_text("utf-8").splitlines()
    (path / "readings.csv").write_text("\n".join([*text[:2], line, *text[2:]]) + "\n", "utf-8")
    for _ in range(2):
        bk = book.open(path)
        assert bk.readings["reading"].to_list() == ["R0", "R1", "R2"]
        assert "is no row of readings.csv" in bk.faults["text"].item()
        book.save(book.change(bk, swatches=bk.swatches.assign(series="x")))
    assert line in book.open(path).aside.lines["line"].item()
    assert valid(path) is True


def test_a_spreadsheet_with_semicolons_commas_and_its_own_encoding_is_read(tmp_path):
    path = tmp_path / "b"
    small(path)
    frame = pd.read_csv(path / "swatches.csv", dtype=str, keep_default_na=False)
    frame["mass_g"], frame["note"] = "5,25", "Färbung"
    (path / "swatches.csv").write_bytes(frame.to_csv(sep=";", index=False).encode("cp1252"))
    bk = book.open(path)
    assert bk.faults.empty
    assert bk.swatches["mass_g"].to_list() == [5.25] * 3
    assert bk.swatches["note"].to_list() == ["Färbung"] * 3
    assert any("semicolons" in note for note in bk.notes)
    same(book.save(bk), book.open(path))


def test_columns_of_the_users_own_are_kept(tmp_path):
    path = tmp_path / "b"
    bk = small(path)
    bk = book.save(book.change(bk, swatches=bk.swatches.assign(shelf="B3")))
    assert book.open(path).swatches["shelf"].to_list() == ["B3"] * 3
    assert valid(path) is True


def test_undo_and_redo_walk_the_history(tmp_path):
    path = tmp_path / "b"
    small(path)
    book.save(book.remove(book.open(path), ["K-02"]))
    book.save(book.remove(book.open(path), ["K-03"]))
    codes = [list(book.undo(path).swatches["swatch"]) for _ in range(2)]
    assert codes == [["K-01", "K-03"], ["K-01", "K-02", "K-03"]]
    assert list(book.redo(path).swatches["swatch"]) == ["K-01", "K-03"]
    assert list(book.redo(path).swatches["swatch"]) == ["K-01"]
    with pytest.raises(InputError, match=r"nothing to redo"):
        book.redo(path)
    assert len(book.history(path)) == 8
    assert len(book.open_version(path, 2).swatches) == 3


def test_an_edit_by_hand_is_a_version_that_undo_brings_back(tmp_path):
    path = tmp_path / "b"
    small(path)
    edit(path, "swatches.csv", "K-02,cloth,cotton", "K-02,cloth,linen")
    book.save(book.remove(book.open(path), ["K-02"]))
    assert book.undo(path).swatches["fibre"].to_list() == ["wool", "linen", "wool"]
    assert book.undo(path).swatches["fibre"].to_list() == ["wool", "cotton", "wool"]


def test_photos_are_named_by_content_and_checked(tmp_path):
    bk = small(tmp_path / "b")
    (tmp_path / "IMG 1.JPG").write_bytes(b"invented picture")
    bk, source = book.keep_photo(bk, tmp_path / "IMG 1.JPG", swatches=["K-01"])
    bk, again = book.keep_photo(bk, tmp_path / "IMG 1.JPG", swatches=["K-01"])
    bk = book.save(bk)
    assert source == again
    assert [path.read_bytes() for path in book.photos_of(bk, "K-01")] == [b"invented picture"]
    assert book.check(bk.path).empty
    (bk.path / source).write_bytes(b"altered")
    assert "is not the photo it was" in book.check(bk.path)["text"].item()
    assert valid(bk.path) is True


@pytest.mark.parametrize("name", ["../x.jpg", "/etc/passwd", "C:\\x.jpg", "photos/../../x", "~/x"])
def test_a_reference_can_not_leave_the_folder(tmp_path, name):
    bk = small(tmp_path / "b")
    with pytest.raises(InputError, match=r"leads out"):
        book.path_inside(bk, name)
    book.save(book.change(bk, readings=bk.readings.assign(source=name)))
    assert book.check(bk.path)["text"].str.contains("leads out").sum() == 3


def run_check(path):
    command = [sys.executable, "-m", "dyelab", "check", str(path)]
    return subprocess.run(
        command, capture_output=True, text=True, env=os.environ | {"NO_COLOR": "1"}
    )


def test_the_check_command_lists_each_fault_on_a_line(tmp_path):
    path = tmp_path / "b"
    small(path)
    well = run_check(path)
    assert (well.returncode, well.stdout) == (0, "")
    edit(path, "readings.csv", ",D65,10,,50,", ",D65,10,,250,")
    edit(path, "swatches.csv", "K-03,cloth", "K-03,clothe")
    found = run_check(path)
    assert found.returncode == 1
    assert len(found.stdout.splitlines()) == 3  # the reading's spectrum has lost its reading
    assert "Traceback" not in found.stderr
    assert run_check(tmp_path / "no").returncode == 1
