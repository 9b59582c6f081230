"""The invented cloth obeys physics and the published directions; its numbers are ours."""

import numpy as np
import pandas as pd
import pytest
from worlds import random_books, synth
from worlds.synth.spectra import body_reflectance

from dyelab.errors import InputError


def recipes(**columns):
    length = max((len(v) for v in columns.values() if isinstance(v, list)), default=1)
    return pd.DataFrame({k: v if isinstance(v, list) else [v] * length for k, v in columns.items()})


def ks(reflectance):
    return (1 - reflectance) ** 2 / (2 * reflectance)


def random_swatches(n=400, seed=3):
    return random_books.random_recipes(n, np.random.default_rng(seed))


def test_reflectance_stays_between_nothing_and_everything():
    for seed in range(5):
        r = synth.reflectance(random_swatches(), cloth=synth.varied(seed, 0.4))
        assert r.shape == (400, 31)
        assert r.min() > 0
        assert r.max() < 1


def test_kubelka_munk_inverts():
    strengths = np.geomspace(1e-6, 1e3, 50)
    assert ks(body_reflectance(strengths)) == pytest.approx(strengths, rel=1e-9)


def test_parts_add_up_to_the_whole():
    swatches = random_swatches()
    parts = synth.contributions(synth.uptake(swatches))
    surface = swatches["fibre"].map({f: x.surface for f, x in synth.CLOTH.fibres.items()})
    whole = (synth.reflectance(swatches) - surface.to_numpy()[:, None]) / (
        1 - surface.to_numpy()[:, None]
    )
    assert ks(whole) == pytest.approx(sum(parts.values()), rel=1e-6)
    assert all(part.min() >= 0 for part in parts.values())


@pytest.mark.parametrize("metal", ["iron_wof", "copper_wof"])
@pytest.mark.parametrize("fibre", ["wool", "cotton"])
@pytest.mark.parametrize("tannin", ["none", "gallnut", "pomegranate rind"])
@pytest.mark.parametrize("dye", ["none", "madder", "weld", "cochineal", "walnut hull"])
def test_more_metal_is_darker_over_the_visible_range(metal, fibre, tannin, dye):
    doses = [0.0, 0.5, 1.0, 2.0, 4.0, 8.0]
    swatches = recipes(
        fibre=fibre, tannin=tannin, tannin_wof=8.0, dye=dye, dye_wof=30.0, **{metal: doses}
    )
    mean = synth.reflectance(swatches).mean(axis=1)
    assert np.all(np.diff(mean) < 0)


def test_iron_on_tannin_is_grey_on_cotton_without_any_dye():
    swatches = recipes(
        fibre="cotton", tannin=["none", "gallnut", "gallnut"], tannin_wof=8.0, iron_wof=[3, 0, 3]
    )
    rust, clear, grey = synth.reflectance(swatches)
    assert clear[5:].min() > 0.77  # gallnut is a clear tannin
    assert grey.max() < 0.3
    assert np.ptp(grey[:-4]) < 0.08  # flat across the spectrum
    assert rust[0] < rust[-1] - 0.2  # iron alone is buff, not grey


def test_a_vat_dye_is_not_changed_by_alum():
    plain, mordanted = synth.reflectance(
        recipes(dye="indigo", dye_wof=4.0, mordant=["none", "potash alum"], mordant_wof=[0, 15])
    )
    assert plain == pytest.approx(mordanted)


def test_uptake_saturates():
    doses = [10.0, 20.0, 40.0, 80.0, 160.0, 320.0]
    got = synth.uptake(recipes(dye="madder", dye_wof=doses)).dye.sum(axis=1)
    assert np.all(np.diff(got) > 0)
    assert np.all(np.diff(got) / np.diff(doses) < got[0] / doses[0])


def test_without_rivalry_the_tannin_control_tells_the_tannins_share_exactly():
    """Difference of differences in K/S, against the model's own parts."""
    base = {"fibre": "cotton", "mordant": "aluminium acetate", "mordant_wof": 8.0}
    swatches = recipes(
        **base,
        tannin="pomegranate rind",
        tannin_wof=8.0,
        dye=["weld", "weld", "none", "none"],
        dye_wof=50.0,
        iron_wof=[3.0, 0.0, 3.0, 0.0],
    )
    parts = synth.contributions(synth.uptake(swatches))
    total = sum(parts.values())
    dyes = sum(part for name, part in parts.items() if name.startswith("dye"))
    separated = (total[0] - total[1]) - (total[2] - total[3])
    assert separated == pytest.approx(dyes[0] - dyes[1], abs=1e-9)
    naive = total[0] - total[1]
    assert naive.sum() > 2 * separated.sum()


def test_an_unknown_dye_lists_those_the_model_knows():
    with pytest.raises(InputError, match=r"no dye 'madde'.*Did you mean 'madder'\?.*weld"):
        synth.reflectance(recipes(dye=["madde"]))


