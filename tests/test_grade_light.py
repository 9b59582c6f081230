"""Blue wool, change of tone, and which mordant holds better."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from benchmarks import fastness_truth, tone_stray
from worlds import synth
from worlds.synth import model

from dyelab import book, convert, grade, table
from dyelab.errors import InputError
from dyelab.grade import blue_wool
from dyelab.grade.tone import STRAY

DOSE = 3e6


def lit(swatch, change, fibre="wool", dose=DOSE, u=0.05, rng=None):
    """A grey read before and after light that lightens it by `change`."""
    noise = rng.normal(0, u, (2, 3)) if rng is not None else np.zeros((2, 3))
    rows = []
    for i, (exposure, lift) in enumerate((("none", 0), ("light", change))):
        lab = np.array([45.0 + lift, 10, -15]) + noise[i]
        rows.append(
            {
                "reading": f"{swatch}-{exposure}-{dose}",
                "swatch": swatch,
                "exposure": exposure,
                "amount": dose if i else 0.0,
                "unit": "lx h" if i else "",
                "fibre": fibre,
                **dict(zip(table.LAB, lab, strict=True)),
                "u_L": u,
                "u_a": u,
                "u_b": u,
                "illuminant": "D65",
                "observer": 10,
            }
        )
    return rows


def graded(*rows):
    return grade.grades(grade.pair(pd.DataFrame([row for part in rows for row in part])))


REFERENCES = {n: 20 / 2.5**n for n in range(1, 9)}


def references(**more):
    return [lit(f"BW{n}", d, "blue wool", **more) for n, d in REFERENCES.items()]


@pytest.mark.parametrize("number", [2, 3, 4])
def test_a_sample_that_changes_as_a_reference_does_is_like_it(number):
    told = grade.nearest_reference(graded(lit("S", REFERENCES[number]), *references())).iloc[0]
    assert told["reference"] == pytest.approx(number, abs=0.01)
    assert told["reference_low"] < number < told["reference_high"]
    assert told["said"].startswith(f"like reference {number} (")


def test_between_two_references_by_the_logarithm_of_the_change():
    middle = np.sqrt(REFERENCES[3] * REFERENCES[4])
    told = grade.nearest_reference(graded(lit("S", middle), *references())).iloc[0]
    assert told["reference"] == pytest.approx(3.5, abs=0.01)
    assert told["said"].startswith("between references 3 and 4 (3.5), from ")


def test_outside_the_references_is_said():
    told = grade.nearest_reference(graded(lit("S", 30.0), *references())).iloc[0]
    assert (told["edge"], told["said"]) == (
        "below",
        "changed more than reference 1, the lowest read",
    )
    some = [part for part in references() if part[0]["swatch"] in ("BW1", "BW2", "BW3")]
    told = grade.nearest_reference(graded(lit("S", 0.1), *some)).iloc[0]
    assert told["said"] == "changed less than reference 3, the highest read"


def test_too_little_change_is_no_answer():
    told = grade.nearest_reference(graded(lit("S", 0.05, u=0.2), *references(u=0.2))).iloc[0]
    assert told["said"].startswith("too little change yet to tell")


def test_what_noise_may_have_put_outside_the_references_isnt_said_to_lie_there():
    """A dose that changed next to nothing, and a sample just past the last reference."""
    rng, edges = np.random.default_rng(3), []
    for i in range(40):
        more = {"dose": 1e6 * 1.1**i, "u": 0.15, "rng": rng}
        early = [lit(f"E{i}", 0.1, **more)]
        early += [lit(f"e{i}-{n}", d / 60, "blue wool", **more) for n, d in REFERENCES.items()]
        edges.append(grade.nearest_reference(graded(*early)).iloc[0])
    assert any(one["edge"] for one in edges)
    assert all(one["said"].startswith("too little change yet to tell") for one in edges)
    some = references()[:4]
    just, far = (
        grade.nearest_reference(graded(lit("S", REFERENCES[4] * share), *some))["said"][0]
        for share in (0.97, 0.3)
    )
    assert just.startswith("like reference 4, the highest read, or above: from 3.")
    assert far == "changed less than reference 4, the highest read"


def test_the_interval_of_the_reference_covers():
    """Many tries at once, each at a dose of its own with references of its own."""
    rng = np.random.default_rng(8)
    numbers, parts = rng.uniform(2, 4.5, 60), []
    for i, number in enumerate(numbers):
        more = {"dose": 1e6 * 1.1**i, "u": 0.15, "rng": rng}
        parts.append(lit(f"S{i}", 20 / 2.5**number, **more))
        parts += [lit(f"t{i}-{n}", d, "blue wool", **more) for n, d in REFERENCES.items()]
    told = (
        grade.nearest_reference(graded(*parts))
        .set_index("swatch")
        .loc[[f"S{i}" for i in range(60)]]
    )
    inside = (told["reference_low"] <= numbers) & (numbers <= told["reference_high"])
    assert 0.88 <= inside.mean() <= 0.995  # about 95 %


def test_the_best_dose_is_the_one_nearest_to_grade_4():
    rows = [lit("S", change, dose=dose) for change, dose in ((0.4, 1e6), (1.8, 3e6), (6.0, 9e6))]
    more = [part for dose in (1e6, 3e6, 9e6) for part in references(dose=dose)]
    frame = pd.DataFrame([row for part in [*rows, *more] for row in part])
    told = grade.nearest_reference(grade.grades(grade.pair(frame.drop_duplicates("reading"))))
    assert list(told["best"]) == [False, True, False]


def test_missing_or_misnamed_references_are_refused():
    with pytest.raises(InputError, match=r"at least two are needed.*fibre blue wool"):
        grade.nearest_reference(graded(lit("S", 2.0)))
    with pytest.raises(InputError, match=r"must end in its number, 1 to 8"):
        grade.nearest_reference(graded(lit("S", 2.0), lit("old", 3.0, "blue wool")))
    with pytest.raises(InputError, match="Read both at the same doses"):
        grade.nearest_reference(graded(lit("S", 2.0), *references(dose=9e6)))


def test_dose_alone_by_the_table_of_cie_157():
    """CIE 157:2004, doses from memory."""
    for number, dose in enumerate(blue_wool.WITH_UV, start=1):
        assert grade.from_dose(dose) == (pytest.approx(number), "")
    assert grade.from_dose(1e3) == (1.0, "below")
    assert grade.from_dose(1e9, uv=False) == (pytest.approx(7.92, abs=0.01), "")
    with pytest.raises(InputError, match="Give a dose above 0"):
        grade.from_dose(0)


def test_the_table_steps_by_two_to_three_as_the_references_do():
    """Each reference takes two to three times the dose of the one before."""
    steps = np.diff(np.log(blue_wool.WITH_UV))
    assert 2 < np.exp(steps.mean()) < 3


def test_the_examples_samples_against_its_references():
    bk = book.open(synth.example())
    wide = book.wide(bk)
    some = wide[wide["swatch"].isin(["W01", "W02", "W17"]) | wide["fibre"].eq("blue wool")]
    told = grade.nearest_reference(grade.grades(grade.pair(some[some["exposure"].ne("wash")])))
    best = told[told["best"]].set_index("swatch")
    assert best["reference"].between(1, 8).all()
    assert best.at["W02", "reference"] == pytest.approx(3.4, abs=0.4)


RECIPES = pd.DataFrame(
    [
        {"swatch": f"{f}-{d}", "fibre": f, "dye": d, "dye_wof": w}
        for f in ("wool", "cotton")
        for d, w in (("madder", 50.0), ("weld", 50.0), ("cochineal", 8.0), ("onion skin", 30.0))
    ]
).assign(mordant="potash alum", mordant_wof=15.0)


def colours(amounts):
    """Noise-free CIELAB and spectra of amounts of dye on cloth."""
    spectra = model.seen(amounts)
    lab = convert.spectrum_to_lab(synth.WAVELENGTHS, spectra)
    names = [f"R{i}" for i in range(len(lab))]
    frame = pd.DataFrame(lab, columns=table.LAB).assign(
        illuminant="D65", observer=10, reading=names
    )
    bands = pd.DataFrame(spectra, columns=[f"{w:g}" for w in synth.WAVELENGTHS])
    return frame, bands.assign(reading=names)


@pytest.mark.parametrize("left", [0.8, 0.6, 0.4])
@pytest.mark.parametrize("with_spectra", [True, False])
def test_a_cloth_that_only_loses_dye_is_called_plain_fading(left, with_spectra):
    held = model.uptake(RECIPES)
    before, spectra = colours(held)
    after, _ = colours(replace(held, dye=held.dye * left))
    cloth = synth.reflectance(pd.DataFrame({"fibre": ["wool"]}))
    bare = convert.spectrum_to_lab(synth.WAVELENGTHS, cloth)[0]
    told = grade.tone(before, after, bare=bare, spectra=spectra if with_spectra else None)
    assert set(told["kind"]) <= {"plain fading", "no visible change"}
    assert told["colour_left"].to_numpy() == pytest.approx(np.full(8, left), abs=0.1)


@pytest.mark.parametrize("world", [tone_stray.ours, tone_stray.theirs])
@pytest.mark.parametrize(("kind", "known"), STRAY)
def test_the_doubt_holds_the_straying_whether_or_not_the_bare_cloth_is_known(world, kind, known):
    """Dye lost in two worlds; largest straying as tests/benchmarks/tone_stray.py prints it."""
    strayed = tone_stray.strays(*world(), kind == "spectrum", known)
    assert strayed.max() < STRAY[kind, known]


@pytest.mark.parametrize("with_spectra", [True, False])
def test_a_cloth_that_browns_is_a_change_of_tone(with_spectra):
    held = model.uptake(RECIPES[RECIPES["dye"] == "weld"])
    before, spectra = colours(held)
    after, _ = colours(replace(held, dye=held.dye * 0.6, brown=held.brown + 0.35))
    told = grade.tone(before, after, spectra=spectra if with_spectra else None)
    assert set(told["kind"]) == {"tone change"}
    assert all("redder" in way for way in told["turned"])


def test_more_dye_is_called_deepening():
    held = model.uptake(RECIPES[RECIPES["dye"] == "madder"])
    before, _ = colours(held)
    after, _ = colours(replace(held, dye=held.dye * 1.3))
    assert set(grade.tone(before, after)["kind"]) == {"deepening"}


def variants(changes, loads=2):
    """Each piece of a variant from a pot of its own, spread over wash loads or lamps."""
    rows = [lit(f"{name}{i}", c) for name, many in changes.items() for i, c in enumerate(many)]
    made = graded(*rows)
    number = made["swatch"].str[-1].astype(int)
    return made.assign(
        variant=made["swatch"].str[:-1],
        baths="dye=D" + made["swatch"].str[-1],
        test=[f"L{i % loads}" for i in number],
    )


REPEATED = {
    "alum": [4.0, 4.2, 3.9, 4.1],
    "iron": [1.5, 1.7, 1.6, 1.4],
    "none": [4.1, 3.8, 4.3, 4.0],
}


def test_the_mordant_that_holds_better_is_named_with_its_cost():
    told = grade.compare_fastness(variants(REPEATED), "alum").set_index("variant")
    assert told.at["iron", "holds"] == "better"
    assert told.at["iron", "less_change"] == pytest.approx(16.2 / 4 - 6.2 / 4)
    assert told.at["iron", "less_low"] < 2.5 < told.at["iron", "less_high"]
    assert (told.at["none", "verdict"], told.at["none", "holds"]) == ("chance", "")
    assert told.at["iron", "hue_dE00"] == 0
    assert told["basis"].unique() == ["replicate pots"]
    assert (told.at["iron", "pots"], told.at["iron", "loads"]) == (4, 2)


def test_one_pot_or_one_load_cannot_speak_for_a_recipe():
    single = grade.compare_fastness(variants({"alum": [4.0], "iron": [1.5]}), "alum").iloc[0]
    assert (single["basis"], single["pieces"]) == ("readings alone", 1)
    assert (single["verdict"], single["holds"]) == ("cannot_tell", "")
    one_load = grade.compare_fastness(variants(REPEATED, loads=1), "alum")
    assert set(one_load["verdict"]) == {"cannot_tell"}
    assert set(one_load["caveat"]) == {"one_load"}
    made = variants(REPEATED)
    one_pot = grade.compare_fastness(made.assign(baths="dye=D-" + made["variant"]), "alum")
    assert set(one_pot["caveat"]) == {"one_pot"}
    unsaid = grade.compare_fastness(variants(REPEATED).drop(columns="baths"), "alum")
    assert set(unsaid["caveat"]) == {"own_pots"}


@pytest.mark.parametrize("world", ["synth", "dyehouse"])
def test_pieces_of_one_pot_are_one_replicate(world):
    """Pieces counted one by one call 10 to 14 equal books in 100 better or worse, pots 1 to 4."""
    told = fastness_truth.judged(world, (2, 3, 2), 40, share=0.75, seed=1)
    assert told["false"] <= 0.05
    assert told["held"] >= 0.92


def test_loads_that_only_one_variant_had_leave_the_difference_to_the_readings():
    made = variants({"alum": [4.0, 4.2], "iron": [1.5, 1.7]}, loads=1)
    apart = made.assign(test=np.where(made["variant"].eq("iron"), "L2", made["test"]))
    told = grade.compare_fastness(apart, "alum").iloc[0]
    assert told["less_change"] == pytest.approx(2.5)
    assert told["caveat"] == "one_load"


def test_equal_grades_are_never_called_better_nor_is_a_pale_cloth():
    near = {"alum": [3.0, 3.02, 3.01, 2.99], "iron": [3.5, 3.52, 3.51, 3.49]}
    told = grade.compare_fastness(variants(near), "iron").iloc[0]
    assert (told["verdict"], told["grade"]) == ("real", told["reference_grade"])
    assert told["holds"] == ""
    pale = variants(REPEATED)
    pale = pale.assign(tone_left=np.where(pale["variant"].eq("iron"), 0.5, 0.8))
    told = grade.compare_fastness(pale, "alum").set_index("variant")
    assert told.at["iron", "holds"] == "had_less"


def test_loads_that_disagree_widen_the_interval():
    made = variants(REPEATED)
    shaken = made["difference"] + np.where(made["variant"].eq("iron") & made["test"].eq("L1"), 2, 0)
    wide = (
        grade.compare_fastness(made.assign(difference=shaken), "alum")
        .set_index("variant")
        .loc["iron"]
    )
    calm = grade.compare_fastness(made, "alum").set_index("variant").loc["iron"]
    assert wide["less_high"] - wide["less_low"] > 4 * (calm["less_high"] - calm["less_low"])


def test_without_replicates_or_uncertainty_nothing_can_be_told():
    made = variants({"alum": [4.0], "iron": [1.5]})
    told = grade.compare_fastness(
        made.assign(difference_low=np.nan, difference_high=np.nan), "alum"
    )
    assert told["verdict"].iloc[0] == "cannot_tell"


def test_the_difference_between_variants_covers():
    rng = np.random.default_rng(9)
    made = []
    for i in range(60):
        changes = {k: c + rng.normal(0, 0.4, 3) for k, c in (("alum", 4.0), ("iron", 2.0))}
        for name, many in changes.items():
            rows = [row for j, c in enumerate(many) for row in lit(f"{i}-{name}{j}", c)]
            made.append(pd.DataFrame(rows).assign(test=f"t{i}", variant=name))
    graded = grade.grades(grade.pair(pd.concat(made)))
    told = pd.concat([grade.compare_fastness(part, "alum") for _, part in graded.groupby("test")])
    inside = (told["less_low"] <= 2.0) & (told["less_high"] >= 2.0)
    assert 0.88 <= inside.mean() <= 0.995  # about 95 %


def test_no_recipe_holds_better_by_another_instrument_after_than_before():
    """What the two read differently of a cloth counts as its change, in every pot."""
    made = variants(REPEATED)
    assert grade.compare_fastness(made, "alum").set_index("variant").at["iron", "holds"] == "better"
    mixed = made.assign(flags=np.where(made["variant"] == "iron", "instrument_changed", ""))
    told = grade.compare_fastness(mixed, "alum").set_index("variant")
    assert (told.at["iron", "verdict"], told.at["iron", "caveat"]) == ("cannot_tell", "other_way")
    assert told.at["none", "caveat"] == ""


def photographed_test(rng, photo):
    """Two recipes that change as far, each its own way, in four pots, two loads and two photos."""
    error = {end: rng.normal(0, photo, 3) for end in ("none", "wash")}
    rows = []
    for recipe, start, way in (("alum", (55, 15, 40), (3.6, -1.2, -1.2)), ("iron", (45, 5, 10), 0)):
        start, way = np.array(start, float), np.array(way or (0.8, 1.2, 3.7))
        path = start + np.linspace(0, 3, 300)[:, None] * way
        there = path[np.argmax(grade.grey_scale_difference(start, path) > 4)] - start
        for pot, end in ((pot, end) for pot in range(4) for end in error):
            off = there * np.exp(rng.normal(0, 0.08)) if end == "wash" else 0.0
            lab = start + off + error[end] + rng.normal(0, 0.15, 3)
            washed = {"amount": 5.0, "unit": "cycle", "test": f"load {pot % 2}"}
            told = washed if end == "wash" else {"amount": 0.0, "unit": "", "test": ""}
            named = {"swatch": f"{recipe}{pot}", "reading": f"{recipe}{pot}{end}"}
            said = {"variant": recipe, "exposure": end, "baths": f"dye={recipe}{pot}"}
            rows.append({**named, **said, **told, **dict(zip(table.LAB, lab, strict=True))})
    wide = pd.DataFrame(rows).assign(illuminant="D65", observer=10, method="photo", series="A")
    wide = wide.assign(**dict.fromkeys(["u_L", "u_a", "u_b"], np.hypot(photo, 0.15)))
    shared = wide[["reading"]].assign(source=wide["exposure"], scope="photo")
    shared = pd.concat([shared.assign(factor=i, L=0.0, a=0.0, b=0.0) for i in range(3)])
    shared[table.LAB] = photo * np.eye(3)[shared["factor"]]
    return wide, shared


def test_what_one_photo_shares_makes_no_recipe_hold_better():
    """Its error is in every pot alike, so that no scatter shows it; the two changed as far."""
    rng, found = np.random.default_rng(2), []
    for _ in range(25):
        wide, shared = photographed_test(rng, 0.8)
        graded = grade.grades(grade.pair(wide), shared=shared)
        found.append(grade.compare_fastness(graded, "alum", shared=shared).iloc[0])
    told = pd.DataFrame(found)
    assert told["holds"].ne("").sum() <= 2
    held = told["less_low"].le(0.1) & told["less_high"].ge(-0.1)
    assert held.sum() >= 22


def test_a_reference_without_company_is_refused():
    with pytest.raises(InputError, match="Test at least two variants by the same amount"):
        grade.compare_fastness(variants({"alum": [4.0]}), "alum")
    with pytest.raises(InputError, match="Did you mean 'alum'"):
        grade.compare_fastness(variants({"alum": [4.0]}), "alun")
