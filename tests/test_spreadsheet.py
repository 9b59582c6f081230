"""A user's own spreadsheet: what comes in is what was meant, or the loss is listed before."""

import zipfile

import numpy as np
import own_sheets
import pandas as pd
import photos
import pytest
from openpyxl import Workbook
from worlds.synth import render

from dyelab import book, convert, shift, table
from dyelab.errors import InputError


def understood(path, meant, **more):
    sheets = book.sheets(path)
    meanings = {
        one.name: dict(book.matches(one)[["column", "field"]].itertuples(index=False))
        for one in sheets
    }
    return book.understand(sheets, meanings, answers=meant.answers, white=meant.white, **more)


@pytest.mark.parametrize("make", [*own_sheets.FRESH, *own_sheets.FURTHER, *own_sheets.LAID_OUT])
def test_what_comes_in_is_what_was_meant(tmp_path, make):
    path, meant = make(tmp_path)
    found = understood(path, meant)
    codes = list(found.swatches["swatch"])
    assert {code: found.in_words(code) for code in codes} == meant.recipes
    swatches = found.swatches.set_index("swatch")
    assert {key: swatches.loc[key] for key in meant.fields} == meant.fields
    steps = found.steps.set_index(["swatch", "order"])
    for (code, order, column), value in meant.steps.items():
        assert steps.loc[(code, order), column] == value, (code, order, column)
    columns = ["swatch", "area", "exposure", "amount", "L", "a", "b"]
    read = found.readings[columns].astype(object) if len(found.readings) else found.readings
    rows = [tuple(None if x != x else x for x in row) for row in read.itertuples(index=False)]
    if found.spectra is None:
        assert rows == meant.readings
    lost = list(found.lost["where"])
    assert len(lost) == len(meant.lost), found.lost.to_string()
    assert all(any(w.startswith(m) for w in lost) for m in meant.lost), lost
    saved = book.save(book.take_in(book.create(tmp_path / "b"), found))
    opened = book.open(saved.path)
    assert opened.faults.empty
    assert list(opened.swatches["swatch"]) == codes
    assert len(opened.steps) == len(found.steps)
    assert len(opened.readings) == len(found.readings)


def meant_by(sheet, **changed):
    return {**dict(book.matches(sheet)[["column", "field"]].itertuples(index=False)), **changed}


def as_guessed(path):
    one = book.sheet(path)
    return book.understand([one], {one.name: meant_by(one)}, white=("D65", 10))


def taken(bk, path, **more):
    """Take a spreadsheet in as guessed, and say what that changed."""
    found = understood(path, own_sheets.Meant({}, white=("D65", 10)))
    told = book.what_changes(bk, found)
    return book.save(book.take_in(bk, found, **more)), told


LIVING = """Code,Fabric,Alum %,Dye,Dye %,Iron %,L*,a*,b*
A1,wool,15,weld,50,,70,-2,55
A2,wool,15,weld,50,2,45,0,20
"""


def test_a_sheet_taken_in_again_adds_and_shows_and_never_doubles(tmp_path):
    path = own_sheets.text(tmp_path / "living.csv", LIVING)
    bk, first = taken(book.create(tmp_path / "b"), path)
    assert first.new == ("A1", "A2")
    again, told = taken(bk, path)
    assert (told.new, len(told.changed), len(told.gone), told.same) == ((), 0, 0, 2)
    pd.testing.assert_frame_equal(again.steps, bk.steps)
    assert len(again.readings) == 2
    more = LIVING.replace("A2,wool,15,weld,50,2", "A2,wool,15,weld,60,2") + "A3,silk,12,,,,,,\n"
    own_sheets.text(path, more.replace("70,-2,55", "71,-2,55"))
    bk, told = taken(again, path)
    assert told.new == ("A3",)
    assert told.changed.values.tolist() == [
        ["A2", "step", "weld 50 %", "weld 60 %"],
        ["A1", "reading", "70, -2, 55", "71, -2, 55"],
    ]
    assert sorted(bk.readings["L"]) == [45, 71]
    assert len(bk.swatches) == 3


