"""Adapting CIELAB to another white: asked for, flagged, and its error carried; nothing else is."""

import numpy as np
import pandas as pd
import pytest
from worlds import melange, photos

from dyelab import book, convert, read, table

BANDS = melange.BANDS
HOLDS = 7.815  # chi-square with three degrees of freedom, 95 %
D65 = ("D65", 10)


def lab_of(spectra, white):
    return convert.spectrum_to_lab(BANDS, spectra, illuminant=white[0], observer=white[1])


def files(tmp_path, spectra, white, kind):
    """400 cloths as an instrument that gives CIELAB or XYZ alone would write them."""
    values = lab_of(spectra, white)
    if kind == "XYZ":
        values = convert.lab_to_xyz(values, convert.white(*white))
    frame = pd.DataFrame(values, columns=["L", "a", "b"] if kind == "Lab" else list("XYZ"))
    frame = frame.assign(sample=[f"W{i}" for i in range(len(frame))])
    path = tmp_path / "cloths.csv"
    frame.assign(illuminant=white[0], observer=white[1]).to_csv(path, index=False)
    return read.measurements(path).lab


@pytest.mark.parametrize("kind", ["Lab", "XYZ"])
@pytest.mark.parametrize("white", [("D50", 2), ("D65", 2)])
def test_a_book_of_the_instruments_white_needs_no_adapting(tmp_path, white, kind):
    spectra = melange.cloths(400, 5)
    bk = book.create(tmp_path / "own", white=white)
    codes = pd.DataFrame({"swatch": [f"W{i}" for i in range(400)]})
    lab = files(tmp_path, spectra, white, kind)
    rows = book.instrument_readings(book.add(bk, swatches=codes), lab, None).readings
    assert rows[table.LAB].to_numpy(float) == pytest.approx(lab_of(spectra, white), abs=1e-6)
    assert set(rows["flags"]) == {""}


def layered(count, seed):
    """Cloth dyed in layers, by the laws of the photos' world, at these bands."""
    spectra = photos.dyed(np.random.default_rng(seed), count)
    return np.array([np.interp(BANDS, photos.NM, row) for row in spectra])


# Two worlds apart from what was learned from. Cloth as broadly coloured as the learned is held as
# stated; yarns spun of fibres dyed apart have smoother spectra, and are held more often.
WORLDS = {
    "mixture yarns": (melange.cloths(400, 5), 0.93, 0.995),
    "dyed in layers": (layered(400, 77), 0.92, 0.985),
}


@pytest.mark.parametrize("world", WORLDS)
@pytest.mark.parametrize("white", [("D50", 2), ("D65", 2)])
def test_regions_of_adapted_values_hold(tmp_path, white, world):
    spectra, low, high = WORLDS[world]
    adapted = convert.adapt(files(tmp_path, spectra, white, "Lab"), *D65)
    assert set(adapted["flags"]) == {"adapted"}
    off = adapted[table.LAB].to_numpy(float) - lab_of(spectra, D65)
    C = table.covariances(adapted)
    inside = np.einsum("nk,nkl,nl->n", off, np.linalg.inv(C), off) < HOLDS
    assert low <= inside.mean() <= high
    plain = convert.adapt_lab(lab_of(spectra, white), convert.white(*white), convert.white(*D65))
    before, now = (
        np.median(np.linalg.norm(x - lab_of(spectra, D65), axis=1))
        for x in (plain, adapted[table.LAB].to_numpy(float))
    )
    assert now < 0.75 * before  # what CAT16 alone misses is partly known, and taken off


def test_a_mean_of_adapted_replicates_is_no_surer(tmp_path):
    """The error of adapting belongs to the dyed spectrum, so swatches of one recipe share it."""
    from dyelab import shift

    codes = [f"W{i}" for i in range(4)]
    dyed = {"order": 1, "kind": "dye", "material": "madder", "amount": 50.0, "unit": "% WOF"}
    bk = book.add(
        book.create(tmp_path / "b"),
        swatches=pd.DataFrame({"swatch": codes, "fibre": "wool", "form": "cloth"}),
        steps=pd.DataFrame({"swatch": codes}).assign(**dyed),
    )
    lab = read.typed_lines("\n".join(f"{c} 50 30 20" for c in codes), illuminant="D50", observer=2)
    made = book.instrument_readings(bk, lab, None, method="colorimeter", adapt=True)
    grown = book.add_readings(bk, made)
    found = shift.as_dyed(book.wide(grown), shared=grown.shared)
    _, error = convert.adapt_cloth(lab[table.LAB].to_numpy(float)[:1], ("D50", 2), D65)
    shared = found.variants.loadings.toarray()[:3]  # of the mean of four swatches
    assert shared @ shared.T == pytest.approx(error[0], abs=1e-6)


