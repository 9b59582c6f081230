"""Swatches of one pot are one replicate, in our own world and in one of other laws."""

import numpy as np
import pandas as pd
import pytest
from benchmarks import pots_truth

from dyelab import book, compare, grade, shift, synth
from dyelab.handout import colours, fastness_texts
from dyelab.handout.sheets import report
from dyelab.panel import compare as comparing


def cloths(baths, away=6.0, seed=3):
    """Two recipes, `away` apart, with a swatch for each pair of bath texts."""
    rng = np.random.default_rng(seed)
    rows = [
        {"sample": name, "swatch": f"{name}{i}", "L": 50 + far, "a": 10.0, "b": 5.0, "baths": bath}
        for name, far in (("x", 0.0), ("y", away))
        for i, bath in enumerate(baths[name])
    ]
    frame = pd.DataFrame(rows).assign(illuminant="D65", observer=10)
    return frame.assign(L=frame["L"] + rng.normal(0, 0.3, len(frame)))


def told(baths, **more):
    return compare.to_reference(cloths(baths, **more), "x", piece="swatch").iloc[0]


def test_one_pot_an_arm_can_not_tell_however_many_swatches():
    one = told({"x": ["dye=D1"] * 4, "y": ["dye=D2"] * 4})
    assert (one["verdict"], one["caveat"], one["pots"]) == ("cannot_tell", "one_pot", 1)
    assert one["dE00"] > 4
    assert "a second round can settle it" in one["words"]


def test_pots_are_the_fewest_baths_of_the_steps_not_shared():
    """Mordanted together, dyed in two pots each, all saddened in one bath of iron."""
    pots = [f"scour=S1 mordant=M1 dye=D{d} modifier=X1" for d in (1, 2)]
    others = [f"scour=S1 mordant=M1 dye=D{d} modifier=X2" for d in (3, 4)]
    assert told({"x": pots, "y": others})["pots"] == 1
    shared = [text.replace("X2", "X1") for text in others]
    assert told({"x": pots, "y": shared})["pots"] == 2


def test_a_shared_scour_or_rinse_counts_for_nothing():
    pots = ["scour=S1 dye=D1 rinse=R1", "scour=S1 dye=D2 rinse=R1"]
    others = ["scour=S1 dye=D3 rinse=R1", "scour=S1 dye=D4 rinse=R1"]
    assert told({"x": pots, "y": others})["pots"] == 2


def test_baths_that_are_not_recorded_hang_on_an_if():
    one = told({"x": ["dye="] * 3, "y": ["dye="] * 3})
    assert (one["verdict"], one["caveat"]) == ("real", "own_pots")
    assert compare.in_words(one) == "real, if each had its own pot"
    assert told({"x": ["dye=D1", "dye=D2"], "y": ["dye=D3", "dye=D4"]})["caveat"] == ""


def test_what_a_shared_bath_does_to_both_arms_cancels():
    """Strong baths move both arms alike: paired, the difference is narrow; apart, it is not."""
    rng = np.random.default_rng(5)
    luck = rng.normal(0, 3, (12, 4))
    rows = [
        {"sample": f"{arm}{pair}", "swatch": f"{arm}{pair}{turn}", "baths": bath.format(pair, turn)}
        | {"L": 50 + 2 * (arm == "y") + luck[pair, turn] + rng.normal(0, 0.2), "a": 10.0, "b": 5.0}
        for pair in range(12)
        for turn in range(4)
        for arm, bath in (("x", "dye=D{0}{1}"), ("y", "dye=D{0}{1} modifier=X{0}{1}"))
    ]
    frame = pd.DataFrame(rows).assign(illuminant="D65", observer=10)
    pairs = [(f"x{i}", f"y{i}") for i in range(12)]
    shared = compare.pairs(frame, pairs, piece="swatch")
    apart = frame["baths"].mask(frame["sample"].str.startswith("y"), frame["baths"].str.lower())
    alone = compare.pairs(frame.assign(baths=apart), pairs, piece="swatch")
    width = [(found["dL_high"] - found["dL_low"]).mean() for found in (shared, alone)]
    assert width[0] < 0.6 * width[1]
    assert ((shared["dL_low"] < 2) & (shared["dL_high"] > 2)).mean() > 0.8


