"""The fastness page and its curves: what is on them, odd books, nasty texts."""

import re

import nasty
import numpy as np
import pandas as pd
import photo_book
import pytest
from worlds import synth

from dyelab import book, convert, grade, handout, words
from dyelab.errors import InputError
from dyelab.handout import fastness, fastness_texts, typst_pdf
from dyelab.plot import fastness as drawn
from dyelab.plot import static

ALUM, IRON = "W17", "W22"  # weld on wool over alum, without and with iron


@pytest.fixture(scope="module")
def bk():
    return book.open(synth.example())


@pytest.fixture(scope="module")
def found(bk):
    return grade.study(book.wide(bk), swatches=[ALUM, IRON], shared=bk.shared, spectra=bk.spectra)


@pytest.fixture(scope="module")
def page(found, bk):
    return fastness.page(found, bk.tests, full=True)


def texts(page):
    def walk(thing):
        if isinstance(thing, str):
            yield thing
        elif isinstance(thing, tuple | list):
            for part in thing:
                yield from walk(part)
        elif hasattr(thing, "__dataclass_fields__"):
            for name in thing.__dataclass_fields__:
                yield from walk(getattr(thing, name))

    return "\n".join(walk(page))


def test_alum_and_iron_are_told_before_and_after(page):
    said = texts(page)
    for needed in (
        "After 10 washes: W22 is at grade 3-4, could be 4: can't tell; W17 is at grade 4: held",
        "After 10 million lx h of light",
        "A screening, by instrument, not a laboratory's certificate",
        "ISO 105-C06",  # the test record
        "Which mordant holds better",
        "like reference",
        "CIE 157:2004",
        "no published example was to be had",
    ):
        assert needed in said


def test_grades_on_the_page_are_those_of_the_readings(found, page):
    (numbers, *_) = [
        block
        for block in page.blocks
        if isinstance(block, handout.NumberTable) and block.headings[0] == "recipe"
    ]
    wash = found.hardest("wash").set_index("swatch")
    for row in numbers.rows:
        swatch = row[0].split(":")[0]
        assert row[4] == wash.at[swatch, "said"]
        assert row[5] == words.say(f"grade.{wash.at[swatch, 'verdict']}")
        assert row[2] == f"{wash.at[swatch, 'difference']:.1f}"


def test_chips_stand_in_the_order_of_the_test(page):
    strip = next(block for block in page.blocks if isinstance(block, handout.Chips))
    labels = [patch.label for patch in strip.patches]
    assert labels == ["before", "1 wash", "5 washes", "10 washes"]
    assert strip.touching


@pytest.mark.parametrize("ending", ["pdf", "html"])
def test_it_is_written_as_pdf_and_as_html(page, tmp_path, ending):
    made = handout.write(page, tmp_path / f"fast.{ending}")
    assert made.stat().st_size > 5000


def test_the_study_says_when_it_shows_and_when_it_fails(found):
    said = grade.forecast_sentence(found, ALUM, "light")
    assert said.startswith(f"{ALUM}: visible change after about ")
    assert "below grade 4 after about" in said
    assert grade.forecast_sentence(found, "nobody", "light") == ""


def test_weld_over_alum_turns_in_light_and_iron_fades_plainly(found):
    """As the model that made the example has it: broken weld leaves a brown behind."""
    last = found.hardest("light").set_index("swatch")
    assert last.at[ALUM, "tone_kind"] == "tone change"
    assert "redder" in last.at[ALUM, "tone_turned"]
    assert last.at[IRON, "tone_kind"] == "plain fading"


def test_no_change_of_tone_is_told_of_what_the_readings_leave_open(found):
    """Not seen isn't the same as not there, and what could be chance has no kind."""
    row = found.hardest("light").set_index("swatch", drop=False).loc[IRON]
    assert grade.tone_sentence(row).startswith(f"{IRON}: faded, and no change of tone can be told")
    unseen = row.copy()
    unseen["tone_kind"], unseen["dE00_high"] = "no visible change", 2.9
    assert grade.tone_sentence(unseen).endswith("the readings allow up to ΔE00 2.9.")
    unseen["dE00_high"] = 0.9
    assert grade.tone_sentence(unseen) == f"{IRON} hasn't changed visibly."
    row["changed"] = "chance"
    assert "could be chance" in grade.tone_sentence(row)


def test_curves_mark_every_reading_and_draw_the_limit(found):
    drifts = [found.drift(s, "light") for s in (ALUM, IRON)]
    figure = drawn.curves(drifts, ["alum", "iron"], limit=(2.1, "grade 4 ends"), at=3e6)
    marks = [t for t in figure.data if t.mode == "markers"]
    assert [len(t.x) for t in marks] == [4, 4]
    assert marks[0].xaxis != marks[1].xaxis  # a panel each
    assert list(marks[0].x) == pytest.approx([0.3, 1, 3, 10])
    assert next(t for t in figure.data if t.name == "grade 4 ends").y[0] == 2.1
    assert figure.layout.shapes[0].x0 == 3
    assert "<svg" in static.svg(figure)


