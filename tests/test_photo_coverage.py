"""A few of the benchmark's random photos: errors small, and intervals that hold."""

import numpy as np
import pandas as pd
import photos
import pytest
from scipy.stats import chi2
from worlds import random_books
from worlds.synth import render

from dyelab import calibrate, compare, convert, measure, read, table

pytestmark = pytest.mark.slow
REFERENCE = calibrate.reference()


@pytest.fixture(scope="module")
def judged():
    rows = []
    for seed in (21, 22, 23, 24, 25, 26):
        picture = photos.drawn(seed)
        made = measure.photo(read.photo(picture.jpeg(), name="a.jpg"), REFERENCE)
        rows.append((picture.truth, made))
    return rows


def test_colours_are_near_the_truth(judged):
    e = np.concatenate([convert.dE00(t, m.table[table.LAB].to_numpy()) for t, m in judged])
    assert np.median(e) < 1.1
    assert np.percentile(e, 95) < 4.2


def test_stated_regions_hold_the_truth(judged):
    limit = chi2.ppf(0.95, 3)
    single, between = [], []
    for truth, made in judged:
        e, own = made.table[table.LAB].to_numpy() - truth, table.covariances(made.table)
        common = made.shared[made.shared["scope"] == "photo"]
        factors = common[table.LAB].to_numpy().reshape(len(e), -1, 3)
        i, j = np.triu_indices(len(e), 1)
        both = np.einsum("nfk,nfl->nkl", factors[i], factors[j])
        cov = own[i] + own[j] - both - both.swapaxes(1, 2)
        single.append(np.einsum("nk,nkl,nl->n", e, np.linalg.inv(own), e) < limit)
        between.append(
            np.einsum("nk,nkl,nl->n", e[i] - e[j], np.linalg.inv(cov), e[i] - e[j]) < limit
        )
    # 144 colours of 6 photos: the sampling error of the share is about 2 %.
    assert 0.9 < np.mean(single) <= 1
    assert 0.9 < np.mean(between) <= 1


def test_regions_hold_the_truth_beside_swatches_read_by_instrument():
    limit, held = chi2.ppf(0.95, 3), []
    for seed in (21, 22, 23, 24, 25, 26):
        picture = photos.drawn(seed)
        add = pd.DataFrame(picture.truth[::2], columns=table.LAB)
        add["sample"] = picture.card.places[::2]
        made = measure.photo(read.photo(picture.jpeg(), name="a.jpg"), REFERENCE, add=add)
        e = (made.table[table.LAB].to_numpy() - picture.truth)[1::2]
        own = table.covariances(made.table)[1::2]
        held.append(np.einsum("nk,nkl,nl->n", e, np.linalg.inv(own), e) < limit)
    # 72 colours: the sampling error of the share is about 3 %.
    assert 0.86 < np.mean(held) <= 1


def test_differences_of_replicated_recipes_hold_the_truth():
    """Replicates agree on what the camera gets wrong, so their scatter alone would say too little.

    Every recipe lies twice on the card; the truth is the difference of the two recipes' means.
    """
    held, without = [], []
    for seed in (31, 32, 33):
        twelve = photos.cloth(seed, 12)
        picture = render.render(
            np.repeat(twelve, 2, axis=0), random_books.random_shot(seed, megapixels=2.0), seed=seed
        )
        made = measure.photo(read.photo(picture.jpeg(), name="a.jpg"), REFERENCE)
        rows = made.table.assign(
            sample=[f"r{i // 2}" for i in range(24)], reading="a.jpg/" + made.table["place"]
        )
        true = convert.dE00(picture.truth[:1], picture.truth[2::2])
        for shared, kept in (
            (made.shared, held),
            (made.shared[made.shared["scope"] == "photo"], without),
        ):
            told = compare.to_reference(rows, "r0", piece="place", shared=shared, confidence=0.95)
            inside = (told["dE00_low"] <= true) & (true <= told["dE00_high"])
            kept.append(inside.mean())
    assert np.mean(held) > 0.9  # 33 differences, those of one photo not independent
    assert np.mean(without) < 0.8
