"""Rendered photos with labels above the windows, thrown down as a hand would."""

from dataclasses import replace

import numpy as np
import photos
from worlds import random_books
from worlds.synth import render

from dyelab import card

__all__ = ["card", "photo", "replace", "thrown"]


def thrown(numbers, windows, rng):
    """A label for each window: in its strip, a little turned, now and then upside down."""
    laid = []
    for number, window in zip(numbers, windows, strict=True):
        room = window.width_mm - card.LABEL_MM[0]
        aside = rng.uniform(0, room) if room > 0 else rng.uniform(-1.5, 0.3)
        turn = rng.normal(0, 4) + 180 * (rng.random() < 0.2)
        down = rng.uniform(-0.8, 0.8)
        laid.append(render.Label(int(number), window.place, aside, down, turn))
    return laid


def photo(seed, kind="cloth", megapixels=12.0, labels=None, tilt=30.0):
    """A picture of a card with labels, filling the frame, and the labels."""
    rng = np.random.default_rng(seed)
    layout = card.layout("A4", kind)
    numbers = rng.choice(len(card.label_markers()) ** 2, len(layout.windows), replace=False)
    laid = thrown(numbers, layout.windows, rng) if labels is None else labels
    along = float(rng.choice([90.0, 270.0])) + rng.uniform(-5, 5)
    form = "yarn" if kind == "yarn" else "cloth"
    shot = random_books.random_shot(seed, megapixels=megapixels, tilt=tilt, turn=along, form=form)
    spectra = photos.cloth(seed, len(layout.windows))
    return render.render(spectra, shot, card=layout, seed=seed, labels=laid), laid
