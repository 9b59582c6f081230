"""Curves of fading: shapes recovered, rates inside their intervals, honest small samples."""

import numpy as np
import pandas as pd
import pytest
from scipy import optimize

from dyelab import book, grade, synth
from dyelab.errors import InputError
from dyelab.grade import curves as fading
from dyelab.grade import drift_curves as drift

CYCLES = np.arange(11.0)
CURVES = {
    "no change": lambda x: 40 + 0 * x,
    "constant rate": lambda x: 40 - 0.5 * x,
    "first order": lambda x: 40 - 10 * (1 - np.exp(-0.3 * x)),
    "two rate": lambda x: 40 - 6 * (1 - np.exp(-0.9 * x)) - 0.4 * x,
}
RATES = {"constant rate": -0.5, "first order": 0.3, "two rate": 0.9}


def series(shape, sd, rng, x=CYCLES, stated=True):
    noise = sd**2 if stated else 1.0
    y = CURVES[shape](x) + rng.normal(0, sd, len(x))
    return fading.Series(x, y, noise * np.eye(len(x)), None, stated)


@pytest.mark.parametrize("shape", CURVES)
def test_a_noiseless_curve_is_recovered_exactly(shape):
    exact = fading.Series(CYCLES, CURVES[shape](CYCLES), 1e-6 * np.eye(11))
    choice = fading.choose(exact)
    assert choice.chosen.shape == shape
    far = np.array([3.3, 20.0])
    np.testing.assert_allclose(choice.at(far), CURVES[shape](far), atol=2e-3)
    if shape in RATES:
        assert choice.chosen.rate()[0] == pytest.approx(RATES[shape], rel=1e-3)


def test_first_order_agrees_with_a_general_least_squares_library():
    """The same curve by scipy's own nonlinear fit, from its own start."""
    one = series("first order", 0.3, np.random.default_rng(2))
    fade = fading.fit(one, "first order")

    def curve(x, start, fall, k):
        return start + fall * (1 - np.exp(-k * x))

    best, _ = optimize.curve_fit(curve, one.x, one.y, p0=[40, -8, 0.5])
    assert fade.rate()[0] == pytest.approx(best[2], rel=2e-3)
    np.testing.assert_allclose(fade.at(CYCLES), curve(CYCLES, *best), atol=1e-3)


def test_a_straight_line_agrees_with_a_general_regression_library():
    from scipy import stats

    one = series("constant rate", 0.3, np.random.default_rng(3), stated=False)
    rate, low, high = fading.fit(one, "constant rate").rate()
    line = stats.linregress(one.x, one.y)
    reach = stats.t.ppf(0.975, 9) * line.stderr
    np.testing.assert_allclose(
        [rate, low, high], [line.slope, line.slope - reach, line.slope + reach]
    )


@pytest.mark.parametrize("stated", [True, False])
@pytest.mark.parametrize("shape", RATES)
def test_the_rates_interval_covers_and_the_shape_is_found(shape, stated):
    """A quick form of tests/benchmarks/fading_recovery.py."""
    rng = np.random.default_rng(20)
    sd = 0.15 if shape == "two rate" else 0.3
    inside, found = [], []
    for _ in range(60):
        one = series(shape, sd, rng, stated=stated)
        _, low, high = fading.fit(one, shape).rate()
        inside.append(low <= RATES[shape] <= high)
        found.append(fading.choose(one).chosen.shape == shape)
    assert 0.87 <= np.mean(inside) <= 1  # 60 tries: two standard errors below 93 %
    assert np.mean(found) >= 0.88


def test_what_the_readings_cannot_tell_is_said():
    weak = series("two rate", 3.0, np.random.default_rng(4))
    choice = fading.choose(weak)
    assert not choice.told
    assert len(choice.in_play) > 1
    low, high = choice.band(np.array([20.0]))
    assert low[0] < CURVES["two rate"](20.0) < high[0]


