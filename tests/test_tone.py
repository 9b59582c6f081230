"""The camera's tone curve told apart from its colours: exact values in, the known curve out."""

import numpy as np
import pytest

from dyelab import calibrate, convert
from dyelab.calibrate.tone import Tone
from dyelab.calibrate.tone_fit import exact, fit_tone
from dyelab.convert.srgb import srgb_to_linear
from dyelab.synth import render

REFERENCE = calibrate.reference()
LEVELS = np.array([0.03, 0.1, 0.2, 0.4, 0.6, 0.75])


def fitted(light, camera, steeper):
    """The curve found, and what light it gives for true `LEVELS`, lightest alike."""
    seen = 0.8 * render.sees(REFERENCE.spectra, render.Shot(light=light, camera=camera))
    stored = srgb_to_linear(render.encoded(np.clip(seen, 0, 1), steeper))
    found = fit_tone(stored, np.ones(24), REFERENCE.spectra)
    undone = found.tone.undo(srgb_to_linear(render.encoded(LEVELS, steeper)))
    return found, undone / undone[-1] * LEVELS[-1]


@pytest.mark.parametrize("camera", convert.cameras())
@pytest.mark.parametrize("light", ["D65", "A", "LED-B3", "FL11"])
@pytest.mark.parametrize("steeper", [0.0, 0.6])
def test_the_curve_is_found_in_any_light(light, camera, steeper):
    _, undone = fitted(light, camera, steeper)
    np.testing.assert_allclose(undone, LEVELS, rtol=0.02)


def test_the_stated_doubt_holds_the_curve():
    found, _ = fitted("A", convert.cameras()[0], 0.0)
    off = found.tone.values  # the true ones are nought
    assert off @ np.linalg.solve(found.spread, off) < 7.8  # 95 % of chi-square, 3 degrees


def test_a_drawn_curve_rises_and_an_exact_one_stays():
    rng = np.random.default_rng(1)
    found, _ = fitted("A", convert.cameras()[0], 0.6)
    assert all(found.draw(rng).rising for _ in range(50))
    np.testing.assert_allclose(exact(Tone(0.1)).draw(rng).values, [0.1, 0, 0], atol=1e-5)
