"""No two pages say opposite things of one swatch: sentence, numbers and direction are the same."""

import itertools
import re
from collections import defaultdict

import pytest
import typed_books
import ugly_book

from dyelab import book, compare, convert, files, grade, handout, shift
from dyelab.errors import InputError
from dyelab.handout import colours, sheets
from dyelab.handout.page import Header
from dyelab.plot import static

DISTANCE = re.compile(r"ΔE00 ([\d.]+)(?: \(([\d.]+) to ([\d.]+)\))?")
WAYS = ("lighter", "darker", "brighter", "duller", "greyer", *compare.WAYS[5:])
OPPOSITE = {"ΔL*": ("lighter", "darker"), "ΔC*ab": ("brighter", "duller")}
LIGHT = "10 million lx h of light"


@pytest.fixture(scope="module", params=["example", "ugly", 3])
def source(request, tmp_path_factory):
    if request.param == "example":
        return colours.source(book.open(files.shipped_path("data", "marlpit_yard")))
    folder = tmp_path_factory.mktemp("typed") / "book"
    ugly = request.param == "ugly"
    bk = ugly_book.ugly(folder) if ugly else typed_books.random_book(folder, request.param)
    return colours.source(bk)


@pytest.fixture(scope="module", autouse=True)
def undrawn():
    """Figures take most of a page's time, and say nothing here."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(static, "svg", lambda figure, width=0: "<svg/>")
        yield


@pytest.fixture(scope="module")
def pages(source):
    """Every page of the book, by kind: of each dye, metal, fibre and swatch that has one."""
    return {name: list(made(source, kind)) for name, kind in sheets.KINDS.items()}


def made(source, kind):
    for chosen in choices(source, kind.asks):
        try:
            yield kind.make(source, Header(), {name: chosen[name] for name in kind.asks})
        except InputError:  # such as nothing without the metal, or nothing lit
            continue


def choices(source, asks):
    """What to ask a kind for: whatever it asks, each once; a few where pages are alike."""
    dyed, codes = source.made[source.made["dye"] != "none"], list(source.book.swatches["swatch"])
    every = {"series": "", "full": False, "count": 30, "upright": False, "swatches": codes}
    if "metal" in asks and "dye" in asks:
        picks = shift.shared_factors(source.made)
        for metal in shift.metals_of(source.made):
            rows = dyed.loc[dyed[shift.METALS[metal]] > 0, picks].drop_duplicates()
            yield from ({**every, "metal": metal, **row} for row in rows[::3].to_dict("records"))
    elif "metal" in asks:
        yield from ({**every, "metal": metal} for metal in shift.metals_of(source.made))
    elif "dye" in asks:
        rows = dyed[["fibre", "dye"]].drop_duplicates().to_dict("records")
        yield from ({**every, **row} for row in rows)
    elif "fibre" in asks:
        yield from ({**every, "fibre": fibre} for fibre in source.made["fibre"].unique())
    elif "swatch" in asks:
        yield from ({**every, "swatch": code} for code in codes[::9])
    else:
        lit = source.wide.loc[source.wide["exposure"].eq("light"), "swatch"].unique()
        if "swatches" in asks and len(lit):
            yield {**every, "swatches": list(lit)[:8]}
        yield every


def blocks(page, kind):
    return [block for block in page.blocks if isinstance(block, kind)]


def ways(text):
    return tuple(sorted(way for way in WAYS if re.search(rf"\b{way}\b", text)))


def verdict(text):
    return text.rsplit(", ", 1)[-1].rstrip(".").replace("more than chance", "real")


# --- what a change did: (numbers before, numbers after) to what each kind says of it


def by_mordants(page, source):
    for chips in blocks(page, handout.Chips):
        first, *added = chips.patches
        for patch in added:
            if said := DISTANCE.search(patch.note):
                yield (first.numbers, patch.numbers), said[1], ways(patch.note), verdict(patch.note)


def by_metals(page, source):
    (numbers,), chips = blocks(page, handout.NumberTable), blocks(page, handout.Chips)[0]
    first, *rest = [patch for patch in chips.patches if patch.fill]
    for patch, row in zip(rest, numbers.rows, strict=True):
        said = dict(zip(numbers.headings, row, strict=True))
        signs_agree(said)
        words = said["in words"]
        yield (first.numbers, patch.numbers), said["ΔE00"], ways(words), verdict(said["verdict"])
    lead = page.blocks[0].text.split(". ")[0]
    said = DISTANCE.search(lead)
    yield (first.numbers, rest[-1].numbers), said[1], ways(lead), None


def by_strip(page, source):
    """The sentence tells the way of one dose; the small print has the distance of each."""
    (bands,) = blocks(page, handout.Bands)
    patches = dict(zip(bands.columns, bands.bands[0].patches, strict=True))
    first, *_ = patches.values()
    lead = page.blocks[0].text.split(". ")[0]
    small = next(b.text for b in page.blocks[2:] if "n =" in getattr(b, "text", ""))
    found = re.findall(r"([\d.]+ % \w+), ΔE00 ([\d.]+)", small)
    assert found
    for dose, distance in found:
        way = ways(lead) if lead.startswith(f"{dose} made") else None
        yield (first.numbers, patches[dose].numbers), distance, way, None


def by_worksheet(page, source):
    for pair, text in zip(page.blocks, page.blocks[1:], strict=False):
        if isinstance(pair, handout.Chips) and DISTANCE.search(getattr(text, "text", "")):
            before, after = pair.patches
            found = DISTANCE.search(text.text)[1], ways(text.text), verdict(text.text)
            yield (before.numbers, after.numbers), *found
    for reveal in blocks(page, handout.Reveal):
        before, after = reveal.patches
        text = reveal.texts[0]
        yield (before.numbers, after.numbers), DISTANCE.search(text)[1], ways(text), verdict(text)


def by_report(page, source):
    for chips in blocks(page, handout.Chips):
        if chips.pairs:
            for before, after in zip(chips.patches[::2], chips.patches[1::2], strict=True):
                yield (before.numbers, after.numbers), None, ways(after.note), verdict(after.note)
    tables = [b for b in blocks(page, handout.NumberTable) if "ΔE00" in b.headings]
    metals = [m for m in colours.METALS if len(source.pairs(m))]
    for metal, table in zip(metals, tables, strict=True):
        rows = source.pairs(metal).sort_values(["cloth", "dye", "dose"], kind="stable")
        for row, cells in zip(rows.to_dict("records"), table.rows, strict=True):
            said = dict(zip(table.headings, cells, strict=True))
            ends = (source.made.iloc[row[f"{end}_row"]] for end in ("from", "to"))
            key = tuple(handout.numbers([one[name] for name in "Lab"]) for one in ends)
            yield key, said["ΔE00"], None, verdict(said["verdict"])


CHANGES = {
    "mordants": by_mordants,
    "metals": by_metals,
    "strip": by_strip,
    "worksheet": by_worksheet,
    "report": by_report,
}


def signs_agree(row):
    """The words of a row say which way its numbers went."""
    for column, (up, down) in OPPOSITE.items():
        value = float(row[column].replace("−", "-"))
        assert (up not in row["in words"]) or value > 0
        assert (down not in row["in words"]) or value < 0


def test_one_change_is_told_alike_wherever_it_is_told(pages, source):
    told = defaultdict(list)
    for name, read in CHANGES.items():
        for page in pages[name]:
            for key, *said in read(page, source):
                told[key].append((name, said))
    shared = [some for some in told.values() if len({name for name, _ in some}) > 1]
    assert len(shared) > 5
    assert {name for some in shared for name, _ in some} == set(CHANGES)
    for some in told.values():
        for claims in zip(*(said for _, said in some), strict=True):
            assert len({claim for claim in claims if claim is not None}) < 2, some


# --- how a swatch held: (swatch, after) to its grade on each kind


def by_fastness(page, source):
    for chips in blocks(page, handout.Chips):
        for before, after in zip(chips.patches[::2], chips.patches[1::2], strict=True):
            code = before.label.removesuffix(", before")
            yield (code, after.label.removeprefix("after ")), after.note.removeprefix("grade ")


def by_sorting(page, source):
    for card in blocks(page, handout.Card):
        for line in card.lines:
            if said := re.match(r"Grade of change after (.*): (.*)", line):
                yield (card.patch.label, said[1]), said[2]


def by_clock(page, source):
    whole = blocks(page, handout.Clock)[0]
    for hand in whole.hands if 1e7 in whole.doses else ():
        shade = hand.shades[whole.doses.index(1e7)]
        if shade.known == "read":
            yield (hand.name.partition(":")[0], LIGHT), shade.said


GRADES = {"fastness": by_fastness, "sorting": by_sorting, "clock": by_clock}


def test_one_swatch_has_one_grade_wherever_it_is_graded(pages, source):
    told = defaultdict(dict)
    for name, read in GRADES.items():
        for page in pages[name]:
            for key, said in read(page, source):
                assert told[key].setdefault(name, said) == said
    assert sum(len(some) > 1 for some in told.values()) > 5
    assert all(len(set(some.values())) == 1 for some in told.values())
    compared = held_alike(pages["report"][0], source, told)
    assert compared or source.book.title == "typed"  # whose printed cloths no page names alike


def held_alike(page, source, told):
    """The report's worst of a recipe is no better than any swatch of it on other pages."""
    table = next(b for b in blocks(page, handout.NumberTable) if b.headings[0] == "cloth")
    place = {name: i for i, name in enumerate(grade.GRADES)}
    compared = 0
    for row in table.rows:
        swatches = source.made.loc[source.made["recipe"] == row[0], "swatch"]
        own = {code for some in swatches for code in some.split(", ")}
        for heading, cell in zip(table.headings[1:], row[1:], strict=True):
            for (code, after), some in told.items():
                if code in own and heading == f"after {after}":
                    grades = [said.split(",")[0] for said in some.values()]
                    assert all(place[cell.split(",")[0]] >= place[one] for one in grades)
                    compared += 1
    return compared


