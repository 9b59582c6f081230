"""Simulated books: the same every time, true where they say so, noisy by the stated amount."""

import numpy as np
import pandas as pd
import pytest
from worlds import random_books, synth
from worlds.synth import noise

from dyelab import convert, table

LAB = ["L", "a", "b"]


def to_lab(reflectance):
    return convert.spectrum_to_lab(synth.WAVELENGTHS, reflectance)


def test_a_seed_gives_the_same_book_and_another_seed_another():
    one, again, other = (random_books.random_book(seed, 8) for seed in (5, 5, 6))
    pd.testing.assert_frame_equal(one.wide, again.wide)
    pd.testing.assert_frame_equal(one.truth, again.truth)
    assert not np.allclose(one.wide["L"], other.wide["L"])


def test_a_book_has_the_columns_of_a_book():
    book = random_books.random_book(1, 6, replicates=3, exposures=[("wash", 5.0), ("light", 1e6)])
    assert len(book.recipes) == 18
    assert len(book.wide) == len(book.spectra) == len(book.truth) == 54
    assert list(book.wide.columns[: len(table.READINGS.names)]) == table.READINGS.names
    assert book.wide["reading"].is_unique
    text = book.wide[table.READINGS.names].map(lambda x: "" if pd.isna(x) else str(x))
    assert table.check(text, table.READINGS, "readings.csv").empty
    assert table.one_white(book.wide) == ("D65", 10)


def test_truth_is_what_the_recipe_gives_in_that_world():
    book = random_books.random_book(2, 10, replicates=2, exposures=[("wash", 5.0)])
    fresh = book.truth[book.wide["exposure"].to_numpy() == "none"]
    true = synth.reflectance(book.recipes, cloth=book.cloth)
    assert fresh.iloc[:, 5:].to_numpy() == pytest.approx(true)
    assert fresh[LAB].to_numpy() == pytest.approx(to_lab(true))


def test_without_noise_the_readings_are_the_truth():
    book = random_books.random_book(3, 10, swatch_sd=0.0, reading_sd=0.0)
    assert book.wide[LAB].to_numpy() == pytest.approx(book.truth[LAB].to_numpy())


def test_replicates_scatter_about_the_truth():
    """Doses off by chance move a swatch either way; the mean of many comes near the truth."""
    recipe = pd.DataFrame(
        [{"dye": "madder", "dye_wof": 50.0, "mordant": "potash alum", "mordant_wof": 15.0}]
    )
    book = synth.simulate(recipe, 1, replicates=400, swatch_sd=0.1)
    off = book.wide[LAB].to_numpy() - book.truth[LAB].to_numpy()
    assert 0.4 < off[:, 0].std() < 4
    assert np.all(np.abs(off.mean(axis=0)) < 4 * off.std(axis=0) / 20 + 0.1)


def test_the_same_swatch_keeps_its_own_error_after_exposure():
    recipe = pd.DataFrame([{"dye": "madder", "dye_wof": 50.0}])
    book = synth.simulate(recipe, 1, replicates=60, exposures=[("wash", 1.0)])
    off = book.wide["L"] - book.truth["L"]
    before, after = (off[book.wide["exposure"] == kind].to_numpy() for kind in ("none", "wash"))
    assert np.corrcoef(before, after)[0, 1] > 0.9


def test_stated_covariances_are_those_of_repeated_readings():
    true = synth.reflectance(random_books.random_recipes(6, np.random.default_rng(1)))
    stated = noise.reading_covariances(true, 0.004, to_lab)
    rng = np.random.default_rng(2)
    draws = np.stack([to_lab(noise.read_spectra(true, 0.004, rng)) for _ in range(3000)])
    for i in range(len(true)):
        assert np.cov(draws[:, i].T) == pytest.approx(stated[i], rel=0.15, abs=0.0008)


def test_dark_shades_repeat_worse():
    """Common practice knows it: below some 5 % reflectance repeatability worsens."""
    grey = np.full((3, 31), 1.0) * np.array([[0.6], [0.1], [0.02]])
    spread = noise.reading_covariances(grey, 0.004, to_lab)[:, 0, 0]
    assert spread[2] > 2 * spread[0]


def test_random_recipes_stay_within_the_trades_doses():
    frame = random_books.random_recipes(500, np.random.default_rng(0))
    assert frame["iron_wof"].between(0, 4).all()
    assert (frame.loc[frame["vat"], "mordant"] == "none").all()
    assert set(frame["fibre"]) == {"wool", "cotton"}
    assert frame["swatch"].is_unique
