"""A series of exposures in one table: by instrument or typed, through panel, command and Python."""

import pandas as pd
import pytest
from click.testing import CliRunner
from panels import choose

from dyelab import book, cli, grade, read, synth, table
from dyelab.cli import options
from dyelab.errors import InputError

DOSES = (0, 0.3, 1, 3)


def series(**columns):
    rows = [{"sample": s, "L": 50 + i, "a": 20, "b": 10} for s in ("W01", "W02") for i in range(4)]
    return pd.DataFrame(rows).assign(illuminant="D65", observer=10, **columns)


BY_COLUMNS = {
    "exposure": ["none", "light", "light", "light"] * 2,
    "amount": [*DOSES, *DOSES],
    "unit": ["", "Mlx h", "Mlx h", "Mlx h"] * 2,
}


@pytest.fixture
def bk(tmp_path):
    made = book.create(tmp_path / "book")
    return book.save(book.add(made, swatches=pd.DataFrame({"swatch": ["W01", "W02"]})))


def is_light_series(readings):
    rows = readings.sort_values(["swatch", "amount"], na_position="first")
    assert list(rows["exposure"]) == ["none", "light", "light", "light"] * 2
    assert list(rows["amount"].dropna()) == [3e5, 1e6, 3e6] * 2
    assert set(rows["unit"]) == {"", "lx h"}
    assert rows["reading"].is_unique


@pytest.mark.parametrize(
    "columns",
    [BY_COLUMNS, {"dose (Mlx h)": [*DOSES] * 2}, {"dose_Mlxh": [*DOSES] * 2}],
    ids=["columns", "heading", "underscore"],
)
def test_a_table_brings_every_dose_at_once(bk, tmp_path, columns):
    file = tmp_path / "light.csv"
    series(**columns).to_csv(file, index=False)
    found = read.measurements(file)
    made = book.instrument_readings(bk, found.lab, found.spectra, method="colorimeter")
    is_light_series(made.readings)
    grown = book.add_readings(bk, made)
    one = grade.drift(grade.pair(book.wide(grown)), "W01", "light")
    assert list(one.amounts) == [0, 3e5, 1e6, 3e6]


def test_spectra_bring_their_doses_too(bk, tmp_path):
    bands = {f"{nm}": [0.2 + 0.01 * i for i in range(4)] * 2 for nm in range(400, 710, 10)}
    rows = pd.DataFrame(
        {"sample": ["W01"] * 4 + ["W02"] * 4, "dose (klx h)": [0, 300, 1000, 3000] * 2}
    )
    file = tmp_path / "spectra.csv"
    rows.assign(**bands).to_csv(file, index=False)
    found = read.measurements(file)
    made = book.instrument_readings(bk, found.lab, found.spectra)
    is_light_series(made.readings)
    assert len(made.spectra) == 8


def test_the_command_adds_a_series_to_a_book(bk, tmp_path):
    file = tmp_path / "light.csv"
    series(**BY_COLUMNS).to_csv(file, index=False)
    done = CliRunner().invoke(cli.dyelab, ["convert", str(file), "--into", str(bk.path)])
    assert done.exit_code == 0, done.output
    assert "8 readings added" in done.output
    is_light_series(book.open(bk.path).readings)
    nowhere = CliRunner().invoke(cli.dyelab, ["convert", str(file)])
    assert nowhere.exit_code == 2
    with pytest.raises(InputError, match="the example stays as it is"):
        options.own_book(synth.example())


def test_the_panel_adds_a_typed_series(bk):
    from dyelab.panel import instrument

    panel = instrument.panel(bk.path)
    doses = [f"after {dose:g} Mlx h {50 + dose} 20 10" for dose in DOSES[1:]]
    lines = ["W01 50 20 10", *doses, "W02 50 20 10", *(f"W02 {line}" for line in doses)]
    choose(panel, typed="\n".join(lines), method="typed")
    assert list(panel.shown.table["amount"].dropna()) == [3e5, 1e6, 3e6] * 2
    panel.actions["instrument.add"].click()
    is_light_series(book.open(bk.path).readings)


def test_typed_washes_and_nought_washes():
    made = read.typed_lines(
        "A 1 2 3\nA after 5 washes 2 2 3\nB after 0 washes 4 4 4", illuminant="D65", observer=10
    )
    assert list(made["exposure"]) == ["", "wash", "none"]
    assert made["amount"].iloc[1] == 5
    assert made["unit"].iloc[1] == "cycle"


def test_what_a_table_leaves_unsaid_is_asked_for(bk):
    with pytest.raises(InputError, match=r"row 2: 0.3 of light, but no unit.*lx h"):
        table.with_exposure(series(**{**BY_COLUMNS, "unit": ""}))
    with pytest.raises(InputError, match=r"no exposure 'lihgt'.*row 1.*Did you mean 'light'"):
        table.with_exposure(series(**{**BY_COLUMNS, "exposure": "lihgt"}))
    with pytest.raises(InputError, match=r"row 1: amount = 'much' is no amount"):
        table.with_exposure(series(exposure="light", amount="much", unit="h"))
    hours = series(amount=[0, 5, 10, 20] * 2, unit="h")
    with pytest.raises(InputError, match=r"W01: an amount of 5 h, but of what isn't said"):
        book.instrument_readings(bk, hours.assign(source="x"), None)
    told = book.instrument_readings(bk, hours.assign(source="x"), None, exposure="light")
    assert list(told.readings["amount"])[1:4] == [5, 10, 20]


def test_other_columns_are_left_alone():
    plain = series(h=[30.0] * 8, light="D65", unit="mm")
    assert table.with_exposure(plain) is plain
