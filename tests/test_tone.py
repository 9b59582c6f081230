"""The camera's tone curve told apart from its colours: exact values in, the known curve out."""

import numpy as np
import pytest
from worlds.synth import render

from dyelab import calibrate, convert
from dyelab.calibrate.program import fit_program
from dyelab.convert.srgb import srgb_to_linear

REFERENCE = calibrate.reference()
LEVELS = np.array([0.03, 0.1, 0.2, 0.4, 0.6, 0.75])


def fitted(light, camera, steeper):
    """The program found, and what light it gives for true `LEVELS`, lightest alike."""
    seen = 0.8 * render.sees(REFERENCE.spectra, render.Shot(light=light, camera=camera))
    stored = srgb_to_linear(render.encoded(np.clip(seen, 0, 1), steeper))
    found = fit_program(stored, REFERENCE.spectra, np.full(3, 0.4))
    undone = found.best.undo(srgb_to_linear(render.encoded(LEVELS, steeper))[:, None]).mean(axis=1)
    return found, undone / undone[-1] * LEVELS[-1]


@pytest.mark.parametrize("camera", convert.cameras())
@pytest.mark.parametrize("light", ["D65", "A", "LED-B3", "FL11"])
@pytest.mark.parametrize("steeper", [0.0, 0.6])
def test_the_curve_is_found_in_any_light(light, camera, steeper):
    _, undone = fitted(light, camera, steeper)
    np.testing.assert_allclose(undone, LEVELS, rtol=0.03, atol=0.001)


def test_the_stated_doubt_holds_the_curve():
    found, undone = fitted("A", convert.cameras()[0], 0.0)
    drawn = np.array([one.undo(LEVELS[:, None]).mean(axis=1) for one in found.drawn])
    drawn = drawn / drawn[:, -1:] * LEVELS[-1]
    spread = drawn.std(axis=0)[:-1]
    assert (np.abs(undone - LEVELS)[:-1] < 3 * spread + 1e-4).all()


def test_a_drawn_curve_rises():
    found, _ = fitted("A", convert.cameras()[0], 0.6)
    assert all(one.tone.is_rising for one in found.drawn)
