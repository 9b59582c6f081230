"""Printed and painted cloths: areas are named, recorded, read and compared within the cloth."""

import cv2
import numpy as np
import pandas as pd
import photo_book
import pytest
from worlds.synth import render

from dyelab import book, calibrate, grade, measure, plan, shift
from dyelab import read as read_file
from dyelab.errors import InputError

AREAS = {
    "leaf": "aluminium acetate 5",
    "stem": "aluminium acetate 5 + ferrous acetate 2",
    "flower": "ferrous acetate 2",
    "sky": "none",
}


def printed(folder, cloths=4):
    bk = book.create(folder)
    for n in range(1, cloths + 1):
        bk = book.add(bk, **plan.printed_cloth(f"P-{n:02}", AREAS, series="prints"))
    return book.save(bk)


def read(bk, cloth_scatter=6.0, own=0.2):
    """Readings whose cloths differ by much, and whose areas differ by ten in lightness."""
    rng = np.random.default_rng(8)
    rows = []
    for code in bk.swatches["swatch"]:
        cloth = rng.normal(0, cloth_scatter)
        for area, L in (("leaf", 50.0), ("stem", 40.0), ("flower", 35.0)):
            lab = np.array([L + cloth, 20.0, 15.0]) + rng.normal(0, own, 3)
            rows.append((f"{code}-{area}", code, area, *lab))
    frame = pd.DataFrame(rows, columns=["reading", "swatch", "area", "L", "a", "b"])
    told = {"exposure": "none", "method": "typed", "illuminant": "D65", "observer": 10}
    return book.add(bk, readings=frame.assign(**told))


def iron_on_the_stem(made):
    pairs = shift.of_step(made, "iron").pairs
    return pairs[pairs["recipe"].str.contains("stem")].iloc[0]


def test_areas_are_paired_within_their_cloths(tmp_path):
    bk = read(printed(tmp_path / "b"))
    wide = book.wide(bk)
    made = shift.as_dyed(wide, shared=bk.shared)
    assert sorted(made.made["area"]) == ["flower", "leaf", "stem"]
    stem = iron_on_the_stem(made)
    assert stem["pots"] == 4
    assert 9 < stem["dE76"] < 11
    # Cloths scatter by 6 and areas of one cloth by 0.2: as cloths apart, nothing would show.
    apart = iron_on_the_stem(shift.as_dyed(wide.assign(baths="")))
    assert (stem["verdict"], apart["verdict"]) == ("real", "chance")


def test_codes_that_differ_in_capitals_are_two_swatches(tmp_path):
    rows = pd.DataFrame({"swatch": ["k1", "K1", "M2"]})
    bk = book.add(book.create(tmp_path / "b"), swatches=rows)
    found = book.locate(bk, ["k1", "K1", "m2", "k1 whole"])
    assert [code for code, _ in found.values()] == ["k1", "K1", "M2", "k1"]


def test_a_cloth_apart_from_itself_is_no_replicate(tmp_path):
    bk = read(printed(tmp_path / "b", cloths=1))
    pairs = shift.of_step(book.wide(bk), "iron").pairs
    assert set(pairs["verdict"]) == {"cannot_tell"}


@pytest.mark.parametrize(
    ("name", "found"),
    [
        ("P-01 leaf", ("P-01", "leaf")),
        ("p-01: Stem", ("P-01", "stem")),
        ("P-01 (flower)", ("P-01", "flower")),
        ("P-01_leaf", ("P-01", "leaf")),
        ("P-01 whole", ("P-01", "whole")),
        ("P-01 root", None),
        ("P-9", None),
    ],
)
def test_an_area_is_known_by_its_name(tmp_path, name, found):
    bk = printed(tmp_path / "b", cloths=1)
    assert book.locate(bk, [name]).get(name) == found


def test_the_bare_code_of_a_printed_cloth_is_asked_about(tmp_path):
    bk = printed(tmp_path / "b", cloths=1)
    with pytest.raises(InputError, match="P-01 leaf"):
        book.locate(bk, ["P-01"])
    lab = pd.DataFrame(
        {"sample": ["P-01 leaf", "P-01 sky", "P-01 root"], "L": [50.0, 40, 80], "a": 1.0, "b": 2.0}
    ).assign(illuminant="D65", observer=10, source="typed")
    made = book.instrument_readings(bk, lab, None, method="typed")
    assert made.readings["area"].tolist() == ["leaf", "sky"]
    assert made.left["sample"].tolist() == ["P-01 root"]
    with pytest.raises(InputError, match="nowhere on the cloth"):
        book.instrument_readings(bk, lab.assign(sample="P-01"), None, method="typed")