def test_what_goes_from_a_sheet_stays_until_it_is_asked_to_go(tmp_path):
    path = own_sheets.text(tmp_path / "living.csv", LIVING)
    bk, _ = taken(book.create(tmp_path / "b"), path)
    own = pd.DataFrame({"swatch": ["Z"], "fibre": ["wool"]})
    bk = book.save(book.add(bk, swatches=own))
    own_sheets.text(path, "\n".join(LIVING.splitlines()[:1]) + "\nA2,wool,15,weld,50,,45,0,20\n")
    kept, told = taken(bk, path)
    assert told.gone.values.tolist() == [
        ["A2", "step", "ferrous sulfate 2 %"],
        ["A1", "reading", "70, -2, 55"],
        ["A1", "swatch", "A1"],
    ]
    assert len(kept.steps) == len(bk.steps)
    assert set(kept.swatches["swatch"]) == {"A1", "A2", "Z"}
    gone, _ = taken(kept, path, removing=True)
    assert set(gone.swatches["swatch"]) == {"A2", "Z"}
    assert gone.steps["material"].tolist() == ["potash alum", "weld"]
    assert len(gone.readings) == 1


def test_what_was_recorded_in_the_book_stays_when_the_sheet_comes_again(tmp_path):
    path = own_sheets.text(tmp_path / "living.csv", LIVING)
    bk, _ = taken(book.create(tmp_path / "b"), path)
    hot = bk.steps.assign(temperature_C=80.0)
    rinse = pd.DataFrame([{"swatch": "A1", "order": 9, "kind": "rinse", "material": "water"}])
    bk = book.save(book.add(book.change(bk, steps=hot), steps=rinse))
    own_sheets.text(path, LIVING.replace("A1,wool,15,weld,50", "A1,wool,12,weld,50"))
    bk, told = taken(bk, path)
    steps = bk.steps[bk.steps["swatch"] == "A1"]
    assert steps["material"].tolist() == ["potash alum", "weld", "water"]
    assert steps["amount"].tolist()[:2] == [12.0, 50.0]
    assert steps["temperature_C"].tolist()[:2] == [80.0, 80.0]
    assert told.changed["what"].tolist() == ["step"]


def test_a_refusal_cites_the_users_own_row(tmp_path):
    path = own_sheets.text(tmp_path / "x.csv", LIVING.replace("70,-2,55", "700,-2,55"))
    found = understood(path, own_sheets.Meant({}, white=("D65", 10)))
    (line,) = found.lost.to_dict("records")
    assert line["where"] == "row 2"
    assert line["found"] == "L = 700"
    assert "RGB" in line["why"]
    assert len(found.readings) == 1


def test_colours_without_a_white_point_are_listed_and_wait(tmp_path):
    path = own_sheets.text(tmp_path / "x.csv", LIVING)
    found = understood(path, own_sheets.Meant({}))
    assert len(found.readings) == 0
    assert found.lost["where"].tolist() == ["row 2", "row 3"]
    assert found.lost["why"].str.contains("white point").all()


def test_another_white_is_asked_about_and_adapted_only_when_told(tmp_path):
    """X, Y and Z of known spectra under D50/2°, adapted: the truth lies in the regions stated."""
    bands, spectra = np.arange(400, 701, 10), photos.cloth(5, 30)
    spectra = np.array([np.interp(bands, render.BANDS, row) for row in spectra])
    light = {"illuminant": "D50", "observer": 2}
    xyz = convert.spectrum_to_xyz(bands, spectra, **light)
    truth = convert.spectrum_to_lab(bands, spectra, illuminant="D65", observer=10)
    rows = pd.DataFrame(xyz / 100, columns=["X (D50/2°)", "Y", "Z"]).round(6)
    rows.insert(0, "Code", [f"S{i}" for i in range(30)])
    rows.to_csv(tmp_path / "xyz.csv", index=False)
    meant = own_sheets.Meant({})
    left = understood(tmp_path / "xyz.csv", meant)
    assert (len(left.readings), len(left.lost), left.other_white) == (0, 30, "D50/2°")
    assert left.lost["why"].str.contains("another white point than the book's").all()
    found = understood(tmp_path / "xyz.csv", meant, adapt=True)
    assert found.lost.empty
    bk = book.save(book.take_in(book.create(tmp_path / "b"), found))
    assert bk.faults.empty
    assert set(bk.readings["flags"]) == {"adapted"}
    off = bk.readings[table.LAB].to_numpy(float) - truth
    spread = table.covariances(bk.readings)
    squares = np.einsum("ni,nij,nj->n", off, np.linalg.inv(spread), off)
    assert (squares < 7.81).mean() >= 0.85  # chi-squared, three coordinates, 95 %
    assert np.linalg.norm(off, axis=1).mean() < 2.5
    shared = bk.shared.groupby("reading")[table.LAB].apply(lambda v: v.T.to_numpy() @ v.to_numpy())
    error = np.stack(list(shared[bk.readings["reading"]]))
    np.testing.assert_allclose(spread - error, np.eye(3)[None] * 0.3**2 + 0 * error, atol=1e-6)
    again = book.what_changes(bk, understood(tmp_path / "xyz.csv", meant, adapt=True))
    assert (again.new, len(again.changed), again.same) == ((), 0, 30)