def test_the_label_of_the_limit_stays_in_the_narrowest_panel_and_above_its_line(found):
    """Beyond the limit, where the change is larger, lie the lower grades."""
    said = words.say("fastness.limit", required="4")
    assert said.startswith("above here")
    figure = drawn.curves([found.drift(ALUM, "wash")] * 4, list("abcd"), limit=(2.1, said))
    shown = re.findall(r"<text[^>]*>(.*?)</text>", static.svg(figure))
    lines = next(re.findall(r'y="([\d.]+)">([^<]*)', text) for text in shown if "less" in text)
    assert " ".join(line for _, line in lines) == said
    assert max(len(line) for _, line in lines) <= 20
    assert float(lines[0][0]) < float(lines[-1][0])
    limit = next(trace for trace in figure.data if trace.name == said)
    assert limit.textposition == "top left"


@pytest.mark.parametrize("quantity", grade.QUANTITIES)
def test_bands_hold_their_curves(found, quantity):
    figure = drawn.curves([found.drift(IRON, "wash")], ["iron"], quantity)
    low, high, line = (np.array(figure.data[i].y[:40]) for i in range(3))
    assert (low <= line + 1e-9).all()
    assert (line <= high + 1e-9).all()


def test_one_series_is_a_page(bk):
    made = fastness.sheet(bk, series="The walnut pot")
    assert "walnut hull" in texts(made)
    assert "cochineal" not in texts(made)
    with pytest.raises(InputError, match=r"Did you mean 'The walnut pot'"):
        fastness.sheet(bk, series="The walnut pt")


def test_an_unknown_swatch_is_refused(bk):
    with pytest.raises(InputError, match=r"no swatch 'W170' here"):
        fastness.sheet(bk, swatches=["W170"])


def test_nothing_tested_says_what_to_do(bk):
    wide = book.wide(bk)
    with pytest.raises(InputError, match=r"No readings after a test yet"):
        grade.study(wide[wide["exposure"].eq("none")])


def plain_readings(**more):
    rows = [
        {"swatch": "S", "exposure": e, "amount": x, "unit": u, "L": 50 + x, "a": 20, "b": 10}
        for e, x, u in (("none", 0, ""), ("wash", 2, "cycle"), ("wash", 5, "cycle"))
    ]
    return pd.DataFrame(rows).assign(illuminant="D65", observer=10, **more)


def test_a_book_without_recipes_or_uncertainty_still_has_a_page(tmp_path):
    found = grade.study(plain_readings())
    made = fastness.page(found)
    assert "uncertainty not known" in texts(made)
    assert "No test record" in texts(made)
    assert handout.write(made, tmp_path / "plain.pdf").exists()


def test_rubbing_once_is_graded_without_a_curve(tmp_path):
    rows = plain_readings().assign(exposure=["none", "rub dry", "rub wet"], amount=np.nan, unit="")
    made = fastness.page(grade.study(rows))
    assert "Dry rubbing" in texts(made)
    assert handout.write(made, tmp_path / "rub.pdf").exists()


def test_a_grade_by_photo_is_called_a_screening_on_the_page():
    made = fastness.page(grade.study(plain_readings(method="photo")))
    assert "A screening, by photo, not a laboratory's certificate." in texts(made)
    assert "by instrument" not in texts(made)


def test_a_cloth_has_one_sheet_and_many_cloths_an_overview(bk):
    two = fastness.sheet(bk, swatches=[ALUM, IRON])
    assert _sheets(two) == 1
    every = fastness.sheet(bk)
    assert _sheets(every) <= 4
    recipes = book.recipes(bk).set_index("swatch")["dye"]
    tested = bk.readings[bk.readings["exposure"].eq("wash") & bk.readings["part"].eq("swatch")]
    dyed = recipes.reindex(tested["swatch"].unique()).ne("none")
    assert f"of {dyed.sum()} dyed swatches" in texts(every)
    assert f"{(~dyed).sum()} undyed left out" in texts(every)


def _sheets(page):
    return len(typst_pdf.pictures(page, ppi=20))


@pytest.fixture(scope="module")
def by_photo(tmp_path_factory):
    return photo_book.photographed(tmp_path_factory.mktemp("by_photo"), washes=(0, 2, 10))


def test_a_photo_books_sheet_shows_the_cloth_itself(by_photo):
    made = fastness.sheet(by_photo, swatches=["P1", "P2"])
    strips = [block for block in made.blocks if isinstance(block, handout.Chips)]
    assert [len(strip.patches) for strip in strips] == [3, 3]
    assert all(patch.crop.startswith(b"\x89PNG") for strip in strips for patch in strip.patches)


