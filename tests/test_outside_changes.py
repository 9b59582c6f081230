"""Numbers that another program changed are said: which table, how many rows, what kind."""

import io
import random
import re

import numpy as np
import pandas as pd
import pytest

from dyelab import book, table
from dyelab.errors import InputError

READING = ["reading", "swatch", "exposure", "method", "illuminant", "observer", "L", "a", "b"]


def invented(path, n=12):
    rng = np.random.default_rng(5)
    codes = [f"K-{i:02}" for i in range(1, n + 1)]
    lab = rng.uniform([20, -30, -30], [90, 40, 60], (n, 3))
    readings = pd.DataFrame(
        [
            (f"R-{code}", code, "none", "spectral", "D65", 10, *map(float, row))
            for code, row in zip(codes, lab, strict=True)
        ],
        columns=READING,
    )
    swatches = pd.DataFrame({"swatch": codes, "mass_g": 5.25, "made_on": "2026-04-30"})
    swatches["note"] = ["plain", 'says "hello", twice', "Färbung", ""] * (n // 4)
    bands = {str(nm): rng.uniform(0.03, 0.9, n) for nm in range(400, 710, 10)}
    spectra = pd.DataFrame({"reading": readings["reading"], **bands})
    bk = book.add(book.create(path), swatches=swatches, readings=readings, spectra=spectra)
    return book.save(bk)


def frame_of(content):
    return pd.read_csv(io.BytesIO(content), dtype=str, keep_default_na=False)


def written(change=lambda frame: frame, *, encoding="utf-8", **how):
    """A way of saving: change the cells, then write them as some spreadsheet does."""
    how = {"index": False, "lineterminator": "\n", **how}
    return lambda content: change(frame_of(content)).to_csv(**how).encode(encoding)


def commas(frame):
    return frame.apply(lambda cells: cells.str.replace(r"^(-?\d+)\.(\d+)", r"\1,\2", regex=True))


def rounded(places):
    def change(frame):
        def one(cell):
            return f"{float(cell):.{places}f}" if re.fullmatch(r"-?\d+\.\d{4,}", cell) else cell

        return frame.map(one)

    return change


def exponents(frame):
    def one(cell):
        return f"{float(cell):.17e}" if re.fullmatch(r"-?\d+\.\d{4,}", cell) else cell

    return frame.map(one)


def dates(frame):
    return frame.replace("2026-04-30", "30/04/2026")


def longer(content):
    return b"".join(line + b",,\n" for line in content.splitlines())


def blanks_between(content):
    head, *rows = content.splitlines()
    return b"\n".join([head, *(row + b"\n" + b"," * head.count(b",") for row in rows)]) + b"\n"


# The ways of saving, and whether a number is changed by them.
WAYS = {
    "as it was": (written(), False),
    "semicolons and decimal commas": (written(commas, sep=";"), False),
    "semicolons and decimal points": (written(sep=";"), False),
    "tabs": (written(sep="\t"), False),
    "tabs and decimal commas": (written(commas, sep="\t"), False),
    "decimal commas with exponents": (written(lambda f: commas(exponents(f)), sep=";"), False),
    "a byte-order mark": (written(encoding="utf-8-sig"), False),
    "UTF-16": (written(encoding="utf-16"), False),
    "Windows-1252": (written(encoding="cp1252"), False),
    "line ends of Windows": (written(lineterminator="\r\n"), False),
    "line ends of old machines": (written(lineterminator="\r"), False),
    "every cell in quotation marks": (written(quoting=1), False),
    "columns in another order": (written(lambda f: f[f.columns[::-1]]), False),
    "rows in another order": (written(lambda f: f[::-1]), False),
    "empty columns behind": (longer, False),
    "blank rows between": (blanks_between, False),
    "exponents": (written(exponents), False),
    "two decimals": (written(rounded(2)), True),
    "four decimals": (written(rounded(4)), True),
    "two decimals, semicolons, commas": (written(lambda f: commas(rounded(2)(f)), sep=";"), True),
    "dates of its own": (written(dates), False),
    "the last rows lost": (written(lambda f: f[:-3]), True),
    "a column lost": (written(lambda f: f.drop(columns=[c for c in f if c in ("L", "550")])), True),
}


def numbers(bk):
    return {
        name: frame.set_index(table_key(name))
        .select_dtypes("number")
        .sort_index()
        .sort_index(axis=1)
        for name, frame in book.tables(bk).items()
        if name in ("readings", "spectra")
    }


def table_key(name):
    return {"readings": "reading", "spectra": "reading"}[name]


def same_numbers(one, two):
    return all(one[name].equals(two[name]) for name in one)


@pytest.mark.parametrize("way", WAYS)
def test_every_way_of_saving_keeps_the_numbers_or_says_so(tmp_path, way):
    save, changes = WAYS[way]
    bk = invented(tmp_path / "b")
    for name in ("swatches.csv", "readings.csv", "spectra.csv"):
        (bk.path / name).write_bytes(save((bk.path / name).read_bytes()))
    opened = book.open(bk.path)
    assert same_numbers(numbers(bk), numbers(opened)) is not changes
    said = book.check(bk.path)["text"].str.cat(sep="\n")
    if changes:
        assert "spectra.csv was changed outside dyelab" in said or "'L'" in said
        assert any("changed outside" in text for text in opened.outside)
    else:
        assert not re.search(r"(readings|spectra).csv was changed", said)
    if changes:
        assert same_numbers(numbers(bk), numbers(book.undo(bk.path)))


def test_the_listed_ways_are_many():
    assert len(WAYS) >= 22


def test_what_was_rounded_is_counted(tmp_path):
    bk = invented(tmp_path / "b")
    file = bk.path / "readings.csv"
    file.write_bytes(written(rounded(2))(file.read_bytes()))
    said = next(text for text in book.open(bk.path).outside if text.startswith("readings.csv"))
    assert "12 rows differ (36 numbers rounded)" in said
    assert "Undo brings back" in said


def test_an_edit_of_ones_own_is_said_and_is_no_fault(tmp_path):
    bk = invented(tmp_path / "b")
    file = bk.path / "swatches.csv"
    file.write_text(file.read_text("utf-8").replace("plain", "blotchy", 1), "utf-8")
    assert "1 row differs (1 value changed)" in book.open(bk.path).outside[0]
    assert book.check(bk.path).empty
    assert book.save(book.open(bk.path)).outside == ()


@pytest.mark.parametrize("kind", ["NUL", "bit", "lost"])
def test_one_damaged_byte_never_changes_a_number_unseen(tmp_path, kind):
    bk = invented(tmp_path / "b")
    chance = random.Random(kind)
    before = numbers(bk)
    for _ in range(8):
        name = chance.choice(["readings.csv", "spectra.csv"])
        whole = (bk.path / name).read_bytes()
        at = chance.randrange(len(whole))
        byte = {"NUL": b"\0", "bit": bytes([whole[at] ^ (1 << chance.randrange(8))]), "lost": b""}
        (bk.path / name).write_bytes(whole[:at] + byte[kind] + whole[at + 1 :])
        try:
            opened = book.open(bk.path)
        except InputError:
            continue
        finally:
            listed = len(book.check(bk.path))
            (bk.path / name).write_bytes(whole)
        assert same_numbers(before, numbers(opened)) or listed


def test_a_nul_is_a_fault_and_its_line_is_kept(tmp_path):
    bk = invented(tmp_path / "b")
    file = bk.path / "spectra.csv"
    file.write_bytes(file.read_bytes().replace(b"R-K-03,0.", b"R-K-03,0\0", 1))
    opened = book.open(bk.path)
    assert "holds a NUL or a damaged byte" in opened.faults["text"].item()
    assert "R-K-03" not in set(opened.spectra["reading"])
    assert len(opened.spectra) == 11
    assert "R-K-03,0\ufffd" in book.save(opened).aside.lines["line"].item()


@pytest.mark.parametrize("value", [13652, -7, 2.01, -0.06])
def test_a_reflectance_that_no_cloth_has_is_a_fault(tmp_path, value):
    bk = invented(tmp_path / "b")
    spectra = bk.spectra.assign(**{"550": float(value)})
    with pytest.raises(
        InputError, match=r"outside -0.05 to 2. Reflectance factors run from 0 to 1"
    ):
        book.change(bk, spectra=spectra)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("2.5", 2.5),
        ("2,5", 2.5),
        ("−0,3", -0.3),
        ("1,2E-05", 1.2e-5),
        ("1,234.5", 1234.5),
        ("1.234,5", 1234.5),
        ("1,234,567", 1234567),
        ("0,125", 0.125),
        (".5", 0.5),
        ("1.000", 1),
    ],
)
def test_a_number_is_read_as_people_write_it(text, value):
    assert table.number(text) == value