def test_the_band_holds_the_curve_and_widens_beyond_the_readings():
    choice = fading.choose(series("first order", 0.3, np.random.default_rng(5)))
    x = np.array([0.0, 5.0, 10.0, 15.0, 20.0])
    low, high = choice.band(x)
    assert ((low <= choice.at(x)) & (choice.at(x) <= high)).all()
    assert (np.diff((high - low)[2:]) > 0).all()


def test_noise_larger_than_stated_is_not_believed():
    rng = np.random.default_rng(6)
    y = CURVES["constant rate"](CYCLES) + rng.normal(0, 1.0, 11)
    choice = fading.choose(fading.Series(CYCLES, y, 0.01 * np.eye(11)))
    assert not choice.stated
    assert choice.fades[-1].rate()[2] > 0


def test_a_rate_that_has_no_upper_limit_says_so():
    """All the change happened before the first reading after the start."""
    step = fading.Series(CYCLES, np.where(CYCLES > 0, 30.0, 40.0), 0.01 * np.eye(11))
    _, low, high = fading.fit(step, "first order").rate()
    assert low > 1
    assert high == np.inf


def test_one_exposure_gives_no_curve():
    with pytest.raises(InputError, match=r"one exposure gives no curve\. Read the swatch after"):
        fading.choose(fading.Series(np.array([0, 5.0]), np.array([40, 38.0]), np.eye(2)))
    with pytest.raises(InputError, match=r"2 readings can't tell a two rate curve.*at 2 more"):
        fading.fit(fading.Series(np.array([0, 5.0]), np.array([40, 38.0]), np.eye(2)), "two rate")


def test_when_a_level_is_reached():
    rising = fading.Series(CYCLES[1:], 0.5 * CYCLES[1:], 0.01 * np.eye(10), 0.0)
    choice = fading.choose(rising)
    middle, early, late = fading.reaches(choice, 2.0, 20)
    assert early < middle < late
    assert middle == pytest.approx(4, abs=0.05)
    assert fading.reaches(choice, 50.0, 20)[0] == np.inf


@pytest.fixture(scope="module")
def tried():
    made = synth.simulate(
        pd.DataFrame(
            [
                {"swatch": "alum", "fibre": "wool", "dye": "weld", "dye_wof": 50.0},
                {
                    "swatch": "iron",
                    "fibre": "wool",
                    "dye": "weld",
                    "dye_wof": 50.0,
                    "iron_wof": 2.0,
                },
            ]
        ).assign(mordant="potash alum", mordant_wof=15.0),
        3,
        replicates=1,
        exposures=[("wash", float(c)) for c in range(1, 11)]
        + [("light", dose) for dose in (0.3e6, 1e6, 3e6, 6e6, 10e6)],
    )
    return made, grade.matched(made.wide)


def test_alum_and_iron_through_ten_washes_and_five_doses(tried):
    made, found = tried
    every = drift.drifts(found)
    assert [(one.swatch, one.exposure) for one in every] == [
        *(("alum", "wash"), ("iron", "wash"), ("alum", "light"), ("iron", "light"))
    ]
    truth = made.truth.set_index("reading")
    ends = {"wash": "-w10", "light": "-l10"}
    for one in every:
        ending = ends[one.exposure]
        pair = truth.loc[[one.swatch, one.swatch + ending], ["L", "a", "b"]].to_numpy()
        true = grade.grey_scale_difference(*pair)
        low, high = drift.band(one, "dEF", np.array([one.longest]))
        assert low[0] - 0.3 <= true <= high[0] + 0.3  # the noise-free cloth is another weave


def test_alum_fades_sooner_than_iron_in_light(tried):
    """As published for yellow dyes on wool (Crews 1982, JAIC 21(2))."""
    _, found = tried
    alum, iron = (drift.fails(drift.drift(found, s, "light"), "4") for s in ("alum", "iron"))
    assert alum.latest < iron.earliest


