"""A change has a direction and so has its doubt: intervals of change from the joint covariance."""

import numpy as np
import pandas as pd
import pytest

from dyelab import compare, convert, grade, table

FORMULAS = {
    "dE00": convert.dE00,
    "dEF": grade.grey_scale_difference,
    "dEGS": grade.staining_difference,
}
NOISE = {
    "instrument": np.diag([0.15, 0.15, 0.15]),
    "photo": np.diag([0.15, 0.5, 0.9]),
    "oblique": np.array([[0.3, 0.2, 0.0], [0.1, 0.9, 0.3], [-0.2, 0.2, 0.4]]),
}


def washed(formula, true, root, n=600, seed=7):
    """Pairs that truly differ by `true`, directions drawn evenly, each read with noise."""
    rng = np.random.default_rng(seed)
    turn, chroma = rng.uniform(0, 2 * np.pi, n), rng.uniform(5, 45, n)
    first = np.column_stack([rng.uniform(25, 80, n), chroma * np.cos(turn), chroma * np.sin(turn)])
    way = rng.normal(size=(n, 3))
    low, high = np.zeros(n), np.full(n, 60.0)
    for _ in range(40):
        middle = (low + high) / 2
        short = formula(first, first + way * middle[:, None]) < true
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    second = first + way * low[:, None]
    noise = rng.normal(size=(2, n, 3)) @ root.T
    joint = np.zeros((n, 6, 6))
    joint[:, :3, :3] = joint[:, 3:, 3:] = root @ root.T
    return formula(first, second), first + noise[0], second + noise[1], joint


@pytest.mark.parametrize("kind", NOISE)
@pytest.mark.parametrize("name", FORMULAS)
def test_the_interval_of_a_change_holds_it_and_no_change_is_no_certainty(name, kind):
    """A quick form of tests/benchmarks/grade_coverage.py."""
    for true in (0, 0.5, 1, 2, 5):
        truth, *read = washed(FORMULAS[name], true, NOISE[kind])
        low, high = compare.directed_interval(compare.move(FORMULAS[name], *read))
        held = np.mean((low <= truth + 1e-6) & (truth <= high))
        assert 0.93 - 0.02 <= held <= 0.98 + 0.012  # 600 pairs: two standard errors
        if true == 0:
            assert np.mean(low > 0) <= 0.05 + 0.018


def test_zero_difference_has_the_interval_of_zero_difference():
    lab = np.array([[50.0, 20, 20]])
    joint = np.diag([0.01, 0.01, 1.2, 0.01, 0.01, 1.2])[None]
    low, high = compare.directed_interval(compare.move(convert.dE76, lab, lab, joint))
    assert low[0] == 0
    # The longest true difference that equal readings don't speak against lies along b*.
    assert high[0] == pytest.approx(1.96 * np.sqrt(2.4), rel=0.02)


def test_noise_along_one_direction_hides_no_change_along_another():
    before, after = np.array([[50.0, 10, 20]]), np.array([[52.4, 10, 20]])
    joint = np.diag([0.04, 1.0, 1.0, 0.04, 1.0, 1.0])[None]
    seen = compare.move(convert.dE76, before, after, joint)
    low, _ = compare.directed_interval(seen)
    assert low[0] > 1.6
    assert seen.chance_if_equal[0] < 1e-6


def test_the_verdict_and_the_interval_agree():
    for true in (0, 0.5, 1):
        _, *read = washed(convert.dE00, true, NOISE["photo"], n=300)
        seen = compare.move(convert.dE00, *read)
        low, _ = compare.directed_interval(seen)
        np.testing.assert_array_equal(low > 0, seen.chance_if_equal <= 0.05)


def test_limits_rise_with_the_difference_and_widen_with_the_noise():
    n = 60
    first = np.tile([50.0, 20, 10], (n, 1))
    second = first + np.linspace(0, 6, n)[:, None] * [0.8, 0.5, -0.3]
    joint = np.tile(np.diag([0.05, 0.1, 0.4] * 2), (n, 1, 1))
    low, high = compare.directed_interval(compare.move(convert.dE76, first, second, joint))
    assert (np.diff(low) >= -1e-9).all()
    assert (np.diff(high) >= -1e-9).all()
    wide = compare.directed_interval(compare.move(convert.dE76, first, second, 2 * joint))
    assert (wide[1] > high).all()
    assert (wide[0] <= low + 1e-9).all()


TRUE = np.array([2.1, 2.15, 2.2, 2.25, 2.3, 2.4])  # ΔE00 of six wool swatches in ten washes


def six_by_photo(seed=3, own=0.2, common=(0.6, 2.0, 2.4)):
    """Ten photos of six swatches that grow lighter; the photos share their calibration error."""
    rng = np.random.default_rng(seed)
    turn = np.radians(np.arange(6) * 55)
    start = np.column_stack([np.full(6, 50.0), 25 * np.cos(turn), 25 * np.sin(turn)])
    way = np.array([0.85, 0.3, -0.4])
    size = TRUE / convert.dE00(start, start + way)
    for _ in range(20):
        size *= TRUE / convert.dE00(start, start + size[:, None] * way)
    factors = np.diag(common)
    wrong = factors @ rng.normal(size=3)
    rows, shared = [], []
    for wash in range(11):
        for i in range(6):
            name = f"W{i}-{wash}"
            true = start[i] + size[i] * way * (1 - np.exp(-wash / 3)) / (1 - np.exp(-10 / 3))
            lab = true + wrong + own * rng.normal(size=3)
            rows.append((name, f"W{i}", "wash" if wash else "none", float(wash), *lab))
            shared += [(name, "session", f"axis {j}", *factors[j]) for j in range(3)]
    columns = ["reading", "swatch", "exposure", "amount", *table.LAB]
    frame = pd.DataFrame(rows, columns=columns).assign(
        unit="cycle", method="photo", illuminant="D65", observer=10
    )
    spread = own**2 * np.eye(3) + factors.T @ factors
    frame = table.with_covariances(frame, np.tile(spread, (len(frame), 1, 1)))
    shared = pd.DataFrame(shared, columns=["reading", "source", "factor", *table.LAB])
    return frame, shared.assign(scope="photo")


def test_six_swatches_by_photo_are_found_to_have_changed():
    frame, shared = six_by_photo()
    found = grade.study(frame, shared=shared)
    last = found.hardest("wash")
    assert list(last["changed"]) == ["real"] * 6
    place = grade.GRADES.index
    steps = [
        place(worst) - place(best)
        for best, worst in zip(last["grade_best"], last["grade_worst"], strict=True)
    ]
    assert max(steps) <= 2
    assert ((last["dE00_low"] <= TRUE) & (last["dE00_high"] >= TRUE)).sum() >= 5