def test_the_fastness_page_counts_what_its_table_counts(pages):
    (page, *_) = pages["fastness"]
    lead = page.blocks[0].text
    (table,) = blocks(page, handout.NumberTable)
    rows = [dict(zip(table.headings, row, strict=True)) for row in table.rows]
    for after, part in re.findall(r"After ([^:]+): ([^.]+)\.", lead):
        own = [row for row in rows if after in row["after"]]
        for words, column in (("dyed swatches keep", "held"), ("don't", "did not hold")):
            said = int(re.search(rf"(\d+)(?: of \d+)? {words}", part)[1])
            assert said == sum(int(row[column]) for row in own)


# --- what colour a recipe or a swatch has


def colour_of(page):
    """Chips with numbers, from wherever they stand."""
    for block in page.blocks:
        yield from getattr(block, "patches", ())
        yield from (patch for band in getattr(block, "bands", ()) for patch in band.patches)
        if isinstance(block, handout.Frame | handout.Card):
            yield block.patch


OF_RECIPES = {"mordants", "metals", "strip", "series", "wall", "worksheet", "report"}
OF_SWATCHES = {"card", "samples", "sorting"}
WITHOUT = {"fastness", "clock"}  # their chips carry grades, not numbers


def test_one_recipe_and_one_swatch_have_one_colour_everywhere(pages, source):
    recipes = {handout.numbers(lab) for lab in source.made[["L", "a", "b"]].to_numpy()}
    fills = {}
    for name in OF_RECIPES:
        for page in pages[name]:
            for patch in colour_of(page):
                worked_out = name == "strip" and patch.numbers not in recipes
                lamp = name == "metals" and not patch.label
                if patch.fill and patch.numbers and not worked_out and not lamp:
                    assert patch.numbers in recipes, (name, patch)
                    fills.setdefault(patch.numbers, set()).add(patch.fill)
    swatches = defaultdict(set)
    for name in OF_SWATCHES:
        for page in pages[name]:
            for patch in colour_of(page):
                swatches[patch.label].add((patch.numbers, patch.fill))
    assert all(len(some) == 1 for some in (*fills.values(), *swatches.values()))
    assert len(fills) > 5
    assert len(swatches) > 5


