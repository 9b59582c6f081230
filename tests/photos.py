"""Rendered photos for tests: invented cloth from worlds that no calibration was trained on."""

from functools import cache

import numpy as np
from worlds import random_books, synth
from worlds.synth import render

from dyelab.calibrate.program import DRAWS, Program, Undoing
from dyelab.calibrate.tone import Tone


def cloth(seed, count=24):
    rng = np.random.default_rng(seed)
    recipes = random_books.random_recipes(count, rng)
    return synth.reflectance(recipes, cloth=synth.varied(seed), wavelengths=render.BANDS)


def edges(seed, count=24):
    """Spectra that owe nothing to any dye: smooth steps up or down."""
    rng = np.random.default_rng(seed)
    low, high = rng.uniform(0.02, 0.3, (count, 1)), rng.uniform(0.3, 0.8, (count, 1))
    middle, width = rng.uniform(420, 680, (count, 1)), rng.uniform(15, 50, (count, 1))
    rise = 1 / (1 + np.exp(-(render.BANDS - middle) / width))
    rise = np.where(rng.random((count, 1)) < 0.25, 1 - rise, rise)
    return low + (high - low) * rise


@cache
def easy(**changes):
    shot = render.Shot(megapixels=2.0, **changes)
    return render.render(cloth(1), shot, seed=1)


@cache
def drawn(seed, megapixels=2.0, **changes):
    shot = random_books.random_shot(seed, megapixels=megapixels, **changes)
    return render.render(cloth(seed), shot, seed=seed)


def exact():
    """A program without doubt, that did nothing."""
    made = Undoing(Tone(), np.zeros(3))
    return Program(made, (made,) * DRAWS, np.zeros((DRAWS, 24, 3)), None, 0.0, 1.0)
