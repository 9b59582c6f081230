"""The explorer on the example book, without a browser."""

import shutil

import ipywidgets as widgets
import numpy as np
import pytest
from panels import EXAMPLE, choose
from PIL import Image

from dyelab import book, convert
from dyelab.panel import book_choice, explore, remember


@pytest.fixture(scope="module")
def panel():
    return explore.panel(EXAMPLE)


def madder(panel, **doses):
    dye = {"fibre": "wool", "dye": "madder", "tannin": "none", "mordant": "potash alum"}
    return choose(panel, task="recipe", **dye, **{"iron_wof": 0.0, "copper_wof": 0.0, **doses})


def test_it_opens_with_a_colour_and_how_good_it_is(panel):
    assert "expect L*" in panel.sentence
    told, model = panel.shown.notes[0], panel.ready.model
    assert f"each of {len(model.made)} recipes was predicted as if it had never been dyed" in told
    assert f"Of the {len(model.left_out)} swatches" in told
    assert len(model.made) < len(model.left_out)


def test_a_remembered_choice_that_has_gone_is_passed_over(panel):
    remember.keep_choices(EXAMPLE, panel.name, {"fibre": "nettle", "task": "find"})
    again = explore.panel(EXAMPLE)
    assert again.choices["fibre"].value != "nettle"
    assert again.choices["task"].value == "find"
    assert "stumbled" not in again.answer.value


def test_more_iron_darkens_and_the_chip_agrees_with_the_sentence(panel):
    lightness = []
    for dose in (0.0, 1.5, 3.0):
        said = madder(panel, iron_wof=dose)
        chip = panel.shown.chips[0][0]
        assert f"L* {chip.lab[0]:.1f}" in said
        lightness.append(chip.lab[0])
    assert lightness == sorted(lightness, reverse=True)


def test_two_lights_and_a_patch_of_plausible_colours(panel):
    madder(panel, iron_wof=1.5)
    here, lamp, _tube, _led = panel.shown.chips[0]
    assert (here.illuminant, lamp.illuminant) == ("D65", "A")
    (patch,) = [t for t in panel.shown.plotly_figure.data if t.type == "heatmap"]
    assert len({fill for _, fill in patch.colorscale}) > 5


def test_other_lights_are_a_question_only_beside_a_like_colour_of_another_dye(panel):
    madder(panel)  # no other dye comes near its red
    assert not any("by another dye" in note for note in panel.shown.notes)
    choose(panel, task="find", wanted="45, 8, 10")
    said = next(note for note in panel.shown.notes if "by another dye" in note)
    assert "undyed" not in said
    assert " to " in said  # how sure each difference is


def test_beyond_what_was_dyed_is_called_a_guess(panel):
    top = panel.choices["iron_wof"].max
    assert "A guess beyond what was dyed: iron" in madder(panel, iron_wof=top)


def test_find_lists_recipes_with_their_chances_and_a_weigh_out(panel):
    assert "Write the colour you want" in choose(panel, task="find", wanted="")
    said = choose(panel, wanted="45, 25, 15", fibre="wool")
    assert "chance" in said
    assert panel.shown.table["chance"].between(0, 100).all()
    assert "100 g of dry fibre" in panel.shown.notes[0]
    assert "isn't a colour I can read" in choose(panel, wanted="mauve")
    assert choose(panel, wanted="#00a0ff").startswith("Out of reach")


@pytest.mark.slow
def test_a_spot_in_a_photo_becomes_the_wanted_colour(panel):
    """The example's photo is rendered: window A1 holds W01, whose colour the book knows."""
    first = choose(panel, task="spot", across=36.0, down=20.0)
    assert "±" in first
    spot = panel.shown.table[["L", "a", "b"]].to_numpy(float)[0]
    known = book.wide(book.open(EXAMPLE))
    swatch = known[(known["swatch"] == "W01") & (known["exposure"] == "none")]
    assert convert.dE00(spot, swatch[["L", "a", "b"]].to_numpy(float)[0]) < 3
    height, width = panel.ready.kept["scene"].photo.pixels.shape[:2]
    panel.canvas.pointed(0.358 * width, 0.304 * height)  # window B1
    assert panel.sentence != first
    assert (panel.values["across"], panel.values["down"]) == (35.8, 30.4)
    path = f"M{0.35 * width},{0.19 * height}L{0.37 * width},{0.21 * height}Z"
    panel.canvas.moved({"shapes[0].path": path})
    assert panel.sentence == first
    panel.tell(panel.aim)
    assert panel.values["task"] == "find"
    assert "chance" in panel.sentence
    assert any("its own uncertainty" in note for note in panel.shown.notes)
    choose(panel, wanted="45, 25, 15")
    assert not any("its own uncertainty" in note for note in panel.shown.notes)


