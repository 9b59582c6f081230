"""Planned series: designs judged by the rank of their model matrix, sums, codes, and sheets."""

import itertools
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from worlds import synth

from dyelab import book, card, plan, press, recipe, shift
from dyelab.errors import InputError

FACTORS = {
    "fibre": ["wool", "cotton"],
    "tannin": ["none", "gallnut 8"],
    "mordant": ["potash alum 15"],
    "dye": ["madder 50", "weld 50"],
    "iron": [0, 2, 4],
}
TWO = dict.fromkeys("abcde", 2)


# Designs --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sizes", "by", "times", "runs", "resolution"),
    [
        # Regular two-level fractions of the handbooks: Box, Hunter and Hunter, Statistics for
        # Experimenters (1978), table 12.15, from memory.
        (dict.fromkeys("abc", 2), 2, 1, 4, 3),
        (dict.fromkeys("abcd", 2), 2, 1, 8, 4),
        (TWO, 2, 1, 16, 5),
        (TWO, 2, 2, 8, 3),
        (dict.fromkeys("abcdef", 2), 2, 1, 32, 6),
        (dict.fromkeys("abcdef", 2), 2, 2, 16, 4),
        (dict.fromkeys("abcdefg", 2), 2, 3, 16, 4),
        (dict.fromkeys("abc", 3), 3, 1, 9, 3),
        (dict.fromkeys("abcd", 3), 3, 1, 27, 4),
    ],
)
def test_a_fraction_keeps_its_claimed_resolution_and_balance(sizes, by, times, runs, resolution):
    design, claimed = plan.fraction(sizes, by, times)
    assert (len(design), claimed) == (runs, resolution)
    assert len(design.drop_duplicates()) == runs
    assert all(design[name].value_counts().nunique() == 1 for name in design)
    terms = [t for size in range(1, 4) for t in itertools.combinations(sizes, size)]
    mixed = {
        len(one) + len(two)
        for one, two in itertools.combinations(terms, 2)
        if not independent(design, sizes, one, two)
    }
    # Effects of p and of q factors are mixed for some p + q = resolution, and for none less.
    assert min(mixed, default=resolution) >= resolution
    if resolution < 6:
        assert resolution in mixed


def independent(design, sizes, one, two):
    """Rank test: whether two effects have columns of their own beside the constant."""
    alone = [plan.model_matrix(design, sizes, [term]) for term in (one, two)]
    both = plan.model_matrix(design, sizes, [one, two])
    ranks = [np.linalg.matrix_rank(matrix) for matrix in (*alone, both)]
    return ranks[2] == ranks[0] + ranks[1] - 1


def test_the_full_cross_tells_everything_and_a_fraction_says_what_it_can_not():
    full = plan.full_factorial(plan.levels({"fibre": ["wool", "cotton"], "iron": [0, 2, 4]}))
    assert plan.cannot_tell(full, {"fibre": 2, "iron": 3}) == []
    design, _ = plan.fraction(dict.fromkeys(["tannin", "dye", "iron"], 2), 2)
    said = plan.cannot_tell(design, dict.fromkeys(["tannin", "dye", "iron"], 2))
    assert "the effect of tannin can't be told from dye and iron acting together." in said
    assert len(said) == 3


def test_a_fraction_that_can_not_be_is_refused():
    with pytest.raises(InputError, match=r"multiple of 2.*optimal"):
        plan.fraction({"fibre": 2, "iron": 3}, 2)


def test_an_optimal_design_tells_its_model_with_few_recipes():
    chosen = plan.levels(FACTORS)
    sizes = {name: len(found) for name, found in chosen.items()}
    full = plan.full_factorial(chosen)
    terms = plan.all_terms(sizes)
    X = plan.model_matrix(full, sizes, terms)
    design = plan.optimal(full, sizes, terms, X.shape[1] + 3)
    M = plan.model_matrix(design, sizes, terms)
    assert np.linalg.matrix_rank(M) == X.shape[1]
    assert len(design.drop_duplicates()) == len(design) == X.shape[1] + 3
    with pytest.raises(InputError, match=f"{X.shape[1]} are needed"):
        plan.optimal(full, sizes, terms, X.shape[1] - 1)


def test_exchange_finds_the_best_determinant_of_a_case_small_enough_to_try_all():
    chosen = plan.levels(
        {"fibre": ["wool", "cotton"], "dye": ["madder", "weld"], "iron": [0, 2, 4]}
    )
    sizes = {name: len(found) for name, found in chosen.items()}
    full, terms = plan.full_factorial(chosen), plan.all_terms(sizes, 1)
    X = plan.model_matrix(full, sizes, terms)

    def volume(rows):
        return np.linalg.det(X[list(rows)].T @ X[list(rows)])

    best = max(volume(rows) for rows in itertools.combinations(range(len(full)), 6))
    found = plan.optimal(full, sizes, terms, 6)
    M = plan.model_matrix(found, sizes, terms)
    assert np.linalg.det(M.T @ M) == pytest.approx(best, rel=1e-9)