def test_reflectances_are_computed_for_the_books_white(tmp_path):
    path, meant = own_sheets.spectral(tmp_path)
    found = understood(path, meant, into=("D50", 2))
    bk = book.take_in(book.create(tmp_path / "b", white=("D50", 2)), found)
    lab = convert.spectra_to_lab(bk.spectra, "D50", 2)
    np.testing.assert_allclose(bk.readings[table.LAB], lab[table.LAB], atol=1e-6)


def test_which_alum_is_asked_and_the_answer_counts(tmp_path):
    path = own_sheets.text(tmp_path / "x.csv", LIVING)
    found = understood(path, own_sheets.Meant({}))
    (asked,) = [row for row in found.asked.to_dict("records") if row["word"] == "alum"]
    assert asked["material"] == "potash alum"
    assert {"ammonium alum", "aluminium acetate"} <= set(asked["options"])
    assert asked["count"] == 2
    told = understood(path, own_sheets.Meant({}, answers={"Alum": "ammonium alum"}))
    assert told.in_words("A1") == "wool, ammonium alum 15 %, weld 50 %"


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("", "no rows"),
        ("Fabric,Dye\nwool,weld\n", "no column holds the swatch code"),
        ("Code,Fabric\n", "no rows"),
    ],
)
def test_what_is_no_sheet_of_swatches_is_refused_in_words(tmp_path, content, said):
    path = own_sheets.text(tmp_path / "x.csv", content)
    with pytest.raises(InputError, match=said):
        understood(path, own_sheets.Meant({}))


def test_wrong_files_and_choices_are_refused(tmp_path):
    (tmp_path / "x.csv").write_bytes(b"\x00\x01\x02")
    (tmp_path / "x.ods").write_bytes(b"PK\x03\x04 cut")
    for name, said in (
        ("x.csv", "not a table"),
        ("x.ods", "whole ODS"),
        ("no.xlsx", "can't be read"),
    ):
        with pytest.raises(InputError, match=said):
            book.sheets(tmp_path / name)
    sheet = book.sheet(own_sheets.text(tmp_path / "x.csv", LIVING))
    for wrong, said in (
        ({"Fabric": "swatch"}, "both called"),
        ({"Fabric": "fibr"}, "Did you mean 'fibre'"),
        ({"Fabrik": "fibre"}, "Did you mean 'Fabric'"),
    ):
        with pytest.raises(InputError, match=said):
            book.understand([sheet], {"": meant_by(sheet, **wrong)})
    with pytest.raises(InputError, match="has 3 rows"):
        book.sheet(tmp_path / "x.csv", heading=40)


def test_the_heading_row_can_be_told(tmp_path):
    content = "Code,Fabric,Alum\nmy code,my cloth,my alum\nA1,wool,15\n"
    path = own_sheets.text(tmp_path / "x.csv", content)
    assert list(book.sheet(path).frame.columns) == ["Code", "Fabric", "Alum"]
    assert list(book.sheet(path, heading=2).frame.columns) == ["my code", "my cloth", "my alum"]


def test_days_that_could_be_months_are_said(tmp_path):
    path = own_sheets.text(tmp_path / "x.csv", "Code,Date\nA1,03/02/2026\nA2,04/02/2026\n")
    assert any("day first" in note for note in book.sheet(path).notes)
    path = own_sheets.text(tmp_path / "x.csv", "Code,Date\nA1,03/02/2026\nA2,02/14/2026\n")
    found = understood(path, own_sheets.Meant({}))
    assert found.swatches["made_on"].tolist() == ["2026-03-02", "2026-02-14"]


LOSING = [
    ("No,L*,a*,b*,±\nK1,50,1,2,about", "cell E2", {}),
    ("No,L*,a*,b*,u L,u a\nK1,50,1,2,0.3,0.2", "cell E2", {}),
    ("No,L*,a*,b*,Washes\nK1,50,1,2,several", "cell E2", {}),
    ("No,L*,a*,b*,Read on\nK1,50,1,2,one day", "cell E2", {"Read on": "taken_at"}),
    ("No,L*,a*,b*,Read by\nK1,50,1,2,eye", "cell E2", {"Read by": "method"}),
]


