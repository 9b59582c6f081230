"""How long a page of 30 swatches takes, as PDF and as HTML; wall time and processor time.

Floor, in the same run: a sheet with one line of text.

    python tests/benchmarks/pages.py
"""

import os
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from dyelab import book, files, handout  # noqa: E402
from dyelab.handout import colours, fastness  # noqa: E402
from dyelab.handout.sheets import metal as metal_page  # noqa: E402
from dyelab.handout.sheets import mordants as mordant_sheet  # noqa: E402
from dyelab.handout.sheets import recipe_cards, worksheet  # noqa: E402
from dyelab.handout.sheets import series as series_page  # noqa: E402
from dyelab.handout.sheets import wall as wall_chart  # noqa: E402

CLOTH = {"fibre": "cotton", "dye": "madder", "tannin": "gallnut", "mordant": "aluminium acetate"}


def timed(work):
    wall, own = time.perf_counter(), time.process_time()
    made = work()
    return made, time.perf_counter() - wall, time.process_time() - own


def main():
    bk = book.open(files.shipped("data", "marlpit_yard"))
    source, wall, own = timed(lambda: colours.source(bk))
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    print(f"{'reading the book':22} wall {wall:5.2f} s  processor {own:5.2f} s")
    codes = list(bk.swatches["swatch"][:30])
    pages = {
        "one line (floor)": lambda: handout.Page("x", (handout.Text("y"),)),
        "30 swatches to staple": lambda: recipe_cards.samples(source, swatches=codes),
        "wall chart": lambda: wall_chart.chart(source, fibre="wool"),
        "mordant sheet": lambda: mordant_sheet.sheet(source, fibre="wool", dye="madder"),
        "iron page": lambda: metal_page.sheet(source, **CLOTH),
        "worksheet": lambda: worksheet.worksheet(source),
        "series to share": lambda: series_page.shared(source),
        "fastness of the book": lambda: fastness.sheet(bk),
    }
    with tempfile.TemporaryDirectory() as folder:
        for suffix in (".pdf", ".html"):
            for name, make in pages.items():
                path = Path(folder) / f"page{suffix}"
                _, wall, own = timed(lambda make=make, path=path: handout.write(make(), path))
                size = path.stat().st_size / 1000
                said = f"wall {wall:5.2f} s  processor {own:5.2f} s  {size:6.0f} kB"
                print(f"{name:22} {suffix:5} {said}")


if __name__ == "__main__":
    main()
