"""A book's own CSV files opened and saved by a spreadsheet of another language."""

import shutil
import subprocess

import numpy as np
import pandas as pd
import pytest

from dyelab import book, table

READING = ["reading", "swatch", "exposure", "method", "illuminant", "observer", "L", "a", "b"]
LANGUAGES = {"English": 1033, "German": 1031, "French": 1036}
OFFICE = shutil.which("soffice")


def invented(folder):
    """Three decimals everywhere, and numbers that could be days or months."""
    rng = np.random.default_rng(11)
    codes = [f"K-{i:02}" for i in range(1, 13)]
    lab = rng.uniform([20, -30, -30], [90, 40, 60], (12, 3)).round(3)
    rows = [
        (f"R-{code}", code, "none", "spectral", "D65", 10, *map(float, row))
        for code, row in zip(codes, lab, strict=True)
    ]
    swatches = pd.DataFrame({"swatch": codes, "fibre": "wool", "made_on": "2026-04-30"})
    steps = pd.DataFrame({"swatch": codes, "order": 1, "kind": "dye", "material": "weld"})
    bands = {str(nm): rng.uniform(0.03, 0.9, 12).round(3) for nm in range(400, 710, 10)}
    bands["400"][:4] = [0.125, 0.1, 1.25e-7, 1 / 3]
    return book.save(
        book.add(
            book.create(folder),
            swatches=swatches.assign(mass_g=np.linspace(1.5, 12.345, 12).round(3)),
            steps=steps.assign(amount=[1.5, 2.1, 12.5, 1.234, 50, 7.125] * 2, unit="% WOF"),
            readings=pd.DataFrame(rows, columns=READING),
            spectra=pd.DataFrame({"reading": [row[0] for row in rows], **bands}),
        )
    )


def test_numbers_are_written_so_that_nothing_can_be_mistaken():
    values = [0.123, 1.5, 15.0, 1 / 3, 1.25e-7, -4.25, 1e21, float("nan"), -0.0, 12.345678901234]
    texts = table.number_texts(values)
    assert texts[:3] == ["0.12300", "1.50000", "15"]
    back = [float(text) if text else np.nan for text in texts]
    np.testing.assert_array_equal(back, values)
    for text in texts:
        assert "e" not in text
        assert "." not in text or len(text.partition(".")[2]) >= 5


@pytest.mark.slow
@pytest.mark.skipif(OFFICE is None, reason="LibreOffice is not installed here")
@pytest.mark.parametrize("language", LANGUAGES)
def test_a_book_survives_a_spreadsheet_of(tmp_path, language):
    bk = invented(tmp_path / "b")
    code = f"44,34,76,1,,{LANGUAGES[language]},false,true"
    files = [bk.path / f"{name}.csv" for name in ("swatches", "steps", "readings", "spectra")]
    subprocess.run(
        [
            *(OFFICE, f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}", "--headless"),
            *(f"--infilter=CSV:{code},false", "--convert-to"),
            *(f"csv:Text - txt - csv (StarCalc):{code},false", "--outdir", str(tmp_path / "out")),
            *map(str, files),
        ],
        check=True,
        capture_output=True,
        timeout=300,
    )
    for file in files:
        saved = tmp_path / "out" / file.name
        if language == "English":  # it writes the numbers anew, so the file itself must differ
            assert file.name == "steps.csv" or saved.read_bytes() != file.read_bytes()
        shutil.copy(saved, file)
    opened = book.open(bk.path)
    assert opened.faults.empty
    for name in ("swatches", "steps", "readings", "spectra"):
        one, two = book.tables(bk)[name], book.tables(opened)[name]
        assert list(one.columns) == list(two.columns)
        for column in one:
            if one[column].dtype == float:  # 15 digits are all that a spreadsheet shows
                np.testing.assert_allclose(two[column], one[column], rtol=1e-14, atol=0)
            else:
                assert one[column].astype(str).tolist() == two[column].astype(str).tolist()
