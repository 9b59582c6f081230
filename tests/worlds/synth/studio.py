"""Marlpit Yard, an invented studio: what it dyed, in which order, and what it measured."""

from collections.abc import Iterator
from itertools import product
from typing import Any

import numpy as np
import pandas as pd

from dyelab.plan import baths
from worlds.synth.model import DOSES, TEXT
from worlds.synth.series import USUAL_DOSE, filled

Row = dict[str, Any]
GROUNDS = {
    "wool": "scoured plain weave, 180 g/m2",
    "cotton": "scoured and bleached plain weave, 140 g/m2",
}
ALUM = {"mordant": "potash alum", "mordant_wof": 15.0}
ACETATE = {"mordant": "aluminium acetate", "mordant_wof": 8.0}
WOOL, COTTON, DARKENED, VAT = (
    "Three dyes, one fleece",
    "Tannin under iron",
    "The walnut pot",
    "Blue from the vat",
)
TANNIN_DOSE = 8.0
UNTREATED = {**TEXT, **dict.fromkeys(DOSES, 0.0)}
LIGHT_DOSES = (0.3e6, 1e6, 3e6, 10e6)  # lx h
WASHES = (1.0, 5.0, 10.0)  # cycles
EXPOSURES = [("wash", cycles) for cycles in WASHES] + [("light", dose) for dose in LIGHT_DOSES]


def _wool() -> Iterator[Row]:
    """Each dye without a mordant, with alum, and with rising iron and copper over alum."""
    for dye in ("madder", "weld", "cochineal"):
        base = {"series": WOOL, "fibre": "wool", "dye": dye, "dye_wof": USUAL_DOSE[dye]}
        yield base
        yield from ({**base, **ALUM} for _ in range(3))
        for dose, copies in ((0.5, 1), (1.0, 1), (2.0, 2), (4.0, 1)):
            yield from ({**base, **ALUM, "iron_wof": dose} for _ in range(copies))
        for dose, copies in ((1.0, 1), (2.0, 2), (4.0, 1)):
            yield from ({**base, **ALUM, "copper_wof": dose} for _ in range(copies))
        yield {**base, "iron_wof": 3.0}
        yield {**base, "copper_wof": 3.0}
    yield from _wool_controls()


def _wool_controls() -> Iterator[Row]:
    base = {"series": WOOL, "fibre": "wool"}
    yield from (base, base, {**base, **ALUM}, {**base, **ALUM, "iron_wof": 2.0})
    yield from ({**base, **ALUM, "copper_wof": 2.0}, {**base, "iron_wof": 2.0})
    gall = {**base, "tannin": "gallnut", "tannin_wof": TANNIN_DOSE}
    yield from (gall, {**gall, "iron_wof": 2.0})


def _walnut() -> Iterator[Row]:
    """A dye that brings tannin of its own, with and without alum, iron and copper."""
    base = {"series": DARKENED, "fibre": "wool", "dye": "walnut hull", "dye_wof": 60.0}
    yield from (base, base, {**base, **ALUM}, {**base, **ALUM})
    yield from ({**base, "iron_wof": 2.0}, {**base, "iron_wof": 2.0}, {**base, "copper_wof": 2.0})


def _cotton() -> Iterator[Row]:
    """Three tannins by two dyes and none, each with and without iron: a full set of controls.

    Weld over pomegranate rind and its control are dyed five times: there the quick answer is
    wrong, and the right one lies in a difference of differences, which needs replicates.
    """
    base = {"series": COTTON, "fibre": "cotton"}
    yield from (base, base)
    for tannin, dye in product(("none", "gallnut", "pomegranate rind"), ("none", "madder", "weld")):
        cell = {**base, **ACETATE, "tannin": tannin, "dye": dye, "dye_wof": USUAL_DOSE[dye]}
        cell["tannin_wof"] = 0.0 if tannin == "none" else TANNIN_DOSE
        taught = tannin == "pomegranate rind" and dye != "madder"
        for _ in range(5 if taught else 2):
            yield from (cell, {**cell, "iron_wof": 2.0})
        if taught:
            yield from ({**cell, "iron_wof": dose} for dose in (0.5, 1.0, 4.0))
            yield {**cell, "copper_wof": 2.0}
    yield {**base, **ALUM, "dye": "weld", "dye_wof": USUAL_DOSE["weld"]}
    yield {**base, **ALUM, "dye": "madder", "dye_wof": USUAL_DOSE["madder"]}


