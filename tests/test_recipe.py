"""Recipes: each sum worked by hand, chemistry against an independent library, trade custom."""

import molmass
import pandas as pd
import pytest

from dyelab import recipe, words
from dyelab.errors import InputError
from dyelab.recipe.cautions import DANGER, statements

# Molar masses in g/mol and metal in per cent by mass, computed from the IUPAC abridged standard
# atomic weights; printed to two and three decimals.
SALTS = {
    "potash alum": (474.37, 5.688),
    "ammonium alum": (453.31, 5.952),
    "aluminium sulfate 14-hydrate": (594.34, 9.079),
    "aluminium sulfate 16-hydrate": (630.37, 8.561),
    "aluminium sulfate 18-hydrate": (666.40, 8.098),
    "aluminium acetate": (204.11, 13.219),
    "basic aluminium acetate": (162.08, 16.647),
    "ferrous sulfate": (278.01, 20.088),
    "copper sulfate": (249.68, 25.451),
    "stannous chloride": (225.64, 52.610),
    "titanium potassium oxalate": (354.13, 13.517),
}


@pytest.mark.parametrize("name", SALTS)
def test_salts_have_their_molar_mass_and_metal(name):
    row = recipe.find(name)
    assert row["molar_mass"] == pytest.approx(SALTS[name][0], abs=0.0051)
    assert row["metal_percent"] == pytest.approx(SALTS[name][1], abs=0.0011)


def test_every_listed_formula_agrees_with_an_independent_library():
    listed = recipe.materials()
    held = listed[listed["formula"] != ""]
    assert len(held) > 18
    # The library takes longer weights: sulfur's abridged 32.06 differs by 1.7 in 10,000.
    for _, row in held.iterrows():
        other = molmass.Formula(row["formula"].replace("·", "."))
        assert row["molar_mass"] == pytest.approx(other.mass, rel=7e-5), row["material"]
        if row["metal"]:
            share = 100 * other.composition()[row["metal"]].fraction
            assert row["metal_percent"] == pytest.approx(share, rel=1e-4), row["material"]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("Al2(SO4", "open bracket"),
        ("SO4)2", r"'\)'"),
        ("Xx2", "'Xx'"),
        ("", "nothing"),
        ("Al+", r"'\+'"),
    ],
)
def test_a_formula_that_can_not_be_read_says_where(text, found):
    with pytest.raises(InputError, match=found):
        recipe.molar_mass(text)


# Worked by hand -------------------------------------------------------------------------------


def test_weighing_out_and_back():
    # 15 % WOF on 240 g of dry wool: 15 x 240 / 100 = 36 g.
    assert recipe.grams(15, 240) == pytest.approx(36.0)
    # 33 g really weighed: 33 / 240 = 13.75 %.
    assert recipe.wof(33, 240) == pytest.approx(13.75)


def test_water_at_a_liquor_ratio():
    # 240 g at 1 : 30 is 0.240 kg x 30 L/kg = 7.2 L.
    assert recipe.water_L(240, 30) == pytest.approx(7.2)
    # 3 g/L at 1 : 30: 3 x 30 = 90 g for each kg of fibre = 9 % WOF.
    assert recipe.bath_wof(3, 30) == pytest.approx(9.0)


def test_stock_solutions():
    # 2 % WOF iron on a 5 g swatch is 0.1 g; a 1 % stock holds 1 g in 100 mL: 10 mL.
    assert recipe.stock_ml(recipe.grams(2, 5), 1) == pytest.approx(10.0)
    # 500 mL of 2 g/L from a 20 g/L stock: 50 mL of stock, 450 mL of water.
    assert recipe.diluted_ml(500, 2, 20) == pytest.approx((50.0, 450.0))
    with pytest.raises(InputError, match=r"can't be diluted.*stronger stock"):
        recipe.diluted_ml(500, 30, 20)


def test_cloth_area_to_mass():
    # Twelve pieces of 10 cm x 15 cm at 120 g/m²: 12 x 0.015 m² x 120 = 21.6 g.
    assert recipe.cloth_g(10, 15, 120, pieces=12) == pytest.approx(21.6)


def test_metal_exchange():
    # 15 % potash alum brings 15 x 5.688 / 100 = 0.8532 % Al; as acetate of 13.219 % Al that is
    # 0.8532 / 0.13219 = 6.454 %.
    assert recipe.metal_wof("alum", 15) == pytest.approx(0.8532, abs=1e-4)
    dose, caution = recipe.exchange(15, "potash alum", "aluminium acetate")
    assert dose == pytest.approx(6.454, abs=1e-3)
    assert "not equal result" in caution
    with pytest.raises(InputError, match=r"different metals"):
        recipe.exchange(15, "alum", "iron")


