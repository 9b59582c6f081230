"""What is larger, deeper or stranger than any honest file is refused at once, by a message."""

import io
import signal
import time
import zipfile
from contextlib import suppress

import numpy as np
import openpyxl
import pandas as pd
import pytest

from dyelab import book, calibrate, card, errors, files, handout, limits, press, read, recipe, table
from dyelab.errors import InputError
from dyelab.handout.page import Page, Text
from dyelab.panel import save


def refused(match, call, seconds=5):
    start = time.process_time()
    with pytest.raises(InputError, match=match) as found:
        call()
    assert time.process_time() - start < seconds
    assert len(str(found.value)) <= 2100


def stray_cell(column):
    book_ = openpyxl.Workbook()
    sheet = book_.active
    for row in (["sample", "L", "a", "b", "illuminant", "observer"], ["x", 50, 1, 2, "D65", 10]):
        sheet.append(row)
    sheet.cell(1_000, column, "stray")
    file = io.BytesIO()
    book_.save(file)
    return file.getvalue()


def test_a_stray_cell_in_the_far_corner_is_named(tmp_path):
    (tmp_path / "a.xlsx").write_bytes(stray_cell(16_384))
    refused(r"16,384 columns \(a cell in row 1000", lambda: read.measurements(tmp_path / "a.xlsx"))
    refused(r"16,384 columns", lambda: book.sheet(tmp_path / "a.xlsx"))


def test_a_stray_cell_far_down_costs_nothing(tmp_path):
    (tmp_path / "a.xlsx").write_bytes(stray_cell(3))
    start = time.process_time()
    assert book.sheet(tmp_path / "a.xlsx") is not None
    assert time.process_time() - start < 5


def test_a_spectrum_of_millions_of_values(tmp_path):
    values = "0.5 " * 200_000
    (tmp_path / "a.cxf").write_text(
        '<CxF><Resources><ObjectCollection><Object Name="x"><ColorValues>'
        '<ReflectanceSpectrum ColorSpecification="u" StartWL="400">'
        f"{values}</ReflectanceSpectrum>"
        "</ColorValues></Object></ObjectCollection><ColorSpecificationCollection>"
        '<ColorSpecification Id="u"><MeasurementSpec>'
        '<WavelengthRange StartWL="400" Increment="10"/>'
        "</MeasurementSpec></ColorSpecification></ColorSpecificationCollection></Resources></CxF>"
    )
    refused("200,000 values in a spectrum", lambda: read.measurements(tmp_path / "a.cxf"))


def test_nested_beyond_reason(tmp_path):
    (tmp_path / "a.cxf").write_text("<CxF>" + "<a>" * 5000 + "</a>" * 5000 + "</CxF>")
    refused("levels of elements within", lambda: read.measurements(tmp_path / "a.cxf"))
    (tmp_path / "a.json").write_text("[" * 200_000)
    refused("not JSON", lambda: card.read_layout(tmp_path / "a.json"))


def test_line_ends_without_end(tmp_path):
    (tmp_path / "a.csv").write_bytes(b"sample,L,a,b\n" + b"\n" * 3_000_000)
    refused("lines, the most that is read", lambda: read.measurements(tmp_path / "a.csv"))
    refused("the most that is read", lambda: files.cells(tmp_path / "a.csv"), 20)


def test_a_zip_with_a_photo_of_three_gigabytes(tmp_path):
    with zipfile.ZipFile(tmp_path / "a.zip", "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("swatches.csv", "swatch\nA\n")
        packed.writestr("photos/x.jpg", bytes(2_000_000))
    content = bytearray((tmp_path / "a.zip").read_bytes())
    size = (2_000_000).to_bytes(4, "little")
    content = bytes(content).replace(size, (3_000_000_000).to_bytes(4, "little"))
    (tmp_path / "a.zip").write_bytes(content)
    refused(
        "3,000,000,000 bytes, the most", lambda: book.restore(tmp_path / "a.zip", tmp_path / "b")
    )
    assert not (tmp_path / "b").exists()


def test_a_word_without_a_break_is_cut_on_a_page():
    start = time.process_time()
    template = '#let data = json("data.json")\n#data.text'
    assert press.typeset(template, {"text": "x" * 10_000}).startswith(b"%PDF")
    assert time.process_time() - start < 5


def test_text_that_no_file_can_hold_is_shown_all_the_same():
    template = '#let data = json("data.json")\n#data.text'
    assert press.typeset(template, {"text": "half a sign \ud800"}).startswith(b"%PDF")


@pytest.mark.parametrize("formula", ["Al" + "9" * 400, "(" * 3000, "H2O" * 200, "٣H2O", "Al²"])
def test_a_formula_that_is_none(formula):
    refused("formula", lambda: recipe.molar_mass(formula))


def test_a_pipe_is_no_file(tmp_path):
    os = pytest.importorskip("os")
    if not hasattr(os, "mkfifo"):
        pytest.skip("needs pipes")
    os.mkfifo(tmp_path / "pipe.csv")
    refused("not a file", lambda: limits.content(tmp_path / "pipe.csv"))


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("..", "file"),
        ("", "file"),
        ("../../x.jpg", "x.jpg"),
        ("a" * 300 + ".jpeg", "a" * 60 + ".jpeg"),
        ("IMG 1.JPG", "IMG 1.JPG"),
        ("C:\\photos\\x.png", "x.png"),
        (".bashrc", "bashrc"),
    ],
)
def test_an_upload_of_any_name_gets_a_plain_one(tmp_path, monkeypatch, name, kept):
    monkeypatch.chdir(tmp_path)
    path = save.keep_upload(({"name": name, "content": b"x"},), "photos")
    assert path.as_posix() == f"saved/photos/{kept}"
    assert path.read_bytes() == b"x"


