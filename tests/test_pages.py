"""Every handout on the example book and on small books that go wrong in their own ways."""

import re
import subprocess
from dataclasses import replace
from shutil import which

import cv2
import nasty
import numpy as np
import pandas as pd
import photo_book
import pytest

from dyelab import book, files, grade, handout, shift
from dyelab.errors import InputError
from dyelab.handout import colours, html_page, sheets
from dyelab.handout.page import Header
from dyelab.handout.sheets import cards, report, sorting, wall, worksheet
from dyelab.handout.sheets import metal as metal_page
from dyelab.handout.sheets import mordants as mordant_sheet
from dyelab.handout.sheets import series as series_page

EXAMPLE = files.shipped_path("data", "marlpit_yard")
CLOTH = {"fibre": "cotton", "dye": "madder", "tannin": "gallnut", "mordant": "aluminium acetate"}


def every(source, own=Header()):
    """Every kind of page this book can give, by name."""
    codes = list(source.book.swatches["swatch"])
    first = source.made[source.made["dye"] != "none"].iloc[0]
    return {
        "mordants": mordant_sheet.sheet(source, own, fibre=first["fibre"], dye=first["dye"]),
        "card": cards.card(source, own, swatch=codes[0]),
        "samples": cards.samples(source, own, swatches=codes[:3]),
        "wall": wall.chart(source, own, fibre=first["fibre"]),
        "series": series_page.sheet(source, own),
        "report": report.report(source, own),
    }


def words_of(page):
    """All words of a page as its HTML says them."""
    from test_handout import Words

    from dyelab.handout import html_page

    return "".join(Words(html_page.text(page)).words)


def test_every_kind_of_page_of_the_example_becomes_pdf_and_html(source, tmp_path):
    said = ("A title of my own", "Class 3", "A text of my own.", "A foot of my own.")
    chosen = CLOTH | {"metal": "iron", "count": 5, "swatch": "W01", "swatches": ["W01", "W10"]}
    chosen |= {"series": "", "full": True, "upright": False}
    for name, kind in sheets.KINDS.items():
        page = kind.make(source, Header(*said), chosen)
        for paper in ("A4", "Letter"):
            pdf = handout.write(replace(page, paper=paper), tmp_path / f"{name}.pdf")
            assert pdf.read_bytes().startswith(b"%PDF")
        html = handout.write(page, tmp_path / f"{name}.html").read_text(encoding="utf-8")
        assert [text for text in said if text not in html] == [], name


def test_the_mordant_sheet_has_a_chip_a_row_and_a_sentence_for_each(source):
    page = mordant_sheet.sheet(source, fibre="wool", dye="madder")
    made = colours.rows_with(source.made, fibre="wool", dye="madder")
    rows = [b.patches for b in page.blocks if isinstance(b, handout.Chips)]
    (table,) = [b for b in page.blocks if isinstance(b, handout.NumberTable)]
    assert len(table.rows) == len(made)
    assert rows[0][0].label == "madder 50 %"  # two doses of the dye are told apart
    assert {p.numbers for row in rows for p in row} == {handout.numbers(v) for v in LAB(made)}
    for first, *added in rows:
        assert first.note == "compared with this"
        assert all("ΔE00" in patch.note for patch in added)


def LAB(rows):
    return rows[["L", "a", "b"]].to_numpy()


def test_chips_carry_the_numbers_that_were_measured(source):
    page = mordant_sheet.sheet(source, fibre="wool", dye="weld")
    chips = [b for b in page.blocks if isinstance(b, handout.Chips)]
    wanted = {
        handout.numbers(v) for v in LAB(colours.rows_with(source.made, fibre="wool", dye="weld"))
    }
    assert {patch.numbers for row in chips for patch in row.patches} == wanted


def test_the_iron_page_tells_the_tannins_share_and_cautions(source):
    said = words_of(metal_page.sheet(source, metal="iron", **CLOTH))
    assert "The tannin alone, with the same metal" in said
    assert "gallnut 8 %" in said
    assert "Take care" in said
    assert "safety data sheet" in said


