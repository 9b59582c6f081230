"""Measurement files in the variants that are met, and what is refused."""

import io
import os
import random
import re
import subprocess
import sys
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from dyelab import convert, read
from dyelab.cli.convert_ import command
from dyelab.convert.colour_science import library
from dyelab.errors import InputError

ROOT = Path(__file__).parents[1]
BANDS = list(range(400, 701, 10))
FACTORS = np.round(0.3 + 0.2 * np.sin(np.outer([1, 2, 3], np.array(BANDS) / 97)), 4)
NAMES = ["K-01", "K-02", "K-03"]


@pytest.fixture
def write(tmp_path):
    def write(content, name="swatches.txt", encoding="utf-8"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode(encoding))
        return path

    return write


def cgats_text(naming="SPECTRAL_NM{}", *, mark="\t", comma=False, scale=1, name="{}", sets=3):
    rows = [
        mark.join([name.format(sample), *(f"{x * scale:.4f}" for x in row)])
        for sample, row in zip(NAMES, FACTORS, strict=True)
    ]
    data = "\n".join(rows)
    return "\n".join(
        [
            "CGATS.17",
            'ORIGINATOR "nobody"',
            "# a remark",
            "NUMBER_OF_FIELDS 32",
            "BEGIN_DATA_FORMAT",
            mark.join(["SAMPLE_ID", *(naming.format(nm) for nm in BANDS)]),
            "END_DATA_FORMAT",
            f"NUMBER_OF_SETS {sets}",
            "BEGIN_DATA",
            data.replace(".", ",") if comma else data,
            "END_DATA",
            "",
        ]
    )


def cxf_text(prefix="cc:", step='Increment="10"', start='StartWL="400"'):
    colon = f":{prefix[:-1]}" if prefix else ""
    objects = "".join(
        f'<{prefix}Object ObjectType="Standard" Name="{sample}" Id="o{i}"><{prefix}ColorValues>'
        f'<{prefix}ReflectanceSpectrum {start} ColorSpecification="CS1">'
        f"{' '.join(map(str, row))}</{prefix}ReflectanceSpectrum>"
        f"</{prefix}ColorValues></{prefix}Object>"
        for i, (sample, row) in enumerate(zip(NAMES, FACTORS, strict=True))
    )
    return (
        f'<?xml version="1.0" encoding="UTF-8"?><{prefix}CxF '
        f'xmlns{colon}="http://colorexchangeformat.com/CxF3-core"><{prefix}Resources>'
        f"<{prefix}ObjectCollection>{objects}</{prefix}ObjectCollection>"
        f'<{prefix}ColorSpecificationCollection><{prefix}ColorSpecification Id="CS1">'
        f"<{prefix}MeasurementSpec><{prefix}WavelengthRange {step}/></{prefix}MeasurementSpec>"
        f"</{prefix}ColorSpecification></{prefix}ColorSpecificationCollection>"
        f"</{prefix}Resources></{prefix}CxF>"
    )


def table_text(header="sample", mark=",", naming="{}", scale=1):
    head = mark.join([header, *(naming.format(nm) for nm in BANDS)])
    rows = [
        mark.join([sample, *(f"{x * scale:.6g}" for x in row)])
        for sample, row in zip(NAMES, FACTORS, strict=True)
    ]
    return "\n".join([head, *rows, ""])


def same_spectra(found):
    assert found.spectra["sample"].tolist() == NAMES
    assert convert.wavelength_columns(found.spectra) == [str(nm) for nm in BANDS]
    values = found.spectra[[str(nm) for nm in BANDS]].to_numpy(float)
    np.testing.assert_allclose(values, FACTORS, atol=1e-9)


NAMINGS = ["SPECTRAL_NM{}", "SPECTRAL_NM_{}", "SPEC_{}", "nm{}", "{}nm", "SPECTRAL_{}"]
TABLE_NAMINGS = ["{}", "R_{}", "R{}", "{} nm", "Wavelength {}", "{}.0"]
HEADS = [
    'WEIGHTING_FUNCTION "ILLUMINANT,D50"\nWEIGHTING_FUNCTION "OBSERVER,2 degree"',
    'MEASUREMENT_SOURCE "Illumination=D50 ObserverAngle=2"',
]


