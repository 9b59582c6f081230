"""The shipped example: the files an instrument would give, and the same on any day."""

import re
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest
from defusedxml import ElementTree
from worlds import synth
from worlds.synth import instruments, studio

from dyelab import book

NUMBER = re.compile(r"-?\d+\.?\d*(?:e[-+]?\d+)?")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("made")
    synth.example_files(folder)
    return folder / "studio"


def same_text(one: str, other: str):
    """Equal but for the last printed digit, which another processor may round otherwise."""
    assert NUMBER.sub("#", one) == NUMBER.sub("#", other)
    ours, theirs = (np.array(NUMBER.findall(text), float) for text in (one, other))
    assert np.allclose(ours, theirs, rtol=2e-3, atol=2e-5)


@pytest.mark.parametrize(
    "name",
    [
        *("INVENTED.txt", "swatches.csv", "steps.csv", "tests.csv", "measured.csv"),
        *("wool_as_dyed.txt", "cotton_as_dyed.cxf", "light.csv"),
    ],
)
def test_shipped_text_files_are_what_the_seed_gives(made, name):
    shipped = (synth.sources() / name).read_text(encoding="utf-8")
    same_text(shipped, (made / name).read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    "name",
    [
        *("datapackage.json", "swatches.csv", "steps.csv", "readings.csv", "spectra.csv"),
        *("tests.csv", "shared.csv", "materials.csv", "photos.csv"),
    ],
)
def test_the_shipped_book_is_what_the_seed_gives(made, name):
    shipped = (synth.example() / name).read_text(encoding="utf-8")
    same_text(shipped, (made.parent / "marlpit_yard" / name).read_text(encoding="utf-8"))


def test_the_shipped_book_holds_no_more_than_that(made):
    ours, theirs = (
        sorted(p.name for p in folder.iterdir() if p.name != "history")
        for folder in (synth.example(), made.parent / "marlpit_yard")
    )
    assert ours == theirs


def test_the_shipped_book_opens_without_a_fault_and_says_what_was_dyed():
    bk = book.open(synth.example())
    assert bk.faults.empty
    told, dyed = book.recipes(bk).set_index("swatch"), studio.recipes().set_index("swatch")
    told = told[told["fibre"] != "blue wool"]
    assert set(told.index) == set(dyed.index)
    said = [
        name for name in told if name in dyed
    ]  # what tells recipes apart beyond the doses isn't
    pd.testing.assert_frame_equal(told[said], dyed.loc[told.index, said], check_dtype=False)


def cells(path: Path) -> pd.DataFrame:
    workbook = openpyxl.load_workbook(path)
    rows = list(workbook.active.values)
    workbook.close()
    return pd.DataFrame(rows[1:], columns=rows[0])


def test_shipped_workbook_is_what_the_seed_gives(made):
    pd.testing.assert_frame_equal(
        cells(synth.sources() / "washed.xlsx"), cells(made / "washed.xlsx"), atol=2e-3
    )


def test_a_workbook_written_twice_is_the_same_byte_for_byte(tmp_path):
    frame = pd.DataFrame({"sample": ["a"], "400 nm": [12.5]})
    for name in ("one.xlsx", "two.xlsx"):
        instruments.write_xlsx(frame, tmp_path / name, "sheet")
    assert (tmp_path / "one.xlsx").read_bytes() == (tmp_path / "two.xlsx").read_bytes()
    with zipfile.ZipFile(tmp_path / "one.xlsx") as inside:
        dates = re.findall(r"\d{4}-\d\d-\d\d", inside.read("docProps/core.xml").decode())
        assert set(dates) == {"2025-09-30"}
        assert {item.date_time[0] for item in inside.infolist()} == {1980}


def test_every_file_says_it_is_invented():
    folder = synth.sources()
    for name in ("INVENTED.txt", "wool_as_dyed.txt", "cotton_as_dyed.cxf", "swatches.csv"):
        assert "invented" in (folder / name).read_text(encoding="utf-8").lower()


def test_the_example_is_as_large_as_promised():
    folder = synth.sources()
    swatches = pd.read_csv(folder / "swatches.csv")
    steps = pd.read_csv(folder / "steps.csv")
    measured = pd.read_csv(folder / "measured.csv", keep_default_na=False)
    assert len(swatches) >= 60
    assert set(swatches["fibre"]) == {"wool", "cotton", "blue wool"}
    assert {"gallnut", "pomegranate rind"} <= set(steps["material"])
    assert {"potash alum", "aluminium acetate"} <= set(steps["material"])
    dyes = steps.loc[steps["kind"].isin(["dye", "vat"])]
    assert dyes["material"].nunique() == 5
    vat = dyes.loc[dyes["kind"] == "vat", "swatch"]
    assert not steps.loc[steps["swatch"].isin(vat), "kind"].eq("mordant").any()
    for salt in ("ferrous sulfate", "copper sulfate"):
        assert steps.loc[steps["material"] == salt, "amount"].nunique() >= 4
    washed = measured.loc[measured["exposure"] == "wash", "amount"].astype(float)
    assert {1.0, 5.0, 10.0} <= set(washed)
    assert measured.loc[measured["exposure"] == "light", "amount"].nunique() >= 3
    assert sum(f.stat().st_size for f in folder.parent.rglob("*") if f.is_file()) < 8e6


def test_instrument_files_hold_the_spectra_that_were_read(made):
    """Each format parsed by a general-purpose library, against the simulation itself."""
    _, spectra = synth.write_example.measured()
    spectra = spectra.set_index("reading")

    text = (made / "wool_as_dyed.txt").read_text(encoding="utf-8")
    rows = [r.split("\t") for r in text.split("BEGIN_DATA\n")[1].split("\nEND_DATA")[0].split("\n")]
    wool = pd.DataFrame(rows).set_index(0).astype(float)
    assert np.abs(wool.to_numpy() - spectra.loc[wool.index].to_numpy()).max() <= 5.1e-6
    assert f"NUMBER_OF_SETS {len(rows)}" in text

    space = {"cc": "http://colorexchangeformat.com/CxF3-core"}
    objects = ElementTree.parse(made / "cotton_as_dyed.cxf").findall(".//cc:Object", space)
    for item in objects[:5]:
        values = item.find(".//cc:ReflectanceSpectrum", space).text.split()
        wanted = spectra.loc[item.get("Name")].to_numpy()
        assert np.array(values, float) == pytest.approx(wanted, abs=5.1e-6)

    washed = cells(made / "washed.xlsx").set_index("sample")
    assert np.abs(washed.to_numpy(float) / 100 - spectra.loc[washed.index]).to_numpy().max() < 6e-6
    light = pd.read_csv(made / "light.csv").set_index("sample")
    assert np.abs(light.to_numpy() - spectra.loc[light.index].to_numpy()).max() < 6e-6