def test_a_difference_of_differences_is_paired_by_bath_too():
    """Four cloths a round through one mordant: what the round did to all of them cancels."""
    rng = np.random.default_rng(8)
    luck = rng.normal(0, 3, (12, 4))
    rows = [
        {"sample": f"{arm}{group}", "swatch": f"{arm}{group}{turn}", "a": 10.0, "b": 5.0}
        | {"baths": f"mordant=M{group}{turn} dye=", "L": 50 + 2.0 * (arm == "d")}
        for group in range(12)
        for turn in range(4)
        for arm in "abcd"
    ]
    frame = pd.DataFrame(rows).assign(illuminant="D65", observer=10)
    frame["L"] += np.repeat(luck.ravel(), 4) + rng.normal(0, 0.2, len(frame))
    widths, held = [], []
    for baths in (frame["baths"], frame["baths"].mask(frame["sample"].str[0] == "d", "dye=")):
        found = compare.gather(frame.assign(baths=baths), by="sample", piece="swatch")
        place = {name: i for i, name in enumerate(found.names)}
        arms = np.array([[place[f"{arm}{group}"] for arm in "abcd"] for group in range(12)])
        told = compare.contrast(found, arms, np.array([1.0, -1, -1, 1]), np.zeros((12, 3)))
        widths.append((told["dL_high"] - told["dL_low"]).mean())
        held.append(((told["dL_low"] < 2) & (told["dL_high"] > 2)).mean())
    assert widths[0] < 0.6 * widths[1]
    assert held[0] > 0.8


def test_the_example_names_its_baths_and_repeats_its_pots():
    found = shift.of_step(book.wide(book.open(synth.example())), "iron").pairs
    assert (found["pots"] >= 2).all()
    assert not found["assumed"].any()


@pytest.mark.parametrize("world", ["synth", "dyehouse"])
@pytest.mark.parametrize("cell", ["own pots, 2 rounds", "4 swatches in two pots"])
def test_equal_cloths_are_rarely_called_real_and_intervals_hold(world, cell):
    false, held = pots_truth.judged(world, 120, 31, 0.5, **pots_truth.CELLS[cell])
    assert false["false real"] <= 0.07 + 2.6 * np.sqrt(0.07 * 0.93 / 120)
    assert held["dE00"] > 0.92
    assert held["dL"] > 0.90


@pytest.mark.parametrize("world", ["synth", "dyehouse"])
def test_one_pot_an_arm_is_never_called_real(world):
    cell = pots_truth.CELLS["one pot an arm, 3 swatches"]
    false, _ = pots_truth.judged(world, 60, 31, 0.75, **cell)
    assert (false["false real"], false["can't tell"]) == (0, 1)


def unlike_books(many=40, steady=0.2, noisy=3.2):
    """Books of eight recipes in three pots each, every other one sixteen times as far off."""
    rng = np.random.default_rng(12)
    sd = np.where(np.arange(8) % 2, steady, noisy)
    off = rng.normal(size=(many, 8, 3, 3)) * sd[:, None, None]
    frame = pd.DataFrame(np.array([50.0, 20, 15]) + off.reshape(-1, 3), columns=["L", "a", "b"])
    book_of, recipe = np.repeat(np.arange(many), 24), np.tile(np.repeat(np.arange(8), 3), many)
    frame["sample"] = [f"{b} {r}" for b, r in zip(book_of, recipe, strict=True)]
    frame["baths"] = [f"dye=D{i}" for i in range(len(frame))]
    frame = frame.assign(series=book_of, swatch=np.arange(len(frame)), illuminant="D65")
    return frame.assign(observer=10)


@pytest.mark.parametrize("first", [0, 1])
def test_steady_recipes_are_not_charged_with_the_scatter_of_noisy_ones_nor_the_reverse(first):
    """Two arms of one colour, dyed alike: their interval holds, the steady ones' is far shorter."""
    wanted = [(f"{b} {r}", f"{b} {r + 2}") for b in range(40) for r in (first, first + 4)]
    found = compare.pairs(unlike_books(), wanted, piece="swatch", series="series")
    known = 1.96 * [3.2, 0.2][first] * np.sqrt(2 / 3)
    half = (found["dL_high"] - found["dL_low"]).median() / 2
    assert 0.9 * known < half < 2.2 * known
    assert ((found["dL_low"] < 0) & (found["dL_high"] > 0)).mean() > 0.9


