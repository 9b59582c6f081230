"""Before and after: matching, odd books, intervals of grades and their coverage."""

import numpy as np
import pandas as pd
import pytest

from dyelab import book, grade, synth, table
from dyelab.errors import InputError


def reading(name, swatch, exposure="none", amount=0.0, lab=(50, 20, 20), u=0.1, **more):
    fixed = {
        "reading": name,
        "swatch": swatch,
        "part": "swatch",
        "area": "whole",
        "exposure": exposure,
        "amount": amount,
        "unit": {"wash": "cycle", "light": "lx h"}.get(exposure, ""),
        "method": "spectral",
        "geometry": "45/0",
        "illuminant": "D65",
        "observer": 10,
        **dict(zip(table.LAB, lab, strict=True)),
        **{f"var_{c}": u**2 for c in "Lab"},
        "cov_La": 0.0,
        "cov_Lb": 0.0,
        "cov_ab": 0.0,
    }
    return {**fixed, **more}


def frame(*rows):
    return pd.DataFrame(list(rows))


BEFORE = reading("A", "A")
AFTER = reading("A-w5", "A", "wash", 5, (52.5, 20, 20))


def graded(*rows):
    return grade.grades(grade.pair(frame(*rows)))


def test_one_pair_is_graded_with_what_else_it_could_be():
    told = graded(BEFORE, AFTER).iloc[0]
    assert (told["before"], told["after"], told["kind"]) == ("A", "A-w5", "change")
    assert told["difference"] == pytest.approx(2.5)
    assert (told["grade"], told["said"]) == ("3-4", "3-4")
    assert told["moved"] == "lighter"
    near = graded(BEFORE, reading("A-w5", "A", "wash", 5, (52.0, 20, 20))).iloc[0]
    assert near["said"] == "4, could be 3-4"


def test_row_order_extra_columns_and_index_change_nothing():
    """Swapped rows: matching is by swatch and part."""
    rows = [reading(f"{s}{e}", s, *x) for s in "ABC" for e, x in (("", ()), ("-w", ("wash", 5)))]
    rows = [{**row, "L": 50 + i, "odd": "x"} for i, row in enumerate(rows)]
    straight = frame(*rows)
    mixed = straight.sample(frac=1, random_state=3)
    mixed.index = mixed.index + 100
    for made in (straight, mixed):
        told = grade.grades(grade.pair(made)).sort_values("swatch")
        assert list(told["after"]) == ["A-w", "B-w", "C-w"]
        assert list(told["difference"]) == pytest.approx([1, 1, 1])
        assert list(told["odd"]) == ["x"] * 3


def test_after_without_before_says_what_to_measure():
    found = grade.pair(frame(BEFORE, AFTER, reading("B-w5", "B", "wash", 5)))
    assert list(found.pairs["swatch"]) == ["A"]
    assert found.missing["text"].iloc[0] == (
        "swatch B (area whole): read after wash but never before, so its change can't be graded. "
        "Measure an untested piece of the same swatch and enter it with exposure none."
    )
    with pytest.raises(InputError, match=r"swatch B .*never before.*Measure an untested piece"):
        grade.pair(frame(reading("B-w5", "B", "wash", 5)))


def test_before_without_after_waits_for_its_test():
    found = grade.pair(frame(BEFORE, AFTER, reading("B", "B")))
    assert list(found.missing["text"]) == ["Not tested yet (1): B."]
    with pytest.raises(InputError, match=r"No readings after a test yet.*enter the exposure"):
        grade.pair(frame(BEFORE))


def test_two_befores_are_averaged_and_it_is_said():
    other = reading("A2", "A", lab=(50.2, 20, 20))
    told = graded(BEFORE, other, AFTER).iloc[0]
    assert told["difference"] == pytest.approx(2.4)
    assert told["cautions"] == "Several before-readings, averaged."
    alone = graded(BEFORE, AFTER).iloc[0]
    width = told["difference_high"] - told["difference_low"]
    assert width < alone["difference_high"] - alone["difference_low"]


def test_two_befores_that_disagree_settle_nothing():
    told = grade.judge(graded(BEFORE, reading("A2", "A", lab=(55, 20, 20)), AFTER), change="2")
    assert "check the labels" in told["cautions"].iloc[0]
    assert told["verdict"].iloc[0] == "not_settled"


def test_before_and_after_under_different_illuminants_are_refused():
    with pytest.raises(InputError, match=r"swatch A: .*A under D65/10°, A-w5 under A/10°.*adapt"):
        graded(BEFORE, {**AFTER, "illuminant": "A"})
    with pytest.raises(InputError, match=r"can't compare D65/10° with D65/2°.*convert\.adapt"):
        graded(BEFORE, AFTER, *(reading(f"B{e}", "B", e, observer=2) for e in ("none", "wash")))