def test_a_card_says_its_place_in_the_order_of_its_numbers(pages):
    cards = [card for page in pages["sorting"][-1:] for card in blocks(page, handout.Card)]
    light = {}
    for card in cards:
        found = [line for line in card.lines if line.startswith("Light to dark")]
        assert bool(found) == bool(card.patch.numbers)  # a printed cloth has no one lightness
        if found:
            first, last = re.search(r"places? (\d+)(?: to (\d+))?", found[0]).groups()
            lightness = float(re.search(r"L\* ([\d.]+)", card.patch.numbers)[1])
            light[card.number] = int(first), int(last or first), lightness
    assert len(light) > 5
    for one, other in itertools.permutations(light.values(), 2):
        if one[1] < other[0]:
            assert one[2] >= other[2]
        if one[:2] == other[:2]:
            assert abs(one[2] - other[2]) <= 2.1  # too alike for the eye, printed to a tenth


def test_the_series_says_how_far_its_own_two_chips_lie_apart(pages, source):
    (page, *_) = pages["series"]
    said = DISTANCE.search(page.blocks[0].text)
    pair = next(chips for chips in blocks(page, handout.Chips)).patches
    lab = [[float(n) for n in re.findall(r"-?[\d.]+", p.numbers.replace("−", "-"))] for p in pair]
    assert lab[0][0] >= lab[1][0]
    assert float(said[1]) == pytest.approx(convert.dE00(*([one] for one in lab))[0], abs=0.2)


def test_every_kind_of_page_is_compared_with_another():
    assert {*CHANGES, *GRADES, *OF_RECIPES, *OF_SWATCHES, *WITHOUT} == set(sheets.KINDS)