def test_a_refusal_is_never_longer_than_a_page():
    text = str(errors.InputError("x" * 50_000 + " what to do"))
    assert len(text) < 2100
    assert text.endswith("what to do")


def test_a_refusal_never_quotes_what_is_no_table(tmp_path):
    secret = "root:x:0:0\n" * 20
    (tmp_path / "passwd").write_text(secret)
    for call in (lambda: read.measurements(tmp_path / "passwd"),):
        with pytest.raises(InputError) as found:
            call()
        assert "root" not in str(found.value)


def test_headings_that_repeat_over_ragged_rows(tmp_path):
    (tmp_path / "a.csv").write_text("swatch,,,\nA,1,2,3,4\nB\n")
    frame, ragged = files.cells(tmp_path / "a.csv")
    assert isinstance(frame, pd.DataFrame)
    assert set(ragged) == {2, 3}


def test_a_number_of_hundreds_of_digits_is_no_number():
    for long in ("9" * 400, "-" + "9" * 310):
        found = table.numbers(pd.Series([long, "2", "x", ""]))
        assert found[1] == 2
        assert not np.isfinite(found[[0, 2, 3]]).any()


def test_every_reader_of_files_has_a_limit_of_time():
    readers = (read.measurements, read.photo, book.restore, book.sheet, book.sheets, files.cells)
    readers += (card.read_layout, calibrate.reference, calibrate.read_calibration)
    unlimited = [r.__name__ for r in readers if not _limited(r)]
    assert unlimited == []


def _limited(reader):
    """Whether a reader is stopped in time, or hands its file at once to one that is."""
    return hasattr(reader, "__wrapped__") or reader is book.sheet


def test_a_file_that_takes_too_long_is_refused_by_name(monkeypatch):
    @limits.in_time
    def slow(path):
        while True:
            sum(range(1_000))

    monkeypatch.setattr(limits, "SECONDS", 0.05)
    refused(r"slow\.csv: not read after 0\.05 s of computing", lambda: slow("folder/slow.csv"))
    assert signal.getitimer(signal.ITIMER_PROF)[0] == 0


def test_a_refusal_that_a_library_swallows_comes_again(monkeypatch):
    @limits.in_time
    def stubborn(path):
        while True:
            try:
                sum(range(10_000))
            except InputError as error:
                swallowed.append(error)
                if len(swallowed) > 1:
                    raise

    swallowed = []
    monkeypatch.setattr(limits, "SECONDS", 0.05)
    monkeypatch.setattr(limits, "AGAIN", 0.05)
    refused("nest.json: not read", lambda: stubborn("folder/nest.json"))
    assert len(swallowed) == 2


@pytest.mark.parametrize(
    "run", ["(" * 90_000, "\n" * 90_000, "[" * 90_000, "a" * 90_000, "1 " * 45_000]
)
def test_a_long_run_of_one_sign_costs_no_time(tmp_path, run):
    path = tmp_path / "run.csv"
    path.write_text(f"sample,L{run},a,b,illuminant,observer\nK-01{run},50,1,2,D65,10\n")
    start = time.process_time()
    for reader in (read.measurements, lambda path: book.matches(book.sheet(path))):
        with suppress(InputError):
            reader(path)
    assert time.process_time() - start < 15


def test_many_blank_lines_in_a_title_cost_no_time(tmp_path):
    start = time.process_time()
    title = "a" + "\n" * 20_000 + "b"
    handout.write(Page(title=title, blocks=(Text("x"),)), tmp_path / "page.pdf")
    assert time.process_time() - start < 5


@pytest.mark.parametrize(
    ("what", "text"),
    [
        ("columns", "a," * 2_001 + "\n1\n"),
        ("cells", "a" + "," * 1_500 + "\n" + "1\n" * 4_000),
    ],
)
def test_a_plain_sheet_too_wide_is_refused(tmp_path, what, text):
    (tmp_path / "wide.csv").write_text(text)
    refused(f"wide.csv: .* {what}", lambda: book.sheet(tmp_path / "wide.csv"))


def test_a_heading_longer_than_any_is_refused(tmp_path):
    bk = book.save(book.create(tmp_path / "b"))
    path = bk.path / "tests.csv"
    path.write_text(f"x{'a' * 140_000}\n1\n")
    refused("letters in the heading row", lambda: book.open(bk.path))


def test_a_step_of_infinite_order_is_a_fault_without_a_warning():
    bk = book.open(files.shipped_path("data", "marlpit_yard"))
    text = table.as_text(bk.steps.head(2), table.STEPS).assign(order=["inf", "1.5"])
    faults = table.check(text, table.STEPS, "steps.csv")
    assert list(faults["column"]) == ["order", "order"]
