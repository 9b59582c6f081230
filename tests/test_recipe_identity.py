"""No two recipes that differ in any dose, order, ground or area are ever taken for replicates."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dyelab import book, shift
from dyelab.recipe import sequence

READING = ["reading", "swatch", "exposure", "method", "illuminant", "observer", "L", "a", "b"]
STEP = ["swatch", "order", "kind", "material", "amount", "unit", "area", "dips", "bath_use"]
MATERIALS = {
    "scour": ["neutral soap"],
    "tannin": ["gallnut", "sumac"],
    "mordant": ["potash alum", "ferrous sulfate", "aluminium acetate"],
    "assist": ["cream of tartar"],
    "dye": ["weld", "madder"],
    "vat": ["indigo"],
    "modifier": ["ferrous sulfate", "ferrous acetate", "copper sulfate", "chalk"],
}
DOSES = (0.5, 2.0, 2.1, 15.0)

step = st.sampled_from(sorted(MATERIALS)).flatmap(
    lambda kind: st.tuples(
        st.just(kind),
        st.sampled_from(MATERIALS[kind]),
        st.sampled_from(DOSES),
        st.sampled_from(["whole", "leaf", "stem"]),
        st.integers(1, 3) if kind == "vat" else st.just(1),
        st.sampled_from([1, 1, 2]),
    )
)
cloth = st.tuples(
    st.sampled_from(["wool", "Wool", "cotton"]), st.sampled_from(["", "plain weave"]),
    st.lists(step, max_size=5), st.sampled_from(["", "", "sky"]),
)  # fmt: skip
books = st.lists(cloth, min_size=2, max_size=6)


def made(folder, cloths):
    """A book of these cloths, each read once a named area, or once as a whole."""
    swatches, steps, readings = [], [], []
    for i, (fibre, ground, done, bare) in enumerate(cloths):
        code = f"N-{i}"
        swatches.append((code, fibre, ground, bare))
        steps += [(code, n, k, m, d, "% WOF", a, x, u) for n, (k, m, d, a, x, u) in enumerate(done, 1)]  # fmt: skip  # noqa: E501
        areas = sorted({bare, *(one[3] for one in done)} - {"whole", ""}) or ["whole"]
        readings += [(f"{code}-{a}", code, a) for a in areas]
    bk = book.create(folder)
    frame = pd.DataFrame(readings, columns=["reading", "swatch", "area"])
    return book.add(
        bk,
        swatches=pd.DataFrame(swatches, columns=["swatch", "fibre", "ground", "bare_areas"]),
        steps=pd.DataFrame(steps, columns=STEP),
        readings=frame.assign(exposure="none", method="typed", illuminant="D65", observer=10,
                              L=50.0, a=1.0, b=2.0),
    )  # fmt: skip


def told_apart(cloths, code, area):
    """What makes a piece what it is, worked out from the cloths as they were drawn."""
    fibre, ground, done, _ = cloths[int(code.removeprefix("N-"))]
    mine = [one for one in done if one[3] in ("whole", area)]
    pots, dipped = [], []
    for kind, material, dose, where, dips, use in mine:  # an assist has no order within its bath
        if kind == "assist" and pots:
            pots[-1][1].append((material, dose, where != "whole", use))
        else:
            pots.append(((kind, material, dose, where != "whole", use, dips), []))
    for (*what, dips), helped in pots:  # three dips are three dips, in one row or in three
        one = (tuple(what), tuple(sorted(helped)))
        if dipped and one[0][0] == "vat" and dipped[-1][:2] == one and not helped:
            dipped[-1] = (*one, dipped[-1][2] + dips)
        else:
            dipped.append((*one, dips))
    return fibre.lower(), ground, area, tuple(dipped)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(books)
def test_only_equal_recipes_are_replicates(tmp_path_factory, cloths):
    bk = made(tmp_path_factory.mktemp("b") / "b", cloths)
    rows = shift.as_dyed(book.wide(bk)).rows
    apart = [told_apart(cloths, s, a) for s, a in zip(rows["swatch"], rows["area"], strict=True)]
    for i, one in enumerate(apart):
        for j, other in enumerate(apart[:i]):
            together = rows["variant"].iloc[i] == rows["variant"].iloc[j]
            assert together == (one == other), (one, other)


@pytest.mark.parametrize(
    "change",
    [
        {"amount": [8.0, 15.0, 50.0, 2.5]},  # a dose
        {"material": ["gallnut", "potash alum", "madder", "ferrous sulfate"]},
        {"order": [1, 2, 4, 3]},  # iron before the dye
        {"area": ["whole", "whole", "whole", "leaf"]},
        {"bath_use": [1, 1, 2, 1]},  # a bath used before
    ],
)
def test_one_difference_is_enough(tmp_path, change):
    steps = pd.DataFrame(
        [("tannin", "gallnut", 8.0), ("mordant", "alum", 15.0), ("dye", "weld", 50.0),
         ("modifier", "iron", 2.0)], columns=["kind", "material", "amount"],
    ).assign(order=[1, 2, 3, 4], unit="% WOF", area="whole", bath_use=1)  # fmt: skip
    both = [steps.assign(swatch="A"), steps.assign(**change).assign(swatch="B")]
    bk = book.add(
        book.create(tmp_path / "b"),
        swatches=pd.DataFrame({"swatch": ["A", "B", "C"], "fibre": ["Cotton", "cotton", "cotton"]}),
        steps=pd.concat([*both, steps.assign(swatch="C")]),
    )
    found = book.recipes(bk).set_index("swatch")
    assert found.loc["A", "recipe"] == found.loc["C", "recipe"]
    assert found.loc["A", "fibre"] == found.loc["C", "fibre"] == "cotton"
    assert found.loc["A", "recipe"] != found.loc["B", "recipe"]


def test_what_is_put_on_an_area_is_no_replicate_of_what_was_on_all_of_the_cloth(tmp_path):
    whole = [("mordant", "potash alum", 15.0, "whole", 1, 1), ("dye", "weld", 2.0, "leaf", 1, 1)]
    printed = [("mordant", "potash alum", 15.0, "leaf", 1, 1), whole[1]]
    cloths = [("wool", "", whole, ""), ("wool", "", printed, "")]
    rows = shift.as_dyed(book.wide(made(tmp_path / "b", cloths))).rows
    assert rows["variant"].nunique() == 2


def overdyed(folder, *, iron=(0.0, 2.0)):
    """Weld under three dips of indigo, without iron and with iron early and late."""
    rows = []
    for code, dose, early in (("A", iron[0], False), ("B", iron[1], False), ("C", iron[1], True)):
        done = [("mordant", "alum", 15.0, 1), ("assist", "tartar", 6.0, 1), ("dye", "weld", 50, 1)]
        done += [("vat", "indigo", None, 3)]
        metal = [("modifier", "iron", dose, 1)] if dose else []
        done = [*done[:2], *metal, *done[2:]] if early else [*done, *metal]
        rows += [(code, n, k, m, d, "% WOF" if d else "", x) for n, (k, m, d, x) in enumerate(done, 1)]  # fmt: skip  # noqa: E501
    steps = pd.DataFrame(rows, columns=["swatch", "order", "kind", "material", "amount", "unit", "dips"])  # fmt: skip  # noqa: E501
    readings = pd.DataFrame(
        [(f"R{c}{n}", c, "none", "typed", "D65", 10, level + n / 9, 1.0, 2.0)
         for c, level in (("A", 60.0), ("B", 40.0), ("C", 30.0)) for n in (0, 1)], columns=READING,
    )  # fmt: skip
    swatches = pd.DataFrame({"swatch": ["A", "B", "C"], "fibre": "wool"})
    return book.add(book.create(folder), swatches=swatches, steps=steps, readings=readings)


def test_each_dye_keeps_its_own_dose_and_its_dips(tmp_path):
    bk = overdyed(tmp_path / "b")
    code = book.recipes(bk).set_index("swatch").loc["B", "recipe"]
    assert [(s.material, s.dips) for s in sequence.dyes(code)] == [("weld", 1), ("indigo", 3)]
    assert sequence.dyes(code)[0].amount == 50
    assert np.isnan(sequence.dyes(code)[1].amount)
    assert sequence.in_words(code) == (
        "potash alum 15 % with cream of tartar 6 %, weld 50 %, indigo in 3 dips, "
        "ferrous sulfate 2 %"
    )


def test_a_step_at_nothing_is_no_step(tmp_path):
    """A control whose iron was written down as 0 % is a replicate of one without that line."""
    bk = overdyed(tmp_path / "b")
    at = bk.steps.groupby("swatch")["order"].max()
    none = {"kind": "modifier", "material": "ferrous sulfate", "unit": "% WOF", "bath": "X0"}
    rows = [{"swatch": "A", "order": at["A"] + 1, "amount": 0.0} | none]
    rows += [{"swatch": "A", "order": at["A"] + 2, "amount": 0.0} | none | {"kind": "tannin"}]
    told = book.add(bk, steps=pd.DataFrame(rows))
    recipes = [book.recipes(one).set_index("swatch").loc["A"] for one in (bk, told)]
    pd.testing.assert_series_equal(*recipes)
    baths = book.wide(told).set_index("swatch").loc["A", "baths"]
    assert set(baths) == {baths.iloc[0]}
    assert baths.iloc[0].endswith("modifier=X0 tannin=X0")
    bare = pd.DataFrame([{"swatch": "Z", "order": 1, "amount": 0.0} | none])
    alone = book.add(told, swatches=pd.DataFrame({"swatch": ["Z"], "fibre": "wool"}), steps=bare)
    assert book.recipes(alone).set_index("swatch").loc["Z", "recipe"] == ""


def test_iron_early_and_late_are_two_recipes_of_one_pair_each(tmp_path):
    pairs = shift.of_step(book.wide(overdyed(tmp_path / "b")), "iron").pairs
    said = (
        "weld 50 %, then indigo in 3 dips on wool, potash alum 15 % with cream of tartar 6 %, iron"
    )
    assert pairs["recipe"].str.startswith(said).all()
    assert sorted(pairs["dL"].round(3)) == [-30.0, -20.0]


def test_tartar_is_a_step_that_can_vary(tmp_path):
    bk = overdyed(tmp_path / "b", iron=(0.0, 0.0))
    steps = bk.steps[~((bk.steps["swatch"] == "A") & (bk.steps["kind"] == "assist"))]
    from dataclasses import replace

    found = shift.of_step(book.wide(replace(bk, steps=steps)), "assist").pairs
    assert found["level"].tolist() == ["cream of tartar 6 %"]


def test_a_line_of_code_reads_back():
    code = 'mordant[Al] "potash alum" 15 % WOF @leaf > vat "indigo" 2.5 g/L x3 use2'
    first, second = sequence.steps(code)
    assert first == ("mordant", "Al", "potash alum", 15.0, "% WOF", 1, 1, "leaf")
    assert second == ("vat", "", "indigo", 2.5, "g/L", 3, 2, "whole")


def test_two_salts_of_one_metal_are_two_recipes_with_a_pair_each(tmp_path):
    bk = overdyed(tmp_path / "b")
    other = bk.steps[bk.steps["swatch"] == "C"].assign(swatch="D")
    other = other.assign(material=other["material"].replace("iron", "ferrous acetate"))
    late = bk.steps[bk.steps["swatch"] == "B"].assign(swatch="E")
    late = late.assign(material=late["material"].replace("iron", "ferrous acetate"))
    readings = bk.readings.drop_duplicates("swatch").tail(2)
    readings = readings.assign(reading=["RD", "RE"], swatch=["D", "E"], L=[20.0, 25.0])
    swatches = pd.DataFrame({"swatch": ["D", "E"], "fibre": "wool"})
    steps = pd.concat([other, late])
    pairs = shift.of_step(
        book.wide(book.add(bk, swatches=swatches, steps=steps, readings=readings)), "iron"
    ).pairs
    assert sorted(pairs["dL"].round(0)) == [-40.0, -35.0, -30.0, -20.0]
    assert pairs["recipe"].nunique() == 4
    assert pairs["recipe"].str.contains("ferrous acetate").sum() == 2
