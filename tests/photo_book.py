"""A book by photo alone: six wool swatches on a rendered card, through ten washes."""

from pathlib import Path

import numpy as np
import pandas as pd
from worlds.synth import fade, render

from dyelab import book, calibrate, convert, measure, read
from dyelab.book.swatch_book import Book

WASHES = (0, 2, 5, 10)
SHOT = render.Shot(megapixels=4.0, tilt=8.0, towards=40.0, falloff=0.15)


def recipes() -> pd.DataFrame:
    """Six wools of three dyes, over alum without and with iron."""
    rows = [
        {"swatch": f"P{i + 1}", "fibre": "wool", "dye": dye, "dye_wof": 50.0, "iron_wof": iron}
        for i, (dye, iron) in enumerate(
            (dye, iron) for dye in ("madder", "weld", "onion skin") for iron in (0.0, 2.0)
        )
    ]
    return pd.DataFrame(rows).assign(mordant="potash alum", mordant_wof=15.0)


def spectra(washes: float) -> np.ndarray:
    """True reflectance factors after so many washes: (6, bands of the renderer)."""
    made = recipes()
    return fade.faded(made, "wash" if washes else "none", washes, wavelengths=render.BANDS)


def truth(washes: float) -> np.ndarray:
    """True CIELAB, D65/10 degrees: (6, 3)."""
    return convert.spectrum_to_lab(render.BANDS, spectra(washes))


def photographed(folder: Path, washes: tuple[float, ...] = WASHES) -> Book:
    """Render the card after each wash, measure it, and keep everything in a book.

    Photos by one phone of one card in one light: they go with the first.
    """
    bk = book.create(folder / "book")
    made = recipes()
    bk = book.add(bk, swatches=made[["swatch", "fibre"]].assign(form="cloth"), steps=_steps(made))
    reference, first, source = calibrate.reference(), None, ""
    for i, count in enumerate(washes):
        bare = np.tile(_paper(), (24 - len(made), 1))
        picture = render.render(np.vstack([spectra(count), bare]), SHOT, seed=i)
        file = folder / f"after_{count}.jpg"
        file.write_bytes(picture.jpeg())
        found = measure.photo(read.photo(file), reference)
        places = found.table["place"].head(len(made))
        names = dict(zip(places, made["swatch"], strict=True))
        after = {"exposure": "wash", "amount": float(count), "unit": "cycle"} if count else {}
        if first is not None:
            kin = measure.kinship(first, found)
            assert kin.verdict == "together"
            found = measure.join(measure.earlier(bk, source), kin, found, names).measured
        first = first or found
        bk, rows = book.add_photo(
            bk,
            found,
            file,
            names,
            taken_at=f"2026-05-{i + 1:02}T10:00:00",
            goes_with=source,
            **after,
        )
        source = source or rows["source"].iloc[0]
    book.save(bk)
    return book.open(bk.path)


def _paper() -> np.ndarray:
    """What lies in the windows that hold no swatch."""
    return np.full((1, len(render.BANDS)), 0.8)


def _steps(made: pd.DataFrame) -> pd.DataFrame:
    rows = []
    for row in made.itertuples():
        done = [("mordant", row.mordant, row.mordant_wof), ("dye", row.dye, row.dye_wof)]
        done += [("modifier", "ferrous sulfate", row.iron_wof)] if row.iron_wof else []
        rows += [
            {
                "swatch": row.swatch,
                "order": i + 1,
                "kind": k,
                "material": m,
                "amount": a,
                "unit": "% WOF",
            }
            for i, (k, m, a) in enumerate(done)
        ]
    return pd.DataFrame(rows)