# Series ---------------------------------------------------------------------------------------


def test_a_series_holds_every_recipe_its_replicates_and_its_controls():
    s = plan.series(FACTORS, replicates=2)
    many = s.swatches.groupby("purpose").size()
    assert many["series"] == 2 * 2 * 2 * 3 * 2
    assert many["undyed"] == many["mordant only"] == many["tannin only"] == 2 * 2
    assert many["tannin and mordant"] == 2 * 2
    assert many["tannin plus iron"] == many["mordant plus iron"] == 2 * 2 * 2
    assert s.swatches["swatch"].is_unique
    assert sorted(s.swatches["place"]) == list(range(1, len(s.swatches) + 1))


@pytest.mark.parametrize("tannin", ["none", "gallnut 8"])
def test_the_controls_of_a_plan_separate_the_metals_work(tmp_path, tannin):
    factors = {**FACTORS, "fibre": ["wool"], "dye": ["madder 50"], "tannin": [tannin]}
    planned = plan.series(factors, name="Iron", replicates=2)
    bk = plan.add_series(book.create(tmp_path / "book", "Iron"), planned)
    made = synth.simulate(book.recipes(bk), seed=4, replicates=1, exposures=[])
    hold = {"dye": "madder", "fibre": "wool", "tannin": tannin.split()[0]}
    told = shift.separate(made.wide, "iron", hold=hold, spectra=made.spectra)
    assert told.missing == []
    assert {"dye", "fibre"} <= set(told.parts.dropna(subset="ks")["part"])


def test_a_bath_that_is_recorded_leaves_the_books_order_as_it_was(tmp_path):
    planned = plan.series(FACTORS, name="Iron")
    bk = plan.add_series(book.create(tmp_path / "book", "Iron"), planned)
    before = list(bk.swatches["swatch"]), list(bk.steps["swatch"])
    waiting = plan.open_baths(bk)
    assert list(waiting["kind"].drop_duplicates()) == [
        *("scour", "tannin", "mordant", "dye", "modifier", "rinse"),
    ]
    for bath in waiting["bath"]:
        bk = plan.mark_done(bk, bath)
    assert (list(bk.swatches["swatch"]), list(bk.steps["swatch"])) == before


def test_the_order_is_random_and_repeats_with_its_seed():
    orders = [list(plan.series(FACTORS, seed=seed).swatches["dye"]) for seed in (1, 1, 2)]
    assert orders[0] == orders[1] != orders[2]


def test_a_vat_takes_no_mordant():
    s = plan.series({"fibre": ["wool"], "mordant": ["alum"], "dye": ["indigo", "madder"]})
    rows = s.swatches[s.swatches["dye"] == "indigo"]
    assert set(rows["mordant"]) == {"none"}
    assert set(s.steps.loc[s.steps["swatch"].isin(rows["swatch"]), "kind"]) == {
        "scour",
        "vat",
        "assist",  # lime and fruit sugar keep the vat
        "rinse",
    }


def test_overdyes_dips_and_tartar_are_planned_weighed_and_recorded(tmp_path):
    s = plan.series(
        {
            "fibre": ["wool"],
            "mordant": ["potash alum 15", "potash alum 15 + cream of tartar 6"],
            "dye": ["weld 50", "weld 50 + indigo 5 x3", "indigo 5 x1 + weld 30"],
        },
        replicates=1,
        controls=False,
        mass_g=10,
    )
    by_code = s.steps.groupby("swatch")
    wanted = s.swatches["dye"].str.contains("indigo 5 x3") & s.swatches["mordant"].str.contains(
        "tar"
    )
    code = s.swatches.loc[wanted, "swatch"].iloc[0]
    steps = by_code.get_group(code)
    assert steps["material"].tolist() == [
        *("neutral soap", "potash alum", "cream of tartar", "weld", "indigo"),
        *("hydrated lime", "fructose", ""),
    ]
    vat = steps[steps["kind"] == "vat"].iloc[0]
    assert (vat["amount"], vat["dips"]) == (5.0, 3)
    alum, tartar = steps[steps["kind"] == "mordant"].iloc[0], steps.iloc[2]
    assert (tartar["kind"], tartar["bath"]) == ("assist", alum["bath"])
    apart = s.steps[s.steps["kind"] == "mordant"].groupby("bath")["swatch"].agg(set)
    assert len(apart) == 2  # with tartar and without never share a bath
    baths = s.baths.set_index(["bath", "material"])
    fibre = 10 * len(apart[alum["bath"]])
    assert baths.loc[(alum["bath"], "cream of tartar"), "weigh_g"] == pytest.approx(0.06 * fibre)
    assert f"{code} ×3" in baths.loc[(vat["bath"], "indigo"), "codes"]
    dipped = baths.loc[vat["bath"], "weigh_g"]
    assert dipped["fructose"] == pytest.approx(3 * dipped["indigo"])  # one, two, three
    line = plan.recipe_line(s.swatches[s.swatches["swatch"] == code].iloc[0])
    assert line == "wool: potash alum 15, cream of tartar 6, weld 50, indigo 5 ×3"
    over = [day["rows"] for day in plan.timetable(s)][-1]
    starts = {row["bath"]: row["from"] for row in over}
    second = s.steps[(s.steps["material"] == "weld") & (s.steps["amount"] == 30)]["bath"].iloc[0]
    assert starts[second] > starts[vat["bath"]]  # weld over indigo waits for the vat
    bk = book.save(plan.add_series(book.create(tmp_path / "b"), s))
    waiting = plan.open_baths(bk)
    row = waiting[waiting["bath"] == alum["bath"]].iloc[0]
    assert row["material"] == f"potash alum + cream of tartar {0.06 * fibre:.2f} g"
    assert row["fibre_g"] == fibre
    done = plan.mark_done(bk, alum["bath"], weighed_g=fibre * 0.14)
    now = done.steps[done.steps["bath"] == alum["bath"]].drop_duplicates("material")
    assert now["amount"].tolist() == pytest.approx([14.0, 6.0])
    assert set(now["state"]) == {"done"}
    assert book.recipes(bk).set_index("swatch").loc[code, "assist_wof"] == 6.0