def test_a_label_says_what_fixed_the_mordants(tmp_path):
    bk = plan.with_label_numbers(printed(tmp_path / "b", cloths=1))
    assert plan.labels(bk, tmp_path / "labels.pdf").read_bytes().startswith(b"%PDF")
    row = {"fibre": "cotton", "tannin": "none", "mordant": "none", "modifier": "wheat bran"}
    row |= {"dye": "madder", "dye_wof": 30.0, "purpose": "series"}
    assert plan.recipe_line(row) == "cotton: madder 30, wheat bran"


def test_a_printed_cloth_is_recorded_paste_by_paste(tmp_path):
    bk = printed(tmp_path / "b", cloths=1)
    waiting = plan.open_baths(bk).set_index("bath")
    assert {"P-01 leaf", "P-01 stem", "P-01 flower", "P-01 dye"} <= set(waiting.index)
    assert np.isnan(waiting.loc["P-01 leaf", "weigh_g"])
    two_pastes = waiting.loc["P-01 stem"]  # on one cloth of 20 g
    assert (two_pastes["fibre_g"], two_pastes["swatches"]) == (20.0, "P-01")
    assert waiting.loc["P-01 dye", "weigh_g"] == pytest.approx(6.0)  # 30 % of 20 g
    for bath in waiting.index:
        bk = plan.mark_done(bk, bath, on="2026-05-01")
    assert plan.open_baths(bk).empty
    assert bk.swatches["made_on"].tolist() == ["2026-05-01"]


def test_the_card_of_a_printed_cloth_shows_each_area_and_weighs_no_paste_by_the_whole(tmp_path):
    from dyelab.handout import colours
    from dyelab.handout.sheets import cards

    bk = read(printed(tmp_path / "b", cloths=2))
    page = cards.card(colours.source(bk), swatch="P-01")
    text = repr(page)
    for area in ("leaf", "stem", "flower"):
        assert f"P-01 {area}" in text
    steps = next(block for block in page.blocks if hasattr(block, "numeric"))
    shown = repr(steps)
    assert "aluminium acetate" in shown
    assert "1.00" not in shown  # 5 % of the whole cloth's 20 g, which no area takes
    assert "6.00" in shown  # 30 % madder for the whole


def test_one_frame_for_a_cloth_of_several_areas_shows_no_mean_colour(tmp_path):
    from dyelab.handout import colours
    from dyelab.handout.sheets import cards

    source = colours.source(read(printed(tmp_path / "b", cloths=2)))
    frame, areas = cards.make_frames(source, ["P-01"])["P-01"]
    whole, leaf = frame.patch, areas.patches[0]
    assert leaf.numbers.startswith("L*")
    assert (whole.numbers, whole.fill) == ("", "")
    assert "several areas" in whole.note


def test_the_metals_panel_shows_what_iron_did_to_a_printed_cloth(tmp_path, monkeypatch):
    """Iron under the dye is still iron: its areas are set beside those printed without it."""
    from dyelab.panel import metals

    panel = metals.panel(read(printed(tmp_path / "b", cloths=4)))
    panel.choices["mordant"].value = "aluminium acetate"
    doses = [dose for _, dose in panel.choices["iron"].options]
    assert doses[0] == 0.0
    assert doses[-1] > 0
    panel.choices["iron"].value = doses[-1]
    assert panel.shown.table is not None
    assert "iron made" in panel.sentence


def test_browsing_tells_the_areas_of_a_printed_cloth_apart(tmp_path):
    from dyelab.panel import browse

    panel = browse.panel(book.save(read(printed(tmp_path / "b", cloths=1))))
    assert panel.sentence == "1 of 1 swatch."
    told = {chip.label: (chip.lab, chip.note) for chip in panel.shown.chips}
    assert set(told) == {f"P-01 {area}" for area in AREAS}
    assert told["P-01 leaf"][1] == "cotton: madder 30 %, aluminium acetate 5 %, wheat bran"
    assert told["P-01 sky"][0] is None
    panel.choices["swatch"].value = "P-01"
    assert "leaf (cotton: madder 30 %, aluminium acetate 5 %" in panel.sentence
    assert "10 %" not in panel.sentence, "doses of two areas are no dose of one"


