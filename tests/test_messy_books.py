"""Books as people keep them: doses nobody weighed, baths unnamed, tests half read.

No answer may fail but by a refusal in words.
"""

import numpy as np
import pandas as pd
import pytest

from dyelab import book, grade, predict, shift
from dyelab.errors import InputError
from dyelab.handout import colours
from dyelab.handout.page import Header
from dyelab.handout.sheets import KINDS
from dyelab.panel import browse, compare, fastness, home, metals, weigh

STEPS = {
    "tannin": ("gallnut", "sumac"),
    "mordant": ("potash alum", "ferrous sulfate", "stannous chloride", "a salt of mine"),
    "dye": ("madder", "weld"),
    "modifier": ("ferrous sulfate", "copper sulfate", "ammonia"),
}
TESTS = [
    ("none", None),
    ("wash", 1.0),
    ("wash", 5.0),
    ("light", 20.0),
    ("light", 20.0),
    ("rub dry", None),
]


def messy(folder, seed, count=12):
    """An invented book whose writer left out much."""
    rng = np.random.default_rng(seed)
    codes = [f"K-{i:02d}" for i in range(count)]
    kinds = [[k for k in STEPS if k == "dye" or rng.random() < 0.5] for _ in range(3)]
    steps = [
        _step(rng, code, order, kind)
        for code in codes
        for order, kind in enumerate(kinds[rng.integers(3)], 1)
    ]
    readings = [
        {"swatch": code, "exposure": what, "amount": amount,
         "unit": {"wash": "cycle", "light": "h"}.get(what, ""),
         "method": rng.choice(["typed", "photo"]),
         "illuminant": "D65", "observer": 10, "L": rng.uniform(20, 90), "a": rng.uniform(-20, 40),
         "b": rng.uniform(-20, 50), "area": rng.choice(["whole", "whole", "leaf"])}
        for code in codes for what, amount in TESTS if rng.random() < 0.5
    ]  # fmt: skip
    read = pd.DataFrame(readings)
    swatches = pd.DataFrame({"swatch": codes, "fibre": rng.choice(["wool", "Cotton", ""], count)})
    swatches["mass_g"] = rng.choice([5.0, np.nan], count)
    made = book.add(
        book.create(folder),
        swatches=swatches.assign(series=rng.choice(["", "one"], count)),
        steps=pd.DataFrame(steps),
        readings=read.assign(reading=[f"R{i}" for i in range(len(read))]),
    )
    return book.save(made)


def _step(rng, code, order, kind):
    dosed = rng.random() < 0.8
    step = {"swatch": code, "order": order, "kind": kind, "material": rng.choice(STEPS[kind])}
    step |= {"amount": float(rng.choice([0.05, 1, 2, 15])) if dosed else None}
    step |= {"unit": rng.choice(["% WOF", "% WOF", "g", "g/L"]) if dosed else ""}
    return step | {"bath": rng.choice(["", "B1"]), "area": rng.choice(["whole"] * 4 + ["leaf"])}


def asked(bk):
    """Everything a book is asked for, by name."""
    wide, source = book.wide(bk), colours.source(bk)
    made = source.recipes
    row = wide[wide["dye"] != "none"].iloc[0]
    chosen = {name: row[name] for name in ("fibre", "dye", "tannin", "mordant", "swatch")}
    chosen |= {"metal": "iron", "swatches": list(bk.swatches["swatch"]), "series": None, "count": 3}
    chosen |= {"upright": False, "full": True}
    every = {f"pairs {what}": lambda what=what: shift.pairs(made, what) for what in shift.VARIES}
    every |= {
        "curve": lambda: shift.dose_curve(made, "iron", draws=20),
        "family": lambda: shift.family(made, metal="iron"),
        "study": lambda: grade.study(wide, shared=bk.shared).hardest("wash"),
        "fit": lambda: predict.fit(wide),
        "search": lambda: book.search(bk, "iron, no tannin"),
        "suspicions": lambda: book.suspicions(bk),
    }
    every |= {
        name: lambda kind=kind: kind.make(source, Header(), chosen) for name, kind in KINDS.items()
    }
    panels = (browse, compare, fastness, home, metals, weigh)
    return every | {one.__name__: lambda one=one: one.panel(bk) for one in panels}


@pytest.mark.parametrize("seed", [3, 4])
@pytest.mark.usefixtures("desk")
def test_a_messy_book_is_answered_or_refused_in_words(tmp_path, seed):
    refused = []
    for name, ask in asked(messy(tmp_path / "b", seed)).items():
        try:
            ask()
        except InputError as error:
            refused.append(f"{name}: {error}")
    assert len(refused) < 10, refused
    assert "nan" not in " ".join(refused).split()