def test_baths_add_up():
    s = plan.series(FACTORS, mass_g=5, liquor_ratio=40)
    for bath in s.baths.to_dict("records"):
        assert bath["fibre_g"] == pytest.approx(5 * bath["swatches"])
        assert bath["water_L"] == pytest.approx(bath["fibre_g"] * 40 / 1000)
        assert bath["swatches"] <= 24
        if bath["material"]:
            assert bath["weigh_g"] == pytest.approx(recipe.grams(bath["wof"], bath["fibre_g"]))
    # By hand: 48 swatches of 5 g with 15 % alum, and 24 controls that keep it: 72 x 0.75 g = 54 g.
    amounts = plan.totals(s).set_index("material")["amount"]
    assert amounts["potash alum"] == pytest.approx(54.0)
    assert amounts["water"] == pytest.approx(s.baths["water_L"].sum())


def test_a_bath_too_large_is_parted_evenly_and_a_jar_each_can_be_had():
    madder = {"fibre": ["wool"], "dye": ["madder"]}
    s = plan.series(madder, replicates=25, controls=False, pots="shared")
    assert list(s.baths.loc[s.baths["kind"] == "dye", "swatches"]) == [13, 12]
    jars = plan.series(FACTORS, pots="each")
    assert set(jars.baths["swatches"]) == {1}


def test_each_round_has_its_own_pots_on_its_own_days_unless_asked_otherwise():
    s = plan.series(FACTORS, replicates=3)
    turn = s.swatches.set_index("swatch")["replicate"]
    for codes in s.steps.groupby("bath")["swatch"]:
        assert turn[codes[1]].nunique() == 1
    days = s.baths.groupby("round")["day"].agg(["min", "max"])
    assert days.to_numpy().tolist() == [[1, 3], [4, 6], [7, 9]]
    shared = plan.series(FACTORS, replicates=3, pots="shared")
    assert set(shared.baths["round"]) == {1}
    assert any("luck of its pot" in text for text in shared.cannot)
    assert not any("luck of its pot" in text for text in s.cannot)


def test_cloths_that_spoil_one_another_never_share_a_bath():
    factors = {"fibre": ["wool"], "tannin": ["none", "gallnut 8"], "iron": [0, 2]}
    factors |= {"mordant": ["none", "potash alum 15"], "dye": ["madder 50", "weld 50"]}
    s = plan.series(factors)
    carried = s.steps.merge(s.swatches, on="swatch")
    for (kind, _), rows in carried.groupby(["kind", "bath"]):
        if kind in ("mordant", "dye", "modifier"):
            assert rows["tannin"].nunique() == 1
        if kind in ("dye", "modifier"):
            assert rows["mordant"].nunique() == 1
        if kind == "modifier":
            assert rows["dye"].nunique() == 1
    for reason in ("tannin comes off", "loose mordant", "dye that comes off"):
        assert any(reason in note.lower() for note in s.notes)


