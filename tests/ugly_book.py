"""A book of eighty swatches that is hard to show: long names, gaps, colours beyond any screen."""

import itertools
from dataclasses import replace

import numpy as np
import pandas as pd
import photo_book

from dyelab import book

LONG = "a dye plant with a name so long that no chip holds it"
UNBROKEN = "Donaudampfschifffahrtsgesellschaftskapitänswurzel"
ATTIC = "a linen and hemp union cloth from the attic"
TITLE = "Ein sehr langer Titel eines Buches, das kaum jemand zu Ende liest: Herbst im Gemeindesaal"
NOTE = "<b>note</b> with *stars* and a very long remark about weather, water and the goat next door"
_VAR = {"var_L": 0.2, "var_a": 0.2, "var_b": 0.2, "method": "photo", "part": "swatch"}


def ugly(folder, *, photos=()):
    """The book, written to `folder`; six of its swatches read from photos after so many washes.

    Its numbers are invented, and go where no dye does.
    """
    made = photo_book.photographed(folder, photos) if photos else book.create(folder / "book")
    rng = np.random.default_rng(2)
    grid = itertools.product(
        ("wool", ATTIC), ("weld", LONG, UNBROKEN, ""), ("", "gallnut"), (0, 0.25, 2, 5, 10)
    )
    swatches, steps, readings = [], [], []
    for n, (fibre, dye, tannin, iron) in enumerate(itertools.islice(grid, 74), 1):
        code = f"S{n:03}" if n % 9 else f"a-long-code-{n:03}-of-somebody"
        swatches.append({"swatch": code, "form": "cloth", "fibre": fibre, "mass_g": 4.5})
        swatches[-1] |= {"series": "ugly", "note": NOTE if n % 7 == 0 else ""}
        done = [("tannin", tannin, 8), ("mordant", "potash alum", 15), ("dye", dye, 50)]
        done += [("modifier", "ferrous sulfate" if iron else "", iron)]
        named = [row for row in done if row[1]]
        keys = ("swatch", "order", "kind", "material", "amount", "unit")
        steps += [
            dict(zip(keys, (code, i, *row, "% WOF"), strict=True)) for i, row in enumerate(named, 1)
        ]
        readings += list(_read(code, rng))
    white = {"illuminant": "D65", "observer": 10}
    tests = [{"test": "light", "exposure": "light", "lamp": "the window of the staff room"}]
    tests += [{"test": "wash", "exposure": "wash"}]
    made = book.add(
        made,
        swatches=pd.DataFrame(swatches),
        steps=pd.DataFrame(steps),
        readings=pd.DataFrame(readings).assign(**white),
        tests=pd.DataFrame(tests),
    )
    return book.save(replace(made, title=TITLE))


def _read(code, rng):
    """One in five isn't measured; some are lit two to four times, some washed."""
    if rng.random() >= 0.8:
        return
    L, a, b = rng.uniform((5, -90, -90), (98, 90, 120))
    whole = {"swatch": code, **_VAR}
    yield {"reading": code, "exposure": "none", "amount": 0.0, "L": L, "a": a, "b": b, **whole}
    if rng.random() < 0.6:
        rate = rng.uniform(0, 0.6)
        for dose in (3e5, 1e6, 3e6, 1e7)[: rng.choice([2, 3, 4])]:
            gone = 1 - np.exp(-rate * dose / 3e6)
            lab = np.array([L + (90 - L) * gone, a * (1 - gone), b * (1 - gone)])
            lit = dict(
                zip("Lab", (lab + rng.normal(0, 0.4, 3)).clip(max=(99, 200, 200)), strict=True)
            )
            test = {"exposure": "light", "amount": dose, "unit": "lx h", "test": "light"}
            yield {"reading": f"{code}-l{dose:g}", **test, **lit, **whole}
    if rng.random() < 0.3:
        test = {"exposure": "wash", "amount": 10.0, "unit": "cycle", "test": "wash"}
        lab = {"L": min(99.0, L + 1), "a": a * 0.9, "b": b * 0.9}
        yield {"reading": f"{code}-w", **test, **lab, **whole}
