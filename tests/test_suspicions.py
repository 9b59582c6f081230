"""What is valid in a book and yet looks like a slip."""

import dataclasses

import numpy as np
import pandas as pd
import pytest

from dyelab import book, files, plan

READING = ["reading", "swatch", "exposure", "method", "illuminant", "observer", "L", "a", "b"]


def tidy(folder, steps=None, lab=None, R=None):
    """Four recipes of two swatches, with nothing to point at unless it is put there."""
    rows, readings, spectra = [], [], []
    rng = np.random.default_rng(3)
    bands = np.arange(400, 710, 10)
    for n, (dye, iron) in enumerate([("weld", 0), ("weld", 2), ("madder", 0), ("madder", 2)] * 2):
        code = f"K-{n:02}"
        done = [("mordant", "potash alum", 15.0), ("dye", dye, 50.0)]
        done += [("modifier", "iron", float(iron))] if iron else []
        rows += [(code, o, k, m, a) for o, (k, m, a) in enumerate(done, 1)]
        L, a, b = np.array([60 - 5 * (n % 4), 5, 20]) + rng.normal(0, 0.3, 3)
        readings.append((f"R{n}", code, "none", "spectral", "D65", 10, L, a, b))
        spectra.append((f"R{n}", *(0.2 + 0.1 * np.sin(bands / 90 + n))))
    frame = pd.DataFrame(rows, columns=["swatch", "order", "kind", "material", "amount"])
    frame = frame.assign(unit="% WOF")
    read = pd.DataFrame(readings, columns=READING)
    colours = pd.DataFrame(spectra, columns=["reading", *map(str, bands)])
    codes = frame["swatch"].unique()
    return book.add(
        book.create(folder),
        swatches=pd.DataFrame({"swatch": codes, "fibre": "wool", "series": "one"}),
        steps=steps(frame) if steps else frame,
        readings=lab(read) if lab else read,
        spectra=R(colours) if R else colours,
    )


def changed(column, where, value):
    def change(frame):
        frame.loc[where(frame), column] = value
        return frame

    return change


@pytest.mark.parametrize(
    ("how", "said"),
    [
        (
            {"steps": changed("amount", lambda f: f["material"].eq("weld") & f["swatch"].eq("K-00"),
                              500.0)},
            "steps.csv row 3 (K-00): amount = 500 % WOF is far from the usual 30 to 100 % of weld",
        ),
        (
            {"steps": changed("material", lambda f: f["material"].eq("madder"), "maddr")},
            "material = maddr is no known material, and nearly madder",
        ),
        (
            {"steps": lambda f: f[~(f["swatch"].eq("K-05") & f["kind"].eq("modifier"))]
                     .assign(amount=lambda g: g["amount"])},
            None,  # without iron it is the other recipe, and not alone
        ),
        (
            {"steps": lambda f: f[~(f["swatch"].eq("K-05") & f["kind"].eq("mordant"))]},
            "K-05 lacks one step that K-01 have: potash alum 15 %",
        ),
        (
            {"lab": changed("L", lambda f: f["swatch"].eq("K-02"), 70.0)},
            "replicates K-02, K-06 lie",
        ),
        (
            {"steps": changed("material", lambda f: f["material"].eq("weld"), "wled")},
            "material = wled is no known material, and nearly weld",
        ),
        (
            {"steps": changed("material", lambda f: f["material"].eq("madder"), "madder crumbs")},
            "material = madder crumbs is no known material, and nearly madder",
        ),
        (
            {"steps": lambda f: f.assign(dips=f["swatch"].map({"K-03": 30.0}))},
            "dips = 30 dips are more than any dark blue takes",
        ),
        (
            {"R": changed("550", lambda f: f["reading"].eq("R4"), 0.9)},
            "spectra.csv row 6 (R4): 550 = 0.9 stands far out from its neighbours",
        ),
    ],
)  # fmt: skip
def test_a_slip_is_pointed_out(tmp_path, how, said):
    texts = list(book.suspicions(tidy(tmp_path / "b", **how))["text"])
    if said is None:
        assert not any("lacks" in text for text in texts)
    else:
        assert any(said in text for text in texts), texts


