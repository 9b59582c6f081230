"""The fading clock: its colours and grades are those of the curves and no more is told."""

import html
import json
import re
from dataclasses import replace

import numpy as np
import pytest

from dyelab import book, convert, grade, handout
from dyelab.errors import InputError
from dyelab.handout import colours, html_page
from dyelab.handout.sheets import clock

LIT = ["W05", "W06", "W17"]
SUMMER = 92 * 12 * 5000.0


@pytest.fixture(scope="module")
def found(source):
    bk = source.book
    return grade.study(book.wide(bk), swatches=LIT, shared=bk.shared, spectra=bk.spectra)


@pytest.fixture(scope="module")
def page(source):
    return clock.clock(source, swatches=[*LIT, "W03"])


def one(page, only):
    return next(b for b in page.blocks if isinstance(b, handout.Clock) and b.only == only)


def test_where_a_reading_was_made_the_clock_says_what_the_fastness_page_says(found):
    for row in found.of("light").to_dict("records"):
        shown = grade.along(found.drift(row["swatch"], "light"), np.array([row["amount"]])).iloc[0]
        assert shown["known"] == "read"
        for name in ("L", "a", "b", "difference", "grade", "grade_worst", "grade_best", "said"):
            assert shown[name] == row[name]


def test_between_readings_the_change_is_the_curves_and_its_limits_bound_it(found):
    drift = found.drift("W17", "light")
    shown = grade.along(drift, np.array([2e6, 6e6, 1.5e7]))
    assert list(shown["known"]) == ["between", "between", "forecast"]
    lab = shown[["L", "a", "b"]].to_numpy(float)
    far = grade.grey_scale_difference(np.broadcast_to(drift.lab[0], lab.shape), lab)
    np.testing.assert_allclose(far, shown["difference"], atol=0.15)  # from the reading before
    least, most = (
        shown[[f"{end}_{c}" for c in "Lab"]].to_numpy(float) for end in ("least", "most")
    )
    near, reach = (convert.dE00(drift.lab[0], colour) for colour in (least, most))
    assert (near < convert.dE00(drift.lab[0], lab)).all()
    assert (reach > convert.dE00(drift.lab[0], lab)).all()


def test_nothing_is_told_beyond_the_horizon_or_where_a_forecast_is_no_forecast(found):
    drift = found.drift("W17", "light")
    beyond = grade.along(drift, np.array([grade.HORIZON * drift.longest * 1.01])).iloc[0]
    assert beyond["known"] == grade.UNTOLD
    assert beyond[["L", "difference"]].isna().all()
    assert beyond["grade"] == ""
    flat = replace(drift, series=replace(drift.series, lab=np.tile(drift.lab[0], (5, 1))))
    assert flat.curves["dEF"].is_declined
    assert grade.along(flat, np.array([1.2 * flat.longest]))["known"].iloc[0] == grade.UNTOLD


def test_the_page_shows_those_that_were_lit_beside_the_blue_wools(page):
    whole = one(page, "screen")
    assert [hand.name.partition(":")[0] for hand in whole.hands] == LIT
    assert [hand.name for hand in whole.beside] == [f"blue wool BW{n}" for n in range(1, 9)]
    assert whole.marks == ()
    assert "W03" in page.aside[0]
    assert "from memory" in " ".join(t for b in page.blocks for t in getattr(b, "texts", ()))


def test_the_sentence_is_the_summers(page, found):
    summer = {code: grade.along(found.drift(code, "light"), np.array([SUMMER])) for code in LIT}
    ordered = sorted(LIT, key=lambda code: summer[code]["difference"].iloc[0])
    lead = page.blocks[0].text
    assert re.findall(r"W\d\d", lead) == [ordered[-1], ordered[0]]
    for code in (ordered[0], ordered[-1]):
        assert f"is at grade {summer[code]['said'].iloc[0]}" in lead
    ends = {code: summer[code][["low", "high"]].iloc[0] for code in LIT}
    least, *others = (ends[code] for code in ordered)
    alone = least["high"] < min(other["low"] for other in others)
    assert ("among the least changed" in lead) is not alone  # told apart only if the noise does
    whole = one(page, "screen")
    at = whole.at(92 * 12)
    assert [h.shades[at].said for h in whole.hands] == [summer[c]["said"].iloc[0] for c in LIT]
    assert whole.at(365 * 12) is None


def test_on_a_screen_it_asks_no_network_and_on_paper_it_is_cards(page):
    said = html_page.text(page)
    assert not re.search(r"(src|href)=.?https?:|@import|url\(", said)
    data = json.loads(re.search(r'<script type="application/json">(.*?)</script>', said)[1])
    assert len(data["doses"]) == len(data["hands"][0]["shades"])
    assert "default-src 'none'" in said
    assert "script-src 'unsafe-inline';" in html.unescape(said)
    assert len(handout.pictures(page, ppi=10)) == 2


def test_many_cloths_are_parted_into_fans(source):
    lit = source.book.readings
    codes = list(lit.loc[lit["exposure"].eq("light"), "swatch"].unique()[:7])
    page = clock.clock(source, swatches=codes)
    fans = [b for b in page.blocks if isinstance(b, handout.Clock) and b.only == "paper"]
    assert [len(fan.hands) for fan in fans] == [6, 1]


def test_without_blue_wools_the_dose_names_the_one_it_just_fades(source):
    bk = source.book
    own = bk.readings[~bk.readings["swatch"].str.startswith("BW")]
    page = clock.clock(replace(source, book=replace(bk, readings=own)), swatches=LIT)
    whole = one(page, "screen")
    assert whole.beside == ()
    assert whole.marks[whole.at(92 * 12)] == "enough light to just fade blue wool 4.6"


def test_cloth_never_lit_is_refused_with_what_was(source):
    with pytest.raises(InputError, match="Choose some that were"):
        clock.clock(source, swatches=["W03"])
    readings = source.book.readings
    dark = replace(source.book, readings=readings[readings["exposure"] != "light"])
    with pytest.raises(InputError, match="No swatch of this book was read after two doses"):
        clock.clock(colours.source(dark), swatches=["W03"])