@pytest.mark.parametrize(("text", "where", "fields"), LOSING)
def test_what_can_not_be_read_beside_a_colour_is_listed(tmp_path, text, where, fields):
    path = own_sheets.text(tmp_path / "own.csv", text)
    one = book.sheet(path)
    found = book.understand([one], {one.name: meant_by(one, **fields)}, white=("D65", 10))
    assert len(found.readings) == 1
    assert any(place.startswith(where) for place in found.lost["where"]), found.lost.to_string()


def test_a_dose_before_its_name_keeps_the_heat_told_with_the_name(tmp_path):
    text = "No,Alum %,Mordant\nK1,15,alum 1 h at 85 °C"
    found = as_guessed(own_sheets.text(tmp_path / "own.csv", text))
    step = found.steps.iloc[0]
    assert (step["amount"], step["temperature_C"], step["minutes"]) == (15, 85, 60)


def test_a_tannin_written_as_a_mordant_is_a_tannin_in_rows_as_in_columns(tmp_path):
    written = ("No,Step,Material,Amount\nK1,mordant,gallnut,8", "No,Mordant\nK1,gallnut 8")
    rows, columns = (as_guessed(own_sheets.text(tmp_path / "a.csv", text)) for text in written)
    assert rows.in_words("K1") == columns.in_words("K1")
    assert list(rows.steps["kind"]) == list(columns.steps["kind"]) == ["tannin"]


def test_half_a_colour_beside_a_spectrum_is_taken_from_the_spectrum(tmp_path):
    bands = range(400, 701, 10)
    heads = ",".join(["No", "L*", "a*", "b*", *map(str, bands)])
    text = f"{heads}\nK1,50,,2,{','.join(['0.2'] * len(bands))}"
    found = as_guessed(own_sheets.text(tmp_path / "own.csv", text))
    assert found.readings["a"].iloc[0] == pytest.approx(0, abs=0.1)
    assert found.readings["L"].iloc[0] == pytest.approx(51.8, abs=0.1)  # of R = 0.2 (CIE 15)


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("alum 15% owf", "potash alum 15 %"),
        ("alum 15 % o.w.f. + tartar 6 % w.o.f.", "potash alum 15 % with cream of tartar 6 %"),
        ("alum 150 g/kg", "potash alum 15 %"),
        ("alum 15 g per 100 g; weld .5 kg", "potash alum 15 %, weld 500 g"),
        ("alum, 15 %, weld, 50 %", "potash alum 15 %, weld 50 %"),
        ("alum 1 000 g; iron 20 mg", "potash alum 1000 g, ferrous sulfate 0.02 g"),
        ("1. alum 15 %; 2. weld 50 %, 1h30", "potash alum 15 %, weld 50 %"),
        ("aluminium sulfate 16-hydrate 10 %", "aluminium sulfate 16-hydrate 10 %"),
    ],
)
def test_doses_are_taken_in_the_unit_written(tmp_path, written, meant):
    held = _understood(tmp_path, f'No,Recipe\nK1,"{written}"\n')
    assert held.in_words("K1") == meant
    assert held.lost.empty


@pytest.mark.parametrize(
    "written",
    ["alum 10-15 %", "alum 1/2 %", "alum 1½ %", "alum 2 tsp", "alum 15 oz", "alum 1:1",
     "alum 15 % / weld 50 %"],
)  # fmt: skip
def test_what_is_not_one_number_is_no_dose_and_is_listed(tmp_path, written):
    held = _understood(tmp_path, f'No,Recipe\nK1,"{written}"\n')
    assert held.in_words("K1") == "potash alum"
    assert list(held.lost["found"]) == [written]


def test_a_range_of_heat_or_time_is_listed(tmp_path):
    content = "No,Recipe\nK1,alum 15 % at 80-90 °C\nK2,weld 50 % for 30-60 min\n"
    held = _understood(tmp_path, content)
    assert held.in_words("K1") == "potash alum 15 %"
    assert len(held.lost) == 2