def _vat() -> Iterator[Row]:
    """Indigo needs no mordant; iron over it shows what iron does to the bare fibre."""
    for fibre in ("wool", "cotton"):
        base = {"series": VAT, "fibre": fibre, "dye": "indigo", "dye_wof": USUAL_DOSE["indigo"]}
        yield from (base, base, {**base, "iron_wof": 2.0})
    gall = {"tannin": "gallnut", "tannin_wof": TANNIN_DOSE}
    yield {**base, **gall, "iron_wof": 2.0}


def _both_metals() -> Iterator[Row]:
    """Iron and copper one after the other, at the doses that each was also used alone."""
    base = {"series": WOOL, "fibre": "wool", "dye": "cochineal", "dye_wof": 6.0, **ALUM}
    yield from ({**base, "iron_wof": 2.0, "copper_wof": 2.0} for _ in range(2))


def _weaker() -> Iterator[Row]:
    """Half of the dye, and half of the alum: what a dose curve and a model learn from."""
    for dye in ("madder", "weld", "cochineal"):
        base = {"series": WOOL, "fibre": "wool", "dye": dye, "dye_wof": USUAL_DOSE[dye], **ALUM}
        half = {**base, "dye_wof": USUAL_DOSE[dye] / 2}
        yield from (half, {**half, "iron_wof": 2.0}, {**base, "mordant_wof": 7.5})
    base = {"series": COTTON, "fibre": "cotton", "dye": "madder", "dye_wof": 25.0, **ACETATE}
    yield from (base, {**base, "dye_wof": 50.0, "mordant_wof": 4.0})


def _again(rows: list[Row]) -> Iterator[Row]:
    """A second round of every recipe that the first list dyed once."""
    names = [tuple(sorted(row.items())) for row in rows]
    yield from (row for row, name in zip(rows, names, strict=True) if names.count(name) == 1)


def recipes() -> pd.DataFrame:
    """Every swatch of the studio, one row each, in the columns of a book's wide recipes."""
    rows = [*_wool(), *_walnut(), *_cotton(), *_vat(), *_both_metals(), *_weaker()]
    rows += list(_again(rows))
    frame = filled(pd.DataFrame([{**UNTREATED, **row} for row in rows]))
    letter = frame["fibre"].str[0].str.upper()
    number = (frame.groupby("fibre").cumcount() + 1).map("{:02d}".format)
    return frame.assign(swatch=letter + number, ground=frame["fibre"].map(GROUNDS))


def rounds(swatches: pd.DataFrame) -> pd.Series:
    """In which round each swatch was dyed: a recipe comes once a round, in pots of its own."""
    recipe = [name for name in swatches if name != "swatch"]
    return swatches.groupby(recipe, sort=False, dropna=False).cumcount() + 1


def cut_up(swatches: pd.DataFrame) -> pd.Series:
    """Which swatches were cut up for the wash and the window: the first of each recipe."""
    return ~swatches.drop(columns="swatch").duplicated()


def references() -> pd.DataFrame:
    """Blue wool references 1 to 8, exposed beside the swatches: rows of swatches.csv."""
    steps = range(1, 9)
    return pd.DataFrame(
        {
            "swatch": [f"BW{step}" for step in steps],
            "form": "cloth",
            "fibre": "blue wool",
            "ground": [f"blue wool reference {step}" for step in steps],
            "mass_g": float("nan"),
            "series": "blue wool references",
            "made_on": "",
            "note": "invented",
        }
    )


