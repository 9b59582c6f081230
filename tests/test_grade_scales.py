"""Grey-scale grades: ISO 105-A02 and A03 nominals, boundaries, hue wrap, achromatic pairs."""

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dyelab import grade
from dyelab.errors import InputError

SCALES = pd.read_csv(
    Path(__file__).parent / "published" / "grey_scales.csv", comment="#", dtype={"grade": str}
)
MIDDLE = np.array([60.0, 0.0, 0.0])


def lighter(by):
    return MIDDLE + np.array([by, 0, 0])


@pytest.mark.parametrize("row", SCALES.itertuples(), ids=SCALES["grade"])
def test_neutral_pairs_at_the_nominals_of_the_change_scale(row):
    told = grade.change_grade(MIDDLE, lighter(row.change_nominal)).iloc[0]
    assert told["change_grade"] == row.grade
    assert told["change_value"] == pytest.approx(row.change_value, abs=0.005)


@pytest.mark.parametrize("row", SCALES.itertuples(), ids=SCALES["grade"])
def test_neutral_pairs_at_the_nominals_of_the_staining_scale(row):
    told = grade.staining_grade(MIDDLE, MIDDLE - [row.staining_nominal, 0, 0]).iloc[0]
    assert told["staining_grade"] == row.grade
    wanted = max(row.staining_value, 1)  # the formula's 0.98 is held at the scale's end
    assert told["staining_value"] == pytest.approx(wanted, abs=0.005)


def test_change_limits_are_the_published_ones_and_midpoints_of_the_nominals():
    assert list(grade.CHANGE_LIMITS) == list(SCALES["change_limit"].dropna())
    nominal = SCALES["change_nominal"].to_numpy()
    midpoints = (nominal[1:] + nominal[:-1]) / 2
    np.testing.assert_allclose(grade.CHANGE_LIMITS, midpoints, atol=1e-9)


@pytest.mark.parametrize("at", range(8))
def test_each_change_boundary_from_both_sides(at):
    limit = SCALES["change_limit"].iloc[at]
    just_under, on, just_over = grade.change_of([limit - 0.001, limit, limit + 0.001])[1]
    assert [just_under, on, just_over] == [grade.GRADES[at], *[grade.GRADES[at + 1]] * 2]


@pytest.mark.parametrize("at", range(8))
def test_each_staining_boundary_from_both_sides(at):
    """A quarter grade parts two half grades: the value on either side says which is nearer."""
    limit = grade.STAINING_LIMITS[at]
    values, grades = grade.staining_of([limit - 1e-4, limit + 1e-4])
    quarter = 4.75 - at / 2
    assert values[0] > quarter > values[1]
    assert list(grades) == [grade.GRADES[at], grade.GRADES[at + 1]]


def test_staining_of_nothing_is_five_without_a_warning():
    told = grade.staining_grade(MIDDLE, MIDDLE).iloc[0]
    assert (told["staining_value"], told["staining_grade"]) == (5, "5")


def test_the_staining_formula_steps_at_grade_four():
    values, grades = grade.staining_of([4.2550, 4.2565])
    assert values[0] == pytest.approx(4.021, abs=0.001)
    assert values[1] == pytest.approx(4.000, abs=0.001)
    assert list(grades) == ["4", "4"]


def test_the_table_decides_and_not_the_rounded_value():
    value, said = grade.change_of(4.07)
    assert said == "3"
    assert round(float(value) * 2) / 2 == 2.5


@pytest.mark.parametrize("hue", [0.0, 90.0, 180.0, 270.0, 280.0, 350.0])
def test_hue_wraps_at_0_and_360(hue):
    """The same pair is graded alike however its hue angles are counted."""
    around = np.radians([hue - 4, hue + 4])
    first, second = (np.array([50, 30 * np.cos(h), 30 * np.sin(h)]) for h in around)
    assert grade.grey_scale_difference(first, second) == pytest.approx(
        as_printed(first, second), abs=1e-9
    )


def as_printed(R, T):
    """ISO 105-A05 written out a second time, in scalars and with its own hue difference."""
    C_R, C_T = math.hypot(R[1], R[2]), math.hypot(T[1], T[2])
    h_R, h_T = (math.degrees(math.atan2(x[2], x[1])) % 360 for x in (R, T))
    square = math.dist(R, T) ** 2 - (T[0] - R[0]) ** 2 - (C_T - C_R) ** 2
    rising = (h_T - h_R) % 360 <= 180
    dH = math.sqrt(max(square, 0)) * (1 if rising else -1)
    C_M, h_M = (C_T + C_R) / 2, (h_T + h_R) / 2
    if abs(h_T - h_R) > 180:
        h_M += 180 if h_T + h_R < 360 else -180
    off = abs(h_M - 280)
    off = off if off <= 180 else 360 - off
    D = (C_T - C_R) * C_M * math.exp(-((off / 30) ** 2)) / 100
    dC_F = (C_T - C_R - D) / (1 + (20 * C_M / 1000) ** 2)
    dH_F = (dH - D) / (1 + (10 * C_M / 1000) ** 2)
    return math.sqrt((T[0] - R[0]) ** 2 + dC_F**2 + dH_F**2)


