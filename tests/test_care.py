"""Hazards, usual doses and whose word decides, for every material wherever it can stand."""

import html

import numpy as np
import pandas as pd
import pytest
from panels import choose

from dyelab import book, plan, recipe, shift, words
from dyelab.handout import colours
from dyelab.handout.sheets import cards, mordants
from dyelab.panel import browse, explore, metals, own_materials, record, weigh
from dyelab.panel import plan as planning
from dyelab.recipe.cautions import statements

LISTED = recipe.materials()
NAMES = list(LISTED["material"])
ROLE = dict(zip(NAMES, LISTED["role"], strict=True))
PLANNED = [name for name in NAMES if ROLE[name] not in ("assist", "scour")]


pytestmark = pytest.mark.usefixtures("desk")


def lacks(texts, name, listed=LISTED):
    """What of a material's hazards, dose and defer line isn't among these texts."""
    row = listed[listed["material"] == name].iloc[0]
    known, _ = statements(row["hazards"])
    mine = " | ".join(text for text in texts if name in text).lower()
    wanted = [words.say(f"hazards.{code}").lower() for code in known]
    wanted += [f"usual dose {row['low_wof']:g} to {row['high_wof']:g} %"]
    found = [text for text in wanted if text not in mine]
    return found + [text for text in [words.say("recipe.sheet")] if text not in texts]


def usual(name):
    low, high, _ = recipe.usual_range(name)
    return (low + high) / 2


def steps_of(code, name):
    """A whole recipe that holds the material in its place."""
    late = ROLE[name] == "mordant" and recipe.find(name)["metal"] != "Al"
    kind = "modifier" if late else ROLE[name]
    done = {"scour": "neutral soap", "mordant": "potash alum", "dye": "madder"}
    if kind == "tannin":
        done = {"scour": "neutral soap", "tannin": name, "mordant": "potash alum", "dye": "madder"}
    elif kind == "assist":
        done = {"mordant": "potash alum", "assist": name, "dye": "madder"}
    else:
        done = {**done, kind: name}
    return [
        {"swatch": code, "order": n, "kind": k, "material": m, "amount": usual(m), "unit": "% WOF"}
        for n, (k, m) in enumerate(done.items(), 1)
    ]


@pytest.fixture(scope="module")
def dyed(tmp_path_factory):
    """One book that holds every material there is, each in a recipe, read once."""
    codes = {name: f"K-{n:02}" for n, name in enumerate(NAMES)}
    lab = np.random.default_rng(5).uniform([20, 0, 0], [80, 40, 40], (len(NAMES), 3))
    readings = pd.DataFrame(lab, columns=["L", "a", "b"]).assign(
        reading=[f"R{code}" for code in codes.values()],
        swatch=list(codes.values()), exposure="none", method="typed",
        illuminant="D65", observer=10,
    )  # fmt: skip
    made = book.add(
        book.create(tmp_path_factory.mktemp("care") / "b", "Every jar"),
        swatches=pd.DataFrame({"swatch": list(codes.values()), "fibre": "wool", "mass_g": 5.0}),
        steps=pd.DataFrame([step for n, c in codes.items() for step in steps_of(c, n)]),
        readings=readings,
    )
    return book.save(made), codes


@pytest.fixture(scope="module")
def source(dyed):
    return colours.source(dyed[0])


def page_texts(page):
    found = [block.texts for block in page.blocks if type(block).__name__ == "Caution"]
    return [text for texts in found for text in texts]


def test_recipe_cards_say_it_of_every_material(dyed, source):
    for name, code in dyed[1].items():
        assert lacks(page_texts(cards.card(source, swatch=code)), name) == [], name


def test_mordant_sheets_say_it_of_every_dye_and_all_that_was_put_with_it(dyed, source):
    dyes = [name for name in NAMES if ROLE[name] == "dye"]
    sheets = {dye: page_texts(mordants.sheet(source, fibre="wool", dye=dye)) for dye in dyes}
    for name in NAMES:
        texts = sheets[name if ROLE[name] == "dye" else "madder"]
        if ROLE[name] != "vat":
            assert lacks(texts, name) == [], name


def test_the_swatch_looked_up_says_it(dyed):
    bk, codes = dyed
    for name, code in codes.items():
        assert lacks(browse.cautions(bk, code), name) == [], name
    panel = browse.panel(bk)
    panel.choices["swatch"].value = codes["indigo"]
    assert panel.shown.care == browse.cautions(bk, codes["indigo"])


def test_the_metals_panel_says_it_of_the_recipe_it_shows(dyed):
    bk, codes = dyed
    panel = metals.panel(bk)
    bench = panel.ready
    for name, code in codes.items():
        row = bench.made[bench.made["swatch"].str.contains(code)].iloc[0]
        dose = shift.doses_of(**{m: row[f"{m}_wof"] for m in recipe.metals.columns()})
        one = bench.family(row["plain"])
        if row["dye"] != "none" and dose in one.dyed:
            assert lacks(metals.answer(bench, one, dose).care, name) == [], name
    panel.choices["dye"].value = "weld"
    assert lacks(panel.shown.care, "weld") == []


def test_the_bath_panel_says_it_of_what_is_weighed():
    panel = weigh.panel()
    for name in NAMES:
        panel.choices["material"].value = name
        assert lacks(panel.shown.care, name) == [], name


