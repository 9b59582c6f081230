"""Curves of fading: shapes told rightly or not at all, bands and forecasts that hold the truth."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import optimize
from worlds import fading, synth

from dyelab import book, convert, grade, table
from dyelab.errors import InputError
from dyelab.grade import curves as drift
from dyelab.grade import shapes

REAL = Path(__file__).parent / "published" / "light_series.csv"
WAY = np.array([6.0, -3.0, 4.0])
CYCLES = np.arange(11.0)
CURVES = {
    "no change": lambda u: 0 * u,
    "first order": lambda u: np.expm1(-3 * u) / np.expm1(-3),
    "two rates": lambda u: 0.5 * np.expm1(-25 * u) / np.expm1(-25) + 0.5 * u,
    "power of dose": lambda u: u**0.4,
    "logarithm": lambda u: np.log1p(100 * u) / np.log1p(100),
}


def series(shape, sd, x=CYCLES, seed=1, stated=True):
    noise = sd * np.random.default_rng(seed).normal(size=(len(x), 3))
    lab = [50.0, 20, 10] + CURVES[shape](x / x[-1])[:, None] * WAY + noise
    return shapes.ExposureSeries(x, lab, np.eye(3 * len(x)) * (sd**2 if stated else 1.0), stated)


@pytest.mark.parametrize("shape", CURVES)
def test_a_nearly_noiseless_curve_is_recovered(shape):
    fit = shapes.average_fit(series(shape, 0.01))
    assert fit.shape == shape or (shape, fit.shape) == ("two rates", "three rates")
    x = np.array([0.0, 3.3, 7.7, 10.0])
    fan = drift.fan(fit, x)
    np.testing.assert_allclose(fan.change, CURVES[shape](x / 10)[:, None] * WAY, atol=0.06)


def test_first_order_agrees_with_a_general_least_squares_library():
    """Rate and amplitudes by scipy's own nonlinear fit, from its own start."""
    one = series("first order", 0.1)

    def model(x, k, *rest):
        return (np.array(rest[:3]) + np.expm1(-k * x[::3, None]) * np.array(rest[3:])).ravel()

    x, start = np.repeat(CYCLES, 3), [0.2, 50, 20, 10, -6, 3, -4]
    best, _ = optimize.curve_fit(model, x, one.lab.ravel(), p0=start)
    fit = shapes.average_fit(one)
    _, low, high = fit.theta()
    assert low / 10 <= best[0] <= high / 10
    fan = drift.fan(fit, CYCLES)
    np.testing.assert_allclose(fan.level, model(x, *best).reshape(-1, 3), atol=0.1)


def held(law, count, noise, stated, seeds):
    """Whether the band at twice the dose holds the truth, what is told, and what is declined."""
    rows = []
    for seed in seeds:
        frame = fading.read(law, seed, count, noise, stated)
        one = drift.drift(grade.pair(frame), "S", "light")
        low, high = one.curves["dE00"].band(np.array([2.0]))
        true = fading.true_change(law, seed, 2.0)
        curve = one.curves["dE00"]
        rows.append(
            (
                low[0] <= true <= high[0],
                curve.is_declined,
                one.fit.shows_shape,
                one.fit.shape == law,
            )
        )
    return np.array(rows)


@pytest.mark.parametrize("law", fading.LAWS)
def test_forecasts_hold_the_truth_of_every_law(law):
    """A quick form of tests/benchmarks/fading_recovery.py."""
    rows = np.concatenate(
        [
            held(law, count, noise, count == 6, range(4))
            for count in (6, 11)
            for noise in (0.05, 0.4)
        ]
    )
    assert rows[:, 0].mean() >= 0.85 - 0.06  # 32 tries


def test_a_forecast_is_declined_only_where_its_band_is_wider_than_the_change():
    sharp = held("first order", 11, 0.05, True, range(5))
    blunt = held("first order", 6, 3.0, True, range(5))
    assert sharp[:, 1].mean() <= 0.4
    assert blunt[:, 1].mean() >= 0.8


@pytest.fixture(scope="module")
def real():
    rows = pd.read_csv(REAL, comment="#")
    return rows.assign(
        swatch=rows["object"],
        exposure=np.where(rows["dose_Mlxh"].eq(0), "none", "light"),
        amount=1e6 * rows["dose_Mlxh"],
        **{"unit": "lx h", "method": "typed", "illuminant": "D65", "observer": 10},
    )


def test_forecasts_of_real_series_hold_the_readings_to_come(real):
    """Typed readings without stated noise, from the first five on, each later one in turn."""
    inside = []
    for name, rows in real.groupby("swatch"):
        doses = rows["amount"].to_numpy()
        for count in range(5, 12):
            one = drift.drift(grade.pair(rows.head(count)), name, "light")
            later = (doses > one.longest) & (doses <= 2 * one.longest)
            low, high = one.curves["dE00"].band(doses[later])
            lab = rows[table.LAB].to_numpy(float)
            read = convert.dE00(lab[0], lab[later])
            inside += list((low <= read) & (read <= high))
    assert np.mean(inside) >= 0.9


