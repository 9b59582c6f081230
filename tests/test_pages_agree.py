"""No two pages say opposite things of one swatch: sentence, numbers and direction are the same."""

import re

import pytest
import typed_books

from dyelab import book, files, handout, shift
from dyelab.errors import InputError
from dyelab.handout import colours
from dyelab.handout.sheets import metal as metal_page
from dyelab.handout.sheets import mordants, report, worksheet
from dyelab.plot import static

DISTANCE = re.compile(r"ΔE00 ([\d.]+)(?: \(([\d.]+) to ([\d.]+)\))?")
WAYS = ("lighter", "darker", "brighter", "duller", "redder", "yellower", "greener", "bluer")
OPPOSITE = {"ΔL*": ("lighter", "darker"), "ΔC*ab": ("brighter", "duller")}
EXAMPLE = "example"


@pytest.fixture(scope="module", params=[EXAMPLE, 3])
def source(request, tmp_path_factory):
    if request.param == EXAMPLE:
        return colours.source(book.open(files.shipped("data", "marlpit_yard")))
    folder = tmp_path_factory.mktemp("typed") / "book"
    return colours.source(typed_books.random_book(folder, request.param))


@pytest.fixture(autouse=True)
def undrawn(monkeypatch):
    """Figures take most of a page's time, and say nothing here."""
    monkeypatch.setattr(static, "svg", lambda figure, width=0: "<svg/>")


def ways(text):
    return tuple(sorted(way for way in WAYS if re.search(rf"\b{way}\b", text)))


def answers(source):
    """What every page says of a colour after a metal, by the numbers printed of that colour."""
    found = {}
    dyed = source.made[source.made["dye"] != "none"]
    for fibre, dye in dyed[["fibre", "dye"]].drop_duplicates().itertuples(index=False):
        page = mordants.sheet(source, fibre=fibre, dye=dye)
        for row in (b for b in page.blocks if isinstance(b, handout.Chips)):
            for patch in row.patches:
                tell(found, "mordants", patch.numbers, patch.note)
    for metal in shift.metals_of(source.made):
        for page in metal_pages(source, dyed, metal):
            (numbers,) = (b for b in page.blocks if isinstance(b, handout.NumberTable))
            strip = next(b for b in page.blocks if isinstance(b, handout.Chips))
            for patch, row in zip(strip.patches[1:], numbers.rows, strict=True):
                said = dict(zip(numbers.headings, row, strict=True))
                text = f"{said['in words']}; ΔE00 {said['ΔE00']}, {said['verdict']}"
                tell(found, "metal", patch.numbers, text)
                signs_agree(said)
    return found


def signs_agree(row):
    """The words of a row say which way its numbers went."""
    for column, (up, down) in OPPOSITE.items():
        value = float(row[column].replace("−", "-"))
        assert (up not in row["in words"]) or value > 0
        assert (down not in row["in words"]) or value < 0


def metal_pages(source, dyed, metal):
    column, picks = shift.METALS[metal], shift.shared_factors(source.made)
    for picked in dyed.loc[dyed[column] > 0, picks].drop_duplicates().to_dict("records"):
        try:
            yield metal_page.sheet(source, metal=metal, **picked)
        except InputError:  # nothing without the metal, or not alone
            continue


def tell(found, page, numbers, text):
    said = DISTANCE.search(text)
    if said:
        verdict = text.rsplit(", ", 1)[-1].rstrip(".")
        found.setdefault(numbers, {}).setdefault(page, set()).add((said[1], ways(text), verdict))


def test_mordant_sheets_and_metal_pages_say_the_same_of_one_swatch(source):
    both = [pages for pages in answers(source).values() if len(pages) > 1]
    assert len(both) > 5
    for pages in both:
        assert pages["metal"] <= pages["mordants"]
        assert len({way for _, way, _ in set.union(*pages.values())}) == 1


def test_worksheet_and_report_say_what_the_comparisons_say(source):
    for metal in shift.metals_of(source.made):
        pairs = source.pairs(metal)
        known = {(f"{r['dE00']:.1f}", ways(r["moved"])) for r in pairs.to_dict("records")}
        page = worksheet.worksheet(source, metal=metal, count=30)
        for block in page.blocks:
            text = getattr(block, "text", "")
            if said := DISTANCE.search(text):
                assert (said[1], ways(text)) in known
        told = report.report(source.book).blocks[0].text
        part = re.search(rf"{metal.capitalize()} moved most[^:]*: at .*?ΔE00 ([\d.]+)", told)
        assert part is None or (part[1], ways(part[0].split("made it")[1])) in known