def test_a_photo_of_a_printed_cloth_shows_each_area_and_the_cloth_with_all_of_them(tmp_path):
    """A window an area on the card: its picture beside its chip, and all in a row for the cloth."""
    from dyelab.handout import Chips, Frame, colours
    from dyelab.handout.sheets import cards

    bk = printed(tmp_path / "b", cloths=1)
    reference, folder = calibrate.reference(), tmp_path / "photo.jpg"
    cloths = np.vstack([photo_book.spectra(0), np.full((18, len(render.BANDS)), 0.8)])
    folder.write_bytes(render.render(cloths, photo_book.SHOT, seed=1).jpeg())
    found = measure.photo(read_file.photo(folder), reference)
    names = dict(zip(found.table["place"], ("P-01 leaf", "P-01 stem", "P-01 flower"), strict=False))
    bk, _ = book.add_photo(bk, found, folder, names)
    blocks = cards.samples(colours.source(bk), swatches=["P-01"]).blocks
    (whole,) = [block.patch for block in blocks if isinstance(block, Frame)]
    (areas,) = [block.patches for block in blocks if isinstance(block, Chips)]
    shown = [cv2.imdecode(np.frombuffer(p.crop, np.uint8), 1) for p in (whole, *areas)]
    assert [patch.label for patch in areas] == ["P-01 leaf", "P-01 stem", "P-01 flower"]
    side, third = shown[0].shape[0], shown[1].shape[0] // 2
    assert shown[0].shape == (side, side, 3)
    leaf, stem, flower = (one[third - 3 : third + 3, third - 3 : third + 3] for one in shown[1:])
    at = side // 4  # leaf and stem beside one another in the upper half, flower alone below
    for piece, (y, x) in ((leaf, (at, at)), (stem, (at, 3 * at)), (flower, (3 * at, 2 * at))):
        seen = shown[0][y - 3 : y + 3, x - 3 : x + 3]
        np.testing.assert_allclose(seen.mean((0, 1)), piece.mean((0, 1)), atol=6)
    assert (whole.fill, bool(areas[0].fill)) == ("", True)
    assert "several areas" in whole.note


def washed(bk):
    """The same areas after 5 and 10 washes: the stem loses four times as much as the leaf."""
    rows = bk.readings
    for amount in (5.0, 10.0):
        lost = rows["area"].map({"leaf": 0.2, "stem": 0.8, "flower": 0.0}) * amount
        after = rows.assign(reading=rows["reading"] + f"-{amount:g}", L=rows["L"] + lost)
        bk = book.add(bk, readings=after.assign(exposure="wash", amount=amount, unit="cycle"))
    sure = dict.fromkeys(["var_L", "var_a", "var_b"], 0.04) | dict.fromkeys(
        ["cov_La", "cov_Lb", "cov_ab"], 0.0
    )
    return book.change(bk, readings=bk.readings.assign(**sure))


def test_each_area_keeps_a_grade_of_its_own(tmp_path):
    bk = washed(read(printed(tmp_path / "b", cloths=2)))
    found = grade.study(book.wide(bk), swatches=["P-01"], shared=bk.shared)
    last = found.hardest("wash").set_index("swatch")
    assert list(last.index) == ["P-01 leaf", "P-01 stem", "P-01 flower"]
    np.testing.assert_allclose(last["dL"], [2.0, 8.0, 0.0], atol=1e-9)
    assert list(last["grade"]) == ["4", "2", "5"]
    ends = [found.drift(piece, "wash").lab[-1, 0] for piece in last.index]
    np.testing.assert_allclose(ends, last["L"])
    only = grade.study(book.wide(bk), swatches=["P-02 stem"])
    assert set(only.grades["swatch"]) == {"P-02 stem"}


def test_fastness_panel_and_pages_tell_areas_apart(tmp_path):
    from dyelab.handout import fastness as sheet
    from dyelab.panel import fastness

    bk = book.save(washed(read(printed(tmp_path / "b", cloths=1))))
    panel = fastness.panel(bk)
    assert [piece for _, piece in panel.choices["swatches"].options] == [
        *("P-01 leaf", "P-01 stem", "P-01 flower")
    ]
    assert panel.choices["swatches"].value == ("P-01 leaf", "P-01 stem")
    assert "P-01 stem is at grade 2" in panel.sentence
    assert len(panel.shown.chips) == 2
    text = repr(sheet.sheet(bk))
    for area in ("leaf", "stem", "flower"):
        assert f"P-01 {area}: madder 30 % on cotton" in text