@pytest.mark.parametrize(
    ("heading", "meant"),
    [
        ("Alum % owf", "potash alum 15 %"),
        ("Alum g/kg", "potash alum 1.5 %"),
        ("Alum (g per kg)", "potash alum 1.5 %"),
        ("Alum g/l", "potash alum 15 g/L"),
        ("Alum (mg)", "potash alum 0.015 g"),
        ("Alum (oz)", ""),
    ],
)
def test_doses_are_taken_in_the_unit_of_their_heading(tmp_path, heading, meant):
    held = _understood(tmp_path, f"No,{heading}\nK1,15\n")
    assert held.in_words("K1") == meant
    assert bool(meant) == held.lost.empty


@pytest.mark.parametrize(("heading", "grams"), [("Mass mg", 0.0005), ("Weight (kg)", 500.0)])
def test_a_mass_is_taken_in_the_unit_of_its_heading(tmp_path, heading, grams):
    held = _understood(tmp_path, f"No,{heading}\nK1,0.5\n")
    assert held.swatches["mass_g"].tolist() == [grams]


def test_a_step_names_its_material_with_a_number_and_its_unit_beside(tmp_path):
    content = (
        "Swatch,Step,Material,Amount,Unit\nK1,mordant,aluminium sulfate 16-hydrate,150,g/kg\n"
        "K2,mordant,alum,.5,% w.o.f.\n"
    )
    held = _understood(tmp_path, content)
    assert held.in_words("K1") == "aluminium sulfate 16-hydrate 15 %"
    assert held.in_words("K2") == "potash alum 0.5 %"


def test_ratios_are_read_and_ranges_listed(tmp_path):
    content = (
        "Swatch,Step,Material,Amount,Unit,Liquor ratio,pH,Dips\nK1,mordant,alum,5,g/L,1:30,4-5,\n"
        "K2,mordant,alum,5,g/L,40:1,pH 5,\nK3,vat,indigo,5,%,1 : 20-30,,3x\n"
    )
    held = _understood(tmp_path, content)
    ratios = held.steps.set_index("swatch")["liquor_ratio"]
    assert ratios[["K1", "K2"]].tolist() == [30.0, 40.0]
    assert np.isnan(ratios["K3"])
    assert held.steps["dips"].tolist()[2] == 3
    assert held.lost["found"].tolist() == ["4-5", "1 : 20-30"]
    tested = "Code,L*,a*,b*,White,Test\nK1,50,1,2,D65/10,after 5-10 washes\n"
    assert _understood(tmp_path, tested).lost["found"].tolist() == ["after 5-10 washes"]


def _understood(folder, content):
    return understood(own_sheets.text(folder / "own.csv", content), own_sheets.Meant({}))


def test_pots_in_odd_words_are_baths_and_a_round_is_no_cloth(tmp_path):
    content = (
        "Swatch,Fibre,Dye,Dye %,Dyepot no,Iron %,Iron pot,Round,Water bath\n"
        "K1,wool,weld,50,kettle 3,2,7,1,W1\nK2,wool,weld,50,?,2,not recorded,2,W1\n"
        "K3,wool,weld,50,-,,n/a,2,W1\n"
    )
    held = _understood(tmp_path, content)
    assert held.lost.empty
    assert held.steps["bath"].fillna("").tolist() == ["kettle 3", "7", "", "", ""]
    assert "ground" not in held.swatches
    assert held.swatches["Round"].tolist() == ["1", "2", "2"]
    bare = "Swatch,Fibre,Dye,Alum %,Kettle\nK1,wool,weld,15,3\n"
    (why,) = _understood(tmp_path, bare).lost["why"]
    assert "such as “Dye pot”" in why


def test_pots_of_two_sheets_are_not_one_because_both_are_called_1(tmp_path):
    """Madder in spring, madder and iron in autumn: the dye pots 1 and 2 of each are four."""
    bk = book.create(tmp_path / "b")
    for name, dose, darker in (("spring", 0, 0), ("autumn", 2, -9)):
        lines = ["Swatch,Fibre,Dye,Dye %,Dye pot,Iron %,Iron pot,L,a,b"]
        for i in (1, 2):
            lab = f"{45 + darker + i / 5},{30 + i / 5},20"
            lines.append(f"{name}{i},wool,madder,50,{i},{dose},{i if dose else ''},{lab}")
        path = own_sheets.text(tmp_path / f"{name}.csv", "\n".join(lines))
        bk = book.take_in(bk, understood(path, own_sheets.Meant({}, white=("D65", 10))))
    (pair,) = shift.of_step(book.wide(bk), "iron").pairs.to_dict("records")
    assert (pair["pots"], pair["caveat"]) == (2, "")
    first, last = book.wide(bk)["baths"].iloc[[0, -1]]
    assert first == "dye=1@spring.csv"
    assert last == "dye=2@autumn.csv modifier=2@autumn.csv"


