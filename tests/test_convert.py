"""Colour numbers against the standards, published tables and other libraries."""

import warnings
from pathlib import Path

import cie_tables
import numpy as np
import pandas as pd
import pytest

from dyelab import convert
from dyelab.convert import light
from dyelab.convert.colour_science import library
from dyelab.errors import InputError

PUBLISHED = Path(__file__).parent / "published"
BANDS = np.arange(400, 701, 10)


def published(name):
    return pd.read_csv(PUBLISHED / name, comment="#")


def smooth(count, bands=BANDS, seed=7):
    """Smooth invented spectra, as dyed cloth has."""
    random = np.random.default_rng(seed)
    middle, width = random.uniform(380, 720, (count, 1)), random.uniform(40, 150, (count, 1))
    depth = random.uniform(-0.4, 0.4, (count, 1))
    return 0.5 + depth * np.tanh((bands - middle) / width)


def test_ciede2000_of_the_34_published_pairs():
    pairs = published("sharma_2005.csv")
    ours = convert.dE00(pairs[["L1", "a1", "b1"]], pairs[["L2", "a2", "b2"]])
    assert len(pairs) == 34
    np.testing.assert_allclose(ours, pairs["dE00"], atol=0.5e-4)
    assert round(float(np.sum(ours)), 4) == pytest.approx(183.1864, abs=2e-4)


@pytest.mark.parametrize("row", published("whites.csv").to_dict("records"), ids=str)
def test_white_points(row):
    X, Y, Z = convert.white(row["illuminant"], row["observer"])
    # The E308 tables are rounded weights whose sums differ from the 1 nm sums by up to 0.008.
    tolerance = 0.00051 if row["method"] == "1 nm" else 0.009
    assert pytest.approx(100) == Y
    assert pytest.approx((row["X"], row["Z"]), abs=tolerance) == (X, Z)


def test_lab_of_a_worked_colour():
    """XYZ under 95.047 100 108.883; computed from the definition in CIE 15."""
    lab = convert.xyz_to_lab([20.654008, 12.197225, 5.136952], np.array([95.047, 100, 108.883]))
    np.testing.assert_allclose(lab, [41.5279, 52.6371, 26.9181], atol=0.5e-4)


@pytest.mark.parametrize("row", published("kubelka_munk.csv").to_dict("records"), ids=str)
def test_kubelka_munk(row):
    # The paper's reflectances are printed to 0.01 %, which moves K/S by up to 0.015 there.
    tolerance = 0.51 * 10.0 ** -row["decimals"] if row["source"] == "computed" else 0.02
    assert convert.ks(row["R"]) == pytest.approx(row["ks"], abs=tolerance)


@pytest.mark.parametrize(("method", "index"), [("additive", 3.8268), ("multiplicative", 3.9842)])
def test_metamerism(method, index):
    """The worked pair of ISO 18314-4, seen in the documentation of colour-science."""
    result = convert.metamerism(
        [39.0908, -21.3269, 22.6657],
        [38.83253, -19.8787, 20.0453],
        [38.17781, -17.4939, 21.0618],
        [37.9013, -19.56327, 16.9346],
        method=method,
    )
    assert result == pytest.approx(index, abs=0.5e-4)


def random_pairs(count, seed):
    random = np.random.default_rng(seed)
    first = random.uniform([0, -100, -100], [100, 100, 100], (count, 3))
    near = first + random.normal(0, 4, (count, 3))
    near[:, 0] = np.clip(near[:, 0], 0, 100)
    far = random.uniform([0, -100, -100], [100, 100, 100], (count, 3))
    return first, np.where(np.arange(count)[:, None] % 2, near, far)


def test_differences_agree_with_coloraide():
    from coloraide import Color
    from coloraide.distance.delta_e_76 import DE76
    from coloraide.distance.delta_e_2000 import DE2000
    from coloraide.distance.delta_e_cmc import DECMC

    first, second = random_pairs(10_000, 11)
    ours = [convert.dE76(first, second), convert.dE00(first, second), convert.dECMC(first, second)]
    distances = [DE76(), DE2000(), DECMC()]
    theirs = [
        [distance.distance(Color("lab-d65", a), Color("lab-d65", b)) for distance in distances]
        for a, b in zip(first.tolist(), second.tolist(), strict=True)
    ]
    np.testing.assert_allclose(np.transpose(ours), theirs, atol=1e-9, rtol=1e-9)