@pytest.mark.parametrize("naming", NAMINGS)
def test_cgats_spectral_names(write, naming):
    same_spectra(read.measurements(write(cgats_text(naming))))


@pytest.mark.parametrize("naming", [*NAMINGS, *TABLE_NAMINGS])
@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_table_spectral_names(write, naming, mark):
    same_spectra(read.measurements(write(table_text(mark=mark, naming=naming), "s.csv")))


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1", "utf-16", "utf-16-le"])
def test_line_ends_and_encodings(write, ending, encoding):
    text = cgats_text(name="{}").replace("nobody", "Färberin").replace("\n", ending)
    found = read.measurements(write(text, encoding=encoding))
    same_spectra(found)
    assert any("Windows-1252" in note for note in found.notes) == (encoding == "latin-1")


def test_cgats_with_decimal_commas(write):
    found = read.measurements(write(cgats_text(comma=True)))
    same_spectra(found)
    assert "decimal commas were read as points" in found.notes


def test_cgats_with_spaces_and_quoted_names(write):
    text = cgats_text(mark=" ", name='"{}"')
    same_spectra(read.measurements(write(text)))


def test_cgats_with_an_empty_tab_column(write):
    same_spectra(read.measurements(write(cgats_text().replace("K-02\t", "K-02\t\t"))))


def test_cgats_format_over_many_lines_and_no_identifier(write):
    text = cgats_text().replace("CGATS.17\n", "").replace("SPECTRAL_NM450", "\nSPECTRAL_NM450")
    same_spectra(read.measurements(write(text)))


def test_cgats_pairs_of_wavelength_and_value(write):
    head = "\t".join(["SampleID", "LAB_L", *["SPECTRAL_NM", "SPECTRAL_DEC"] * len(BANDS)])
    rows = [
        "\t".join([sample, "50", *(f"{nm}\t{x}" for nm, x in zip(BANDS, row, strict=True))])
        for sample, row in zip(NAMES, FACTORS, strict=True)
    ]
    body = ["BEGIN_DATA_FORMAT", head, "END_DATA_FORMAT", "BEGIN_DATA", *rows, "END_DATA"]
    same_spectra(read.measurements(write("\n".join(body))))


def test_cgats_pairs_must_agree_on_wavelengths(write):
    head = "\t".join(["ID", *["SPECTRAL_NM", "SPECTRAL_DEC"] * 10])
    rows = ["\t".join(["a", *["400\t0.5"] * 10]), "\t".join(["b", *["410\t0.5"] * 10])]
    body = ["BEGIN_DATA_FORMAT", head, "END_DATA_FORMAT", "BEGIN_DATA", *rows, "END_DATA"]
    with pytest.raises(InputError, match=r"line 6: its wavelengths differ"):
        read.measurements(write("\n".join(body)))


def test_cgats_several_tables_in_one_file(write):
    second = cgats_text().replace("K-0", "M-0").replace("CGATS.17\n", "")
    found = read.measurements(write(cgats_text() + second))
    assert found.spectra["sample"].tolist() == [*NAMES, "M-01", "M-02", "M-03"]


def test_cgats_counts_that_lose_nothing_are_noted(write):
    text = cgats_text(sets=2).replace("NUMBER_OF_FIELDS 32", "NUMBER_OF_FIELDS 9")
    found = read.measurements(write(text))
    same_spectra(found)
    assert any("NUMBER_OF_SETS says 2" in note for note in found.notes)
    assert any("NUMBER_OF_FIELDS says 9" in note for note in found.notes)


@pytest.mark.parametrize("head", HEADS)
@pytest.mark.parametrize("naming", ["LAB_{}", "Lab_{}"])
def test_cgats_lab_with_its_white_in_the_head(write, head, naming):
    columns = "\t".join(naming.format(part) for part in ("L", "a", "b"))
    body = f"BEGIN_DATA_FORMAT\nSAMPLE_NAME\t{columns}\nEND_DATA_FORMAT"
    text = f"CGATS.17\n{head}\n{body}\nBEGIN_DATA\nmadder\t50\t20\t10\nEND_DATA\n"
    lab = read.measurements(write(text)).lab
    assert lab[["sample", "L", "illuminant", "observer"]].values.tolist() == [
        ["madder", 50.0, "D50", 2]
    ]


