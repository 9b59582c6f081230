"""Arithmetic that several rooms share: large arrays in pieces, roots, slopes, conditioning."""

import numpy as np
import pytest

from dyelab import convert, numerics

RNG = np.random.default_rng(3)


@pytest.mark.parametrize("formula", [convert.dE76, convert.dE00, convert.dECMC])
@pytest.mark.parametrize("shapes", [((50_000, 3), (50_000, 3)), ((3,), (40_000, 3))])
def test_pieces_change_no_difference(formula, shapes):
    one, two = (RNG.uniform(-50, 90, shape) for shape in shapes)
    found = formula(one, two)
    np.testing.assert_array_equal(found, formula.__wrapped__(one, two))


def test_pieces_keep_the_shape_of_a_grid():
    one, two = RNG.uniform(0, 80, (200, 1, 3)), RNG.uniform(0, 80, (1, 300, 3))
    found = convert.dE00(one, two)
    assert found.shape == (200, 300)
    assert found[7, 11] == convert.dE00(one[7, 0], two[0, 11])


def test_conversions_in_pieces_come_back():
    white = convert.white("D65", 10)
    lab = np.column_stack([RNG.uniform(5, 95, 40_000), RNG.uniform(-60, 60, (40_000, 2))])
    again = convert.xyz_to_lab(convert.lab_to_xyz(lab, white), white)
    np.testing.assert_allclose(again, lab, atol=1e-9)


def test_a_million_differences_agree_with_two_peers():
    """colour-science and scikit-image, to 1e-12."""
    from skimage.color import deltaE_ciede2000

    one, two = (RNG.uniform([5, -60, -60], [95, 60, 60], (100_000, 3)) for _ in range(2))
    ours = convert.dE00(one, two)
    np.testing.assert_allclose(ours, deltaE_ciede2000(one, two), atol=1e-12, rtol=0)
    colour = pytest.importorskip("colour")
    theirs = colour.difference.delta_E_CIE2000(one, two)
    np.testing.assert_allclose(ours, theirs, atol=1e-12, rtol=0)


def covariances(count, size):
    parts = RNG.normal(size=(count, size, size))
    return parts @ np.swapaxes(parts, 1, 2)


def test_roots_give_their_covariance_back():
    whole = covariances(5, 4)
    for root in (numerics.root(whole), numerics.symmetric_root(whole)):
        np.testing.assert_allclose(root @ np.swapaxes(root, 1, 2), whole, atol=1e-10)
    even = numerics.symmetric_root(whole)
    np.testing.assert_allclose(even, np.swapaxes(even, 1, 2), atol=1e-10)


def test_the_nearest_covariance_has_no_negative_variance():
    odd = np.array([[[1.0, 2.0], [2.0, 1.0]], [[np.nan, 0.0], [0.0, 1.0]]])
    mended = numerics.semidefinite(odd)
    assert np.linalg.eigvalsh(mended[0]).min() > -1e-12
    assert np.isnan(mended[1, 0, 0])


def test_slopes_of_a_linear_function_are_its_matrix():
    matrix = RNG.normal(size=(2, 3))
    found = numerics.slopes(lambda x: x @ matrix.T, RNG.normal(size=(6, 3)), 0.1)
    np.testing.assert_allclose(found, np.broadcast_to(matrix, (6, 2, 3)), atol=1e-12)


def test_greedy_takes_first_what_leaves_least_variance():
    prior = covariances(1, 6)[0]
    first, second = numerics.greedy(prior, 0.3, 2)

    def left(rows):
        gain = np.linalg.solve(prior[np.ix_(rows, rows)] + 0.3 * np.eye(len(rows)), prior[rows])
        return np.trace(prior - prior[:, rows] @ gain)

    assert left([first]) == min(left([i]) for i in range(6))
    assert left([first, second]) == min(left([first, i]) for i in range(6) if i != first)
    assert len(set(numerics.greedy(prior, 0.3, 9))) == 6


def test_the_gain_is_a_gaussian_given_what_was_seen_of_it():
    """Against the joint density itself: the mean of what is left, by dividing the Gaussian."""
    rng = np.random.default_rng(3)
    draw = rng.normal(size=(5, 9))
    whole = draw @ draw.T
    seen, rest, noise, value = [0, 1, 2], [3, 4], 0.3, rng.normal(size=3)
    gain = numerics.gain(whole[np.ix_(seen, seen)], whole[np.ix_(rest, seen)], noise)
    padded = whole + np.diag([noise] * 3 + [0.0] * 2)
    precision = np.linalg.inv(padded)
    left = np.linalg.inv(precision[np.ix_(rest, rest)])
    np.testing.assert_allclose(gain @ value, -left @ precision[np.ix_(rest, seen)] @ value)
    np.testing.assert_allclose(whole[np.ix_(rest, rest)] - gain @ whole[np.ix_(seen, rest)], left)
