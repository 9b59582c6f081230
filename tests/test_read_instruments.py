"""What instruments write beside plain spectra: XYZ, norms, odd grids, conditions, other things."""

import io
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from dyelab import convert, read
from dyelab.cli.convert_ import command as convert_command
from dyelab.cli.measure_ import command as measure_command
from dyelab.errors import InputError

BANDS = np.arange(400, 701, 10)
GREY = "\t".join(["0.2"] * 31)


@pytest.fixture
def write(tmp_path):
    def write(content, name="readings.txt"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return write


def cgats(rows, head="", fields=None):
    fields = fields or "\t".join(["SAMPLE_ID", *(f"SPECTRAL_NM{nm}" for nm in BANDS)])
    lines = ["CGATS.17", *filter(None, [head]), "BEGIN_DATA_FORMAT", fields, "END_DATA_FORMAT"]
    return "\n".join([*lines, "BEGIN_DATA", *rows, "END_DATA", ""])


# --- XYZ alone (CIE 15, equations of L*, a*, b*; the worked value of tests/published)


@pytest.mark.parametrize("names", ["X,Y,Z", "XYZ_X,XYZ_Y,XYZ_Z", "CIE X,CIE Y,CIE Z"])
def test_xyz_alone_becomes_cielab(write, names):
    text = f"sample,{names},illuminant,observer\nK,20.654008,12.197225,5.136952,D65,2\n"
    found = read.measurements(write(text))
    lab = found.lab[["L", "a", "b"]].to_numpy(float)[0]
    assert lab == pytest.approx([41.5279, 52.6371, 26.9181], abs=2e-3)
    assert any("computed from XYZ" in note for note in found.notes)


def test_xyz_counted_to_one_and_without_its_white(write):
    text = "sample,X,Y,Z\nK,0.2065,0.1220,0.0514\nW,0.95,1.0,1.08\n"
    with pytest.raises(InputError, match="XYZ without its illuminant"):
        read.measurements(write(text))
    lab = read.measurements(write(text), illuminant="D65", observer=2).lab
    assert lab["L"].to_list() == pytest.approx([41.53, 100], abs=0.02)


# --- stated norms (SPECTRAL_NORM, CGATS.17)


@pytest.mark.parametrize(("norm", "value"), [("100", 1.7), ("255", 4.335), ("1.0", 0.017)])
def test_a_stated_norm_counts(write, norm, value):
    rows = ["K\t" + "\t".join([str(value)] * 31)]
    found = read.measurements(write(cgats(rows, f'SPECTRAL_NORM "{norm}"')))
    lab = convert.spectra_to_lab(found.spectra)
    # Y = 1.7: L* = 116 * 0.017^(1/3) - 16 (CIE 15).
    assert lab["L"].iloc[0] == pytest.approx(116 * 0.017 ** (1 / 3) - 16, abs=1e-6)


def test_a_norm_that_is_no_number_is_refused(write):
    with pytest.raises(InputError, match=r"SPECTRAL_NORM is 'white'.*take the line out"):
        read.measurements(write(cgats([f"K\t{GREY}"], "SPECTRAL_NORM white")))


# --- headers and wavelengths


def test_a_header_of_spaces_and_tabs(write):
    fields = "SAMPLE_ID " + "\t".join(f"SPECTRAL_NM{nm}" for nm in BANDS)
    found = read.measurements(write(cgats([f"K\t{GREY}"], fields=fields)))
    assert found.spectra["sample"].tolist() == ["K"]
    assert found.spectra["550"].tolist() == [0.2]


def test_any_grid_is_resampled(write):
    at = np.arange(300.132, 1050, 3.31)
    curve = 0.4 + 0.3 * np.sin(at / 60)
    text = "sample," + ",".join(f"{nm:.3f}" for nm in at) + "\nK,"
    found = read.measurements(write(text + ",".join(f"{x:.6f}" for x in curve) + "\n", "odd.csv"))
    bands = convert.wavelength_columns(found.spectra)
    assert set(np.diff([int(band) for band in bands])) == {5}
    true = 0.4 + 0.3 * np.sin(np.array(bands, float) / 60)
    assert found.spectra[bands].to_numpy(float)[0] == pytest.approx(true, abs=1e-5)
    fine = np.arange(360, 781)
    lab = convert.spectrum_to_lab(fine, 0.4 + 0.3 * np.sin(fine / 60))
    assert convert.spectra_to_lab(found.spectra)[["L", "a", "b"]].iloc[0].to_list() == (
        pytest.approx(lab, abs=0.01)
    )


def test_coarse_data_under_lamps_with_lines_are_warned_of(write, tmp_path):
    text = "sample," + ",".join(map(str, range(400, 701, 20))) + "\nK" + ",0.5" * 16 + "\n"
    for lamp, warned in (("FL11", True), ("D65", False)):
        out = tmp_path / f"{lamp}.csv"
        said = CliRunner().invoke(
            convert_command,
            [str(write(text, "coarse.csv")), "-o", str(out), "--illuminant", lamp],
            catch_exceptions=False,
        )
        assert ("bands every 20 nm say too little" in said.output) == warned


# --- workbooks with several sheets, samples read several ways


def workbook(sheets):
    file = io.BytesIO()
    with pd.ExcelWriter(file) as book:
        for name, rows in sheets.items():
            pd.DataFrame(rows).to_excel(book, sheet_name=name, index=False, header=False)
    return file.getvalue()


HEAD = ["sample", "L", "a", "b", "illuminant", "observer"]


def test_a_sheet_is_chosen_where_another_cannot_be_read(write, tmp_path):
    book = workbook(
        {
            "wool": [HEAD, ["K", 50, 1, 2, "D65", 10]],
            "spoilt": [["sample", "L", "a", "b", "b"], ["K", 1, 2, 3, 4]],
        }
    )
    path = write(book, "two.xlsx")
    with pytest.raises(InputError, match=r"sheet 'spoilt': the column 'b'.*sheet=\"NAME\""):
        read.measurements(path)
    found = read.measurements(path, sheet="wool")
    assert found.lab["sample"].tolist() == ["K"]
    assert "left out, as asked: spoilt" in found.notes
    with pytest.raises(InputError, match=r"no sheet 'wol' in two.xlsx. Did you mean 'wool'"):
        read.measurements(path, sheet="wol")
    refused = CliRunner().invoke(convert_command, [str(path), "-o", str(tmp_path / "o.csv")])
    assert '--sheet "NAME"' in str(refused.exception)


ANGLES = [15, 25, 45, 75, 110]


def several():
    rows = [["K", 50 + i, 1, 2, "D65", 10, f"45/{a}"] for i, a in enumerate(ANGLES)]
    return pd.DataFrame(rows, columns=[*HEAD, "geometry"]).to_csv(index=False)


def test_a_sample_read_several_ways_is_never_taken_arbitrarily(write, tmp_path):
    path = write(several(), "angles.csv")
    with pytest.raises(InputError, match=r"'K' was read under 5 conditions: 45/15; .*geometry="):
        read.measurements(path)
    with pytest.raises(InputError, match="under 5 conditions"):
        read.measurements(path, skip_bad=True)
    found = read.measurements(path, geometry="45/45")
    assert found.lab["L"].tolist() == [52]
    assert any("left out, as asked: 4 readings" in note for note in found.notes)
    every = read.measurements(path, geometry="all").lab
    assert every["sample"].tolist() == [f"K (45/{a})" for a in ANGLES]
    with pytest.raises(InputError, match=r"nothing here was read under '8/8'. Found: 45/110"):
        read.measurements(path, geometry="8/8")
    out = tmp_path / "out.csv"
    arguments = [str(path), "-o", str(out), "--geometry", "45/45"]
    assert CliRunner().invoke(convert_command, arguments).exit_code == 0
    assert pd.read_csv(out)["geometry"].tolist() == ["45/45"]


# --- conditions of measurement (CIE 15 geometries, ISO 13655 M0 to M3)


@pytest.mark.parametrize(
    ("head", "stated"),
    [
        ('MEASUREMENT_GEOMETRY "45/0"', {"geometry": "45/0"}),
        ('MEASUREMENT_GEOMETRY "45°a:0°"', {"geometry": "45/0"}),
        ('MEASUREMENT_GEOMETRY "di:8"', {"geometry": "d/8", "specular": "in"}),
        ('MEASUREMENT_GEOMETRY "d/8 SCE"', {"geometry": "d/8", "specular": "out"}),
        ('MEASUREMENT_SOURCE "MeasurementCondition=M1 Filter=no"', {"m_condition": "M1"}),
        ('FILTER "UVcut"', {"m_condition": "M2"}),
        ('SAMPLE_BACKING "black"', {"backing": "black"}),
        ('MEASUREMENT_APERTURE "4.5 mm"', {"aperture_mm": "4.5"}),
    ],
)
def test_conditions_are_read_where_a_file_states_them(write, head, stated):
    found = read.measurements(write(cgats([f"K\t{GREY}"], head))).spectra
    assert {name: found[name].iloc[0] for name in stated} == stated


CXF = """<CxF xmlns="http://colorexchangeformat.com/CxF3-core"><Resources><ObjectCollection>
<Object Name="K" Id="1"><ColorValues>{values}</ColorValues></Object></ObjectCollection>
<ColorSpecificationCollection>{kinds}</ColorSpecificationCollection></Resources></CxF>"""
KIND = """<ColorSpecification Id="{id}"><TristimulusSpec><Illuminant>D50</Illuminant>
<Observer>2_Degree</Observer></TristimulusSpec><MeasurementSpec>
<MeasurementType>{kind}</MeasurementType><GeometryChoice><SingleAngle>
<IlluminationAngle>45</IlluminationAngle><MeasurementAngle>0</MeasurementAngle></SingleAngle>
</GeometryChoice><WavelengthRange StartWL="400" Increment="10"/><Device><DeviceIllumination>
{lamp}</DeviceIllumination></Device></MeasurementSpec></ColorSpecification>"""


def cxf(lamps, kind="Spectrum_Reflectance", tag="ReflectanceSpectrum"):
    spectra = [
        f'<{tag} ColorSpecification="{lamp}">{" ".join(["0.5"] * 31)}</{tag}>' for lamp in lamps
    ]
    kinds = [KIND.format(id=lamp, lamp=lamp, kind=kind) for lamp in lamps]
    return CXF.format(values="".join(spectra), kinds="".join(kinds))


def test_cxf_states_conditions_for_spectra_and_cielab(write):
    found = read.measurements(write(cxf(["M1_Daylight"]), "a.cxf")).spectra
    assert (found["geometry"].iloc[0], found["m_condition"].iloc[0]) == ("45/0", "M1")
    lab = '<ColorCIELab ColorSpecification="M2"><L>50</L><A>1</A><B>2</B></ColorCIELab>'
    text = CXF.format(values=lab, kinds=KIND.format(id="M2", lamp="M2_UVExcluded", kind="x"))
    row = read.measurements(write(text, "b.cxf")).lab.iloc[0]
    assert (row["geometry"], row["m_condition"], row["illuminant"]) == ("45/0", "M2", "D50")


def test_cxf_with_several_spectra_an_object_lets_the_user_choose(write):
    path = write(cxf(["M0", "M1", "M2"]), "a.cxf")
    with pytest.raises(InputError, match="under 3 conditions: 45/0, M0; 45/0, M1"):
        read.measurements(path)
    assert read.measurements(path, geometry="M1").spectra["m_condition"].tolist() == ["M1"]


# --- what is no reflectance


BARS = "\n".join(f"{n},{','.join(['0.5'] * 31)}" for n in ("xbar", "ybar", "zbar"))
LAMPS = "\n".join(f"{n},{','.join(['0.5'] * 31)}" for n in ("D50", "D65", "FL2"))
TABLE = "sample," + ",".join(map(str, BANDS)) + "\n"
OTHER = {
    "lamps by name": (TABLE + LAMPS, "a light source"),
    "observer": (TABLE + BARS, "the functions of an observer"),
    "transmissive": (cgats([f"K\t{GREY}"], 'MEASUREMENT_MODE "Transmissive"'), "passes through"),
    "emissive cgats": (cgats([f"K\t{GREY}"], 'DESCRIPTOR "Emission of a screen"'), "is sent out"),
    "lamps by words": (cgats([f"K\t{GREY}"], 'DESCRIPTOR "Light sources of a shop"'), "a light"),
    "emissive cxf": (cxf(["A"], "Spectrum_Emissive"), "is sent out"),
    "emissive cxf tag": (cxf(["A"], "x", "EmissiveSpectrum"), "EmissiveSpectrum, which is not"),
}


@pytest.mark.parametrize("case", OTHER)
def test_what_is_no_reflectance_is_refused_by_name(write, case):
    content, what = OTHER[case]
    with pytest.raises(InputError, match=what):
        read.measurements(write(content))


def test_swatches_called_like_lights_are_swatches(write):
    rows = "\n".join(f"{n},{','.join(['0.5'] * 31)}" for n in ("A", "C", "D50", "D51"))
    assert len(read.measurements(write(TABLE + rows)).spectra) == 4


# --- every remedy that a message names exists on that command


def options_of(command):
    return {name for option in command.params for name in option.opts}


MESSAGES = [
    "sample,L,a,b\nK,50,1,2\n",
    "sample,L,a,b,illuminant,observer\nK,50,1,2,D65,10\nM,x,1,2,D65,10\n",
    several(),
    cgats([f"K\t{GREY}"], "NUMBER_OF_SETS 4"),
    TABLE + "K" + ",0.5" * 31 + "\nM" + ",x" * 31 + "\n",
]


@pytest.mark.parametrize("text", MESSAGES)
@pytest.mark.parametrize("more", [[], ["--skip-bad"]])
def test_the_convert_command_advises_only_what_it_has(write, tmp_path, text, more):
    out = tmp_path / "out.csv"
    said = CliRunner().invoke(convert_command, [str(write(text)), "-o", str(out), *more])
    words = str(said.exception) + said.output
    advised = set(re.findall(r"--[a-z-]+", words))
    assert advised <= options_of(convert_command) - set(more)
    assert "[[" not in words


@pytest.mark.parametrize("text", MESSAGES)
def test_the_measure_command_advises_nothing_that_it_lacks(write, tmp_path, text):
    photo = Path(tmp_path / "p.jpg")
    photo.write_bytes(b"no photo")
    arguments = [str(photo), "--target", str(write(text)), "-o", str(tmp_path / "o.csv")]
    said = CliRunner().invoke(measure_command, arguments)
    advised = set(re.findall(r"--[a-z-]+|\w+=\S+", str(said.exception)))
    assert advised <= options_of(measure_command)
    assert "[[" not in str(said.exception)