def test_a_recipe_card_weighs_out_for_the_swatch(source):
    """2 % of 4.5 g is 0.09 g: a rounded 0.1 g would be a tenth too much."""
    codes = source.rows.loc[(source.rows["iron_wof"] == 2) & (source.rows["dye"] == "madder")]
    page = cards.card(source, swatch=codes["swatch"].iloc[0])
    (table,) = [b for b in page.blocks if isinstance(b, handout.NumberTable)]
    (iron,) = [row for row in table.rows if "ferrous sulfate" in row]
    assert "0.09" in iron
    assert [b for b in page.blocks if isinstance(b, handout.Caution)]


def test_a_long_recipe_keeps_to_one_sheet_with_its_stocks_in_the_table(tmp_path):
    done = [("scour", "neutral soap", 2), ("tannin", "gallnut", 8)]
    done += [("mordant", "aluminium acetate", 8), ("mordant", "potash alum", 12)]
    done += [("dye", "madder", 50), ("dye", "weld", 40), ("vat", "indigo", 4)]
    done += [("modifier", "ferrous sulfate", 2), ("modifier", "copper sulfate", 1)]
    done += [("modifier", "citric acid", 1)]
    steps = pd.DataFrame(done, columns=["kind", "material", "amount"]).assign(
        swatch="S0", order=range(1, 11), unit="% WOF", temperature_C=60, minutes=40
    )
    bk = small(tmp_path, 1)
    bk = book.change(bk, swatches=bk.swatches.assign(mass_g=3.5), steps=steps)
    page = cards.card(colours.source(bk), swatch="S0")
    assert len(handout.pictures(page, ppi=20)) == 1
    (table,) = [b for b in page.blocks if isinstance(b, handout.NumberTable)]
    at = table.headings.index("stock (mL)")
    assert {row[2]: row[at] for row in table.rows}["copper sulfate"] == "3.5"
    assert "make up to 100 mL" in words_of(page)


def test_the_doubt_of_an_instrument_is_never_printed_as_nothing():
    rows = pd.DataFrame({"L": [50.0], "u_L": [0.04]})
    assert handout.number_table(rows).rows == (("50.0", "0.04"),)


def test_the_answers_of_a_worksheet_are_on_its_last_page_and_not_before(source, tmp_path):
    page = worksheet.worksheet(source, metal="iron", count=4)
    turn = next(i for i, b in enumerate(page.blocks) if isinstance(b, handout.NewPage))
    asked, answered = page.blocks[:turn], page.blocks[turn:]
    assert sum(isinstance(b, handout.Reveal) for b in asked) == 4
    assert sum(isinstance(b, handout.TickQuestion) for b in asked) == 8
    assert sum(isinstance(b, handout.Chips) for b in answered) == 4
    assert not [b for b in asked if isinstance(b, handout.Text) and "ΔE00" in b.text]
    shown = [b.patches for b in asked if isinstance(b, handout.Chips)]
    right = [b.patches[1] for b in answered if isinstance(b, handout.Chips)]
    for patches, after in zip(shown, right, strict=True):
        assert not any(patch.numbers for patch in patches)
        fills = [patch.fill for patch in patches[1:]]
        assert len(fills) == len(set(fills)) == 3
        assert fills["ABC".index(after.label[0])] == after.fill
    assert len({after.label[0] for after in right}) > 1
    if which("pdftotext"):
        pdf = handout.write(page, tmp_path / "w.pdf")
        text = subprocess.run(["pdftotext", pdf, "-"], capture_output=True, check=True).stdout
        sheets = text.decode().rstrip("\f").split("\f")
        teacher = next(i for i, sheet in enumerate(sheets) if "For the teacher" in sheet)
        assert any("Because iron binds tannin" in sheet for sheet in sheets[teacher:])
        assert not [sheet for sheet in sheets[:teacher] if "ΔE00" in sheet]
        assert not [sheet for sheet in sheets[:teacher] if "Take care" in sheet]
    ticked = [b.text for b in answered if isinstance(b, handout.Text) and "To tick: " in b.text]
    assert len(ticked) == 4
    offered = {text for b in asked if isinstance(b, handout.TickQuestion) for text in b.texts}
    for text in ticked:
        right = text.partition("To tick: ")[2].partition(". ")[0].rstrip(".").split("; ")
        assert set(right) <= offered - {"the iron bath washes the dye out"}