@pytest.fixture(scope="module")
def planned():
    """Every material that a series can hold, each in one recipe."""
    rows = []
    for name in PLANNED:
        factor = {"vat": "dye"}.get(ROLE[name], ROLE[name])
        plain = {"mordant": "potash alum", "mordant_wof": 15.0, "dye": "madder", "dye_wof": 50.0}
        if ROLE[name] == "vat":
            plain = {}
        rows.append({"fibre": "wool", **plain, factor: name, f"{factor}_wof": usual(name)})
    for name in NAMES:
        if ROLE[name] == "assist":
            level = f"potash alum + {name} {usual(name):g}"
            rows.append({"fibre": "wool", "mordant": level, "mordant_wof": 15.0})
    blank = {"tannin": "none", "mordant": "none", "dye": "none", "modifier": "none"}
    return plan.of_recipes(pd.DataFrame(rows).fillna(blank).fillna(0.0), name="All")


def test_bath_sheets_say_it_beside_the_bath(planned):
    _, data, _ = plan.page(planned, "baths")
    defer = words.say("recipe.sheet")
    assert defer in data["cautions"]
    for bath in data["baths"]:
        for name in filter(None, [bath["material"], *(one[1] for one in bath["more"])]):
            assert lacks([bath["hazard"], bath["advice"], defer], name) == [], name
    there = set(planned.baths["material"])
    assert [name for name in NAMES if name not in there and ROLE[name] != "scour"] == []


def test_the_record_panel_says_it_of_the_bath_that_is_ticked(planned, tmp_path):
    bk = book.save(plan.add_series(book.create(tmp_path / "b"), planned))
    panel = record.panel(bk)
    baths = bk.steps.drop_duplicates("material")
    for name, bath in zip(baths["material"], baths["bath"], strict=True):
        if name:
            panel.choices["bath"].value = ("All", bath)
            assert lacks(panel.shown.care, name) == [], name


def test_the_planner_says_it_as_text_for_all_that_is_ticked():
    panel = planning.panel()
    choose(panel, controls=False, replicates=1)
    for factor in ("tannin", "mordant", "dye", "modifier"):
        roles = ("dye", "vat") if factor == "dye" else (factor,)
        every = [name for name in NAMES if ROLE[name] in roles]
        panel.choices[factor].value = tuple(every)
        for name in every:
            assert lacks(panel.shown.care, name) == [], name
        panel.choices[factor].value = ("none",)


def test_the_explorer_says_it_of_the_recipe_on_its_sliders(dyed):
    panel = explore.panel(dyed[0])
    for name in NAMES:
        factor = ROLE[name]
        if factor in ("dye", "tannin", "mordant") and name in panel.choices[factor].options:
            kept = panel.choices[factor].value
            panel.choices[factor].value = name
            assert lacks(panel.shown.care, name) == [], name
            panel.choices[factor].value = kept
    for metal in ("iron", "copper"):
        panel.choices[f"{metal}_wof"].value = 1.0
        assert lacks(panel.shown.care, recipe.metals.salts()[metal]) == [], metal


def test_cautions_stand_under_a_heading_of_their_own():
    panel = weigh.panel()
    assert "<h3>Take care</h3>" in html.unescape(panel.below.value)


# Ten materials that the list doesn't know, with sheets of their own: invented, or general.
FOREIGN = {
    "alder bark": ("dye", "", 20, 60, "", ""),
    "birch leaf": ("dye", "", 50, 120, "", "Young leaves give the clearest yellow."),
    "walled-garden woad": ("vat", "", 10, 30, "", ""),
    "hedge oak gall": ("tannin", "", 5, 12, "none", ""),
    "rust-pot iron liquor": ("mordant", "Fe", 2, 10, "H315 H319", "Strength varies: dip a test."),
    "alumina lactate syrup": ("mordant", "Al", 8, 16, "none", ""),
    "green coin liquor": ("mordant", "Cu", 1, 5, "H302 H319 H410 P273", ""),
    "clubmoss": ("mordant", "Al", 50, 150, "H315", "May be protected where you live."),
    "wood-ash lye": ("modifier", "", 2, 10, "H314", ""),
    "rhubarb leaf": ("assist", "", 20, 40, "H302", "Poisonous to eat: pots apart."),
}


def test_ten_foreign_materials_go_from_their_panel_to_the_bath_sheet(tmp_path):
    bk = book.save(book.create(tmp_path / "mine", "Mine"))
    panel = own_materials.panel(bk.path)
    for name, (role, metal, low, high, hazards, note) in FOREIGN.items():
        values = {"name": name, "role": role, "low": low, "high": high}
        sheet = {"more": True, "metal": metal, "hazards": hazards, "note": note}
        for key, value in (values | sheet).items():
            panel.choices[key].value = value
        panel.actions["own_materials.put"].click()
        assert f"{name} is in Mine" in html.unescape(panel.told.value)
    bk = book.open(bk.path)
    listed = book.materials(bk)
    planner = planning.panel(bk.path)
    for factor in ("tannin", "mordant", "dye", "modifier"):
        roles = ("dye", "vat") if factor == "dye" else (factor,)
        own = [name for name, (role, *_) in FOREIGN.items() if role in roles]
        planner.choices[factor].value = tuple(own)
    planner.choices["more"].value = "clubmoss 60 + rhubarb leaf 20"
    planner.choices["controls"].value, planner.choices["replicates"].value = False, 1
    series = planning.planned_series(bk, **planner.values)
    assert set(FOREIGN) <= set(series.baths["material"])
    _, data, _ = plan.page(series, "baths", listed=listed)
    defer = words.say("recipe.sheet")
    for bath in data["baths"]:
        names = [bath["material"], *(one[1] for one in bath["more"])]
        for name in FOREIGN.keys() & set(names):
            texts = [bath["hazard"], bath["advice"], *data["cautions"]]
            assert lacks(texts, name, listed) == [], name
            assert lacks(planner.shown.care, name, listed) == [], name
            assert FOREIGN[name][5] in bath["advice"]
    assert defer in data["cautions"]
    planner.choices["more"].value = "rhubarb leaf 20"
    assert "behind what it helps" in planner.sentence