def test_differences_agree_with_scikit_image():
    from skimage.color import deltaE_cie76, deltaE_ciede2000, deltaE_cmc

    first, second = random_pairs(10_000, 12)
    tight = {"atol": 1e-9, "rtol": 1e-9}
    np.testing.assert_allclose(convert.dE76(first, second), deltaE_cie76(first, second), **tight)
    np.testing.assert_allclose(
        convert.dE00(first, second), deltaE_ciede2000(first, second), **tight
    )
    np.testing.assert_allclose(
        convert.dECMC(first, second), deltaE_cmc(first, second, kL=2, kC=1), **tight
    )


def test_differences_agree_with_colour_science():
    first, second = random_pairs(10_000, 13)
    theirs = library().difference
    tight = {"atol": 1e-9, "rtol": 1e-9}
    np.testing.assert_allclose(
        convert.dE00(first, second), theirs.delta_E_CIE2000(first, second), **tight
    )
    for l, c in ((2, 1), (1, 1)):  # noqa: E741
        ours = convert.dECMC(first, second, l=l, c=c)
        np.testing.assert_allclose(ours, theirs.delta_E_CMC(first, second, l=l, c=c), **tight)


GREYS = np.array([[0.0, 0, 0], [50, 0, 0], [100, 0, 0], [50, 1e-12, 0], [50, -10, 0], [50, 0, -10]])


def test_differences_of_greys_and_axes_agree_with_scikit_image():
    """Where hue is undefined or on a branch of a formula."""
    from skimage.color import deltaE_ciede2000, deltaE_cmc

    first, second = (x.reshape(-1, 3) for x in np.broadcast_arrays(GREYS[:, None], GREYS[None]))
    np.testing.assert_allclose(
        convert.dE00(first, second), deltaE_ciede2000(first, second), atol=1e-9
    )
    np.testing.assert_allclose(
        convert.dECMC(first, second), deltaE_cmc(first, second, kL=2), atol=1e-9
    )


def test_differences_take_any_leading_shape():
    lab = random_pairs(24, 4)[0].reshape(2, 3, 4, 3)
    for formula in (convert.dE76, convert.dE00, convert.dECMC):
        assert formula(lab, lab[0, 0, 0]).shape == (2, 3, 4)
        assert np.ndim(formula(lab[0, 0, 0], lab[1, 1, 1])) == 0


@pytest.mark.parametrize("name", cie_tables.TOLD)
def test_the_shipped_tables_are_the_library_s(name):
    theirs, ours = getattr(cie_tables, name)(), light.table(name)
    assert list(ours.columns) == list(theirs.columns)
    assert ours.index.tolist() == theirs.index.tolist()
    np.testing.assert_allclose(ours.to_numpy(), theirs.to_numpy(), rtol=1e-12)


