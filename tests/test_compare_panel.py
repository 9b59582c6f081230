"""The compare panel, the tannin's share and their figures, without a browser."""

from dataclasses import replace

import nasty
import numpy as np
import pandas as pd
import pytest
from panels import choose

from dyelab import book, shift, synth
from dyelab.panel import compare as comparing
from dyelab.panel import tannin_share
from dyelab.plot import shift as drawn
from dyelab.plot import static


@pytest.fixture(scope="module")
def yard():
    return book.open(synth.example())


@pytest.fixture(scope="module")
def recipes(yard):
    return shift.as_dyed(book.wide(yard))


def test_pick_what_varies_hold_and_read(yard):
    panel = comparing.panel(yard)
    assert "12 recipes" in panel.sentence  # one dye: the one most recipes are of
    assert list(panel.shown.table)[:3] == ["recipe", "verdict", "moved"]
    panel.choices["dye"].value = comparing.ALL
    assert "40 recipes" in panel.sentence
    choose(panel, dye="weld", fibre="wool")
    assert len(panel.shown.table) == 6
    assert panel.shown.table["dE00"].is_monotonic_decreasing
    assert any("6 comparisons at once" in note for note in panel.shown.notes)
    assert panel.shown.numbers["saddening"].min() > 5
    assert any("On average over these 6" in note for note in panel.shown.notes)
    panel.choices["formula"].value = "dE76"
    assert "ΔE*ab" in panel.sentence
    assert "dE76_low" in panel.shown.table


def test_one_pair_is_told_in_full(yard):
    panel = comparing.panel(yard)
    for name, value in (("dye", "walnut hull"), ("fibre", "wool"), ("what", "mordant")):
        panel.choices[name].value = value
    assert panel.sentence.startswith(
        "walnut hull 60 % on wool, potash alum 15 % against walnut hull 60 % on wool"
    )
    assert "95 % interval" in panel.sentence
    assert panel.choices["mordant"].disabled


def test_the_way_of_reading_is_offered_and_said(yard):
    """Some cloths photographed too, 5 lighter than the instrument read them."""
    fresh = yard.readings[yard.readings["exposure"] == "none"].head(40)
    again = fresh.assign(reading=fresh["reading"] + "-p", method="photo", L=fresh["L"] + 5)
    both = replace(yard, readings=pd.concat([yard.readings, again], ignore_index=True))
    alone, panel = comparing.panel(yard), comparing.panel(both)
    for shown in (alone, panel):
        shown.choices["dye"].value = comparing.ALL
    assert not any("read in several ways" in note for note in alone.shown.notes)
    assert any("spectrophotometer 40" in note for note in panel.shown.notes)
    numbers = [shown.shown.numbers["dL"].to_numpy() for shown in (panel, alone)]
    assert numbers[0] == pytest.approx(numbers[1])
    panel.choices["method"].value = "photo"
    assert any("photo" in note and "never averaged" in note for note in panel.shown.notes)
    assert len(panel.shown.table) < 40


@pytest.mark.parametrize("picture", ["vectors", "multiples", "dose", "spectra", "family"])
def test_every_picture_is_drawn_on_screen_and_paper(yard, picture):
    panel = comparing.panel(yard)
    choose(panel, dye="weld", picture=picture)
    assert panel.shown.figure is not None
    assert "<svg" in static.svg(panel.shown.figure)


def test_weaker_or_duller_is_said_with_the_spectra(yard):
    panel = comparing.panel(yard)
    panel.choices["picture"].value = "spectra"
    assert "Brought to equal depth" in panel.sentence


@pytest.mark.parametrize(
    ("choices", "said"),
    [
        ({"dye": comparing.ALL, "picture": "family"}, "Choose one under"),
        ({"what": "mordant", "picture": "dose"}, "dose of one metal: here iron, copper."),
        ({"what": "tannin", "dye": "cochineal"}, "Dye one swatch of a recipe"),
    ],
)
def test_what_cant_be_shown_is_said_with_a_next_step(yard, choices, said):
    panel = comparing.panel(yard)
    for name, value in choices.items():
        panel.choices[name].value = value
    assert said in panel.answer.value


def test_a_book_without_readings_says_what_to_do(tmp_path):
    empty = book.save(book.create(tmp_path / "new"))
    assert "no readings of swatches as dyed yet" in comparing.panel(empty).answer.value
    assert "no readings of swatches as dyed yet" in tannin_share.panel(empty).answer.value


def test_the_share_opens_on_the_tannin_with_most_colour(yard):
    panel = tannin_share.panel(yard)
    assert panel.values["tannin"] == "pomegranate rind"
    assert "the tannin's" in panel.sentence
    assert [len(pair) for pair in panel.shown.chips] == [2, 2, 2]
    panel.choices["by_spectra"].value = False
    assert "difference of CIELAB differences" in panel.sentence
    assert panel.shown.figure is not None


def test_a_missing_control_is_named_in_the_panel(yard):
    panel = tannin_share.panel(yard)
    choose(panel, fibre="wool", dose=4.0)
    assert "controls are missing" in panel.sentence
    assert any("iron 4 %" in note for note in panel.shown.notes)


