"""A book out to other forms and back; a user's own spreadsheet in; two books into one."""

import csv
import io
import zipfile

import openpyxl
import pandas as pd
import pytest
from frictionless import Package
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dyelab import book
from dyelab.errors import InputError

NOTES = [
    'commas, "quotes", and\na second line',
    "=HYPERLINK(\"x\")",
    "'=already",
    "+1", "-2", "@sum", "\ttab", "'", "''",
    "Köln, naïve, ß",
    "🌿🧶 emoji",
    "مرحبا بالعالم, right to left",
    "carriage\r\nreturn", "\r", "a bare\rreturn", "ends in one\r",
    "  spaces kept  ",
    "_x000D_ literally",
    "1.50", "007", "TRUE", "NA", "nan", "None",
    "",
]  # fmt: skip


def noted(path, notes=NOTES):
    bk = book.create(path, "Ünïted =notes 🌿")
    codes = [f"N-{i:02}" for i in range(len(notes))]
    readings = pd.DataFrame(
        [(f"R{c}", c, "none", "typed", "D65", 10, 100 / 3, -1.25e-7, 0.1 + 0.2) for c in codes],
        columns=["reading", "swatch", "exposure", "method", "illuminant", "observer", *"Lab"],
    )
    return book.add(
        bk,
        swatches=pd.DataFrame({"swatch": codes, "note": notes, "fibre": "wool"}),
        readings=readings,
        spectra=pd.DataFrame({"reading": readings["reading"], "400": 1 / 7, "410": None}),
    )


def same(one, two):
    for name, frame in book.tables(one).items():
        pd.testing.assert_frame_equal(frame, getattr(two, name), check_dtype=False)


@pytest.mark.parametrize("form", ["folder", "b.zip", "b.xlsx"])
def test_a_book_goes_out_and_comes_back_the_same(tmp_path, form):
    bk = noted(tmp_path / "b")
    (tmp_path / "p.jpg").write_bytes(b"invented picture")
    bk, _ = book.keep_photo(bk, tmp_path / "p.jpg", swatches=["N-01"])
    bk = book.save(bk)
    same(bk, book.open(tmp_path / "b"))
    book.export(bk, tmp_path / form)
    back = book.restore(tmp_path / form, tmp_path / "again")
    same(bk, back)
    assert back.title == "Ünïted =notes 🌿"
    assert back.faults.empty
    assert (form == "b.xlsx") or book.check(back.path).empty
    assert Package(str(back.path / "datapackage.json")).validate().valid