def test_areas_are_no_repeats_of_one_another(tmp_path):
    bk = printed(tmp_path / "b", cloths=2)
    lab = pd.DataFrame({"sample": [f"P-0{n} {a}" for n in (1, 2) for a in ("leaf", "stem", "sky")]})
    lab = lab.assign(L=[45.0, 30, 80] * 2, a=1.0, b=2.0, illuminant="D65", observer=10, source="x")
    made = book.instrument_readings(bk, lab, None, method="typed").readings
    np.testing.assert_allclose(made["var_L"], 0.3**2)


def test_a_part_with_nothing_on_it_is_an_area_of_its_cloth(tmp_path):
    bk = printed(tmp_path / "b", cloths=1)
    assert book.named_areas(bk) == {"P-01": ["leaf", "stem", "flower", "sky"]}
    grown = book.enter(bk, ["P-01 root", "P-01 sky", "K-01"])
    assert list(grown.swatches["swatch"]) == ["P-01", "K-01"]
    assert book.named_areas(grown)["P-01"][-2:] == ["sky", "root"]
    with pytest.raises(InputError, match="P-01 has the areas leaf, stem"):
        book.enter(bk, ["P-01 laef"])
    bare = book.areas(bk).set_index("area").loc["sky"]
    assert (bare["dye"], bare["mordant"]) == ("madder", "none")


def test_a_bare_area_lies_in_its_cloth(tmp_path):
    """It is paired within the cloth like any other, wherever iron was printed alone."""
    bk = read(printed(tmp_path / "b"))
    rows = bk.readings[bk.readings["area"] == "flower"]
    sky = rows.assign(reading=rows["reading"] + "-sky", area="sky", L=rows["L"] + 30)
    pairs = shift.of_step(book.wide(book.add(bk, readings=sky)), "iron").pairs
    alone = pairs[pairs["recipe"].str.contains("flower")].iloc[0]
    assert alone["verdict"] == "real"
    assert 29 < alone["dE76"] < 31


def test_windows_tell_new_swatches_from_parts_with_nothing_on_them(tmp_path):
    from dyelab.panel import capture_names

    bk = printed(tmp_path / "b", cloths=1)
    assert "P-01 sky" in capture_names.candidates(bk)
    windows = pd.DataFrame({"place": ["A1", "A2", "A3"], "flags": ""})
    labels = measure.names_by_label(pd.DataFrame(columns=["place"]), [], bk.swatches)
    picked = {"names": "A1 = P-01 sky; A2 = P-01 root; A3 = K-9", "first": ""}
    found = capture_names.name_windows(windows, labels, bk, picked, None)
    assert (found.new, found.bare) == (("K-9",), ("P-01 root",))
    assert "nothing put on it of its own: P-01 root" in found.summary
    with pytest.raises(InputError, match="Write it as one of them"):
        capture_names.name_windows(
            windows, labels, bk, {"names": "A1 = P-01 stm", "first": ""}, None
        )


def test_an_explorer_with_few_printed_areas_says_what_to_print_next(tmp_path):
    from dyelab.panel import explore

    panel = explore.panel(book.save(read(printed(tmp_path / "b", cloths=2))))
    assert "3 recipes measured so far" in panel.sentence
    assert "any other recipe" not in panel.sentence
    assert "nan" not in panel.sentence
    assert panel.shown.figure is not None
    assert len(panel.shown.table)
    assert "Print these as areas of your next cloth" in panel.shown.notes[0]
    assert panel.actions["exploring.put"].layout.display == "none"


def test_iron_printed_before_the_dye_has_a_strip(tmp_path):
    from dyelab.handout import colours
    from dyelab.handout.sheets import metal

    source = colours.source(read(printed(tmp_path / "b", cloths=2)))
    row = source.made[source.made["mordant"] == "aluminium acetate"].iloc[0]
    cloth = {name: row[name] for name in ("fibre", "dye", "tannin", "mordant")}
    said = repr(metal.strip(source, metal="iron", **cloth))
    assert "With 2 % iron the madder-dyed cotton was much darker" in said