@pytest.mark.slow
def test_a_spot_can_rest_on_the_cards_white_paper_alone(panel):
    """The same spot with and without the target: the same colour, several times less sure."""
    choose(panel, task="spot", across=36.0, down=20.0, target="average")
    by_target = panel.shown.table.iloc[0]
    said = choose(panel, target="white")
    by_paper = panel.shown.table.iloc[0]
    assert "no_target" not in said
    assert any("rests on the card's white paper" in note for note in panel.shown.notes)
    columns = ["u_L", "u_a", "u_b"]
    unsure = [np.linalg.norm(row[columns].to_numpy(float)) for row in (by_target, by_paper)]
    assert unsure[1] > 2 * unsure[0]
    lab = [row[["L", "a", "b"]].to_numpy(float) for row in (by_target, by_paper)]
    assert np.linalg.norm(lab[1] - lab[0]) < 2.8 * unsure[1]
    panel.tell(panel.aim)
    assert "chance" in panel.sentence
    choose(panel, task="spot", target="average")


def test_without_target_and_card_a_photo_is_refused(panel, tmp_path):
    """A picture of one colour."""
    Image.new("RGB", (1200, 900), (150, 120, 90)).save(tmp_path / "grey.png")
    said = choose(panel, task="spot", target="white", photo=str(tmp_path / "grey.png"))
    assert "grey.png" in said
    assert "card" in said
    choose(panel, target="average", photo=str(book_choice.example_photo()))


def test_sliders_in_percent_show_it_behind_their_number(panel):
    sliders = [w for w in panel.choices.values() if isinstance(w, widgets.FloatSlider)]
    sliders.remove(panel.choices["dips"])
    assert len(sliders) == 9
    assert all("dl-percent" in w.get_state()["_dom_classes"] for w in sliders)


def test_a_photo_that_is_not_there_is_said_in_words(panel):
    assert "nowhere.jpg" in choose(panel, task="spot", photo="nowhere.jpg")
    panel.tell(panel.aim)
    assert "point at the spot" in panel.told.value


def test_the_next_swatches_lower_the_uncertainty(panel):
    said = choose(panel, task="next", wanted="", many=3)
    assert "3 swatches" in said
    assert len(panel.shown.table) == 3
    panel.tell(panel.take_first)
    assert panel.choices["task"].value == "recipe"
    assert panel.shown.table is not None


def test_the_reach_tells_what_the_metals_add(panel):
    said = choose(panel, task="reach")
    assert "Iron adds" in said
    assert not any("True" in line for line in panel.shown.care)
    assert {
        trace.line.dash for trace in panel.shown.plotly_figure.data if trace.mode == "lines"
    } == {
        "solid",
        "dash",
        "dot",
        "dashdot",
    }


def test_the_example_is_not_planned_into_but_a_copy_is(panel, tmp_path):
    madder(panel, iron_wof=1.5)
    panel.tell(panel.into)
    assert "stays as it is" in panel.told.value
    copy = shutil.copytree(EXAMPLE, tmp_path / "yard")
    own = explore.panel(copy)
    before = len(book.open(copy).swatches)
    madder(own, iron_wof=1.5)
    own.tell(own.into)
    assert "Planned 1 swatch" in own.told.value
    after = book.open(copy)
    assert len(after.swatches) == before + 1
    steps = after.steps[after.steps["swatch"] == after.swatches["swatch"].iloc[-1]]
    assert {"madder", "potash alum", "ferrous sulfate"} <= set(steps["material"])
    assert (steps["state"] == "planned").all()


def test_only_buttons_that_can_do_something_are_shown(panel, tmp_path):
    seen = {}
    for task in ("recipe", "next", "reach"):
        choose(panel, task=task)
        seen[task] = {
            n.partition(".")[2] for n, b in panel.actions.items() if b.layout.display != "none"
        }
    assert seen == {"recipe": {"put"}, "next": {"take", "put"}, "reach": set()}
    nothing = explore.panel(book.save(book.create(tmp_path / "new", "A new book")))
    assert "no readings of swatches as dyed" in nothing.answer.value
    assert all(b.layout.display == "none" for b in nothing.actions.values())