def test_another_instrument_or_geometry_is_flagged_and_settles_nothing():
    by_photo = {**AFTER, "method": "photo", "geometry": ""}
    told = grade.judge(graded(BEFORE, by_photo), change="2").iloc[0]
    assert "different kinds of instrument" in told["cautions"]
    assert "a screening, not a certificate" in told["cautions"]
    assert told["verdict"] == "not_settled"
    sphere = {**AFTER, "geometry": "d/8 (SCI)"}
    assert "different geometries" in graded(BEFORE, sphere)["cautions"].iloc[0]


def test_the_before_of_the_same_instrument_is_taken():
    photo = reading("A-photo", "A", lab=(56, 20, 20), method="photo", geometry="")
    told = graded(BEFORE, photo, AFTER).iloc[0]
    assert (told["before"], told["cautions"]) == ("A", "")


@pytest.mark.parametrize("method", ["photo", "scan"])
def test_a_grade_from_a_photo_is_a_screening(method):
    rows = [{**row, "method": method} for row in (BEFORE, AFTER)]
    told = graded(*rows).iloc[0]
    assert told["screening"]
    assert "not a certificate" in told["cautions"]


def test_negative_cycles_are_refused():
    with pytest.raises(InputError, match=r"reading A-w5: amount = -5 is below 0.*correct"):
        graded(BEFORE, {**AFTER, "amount": -5})


def test_nought_cycles_count_as_before():
    start = reading("A-w0", "A", "wash", 0)
    assert graded(start, AFTER)["before"].iloc[0] == "A-w0"


def test_a_rub_with_0_written_as_its_amount_is_still_a_test():
    rub = reading("A-rub", "A", "rub dry", 0, (51, 20, 20))
    assert graded(BEFORE, rub)["after"].iloc[0] == "A-rub"


def test_readings_that_state_no_uncertainty_leave_the_others_theirs():
    blank = {**reading("B", "B"), **{f"var_{c}": np.nan for c in "Lab"}}
    told = graded(BEFORE, AFTER, blank, reading("B-w5", "B", "wash", 5, (52.5, 20, 20)))
    assert list(told["said"]) == ["3-4", "3-4, uncertainty not known"]


def test_staining_needs_an_unstained_reference():
    stained = reading("A-wool-w5", "A", "wash", 5, (85, 2, 5), part="adjacent wool")
    found = grade.pair(frame(BEFORE, AFTER, stained))
    assert "no unstained adjacent wool is in the book" in found.missing["text"].iloc[0]
    with pytest.raises(InputError, match="Measure a clean piece of the same cloth"):
        grade.pair(frame(stained))


def test_staining_by_its_own_or_the_others_clean_cloth():
    clean = reading("A-wool", "A", lab=(88, 0, 4), part="adjacent wool")
    stained = [
        reading(f"{s}-wool-w5", s, "wash", 5, (85, 2, 5), part="adjacent wool") for s in "AB"
    ]
    told = graded(clean, *stained).set_index("swatch")
    move = np.array([-3, 2, 1])
    expected = np.linalg.norm(move) - 0.4 * np.hypot(*move[1:])  # ISO 105-A04
    assert list(told["difference"]) == pytest.approx([expected] * 2)
    assert told.at["A", "cautions"] == ""
    assert "compared with the unstained cloth of the other" in told.at["B", "cautions"]


def test_areas_of_a_printed_cloth_are_kept_apart():
    rows = [
        reading(
            f"A-{area}-{e}", "A", e, 5.0 * (e == "wash"), (L + 2 * (e == "wash"), 5, 5), area=area
        )
        for area, L in (("ground", 80), ("stripe", 40))
        for e in ("none", "wash")
    ]
    told = graded(*rows)
    assert list(told["area"]) == ["ground", "stripe"]
    assert list(told["difference"]) == pytest.approx([2, 2])


def test_swapped_labels_show_in_the_dates():
    rows = [{**BEFORE, "taken_at": "2026-05-02T10:00:00"}]
    rows += [{**AFTER, "taken_at": "2026-05-01T10:00:00"}]
    assert "the two are swapped" in graded(*rows)["cautions"].iloc[0]


def test_without_uncertainty_there_is_a_grade_but_no_interval():
    rows = [
        {k: v for k, v in row.items() if k[:3] not in ("var", "cov")} for row in (BEFORE, AFTER)
    ]
    told = grade.judge(graded(*rows), change="3").iloc[0]
    assert told["said"] == "3-4, uncertainty not known"
    assert told["verdict"] == "not_settled"
    assert "state no uncertainty" in told["cautions"]


def test_a_shared_photo_error_is_not_counted_twice():
    rows = [{**row, "method": "photo"} for row in (BEFORE, AFTER)]
    alone = graded(*rows).iloc[0]
    part = {"source": "p", "factor": 1, "L": 0.09, "a": 0.0, "b": 0.0}
    shared = pd.DataFrame([{"reading": name, **part} for name in ("A", "A-w5")])
    told = grade.grades(grade.pair(frame(*rows)), shared=shared).iloc[0]
    wide, narrow = (x["difference_high"] - x["difference_low"] for x in (alone, told))
    assert narrow < 0.7 * wide