@pytest.mark.parametrize("exposure", ["wash", "light"])
def test_exposure_only_takes_dye_away(exposure):
    swatches = random_swatches(100)
    start = synth.uptake(swatches).dye.sum()
    amounts = [1, 5, 10] if exposure == "wash" else [1e5, 1e6, 1e7]
    left = [synth.fade.exposed(synth.uptake(swatches), exposure, a).dye.sum() for a in amounts]
    assert np.all(np.diff([start, *left]) < 0)


def test_no_exposure_changes_nothing():
    swatches = random_swatches(50)
    assert synth.faded(swatches, "none", 0.0) == pytest.approx(synth.reflectance(swatches))
    assert synth.faded(swatches, "wash", 0.0) == pytest.approx(synth.reflectance(swatches))


def test_light_units_agree():
    assert synth.light_dose(10.0, "h") == pytest.approx(synth.light_dose(600_000.0))
    steps = synth.light_dose(np.array([1.0, 3.0, 8.0]), "reference step")
    assert steps == pytest.approx([0.22, 1.5, 120.0])
    with pytest.raises(InputError, match="no unit 'days'"):
        synth.light_dose(1.0, "days")


def test_other_worlds_differ_and_repeat():
    swatches = random_swatches(50)
    standard, one, again, other = (
        synth.reflectance(swatches, cloth=cloth)
        for cloth in (synth.varied(1, 0.0), synth.varied(1), synth.varied(1), synth.varied(2))
    )
    assert standard == pytest.approx(synth.reflectance(swatches))
    assert np.array_equal(one, again)
    assert np.abs(one - other).max() > 0.02


def test_washing_stains_the_neighbour_and_wool_more_than_cotton():
    swatches = recipes(dye="madder", dye_wof=[50.0, 50.0, 50.0])
    bare = synth.reflectance(recipes(fibre=["wool", "wool", "cotton"]))
    after = synth.stained(swatches, ["wool", "wool", "cotton"], [0.0, 5.0, 5.0])
    assert after[0] == pytest.approx(bare[0])
    lost = (ks(after) - ks(bare)).max(axis=1)
    assert lost[1] > lost[2] > 0.01
    undyed = synth.stained(recipes(dye=["none"]), "wool", 5.0)
    assert undyed[0] == pytest.approx(bare[0])


def test_ten_thousand_recipes_are_one_call():
    swatches = random_books.random_recipes(10_000, np.random.default_rng(0))
    assert synth.reflectance(swatches).shape == (10_000, 31)


def test_row_order_index_and_further_columns_change_nothing():
    swatches = random_swatches(60)
    shuffled = swatches.sample(frac=1, random_state=1).assign(note="x", pH=4.0)
    odd = shuffled.set_index(pd.Index(range(900, 960)))
    back = np.argsort(shuffled.index)
    for exposure, amount in (("none", 0.0), ("wash", 5.0), ("light", 1e6)):
        plain = synth.faded(swatches, exposure, amount)
        assert np.array_equal(synth.faded(odd, exposure, amount)[back], plain)
    stains = synth.stained(swatches, "cotton", 5.0)
    assert np.array_equal(synth.stained(odd, "cotton", 5.0)[back], stains)


def test_no_recipes_give_no_spectra():
    assert synth.reflectance(random_swatches(3).head(0)).shape == (0, 31)


def test_blanks_and_missing_columns_count_as_none():
    bare = recipes(fibre=["cotton"])
    blank = bare.assign(dye=None, dye_wof=np.nan, tannin="", mordant="none", iron_wof=np.nan)
    assert np.array_equal(synth.reflectance(bare), synth.reflectance(blank))


def test_a_negative_dose_is_refused():
    with pytest.raises(InputError, match=r"iron_wof = -1 is below 0 % WOF\. Give 0"):
        synth.reflectance(recipes(iron_wof=[2.0, -1.0]))


def test_other_wavelengths_lie_on_the_same_curve():
    swatches = random_swatches(20)
    fine = synth.reflectance(swatches, wavelengths=np.arange(400.0, 701.0, 5.0))
    assert fine[:, ::2] == pytest.approx(synth.reflectance(swatches))


def test_rivalry_takes_iron_from_both_dye_and_tannin():
    from dataclasses import replace

    rivals = replace(synth.CLOTH, rivalry=0.5)
    cell = recipes(
        **{"fibre": "cotton", "tannin": "gallnut", "tannin_wof": 8.0, "dye": "weld"},
        **{"dye_wof": 50.0, "mordant": "aluminium acetate", "mordant_wof": 8.0, "iron_wof": [2.0]},
    )
    free, rival = (synth.uptake(cell, cloth=cloth) for cloth in (synth.CLOTH, rivals))
    assert rival.tannin_iron[0] < free.tannin_iron[0]
    assert rival.dye[0, 2] < free.dye[0, 2]