def _workbook(path, rows, forms=None):
    made = Workbook()
    sheet = made.active
    for row in rows:
        sheet.append(row)
    for cell, form in (forms or {}).items():
        sheet[cell].number_format = form
    return made, sheet, path


def _read_in(path):
    found = book.sheets(path)
    fields = {s.name: book.matches(s).set_index("column")["field"].to_dict() for s in found}
    return book.understand(found, fields)


@pytest.mark.parametrize(
    ("form", "code"),
    [("000", "007"), ('"K-"000', "K-007"), (r"\K\-00", "K-07"), ("0", "7"), ("#,##0", "7")],
)
def test_a_code_is_taken_as_its_cell_shows_it(tmp_path, form, code):
    rows = [["Swatch", "Fibre", "Alum %"], [7, "wool", 15]]
    made, _, path = _workbook(tmp_path / "own.xlsx", rows, {"A2": form})
    made.save(path)
    assert _read_in(path).swatches["swatch"].tolist() == [code]


@pytest.mark.parametrize(
    ("value", "form", "meant"), [(0.15, "0%", 15), (15, '0.0" %"', 15), (15, r"0\%", 15)]
)
def test_only_a_format_that_counts_in_hundredths_makes_per_cent(tmp_path, value, form, meant):
    rows = [["Swatch", "Fibre", "Alum"], ["K1", "wool", value]]
    made, _, path = _workbook(tmp_path / "own.xlsx", rows, {"C2": form})
    made.save(path)
    assert _read_in(path).steps["amount"].tolist() == [meant]


def test_a_code_that_an_open_document_shows_with_zeros_keeps_them(tmp_path):
    cells = '<table:table-cell office:value-type="{}" office:value="7"><text:p>{}</text:p>'
    row = "<table:table-row>{}</table:table-row>"
    text = '<table:table-cell office:value-type="string"><text:p>{}</text:p></table:table-cell>'
    head = row.format("".join(map(text.format, ("Swatch", "Fibre"))))
    body = row.format(cells.format("float", "K-007") + "</table:table-cell>" + text.format("wool"))
    names = "".join(
        f' xmlns:{short}="urn:oasis:names:tc:opendocument:xmlns:{short}:1.0"'
        for short in ("office", "table", "text", "style")
    )
    content = f'<office:document-content{names}><table:table table:name="S">{head}{body}'
    with zipfile.ZipFile(tmp_path / "own.ods", "w") as packed:
        packed.writestr("content.xml", f"{content}</table:table></office:document-content>")
    assert _read_in(tmp_path / "own.ods").swatches["swatch"].tolist() == ["K-007"]


def test_what_is_hidden_in_a_spreadsheet_comes_in_and_is_said(tmp_path):
    rows = [["Swatch", "Fibre", "Alum %", "Iron %"], ["K1", "wool", 15, 2], ["K2", "wool", 15, 0]]
    made, sheet, path = _workbook(tmp_path / "own.xlsx", rows)
    sheet.row_dimensions[3].hidden = sheet.column_dimensions["D"].hidden = True
    old = made.create_sheet("Old")
    for row in (["Swatch", "Fibre", "Alum %"], ["K9", "silk", 12]):
        old.append(row)
    old.sheet_state = "hidden"
    made.save(path)
    notes = " ".join(_read_in(path).notes)
    for said in ("1 row.", "1 column.", "the sheet “Old”"):
        assert said in notes
    assert notes.count("though hidden in the spreadsheet") == 3


def test_one_code_written_with_its_accents_in_two_ways_is_one_swatch(tmp_path):
    (tmp_path / "own.csv").write_text("No,Fibre,Alum %\n\u00e91,wool,15\n", "utf-8")
    (tmp_path / "mac.csv").write_text("No,Fibre,Weld %\ne\u03011,wool,50\n", "utf-8")
    bk = book.create(tmp_path / "mine")
    for name in ("own.csv", "mac.csv"):
        bk = book.take_in(bk, _read_in(tmp_path / name))
    assert bk.swatches["swatch"].tolist() == ["\u00e91"]
    assert list(book.locate(bk, ["e\u03011"]).values()) == [("\u00e91", "whole")]