def test_answers_agree_with_the_differences(source):
    page = worksheet.worksheet(source, metal="iron", count=3)
    said = [b.text for b in page.blocks if isinstance(b, handout.Text) and "ΔE00" in b.text]
    known = source.pairs("iron")
    distances = {f"{value:.1f}" for value in known["dE00"]}
    assert all(re.search(r"ΔE00 ([\d.]+)", text)[1] in distances for text in said[:3])


def test_the_shared_series_counts_and_tables_agree(source):
    name = series_page.names(source)[0]
    page = series_page.sheet(source, series=name)
    frame = series_page.numbers(source, series=name)
    (table,) = [b for b in page.blocks if isinstance(b, handout.NumberTable)]
    assert len(table.rows) == len(frame)
    assert {"L", "a", "b", "u_L", "illuminant", "observer"} <= set(frame.columns)
    assert [b for b in page.blocks if isinstance(b, handout.Live)]


def test_the_report_says_how_many_and_what_moved_most(source):
    page = report.report(source)
    lead, counts = (block.text for block in page.blocks[:2])
    dyed = source.book.swatches[~grade.is_reference(source.book.swatches)]
    assert f"{len(dyed)} swatches of {len(source.made)} recipes" in counts
    pairs = source.pairs("iron")
    pairs = pairs[pairs["dye"] != "none"]
    real = pairs[pairs["verdict"] == "real"]
    darker = (real["to_L"] - real["from_L"] < -0.5).sum()
    assert lead.startswith(
        f"Of {len(pairs)} pairs of dyed cloths without iron and with it, "
        f"iron made {darker} darker and "
    )


@pytest.mark.parametrize(
    ("make", "remedy"),
    [
        (lambda s: mordant_sheet.sheet(s, fibre="wool", dye="saffron"), "Choose another dye"),
        (lambda s: cards.card(s, swatch="W0"), "Did you mean"),
        (lambda s: cards.samples(s, swatches=["W01", "nope"]), "no swatch 'nope'"),
        (lambda s: wall.chart(s, fibre="nettle"), "Choose another fibre"),
        (lambda s: series_page.sheet(s, series="none such"), "Choose another"),
        (
            lambda s: metal_page.sheet(s, metal="copper", **(CLOTH | {"tannin": "gallnut"})),
            "Choose another cloth or metal",
        ),
    ],
)
def test_what_can_not_be_made_is_refused_with_what_to_do(source, make, remedy):
    with pytest.raises(InputError, match=remedy):
        make(source)


def small(tmp_path, count, *, name="S", lab=(50, 30, 20), blank=()):
    """Return a book of `count` swatches, those numbered in `blank` never measured."""
    codes = [f"{name}{i}" for i in range(count)]
    bk = book.create(tmp_path / f"book{count}{len(blank)}", "A small book")
    swatches = pd.DataFrame({"swatch": codes, "fibre": "wool", "form": "cloth", "mass_g": 5.0})
    doses = np.linspace(1, 80, count)
    steps = pd.DataFrame(
        {
            "swatch": codes,
            "order": 1,
            "kind": "dye",
            "material": "madder",
            "amount": doses,
            "unit": "% WOF",
        }
    )
    read = [i for i in range(count) if i not in blank]
    readings = pd.DataFrame(
        {
            "reading": [codes[i] for i in read],
            "swatch": [codes[i] for i in read],
            "exposure": "none",
            "method": "typed",
            "illuminant": "D65",
            "observer": 10,
            "L": float(lab[0]),
            "a": np.linspace(0, lab[1], len(read)),
            "b": float(lab[2]),
        }
    )
    return book.add(bk, swatches=swatches, steps=steps, readings=readings)