@pytest.mark.parametrize("call", [lambda: recipe.grams(5, 0), lambda: recipe.grams(-1, 5)])
def test_sums_refuse_what_can_not_be(call):
    with pytest.raises(InputError, match=r"Weigh the dry fibre|Write how much"):
        call()


# The list -------------------------------------------------------------------------------------


def test_materials_are_found_by_any_name():
    assert recipe.find("Iron")["material"] == "ferrous sulfate"
    assert recipe.find("copper sulphate")["material"] == "copper sulfate"
    with pytest.raises(InputError, match=r"Did you mean 'madder'"):
        recipe.find("maddar")


def test_users_add_their_own_materials():
    own = pd.DataFrame(
        {
            "material": ["rust liquor", "aluminium acetate"],
            "role": "mordant",
            "metal": ["Fe", "Al"],
            "metal_percent": [0.8, 11.5],
        }
    )
    listed = recipe.materials(own)
    # 10 % WOF of a liquor of 0.8 % iron brings 0.08 % Fe.
    assert recipe.metal_wof("rust liquor", 10, listed) == pytest.approx(0.08)
    assert recipe.find("aluminium acetate", listed)["metal_percent"] == 11.5
    assert (listed["material"] == "aluminium acetate").sum() == 1


@pytest.mark.parametrize("name", ["potassium dichromate", "Chrome mordant", "lead acetate"])
def test_unsafe_materials_are_not_offered(name):
    with pytest.raises(InputError, match=r"not offered.*alum"):
        recipe.materials(pd.DataFrame({"material": [name], "role": "mordant"}))
    with pytest.raises(InputError, match=r"not offered"):
        recipe.refuse(pd.DataFrame({"material": [name]}))


def test_a_formula_with_a_poison_is_not_offered_under_any_name():
    own = pd.DataFrame({"material": ["red salt"], "role": ["mordant"], "formula": ["K2Cr2O7"]})
    with pytest.raises(InputError, match=r"chromium"):
        recipe.materials(own)


# Order and sense: common practice of the trade -------------------------------------------------

COLUMNS = ["order", "kind", "material", "amount", "unit"]
SCOUR = (1, "scour", "neutral soap", 2, "% WOF")
TANNIN = (2, "tannin", "gallnut", 8, "% WOF")
ALUM = (3, "mordant", "potash alum", 15, "% WOF")
MADDER = (4, "dye", "madder", 50, "% WOF")
IRON = (5, "modifier", "ferrous sulfate", 2, "% WOF")


def advice(steps, fibre="cotton", **columns):
    frame = pd.DataFrame(steps, columns=COLUMNS).assign(swatch="K-01", **columns)
    found = recipe.advise(frame, pd.DataFrame({"swatch": ["K-01"], "fibre": [fibre]}))
    return " | ".join(found["advice"])


def test_a_usual_recipe_draws_no_advice():
    assert advice([SCOUR, TANNIN, ALUM, MADDER, IRON]) == ""
    assert advice([SCOUR, ALUM, MADDER, IRON], "wool") == ""


