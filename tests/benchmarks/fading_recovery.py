"""Do forecasts hold truths from laws the fit doesn't know? Is a told shape right? How quick is it?

Run: python tests/benchmarks/fading_recovery.py [cloths a case]

Derives `TOLD`, `_RESTS`, `_REST_CHANCES`, `_REACH`, `_GROWS` and `_NOISE` of `grade/shapes.py`:
change one and look at the columns. The laws stand in tests/worlds/fading.py.
"""

import sys
import time
from collections import Counter
from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd

from dyelab import convert, grade, table

sys.path.insert(0, str(Path(__file__).parents[1]))
from worlds import fading

REAL = Path(__file__).parents[1] / "published" / "light_series.csv"
SAME = {("two rates", "three rates"), ("three rates", "two rates")}  # never told apart
SAME |= {("induction", "slow start"), ("plateau", "slow start")}  # the name for setting in late


def tried(law, count, noise, stated, seed):
    """One cloth: is the truth held at twice the dose and at the dose, declined, told, right."""
    frame = fading.read(law, seed, count, noise, stated)
    one = grade.drift(grade.pair(frame), "S", "light")
    curve, inside = one.curves["dE00"], []
    for dose in (2.0, 1.0):
        low, high = curve.band(np.array([dose]))
        inside.append(low[0] <= fading.true_change(law, seed, dose) <= high[0])
    right = one.fit.shape == law or (law, one.fit.shape) in SAME
    return (
        law,
        count,
        noise,
        stated,
        *inside,
        curve.is_declined,
        one.fit.shows_shape,
        right,
        one.fit.shape,
    )


def series():
    """Real readings, typed and without stated noise: each later point, from five readings on."""
    rows = pd.read_csv(REAL, comment="#")
    rows = rows.assign(
        swatch=rows["object"],
        exposure=np.where(rows["dose_Mlxh"].eq(0), "none", "light"),
        amount=rows["dose_Mlxh"],
        **{"unit": "h", "method": "typed", "illuminant": "D65", "observer": 10},
    )
    inside, declined = [], []
    for name, one in rows.groupby("swatch"):
        dose, lab = one["amount"].to_numpy(), one[table.LAB].to_numpy(float)
        for count in range(5, len(one)):
            fit = grade.drift(grade.pair(one.head(count)), name, "light")
            later = (dose > fit.longest) & (dose <= 2 * fit.longest)
            low, high = fit.curves["dE00"].band(dose[later])
            read = convert.dE00(lab[0], lab[later])
            inside += list((low <= read) & (read <= high))
            declined.append(fit.curves["dE00"].is_declined)
    print(
        f"real series: {np.mean(inside):.1%} of {len(inside)} later readings in the band,", end=""
    )
    print(f" {np.mean(declined):.0%} declined")


def shown(rows, by):
    made = rows.groupby(by)[["twice", "at", "declined", "told"]].mean()
    print((100 * made).round(1).to_string(), "\n")


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    laws = (*fading.LAWS, *fading.STRANGE)
    cases = list(product(laws, fading.DOSES, fading.NOISES, (True, False), range(count)))
    start = time.process_time()
    columns = ["law", "count", "noise", "stated", "twice", "at", "declined", "told"]
    rows = pd.DataFrame([tried(*case) for case in cases], columns=[*columns, "right", "shape"])
    taken = 1000 * (time.process_time() - start) / len(cases)
    print(f"{len(cases)} cloths, {taken:.0f} ms each; per cent: truth in the band at twice the")
    print("longest dose and at it, no forecast, shape told\n")
    for by in ("law", "noise", "count", "stated"):
        shown(rows, by)
    known = rows[rows["law"].isin(fading.LAWS)]
    print(f"six laws, all: {known['twice'].mean():.1%} held at twice the dose")
    told = rows[rows["told"]]
    wrong = Counter(zip(told["law"][~told["right"]], told["shape"][~told["right"]], strict=True))
    print(f"told {len(told)}, right {told['right'].mean():.1%}; wrong: {dict(wrong)}")
    series()


if __name__ == "__main__":
    main()