@pytest.mark.slow
@settings(max_examples=8, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(st.lists(st.text(max_size=12), min_size=1, max_size=8))
def test_any_text_survives_every_form(tmp_path_factory, notes):
    notes = [note.replace("\0", "") for note in notes]
    notes = [note.encode("utf-8", "ignore").decode() for note in notes]
    folder = tmp_path_factory.mktemp("any")
    bk = book.save(noted(folder / "b", notes))
    same(bk, book.open(folder / "b"))
    for form in ("folder", "b.zip", "b.xlsx"):
        book.export(bk, folder / form)
        same(bk, book.restore(folder / form, folder / f"again {form}"))


def test_no_exported_text_would_run_as_a_formula(tmp_path):
    bk = book.save(noted(tmp_path / "b"))
    book.export(bk, tmp_path / "out")
    for file in (tmp_path / "out").glob("*.csv"):
        for row in csv.reader(io.StringIO(file.read_bytes().decode(), newline="")):
            for cell in row:
                number = cell.replace(".", "").replace("-", "").replace("e", "").isdigit()
                assert number or not cell.startswith(("=", "+", "-", "@", "\t", "\r"))
    book.export(bk, tmp_path / "b.xlsx")
    for sheet in openpyxl.load_workbook(tmp_path / "b.xlsx"):
        assert all(cell.data_type != "f" for row in sheet.iter_rows() for cell in row)


def test_an_export_folder_opens_as_a_book(tmp_path):
    bk = book.save(noted(tmp_path / "b"))
    book.export(bk, tmp_path / "out")
    opened = book.open(tmp_path / "out")
    same(bk, opened)
    book.save(book.change(opened, swatches=opened.swatches.assign(series="x")))
    same(book.open(tmp_path / "out"), book.change(bk, swatches=bk.swatches.assign(series="x")))


def test_a_zip_that_leads_out_or_is_cut_is_refused(tmp_path):
    with zipfile.ZipFile(tmp_path / "evil.zip", "w") as packed:
        packed.writestr("../../evil.csv", "swatch\n")
        packed.writestr("swatches.csv", "swatch\n")
    (tmp_path / "cut.zip").write_bytes(b"PK\x03\x04 cut")
    (tmp_path / "cut.xlsx").write_bytes(b"PK\x03\x04 cut")
    for name, said in [("evil.zip", "leads out"), ("cut.zip", "whole zip"), ("cut.xlsx", "XLSX")]:
        with pytest.raises(InputError, match=said):
            book.restore(tmp_path / name, tmp_path / "new")
    assert not (tmp_path / "new").exists()


# Two books into one ---------------------------------------------------------------------------


def test_merging_keeps_everything_and_renames_what_clashes(tmp_path):
    one = book.save(noted(tmp_path / "one", ["alike", "mine"]))
    two = book.save(noted(tmp_path / "two", ["alike", "theirs", "new"]))
    (tmp_path / "p.jpg").write_bytes(b"invented picture")
    two, source = book.keep_photo(two, tmp_path / "p.jpg", swatches=["N-01"])
    two = book.save(two)
    merged, renamed = book.merge(one, two)
    merged = book.save(merged)
    assert dict(merged.swatches[["swatch", "note"]].itertuples(index=False)) == {
        "N-00": "alike", "N-01": "mine", "N-01~2": "theirs", "N-02": "new",
    }  # fmt: skip
    assert set(renamed.itertuples(index=False, name=None)) == {
        ("swatches", "N-01", "N-01~2"),
        ("readings", "RN-01", "RN-01~2"),
    }
    readings = merged.readings.set_index("reading")["swatch"]
    assert readings["RN-01~2"] == "N-01~2"
    assert "RN-01~2" in set(merged.spectra["reading"])
    assert book.photos_of(merged, "N-01~2")[0].name in source
    assert book.check(merged.path).empty
    for known in (one, two):
        again, renamed = book.merge(merged, known)
        assert renamed.empty
        assert again is merged


def test_a_book_that_has_grown_adds_its_new_swatches_alone(tmp_path):
    one, two = potted(tmp_path / "one", ["A1", "B1"]), potted(tmp_path / "two", ["B1", "C1"])
    two = book.save(book.change(two, swatches=two.swatches.assign(note="theirs")))
    merged = book.save(book.merge(one, two)[0])
    assert merged.swatches["swatch"].tolist() == ["A1", "B1", "B1~2", "C1"]
    later = potted(tmp_path / "later", ["B1", "C1", "D1"])
    later = book.save(book.change(later, swatches=later.swatches.assign(note="theirs")))
    again, renamed = book.merge(merged, later)
    assert renamed.empty
    baths = again.steps.groupby("bath")["swatch"].agg(list).to_dict()
    assert baths == {"M1": ["A1", "B1"], "M1~2": ["B1~2", "C1", "D1"]}


def potted(folder, codes, percent=None):
    """A book whose swatches lay in one mordant bath M1 of the series autumn."""
    steps = pd.DataFrame({"swatch": codes, "order": 1, "kind": "mordant", "bath": "M1"})
    steps = steps.assign(material="Yard salt", amount=10.0, unit="% WOF")
    rows = {"swatches": pd.DataFrame({"swatch": codes, "series": "autumn"}), "steps": steps}
    if percent:
        salt = {"material": "yard salt", "role": "mordant", "metal": "Al", "metal_percent": percent}
        rows["materials"] = pd.DataFrame([salt])
    return book.save(book.add(book.create(folder), **rows))


def test_merging_keeps_pots_apart_that_share_a_name(tmp_path):
    one, two = potted(tmp_path / "one", ["A1", "A2"]), potted(tmp_path / "two", ["B1", "B2"])
    merged, renamed = book.merge(one, two)
    baths = merged.steps.groupby("bath")["swatch"].agg(list).to_dict()
    assert baths == {"M1": ["A1", "A2"], "M1~2": ["B1", "B2"]}
    assert renamed.to_numpy().tolist() == [["steps", "M1", "M1~2"]]
    later = potted(tmp_path / "copy", ["A1", "A2", "A3"])  # the same pot, more cloth noted
    merged, renamed = book.merge(one, later)
    assert merged.steps["bath"].unique().tolist() == ["M1"]
    assert renamed.empty


def test_merging_renames_a_material_that_means_something_else(tmp_path):
    one = potted(tmp_path / "one", ["A1"], percent=5.0)
    two = potted(tmp_path / "two", ["A1", "B1"], percent=9.0)
    merged, renamed = book.merge(one, two)
    assert dict(merged.materials[["material", "metal_percent"]].to_numpy()) == {
        "yard salt": 5.0, "yard salt~2": 9.0,
    }  # fmt: skip
    named = dict(merged.steps[["swatch", "material"]].to_numpy())
    assert named == {"A1": "Yard salt", "A1~2": "yard salt~2", "B1": "yard salt~2"}
    assert ["materials", "yard salt", "yard salt~2"] in renamed.to_numpy().tolist()


def test_merging_keeps_what_either_book_has_set_aside(tmp_path):
    books = {}
    for name, code in (("mine", "K1"), ("theirs", "M1")):
        bk = book.create(tmp_path / name)
        bk = book.save(book.add(bk, swatches=pd.DataFrame({"swatch": [code]})))
        with (bk.path / "readings.csv").open("a", encoding="utf-8") as file:
            width = len(bk.readings.columns)
            file.write(f"R-{code},{code},swatch".ljust(width, ",") + "\n")  # without a colour
        books[name] = book.open(bk.path)
        assert len(books[name].aside.rows["readings"]) == 1
    joined = book.save(book.merge(books["mine"], books["theirs"])[0])
    kept = book.open(joined.path).aside.rows["readings"]
    assert sorted(kept["reading"]) == ["R-K1", "R-M1"]
    again = book.open(joined.path)
    assert book.merge(again, books["theirs"])[0] is again


def test_an_export_that_breaks_off_leaves_no_folder(tmp_path, monkeypatch):
    bk = book.create(tmp_path / "mine")
    (bk.path / "photos").mkdir()
    (bk.path / "photos" / "a.jpg").write_bytes(b"photo")

    def refuse(path, *_):
        raise InputError(f"{path}: can't be read.")

    monkeypatch.setattr("dyelab.limits.content", refuse)
    with pytest.raises(InputError, match="can't be read"):
        book.export(bk, tmp_path / "out")
    assert [path.name for path in tmp_path.iterdir()] == ["mine"]