@pytest.mark.slow
@pytest.mark.parametrize("count", [1, 3, 60])
def test_few_and_many_swatches(count, tmp_path):
    source = colours.source(small(tmp_path, count))
    codes = list(source.book.swatches["swatch"])
    for name, page in every(source).items():
        assert handout.write(page, tmp_path / f"{name}.pdf").stat().st_size > 1000
    page = cards.samples(source, swatches=codes)
    assert sum(isinstance(b, handout.Frame) for b in page.blocks) == count


def test_a_swatch_never_measured_gets_an_empty_chip_that_says_so(tmp_path):
    source = colours.source(small(tmp_path, 3, blank=(1,)))
    page = cards.samples(source, swatches=["S0", "S1", "S2"])
    frames = [b for b in page.blocks if isinstance(b, handout.Frame)]
    assert [bool(frame.patch.fill) for frame in frames] == [True, False, True]
    assert "not measured yet" in words_of(page)


def test_colours_beyond_the_page_are_marked(tmp_path):
    source = colours.source(small(tmp_path, 3, lab=(50, -120, 60)))
    page = wall.chart(source, fibre="wool")
    bands = [band for b in page.blocks if isinstance(b, handout.Bands) for band in b.bands]
    assert not any(patch.inside for band in bands for patch in band.patches if patch.fill)
    assert "A cut corner" in words_of(page)


def test_recipes_that_differ_in_the_dye_alone_are_told_apart(tmp_path):
    source = colours.source(small(tmp_path, 4))
    page = mordant_sheet.sheet(source, fibre="wool", dye="madder")
    (chips,) = [b for b in page.blocks if isinstance(b, handout.Chips)]
    labels = [patch.label for patch in chips.patches]
    assert labels[0] == "madder 1 %"
    assert len(set(labels)) == 4


def test_a_book_without_readings_says_what_to_do(tmp_path):
    with pytest.raises(InputError, match="Colours from a photo or an instrument"):
        colours.source(small(tmp_path, 2, blank=(0, 1)))


def saying(bk, text):
    """What pages take from a book whose title, notes, grounds, fibres and dyes are this text."""
    swatches = bk.swatches.assign(note=text, ground=text)
    source = colours.source(replace(bk, swatches=swatches, title=text))
    told = {"fibre": text, "dye": text}
    made, rows = source.every.made.assign(**told), source.every.rows.assign(**told)
    return replace(source, every=replace(source.every, made=made, rows=rows))


@pytest.mark.slow
@pytest.mark.parametrize("text", nasty.ALL)
def test_user_text_passes_through_every_page_as_text(text, tmp_path):
    """Codes, dyes, fibres, notes and titles are a user's own words."""
    from test_handout import Words

    from dyelab.handout import html_page

    bk = small(tmp_path, 2)
    plain = every(saying(bk, "plain"), Header("plain", "plain", "plain", "plain"))
    for name, page in every(saying(bk, text), Header(text, text, text, text)).items():
        if name == "report":  # it reads the book again: its own words are the title and the foot
            assert text in "".join(Words(html_page.text(page)).words)
            continue
        seen = Words(html_page.text(page))
        assert "".join(seen.words).count(text) >= 4
        usual = set(Words(html_page.text(plain[name])).tags)
        assert set(seen.tags) <= usual
        assert not [key for key, _ in seen.attributes if key.startswith("on")]
        if name == "samples":  # each part of a page is set with such text in its own test
            handout.write(page, tmp_path / f"{name}.pdf")


