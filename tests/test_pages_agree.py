"""No two pages say opposite things of one swatch: sentence, numbers and direction are the same."""

import re

import pytest
import typed_books

from dyelab import book, compare, files, grade, handout, shift
from dyelab.errors import InputError
from dyelab.handout import colours, fastness
from dyelab.handout.sheets import clock, mordants, report, saddening, sorting, wall, worksheet
from dyelab.handout.sheets import metal as metal_page
from dyelab.plot import static

DISTANCE = re.compile(r"ΔE00 ([\d.]+)(?: \(([\d.]+) to ([\d.]+)\))?")
WAYS = ("lighter", "darker", "brighter", "duller", "greyer", *compare.WAYS[5:])
OPPOSITE = {"ΔL*": ("lighter", "darker"), "ΔC*ab": ("brighter", "duller")}
EXAMPLE = "example"
LIGHT = "10 million lx h of light"


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
        verdict = text.rsplit(", ", 1)[-1].rstrip(".").replace("more than chance", "real")
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
        part = re.search(
            rf"{metal.capitalize()} changed [^:]* most, [^:]*: at .*?ΔE00 ([\d.]+)", told
        )
        assert part is None or (part[1], ways(part[0].split("made it")[1])) in known


def test_the_strip_says_what_the_page_of_the_metal_says(source):
    """Its sentence goes the way of that dose's row, and its small print has that row's number."""
    compared = 0
    dyed = source.made[source.made["dye"] != "none"]
    for metal in shift.metals_of(source.made):
        column, picks = shift.METALS[metal], shift.shared_factors(source.made)
        for picked in dyed.loc[dyed[column] > 0, picks].drop_duplicates().to_dict("records")[:2]:
            try:
                page = metal_page.sheet(source, metal=metal, **picked)
            except InputError:  # nothing without the metal, or not alone
                continue
            strip = saddening.strip(source, metal=metal, **picked)
            (numbers,) = (b for b in page.blocks if isinstance(b, handout.NumberTable))
            rows = [dict(zip(numbers.headings, row, strict=True)) for row in numbers.rows]
            lead = strip.blocks[0].text
            (told,) = (r for r in rows if lead.startswith(f"{r['with']} made"))
            assert ways(lead.split(". ")[0]) == ways(told["in words"])
            small = next(b.text for b in strip.blocks[2:] if "ΔE00" in b.text and "n =" in b.text)
            for row in rows:
                assert f"{row['with']}, ΔE00 {row['ΔE00']}" in small
            compared += 1
    assert compared


def test_every_page_that_grades_a_swatch_gives_it_the_same_grade(source):
    """Fastness page, sorting card, clock and report, after the hardest washing and light."""
    seen = {}
    for block in fastness.sheet(source.book).blocks:
        if isinstance(block, handout.Chips):
            for before, after in zip(block.patches[::2], block.patches[1::2], strict=True):
                at = before.label.removesuffix(", before"), after.label.removeprefix("after ")
                seen[at] = after.note.removeprefix("grade ")
    assert len(seen) > 10
    codes = sorted({code for code, _ in seen})
    told = [b for b in sorting.cards(source, swatches=codes).blocks if isinstance(b, handout.Card)]
    for card in told:
        for line in card.lines:
            said = re.match(r"Grade of change after (.*): (.*) \(", line)
            if said and (card.patch.label, said[1]) in seen:
                assert seen[card.patch.label, said[1]] == said[2]
    held_alike(source, seen)
    lit = [code for code, after in seen if after == LIGHT][:6]
    if lit:  # the typed book was only washed
        page = clock.clock(source, swatches=lit)
        whole = next(b for b in page.blocks if isinstance(b, handout.Clock))
        at = whole.doses.index(1e7)
        for hand in whole.hands:
            shade = hand.shades[at]
            assert (shade.said, shade.known) == (seen[hand.name.partition(":")[0], LIGHT], "read")


def held_alike(source, seen):
    """The report's worst of a recipe is no better than any swatch of it on the fastness page."""
    blocks = report.report(source.book).blocks
    table = next(b for b in blocks if getattr(b, "headings", ("",))[0] == "cloth")
    place = {name: i for i, name in enumerate(grade.GRADES)}
    for row in table.rows:
        swatches = source.made.loc[source.made["recipe"] == row[0], "swatch"]
        own = {code for some in swatches for code in some.split(", ")}
        said = dict(zip(table.headings, row, strict=True))
        worst = next(cell for name, cell in said.items() if "wash" in name)
        for (code, after), said in seen.items():
            if code in own and "wash" in after:
                assert place[worst.split(",")[0]] >= place[said.split(",")[0]]


def test_every_page_shows_one_colour_for_one_recipe(source):
    """Wall, mordant sheets and the strip's bands show the chip and numbers of the book's table."""
    for fibre in source.made["fibre"].unique():
        page = wall.chart(source, fibre=fibre)
        bands = next(b for b in page.blocks if isinstance(b, handout.Bands))
        shown = {p.numbers for band in bands.bands for p in band.patches if p.fill}
        own = source.made.loc[source.made["fibre"] == fibre, ["L", "a", "b"]].to_numpy()
        assert shown == {handout.numbers(v) for v in own}