@pytest.mark.parametrize("prefix", ["cc:", "", "x:"])
def test_cxf_namespaces(write, prefix):
    same_spectra(read.measurements(write(cxf_text(prefix), "s.cxf")))


def test_cxf_start_from_the_specification(write):
    text = cxf_text(step='StartWL="400" Increment="10"', start="")
    same_spectra(read.measurements(write(text, "s.cxf")))


def test_cxf_keeps_factors_beyond_one(write):
    text = cxf_text().replace(str(FACTORS[0][0]), "1.0931").replace(str(FACTORS[1][0]), "-0.0012")
    found = read.measurements(write(text, "s.cxf"))
    assert found.spectra["400"].tolist()[:2] == [1.0931, -0.0012]


def test_cxf_with_entities_is_refused(write):
    bomb = '<!DOCTYPE x [<!ENTITY a "b">]>'
    text = cxf_text().replace('"UTF-8"?>', f'"UTF-8"?>{bomb}')
    with pytest.raises(InputError, match="document type or entities"):
        read.measurements(write(text, "s.cxf"))


def test_cxf_spectrum_with_a_value_missing(write):
    text = cxf_text().replace(f" {FACTORS[1][-1]}<", "<")
    with pytest.raises(InputError, match=r"object 2 \(K-02\): 30 values where the others .* 31"):
        read.measurements(write(text, "s.cxf"))
    found = read.measurements(write(text, "s.cxf"), skip_bad=True)
    assert found.spectra["sample"].tolist() == ["K-01", "K-03"]
    assert found.faults["row"].tolist() == [2]


def test_cxf_without_a_step_is_refused(write):
    with pytest.raises(InputError, match="Increment"):
        read.measurements(write(cxf_text(step=""), "s.cxf"))


def test_workbook(tmp_path):
    path = tmp_path / "readings.xlsx"
    frame = pd.DataFrame(FACTORS * 100, columns=[f"{nm} nm" for nm in BANDS])
    frame.insert(0, "Sample", NAMES)
    with pd.ExcelWriter(path) as book:
        pd.DataFrame({"notes": ["nothing here"]}).to_excel(book, sheet_name="cover", index=False)
        frame.to_excel(book, sheet_name="data", index=False, startrow=3)
    found = read.measurements(path)
    same_spectra(found)
    assert any("per cent: the brightest band" in note for note in found.notes)


def test_scale_by_rule_by_name_and_by_asking(write):
    percent = table_text(scale=100)
    same_spectra(read.measurements(write(percent, "a.csv")))
    dark = table_text(naming="SPECTRAL_PCT_{}", scale=1)
    found = read.measurements(write(dark, "b.csv"))
    np.testing.assert_allclose(found.spectra["400"], FACTORS[:, 0] / 100)
    found = read.measurements(write(table_text(), "c.csv"), scale="percent")
    np.testing.assert_allclose(found.spectra["400"], FACTORS[:, 0] / 100)


def test_lab_table_with_white_in_columns(write):
    text = "Swatch;L*;a*;b*;Illuminant;Observer;note\nK-1;50,5;20;10;D65;10°;rain\n"
    lab = read.measurements(write(text, "s.csv")).lab
    assert lab.iloc[0].tolist() == ["K-1", 50.5, 20, 10, "D65", 10, "s.csv", "rain"]


def test_lab_table_with_white_from_the_caller(write):
    path = write("sample,L,a,b\nK-1,50,20,10\n", "s.csv")
    with pytest.raises(InputError, match=r'row 2 \(K-1\).*give it: illuminant="D50", observer=2'):
        read.measurements(path)
    found = read.measurements(path, illuminant="D50", observer=2)
    assert found.lab[["illuminant", "observer"]].values.tolist() == [["D50", 2]]
    assert any("taken as D50/2" in note for note in found.notes)