def test_a_page_rests_on_one_way_of_reading(source):
    """Photos of some of the swatches change no number, and the report says they are left out."""
    bk = source.book
    fresh = bk.readings[bk.readings["exposure"] == "none"].head(30)
    again = fresh.assign(reading=fresh["reading"] + "-p", method="photo", L=fresh["L"] + 5)
    both = colours.source(replace(bk, readings=pd.concat([bk.readings, again], ignore_index=True)))
    assert both.made["L"].to_numpy() == pytest.approx(source.made["L"].to_numpy())
    assert source.notes == []
    assert "Readings by photo are left out" in both.notes[0]


PICKED = {"fibre": "cotton", "dye": "weld", "tannin": "pomegranate rind"}


def test_the_strip_is_one_sheet_of_full_bands_with_the_dyes_own_share(source):
    page = metal_page.strip(source, metal="iron", **PICKED, mordant="aluminium acetate")
    (strip,) = [b for b in page.blocks if isinstance(b, handout.Bands)]
    assert strip.height_mm == 35
    assert len(strip.columns) == 5
    assert [bool(p.fill) for p in strip.bands[2].patches] == [True, False, False, True, False]
    dyed, own = strip.bands[0], strip.bands[-1]
    assert dyed.patches[0].fill == own.patches[0].fill
    assert dyed.patches[-1].fill != own.patches[-1].fill
    assert "in ten" in page.blocks[0].text
    for paper in ("A4", "Letter"):
        own = Header(paper=paper, teacher="Class 3")
        page = metal_page.strip(source, own, metal="iron", **PICKED, mordant="aluminium acetate")
        assert len(handout.pictures(page, ppi=10)) == 1
    assert "no pair of bare swatches" in page.aside[0]


def test_the_dyes_own_share_without_spectra_is_the_difference_of_differences(source):
    """By hand: the dyed cloth, plus what iron did to it, less what it did without the dye."""
    hold = {**PICKED, "mordant": "aluminium acetate", "dye_wof": 50.0}
    split = shift.separate(source.recipes, "iron", hold=hold, dose=4.0)
    lab = split.cells.set_index("cell")[["L", "a", "b"]].to_numpy(float)
    own = [split.as_if("dye")[name] for name in ("L", "a", "b")]
    np.testing.assert_allclose(own, lab[1] + (lab[0] - lab[1]) - (lab[2] - lab[3]), atol=1e-9)


def gap(row):
    return "still to do" if row.name == "no dye" else "dye me"


@pytest.mark.parametrize(("paper", "upright"), [("A4", False), ("A2", True), ("A1", False)])
def test_the_wall_has_every_recipe_once_in_its_column(source, paper, upright):
    page = wall.chart(source, Header(paper=paper), fibre="cotton", upright=upright)
    bands = [b for b in page.blocks if isinstance(b, handout.Bands)]
    made = colours.rows_with(source.made, fibre="cotton")
    for kept in ([b for b in bands if b.only == "screen"], [b for b in bands if b.only == "paper"]):
        shown = [
            (p.label, p.numbers) for b in kept for row in b.bands for p in row.patches if p.fill
        ]
        assert sorted(n for _, n in shown) == sorted(handout.numbers(v) for v in LAB(made))
    for chart in bands:
        assert all(tuple(p.label for p in row.patches) == chart.columns for row in chart.bands)
        assert all(p.fill or p.note == gap(row) for row in chart.bands for p in row.patches)
        assert chart.cell_mm == chart.height_mm == 40
    sheets = sum(b.only == "paper" for b in bands)
    assert len(handout.pictures(page, ppi=10)) == sheets


def test_a_planned_recipe_is_a_dashed_place(tmp_path):
    source = colours.source(small(tmp_path, 3, blank=(1,)))
    page = wall.chart(source, fibre="wool")
    bands = [band for b in page.blocks if isinstance(b, handout.Bands) for band in b.bands]
    assert len({band.name for band in bands}) == 3
    sheet = mordant_sheet.sheet(source, fibre="wool", dye="madder")
    patches = [p for b in sheet.blocks if isinstance(b, handout.Chips) for p in b.patches]
    assert [p.note for p in patches if not p.fill] == ["not measured yet"]
    assert "3 recipes, 2 of these recipes measured" in report.report(source).blocks[1].text