@pytest.mark.parametrize(
    ("more", "column", "kinds"),
    [
        ({"mordant": ["potash alum 8", "potash alum 15"]}, "mordant_wof", ("dye", "modifier")),
        (
            {"mordant": ["potash alum 15", "potash alum 15 + cream of tartar 6"]},
            "mordant",
            ("dye",),
        ),
        ({"tannin": ["gallnut 5", "gallnut 10"]}, "tannin_wof", ("mordant", "dye", "modifier")),
        ({"dye": ["madder 30", "madder 60"]}, "dye_wof", ("modifier",)),
    ],
)
def test_unequal_doses_never_draw_on_one_bath(more, column, kinds):
    factors = {"fibre": ["wool"], "mordant": ["potash alum 15"], "dye": ["madder 50"]}
    s = plan.series(factors | {"iron": [0, 2]} | more)
    carried = s.steps.merge(s.swatches, on="swatch")
    for kind in kinds:
        rows = carried[carried["kind"] == kind]
        assert rows[column].nunique() >= 2
        assert set(rows.groupby("bath")[column].nunique()) == {1}, kind
    assert any("dose" in note for note in s.notes)
    # Doses of iron are the bath's own, not the cloths': with one ground there's one dye bath.
    plain = plan.series(factors | {"iron": [0, 2, 4]}, controls=False, replicates=1)
    assert (plain.baths["kind"] == "dye").sum() == 1


def test_jars_in_a_water_bath_share_the_heat_and_the_hours():
    alone, jars = (plan.series(FACTORS, water_bath=jars) for jars in (0, 12))
    assert (alone.baths["bath"] == jars.baths["bath"]).all()
    first, second = plan.effort(alone), plan.effort(jars)
    assert first["pots"] == second["pots"] > 10
    assert second["hours"] < 0.6 * first["hours"]


def test_replanning_keeps_codes_and_never_gives_one_twice():
    before = plan.series(FACTORS, name="Autumn wool")
    after = plan.series({**FACTORS, "iron": [0, 4, 8]}, name="Autumn wool", keep=before, seed=9)
    keys = ["fibre", "tannin", "dye", "iron_wof", "purpose", "replicate"]
    both = before.swatches.merge(after.swatches, on=keys, suffixes=("_was", "_is"))
    assert len(both) > 40
    assert (both["swatch_was"] == both["swatch_is"]).all()
    new = after.swatches[after.swatches["iron_wof"] == 8]
    assert not set(new["swatch"]) & set(before.swatches["swatch"])


def test_a_series_goes_into_a_book_as_planned(tmp_path):
    s = plan.series(FACTORS, name="Autumn")
    bk = book.save(plan.add_series(book.create(tmp_path / "b"), s))
    found = book.recipes(bk).merge(s.swatches, on="swatch", suffixes=("", "_planned"))
    for name in ("tannin", "tannin_wof", "mordant", "mordant_wof", "dye", "dye_wof", "iron_wof"):
        assert (found[name] == found[f"{name}_planned"]).all(), name
    assert set(book.open(tmp_path / "b").steps["state"]) == {"planned"}
    with pytest.raises(InputError, match="is there twice"):
        plan.add_series(bk, s)
    again = plan.series(FACTORS, name="Autumn", keep=bk)
    assert not set(again.swatches["swatch"]) & set(bk.swatches["swatch"])


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"fibre": []}, "at least one"),
        ({"dye": ["madder 50", "madder 50"]}, "each level once"),
        ({"iron": ["two"]}, "is no number. Write it like"),
        ({"iron": ["400"]}, "0 to 300"),
        ({"dye": ["maddar"]}, "Did you mean 'madder'"),
        ({"mordant": ["potassium dichromate"]}, "not offered"),
        ({"colour": ["red"]}, "no factor 'colour'"),
        ({"iron": list(range(300)), "copper": list(range(9))}, "Leave out a factor"),
    ],
)
def test_a_wrong_factor_is_refused_with_a_remedy(change, said):
    with pytest.raises(InputError, match=said):
        plan.series({**FACTORS, **change})


def test_a_series_says_what_it_can_not_tell():
    assert "scatter" in plan.series(FACTORS, replicates=1).cannot[0]
    assert any("no controls" in said for said in plan.series(FACTORS, controls=False).cannot)


# Sheets ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_sheets_are_written_on_either_paper(tmp_path, paper):
    name = "A long name, with #markup *bold* $x$ and سلسلة 🌿 / ../ that must not matter"
    s = plan.series(FACTORS, name=name, replicates=1)
    written = plan.sheets(s, tmp_path, paper=paper)
    assert sorted(written) == sorted(plan.SHEETS)
    for path in written.values():
        assert path.parent == tmp_path
        assert path.read_bytes().startswith(b"%PDF")
    with pytest.raises(InputError, match="A4"):
        plan.sheets(s, tmp_path, paper="A5")


def test_the_markers_on_a_label_are_read_by_another_library():
    cv2 = pytest.importorskip("cv2")
    s = plan.series(
        {"fibre": ["wool"], "dye": ["madder"]}, name="Autumn", replicates=1, controls=False
    )
    template, data, pictures = plan.page(s, "labels")
    png = press.typeset(template, data, pictures=pictures, form="png", ppi=300)
    picture = cv2.imdecode(np.frombuffer(png, np.uint8), cv2.IMREAD_GRAYSCALE)
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36H11)
    corners, numbers, _ = cv2.aruco.ArucoDetector(family).detectMarkers(picture)
    across = np.argsort([c[0, 0, 0] for c in corners])
    left, right = (int(numbers.ravel()[i]) for i in across)
    assert card.label_number(left, right) == s.swatches["label_number"].iloc[0]


