"""How long a large book takes to open with every check, and to filter, beside plain pandas.

20,000 invented swatches, 80,000 steps, 100,000 readings. The peer reads the same CSV files with
pandas and checks nothing. Run: python tests/benchmarks/book_size.py
"""

import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from dyelab import book, files

SWATCHES, READINGS, TIMES = 20_000, 100_000, 5
STEPS = [("tannin", "gallnut", 8.0), ("mordant", "potash alum", 15.0), ("dye", "madder", 50.0)]


def invented(path):
    rng = np.random.default_rng(0)
    codes = np.array([f"S{i:05}" for i in range(SWATCHES)])
    iron = rng.choice([0.5, 1.0, 2.0, 4.0], SWATCHES)
    fibre = rng.choice(["wool", "cotton"], SWATCHES)
    swatches = pd.DataFrame({"swatch": codes, "form": "cloth", "fibre": fibre, "mass_g": 5.0})
    rows = [
        pd.DataFrame({"swatch": codes, "order": i, "kind": k, "material": m, "amount": a})
        for i, (k, m, a) in enumerate([*STEPS, ("modifier", "ferrous sulfate", iron)], start=1)
    ]
    readings = pd.DataFrame(
        {
            "reading": [f"R{i:06}" for i in range(READINGS)],
            "swatch": rng.choice(codes, READINGS),
            "exposure": "none",
            "method": "spectral",
            "illuminant": "D65",
            "observer": 10,
            **{name: rng.uniform(10, 60, READINGS) for name in ("L", "a", "b")},
            **dict.fromkeys(["var_L", "var_a", "var_b"], 0.01),
            "n": 3,
            "taken_at": "2026-04-30T10:00:00",
        }
    )
    steps = pd.concat(rows).assign(unit="% WOF")
    return book.save(book.add(book.create(path), swatches=swatches, steps=steps, readings=readings))


def timed(work):
    took = []
    for _ in range(TIMES):
        start = time.perf_counter()
        result = work()
        took.append(time.perf_counter() - start)
    return min(took), result


def main():
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "large"
        start = time.perf_counter()
        invented(path)
        print(f"made and saved               {time.perf_counter() - start:8.3f} s")
        plain, _ = timed(lambda: [pd.read_csv(file) for file in path.glob("*.csv")])
        opened, bk = timed(lambda: book.open(path))
        print(f"pandas, the same files       {plain:8.3f} s  (no checks)")
        print(f"open with all checks         {opened:8.3f} s  ({opened / plain:.1f} times)")
        assert bk.faults.empty
        start = time.perf_counter()
        book.search(bk, "wool")
        print(f"first search (makes recipes) {1e3 * (time.perf_counter() - start):8.1f} ms")
        for text in ("cotton, iron between 1 and 3", "madder, no copper, L below 30"):
            took, found = timed(lambda text=text: book.search(bk, text))
            print(f"search, {len(found):6} found         {1e3 * took:8.1f} ms  ({text})")
    example, _ = timed(lambda: book.open(files.shipped_path("data", "marlpit_yard")))
    print(f"open the example book        {example:8.3f} s")


if __name__ == "__main__":
    main()
