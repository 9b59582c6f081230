"""Panel, page, worksheet, report, table and comparison give one answer to one question."""

import io
import re

import numpy as np
import pandas as pd
import pytest
import typed_books

from dyelab import book, compare, handout, shift, table
from dyelab.handout import colours
from dyelab.handout.sheets import metal as metal_page
from dyelab.handout.sheets import mordants as mordant_sheet
from dyelab.handout.sheets import report, worksheet
from dyelab.handout.sheets import series as series_page
from dyelab.panel import compare as comparing
from dyelab.panel import metals

SEEDS = [(0, 0), (1, 0), (2, 1), (3, 3)]  # and pots of a step: none recorded, one, several
STATED = table.STANDARD_UNCERTAINTIES
HELD = [n for n in colours.FACTORS if n not in (*shift.METALS.values(), "metals_at")]


@pytest.fixture(scope="module", params=SEEDS)
def typed(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("typed") / "book"
    seed, pots = request.param
    return typed_books.random_book(folder, seed, pots=pots, pieces=3 if pots else 2)


@pytest.fixture(scope="module")
def asked(typed):
    """Every question that can be put: what this metal did to this recipe, worked out afresh.

    Recipes are grouped and matched here by pandas alone, and compared as a stranger would.
    """
    rows = book.wide(typed)
    rows = rows[rows["exposure"] == "none"].reset_index(drop=True)
    factors = [name for name in (*HELD, *shift.METALS.values()) if name in rows]
    rows = rows.assign(**rows[factors].fillna(""))
    rows["key"] = rows[factors].astype(str).agg("|".join, axis=1)
    answers = {}
    for metal, column in shift.METALS.items():
        rest = [name for name in factors if name != column]
        made = rows.drop_duplicates("key")
        pairs = made[made[column] > 0].merge(made[made[column] == 0], on=rest)
        if pairs.empty:
            continue
        found = compare.pairs(
            rows,
            pairs[["key_y", "key_x"]].set_axis(["reference", "sample"], axis=1),
            by="key",
            piece="swatch",
            series="series",
            shared=typed.shared,
            replicates_needed=True,
        )
        for key, row in zip(pairs["key_x"], found.to_dict("records"), strict=True):
            answers[metal, key] = row
    return answers


def key_of(row):
    factors = [name for name in (*HELD, *shift.METALS.values()) if name in row]
    return "|".join(str(row[name]) for name in factors)


NUMBERS = ["dE00", "dE00_low", "dE00_high", "dL", "da", "db", "dC", "dH"]


def same(one, other):
    assert [one[n] for n in NUMBERS] == pytest.approx([other[n] for n in NUMBERS], abs=1e-9)
    told = ["verdict", "caveat", "moved", "pots"]
    assert [one[n] for n in told] == [other[n] for n in told]


def test_the_panel_of_steps_and_comparisons_agree(typed, asked, tmp_path, monkeypatch):
    panel, seen = metals.panel(typed), 0
    source = colours.source(typed)
    for _, row in source.made[source.made["dye"] != "none"].iterrows():
        doses = {m: row[c] for m, c in shift.METALS.items()}
        if sum(dose > 0 for dose in doses.values()) != 1:
            continue
        (metal,) = (m for m, dose in doses.items() if dose > 0)
        for name in ("fibre", "dye", "tannin", "mordant"):
            panel.choices[name].value = row[name]
        plain = shift.recipe_names(source.made, (*shift.METALS, "area"))[row["variant"]]
        panel.choices["recipe"].value = plain
        for name in panel.choices.keys() & doses.keys():
            panel.choices[name].value = doses[name]
        if (metal, key_of(row)) not in asked:  # such as a printed part, without its like
            assert panel.shown.table is None
            continue
        answer = asked[metal, key_of(row)]
        shown = panel.shown.table.iloc[0]
        assert [shown[n] for n in NUMBERS] == pytest.approx([answer[n] for n in NUMBERS], abs=1e-9)
        assert shown["verdict"] == compare.in_words(answer)
        assert f"ΔE00 {answer['dE00']:.1f}" in panel.sentence
        assert answer["moved"] in panel.sentence
        seen += 1
    assert seen > 4


def test_the_panel_of_comparisons_agrees(typed, asked, tmp_path, monkeypatch):
    panel = comparing.panel(typed)
    panel.choices["dye"].value = comparing.ALL
    for metal in shift.metals_of(colours.source(typed).made):
        panel.choices["what"].value = metal
        shown = panel.shown.numbers.set_index("recipe")["dE00"].sort_index()
        wanted = sorted(row["dE00"] for (m, _), row in asked.items() if m == metal)
        assert sorted(shown) == pytest.approx(wanted, abs=1e-9)


def test_pages_agree(typed, asked):
    source = colours.source(typed)
    for metal in shift.metals_of(source.made):
        numbers = {f"{row['dE00']:.1f}" for (m, _), row in asked.items() if m == metal}
        spans = {
            f"ΔE00 {row['dE00']:.1f} ({row['dE00_low']:.1f} to {row['dE00_high']:.1f})"
            for (m, _), row in asked.items()
            if m == metal
        }
        pairs = source.pairs(metal)
        assert len(pairs) == sum(m == metal for m, _ in asked)
        for row in pairs.to_dict("records"):
            same(row, asked[metal, key_of(source.made.iloc[row["to_row"]])])
        page = worksheet.worksheet(source, metal=metal, count=30)
        said = [b.text for b in page.blocks if isinstance(b, handout.Text)]
        told = [found[0] for text in said if (found := re.search(r"ΔE00 [^)]*\)", text))]
        assert told
        assert set(told) <= spans
        whole = report.report(colours.source(typed))
        tables = [b for b in whole.blocks if isinstance(b, handout.NumberTable)]
        cells = {cell for t in tables for row in t.rows for cell in row}
        assert numbers <= cells


def test_the_metal_page_keeps_to_one_recipe(typed, asked):
    source = colours.source(typed)
    seen = 0
    for metal, column in shift.METALS.items():
        others = [c for c in shift.METALS.values() if c != column]
        alone = source.made[(source.made[others] == 0).all(axis=1) & (source.made["dye"] != "none")]
        groups = pd.Series(shift.families(alone), alone.index)
        for _, part in list(alone[alone[column] > 0].groupby(groups))[:3]:
            picked = {name: part[name].iloc[0] for name in HELD if name in part}
            if not all((metal, key_of(row)) in asked for _, row in part.iterrows()):
                continue
            page = metal_page.sheet(source, metal=metal, **picked)
            (rows,) = [b.rows for b in page.blocks if isinstance(b, handout.NumberTable)]
            for _, row in part.iterrows():
                answer = asked[metal, key_of(row)]
                assert any(f"{answer['dE00']:.1f}" in line for line in rows)
                seen += 1
    assert seen > 4


def test_the_mordant_sheet_compares_with_the_same_dye_dose_on_the_same_cloth(typed):
    source = colours.source(typed)
    dyed = source.made[source.made["dye"] == "madder"]
    for fibre, part in dyed.groupby("fibre"):
        for row in (
            source.last_additions[at] for at in part["variant"] if at in source.last_additions
        ):
            first, second = source.made.iloc[row["from_row"]], source.made.iloc[row["to_row"]]
            same_cloth = ["fibre", "form", "ground", "dye", "dye_wof"]
            assert list(first[same_cloth]) == list(second[same_cloth])
        assert mordant_sheet.sheet(source, fibre=fibre, dye="madder")


def test_doses_are_told_where_one_name_has_several(typed):
    source = colours.source(typed)
    pairs = source.pairs("iron")
    told = pairs[["dye", "cloth", "dose"]]
    assert not told.duplicated().any()


def test_every_place_states_the_same_uncertainty(typed, tmp_path, monkeypatch):
    """Page, panel, CSV and compare: the standard uncertainty of each mean colour."""
    source = colours.source(typed)
    gathered = compare.gather(
        source.rows, by="variant", piece="swatch", shared=typed.shared, series="series"
    )
    wanted = np.sqrt(np.diagonal(compare.mean_covariances(gathered), axis1=1, axis2=2))
    csv = pd.read_csv(io.StringIO(series_page.numbers(source).to_csv(index=False)))
    np.testing.assert_allclose(csv[STATED], wanted, atol=1e-12)
    page = series_page.sheet(source)
    (numbers,) = [b for b in page.blocks if isinstance(b, handout.NumberTable)]
    printed = {row[0]: row[4:7] for row in numbers.rows}
    for recipe, stated in zip(source.made["recipe"], wanted, strict=True):
        if (source.made["recipe"] == recipe).sum() == 1:
            assert list(printed[recipe]) == [handout.cell(value, 2) for value in stated]
    panel = metals.panel(typed)
    for metal in panel.choices.keys() & shift.METALS.keys():
        panel.choices[metal].value = 0.0
    (row,) = panel.shown.table.to_dict("records")
    at = source.made.index[source.made["L"] == row["L"]][0]
    assert [row[name] for name in STATED] == pytest.approx(wanted[at])


def test_a_mean_is_never_surer_than_what_its_readings_share(tmp_path):
    """Two pieces read from one photo: their scatter doesn't show what the photo got wrong."""
    rng = np.random.default_rng(5)
    lab = [[50 + x, 10, 20] for x in (0.0, 0.1, 9.0, 9.1)]
    rows = pd.DataFrame(lab, columns=table.LAB).assign(
        reading=list("abcd"), sample=["one", "one", "two", "two"]
    )
    shared = rows[["reading"]].assign(source="photo", factor=1, scope="photo")
    shared = shared.assign(**dict.fromkeys(table.LAB, 2.0))
    gathered = compare.gather(rows, shared=shared)
    spread = compare.mean_covariances(gathered)[:, 0, 0]
    assert (spread > 3.9).all()
    assert (spread < 4.2).all()
    draws = np.repeat(rng.normal(0, 2, (4000, 1)), 4, axis=1) + rng.normal(0, 0.1, (4000, 4))
    assert draws[:, :2].mean(axis=1).var() == pytest.approx(spread[0], rel=0.1)
