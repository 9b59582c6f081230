"""Without a target: regions stated for a camera that nothing is known of, over exact values."""

from functools import cache

import numpy as np
import photos
import pytest
from scipy.stats import chi2
from worlds.synth import render

from dyelab import calibrate, convert
from dyelab.convert.srgb import srgb_to_linear

LIMIT = chi2.ppf(0.95, 3)


@cache
def distances(seed, camera, steeper):
    """Squared distances from the truth in stated standard deviations: single, and differences."""
    shot = render.Shot(camera=camera)
    spectra = photos.cloth(seed)
    paper = as_stored(np.full((1, len(render.BANDS)), render.PAPER), shot, steeper)[0]
    made = calibrate.from_white(paper)
    seen = made.lab(np.maximum(as_stored(spectra, shot, steeper), 1e-6))
    e = seen - convert.spectrum_to_lab(render.BANDS, spectra)
    own, common = made.errors.at(seen)
    whole = own + np.einsum("nfk,nfl->nkl", common, common)
    i, j = np.triu_indices(len(e), 1)
    both = np.einsum("nfk,nfl->nkl", common[i], common[j])
    between = whole[i] + whole[j] - both - both.swapaxes(1, 2)
    return squared(e, whole), squared(e[i] - e[j], between)


def as_stored(spectra, shot, steeper):
    linear = np.clip(0.8 * render.sees(spectra, shot), 0, 1)
    return srgb_to_linear(render.encoded(linear, steeper))


def squared(e, covariance):
    return np.einsum("nk,nkl,nl->n", e, np.linalg.inv(covariance), e)


@pytest.mark.parametrize("steeper", [0.0, 0.5])
@pytest.mark.parametrize("which", [0, 1], ids=["single", "differences"])
def test_regions_hold_the_truth_in_daylight(which, steeper):
    shots = [(s, c, steeper) for s in (601, 603) for c in convert.cameras()]
    found = [distances(*shot)[which] for shot in shots]
    assert 0.9 < np.mean(np.concatenate(found) < LIMIT) <= 1