def test_moments_are_said_with_their_interval(tried):
    _, found = tried
    one = drift.drift(found, "alum", "light")
    when = drift.shows(one)
    assert 0 < when.earliest < when.middle < when.latest < one.longest
    assert drift.moment_text(when, one.unit).startswith("after about ")
    assert " Mlx h (" in drift.moment_text(when, one.unit)
    never = drift.Moment(np.inf, np.inf, np.inf, 10.0)
    assert drift.moment_text(never, "cycle") == "not within 20 washes"


def test_every_curve_has_a_row(tried):
    _, found = tried
    told = drift.curve_table(drift.drift(found, "iron", "wash"))
    assert set(told["quantity"]) <= set(drift.QUANTITIES)
    assert told["shape"].isin(fading.SHAPES).all()
    assert (told["forecast_low"] <= told["forecast_high"]).all()


def test_a_grey_has_no_hue_curve():
    rows = [
        {
            "swatch": "G",
            "exposure": e,
            "amount": x,
            "unit": "cycle",
            "L": 40 + x,
            "a": 0.5,
            "b": 0.5,
        }
        for e, x in (("none", 0), ("wash", 1), ("wash", 5), ("wash", 10))
    ]
    frame = pd.DataFrame(rows).assign(illuminant="D65", observer=10)
    one = drift.drift(grade.matched(frame), "G", "wash")
    assert "Too near grey" in one.left_out["h"]
    assert one.curves["L"].chosen.shape == "constant rate"


def test_rubbing_has_no_amount_and_no_curve():
    rows = [{"swatch": "G", "exposure": e, "L": 40, "a": 9, "b": 9} for e in ("none", "rub dry")]
    frame = pd.DataFrame(rows).assign(illuminant="D65", observer=10)
    with pytest.raises(InputError, match="Exposures without an amount give no curve"):
        drift.drift(grade.matched(frame), "G", "rub dry")


def test_unknown_swatch_or_test_names_the_choices(tried):
    _, found = tried
    with pytest.raises(InputError, match="Did you mean 'alum'"):
        drift.drift(found, "alun", "wash")
    with pytest.raises(InputError, match="no exposure 'rub dry' for swatch alum"):
        drift.drift(found, "alum", "rub dry")


def test_the_examples_curves_are_fitted_without_a_hitch():
    bk = book.open(synth.example())
    wide = book.wide(bk)
    some = wide[wide["swatch"].isin(["W01", "W02", "W17", "C03", "C30"])]
    every = drift.drifts(grade.matched(some), shared=bk.shared)
    assert len(every) >= 6
    assert all(np.isfinite(one.curves["dEF"].at(np.array([one.longest]))) for one in every)


def test_a_distance_below_its_noise_does_not_spoil_the_curve():
    """Taking the noise off a short distance leaves it uncertain, and that is known."""
    rng = np.random.default_rng(12)
    doses, inside, believed = np.array([0, 0.3, 1, 3, 10.0]), [], []
    for _ in range(40):
        true = np.array([50, 20, 10]) + np.outer(doses, [0.4, -0.1, 0.1])
        rows = pd.DataFrame(true + rng.normal(0, 0.15, true.shape), columns=["L", "a", "b"])
        rows = rows.assign(swatch="S", exposure=["none", *["light"] * 4], amount=doses, unit="h")
        rows = rows.assign(illuminant="D65", observer=10, u_L=0.15, u_a=0.15, u_b=0.15)
        one = drift.drift(grade.matched(rows), "S", "light")
        low, high = drift.band(one, "dEF", np.array([5.0]))
        middle = np.array([50, 20, 10]) + 5.0 * np.array([0.4, -0.1, 0.1])
        inside.append(low[0] <= grade.grey_scale_difference(true[0], middle) <= high[0])
        believed.append(one.curves["dEF"].stated)
    assert np.mean(inside) >= 0.87  # 40 tries about 95 %
    assert np.mean(believed) >= 0.97