@pytest.mark.parametrize("text", ["1,000", "25,125"])
def test_a_comma_that_could_be_either_is_asked_about(text):
    with pytest.raises(InputError, match=r"could be .* or .*Write it without the comma"):
        table.number(text)
    assert table.number("45,123", most=100) == 45.123


@pytest.mark.parametrize("text", ["0 2,5", "0, 2,5", "0; 2,5", "0  2.5"])
def test_a_list_of_numbers_has_one_meaning(text):
    assert table.number_list(text) == [0, 2.5]


def test_a_list_with_several_meanings_is_asked_about():
    with pytest.raises(InputError, match=r"several numbers or one. Part numbers by spaces"):
        table.number_list("0,1,2")
    with pytest.raises(InputError, match=r"is no number"):
        table.number_list("0 two")


@pytest.mark.parametrize("line", ["", "old,row,set,aside"])
def test_an_empty_table_with_strange_headings_opens(tmp_path, line):
    """Found by damaging files: nothing is left to compare, though cells of it are set aside."""
    bk = invented(tmp_path / "b")
    (bk.path / "photos.csv").write_text("photo,swatch,original,\u0663,ote,\u202e\n" + line, "utf-8")
    opened = book.open(bk.path)
    assert len(opened.swatches) == 12
    assert len(opened.photos) == bool(line)