def test_marks_differ_by_shape_and_say_what_a_screen_cant_show(recipes):
    found = shift.of_step(recipes, "iron", hold={"dye": "weld"})
    figure = drawn.vectors(found.pairs, recipes.made)
    named = [trace for trace in figure.data if trace.name and trace.xaxis in (None, "x")]
    shapes = [trace.marker.symbol[0].removesuffix("-x").removesuffix("-open") for trace in named]
    assert len(set(shapes)) == len(shapes)
    vivid = recipes.made.assign(L=60.0, a=-120.0, b=90.0)
    figure = drawn.family(vivid.head(3), labels=["wool", "wool, iron 2 %", "cotton"])
    leaf = next(trace for trace in figure.data if trace.name and "can't show" in trace.name)
    assert set(leaf.marker.symbol) == {"square-x"}


@pytest.mark.parametrize("name", nasty.ALL)
def test_a_users_own_names_are_shown_as_they_are(recipes, name):
    made = recipes.made.head(2).assign(swatch=name)
    figure = drawn.family(made, labels=[f"wool, {name}", "cotton"])
    text = "".join(str(trace.text) for trace in figure.data)
    assert "<script" not in text
    assert "<img" not in text
    assert "<svg" in static.svg(figure)


def test_a_dose_curve_marks_the_doses_it_names(recipes):
    curve = shift.dose_curve(recipes, "iron", hold={"dye": "madder", "fibre": "wool"})
    figure = drawn.dose(curve)
    names = " ".join(str(trace.name) for trace in figure.data)
    assert "just visible" in names
    assert "half of the shift" in names
    assert "enough" in names
    band = curve.band
    assert (band["distance_low"] <= band["distance"] + 1e-9).all()
    assert (band["distance"] <= band["distance_high"] + 1e-9).all()
    assert band["distance"].iloc[0] == pytest.approx(0)


def test_the_split_shows_each_part_and_the_whole(yard, recipes):
    hold = {"dye": "weld", "fibre": "cotton", "tannin": "gallnut"}
    found = shift.separate(recipes, "iron", hold=hold, spectra=yard.spectra)
    names = {trace.name for trace in drawn.split(found).data if trace.name}
    assert names == {
        "all of it, as if the dye alone had changed",
        "on the dye",
        "on the tannin",
        "on the fibre",
    }
    tables = [pd.isna(found.parts["share_low"]).any(), np.isfinite(found.spectra["ks_low"]).all()]
    assert tables == [False, True]


def test_one_press_says_that_swatches_shared_a_pot(yard, tmp_path):
    """Of a book without baths, and of a copy whose baths are all named."""
    steps = yard.steps.assign(bath="")
    kept = {name: getattr(yard, name) for name in ("swatches", "readings", "tests")}
    bare = book.add(book.create(tmp_path / "old"), **kept, steps=steps)
    panel = comparing.panel(book.save(bare))
    panel.choices["dye"].value, panel.choices["fibre"].value = "weld", "wool"
    assert any("if each swatch had a pot" in note for note in panel.shown.notes)
    assert set(panel.shown.table["verdict"]) <= {
        *("real, if each had its own pot", "could be chance, if each had its own pot"),
    }
    panel.actions["comparing.one_pot"].click()
    assert "shared their pots" in panel.told.value
    assert set(panel.shown.table["verdict"]) == {"can't tell: one pot each"}
    assert set(book.open(tmp_path / "old").steps["bath"]) > {""}
    panel.actions["comparing.one_pot"].click()
    assert "all recorded" in panel.told.value
    example = comparing.panel(yard)
    example.actions["comparing.one_pot"].click()
    assert "example stays as it is" in example.told.value


def test_two_doses_are_drawn_as_points_with_what_a_curve_would_need(yard):
    made = book.recipes(yard)
    few = made.loc[made["iron_wof"].isin([0.0, 2.0]), "swatch"]
    panel = comparing.panel(
        replace(yard, readings=yard.readings[yard.readings["swatch"].isin(few)])
    )
    choose(panel, dye="weld", picture="dose")
    assert "no curve is drawn through them" in panel.sentence
    assert "at least three doses" in panel.sentence
    assert {trace.mode for trace in panel.shown.plotly_figure.data} == {"markers"}


@pytest.mark.parametrize(
    ("way", "said"),
    [("photo", "but only by"), ("", "not measured yet"), ("none", "Missing control")],
)
def test_the_lesson_says_what_a_missing_control_wants(yard, way, said):
    controls = book.recipes(yard).query(
        "dye == 'none' and tannin == 'gallnut' and iron_wof > 0 and copper_wof == 0"
    )["swatch"]
    readings = yard.readings.copy()
    own = readings["swatch"].isin(controls)
    readings.loc[own, "method"] = way or "spectral"
    keep = ~own if way == "" else own | True
    left = replace(yard, readings=readings[keep].reset_index(drop=True))
    if way == "none":
        gone = ~yard.swatches["swatch"].isin(controls)
        left = replace(
            yard,
            swatches=yard.swatches[gone],
            steps=yard.steps[~yard.steps["swatch"].isin(controls)],
            readings=yard.readings[~own],
        )
    panel = tannin_share.panel(left)
    panel.choices["tannin"].value = "gallnut"
    assert said in " ".join(panel.shown.notes), panel.sentence
    assert panel.shown.table.drop(columns="part").notna().any(axis=1).all()


def test_small_planes_show_colours_that_no_screen_does(recipes):
    pairs = shift.of_step(recipes, "iron").pairs
    levels = [f"iron {number % 5} %" for number in range(len(pairs))]
    made = recipes.made.assign(a=recipes.made["a"] * 5)
    figure = drawn.multiples(pairs.assign(level=levels), made)
    marks = {mark for trace in figure.data if trace.name in levels for mark in trace.marker.symbol}
    assert {"square-x", "cross-open"} <= marks
