"""Small books typed in whole: recipes with several doses, grounds, modifiers and areas."""

import numpy as np
import pandas as pd

from dyelab import book, table

_CHANGE = {
    "zinc sulfate": (-3, -1, 2),
    "ferrous sulfate": (-9, -4, -8),
    "copper sulfate": (-4, -8, 2),
    "stannous chloride": (3, 4, 6),
    "titanium potassium oxalate": (-2, 6, 9),
    "vinegar": (2, 3, -1),
}
_PER = {"madder": (-0.4, 0.3, 0.2), "potash alum": (-0.3, 0.8, 0.9), "gallnut": (-0.5, 0.1, 0.8)}


def random_book(folder, seed, *, salts=("ferrous sulfate", "copper sulfate"), pieces=2, pots=0):
    """A book whose colours are drawn at random, written to `folder` and opened again.

    Every recipe is there without a metal and with some; the numbers are invented. With `pots`,
    swatches of a step lie in so many baths, those of one swatch in seven not recorded.
    """
    rng = np.random.default_rng(seed)
    recipes = [one for plain in _plain(rng, 8) for one in _with_metals(plain, salts, rng)]
    bk = book.create(folder, title="typed")
    rows = [
        _swatch(f"S{i:02d}{'abc'[piece]}", steps, fibre, ground, rng)
        for i, (fibre, ground, steps) in enumerate(recipes)
        for piece in range(pieces)
    ]
    swatches, steps, readings, shared = (
        pd.concat([pd.DataFrame(row[n]) for row in rows], ignore_index=True) for n in range(4)
    )
    if pots:
        steps["bath"] = _baths(steps, pots, np.random.default_rng(seed))
    return book.save(book.add(bk, swatches=swatches, steps=steps, readings=readings, shared=shared))


def _baths(steps, pots, rng):
    """A bath for every step: of those of its material and dose one at random, or none told."""
    letter = steps["material"].str[:2].str.upper() + steps["amount"].map("{:g}".format)
    number = rng.integers(1, pots + 1, len(steps)).astype(str)
    untold = rng.random(steps["swatch"].nunique()) < 0.15
    return np.where(untold[pd.factorize(steps["swatch"])[0]], "", letter + "-" + number)


def _plain(rng, count):
    """Recipes without metals: fibre, ground, steps; the controls of each beside it."""
    found = {}
    while len(found) < count:
        fibre, ground = rng.choice(["wool", "cotton"]), rng.choice(["plain weave", "twill"])
        mordant = ("mordant", "potash alum", float(rng.choice([5, 15])), "whole")
        dye = ("dye", "madder", float(rng.choice([20, 80])), "whole")
        steps = [mordant] * int(rng.random() < 0.8) + [dye]
        if rng.random() < 0.3:
            steps.insert(0, ("tannin", "gallnut", 8.0, "whole"))
        if rng.random() < 0.3:
            steps.append(("modifier", "vinegar", 2.0, "whole"))
        found[fibre, ground, tuple(steps)] = None
        undyed = tuple(step for step in steps if step[0] != "dye")
        if rng.random() < 0.5 and undyed:
            found[fibre, ground, undyed] = None
    return list(found)


def _with_metals(plain, salts, rng):
    fibre, ground, steps = plain
    yield plain
    for salt in salts:
        for dose in rng.choice([0.5, 1.0, 2.0, 4.0], 2, replace=False):
            area = "left half" if rng.random() < 0.25 else "whole"
            yield fibre, ground, (*steps, ("modifier", salt, float(dose), area))
    if len(salts) > 1 and rng.random() < 0.5:
        both = [("modifier", salt, 2.0, "whole") for salt in salts[:2]]
        yield fibre, ground, (*steps, *both)


def _colour(steps, fibre):
    lab = np.array([88.0, 1.0, 8.0]) - (fibre == "cotton") * np.array([0.0, 1.0, 3.0])
    for _, name, amount, _ in steps:
        if name in _PER:
            lab = lab + np.array(_PER[name]) * amount**0.7
        else:
            lab = lab + np.array(_CHANGE.get(name, (-5, 5, 5))) * amount / (1 + amount)
    return np.clip(lab, [5, -100, -100], [98, 100, 100])


def _swatch(code, steps, fibre, ground, rng):
    """Rows of the four tables for one swatch; each named area is read as well as the rest."""
    swatch = {"swatch": code, "form": "cloth", "fibre": fibre, "ground": ground, "mass_g": 4.0}
    swatch["series"] = f"typed {ground}"
    done = [
        {
            "swatch": code,
            "order": order,
            "kind": kind,
            "material": name,
            "amount": amount,
            "unit": "% WOF",
            "area": area,
        }
        for order, (kind, name, amount, area) in enumerate(steps, 1)
    ]
    areas = dict.fromkeys(["whole", *(step[3] for step in steps)])
    readings, shared = [], []
    for area, exposure in [*((area, "none") for area in areas), ("whole", "wash")]:
        lab = _colour([step for step in steps if step[3] in ("whole", area)], fibre)
        reading = f"{code}-{area}-{exposure}".replace(" ", "-")
        readings.append(
            {
                "reading": reading,
                "swatch": code,
                "area": area,
                "part": "swatch",
                "exposure": exposure,
                "amount": 5.0 if exposure == "wash" else np.nan,
                "unit": "cycle" if exposure == "wash" else "",
                "method": "photo",
                "illuminant": "D65",
                "observer": 10,
                **dict(zip(table.LAB, lab + rng.normal(0, 0.4, 3), strict=True)),
                **{f"var_{name}": 1.5 for name in table.LAB},
            }
        )
        wrong = dict(zip(table.LAB, rng.normal(0, 0.6, 3), strict=True))
        shared.append({"reading": reading, "source": ground, "factor": 1, **wrong})
    return [swatch], done, readings, shared