def swatch_table(swatches: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of swatches.csv for what the studio dyed."""
    began = swatches["series"].map({WOOL: "2025-05-06", DARKENED: "2025-06-11"})
    weeks = pd.to_timedelta(7 * (rounds(swatches) - 1), unit="D")
    day = pd.to_datetime(began.fillna("2025-07-01")) + weeks
    return pd.DataFrame(
        {
            "swatch": swatches["swatch"],
            "form": swatches["form"],
            "fibre": swatches["fibre"],
            "ground": swatches["ground"],
            "mass_g": swatches["fibre"].map({"wool": 4.5, "cotton": 3.5}),
            "series": swatches["series"],
            "made_on": day.dt.strftime("%Y-%m-%d"),
            "note": "invented",
        }
    )


# kind, temperature in °C, minutes, pH: ordinary studio practice, nothing more exact.
_BATHS = {
    "scour wool": ("scour", 45.0, 40.0, 7.0),
    "scour cotton": ("scour", 90.0, 60.0, 10.0),
    "tannin": ("tannin", 50.0, 90.0, 5.0),
    "mordant": ("mordant", 85.0, 60.0, 4.0),
    "mordant cold": ("mordant", 40.0, 90.0, 5.5),
    "dye": ("dye", 80.0, 60.0, 6.5),
    "madder": ("dye", 65.0, 60.0, 6.5),  # hotter, it turns brown
    "vat": ("vat", 45.0, 10.0, 10.5),
    "metal": ("modifier", 50.0, 20.0, 5.0),
}


def _steps_of(row: pd.Series) -> Iterator[tuple[str, str, float]]:
    yield f"scour {row['fibre']}", "neutral soap" if row["fibre"] == "wool" else "soda ash", 2.0
    if row["tannin_wof"]:
        yield "tannin", row["tannin"], row["tannin_wof"]
    if row["mordant_wof"]:
        cold = row["mordant"] == "aluminium acetate"
        yield "mordant cold" if cold else "mordant", row["mordant"], row["mordant_wof"]
    if row["dye_wof"]:
        plain = "madder" if row["dye"] == "madder" else "dye"
        yield "vat" if row["vat"] else plain, row["dye"], row["dye_wof"]
    for column, salt in (("iron_wof", "ferrous sulfate"), ("copper_wof", "copper sulfate")):
        if row[column]:
            yield "metal", salt, row[column]


def step_table(swatches: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of steps.csv: scour, tannin, mordant, dye or vat, metal; with baths."""
    rows = []
    for _, row in swatches.iterrows():
        for order, (bath, material, amount) in enumerate(_steps_of(row), start=1):
            kind, temperature, minutes, acidity = _BATHS[bath]
            rows.append(
                {
                    "swatch": row["swatch"],
                    "order": order,
                    "kind": kind,
                    "material": material,
                    "amount": amount,
                    "unit": "% WOF",
                    "area": "whole",
                    "temperature_C": temperature,
                    "minutes": minutes,
                    "pH": acidity,
                    "note": "",
                }
            )
    return _in_baths(pd.DataFrame(rows), swatches)


def _in_baths(steps: pd.DataFrame, swatches: pd.DataFrame) -> pd.DataFrame:
    """Each round of each series in pots of its own; codes begin again with each series.

    The yard parted its cloths by what lay on them, whatever the dose: it dyed before plans kept
    unequal doses apart, and its book says what was done.
    """
    turns = rounds(swatches)
    placed = swatches.assign(replicate=turns, place=range(len(swatches)))
    carried = baths.treatments_before(steps.assign(amount=np.nan))
    parts = [
        baths.with_baths(
            steps[steps["swatch"].isin(part["swatch"])],
            part,
            pots="rounds",
            most=24,
            carried=carried,
        )
        for _, part in placed.groupby("series", sort=False)
    ]
    named = pd.concat(parts).set_index(["swatch", "order"])["bath"]
    found = named.reindex(pd.MultiIndex.from_frame(steps[["swatch", "order"]])).to_numpy()
    return steps.assign(bath=found)


def pots(swatches: pd.DataFrame) -> pd.DataFrame:
    """For each dose, the bath that each swatch took it in; blank where it had none."""
    steps = step_table(swatches).merge(swatches[["swatch", "series"]], on="swatch")
    metal = steps["kind"] == "modifier"
    dose = steps["kind"].where(~metal, steps["material"]).map(_DOSED_IN)
    named = steps.assign(dose=dose, pot=steps["series"] + " " + steps["bath"])
    told = named.dropna(subset="dose").set_index(["swatch", "dose"])["pot"].unstack("dose")
    return told.reindex(index=swatches["swatch"], columns=list(DOSES)).fillna("").reset_index()


_DOSED_IN = {
    **{"tannin": "tannin_wof", "mordant": "mordant_wof", "dye": "dye_wof", "vat": "dye_wof"},
    **{"ferrous sulfate": "iron_wof", "copper sulfate": "copper_wof"},
}


def test_table() -> pd.DataFrame:
    """Return the rows of tests.csv: how the wash and the light were done."""
    wash = {
        "test": "wash",
        "exposure": "wash",
        "method": "home wash beside undyed wool and cotton, after the manner of ISO 105-C06",
        "conditions": "40 °C, 30 min, then rinsed and dried flat",
        "detergent": "4 g/L, without brightener",
        "lamp": "",
    }
    light = {
        "test": "light",
        "exposure": "light",
        "method": "lamp behind window glass, half of each swatch covered",
        "conditions": "60 klx at the cloth, 25 °C, 50 % relative humidity",
        "detergent": "",
        "lamp": "xenon, filtered",
    }
    dates = {"started_on": "2025-08-04", "ended_on": "2025-09-12", "who": "", "note": "invented"}
    return pd.DataFrame([{**wash, **dates}, {**light, **dates}])