def test_label_numbers_differ_and_stay(tmp_path):
    s = plan.series(FACTORS, name="Autumn")
    again = plan.series(FACTORS, name="Autumn")
    other = plan.series(FACTORS, name="Spring")
    assert s.swatches["label_number"].is_unique
    assert list(s.swatches["label_number"]) == list(again.swatches["label_number"])
    assert not set(s.swatches["label_number"]) & set(other.swatches["label_number"])
    bk = book.save(plan.add_series(book.create(tmp_path / "mine"), s))
    kept = book.open(bk.path)
    assert list(kept.swatches["label_number"]) == list(s.swatches["label_number"])
    assert plan.with_label_numbers(kept).swatches.equals(kept.swatches)


def test_swatches_without_labels_get_numbers_and_a_sheet(tmp_path):
    bk = plan.with_label_numbers(book.open(synth.example()))
    assert bk.swatches["label_number"].notna().all()
    assert bk.swatches["label_number"].is_unique
    made = plan.labels(bk, tmp_path / "labels.pdf", swatches=["W01", "W02"])
    assert made.read_bytes().startswith(b"%PDF")
    with pytest.raises(InputError, match="with_label_numbers"):
        plan.labels(book.open(synth.example()), tmp_path / "none.pdf", swatches=["W01"])


def test_the_timetable_never_has_more_pots_on_than_there_are():
    s = plan.series(FACTORS)
    for pots in (1, 3):
        for day in plan.timetable(s, pots):
            times = [(row["from"], row["to"]) for row in day["rows"] if "+" not in row["to"]]
            for moment, _ in times:
                assert sum(begin <= moment < end for begin, end in times) <= pots


def test_bath_sheets_carry_hazards_and_cautions():
    s = plan.series({**FACTORS, "copper": [0, 2]}, replicates=1)
    _, data, _ = plan.page(s, "baths", children=True)
    copper = next(b for b in data["baths"] if b["material"] == "copper sulfate")
    assert "serious eye damage" in copper["hazard"]
    assert any("Children" in text for text in data["cautions"])
    assert any("not for drains" in text for text in data["cautions"])


# What was really done -------------------------------------------------------------------------


def test_a_bath_is_confirmed_with_its_corrections(tmp_path):
    s = plan.series(FACTORS, name="Autumn", replicates=1)
    bk = book.save(plan.add_series(book.create(tmp_path / "b"), s))
    waiting = plan.open_baths(bk)
    assert set(waiting["bath"]) == set(s.baths["bath"])
    alum = waiting[waiting["kind"] == "mordant"].iloc[0]
    codes = alum["swatches"].split(", ")
    # 12 swatches of 5 g and one left out: with 9 g really weighed, 9 / 60 = 15 %, 9 / 55 = 16.36 %.
    bk = plan.mark_done(bk, alum["bath"], swatches=codes[:-1], weighed_g=9, minutes=75, pH=4.5)
    rows = bk.steps[(bk.steps["bath"] == alum["bath"])].set_index("swatch")
    assert rows.loc[codes[0], "amount"] == pytest.approx(100 * 9 / (5 * (len(codes) - 1)))
    assert rows.loc[codes[0], ["state", "minutes", "pH"]].to_list() == ["done", 75, 4.5]
    assert rows.loc[codes[-1], "state"] == "planned"
    assert plan.open_baths(bk)["bath"].str.cat(sep=" ").split().count(alum["bath"]) == 1
    for bath in plan.open_baths(bk)["bath"]:
        bk = plan.mark_done(bk, bath, on="2026-05-01")
    assert plan.open_baths(bk).empty
    assert set(bk.swatches["made_on"]) == {"2026-05-01"}
    with pytest.raises(InputError, match="no bath 'M9'"):
        plan.mark_done(bk, "M9")


def test_the_story_of_a_swatch_lists_the_saves_that_touched_it(tmp_path):
    s = plan.series({"fibre": ["wool"], "dye": ["madder"]}, name="A", replicates=1, controls=False)
    bk = book.save(plan.add_series(book.create(tmp_path / "b"), s))
    bk = book.save(plan.mark_done(bk, "D1", minutes=90))
    bk = book.save(book.add(bk, swatches=bk.swatches.assign(swatch="other")))
    told = book.swatch_history(bk, "A-01")
    assert list(told["what"]) == ["1 swatch added; 3 steps added", "1 step changed"]


