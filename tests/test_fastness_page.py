"""The fastness page and its curves: what is on them, odd books, nasty texts."""

import nasty
import numpy as np
import pandas as pd
import pytest

from dyelab import book, grade, handout, synth
from dyelab.errors import InputError
from dyelab.handout import fastness
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
    return fastness.page(found, bk.tests)


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
        "After 10 washes, of 2 swatches asked to keep grade 4",
        "After 10 Mlx h of light",
        "a screening, not a laboratory's certificate",
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
        assert row[5] == wash.at[swatch, "verdict"]
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
    assert said.startswith(f"{ALUM}: the change shows after about ")
    assert "falls below grade 4 after about" in said
    assert grade.forecast_sentence(found, "nobody", "light") == ""


def test_weld_over_alum_turns_in_light_and_iron_fades_plainly(found):
    """As the model that made the example has it: broken weld leaves a brown behind."""
    last = found.hardest("light").set_index("swatch")
    assert last.at[ALUM, "tone_kind"] == "tone change"
    assert "redder" in last.at[ALUM, "tone_turned"]
    assert last.at[IRON, "tone_kind"] == "plain fading"


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
    assert "From a photo or scan: a screening, not a certificate." in texts(made)


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
    assert all(one.curves["dEF"].shape != "no change" for one in study.drifts)
    assert handout.write(fastness.page(study), tmp_path / "ten.pdf").stat().st_size > 5000


def test_a_summary_of_all():
    assert grade.overall(grade.study(plain_readings())) == "not settled"