def test_a_bath_by_the_name_of_a_dash_is_a_bath():
    one = told({"x": ["dye=-"] * 3, "y": ["dye=- modifier=X1"] * 3})
    assert (one["verdict"], one["caveat"]) == ("cannot_tell", "one_pot")


def test_counts_of_what_is_real_say_how_many_hang_on_an_if(tmp_path):
    """Iron at 2 % in two pots named, at 4 % in baths that nobody recorded."""
    rng = np.random.default_rng(4)
    baths = {0.0: ("D1", "D2", "", ""), 2.0: ("D1", "D2", "X1", "X2"), 4.0: ("", "", "", "")}
    swatches, steps, readings = [], [], []
    for dose, (*dyed, first, second) in baths.items():
        for pot, saddened in zip(dyed, (first, second), strict=True):
            code = f"K{len(swatches)}"
            swatches.append({"swatch": code, "form": "cloth", "fibre": "wool"})
            done = [("dye", "weld", 50.0, pot), ("modifier", "ferrous sulfate", dose, saddened)]
            steps += [
                {"swatch": code, "order": i, "kind": kind, "material": name, "amount": amount}
                | {"unit": "% WOF", "bath": bath}
                for i, (kind, name, amount, bath) in enumerate(done, 1)
                if amount
            ]
            lab = dict(
                zip("Lab", np.array([70, -5, 60 - 5 * dose]) + rng.normal(0, 0.2, 3), strict=True)
            )
            readings.append({"reading": f"R-{code}", "swatch": code, "exposure": "none", **lab})
    read = pd.DataFrame(readings).assign(method="spectral", illuminant="D65", observer=10)
    tables = {"swatches": pd.DataFrame(swatches), "steps": pd.DataFrame(steps), "readings": read}
    bk = book.add(book.create(tmp_path / "b"), **tables)
    pairs = shift.of_step(book.wide(bk), "iron").pairs.set_index("dose")
    assert list(pairs["verdict"]) == ["real", "real"]
    assert dict(pairs["caveat"]) == {2.0: "", 4.0: "own_pots"}
    one_of_them = "(1 of them if each had its own pot)"
    assert f"Real: 2 {one_of_them};" in comparing.panel(bk).sentence
    lead = report.report(colours.source(bk)).blocks[0].text
    assert one_of_them in lead


@pytest.mark.parametrize("pot", ["", "D{}"])
def test_what_holds_better_hangs_on_an_if_where_baths_are_not_recorded(tmp_path, pot):
    swatches, steps, readings = [], [], []
    for i in range(8):
        code, iron, to = f"K{i}", i % 2, (0.9 if i % 2 else 5.0) + 0.1 * (i // 2)
        swatches.append({"swatch": code, "form": "cloth", "fibre": "wool"})
        done = [("dye", "weld", 50.0), *[("modifier", "ferrous sulfate", 2.0)] * iron]
        steps += [
            {"swatch": code, "order": n, "kind": kind, "material": name, "amount": amount}
            | {"unit": "% WOF", "bath": pot.format(i)}
            for n, (kind, name, amount) in enumerate(done, 1)
        ]
        for exposure, lighter in (("none", 0.0), ("wash", to)):
            row = {"reading": f"{code}-{exposure}", "swatch": code, "exposure": exposure}
            row |= {"L": 60 + lighter, "a": -4.0, "b": 50.0 - lighter, "method": "spectral"}
            row |= {"amount": 5.0, "unit": "cycle", "test": f"L{i // 4}"} if lighter else {}
            readings.append(row | {"illuminant": "D65", "observer": 10})
    tests = pd.DataFrame({"test": ["L0", "L1"], "exposure": "wash"})
    tables = {"swatches": pd.DataFrame(swatches), "steps": pd.DataFrame(steps), "tests": tests}
    bk = book.add(book.create(tmp_path / "b"), **tables, readings=pd.DataFrame(readings))
    found = grade.study(book.wide(bk))
    hangs = "" if pot else ", if each had its own pot"
    (row,) = fastness_texts.comparison(found).to_dict("records")
    assert fastness_texts.held_word(row) == f"better{hangs}"
    (said,) = fastness_texts.held_sentences(found, "wash")
    assert f"5 washes{hangs} (" in said