def test_random_pairs_agree_with_a_second_writing_of_the_formula():
    rng = np.random.default_rng(7)
    first = np.column_stack([rng.uniform(15, 90, 500), rng.uniform(-50, 50, (500, 2))])
    second = first + rng.normal(0, 5, (500, 3))
    wanted = [as_printed(R, T) for R, T in zip(first, second, strict=True)]
    np.testing.assert_allclose(grade.grey_scale_difference(first, second), wanted, atol=1e-6)


@pytest.mark.parametrize("hue", range(0, 360, 30))
def test_achromatic_pairs_take_the_other_ones_hue(hue):
    """Beside a grey the mean hue is the colour's own, from either side."""
    turn = np.radians(hue)
    colour = np.array([60, 12 * np.cos(turn), 12 * np.sin(turn)])
    hint = MIDDLE + 1e-3 * np.array([0, np.cos(turn), np.sin(turn)])
    plain = grade.grey_scale_difference(MIDDLE, colour)
    assert plain == pytest.approx(grade.grey_scale_difference(hint, colour), abs=2e-3)
    assert grade.grey_scale_difference(colour, MIDDLE) == pytest.approx(
        grade.grey_scale_difference(colour, hint), abs=2e-3
    )


def test_two_greys_differ_by_lightness_alone():
    assert grade.grey_scale_difference(MIDDLE, lighter(3.3)) == pytest.approx(3.3)


def ranks(grades):
    return np.array([grade.GRADES.index(one) for one in grades])


def test_the_change_grade_never_rises_as_the_difference_grows():
    """From colours that dyed cloth has, in random directions, out to grade 1."""
    rng = np.random.default_rng(5)
    n, lengths = 2000, np.linspace(0, 20, 81)
    hue, chroma = rng.uniform(0, 2 * np.pi, n), rng.uniform(0, 60, n)
    first = np.column_stack([rng.uniform(15, 90, n), chroma * np.cos(hue), chroma * np.sin(hue)])
    way = rng.normal(size=(n, 3))
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    steps = first[:, None] + lengths[:, None] * way[:, None]
    dE = grade.grey_scale_difference(first[:, None], steps)
    worse = ranks(grade.change_of(dE)[1].ravel()).reshape(n, -1)
    assert (np.diff(worse, axis=1) >= 0).all()


def test_the_staining_grade_never_rises_as_the_difference_grows():
    rng = np.random.default_rng(6)
    way = rng.normal(size=(2000, 3))
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    steps = MIDDLE + np.linspace(0, 60, 121)[:, None] * way[:, None]
    dE = grade.staining_difference(MIDDLE, steps)
    worse = ranks(grade.staining_of(dE)[1].ravel()).reshape(len(way), -1)
    assert (np.diff(worse, axis=1) >= 0).all()


def test_room_to_the_next_grades():
    told = grade.change_grade(MIDDLE, np.stack([MIDDLE, lighter(2.0), lighter(20)]))
    np.testing.assert_allclose(told["change_to_worse"], [0.4, 0.1, np.nan])
    np.testing.assert_allclose(told["change_to_better"], [np.nan, 0.75, 8.4])


def test_a_missing_colour_has_no_grade():
    told = grade.change_grade(MIDDLE, [np.nan, 0, 0]).iloc[0]
    assert told["change_grade"] == ""
    assert np.isnan(told["change_value"])
    assert grade.staining_grade(MIDDLE, [np.nan, 0, 0])["staining_grade"].iloc[0] == ""


def test_colours_that_do_not_pair_up_are_refused():
    with pytest.raises(InputError, match=r"2 colours before and 3 after.*one row a pair"):
        grade.change_grade(np.zeros((2, 3)), np.zeros((3, 3)))
    with pytest.raises(InputError, match=r"shape \(4,\) isn't CIELAB.*shape \(n, 3\)"):
        grade.staining_grade(np.zeros(4), np.zeros(4))


def test_an_unknown_grade_is_refused_with_the_scale():
    assert grade.worst_allowed("4") == 2.10
    assert grade.worst_allowed("1") == np.inf
    with pytest.raises(InputError, match=r"no grade '6' here\. Grades: 5, 4-5, 4"):
        grade.worst_allowed("6")