def test_a_tidy_book_has_nothing_to_point_at(tmp_path):
    bk = tidy(tmp_path / "b")
    assert book.suspicions(bk).empty


def test_the_example_has_nothing_to_point_at():
    found = book.suspicions(book.open(files.shipped_path("data") / "marlpit_yard"))
    assert found.empty, found["text"].tolist()


def prints(folder, *, paste=None, apart=None):
    """Six printed cloths of three areas, with nothing to point at unless it is put there."""
    bk, rng, rows = book.create(folder), np.random.default_rng(1), []
    areas = {"leaf": "aluminium acetate 5", "stem": "aluminium acetate 5 + ferrous acetate 2"}
    for n in range(6):
        own = {**areas, "sky": "none", **(paste if paste and n == 3 else {})}
        bk = book.add(bk, **plan.printed_cloth(f"P{n}", own, series="prints"))
        for area, L in (("leaf", 50), ("stem", 35), ("sky", 80)):
            lab = np.array([L, 20, 10]) + rng.normal(0, 0.3, 3)
            lab[0] += 15 if apart == (f"P{n}", area) else 0
            rows.append((f"{n}{area}", f"P{n}", area, "none", "typed", "D65", 10, *lab))
    columns = [*READING[:2], "area", *READING[2:]]
    return book.add(bk, readings=pd.DataFrame(rows, columns=columns))


@pytest.mark.parametrize(
    ("slip", "said"),
    [
        ({}, None),
        ({"paste": {"stem": "aluminium acetate 5"}}, "P3 lacks one step that P0, P1"),
        ({"paste": {"leaf": "aluminium acetate 50"}}, "amount = 50 % WOF is far from the usual"),
        ({"apart": ("P2", "stem")}, "replicates P0, P1, P2, P3, P4, P5 lie"),
    ],
)
def test_a_slip_on_a_printed_cloth_is_pointed_out(tmp_path, slip, said):
    texts = list(book.suspicions(prints(tmp_path / "b", **slip))["text"])
    assert (texts == []) if said is None else any(said in text for text in texts), texts


def test_grams_are_judged_by_the_weight_of_their_cloth(tmp_path):
    bk = tidy(tmp_path / "b", steps=lambda f: f.assign(unit="g", amount=f["amount"] / 20))
    bk = book.change(bk, swatches=bk.swatches.assign(mass_g=5.0))
    assert book.suspicions(bk).empty
    light = book.change(bk, swatches=bk.swatches.assign(mass_g=0.2))
    assert any("far from the usual" in text for text in book.suspicions(light)["text"])


def test_two_pieces_far_apart_are_pointed_out_though_no_others_were_repeated(tmp_path):
    bk = tidy(tmp_path / "b", lab=changed("L", lambda f: f["swatch"].eq("K-02"), 90.0))
    two = dataclasses.replace(
        bk, readings=bk.readings[bk.readings["swatch"].isin(["K-02", "K-06"])]
    )
    (text,) = book.suspicions(two)["text"]
    assert "further than two pieces of one recipe should" in text


def test_grams_of_a_whole_bath_entered_for_each_swatch_are_pointed_out(tmp_path):
    codes = ["A", "B", "C"]
    steps = pd.DataFrame({"swatch": codes, "order": 1, "kind": "mordant", "bath": "M1"})
    steps = steps.assign(material="alum", amount=2.25, unit="g")
    rows = pd.DataFrame({"swatch": codes, "mass_g": 5.0})
    bk = book.add(book.create(tmp_path / "b"), swatches=rows, steps=steps)
    (said,) = book.suspicions(bk)["text"]
    assert "steps.csv row 2 (A, B, C): amount = 2.25 g stands for each swatch in bath M1" in said
    assert "45 %" in said
    assert "together, 15 %" in said
    share = book.change(bk, steps=steps.assign(amount=0.75))
    assert book.suspicions(share).empty
    alone = book.change(bk, steps=steps.assign(bath=["M1", "M2", "M3"]))
    assert not book.suspicions(alone)["text"].str.contains("stands for each").any()
