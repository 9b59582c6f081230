"""Cloth dyed twice: each dye's own dose and dips, their order, and how unsure the sum is."""

import html

import numpy as np
import pandas as pd
import pytest
from panels import choose
from worlds import overdyes

from dyelab import book, plan, predict, table
from dyelab.errors import InputError
from dyelab.panel import explore
from dyelab.panel.explore import offered

SEED = 11


def cloths(n, twice, rng):
    once = overdyes.recipes(rng, n - twice, overdyes.WORLDS["dyehouse"][1])
    more = overdyes.recipes(rng, 30 * (twice + 40), overdyes.WORLDS["dyehouse"][1], 0.9)
    more = more[more["over"] != "none"].reset_index(drop=True)
    return pd.concat([once, more.head(twice)], ignore_index=True), more.tail(40)


@pytest.fixture(scope="module")
def learned():
    """A model of 30 cloths dyed once and 8 twice, the latter, and 40 new ones dyed twice."""
    rng = np.random.default_rng(SEED)
    made, new = cloths(38, 8, rng)
    wide = overdyes.wide(made, overdyes.of_dyehouse(made, SEED, 0.08, rng))
    return predict.fit(wide), made.tail(8), new.reset_index(drop=True)


def lab(said):
    return said[table.LAB].to_numpy(float)


def ask(model, dye, dose, **more):
    row = {"fibre": "wool", "mordant": "potash alum", "mordant_wof": 15.0, **more}
    return model.colour(pd.DataFrame([{**row, "dye": dye, "dye_wof": dose}]))


def test_every_dye_has_its_own_dose_and_dips(learned):
    model = learned[0]
    base = lab(ask(model, "weld + indigo 4", 50.0))
    deeper = lab(ask(model, "weld + indigo 4 x3", 50.0))
    yellower = lab(ask(model, "weld + indigo 4", 75.0))
    assert deeper[0, 2] < base[0, 2] - 2  # bluer
    assert yellower[0, 2] > base[0, 2] + 0.5
    once, thrice = (lab(ask(model, dye, 4.0, mordant="none")) for dye in ("indigo", "indigo x3"))
    assert thrice[0, 0] < once[0, 0] - 2


def test_swatches_of_several_dyes_are_found_again_and_left_out(learned):
    model, twice, _ = learned
    assert len(model.left_out) == 38
    assert list(model.made["dye"].tail(8).str.contains(" + ", regex=False)) == [True] * 8
    said = model.colour(overdyes.asked(twice))
    near = np.linalg.norm(lab(said) - overdyes.of_dyehouse(twice, SEED), axis=1)
    left = model.left_out.tail(8)
    assert np.median(near) < np.median(left["dE00"])
    assert (said["extrapolates"] == "").sum() >= 6
    for row in said.itertuples():
        assert len(row.leans_on.split(", ")) >= 2


def test_the_order_counts_where_the_book_knows_one(learned):
    model = learned[0]
    said = [ask(model, *dyes) for dyes in (("weld + madder 50", 50.0), ("madder + weld 50", 50.0))]
    spread = [np.trace(table.covariances(one)[0]) for one in said]
    known = {tuple(row) for row in learned[1][["dye", "over"]].to_numpy()}
    assert ("weld", "madder") in known or ("madder", "weld") in known
    assert spread[0] != pytest.approx(spread[1])
    assert "never dyed over one another" in "".join(one["extrapolates"].iloc[0] for one in said)


def test_a_sum_never_tried_is_less_sure_than_its_dyes(learned):
    model = learned[0]
    alone = [ask(model, "madder", 50.0), ask(model, "logwood", 20.0)]
    both = ask(model, "madder + logwood 20", 50.0)
    widest = max(np.trace(table.covariances(one)[0]) for one in alone)
    assert np.trace(table.covariances(both)[0]) > widest


@pytest.mark.slow
def test_regions_of_new_overdyes_hold_in_both_worlds():
    """Three books each; tests/benchmarks/predict_overdyes.py does more."""
    for law, dyes in overdyes.WORLDS.values():
        held = []
        for seed in (21, 22, 23):
            rng = np.random.default_rng(seed)
            once = overdyes.recipes(rng, 40, dyes)
            new = overdyes.recipes(rng, 60, dyes, 1.0)
            new = new[new["over"] != "none"].reset_index(drop=True)
            model = predict.fit(overdyes.wide(once, law(once, seed, 0.08, rng)))
            said = model.colour(overdyes.asked(new))
            off = law(new, seed, 0.08, rng) - lab(said)
            far = np.einsum("ni,nij,nj->n", off, np.linalg.inv(table.covariances(said)), off)
            held.append((far <= 6.2514).mean())
        assert 0.8 < np.mean(held) <= 1.0