def test_requirement_met_not_met_not_settled():
    labs = {"A": 51.0, "B": 52.09, "C": 54.0}
    rows = [reading(s, s) for s in labs]
    rows += [reading(f"{s}-w", s, "wash", 5, (L, 20, 20)) for s, L in labs.items()]
    told = grade.judge(graded(*rows), change="4")
    assert list(told["verdict"]) == ["met", "not_settled", "not_met"]
    assert set(grade.judge(told, staining="4")["verdict"]) == {""}
    with pytest.raises(InputError, match=r"no grade '4\.5'"):
        grade.judge(told, change="4.5")


def test_every_reading_of_the_example_is_matched():
    bk = book.open(synth.example())
    wide = book.wide(bk)
    found = grade.pair(wide)
    assert len(found.pairs) == wide["exposure"].ne("none").sum()
    told = grade.grades(found, shared=bk.shared)
    assert told["grade"].isin(grade.GRADES).all()
    assert set(told["kind"]) == {"change", "staining"}


def test_an_unknown_exposure_names_the_choices():
    with pytest.raises(InputError, match="Did you mean 'wash'"):
        graded(BEFORE, {**AFTER, "exposure": "washed"})


def _noisy(part, u, n, seed):
    """Pairs of a known true difference, read with correlated noise of standard size u."""
    rng = np.random.default_rng(seed)
    turn = rng.uniform(0, 2 * np.pi, n)
    chroma = rng.uniform(3, 45, n) if part == "swatch" else rng.uniform(0, 4, n)
    first = np.column_stack([rng.uniform(25, 80, n), chroma * np.cos(turn), chroma * np.sin(turn)])
    way = rng.normal(size=(n, 3))
    second = first + way / np.linalg.norm(way, axis=1)[:, None] * rng.uniform(0, 10, (n, 1))
    mix = np.array([[1, 0, 0], [0.3, 0.8, 0], [-0.2, 0.3, 0.9]]) * u
    rows = []
    for lab, exposure in ((first, "none"), (second, "wash")):
        read = lab + rng.normal(size=(n, 3)) @ mix.T
        rows += [
            reading(f"S{i}{exposure}", f"S{i}", exposure, 5.0, read[i], part=part) for i in range(n)
        ]
    noisy = table.with_covariances(pd.DataFrame(rows), np.tile(mix @ mix.T, (2 * n, 1, 1)))
    return first, second, noisy


@pytest.mark.parametrize("u", [0.15, 0.8])
@pytest.mark.parametrize(
    ("part", "formula", "of"),
    [
        ("swatch", grade.grey_scale_difference, grade.change_of),
        ("adjacent wool", grade.staining_difference, grade.staining_of),
    ],
)
def test_the_grades_interval_covers_the_true_grade(part, formula, of, u):
    first, second, noisy = _noisy(part, u, 1500, seed=11)
    told = grade.grades(grade.pair(noisy))
    true = formula(first, second)
    inside = (told["difference_low"] <= true) & (true <= told["difference_high"])
    assert 0.935 <= inside.mean() <= 0.975
    place = grade.GRADES.index
    grades = of(true)[1]
    ends = zip(told["grade_best"], grades, told["grade_worst"], strict=True)
    assert np.mean([place(b) <= place(g) <= place(w) for b, g, w in ends]) >= inside.mean()


def test_a_piece_read_in_two_ways_counts_once_by_the_way_that_read_most():
    """As the photo of a card of which the instrument read a few; other pieces by photo alone."""
    rows = []
    for swatch, ways in (("A", ("spectral", "photo")), ("B", ("photo",)), ("C", ("photo",))):
        for way in ways:
            lift = 6.0 if way == "photo" else 0.2
            more = {"method": way, "geometry": ""}
            rows.append(reading(f"{swatch} {way}", swatch, **more))
            after = (50 + lift, 20, 20)
            rows.append(reading(f"{swatch} {way} 5", swatch, "wash", 5.0, after, **more))
    found = grade.study(frame(*rows))
    assert grade.verdict_sentence(found, "wash").count("did not hold") == 3
    assert found.grades["method"].unique().tolist() == ["photo"]
    assert any("1 swatch was read in several ways" in text for text in found.gaps)
    alone = grade.study(frame(*rows), swatches=["A"])
    assert alone.grades["method"].tolist() == ["spectral"]  # as many by each: the most trusted


def test_a_piece_of_two_tests_is_counted_once_by_its_worst():
    rows = []
    for i in range(6):
        rows.append(reading(f"S{i}", f"S{i}"))
        for test, lift in (("mild", 0.3), ("hard", 6.0)):
            after = (50 + lift, 20, 20)
            rows.append(reading(f"S{i} {test}", f"S{i}", "wash", 5.0, after, test=test))
    found = grade.study(frame(*rows))
    said = grade.verdict_sentence(found, "wash")
    assert "0 of 6 dyed swatches keep grade 4, 6 don't" in said
    assert grade.by_cloth(found, "wash", lambda row: "cloth")["swatches"].tolist() == [6]