@pytest.mark.parametrize(
    ("steps", "fibre", "said"),
    [
        ([TANNIN, ALUM, MADDER], "cotton", "no scour is noted"),
        ([TANNIN, (3, "scour", "neutral soap", 2, "% WOF")], "cotton", "scour first"),
        ([SCOUR, ALUM, MADDER], "linen", "potash alum on linen without a tannin"),
        ([SCOUR, ALUM, (4, *TANNIN[1:]), (5, *MADDER[1:])], "cotton", "tannin comes after"),
        ([SCOUR, ALUM, (4, "vat", "indigo", 5, "g/L")], "wool", "needs no mordant"),
        ([SCOUR, MADDER], "wool", "madder without a mordant"),
        ([SCOUR, (2, *IRON[1:]), MADDER], "wool", "iron before the dye on wool"),
        ([SCOUR, ALUM, MADDER, (5, *IRON[1:3], 8, "% WOF")], "wool", "8 % iron salt on wool"),
        (
            [SCOUR, TANNIN, (3, *ALUM[1:3], 40, "% WOF"), MADDER],
            "cotton",
            "above the usual 12 to 20",
        ),
        ([SCOUR, TANNIN, (3, *ALUM[1:3], 4, "% WOF"), MADDER], "cotton", "below the usual"),
        ([SCOUR, (2, "tannin", "pomegranate", 15, "% WOF")], "cotton", "yellow of its own"),
        ([SCOUR, ALUM, (3, "mordant", "chalk", 2, "% WOF"), MADDER], "wool", "white mud"),
        (
            [SCOUR, (2, "mordant", "tartar", 6, "% WOF"), (2, *IRON[1:]), MADDER],
            "wool",
            "don't put them in one pot",
        ),
        ([(1, "scour", "soda ash", 2, "% WOF"), ALUM, MADDER], "wool", "soda ash on wool"),
        ([SCOUR, ALUM, (4, "dye", "dragon root", 2, "% WOF")], "wool", "not in the materials list"),
        ([SCOUR, (2, "mordant", "potassium dichromate", 2, "% WOF")], "wool", "too dangerous"),
    ],
)
def test_the_custom_of_the_trade_is_known(steps, fibre, said):
    assert said.lower() in advice(steps, fibre).lower()


def test_printing_asks_for_acetate_and_a_fixing_bath():
    area = {"area": ["whole", "leaf", "whole"]}
    assert "thickened acetate" in advice([SCOUR, ALUM, MADDER], **area)
    acetate = (3, "mordant", "aluminium acetate", 5, "% WOF")
    assert "nothing fixes it" in advice([SCOUR, acetate, MADDER], **area)
    bran = (4, "modifier", "wheat bran", 20, "% WOF")
    steps = [SCOUR, acetate, bran, (5, *MADDER[1:])]
    assert advice(steps, area=["whole", "leaf", "whole", "whole"]) == ""


def test_heat_and_shared_or_used_baths():
    hot = {"temperature_C": [40, 90, 95]}
    assert "madder at 95 °C turns brown" in advice([SCOUR, ALUM, MADDER], "wool", **hot)
    assert "hot for silk" in advice([SCOUR, ALUM, MADDER], "silk", **hot)
    used = {"bath": ["", "", "D1"], "bath_use": [1, 1, 3]}
    assert "used 2 times before" in advice([SCOUR, ALUM, MADDER], "wool", **used)
    swatches = pd.DataFrame({"swatch": ["A", "B"], "fibre": "wool"})
    for metal, salt in (("iron", IRON[2]), ("copper", "copper sulfate")):
        rows = [ALUM, (*IRON[:2], salt, *IRON[3:])]
        steps = pd.DataFrame(rows, columns=COLUMNS).assign(swatch=["A", "B"], bath="B7")
        said = " ".join(recipe.advise(steps, swatches)["advice"])
        assert f"{metal} a bath and a pot of its own" in said


# Cautions --------------------------------------------------------------------------------------


def test_cautions_name_hazards_and_what_to_do():
    said = " ".join(recipe.cautions(["copper sulfate", "madder"], children=True))
    expected = [
        "Danger",
        "serious eye damage",
        "aquatic life",
        "Gloves",
        "dust mask",
        "not for drains",
    ]
    expected += ["Children in class", "safety data sheet", "never for food"]
    assert [text for text in expected if text.lower() not in said.lower()] == []
    assert "Children" not in " ".join(recipe.cautions(["weld"]))


def test_every_hazard_in_the_list_has_its_words():
    for name in recipe.materials()["material"]:
        assert recipe.cautions([name])


@pytest.mark.parametrize(
    ("text", "known", "unknown"),
    [
        ("H302 H318", ["H302", "H318"], []),
        ("H302, H318", ["H302", "H318"], []),
        ("H251; H290;H301 and H332", ["H251", "H290", "H301", "H332"], []),
        ("EUH031", ["EUH031"], []),
        ("euh 031, h302+h312", ["EUH031", "H302", "H312"], []),
        ("H360FD H360fd H350i", ["H360FD", "H350i"], []),
        ("H314A H999 harmful", ["H314"], ["H999", "harmful"]),
        ("H302 H318 P280 P305+P351+P338", ["H302", "H318"], []),
        ("none", [], []),
        ("", [], []),
    ],
)
def test_hazard_statements_are_read_however_they_are_written(text, known, unknown):
    """The codes: UN GHS Rev.9, annex 3; CLP, annexes II and III."""
    assert statements(text) == (known, unknown)