def test_searching_offers_overdyes_and_leaves_out_what_is_not_there(learned):
    model = learned[0]
    reached = predict.reach(model, size=20_000)
    several = np.flatnonzero([" + " in dye for dye in reached.column("dye")])
    some = several[:: len(several) // 6]
    assert lab(model.colour(reached.recipes(some))) == pytest.approx(reached.lab[some], abs=1e-6)
    wanted = lab(ask(model, "indigo + weld 50", 4.0))[0]
    found = predict.find(model, wanted, within=reached)
    assert any(" + " in dye for dye in found.ranked["dye"])
    over = found.ranked[found.ranked["dye"].str.contains(" + ", regex=False)].iloc[0]
    sheet = predict.weigh_out(over, 100.0)
    assert len(sheet[sheet["step"] == "dye"]) == 2
    none = predict.find(model, wanted, without=["indigo"])
    assert not none.ranked["dye"].str.contains("indigo").any()


def test_dyes_known_only_over_one_another_are_learned_so():
    rng = np.random.default_rng(3)
    made = overdyes.recipes(rng, 30, ["weld"]).assign(over="indigo")
    made["over_wof"], made["dips"] = rng.choice([2.0, 4.0], 30), rng.choice([1, 2, 3], 30)
    model = predict.fit(overdyes.wide(made, overdyes.of_dyehouse(made, 3, 0.05, rng)))
    assert {"dye", "over"} <= {step.name for step in model.steps}
    pale, deep = (lab(ask(model, f"weld + indigo 2{dips}", 50.0)) for dips in ("", " x3"))
    assert deep[0, 0] < pale[0, 0]
    for unknown in ("indigo", "indigo + weld 50"):
        with pytest.raises(InputError, match="no swatch in this book has the dye 'indigo"):
            ask(model, unknown, 2.0)


def typed(folder, recipes, colours):
    """A book of these recipes with a colour typed for each."""
    bk = book.create(folder)
    bk = plan.add_series(bk, plan.of_recipes(recipes, name="A"))
    codes = list(bk.swatches["swatch"])
    frame = pd.DataFrame(colours, columns=table.LAB).assign(reading=codes, swatch=codes)
    told = {"exposure": "none", "method": "typed", "illuminant": "D65", "observer": 10}
    return book.save(book.add(bk, readings=frame.assign(**told)))


@pytest.mark.usefixtures("desk")
def test_the_explorer_has_a_slider_for_each_dye(tmp_path):
    rng = np.random.default_rng(5)
    made, _ = cloths(20, 4, rng)
    colours = rng.normal([50, 0, 10], [12, 9, 15], (20, 3))
    panel = explore.panel(typed(tmp_path / "b", overdyes.asked(made), colours))
    for name, value in {"dye": "weld", "over": "indigo", "dips": 3}.items():
        panel.choices[name].value = value
    panel.choices["dye_wof"].value, panel.choices["over_wof"].value = 40.0, 3.0
    said = panel.sentence
    assert "weld 40 %, then indigo 3 % in 3 dips" in said
    assert all(panel.choices[n].layout.display == "" for n in ("dye_wof", "over_wof", "dips"))
    panel.choices["over_wof"].value = 1.5
    assert panel.sentence != said
    panel.choices["over"].value = "none"
    assert panel.choices["over_wof"].layout.display == "none"


def test_a_recipe_with_two_dyes_is_laid_out_on_the_sliders():
    row = {"fibre": "wool", "tannin": "none", "tannin_wof": 0.0, "mordant": "potash alum"}
    row |= {"mordant_wof": 15.0, "dye": "weld + indigo 5 x3", "dye_wof": 50.0, "iron_wof": 1.0}
    laid = offered.slider_values(row)
    assert (laid["dye"], laid["dye_wof"]) == ("weld", 50.0)
    assert (laid["over"], laid["over_wof"], laid["dips"]) == ("indigo", 5.0, 3)


@pytest.mark.usefixtures("desk")
def test_a_book_that_teaches_little_opens_on_what_it_holds(tmp_path):
    """A printed cloth of three areas: no model, but no refusal either."""
    areas = {"leaf": "aluminium acetate 5", "stem": "aluminium acetate 5 + ferrous acetate 2"}
    areas["flower"] = "ferrous acetate 2"
    bk = book.save(book.add(book.create(tmp_path / "p"), **plan.printed_cloth("P-1", areas)))
    frame = pd.DataFrame(
        {"swatch": "P-1", "area": list(areas), "L": [50.0, 40, 35], "a": 20, "b": 15}
    )
    told = {"exposure": "none", "method": "typed", "illuminant": "D65", "observer": 10}
    bk = book.save(book.add(bk, readings=frame.assign(reading=list(areas), **told)))
    panel = explore.panel(bk)
    assert "3 recipes measured so far" in html.unescape(panel.sentence)
    assert "dl-notice" not in panel.answer.value
    assert panel.shown.table["recipe"].str.contains("madder").all()
    assert panel.actions["exploring.put"].layout.display == "none"  # it would put plain swatches


@pytest.mark.usefixtures("desk")
def test_any_metal_of_the_table_can_be_asked_about(tmp_path):
    """Tin and titanium, which no other book here holds."""
    rng = np.random.default_rng(6)
    made = overdyes.recipes(rng, 18, ["madder", "weld"])
    other = made.assign(iron_wof=0.0, tin_wof=np.tile([0, 1.0, 2.0], 6), titanium_wof=0.0)
    other.loc[::4, "titanium_wof"] = 3.0
    colours = rng.normal([50, 5, 20], [10, 9, 12], (18, 3))
    bk = typed(tmp_path / "b", overdyes.asked(other), colours)
    panel = explore.panel(bk)
    assert {"tin_wof", "titanium_wof", "most_tin"} <= set(panel.choices)
    assert "iron_wof" not in panel.choices
    panel.choices["tin_wof"].value = 1.5
    assert "tin 1.5 %" in panel.sentence
    assert any("stannous chloride" in said for said in panel.shown.care)
    panel.choices["task"].value = "reach"
    assert "Tin adds" in html.unescape(panel.sentence)
    choose(panel, task="next", most_tin=0)
    assert not panel.shown.table["recipe"].str.contains("tin ").any()
