"""A second batch at Marlpit Yard, read from a photo of the swatch card; invented like the rest."""

from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from dyelab import convert, files
from worlds.synth import instruments, noise, render, studio
from worlds.synth.model import reflectance
from worlds.synth.series import BANDS, USUAL_DOSE, filled

if TYPE_CHECKING:
    pass

SEED = 1879
SWATCH_SD, READING_SD = 0.08, 0.004
CARD = "card_1.jpg"
GROUND = "fulled flannel, 220 g/m2"
SERIES = "By phone"
SHOT: dict[str, Any] = {
    "megapixels": 3.0,
    "tilt": 12.0,
    "towards": 40.0,
    "turn": 4.0,
    "falloff": 0.1,
}

CARDS: dict[int, dict[str, Any]] = {  # by the number of the first swatch
    1: {"tilt": 14.0, "towards": 60.0, "turn": 8.0, "quality": 88},
    25: {"tilt": 20.0, "towards": 200.0, "turn": 95.0, "quality": 88, "light": "LED-B3"},
}
NOTICE = """Nothing here was photographed. These pictures were rendered (tests/worlds/synth)
from the invented spectra of Marlpit Yard's swatches: the printed card with a 24-patch target, as
a camera would see it under daylight (W01 to W24) and under an LED lamp (W25 to W48).
The CSV beside each says which swatch lies in which window.
"""


def recipes() -> pd.DataFrame:
    """Twenty-four swatches of another wool, one for each window of the card."""
    base: dict[str, Any] = {**studio.UNTREATED, "fibre": "wool"}
    metals: list[dict[str, float]] = [
        *({}, {}, {"iron_wof": 1.0}, {"iron_wof": 2.0}, {"iron_wof": 2.0}, {"copper_wof": 2.0}),
    ]
    rows = [
        {**base, **studio.ALUM, "dye": dye, "dye_wof": USUAL_DOSE[dye], **metal}
        for dye, metal in product(("madder", "weld", "cochineal"), metals)
    ]
    walnut = {**base, "dye": "walnut hull", "dye_wof": USUAL_DOSE["walnut hull"]}
    rows += [base, base, walnut, walnut, *({**walnut, "iron_wof": 2.0} for _ in range(2))]
    names = [f"P{i:02d}" for i in range(1, len(rows) + 1)]
    return filled(pd.DataFrame(rows)).assign(swatch=names, ground=GROUND, series=SERIES)


def write_phone(folder: str | Path) -> None:
    """Write the photo, what lay in its windows, the recipes, and an instrument's readings.

    Parameters
    ----------
    folder : str or Path
        Gets `card_1.jpg`, `photos.csv`, `swatches.csv`, `steps.csv`, `by_instrument.csv`.
    """
    folder, swatches = Path(folder), recipes()
    rng = np.random.default_rng(SEED)
    worked = noise.swatch_doses(swatches, SWATCH_SD, rng)
    shot = render.Shot(camera=convert.cameras()[0], **SHOT)
    seen = render.render(reflectance(worked, wavelengths=render.BANDS), shot, seed=SEED)
    with files.whole(folder / CARD, binary=True) as file:
        file.write(seen.jpeg())
    places = pd.DataFrame({"photo": CARD, "place": seen.card.places, "swatch": swatches["swatch"]})
    instruments.write_csv(places, folder / "photos.csv")
    instruments.write_csv(studio.swatch_table(swatches), folder / "swatches.csv")
    instruments.write_csv(studio.step_table(swatches), folder / "steps.csv")
    read = noise.read_spectra(reflectance(worked), READING_SD, rng)
    spectra = pd.DataFrame(read.round(5), columns=BANDS)
    spectra.insert(0, "sample", swatches["swatch"].to_numpy())
    instruments.write_csv(spectra, folder / "by_instrument.csv")


def write_cards(folder: str | Path, spectra: pd.DataFrame) -> None:
    """Write two photos of the studio's first swatches, by daylight and by a lamp.

    Parameters
    ----------
    folder : str or Path
        Gets a JPEG, and a CSV that says which swatch lies where, for each of `CARDS`.
    spectra : DataFrame
        As read by instrument: `reading`, named after the swatch, and the `BANDS`.
    """
    folder, rows = Path(folder), spectra.set_index("reading")[BANDS]
    for first, circumstances in CARDS.items():
        names = [f"W{i:02d}" for i in range(first, first + 24)]
        shot = render.Shot(camera=convert.cameras()[0], **circumstances)
        bands = np.array(BANDS, float)
        seen = render.render(rows.loc[names].to_numpy(), shot, wavelengths=bands, seed=first)
        stem = f"rendered_card_{names[0]}_{names[-1]}"
        with files.whole(folder / f"{stem}.jpg", binary=True) as file:
            file.write(seen.jpeg())
        places = pd.DataFrame({"place": seen.card.places, "swatch": names})
        instruments.write_csv(places, folder / f"{stem}.csv")
    with files.whole(folder / "INVENTED.txt") as file:
        file.write(NOTICE)
