"""Zinc as one row more of the metals table, walked through the house; run by a test.

Run as ``python added_metal.py FOLDER``, in a process of its own: the table is read once, early.
Zinc stands here for any metal; its row is invented but for the salt's formula.
"""

import shutil
import sys
from pathlib import Path

from dyelab.recipe import metals

HERE = Path(__file__).parent
ROW = (
    "zinc,Zn,zinc sulfate,ZnSO4·7H2O,1,3,shifting,H302 H318 H410,"
    "Spent zinc baths are not for drains.,invented for a test\n"
)


def main(folder: Path) -> None:
    table = folder / "metals.csv"
    shutil.copy(metals.FILE, table)
    with table.open("a", encoding="utf-8") as file:
        file.write(ROW)
    metals.FILE = table

    import typed_books

    from dyelab import book, handout, plan, recipe, shift
    from dyelab.handout import colours
    from dyelab.handout.sheets import metal as metal_page
    from dyelab.handout.sheets import report, sorting, worksheet
    from dyelab.panel import compare as comparing
    from dyelab.panel import metals as panel

    series = plan.series({"fibre": ["wool"], "dye": ["madder 50"], "zinc": [0, 2]}, name="zinc")
    assert (series.steps["material"] == "zinc sulfate").any()
    assert any("zinc" in text for text in series.swatches["purpose"])
    said = recipe.cautions(["zinc sulfate"])
    assert any("Spent zinc baths are not for drains" in text for text in said)

    bk = typed_books.random_book(folder / "book", 3, salts=("zinc sulfate", "ferrous sulfate"))
    assert (book.wide(bk)["zinc_wof"] > 0).any()
    assert len(book.search(bk, "zinc between 0.1 and 5"))
    moved = shift.of_step(book.wide(bk), "zinc", shared=bk.shared)
    assert (moved.pairs["dose"] > 0).all()
    source = colours.source(bk)
    pairs = source.pairs("zinc")
    dyed = pairs[pairs["dye"] != "none"].iloc[0]
    picked = {n: source.made.iloc[dyed["to_row"]][n] for n in ("fibre", "dye", "tannin", "mordant")}
    page = metal_page.sheet(source, metal="zinc", **picked)
    assert page.title.startswith("Zinc")
    assert "zinc" in worksheet.worksheet(source, metal="zinc").title
    assert "from no zinc to most" in repr(sorting.cards(source, swatches=bk.swatches["swatch"]))
    html = handout.write(report.report(source), folder / "report.html").read_text(encoding="utf-8")
    assert "What zinc did" in html

    shown = panel.panel(bk)
    assert "zinc" in shown.choices
    compared = comparing.panel(bk)
    compared.choices["what"].value = "zinc"
    assert "zinc" in compared.sentence
    print("walked through")


if __name__ == "__main__":
    sys.path.insert(0, str(HERE))
    main(Path(sys.argv[1]))