def test_a_printed_cloth_has_areas_of_its_own_in_one_dye_bath(tmp_path):
    areas = {
        "leaf": "aluminium acetate 5",
        "stem": "aluminium acetate 5 + ferrous acetate 2",
        "ground": "none",
    }
    made = plan.printed_cloth("P-01", areas, dye="madder 30", series="prints")
    bk = book.save(book.add(book.create(tmp_path / "b"), **made))
    found = book.areas(bk).set_index("area")
    assert set(found["dye"]) == {"madder"}
    assert found.loc["leaf", ["mordant", "mordant_wof", "iron_wof"]].to_list() == [
        "aluminium acetate", 5.0, 0.0,
    ]  # fmt: skip
    assert found.loc["stem", ["mordant", "iron_wof"]].to_list() == ["aluminium acetate", 2.0]
    assert recipe.advise(bk.steps, bk.swatches).empty
    alum = plan.printed_cloth("P-01", {"leaf": "alum 15"})
    assert "thickened acetate" in " ".join(recipe.advise(alum["steps"], alum["swatches"])["advice"])
    columns = ["reading", "swatch", "area", "exposure", "method", "illuminant", "observer", *"Lab"]
    rows = [(f"R{a}", "P-01", a, "none", "typed", "D65", 10, 50, 1, 1) for a in ("stem", "ground")]
    wide = book.wide(book.add(bk, readings=pd.DataFrame(rows, columns=columns))).set_index("area")
    assert wide.loc["ground", ["mordant", "dye"]].to_list() == ["none", "madder"]
    assert wide.loc["stem", "iron_wof"] == 2.0
    with pytest.raises(InputError, match="name each area"):
        plan.printed_cloth("P", {"whole": "alum 15"})


def test_a_printed_cloth_is_dyed_in_a_vat_that_is_kept_alive_and_no_hotter(tmp_path):
    made = plan.printed_cloth("P-01", {"leaf": "aluminium acetate 5"}, dye="weld 50 + indigo 5 x3")
    steps = made["steps"].set_index("material")
    assert steps.loc["weld", ["kind", "amount", "bath"]].to_list() == ["dye", 50.0, "P-01 dye"]
    vat = ["indigo", "hydrated lime", "fructose"]
    assert steps.loc[vat, "kind"].to_list() == ["vat", "assist", "assist"]
    assert steps.loc[vat, "amount"].to_list() == [5.0, 10.0, 15.0]  # one, two, three by weight
    assert set(steps.loc[vat, "bath"]) == {"P-01 vat"}
    assert steps.loc["indigo", "temperature_C"] <= 50
    assert steps.loc["indigo", "dips"] == 3
    bk = book.add(book.create(tmp_path / "b"), **made)
    assert plan.open_baths(bk)["bath"].tolist()[-2:] == ["P-01 dye", "P-01 vat"]
    twice = plan.printed_cloth("P-02", {"leaf": "aluminium acetate 5"}, dye="weld 50 + madder 30")
    dyed = twice["steps"].query("kind == 'dye'")
    assert dyed["bath"].tolist() == ["P-02 dye", "P-02 dye 2"]


# Common practice of the trade, kind by kind: no published source ------------------------------


def rows_of(planned, **wanted):
    found = planned.steps
    for name, value in wanted.items():
        found = found[found[name] == value]
    assert len(found)
    return found


def test_silk_is_kept_lukewarm_in_alum_and_under_80_in_the_dye():
    planned = plan.series({"fibre": ["silk"], "mordant": ["potash alum 15"], "dye": ["weld 50"]})
    assert rows_of(planned, kind="mordant")["temperature_C"].max() <= 50
    assert planned.steps["temperature_C"].max() < 80
    assert set(rows_of(planned, kind="scour")["material"]) == {"neutral soap"}


def test_madder_stays_under_70_and_ammonia_cold():
    planned = plan.series(
        {"fibre": ["wool", "cotton"], "mordant": ["potash alum 15"], "dye": ["madder 50"],
         "modifier": ["none", "ammonia 5", "soda ash 2"]}
    )  # fmt: skip
    assert rows_of(planned, material="madder")["temperature_C"].max() < 70
    assert rows_of(planned, material="ammonia")["temperature_C"].max() <= 20
    assert "window" in rows_of(planned, material="ammonia")["note"].iloc[0]
    wool = planned.swatches.loc[planned.swatches["fibre"] == "wool", "swatch"]
    cold = rows_of(planned, material="soda ash", kind="modifier")
    assert cold.loc[cold["swatch"].isin(wool), "temperature_C"].max() <= 20


def test_bran_fixes_the_mordant_before_the_dye_in_a_bath_of_its_own(tmp_path):
    planned = plan.series(
        {"fibre": ["cotton"], "mordant": ["aluminium acetate 8"], "dye": ["madder 50"],
         "modifier": ["none", "wheat bran 20", "chalk 3"]}, replicates=1, controls=False,
    )  # fmt: skip
    bran = rows_of(planned, material="wheat bran").iloc[0]
    own = planned.steps[planned.steps["swatch"] == bran["swatch"]]
    assert list(own["kind"]) == ["scour", "mordant", "modifier", "dye", "rinse"]
    assert bran["bath"].startswith("F")
    chalk = rows_of(planned, material="chalk").iloc[0]
    assert chalk["bath"].startswith("X")
    assert list(planned.steps.loc[planned.steps["swatch"] == chalk["swatch"], "kind"])[-3:] == [
        *("dye", "modifier", "rinse"),
    ]
    done = [row["bath"] for day in plan.timetable(planned) for row in day["rows"]]
    assert done.index(bran["bath"]) < min(i for i, bath in enumerate(done) if bath[0] == "D")
    waiting = plan.open_baths(plan.add_series(book.create(tmp_path / "b"), planned))[
        "bath"
    ].tolist()
    assert waiting.index(bran["bath"]) < waiting.index(own["bath"].iloc[3])