BAD = {
    "empty": (b"", "the file is empty"),
    "blank": (b" \n\n", "the file is empty"),
    "binary": (bytes(range(256)) * 20, "binary data"),
    "picture": (b"\x89PNG\r\n\x1a\n" + bytes(50), "a PNG picture"),
    "broken utf-16": (b"\xff\xfe" + "sample,L".encode("utf-16-le") + b"\x00", "breaks off"),
    "truncated cgats": (cgats_text().split("K-03")[0], "has no END_DATA"),
    "cgats without data": (cgats_text().split("BEGIN_DATA\n")[0], "no BEGIN_DATA line"),
    "truncated cxf": (cxf_text()[:-200], "damaged or breaks off"),
    "other xml": ("<html></html>", "where 'CxF' was expected"),
    "too few rows": (cgats_text(sets=5), "NUMBER_OF_SETS says 5"),
    "wrong count": (cgats_text().replace("K-02\t0", "K-02\t1\t1\t0"), r"line 11: 34 values"),
    "not a number": (table_text().replace("K-02,0.", "K-02,x0."), r"row 3 \(K-02\): 400 = 'x0"),
    "nan": (re.sub("K-03,[^,]+", "K-03,nan", table_text()), r"row 4 \(K-03\): 400 = 'nan'"),
    "duplicate": (table_text().replace("K-03", "K-01"), r"row 4 \(K-01\).*also on row 2"),
    "no name": (table_text().replace("K-03", ""), r"row 4: sample = blank"),
    "impossible": (table_text().replace("K-02,0.", "K-02,-7."), r"row 3 \(K-02\): 400 = -7"),
    "rgb": ("sample,L,a,b,illuminant,observer\nK-1,212,10,9,D65,10\n", "screen_to_lab"),
    "no header": ("madder,lovely\nweld,bright\n", "no header found"),
    "column twice": ("sample,L,a,b,b\nK,1,2,3,4\n", "'b' is there 2 times"),
    "header only": (table_text().split("\n")[0] + "\n", "the table is empty"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_files_are_refused_by_the_command(write, tmp_path, case):
    content, message = BAD[case]
    out = tmp_path / "out.csv"
    result = CliRunner().invoke(command, [str(write(content)), "-o", str(out)])
    assert isinstance(result.exception, InputError), result.output
    assert "swatches.txt" in str(result.exception)
    with pytest.raises(InputError, match=message):
        read.measurements(write(content))
    assert not out.exists()
    assert "\n" not in str(result.exception)


def test_missing_file_and_folder(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read.measurements(tmp_path / "none.csv")
    with pytest.raises(InputError, match="is a folder"):
        read.measurements(tmp_path)


def test_skip_bad_offers_the_good_rows_and_names_the_others(write):
    text = table_text().replace("K-02,0.", "K-02,x0.")
    found = read.measurements(write(text), skip_bad=True)
    assert found.spectra["sample"].tolist() == ["K-01", "K-03"]
    assert found.faults["row"].tolist() == [3]


def test_command_converts_several_files(write, tmp_path):
    lab = "sample,L,a,b,illuminant,observer\nM-1,50,20,10,A,10\n"
    out = tmp_path / "out.csv"
    files = [str(write(cgats_text())), str(write(lab, "lab.csv"))]
    result = CliRunner().invoke(command, [*files, "-o", str(out)], catch_exceptions=False)
    assert result.exit_code == 0
    table = pd.read_csv(out, keep_default_na=False)
    assert list(table.columns[:7]) == ["sample", "L", "a", "b", "illuminant", "observer", "source"]
    assert table["flags"].tolist() == ["ends", "ends", "ends", "adapted"]
    expected = convert.spectrum_to_lab(BANDS, FACTORS)
    np.testing.assert_allclose(table.loc[:2, ["L", "a", "b"]].astype(float), expected, rtol=1e-5)


def test_command_under_another_white(write, tmp_path):
    out = tmp_path / "out.csv"
    arguments = [str(write(cgats_text())), "-o", str(out), "--illuminant", "A", "--observer", "2"]
    CliRunner().invoke(command, arguments, catch_exceptions=False)
    expected = convert.spectrum_to_lab(BANDS, FACTORS, illuminant="A", observer=2)
    np.testing.assert_allclose(pd.read_csv(out)[["L", "a", "b"]], expected, rtol=1e-5)


def test_command_agrees_with_the_cielab_written_beside_spectra_from_380_nm(write, tmp_path):
    """A CxF file as instruments write it: bands from 380 nm, the step in the specification.

    The CIELAB beside the spectra comes from colour-science, summing each spectrum at 1 nm.
    """
    science, bands = library(), np.arange(380, 681, 10)
    observer = science.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    spectra = [science.SpectralDistribution(row, bands) for row in FACTORS]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it says that it aligns the tables
        xyz = [science.sd_to_XYZ(x, observer, science.SDS_ILLUMINANTS["D50"]) for x in spectra]
    theirs = convert.xyz_to_lab(np.array(xyz), convert.white("D50", 2))
    text = cxf_text(start='StartWL="380"', step='StartWL="380" Increment="10"')
    out = tmp_path / "out.csv"
    arguments = [str(write(text, "s.cxf")), "-o", str(out), "--illuminant", "D50"]
    CliRunner().invoke(command, [*arguments, "--observer", "2"], catch_exceptions=False)
    ours = pd.read_csv(out)[["L", "a", "b"]].to_numpy()
    assert convert.dE76(ours, theirs).max() < 0.15
    shifted = convert.spectrum_to_lab(bands + 20, FACTORS, illuminant="D50", observer=2)
    assert convert.dE76(shifted, theirs).min() > 1


def test_command_refuses_one_sample_in_two_files(write, tmp_path):
    files = [str(write(cgats_text())), str(write(table_text(), "again.csv"))]
    result = CliRunner().invoke(command, [*files, "-o", str(tmp_path / "out.csv")])
    assert "K-01" in str(result.exception)
    assert "swatches.txt and in again.csv" in str(result.exception)


def test_odd_wavelengths_are_resampled_and_too_few_refused(write):
    text = "sample," + ",".join(str(400 + 7 * i) for i in range(43))
    text += "\nK-01," + ",".join(["0.5"] * 43) + "\n"
    found = read.measurements(write(text, "odd.csv"))
    assert any("resampled to every 10 nm" in note for note in found.notes)
    assert list(found.spectra.columns[1:32]) == [str(nm) for nm in range(400, 691, 10)] + ["source"]
    text = "sample," + ",".join(str(400 + 25 * i) for i in range(13))
    with pytest.raises(InputError, match=r"25 nm apart, from 400 to 700 nm.*at most 20 nm"):
        read.measurements(write(text + "\nK-01" + ",0.5" * 13 + "\n", "few.csv"))


def test_repeated_names_are_told_apart_by_their_numbers(write):
    rows = "\n".join(f"{i},madder,{50 + i},20,10,D65,10" for i in (1, 2, 3))
    found = read.measurements(write(f"SAMPLE_ID,SAMPLE_NAME,L,a,b,illuminant,observer\n{rows}\n"))
    assert found.lab["sample"].tolist() == ["madder (1)", "madder (2)", "madder (3)"]
    assert "3 names repeat: told apart by SAMPLE_ID, such as 'madder (1)'" in found.notes


def test_cxf_repeated_names_are_told_apart_by_their_ids(write):
    found = read.measurements(write(cxf_text().replace('"K-03"', '"K-01"'), "s.cxf"))
    assert found.spectra["sample"].tolist() == ["K-01 (o0)", "K-02", "K-01 (o2)"]


def test_cgats_a_sample_that_begins_with_a_hash_is_no_remark(write):
    text = cgats_text().replace("K-02", "#2").replace("BEGIN_DATA\n", "BEGIN_DATA\n# by hand\n")
    assert read.measurements(write(text)).spectra["sample"].tolist() == ["K-01", "#2", "K-03"]


def test_cgats_a_blank_field_before_a_trailing_tab(write):
    text = "BEGIN_DATA_FORMAT\nSAMPLE_ID\tNOTE\tLAB_L\tLAB_A\tLAB_B\nEND_DATA_FORMAT\nBEGIN_DATA\n"
    found = read.measurements(
        write(text + "K-01\t\t50\t20\t10\t\nEND_DATA\n"), illuminant="D50", observer=2
    )
    assert found.lab[["sample", "L", "b"]].values.tolist() == [["K-01", 50, 10]]


@pytest.mark.parametrize("first", ["nm", "Wavelength (nm)", ""])
def test_wavelengths_down_the_first_column(write, first):
    lines = [",".join([first, *NAMES])]
    lines += [",".join([str(nm), *map(str, row)]) for nm, row in zip(BANDS, FACTORS.T, strict=True)]
    found = read.measurements(write("exported on a Tuesday\n\n" + "\n".join(lines) + "\n"))
    same_spectra(found)
    bad = "\n".join(lines).replace(f"450,{FACTORS[0, 5]}", "450,x")
    with pytest.raises(InputError, match=r"column 2 \(K-01\): 450 = 'x' is not a reflectance"):
        read.measurements(write(bad))


def test_one_slip_of_the_decimal_point_does_not_rescale_the_file(write):
    text = table_text().replace(f"K-02,{FACTORS[1, 0]:.6g}", "K-02,45.3")
    with pytest.raises(InputError, match=r"row 3 \(K-02\): 400 = 45.3 is outside -0.2 to 2"):
        read.measurements(write(text))
    found = read.measurements(write(text), skip_bad=True)
    np.testing.assert_allclose(found.spectra["410"], FACTORS[[0, 2], 1])


def test_a_row_of_factors_in_a_file_of_per_cent_is_refused(write):
    percent, factors = table_text(scale=100).split("\n"), table_text().split("\n")
    text = "\n".join([*percent[:3], factors[3], ""])
    with pytest.raises(InputError, match=r"row 4 \(K-03\).*Multiply it by 100.*say scale=.percent"):
        read.measurements(write(text))
    assert len(read.measurements(write(text), scale="percent").spectra) == 3


def test_cells_with_a_per_cent_sign(write):
    head, *rows = table_text(scale=100).strip().split("\n")
    same_spectra(read.measurements(write("\n".join([head, *(row + " %" for row in rows)]))))


def test_tables_over_different_wavelengths_keep_their_own(write, tmp_path):
    narrow = [nm for nm in BANDS if nm <= 690]
    second = table_text().replace("K-0", "M-0").split("\n")
    second = "\n".join(",".join(line.split(",")[:-1]) for line in second if line)
    path, out = tmp_path / "two.xlsx", tmp_path / "out.csv"
    with pd.ExcelWriter(path) as book:
        for name, text in {"first": table_text(), "second": second}.items():
            frame = pd.DataFrame([line.split(",") for line in text.strip().split("\n")])
            frame.to_excel(book, sheet_name=name, index=False, header=False)
    found = read.measurements(path)
    assert "sheet 'second' was read" in found.notes
    CliRunner().invoke(command, [str(path), "-o", str(out)], catch_exceptions=False)
    ours = pd.read_csv(out)
    wide = convert.spectrum_to_lab(BANDS, FACTORS)
    small = convert.spectrum_to_lab(narrow, FACTORS[:, :-1])
    np.testing.assert_allclose(ours[["L", "a", "b"]], np.r_[wide, small], rtol=1e-5)


@pytest.mark.parametrize(
    "text",
    [
        "sample,L,a,b,illuminant\nK-1,50,20,10,D65/10\n",
        "sample,L* (D65/10°),a* (D65/10°),b* (D65/10°)\nK-1,50,20,10\n",
        "sample,L,a,b,Illuminant,Observer\nK-1,50,20,10,CIE D65,CIE 1964\n",
    ],
)
def test_white_in_one_cell_in_headings_and_in_other_words(write, text):
    lab = read.measurements(write(text)).lab
    assert lab[["illuminant", "observer"]].values.tolist() == [["D65", 10]]


def test_an_illuminant_s_number_is_not_taken_for_an_observer(write):
    with pytest.raises(InputError, match="CIELAB without its observer"):
        read.measurements(write("sample,L,a,b,illuminant\nK-1,50,20,10,F2\n"))


LAB_ELEMENT = (
    '<cc:ColorCIELab ColorSpecification="{}"><cc:L>{}</cc:L><cc:A>{}</cc:A><cc:B>{}</cc:B>'
    "</cc:ColorCIELab>"
)
WHITE_ELEMENT = (
    '<cc:ColorSpecification Id="CS2"><cc:TristimulusSpec><cc:Illuminant>D50</cc:Illuminant>'
    "<cc:Observer>2_Degree</cc:Observer></cc:TristimulusSpec></cc:ColorSpecification>"
)


def cxf_with_lab(specification="CS2", **options):
    text = cxf_text(**options)
    for row in convert.spectrum_to_lab(BANDS, FACTORS, illuminant="D50", observer=2):
        element = LAB_ELEMENT.format(specification, *np.round(row, 4))
        text = text.replace("<cc:ColorValues><cc:Refl", f"<cc:ColorValues>{element}<cc:Refl", 1)
    opening = "<cc:ColorSpecificationCollection>"
    return text.replace(opening, opening + WHITE_ELEMENT)


def test_cxf_with_its_own_cielab_says_how_far_they_agree(write):
    found = read.measurements(write(cxf_with_lab(), "s.cxf"))
    same_spectra(found)
    assert found.lab is None
    assert "the file's own CIELAB (D50/2°) agrees: at most 0.00 ΔE*ab away" in found.notes
    found = read.measurements(write(cxf_with_lab(start='StartWL="410"'), "s.cxf"))
    assert any("differs by up to" in note and "wavelengths" in note for note in found.notes)


def test_cielab_without_a_white_does_not_matter_where_there_are_spectra(write):
    found = read.measurements(write(cxf_with_lab(specification="CS1"), "s.cxf"))
    same_spectra(found)
    assert len(found.faults) == 0


def test_wavelengths_between_whole_nm_are_resampled(write):
    found = read.measurements(write(table_text().replace(",410,", ",410.5,")))
    assert any("9.5 to 10.5 nm apart" in note and "cubic spline" in note for note in found.notes)


def test_refusal_offers_the_good_rows(write):
    text = table_text().replace("K-02,0.", "K-02,x0.").replace("K-03,", ",")
    with pytest.raises(
        InputError, match=r"1 more .*The other 1 rows are good: skip_bad=True takes"
    ):
        read.measurements(write(text))


def test_command_names_the_file_whose_bands_it_cannot_use(write, tmp_path):
    text = "sample," + ",".join(map(str, range(500, 651, 10))) + "\nK-1" + ",0.5" * 16 + "\n"
    result = CliRunner().invoke(command, [str(write(text)), "-o", str(tmp_path / "out.csv")])
    assert re.match(r"swatches.txt: the spectrum runs from 500 to 650 nm", str(result.exception))


def test_command_never_writes_over_a_measurement(write):
    path = write(table_text())
    result = CliRunner().invoke(command, [str(path), "-o", str(path)])
    assert "would destroy it" in str(result.exception)
    assert path.read_text(encoding="utf-8") == table_text()


def test_command_neutralises_text_that_a_spreadsheet_would_run(write, tmp_path):
    out = tmp_path / "out.csv"
    text = "sample,L,a,b,illuminant,observer\n=1+1,50,20,-10,D65,10\n"
    CliRunner().invoke(command, [str(write(text)), "-o", str(out)], catch_exceptions=False)
    table = pd.read_csv(out)
    assert table["sample"].tolist() == ["'=1+1"]
    assert table["b"].tolist() == [-10]


def test_command_says_what_it_decided(write, tmp_path):
    lab = write("sample,L,a,b,illuminant,observer\nM-1,50,20,10,A,10\n", "lab.csv")
    arguments = [str(write(cgats_text())), str(lab), "-o", str(tmp_path / "out.csv")]
    said = CliRunner().invoke(command, arguments, catch_exceptions=False).stderr
    assert "swatches.txt: measured from 400 to 700 nm: beyond" in said
    assert "lab.csv: 1 colours adapted to D65/10°, an estimate" in said


def workbook(frame, **options):
    held = io.BytesIO()
    frame.to_excel(held, **options)
    return held.getvalue()


def test_names_under_a_blank_heading(write):
    frame = pd.DataFrame(FACTORS, columns=BANDS, index=NAMES)
    same_spectra(read.measurements(write(workbook(frame), "s.xlsx")))
    same_spectra(read.measurements(write(table_text(header=""), "s.csv")))


def test_a_quotation_mark_left_open_does_not_swallow_rows(write):
    text = table_text().replace("K-02", '"K-02')
    with pytest.raises(InputError, match="row 3: a quotation mark is opened and never closed"):
        read.measurements(write(text), skip_bad=True)


def test_a_workbook_that_unpacks_to_far_too_much_is_refused(write, monkeypatch):
    monkeypatch.setattr("dyelab.limits.TABLE_BYTES", 6000)
    with pytest.raises(InputError, match="bytes when unpacked, the most that is read is 6,000"):
        read.measurements(write(workbook(pd.DataFrame(FACTORS, columns=BANDS)), "s.xlsx"))


SOUND = {
    "cgats": cgats_text().encode(),
    "decimal comma": cgats_text(comma=True).encode("utf-16"),
    "cxf": cxf_text().encode(),
    "csv": table_text(scale=100, mark=";").encode(),
    "xlsx": workbook(pd.DataFrame(FACTORS, columns=BANDS, index=NAMES)),
    "lab": b"sample,L,a,b,illuminant,observer\nM-1,50,20,10,A,10\nM-2,51,2,10,A,10\n",
}


def damaged(data, chance):
    """A sound file cut short, with bytes changed, lost or repeated, or a line lost or repeated."""
    start = chance.randrange(len(data))
    end = start + chance.randrange(1, 60)
    lines = data.split(b"\n")
    n = chance.randrange(len(lines))
    return chance.choice(
        [
            data[:start],
            data[:start] + data[end:],
            data[:end] + data[start:],
            data[:start] + bytes([chance.randrange(256)]) + data[start + 1 :],
            data[:start] + chance.choice([b"0", b",", b";", b'"', b"#", b"<", b"-"]) + data[start:],
            b"\n".join(lines[:n] + lines[n + 1 :]),
            b"\n".join(lines[: n + 1] + lines[n:]),
        ]
    )


@pytest.mark.parametrize("kind", SOUND)
def test_damage_is_read_around_or_refused_in_one_line(write, kind):
    """Whatever the damage, no other error than the refusal, and it names the file."""
    chance = random.Random(kind)
    refusals = []
    for _ in range(30):
        path = write(damaged(SOUND[kind], chance), "K77.dat")
        try:
            found = read.measurements(path)
        except InputError as error:
            refusals.append(str(error))
        else:
            assert found.lab is not None or found.spectra is not None
    assert len(refusals) >= 6
    assert all("K77.dat" in text and "\n" not in text for text in refusals)


def test_geometry_stated_by_the_file_is_kept(write):
    text = cgats_text().replace("# a remark", 'MEASUREMENT_GEOMETRY "45/0"')
    assert set(read.measurements(write(text)).spectra["geometry"]) == {"45/0"}
    assert "geometry" not in read.measurements(write(cgats_text())).spectra


def test_command_keeps_the_flags_a_table_brings(write, tmp_path):
    head, *rows = table_text().strip().split("\n")
    text = "\n".join([head + ",flags", *(row + ",uneven" for row in rows)])
    out = tmp_path / "out.csv"
    CliRunner().invoke(command, [str(write(text)), "-o", str(out)], catch_exceptions=False)
    assert set(pd.read_csv(out)["flags"]) == {"uneven ends"}


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["none.csv", "-o", "out.csv"], 1, "there is no such file"),
        (["good.csv", "-o", "blocked/out.csv"], 1, "Check the folder"),
        (["good.csv"], 2, "Give -o OUT.csv, --into BOOK, or both"),
        (["good.csv", "-o", "out.csv", "--illuminant", "D66"], 1, "Did you mean 'D65'"),
    ],
)
def test_command_from_the_shell(tmp_path, arguments, code, said):
    (tmp_path / "good.csv").write_text(table_text(), encoding="utf-8")
    (tmp_path / "blocked").write_text("a file where a folder is needed", encoding="utf-8")
    run = subprocess.run(
        [sys.executable, "-m", "dyelab", "convert", *arguments],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
    )
    assert run.returncode == code
    assert said in run.stderr
    assert "Traceback" not in run.stderr
    assert not (tmp_path / "out.csv").exists()
