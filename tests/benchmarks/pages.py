"""How long each kind of page takes, made and written as PDF and as HTML; processor time.

Of the example, or of an invented book of so many swatches, each washed thrice and lit four times:

    python tests/benchmarks/pages.py [2000]
"""

import itertools
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from dyelab import book, files, handout  # noqa: E402
from dyelab.handout import colours, sheets  # noqa: E402
from dyelab.handout.page import Header  # noqa: E402

DYES = ["none", "weld", "madder", "cochineal", "walnut", "logwood", "birch", "tansy", "alder"]
TESTS = [("none", 0.0, ""), *(("wash", n, "cycle") for n in (2.0, 5.0, 10.0))]
TESTS += [("light", dose, "lx h") for dose in (3e5, 1e6, 3e6, 1e7)]


def invented(folder, count):
    rng = np.random.default_rng(0)
    recipes = itertools.product(
        ("wool", "cotton"), DYES, ("", "gallnut"), (0.0, 8.0, 15.0), (0, 0.5, 1, 2, 4)
    )
    swatches, steps, readings = [], [], []
    for i, (fibre, dye, tannin, alum, iron) in enumerate(
        itertools.islice(itertools.cycle(recipes), count)
    ):
        code, lab = f"S{i:05}", rng.uniform((30, -10, 0), (80, 40, 50))
        swatches.append({"swatch": code, "form": "cloth", "fibre": fibre, "mass_g": 4.5})
        done = [("tannin", tannin, 8.0), ("mordant", "potash alum" if alum else "", alum)]
        done += [("dye", dye.replace("none", ""), 50.0)]
        done += [("modifier", "ferrous sulfate" if iron else "", iron)]
        for order, (kind, name, dose) in enumerate(done, 1):
            row = {"swatch": code, "order": order, "kind": kind, "material": name, "amount": dose}
            steps += [row] if name else []
        for exposure, amount, unit in TESTS:
            left = 1 - 0.2 * amount / (1e7 if unit == "lx h" else 10)
            L, a, b = lab * (1, left, left) + rng.normal(0, 0.1, 3)
            test = {"exposure": exposure, "amount": amount, "unit": unit, "method": "spectral"}
            readings.append({"reading": f"{code}{exposure}{amount}", "swatch": code, **test})
            readings[-1] |= {"L": L, "a": a, "b": b, "var_L": 0.01, "var_a": 0.01, "var_b": 0.01}
    given = {"swatches": pd.DataFrame(swatches), "steps": pd.DataFrame(steps).assign(unit="% WOF")}
    read = pd.DataFrame(readings).assign(illuminant="D65", observer=10)
    return book.save(book.add(book.create(folder), **given, readings=read))


def timed(work):
    start = time.process_time()
    return work(), time.process_time() - start


def main(folder):
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 0
    example = files.shipped_path("data", "marlpit_yard")
    bk = invented(folder / "large", count) if count else book.open(example)
    source, took = timed(lambda: colours.source(bk))
    print(f"reading the book {took:5.2f} s; then made, PDF, HTML in s of processor time")
    one = source.made[(source.made["dye"] != "none") & (source.made["iron_wof"] > 0)].iloc[0]
    lit = bk.readings.loc[bk.readings["exposure"].eq("light"), "swatch"].unique()
    chosen = {name: one[name] for name in sheets.CLOTH} | {"metal": "iron", "count": 8}
    chosen |= {"upright": False, "full": False, "series": "", "swatch": lit[0]}
    for name, kind in sheets.KINDS.items():
        every = list(lit[:6]) if name == "clock" else list(bk.swatches["swatch"])
        asked = {**chosen, "swatches": every}
        page, took = timed(lambda kind=kind, asked=asked: kind.make(source, Header(), asked))
        wrote = [timed(lambda p=page, s=s: handout.write(p, folder / f"p{s}"))[1] for s in SUFFIXES]
        print(f"{name:10} {took:6.2f} {wrote[0]:6.2f} {wrote[1]:6.2f}", flush=True)


SUFFIXES = (".pdf", ".html")

if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        main(Path(name))