def test_all_statements_of_the_ghs_are_known():
    """Codes by number as in UN GHS Rev.9, annex 3, tables A3.1.1 to A3.1.3 (from memory)."""
    physical = [*range(200, 212), *range(220, 233), 240, 241, 242, 250, 251, 252, 260, 261]
    physical += [270, 271, 272, *range(280, 285), 290]
    health = [*range(300, 306), *range(310, 321), *range(330, 337), 340, 341, 350, 351, 360, 361]
    health += [362, *range(370, 374)]
    environment = [400, 401, 402, *range(410, 414), 420]
    for number in [*physical, *health, *environment]:
        assert words.has_text(f"hazards.H{number}"), number
    assert all(words.has_text(f"hazards.{code}") for code in DANGER)


def test_an_unknown_statement_is_said_and_is_a_fault():
    own = pd.DataFrame([{"material": "new salt", "role": "mordant", "hazards": "H251 H999"}])
    listed = recipe.materials(own)
    said = recipe.cautions(["new salt"], listed)
    assert said[0] == "Danger, new salt: self-heating; may catch fire."
    assert "Unknown hazard statement H999" in said[1]
    assert "H251 H999" in recipe.hazard_faults(listed)[0]["text"]


def test_what_is_not_for_children():
    listed = recipe.materials()
    names = ["potash alum", "madder", "copper sulfate", "iron", "indigo", "stannous chloride", "?"]
    out = recipe.not_for_children(names, listed)
    assert out == ["copper sulfate", "iron", "indigo", "stannous chloride", "?"]
    assert "Not with children in the room: tin" in " ".join(
        recipe.cautions(["tin"], listed, children=True)
    )


def test_every_shipped_material_has_a_usual_range_and_a_most():
    listed = recipe.materials()
    for name in listed["material"]:
        low, high, most = recipe.usual_range(name, listed)
        assert 0 <= low < high < most, name
    own = recipe.materials(pd.DataFrame([{"material": "my dye", "role": "dye"}]))
    with pytest.raises(InputError, match=r"my dye has no usual range.*Write its dose"):
        recipe.usual_range("my dye", own)


@pytest.mark.parametrize(
    ("name", "formula", "mass", "percent"),
    [
        ("dibasic aluminium acetate", "Al(OH)2(C2H3O2)", 120.04, 22.48),
        ("aluminium triformate", "Al(CHO2)3", 162.03, 16.65),
    ],
)
def test_aluminium_salts_that_share_a_name_are_told_apart(name, formula, mass, percent):
    """Molar masses and aluminium from the IUPAC abridged weights (computed)."""
    row = recipe.find(name)
    assert row["formula"] == formula
    assert row["molar_mass"] == pytest.approx(mass, abs=0.01)
    assert row["metal_percent"] == pytest.approx(percent, abs=0.01)
    with pytest.raises(InputError, match=r"sold for several salts.*Read the bag"):
        recipe.find("AA")


@pytest.mark.parametrize("name", ["cobalt chloride", "nickel sulfate", "barium sulfide", "lead"])
def test_poisons_are_refused_by_name_with_their_own_reason(name):
    with pytest.raises(InputError, match=r"not offered") as told:
        recipe.refuse_unsafe(name)
    assert "chromium" not in str(told.value)


def test_a_hazard_that_nobody_stated_is_asked_about():
    own = pd.DataFrame([{"material": "new helper", "role": "assist"}])
    listed = recipe.materials(own)
    assert (
        "No hazard statement is listed for new helper" in recipe.hazards(["new helper"], listed)[0]
    )
    assert recipe.hazards(["chalk"]) == ()
    for name in ("dithionite", "thiourea dioxide", "lye", "acetic acid"):
        assert recipe.hazards([name])[0].startswith("Danger"), name
    assert recipe.notes(["ammonia"]) == (
        "ammonia: usual dose 1 to 10 % of the weight of fibre. Never near bleach: "
        "poisonous gas. Its fumes burn eyes and airways.",
    )
    assert any("poison centre" in text for text in recipe.before_you_begin())
    (with_children,) = set(recipe.before_you_begin(True)) - set(recipe.before_you_begin())
    assert "No iron, copper" in with_children
    assert with_children in recipe.care(["potash alum"], children=True)


def test_an_unknown_material_is_refused_in_a_line_with_the_way_to_enter_it():
    with pytest.raises(InputError) as refused:
        recipe.find("alder bark")
    assert "My materials" in str(refused.value)
    assert len(str(refused.value)) < 220