def test_a_vat_lists_alkali_and_reducer_with_amounts_heat_and_hazards():
    planned = plan.series({"fibre": ["wool"], "dye": ["indigo 10"]}, replicates=1, controls=False)
    vat = planned.baths[planned.baths["bath"] == "V1"].set_index("material")
    assert vat["wof"].to_dict() == {"indigo": 10, "hydrated lime": 20, "fructose": 30}
    lime = rows_of(planned, material="hydrated lime").iloc[0]
    assert lime["temperature_C"] == rows_of(planned, material="indigo")["temperature_C"].iloc[0]
    _, data, _ = plan.page(planned, "baths")
    sheet = next(one for one in data["baths"] if one["bath"] == "V1")
    assert "Danger, hydrated lime" in sheet["hazard"]
    assert "harms wool" in sheet["note"]


@pytest.mark.parametrize("fibre", ["cotton", "silk", "wool"])
def test_a_painted_mordant_is_a_paste_that_dries_and_is_dunged(fibre):
    steps = plan.printed_cloth("P", {"leaf": "aluminium acetate 5", "ground": "none"}, fibre=fibre)[
        "steps"
    ].set_index("kind")
    assert steps.loc["scour", "material"] == ("soda ash" if fibre == "cotton" else "neutral soap")
    assert steps.loc["mordant", ["temperature_C", "minutes"]].tolist() == [20, 0]
    assert "Let it dry" in steps.loc["mordant", "note"]
    assert "until nothing more comes off" in steps.loc["modifier", "note"]
    assert steps.loc["modifier", "order"] < steps.loc["dye", "order"]


def test_a_rinse_is_one_entry_a_fibre_and_round():
    planned = plan.series({"fibre": ["wool"], "dye": ["madder 50", "weld 50"], "iron": [0, 2]})
    rinses = planned.baths[planned.baths["kind"] == "rinse"]
    assert len(rinses) == 2
    assert "Each recipe by itself" in rinses["note"].iloc[0]


def test_baths_to_be_done_come_in_the_order_of_the_day(tmp_path):
    levels = {"fibre": ["wool"], "tannin": ["none", "gallnut"], "dye": ["madder"], "iron": [0, 2]}
    planned = plan.series(levels, name="In order", replicates=2)
    waiting = plan.open_baths(plan.add_series(book.create(tmp_path / "b"), planned))
    first = waiting["kind"].iloc[: list(waiting["kind"]).index("rinse") + 1]
    ranks = ["scour", "tannin", "mordant", "dye", "modifier", "rinse"]
    assert list(first) == sorted(first, key=ranks.index)
    assert {"tannin", "dye", "modifier"} < set(first)


def test_a_vat_takes_the_alkali_and_the_reducer_that_are_written():
    levels = {"fibre": ["wool"], "dye": ["indigo 10 + soda ash 20 + dithionite 15", "indigo 10"]}
    levels["dye"].append("weld 50 + chalk 5")
    found = plan.series(levels, name="Vats", controls=False, replicates=1)
    baths = found.baths.groupby("bath", sort=False)["material"].agg(list).tolist()
    assert ["indigo", "soda ash", "sodium dithionite"] in baths  # and no lime or fructose
    assert ["indigo", "hydrated lime", "fructose"] in baths
    assert ["weld", "chalk"] in baths
    assert plan.materials_of("dye", levels["dye"][0]) == ["indigo", "soda ash", "sodium dithionite"]
    assert [text for text in found.notes if "soda ash in a vat for wool: alkali harms" in text]
    assert not [text for text in found.notes if "above the usual 1 to 5" in text]


def test_what_heats_up_when_damp_is_never_taken_up_wet():
    levels = {"fibre": ["cotton"], "dye": ["indigo 10 + soda ash 20 + dithionite 15"]}
    _, sheet, _ = plan.page(plan.series(levels, name="Vat"), "baths")
    said = " ".join(sheet["cautions"])
    assert "sodium dithionite: heats up and can catch fire when damp" in said
    assert "dithionite: take it up dry" in said  # beside the rule to take powders up wet
    wait = plan.timetable(plan.series(levels, name="Vat"))[-1]["rows"][0]
    assert (wait["from"], wait["to"]) == ("09:00", "10:35")  # 30 to warm, 60 to reduce, 5 to dip