def test_a_sorting_card_tells_nothing_in_front_and_all_on_its_back(source, tmp_path):
    page = sorting.cards(source, swatches=["W05", "W06"])
    made = [b for b in page.blocks if isinstance(b, handout.Card)]
    assert [card.number for card in made] == ["1", "2"]
    assert any("iron 0.5 %" in line for line in made[0].lines)
    assert any("after 10 washes" in line for line in made[0].lines)
    assert len(handout.pictures(page, ppi=20)) == 4
    if which("pdftotext"):
        pdf = handout.write(page, tmp_path / "cards.pdf")
        text = subprocess.run(["pdftotext", pdf, "-"], capture_output=True, check=True).stdout
        fronts = text.decode().rstrip("\f").split("\f")[::2]
        assert not any(re.search(r"iron \d|W05", front) for front in fronts)


def test_a_card_of_a_cloth_washed_less_than_others_says_how_it_held(source):
    rows = source.wide
    less = rows["swatch"].eq("W05") & rows["exposure"].eq("wash") & rows["amount"].gt(5)
    found = replace(source, wide=rows[~less])
    (card,) = [
        b for b in sorting.cards(found, swatches=["W05"]).blocks if isinstance(b, handout.Card)
    ]
    assert any("after 5 washes" in line for line in card.lines)


def test_a_card_shows_the_cloth_itself_where_a_photo_has_it(tmp_path):
    bk = photo_book.photographed(tmp_path, (0,))
    found = colours.source(bk)
    (frame, *_) = [
        b for b in cards.samples(found, swatches=["P1"]).blocks if isinstance(b, handout.Frame)
    ]
    assert frame.patch.crop.startswith(b"\x89PNG")
    (card,) = [
        b for b in sorting.cards(found, swatches=["P1"]).blocks if isinstance(b, handout.Card)
    ]
    assert card.patch.crop == frame.patch.crop
    picked = {"fibre": "wool", "dye": "madder", "tannin": "none", "mordant": "potash alum"}
    picked["metal"] = "iron"
    strip, sheet = metal_page.strip(found, **picked), metal_page.sheet(found, **picked)
    madder = mordant_sheet.sheet(found, fibre="wool", dye="madder")
    (bands,) = [b for b in strip.blocks if isinstance(b, handout.Bands)]
    assert bands.bands[0].patches[0].crop == frame.patch.crop
    assert not any(patch.crop for patch in bands.bands[-1].patches)  # worked out, not dyed
    for page in (sheet, madder):
        chips = next(b for b in page.blocks if isinstance(b, handout.Chips))
        assert [patch.crop.startswith(b"\x89PNG") for patch in chips.patches] == [True, True]
        assert html_page.text(page).count('class="crop"') == 2
        assert handout.pictures(page, ppi=10)


def test_of_a_change_that_may_be_chance_the_strip_tells_no_share(source):
    picked = {"fibre": "wool", "dye": "madder", "tannin": "none", "mordant": "potash alum"}
    unsure = replace(source)
    moves = {ends: row | {"verdict": "chance"} for ends, row in source.moves.items()}
    vars(unsure)["moves"] = moves
    leads = [
        metal_page.strip(one, metal="iron", **picked).blocks[0].text for one in (source, unsure)
    ]
    assert "the dye’s own" in leads[0]
    assert "could be chance" in leads[1]
    assert "the dye’s own" not in leads[1]


