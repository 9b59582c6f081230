"""A few of the benchmark's random photos: errors small, and intervals that hold."""

import numpy as np
import photos
import pytest
from scipy.stats import chi2

from dyelab import calibrate, convert, measure, read, table

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