def test_the_first_page_shown_is_the_one_that_is_printed(tmp_path, monkeypatch):
    from dyelab.panel import plan as planning

    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    asked = []
    real = plan.page
    monkeypatch.setattr(plan, "page", lambda *a, **k: asked.append(k) or real(*a, **k))
    planning.panel().choices["children"].value = True
    assert asked[-1]["children"] is True
    assert len(asked[-1]["listed"]) > 50


def test_a_bath_sheet_says_how_to_measure_what_is_too_little_to_weigh():
    few = plan.series({"fibre": ["wool"], "dye": ["weld 50"], "iron": [0, 1]}, mass_g=5, name="X")
    baths = plan.page(few, "baths")[1]["baths"]
    told = [one["advice"] for one in baths if one["material"] == "ferrous sulfate"]
    assert all(
        "0.05 g: too little to weigh. Dissolve 1 g, make up to 100 mL, take 5.0" in t for t in told
    )
    assert told
    assert not any("too little" in one["advice"] for one in baths if one["material"] == "weld")
    assert recipe.how_to_measure("a salt of mine", 0.05) == ""


def test_a_bath_sheet_shows_small_baths_in_figures_that_can_be_measured():
    levels = {"fibre": ["wool"], "dye": ["weld 50"], "iron": [0.2]}
    small = plan.series(levels, mass_g=1.2, replicates=1, controls=False)
    baths = plan.page(small, "baths")[1]["baths"]
    iron = next(bath for bath in baths if bath["material"] == "ferrous sulfate")
    assert (iron["weigh"], iron["water"]) == ("0.0024", "48 mL")  # 0.2 % and 40 times 1.2 g
    large = plan.page(plan.series(levels, mass_g=100, replicates=1, controls=False), "baths")[1]
    dye = next(bath for bath in large["baths"] if bath["material"] == "weld")
    assert (dye["weigh"], dye["water"]) == ("50.00", "4.0 L")


def test_a_planned_bath_is_weighed_in_the_unit_of_its_steps(tmp_path):
    codes = ["A", "B", "C"]
    steps = pd.DataFrame({"swatch": codes, "order": 1, "kind": "mordant", "bath": "M1"})
    steps = steps.assign(material="potash alum", amount=[0.5, 1.0, 10.0], state="planned")
    steps = steps.assign(unit=["g", "g", "% WOF"])
    rows = pd.DataFrame({"swatch": codes, "mass_g": [5.0, 10.0, 4.0]})
    bk = book.add(book.create(tmp_path / "b"), swatches=rows, steps=steps)
    waiting = plan.open_baths(bk).iloc[0]
    assert waiting["weigh_g"] == pytest.approx(0.5 + 1.0 + 0.4)
    assert waiting["wof"] == pytest.approx(10.0)
    unknown = book.change(bk, swatches=rows.assign(mass_g=[5.0, 10.0, None]))
    assert plan.open_baths(unknown)[["weigh_g", "fibre_g"]].isna().all(axis=None)


def test_a_series_planned_again_under_its_name_has_pots_of_its_own(tmp_path):
    """Two plans called alike: their first dye baths are two pots, with a dye each."""
    bk = book.create(tmp_path / "b")
    for dye in ("madder", "weld"):
        rows = pd.DataFrame({"fibre": ["wool"], "dye": [dye], "dye_wof": [50.0]})
        bk = plan.add_series(bk, plan.of_recipes(rows, name="explored", keep=bk))
    waiting = plan.open_baths(bk)
    assert waiting.loc[waiting["kind"] == "dye", "material"].tolist() == ["madder", "weld"]
    assert (waiting["swatches"].str.count(",") == 0).all()
    other = plan.of_recipes(rows, name="explored")
    own = other.swatches.assign(swatch="Z-01"), other.steps.assign(swatch="Z-01")
    with pytest.raises(InputError, match=r"whose bath D1 is another pot. Plan again with keep"):
        plan.add_series(bk, replace(other, swatches=own[0], steps=own[1]))


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"replicates": 2.5}, "replicates = 2.5 is no whole number"),
        ({"most_in_bath": 0}, "most_in_bath = 0 is not above 0"),
        ({"seed": -1}, "seed = -1 is outside 0 to"),
        ({"pots": "mine"}, "no pot use 'mine' in a series. Pot uses: rounds, each, shared"),
        ({"dye": "madder 50"}, r"dye: give a list of levels, such as \['madder 50'\]"),
        ({"dye": ["xyzzy 5"]}, "materials are known, such as potash alum, "),
    ],
)
def test_what_a_series_cannot_be_is_said(given, said):
    factors = {"fibre": ["wool"], "dye": ["madder 50"]} | {n: given[n] for n in given if n == "dye"}
    with pytest.raises(InputError, match=said):
        plan.series(factors, **{n: value for n, value in given.items() if n != "dye"})