def test_six_wools_by_photo_are_found_to_have_changed(by_photo):
    """True ΔE00 1.3 to 2.8 in ten washes, by photos that go together."""
    found = grade.study(book.wide(by_photo), shared=by_photo.shared)
    last = found.hardest("wash").set_index("swatch")
    true = pd.Series(convert.dE00(photo_book.truth(0), photo_book.truth(10)), last.index)
    assert list(last["changed"]) == ["real"] * 6
    assert ((last["dE00_low"] <= true) & (true <= last["dE00_high"])).sum() >= 5
    place = grade.GRADES.index
    steps = last["grade_worst"].map(place) - last["grade_best"].map(place)
    assert steps.max() <= 2
    for one in found.drifts:
        curve = one.curves["dE00"]
        assert curve.at(curve.readings["x"]) == pytest.approx(curve.readings["y"], abs=0.5)


@pytest.mark.parametrize("which", ["example", "photo"])
def test_one_swatch_has_one_set_of_numbers_everywhere(which, bk, by_photo):
    """Table, marks, curve, sentence, page and CSV of each swatch, over a book read by either."""
    if which == "example":
        wide, shared, names = book.wide(bk), bk.shared, ["W01", "W02", ALUM, IRON, "C03", "C30"]
    else:
        wide, shared, names = (
            book.wide(by_photo),
            by_photo.shared,
            list(by_photo.swatches["swatch"]),
        )
    found = grade.study(wide, swatches=names, shared=shared)
    for one in found.drifts:
        rows = found.of(one.exposure)
        rows = rows[rows["swatch"].eq(one.swatch)].sort_values("amount")
        for name, column in (("dEF", "difference"), ("dE00", "dE00")):
            mark = one.curves[name].readings
            for mine, theirs in (("y", ""), ("low", "_low"), ("high", "_high")):
                np.testing.assert_allclose(mark[mine], rows[column + theirs], rtol=1e-9)
            figure = drawn.curves([one], [one.swatch], name)
            (drawn_marks,) = [t for t in figure.data if t.mode == "markers"]
            np.testing.assert_allclose(drawn_marks.y, rows[column], rtol=1e-9)
            bars = drawn_marks.error_y
            np.testing.assert_allclose(np.add(drawn_marks.y, bars.array), rows[f"{column}_high"])
            np.testing.assert_allclose(
                np.subtract(drawn_marks.y, bars.arrayminus), rows[f"{column}_low"]
            )
            low, high = one.curves[name].band(mark["x"].to_numpy())
            assert (low <= mark["high"] + 1e-9).all()  # the curve can't deny what was read
            assert (high >= mark["low"] - 1e-9).all()
    for exposure in found.exposures:
        last = found.hardest(exposure)
        shown = fastness_texts.grade_table(last)  # what the panel's table and CSV hold
        ordered = last.sort_values(["value", "swatch"], kind="stable")
        assert list(shown["said"]) == list(ordered["said"])
        np.testing.assert_allclose(shown["difference"], ordered["difference"])
        after = grade.exposure_text(last.iloc[0])
        sentence = grade.pieces_sentence(last, after)
        sheet = texts(fastness.page(found)) + texts(fastness.page(found, full=True))
        for row in last.to_dict("records"):
            assert f"{row['swatch']} is at grade {row['said']}" in sentence
            assert f"grade {row['said']}" in sheet or row["said"] in sheet
            worst, best = grade.change_of([row["difference_high"], row["difference_low"]])[1]
            assert (row["grade_worst"], row["grade_best"]) == (worst, best)
            assert (row["changed"] == "real") == (row["dE00_low"] > 0)


@pytest.mark.parametrize("text", nasty.ALL)
def test_nasty_texts_come_through(text, tmp_path):
    tests = pd.DataFrame([{"test": text, "exposure": "wash", "method": text, "who": text}])
    rows = plain_readings(test=text).assign(swatch=text)
    made = fastness.page(grade.study(rows), tests)
    assert handout.write(made, tmp_path / "nasty.html").exists()
    assert handout.write(made, tmp_path / "nasty.pdf").exists()


@pytest.mark.slow
def test_ten_washes_and_five_doses_make_a_report(bk, tmp_path):
    """The example's alum and iron variants, read ten times and more."""
    recipes = book.recipes(bk)
    some = recipes[recipes["swatch"].isin([ALUM, IRON])]
    tests = [("wash", float(c)) for c in range(1, 11)]
    tests += [("light", dose) for dose in (0.3e6, 1e6, 3e6, 6e6, 10e6)]
    made = synth.simulate(some, 12, replicates=1, exposures=tests)
    study = grade.study(made.wide, spectra=made.spectra)
    assert len(study.of("wash")) == 20
    assert len(study.of("light")) == 10
    assert all(one.fit.shape != "no change" for one in study.drifts)
    assert handout.write(fastness.page(study), tmp_path / "ten.pdf").stat().st_size > 5000