@pytest.mark.parametrize("step", [10, 20])
@pytest.mark.parametrize("illuminant", ["A", "D65", "FL2"])
@pytest.mark.parametrize("observer", [2, 10])
def test_weights_agree_with_the_library_s_astm_e2022(step, illuminant, observer):
    science = library()
    name = {2: "CIE 1931 2 Degree Standard Observer", 10: "CIE 1964 10 Degree Standard Observer"}
    shape = science.SpectralShape(360, 780, 1)
    light = science.SpectralDistribution(
        convert.illuminant_power(illuminant, shape.wavelengths), shape.wavelengths
    )
    theirs = science.colorimetry.tristimulus_weighting_factors_ASTME2022(
        science.MSDS_CMFS[name[observer]].copy().align(shape),
        light,
        science.SpectralShape(360, 780, step),
    )
    ours = convert.spectrum_to_xyz(
        np.arange(360, 781, step), np.eye(420 // step + 1), illuminant=illuminant, observer=observer
    )
    np.testing.assert_allclose(ours, theirs, atol=1e-9)


def test_cat16_agrees_with_the_library():
    lab, source, target = random_pairs(500, 8)[0], convert.white("A", 10), convert.white("D65", 2)
    theirs = library().adaptation.chromatic_adaptation_VonKries(
        convert.lab_to_xyz(lab, source) / 100, source / 100, target / 100, transform="CAT16"
    )
    ours = convert.lab_to_xyz(convert.adapt_lab(lab, source, target), target)
    np.testing.assert_allclose(ours, theirs * 100, rtol=1e-8, atol=1e-8)


@pytest.mark.parametrize("illuminant", ["A", "C", "D50", "D65", "FL11", "LED-B3", "HP1", "E"])
@pytest.mark.parametrize("observer", [2, 10])
def test_white_is_white_at_every_spacing(illuminant, observer):
    for step in (1, 5, 10, 20):
        bands = np.arange(400, 701, step)
        lab = convert.spectrum_to_lab(
            bands, np.ones(len(bands)), illuminant=illuminant, observer=observer
        )
        np.testing.assert_allclose(lab, [100, 0, 0], atol=1e-9)


def test_every_illuminant_works_with_both_observers():
    for illuminant in convert.illuminants():
        for observer in (2, 10):
            lab = convert.spectrum_to_lab(
                BANDS, smooth(2), illuminant=illuminant, observer=observer
            )
            assert np.isfinite(lab).all()


def test_e308_at_10_nm_comes_near_the_sum_at_1_nm():
    fine = np.arange(360, 781)
    spectra = smooth(200, fine)
    truth = convert.spectrum_to_lab(fine, spectra)
    at_10 = convert.spectrum_to_lab(fine[::10], spectra[:, ::10])
    at_20 = convert.spectrum_to_lab(fine[::20], spectra[:, ::20])
    assert convert.dE76(truth, at_10).max() < 0.02
    assert convert.dE76(truth, at_20).max() < 0.2


def test_e308_agrees_with_the_library_spectrum_by_spectrum():
    """Against sd_to_XYZ of colour-science, which sums by the tables of ASTM E308."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

        bands = np.arange(360, 781, 10)
        spectrum = smooth(1, bands)[0]
        observer = colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"]
        theirs = colour.sd_to_XYZ(
            colour.SpectralDistribution(spectrum, bands),
            observer,
            colour.SDS_ILLUMINANTS["D65"],
            method="ASTM E308",
        )
    np.testing.assert_allclose(convert.spectrum_to_xyz(bands, spectrum), theirs, atol=0.01)


def test_missing_ends_take_the_last_value():
    fine = np.arange(360, 781, 10)
    spectrum = np.interp(fine, BANDS, smooth(1)[0])
    np.testing.assert_allclose(
        convert.spectrum_to_lab(BANDS, smooth(1)[0]), convert.spectrum_to_lab(fine, spectrum)
    )
    assert convert.missing_ends(BANDS)
    assert not convert.missing_ends(fine)


def test_factors_are_not_clamped():
    bright = convert.spectrum_to_lab(BANDS, np.full(31, 1.1))
    assert bright[0] > 100


@pytest.mark.parametrize(
    ("bands", "remedy"),
    [
        (np.arange(400, 701, 7), "1, 5, 10 or 20 nm"),
        (np.arange(400, 601, 10), "at least 420 to 680 nm"),
        (np.r_[400:500:10, 520:701:10], "evenly"),
        (np.arange(400.5, 701, 10), "whole nm"),
        (np.array([550]), "evenly"),
    ],
)
def test_odd_wavelengths_are_refused(bands, remedy):
    with pytest.raises(InputError, match=remedy):
        convert.spectrum_to_lab(bands, np.ones(len(bands)))


def test_wrong_count_of_bands_is_refused():
    with pytest.raises(InputError, match="30 reflectance values for 31 wavelengths"):
        convert.spectrum_to_lab(BANDS, np.ones(30))


def test_unknown_illuminant_names_the_nearest():
    with pytest.raises(InputError, match="Did you mean 'D65'"):
        convert.white("D66", 10)
    with pytest.raises(InputError, match="2 and 10"):
        convert.white("D65", 5)


def test_lab_round_trip():
    lab = np.random.default_rng(1).uniform([0, -120, -120], [100, 120, 120], (1000, 3))
    white = convert.white("A", 10)
    back = convert.xyz_to_lab(convert.lab_to_xyz(lab, white), white)
    np.testing.assert_allclose(back, lab, atol=1e-9)


def test_ks_round_trip():
    R = np.linspace(0.001, 1, 500)
    np.testing.assert_allclose(convert.ks_to_reflectance(convert.ks(R)), R, rtol=1e-9)
    assert np.isnan(convert.ks([0.0, -0.01])).all()


def test_differences_of_a_colour_to_itself_are_zero():
    lab = random_pairs(200, 3)[0]
    assert np.abs(convert.differences(lab, lab).to_numpy()).max() < 1e-9


def test_components_add_up():
    parts = convert.differences(*random_pairs(500, 5))
    whole = np.sqrt(parts["dL"] ** 2 + parts["dC"] ** 2 + parts["dH"] ** 2)
    np.testing.assert_allclose(whole, parts["dE76"], rtol=1e-9)


def test_symmetry_is_what_the_formulas_have():
    first, second = random_pairs(500, 9)
    for formula in (convert.dE76, convert.dE00):
        np.testing.assert_allclose(formula(first, second), formula(second, first), atol=1e-9)
    assert not np.allclose(convert.dECMC(first, second), convert.dECMC(second, first))


def test_adapting_keeps_white_and_flags_the_row():
    rows = pd.DataFrame(
        {
            "L": [100.0, 50.0],
            "a": [0.0, 20.0],
            "b": [0.0, 10.0],
            "illuminant": ["A", "D65"],
            "observer": [10, 10],
        },
        index=[5, 9],
    )
    result = convert.adapt(rows, "D65", 10)
    # White cloth is never quite neutral, so the likeliest is near white, not white itself.
    np.testing.assert_allclose(result.loc[5, ["L", "a", "b"]].astype(float), [100, 0, 0], atol=1)
    assert result["flags"].tolist() == ["adapted", ""]
    assert rows["illuminant"].tolist() == ["A", "D65"]
    pd.testing.assert_series_equal(result.loc[9, ["L", "a", "b"]], rows.loc[9, ["L", "a", "b"]])


def test_screen_marks_what_it_cannot_show():
    hexes, shown = convert.screen([[50, 20, 20], [50, 120, -90], [100, 0, 0], [0, 0, 0]])
    assert shown.tolist() == [True, False, True, True]
    assert hexes[2:].tolist() == ["#ffffff", "#000000"]


def test_screen_round_trip():
    names = np.array(["#a15f3c", "#123456", "#fefefe", "#00ff00"])
    hexes, shown = convert.screen(convert.screen_to_lab(names))
    assert hexes.tolist() == names.tolist()
    assert shown.all()


def test_screen_to_lab_refuses_other_text():
    with pytest.raises(InputError, match="#a1b2c3"):
        convert.screen_to_lab("madder")


def test_a_munsell_colour_has_the_lightness_of_its_value():
    """Value 5 has Y = 19.27 % (ASTM D1535; from memory), which is L* 51."""
    L, a, b = convert.munsell_to_lab("5YR 5/6")
    assert pytest.approx(51.0, abs=0.5) == L
    assert 10 < a < b < 35
    with pytest.raises(InputError, match="5YR 5/6"):
        convert.munsell_to_lab("brownish")


def test_spectra_table_to_lab():
    frame = pd.DataFrame(smooth(3), columns=[str(band) for band in BANDS]).assign(
        reading=list("abc")
    )
    lab = convert.spectra_to_lab(frame, "D50", 2)
    assert list(lab.columns) == ["reading", "L", "a", "b", "illuminant", "observer"]
    np.testing.assert_allclose(
        lab[["L", "a", "b"]],
        convert.spectrum_to_lab(BANDS, smooth(3), illuminant="D50", observer=2),
    )


def test_rows_over_different_bands_are_each_computed_from_their_own():
    frame = pd.DataFrame(smooth(3), columns=[str(band) for band in BANDS]).assign(
        reading=list("abc")
    )
    frame.loc[1, ["400", "410", "700"]] = np.nan
    lab = convert.spectra_to_lab(frame)[["L", "a", "b"]].to_numpy()
    np.testing.assert_allclose(lab[[0, 2]], convert.spectrum_to_lab(BANDS, smooth(3)[[0, 2]]))
    np.testing.assert_allclose(lab[1], convert.spectrum_to_lab(BANDS[2:-1], smooth(3)[1, 2:-1]))


@pytest.mark.parametrize("columns", ["u", "full"])
def test_adapting_carries_uncertainty_as_a_simulation_does(columns):
    deviations, centre = np.array([0.3, 0.5, 0.8]), np.array([55.0, 25, 30])
    names = ["var_L", "var_a", "var_b", "cov_La", "cov_Lb", "cov_ab"]
    sizes = (
        dict(zip(["u_L", "u_a", "u_b"], deviations, strict=True))
        if columns == "u"
        else dict(zip(names, [*deviations**2, 0, 0, 0], strict=True))
    )
    white = {"illuminant": "A", "observer": 2}
    row = pd.DataFrame([dict(zip("Lab", centre, strict=True)) | white | sizes])
    adapted = convert.adapt(row, "D65", 10)
    cloud = np.random.default_rng(4).normal(centre, deviations, (200_000, 3))
    moved = convert.adapt_lab(cloud, convert.white("A", 2), convert.white("D65", 10))
    _, error = convert.adapt_cloth(centre[None], ("A", 2), ("D65", 10))
    total = np.cov(moved.T) + error[0]
    i, j = [0, 1, 2, 0, 0, 1], [0, 1, 2, 1, 2, 2]
    np.testing.assert_allclose(adapted[names].to_numpy(float)[0], total[i, j], atol=0.01)
    if columns == "u":
        ours = adapted[["u_L", "u_a", "u_b"]].to_numpy(float)[0]
        np.testing.assert_allclose(ours, np.sqrt(np.diagonal(total)), rtol=0.01)


def test_metamerism_names_its_methods():
    with pytest.raises(InputError, match="Methods: additive, multiplicative"):
        convert.metamerism([1, 2, 3], [1, 2, 3], [1, 2, 3], [1, 2, 3], method="mean")