def test_a_planned_dose_has_its_column_on_the_strip_and_the_page_of_the_metal(tmp_path):
    found = colours.source(dosed(tmp_path, (0.0, 1.0, 2.0, 4.0), blank=(2.0,)))
    picked = {"fibre": "wool", "dye": "madder", "tannin": "none", "mordant": "none"}
    picked["metal"] = "iron"
    strip = metal_page.strip(found, **picked)
    (bands,) = [b for b in strip.blocks if isinstance(b, handout.Bands)]
    assert bands.columns == ("none", "1 % iron", "2 % iron", "4 % iron")
    assert [bool(p.fill) for p in bands.bands[0].patches] == [True, True, False, True]
    first = next(
        b for b in metal_page.sheet(found, **picked).blocks if isinstance(b, handout.Chips)
    )
    assert [bool(p.fill) for p in first.patches] == [True, True, False, True]


def dosed(folder, doses, blank=()):
    """Madder on wool at these doses of iron, those of `blank` not measured."""
    codes = [f"S{i}" for i in range(len(doses))]
    swatches = pd.DataFrame({"swatch": codes, "fibre": "wool", "form": "cloth", "mass_g": 5.0})
    steps = [
        {"swatch": code, "order": order, "kind": kind, "material": what, "amount": amount}
        for code, dose in zip(codes, doses, strict=True)
        for order, (kind, what, amount) in enumerate(
            [("dye", "madder", 50.0), ("modifier", "ferrous sulfate", dose)], 1
        )
        if amount
    ]
    read = [code for code, dose in zip(codes, doses, strict=True) if dose not in blank]
    lab = {"L": 50.0 - np.arange(len(read)), "a": 30.0, "b": 20.0}
    given = {"reading": read, "swatch": read, "exposure": "none", "method": "typed"}
    readings = pd.DataFrame({**given, "illuminant": "D65", "observer": 10, **lab})
    bk = book.create(folder / "dosed", title="Doses")
    return book.add(
        bk, swatches=swatches, steps=pd.DataFrame(steps).assign(unit="% WOF"), readings=readings
    )


def test_a_code_on_the_page_is_read_back_as_the_address_it_was_given(source, tmp_path):
    """Read by the decoder from the printed sheet, the whole way through the PDF's own renderer."""
    address = "https://school.example.org/marlpit/wäll.html?class=3"
    page = wall.chart(source, Header(paper="A3", address=f" {address} "), fibre="wool")
    first = cv2.imdecode(
        np.frombuffer(handout.pictures(page, ppi=150)[0], np.uint8), cv2.IMREAD_GRAYSCALE
    )
    assert cv2.QRCodeDetector().detectAndDecode(first)[0] == address
    said = handout.write(page, tmp_path / "w.html").read_text(encoding="utf-8")
    assert "data:image/svg+xml" in said
    assert f"<figcaption>{address}</figcaption>" in said
    assert "href" not in said


@pytest.mark.parametrize(
    "address", ["wall.html", "javascript:alert(1)", "https://a b", "https://" + "a" * 300]
)
def test_an_address_that_no_browser_opens_is_refused(address):
    with pytest.raises(InputError, match="Save the page as HTML"):
        handout.html_page.text(Header(address=address).page("x", []))


def test_every_because_names_its_source_or_says_that_it_has_none(source):
    for metal in ("iron", "copper"):
        page = worksheet.worksheet(source, metal=metal, count=30)
        told = [b.text for b in page.blocks if isinstance(b, handout.Text)]
        because = [text for text in told if text.startswith("Because")]
        assert because
        for text in because:
            for one in text.split(". ")[0:1]:
                assert re.search(r"\((Wilson|Manian|on vat dyes|common practice)", one)
        cited = {name for name in ("Wilson", "Manian") if f"({name}" in " ".join(because)}
        assert all(re.search(rf"Sources:.*{name}", told[-1]) for name in cited)


def test_no_sheet_is_left_to_the_cautions_alone(source):
    picked = {**PICKED, "metal": "iron", "mordant": "aluminium acetate"}
    assert len(handout.pictures(metal_page.sheet(source, **picked), ppi=10)) == 1
    assert len(handout.pictures(worksheet.worksheet(source, metal="iron"), ppi=10)) == 2