def test_repeatability_follows_lightness():
    rng = np.random.default_rng(5)
    light = np.repeat([15.0, 85.0], 6)
    true = np.column_stack([light, np.zeros(12), np.zeros(12)])
    size = np.where(light < 50, 0.6, 0.1)
    values = true[:, None] + rng.normal(0, size[:, None, None], (12, 6, 3))
    lab = pd.DataFrame(values.reshape(-1, 3), columns=table.LAB).assign(
        sample=np.repeat([f"W{i}" for i in range(12)], 6), illuminant="D65", observer=10
    )
    bk = book.Book(path=None, title="", **_blank(), faults=None)
    codes = pd.DataFrame({"swatch": [f"W{i}" for i in range(12)], "bare_areas": ""})
    made = book.instrument_readings(
        _with(bk, codes), lab.assign(source="x.csv"), None, method="colorimeter"
    )
    found = made.readings["var_L"].to_numpy(float) ** 0.5
    # 30 degrees of freedom each: the standard error of a standard deviation is 13 %, and the
    # four of all repeats together draw both towards the middle.
    assert found[:36] == pytest.approx(0.6, rel=0.3)
    assert found[36:] == pytest.approx(0.1, abs=0.12)
    assert found[36:].mean() < 0.5 * found[:36].mean()


def _blank():
    return {
        name: table.empty(getattr(table, name.upper()))
        for name in ("swatches", "steps", "readings", "shared", "tests", "photos", "materials")
    } | {"spectra": pd.DataFrame({"reading": []})}


def _with(bk, codes):
    from dataclasses import replace

    return replace(bk, swatches=codes)


# --- fluorescence: reflectance above 1, or another colour without ultraviolet


def bright():
    bands = np.arange(400, 701, 10)
    white = np.full(31, 0.85)
    return bands, white + 0.4 * np.exp(-(((bands - 440) / 15) ** 2)), white


def test_reflectance_above_one_is_flagged_and_has_no_k_over_s(tmp_path):
    from dyelab import shift
    from dyelab.errors import InputError

    bands, glowing, plain = bright()
    assert np.isnan(convert.ks(1.25))
    assert convert.ks([0.5, 1.01]) == pytest.approx([0.25, 0.0])
    bk = book.add(book.create(tmp_path / "b"), swatches=pd.DataFrame({"swatch": ["W1", "W2"]}))
    spectra = pd.DataFrame([glowing, plain], columns=map(str, bands))
    made = book.instrument_readings(bk, None, spectra.assign(sample=["W1", "W2"], source="x"))
    assert made.readings["flags"].tolist() == ["ends fluorescent", "ends"]
    with pytest.raises(InputError, match=r"the sample's reflectance is 1.25 at 440 nm.*\(M2\)"):
        shift.relative_strength(bands, plain * 0.5, glowing)


def test_a_colour_that_changes_without_ultraviolet_is_flagged(tmp_path):
    bk = book.add(book.create(tmp_path / "b"), swatches=pd.DataFrame({"swatch": ["W1", "W2"]}))
    read_ = {"illuminant": "D65", "observer": 10, "source": "x.csv"}
    first = pd.DataFrame(
        {"sample": ["W1", "W2"], "L": [93.0, 50.0], "a": [2.0, 9.0], "b": [-9.0, 20.0]}
    ).assign(m_condition="M1", **read_)
    bk = book.add_readings(bk, book.instrument_readings(bk, first, None))
    second = first.assign(b=[-1.0, 20.2], m_condition="M2")
    made = book.instrument_readings(bk, second, None)
    assert made.readings["flags"].tolist() == ["fluorescent", ""]