def test_on_a_real_blue_wool_the_curve_runs_through_its_readings(real):
    one = drift.drift(grade.pair(real), "blue wool 1", "light")
    read = one.curves["dE00"].readings
    low, high = one.curves["dE00"].band(read["x"].to_numpy())
    assert ((low <= read["y"]) & (read["y"] <= high)).mean() >= 0.9
    assert one.fit.noise < 0.1


def test_noise_is_judged_where_nobody_states_it():
    found = [
        shapes.average_fit(series("first order", 0.3, seed=s, stated=False)).noise for s in range(6)
    ]
    assert 0.2 < np.median(found) < 0.45
    larger = series("first order", 0.6)
    stated = shapes.ExposureSeries(larger.x, larger.lab, np.eye(33) * 0.1**2)
    assert shapes.average_fit(stated).noise > 3


def test_a_cloth_that_does_not_change_is_no_certainty():
    """No change has the band of no change: from zero up."""
    lows = []
    for seed in range(12):
        fan = drift.fan(
            shapes.average_fit(series("no change", 0.3, seed=seed)), np.array([0, 5.0, 10])
        )
        low, high = drift.distance_band(convert.dE00, fan, 0.95)
        lows.append(low[2])
        assert high[2] > 0.05
    assert np.mean(np.array(lows) > 0) <= 0.2  # 12 tries about 5 %


def test_all_quantities_of_a_cloth_come_from_one_fit():
    frame = fading.read("two rates", 5, 11, 0.1, True)
    one = drift.drift(grade.pair(frame), "S", "light")
    assert all(curve.of is one for curve in one.curves.values())
    assert set(one.curves) == set(drift.QUANTITIES)


def test_one_exposure_gives_no_curve():
    with pytest.raises(InputError, match=r"one exposure gives no curve\. Read the swatch after"):
        shapes.average_fit(shapes.ExposureSeries(np.array([0, 5.0]), np.zeros((2, 3)), np.eye(6)))


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
    return made, grade.pair(made.wide)


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
        low, high = one.curves["dEF"].band(np.array([one.longest]))
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
    assert " million lx h (" in drift.moment_text(when, one.unit)
    never = drift.Moment(np.inf, np.inf, np.inf, 10.0)
    assert drift.moment_text(never, "cycle") == "not within 20 washes"
    perhaps = drift.Moment(np.inf, 12.0, np.inf, 10.0)  # beyond the horizon nothing is known
    said = "not expected within 20 washes, but could be from 12 washes"
    assert drift.moment_text(perhaps, "cycle") == said


def test_every_curve_has_a_row(tried):
    _, found = tried
    told = drift.curve_table(drift.drift(found, "iron", "wash"))
    assert set(told["quantity"]) <= set(drift.QUANTITIES)
    assert told["shape"].isin(shapes.SHAPES).all()
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
    one = drift.drift(grade.pair(frame), "G", "wash")
    assert "Too near grey" in one.left_out["h"]


def test_rubbing_has_no_amount_and_no_curve():
    rows = [{"swatch": "G", "exposure": e, "L": 40, "a": 9, "b": 9} for e in ("none", "rub dry")]
    frame = pd.DataFrame(rows).assign(illuminant="D65", observer=10)
    with pytest.raises(InputError, match="Exposures without an amount give no curve"):
        drift.drift(grade.pair(frame), "G", "rub dry")


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
    every = drift.drifts(grade.pair(some), shared=bk.shared)
    assert len(every) >= 6
    assert all(np.isfinite(one.curves["dEF"].at(np.array([one.longest]))) for one in every)


def test_a_distance_below_its_noise_does_not_spoil_the_curve():
    """Taking the noise off a short distance leaves it uncertain, and that is known."""
    rng = np.random.default_rng(12)
    doses, inside, believed = np.array([0, 0.3, 1, 3, 10.0]), [], []
    for _ in range(20):
        true = np.array([50, 20, 10]) + np.outer(doses, [0.4, -0.1, 0.1])
        rows = pd.DataFrame(true + rng.normal(0, 0.15, true.shape), columns=["L", "a", "b"])
        rows = rows.assign(swatch="S", exposure=["none", *["light"] * 4], amount=doses, unit="h")
        rows = rows.assign(illuminant="D65", observer=10, u_L=0.15, u_a=0.15, u_b=0.15)
        one = drift.drift(grade.pair(rows), "S", "light")
        low, high = one.curves["dEF"].band(np.array([5.0]))
        middle = np.array([50, 20, 10]) + 5.0 * np.array([0.4, -0.1, 0.1])
        inside.append(low[0] <= grade.grey_scale_difference(true[0], middle) <= high[0])
        believed.append(one.fit.noise)
    assert np.mean(inside) >= 0.85  # 20 tries about 95 %
    assert np.median(believed) < 1.3
