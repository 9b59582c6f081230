"""Without a target: regions stated for a camera that nothing is known of, over exact values."""

from functools import cache

import numpy as np
import photos
import pytest
from scipy.stats import chi2

from dyelab import calibrate, convert
from dyelab.synth import photo

LIMIT = chi2.ppf(0.95, 3)


@cache
def distances(seed, camera):
    """Squared distances from the truth in stated standard deviations: single, and differences."""
    shot = photo.Shot(camera=camera)
    spectra = photos.cloth(seed)
    paper = photo.sees(np.full((1, len(photo.BANDS)), photo.PAPER), shot)[0]
    made = calibrate.from_white(paper)
    seen = made.lab(np.maximum(photo.sees(spectra, shot), 1e-6))
    e = seen - convert.spectrum_to_lab(photo.BANDS, spectra)
    own, common = made.errors.at(seen)
    whole = own + np.einsum("nfk,nfl->nkl", common, common)
    i, j = np.triu_indices(len(e), 1)
    both = np.einsum("nfk,nfl->nkl", common[i], common[j])
    between = whole[i] + whole[j] - both - both.swapaxes(1, 2)
    return squared(e, whole), squared(e[i] - e[j], between)


def squared(e, covariance):
    return np.einsum("nk,nkl,nl->n", e, np.linalg.inv(covariance), e)


@pytest.mark.parametrize("which", [0, 1], ids=["single", "differences"])
def test_regions_hold_the_truth_in_daylight(which):
    found = [distances(s, c)[which] for s in (601, 602, 603, 605) for c in convert.cameras()]
    assert 0.9 < np.mean(np.concatenate(found) < LIMIT) <= 1
