"""Order and sense: advice by the custom of the trade. It advises, and refuses only the unsafe.

Every rule takes the steps of a series, joined with their materials and swatches, and yields
(swatch, order, words). All are common practice of the trade.
"""

from collections.abc import Callable, Iterator
from typing import Any

import pandas as pd

from dyelab import words
from dyelab.errors import InputError
from dyelab.recipe import listing

PROTEIN = {"wool", "silk", "alpaca", "mohair", "cashmere", "angora"}
CELLULOSE = {"cotton", "linen", "hemp", "ramie", "jute", "viscose", "lyocell", "nettle", "bamboo"}
_SUBSTANTIVE = {"walnut hull", "cutch", "onion skin", "indigo", "woad"}
_LIMIT = {"silk": 80.0, "wool": 95.0}
_FIXING = {"wheat bran", "chalk", "sodium phosphate"}
Advice = tuple[str, int | None, str]


def advise(
    steps: pd.DataFrame, swatches: pd.DataFrame, listed: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Look over the steps of a series and say what a practised dyer would.

    Parameters
    ----------
    steps : DataFrame
        Columns of `table.STEPS`.
    swatches : DataFrame
        Columns of `table.SWATCHES`; `fibre` matters most.
    listed : DataFrame, optional
        The materials list.

    Returns
    -------
    DataFrame
        `swatches` (codes it applies to, parted by commas), `order`, `advice`; empty when
        nothing stands out. Advice only: nothing is refused here.
    """
    known = listing.materials() if listed is None else listed
    done = _joined(steps, swatches, known)
    found: list[Advice] = [*_across(done)]
    parted = set(done.loc[done["area"] != "whole", "swatch"])
    for (code, area), group in done.groupby(["swatch", "area"], sort=False):
        if area == "whole" and code in parted:
            continue  # each named area is looked at with the steps of the whole
        one = _with_whole(done, str(code), group)
        for rule in _RULES:
            found += rule(one)
    frame = pd.DataFrame(found, columns=["swatch", "order", "advice"]).drop_duplicates()
    grouped = frame.groupby(["advice", "order"], sort=False, dropna=False)["swatch"]
    return (
        grouped.agg(lambda codes: ", ".join(dict.fromkeys(codes)))
        .rename("swatches")
        .reset_index()[["swatches", "order", "advice"]]
    )


def refuse(steps: pd.DataFrame) -> None:
    """Raise if a step's material must not be offered.

    Raises
    ------
    InputError
        Names the material and what to use instead.
    """
    for name in steps["material"].dropna().unique():
        listing.refuse_unsafe(str(name))


def _joined(steps: pd.DataFrame, swatches: pd.DataFrame, known: pd.DataFrame) -> pd.DataFrame:
    named = steps.reset_index(drop=True)
    names = {text: listing.known_name(text, known) for text in named["material"].unique()}
    named = named.assign(material=named["material"].map(names))
    for column, blank in (("area", "whole"), ("bath", "")):
        named[column] = named.get(column, blank)
    named["area"] = named["area"].replace("", "whole")
    for column in ("temperature_C", "bath_use", "amount"):
        named[column] = named[column] if column in named else float("nan")
    facts = known[["material", "role", "metal", "low_wof", "high_wof", "own_colour"]]
    full = named.merge(facts, on="material", how="left").merge(
        swatches[["swatch", "fibre"]], on="swatch", how="left"
    )
    full["fibre"] = full["fibre"].fillna("").str.lower()
    return full.sort_values(["swatch", "order"], kind="stable")


def _with_whole(done: pd.DataFrame, code: str, group: pd.DataFrame) -> pd.DataFrame:
    if group["area"].iloc[0] == "whole":
        return group
    both = done[(done["swatch"] == code) & done["area"].isin(["whole", group["area"].iloc[0]])]
    return both.sort_values("order", kind="stable")


def _of(done: pd.DataFrame, *kinds: str) -> pd.DataFrame:
    return done[done["kind"].isin(kinds)]


def _say(row: Any, key: str, **values: Any) -> Advice:
    order = None if pd.isna(row["order"]) else int(row["order"])
    return str(row["swatch"]), order, words.say(f"recipe.{key}", **values)


def _rows(frame: pd.DataFrame) -> Iterator[Any]:
    return iter(frame.to_dict("records"))


def _scour(done: pd.DataFrame) -> Iterator[Advice]:
    scours = _of(done, "scour")
    first = done.iloc[0]
    if scours.empty:
        yield str(first["swatch"]), None, words.say("recipe.scour_missing")
    elif first["kind"] not in ("scour", "rinse"):
        yield _say(scours.iloc[0], "scour_late", other=first["material"] or first["kind"])


def _tannin(done: pd.DataFrame) -> Iterator[Advice]:
    fibre = done["fibre"].iloc[0]
    alum = _of(done, "mordant")
    alum = alum[alum["metal"].eq("Al") & ~alum["material"].str.contains("acetate")]
    tannins = _of(done, "tannin")
    if fibre in CELLULOSE and len(alum) and tannins.empty:
        yield _say(alum.iloc[0], "tannin_missing", mordant=alum["material"].iloc[0], fibre=fibre)
    if fibre in CELLULOSE and len(alum) and tannins["order"].min() > alum["order"].min():
        yield _say(tannins.iloc[0], "tannin_late", fibre=fibre)
    for row in _rows(tannins):
        if row["own_colour"] not in ("clear", "") and isinstance(row["own_colour"], str):
            yield _say(row, "own_colour", tannin=row["material"], colour=row["own_colour"])


def _mordant(done: pd.DataFrame) -> Iterator[Advice]:
    vats = done[done["kind"].eq("vat") | done["role"].eq("vat")]
    dyes = _of(done, "dye")
    dyes = dyes[~dyes["material"].isin(_SUBSTANTIVE) & ~dyes["role"].eq("vat")]
    metals = done[done["kind"].isin(["mordant", "modifier"]) & done["metal"].fillna("").ne("")]
    for row in _rows(vats):
        before = metals[metals["order"] < row["order"]]
        if len(before) and dyes.empty:
            mordant = before["material"].iloc[0]
            yield _say(row, "vat_mordant", dye=row["material"], mordant=mordant)
    if len(dyes) and metals.empty:
        yield _say(dyes.iloc[0], "no_mordant", dye=dyes["material"].iloc[0])


def _iron(done: pd.DataFrame) -> Iterator[Advice]:
    fibre = done["fibre"].iloc[0]
    dyed = _of(done, "dye", "vat")["order"].min()
    for row in _rows(done[done["metal"].eq("Fe")]):
        if fibre in PROTEIN and row["order"] < dyed:
            yield _say(row, "iron_early", fibre=fibre)
        if fibre in PROTEIN and row["unit"] == "% WOF" and row["amount"] > row["high_wof"]:
            amount, high = row["amount"], row["high_wof"]
            yield _say(row, "iron_high", amount=amount, high=high, fibre=fibre)


def _dose(done: pd.DataFrame) -> Iterator[Advice]:
    for row in _rows(done[done["unit"].eq("% WOF") & done["high_wof"].notna()]):
        values = {name: row[name] for name in ("amount", "material")}
        values |= {"low": row["low_wof"], "high": row["high_wof"]}
        protein = row["fibre"] in PROTEIN and row["metal"] == "Fe"
        if row["amount"] > row["high_wof"] and not protein:
            yield _say(row, "dose_high", **values)
        elif 0 < row["amount"] < row["low_wof"]:
            yield _say(row, "dose_low", **values)


def _printed(done: pd.DataFrame) -> Iterator[Advice]:
    put_on = done[done["area"].ne("whole") & done["kind"].eq("mordant")]
    dyed = _of(done, "dye")["order"].min()
    fixed = done[done["material"].isin(_FIXING) & (done["order"] < dyed)]
    for row in _rows(put_on):
        if "acetate" not in row["material"]:
            yield _say(row, "print_salt", material=row["material"])
        elif fixed.empty and dyed > row["order"]:
            yield _say(row, "print_fix", material=row["material"])


def _pot(done: pd.DataFrame) -> Iterator[Advice]:
    """What shares a step, or a bath, and shouldn't."""
    pot = done["bath"].where(done["bath"] != "", done["order"].astype(str))
    for _, together in done.groupby(pot):
        names = list(together["material"])
        bad = [n for n in names if "acetate" in n or n == "ferrous sulfate"]
        alum = [n for n in names if "alum" in n]
        if "cream of tartar" in names and bad:
            yield _say(together.iloc[0], "share_tartar", other=bad[0])
        if "chalk" in names and alum:
            yield _say(together.iloc[0], "share_chalk", other=alum[0])


def _heat(done: pd.DataFrame) -> Iterator[Advice]:
    fibre = done["fibre"].iloc[0]
    limit = _LIMIT.get(fibre, 130.0)
    for row in _rows(done[done["temperature_C"].notna()]):
        temperature = row["temperature_C"]
        if row["material"] == "madder" and temperature > 70:
            yield _say(row, "hot_madder", temperature=temperature)
        if temperature > limit:
            yield _say(row, "hot_protein", temperature=temperature, fibre=fibre, limit=limit)
    for row in _rows(done[done["material"].eq("soda ash")] if fibre in PROTEIN else done[:0]):
        yield _say(row, "hot_alkali", fibre=fibre)


def _listed(done: pd.DataFrame) -> Iterator[Advice]:
    for row in _rows(done[done["role"].isna() & done["material"].ne("")]):
        try:
            listing.refuse_unsafe(row["material"])
            yield _say(row, "unknown", material=row["material"])
        except InputError:
            yield _say(row, "unsafe", material=row["material"])


def _across(done: pd.DataFrame) -> Iterator[Advice]:
    """What shows only when swatches are looked at together."""
    baths = done[done["bath"].ne("") & done["kind"].isin(["dye", "mordant", "modifier"])]
    irons = baths[baths["metal"].eq("Fe")]
    for bath in irons["bath"].unique():
        rows = baths[baths["bath"] == bath]
        without = rows[~rows["swatch"].isin(irons.loc[irons["bath"] == bath, "swatch"])]
        if len(without):
            codes = ", ".join(without["swatch"].unique()[:6])
            yield _say(without.iloc[0], "share_iron", bath=bath, codes=codes)
    for row in _rows(baths[baths["bath_use"].fillna(1) > 1]):
        times = f"{int(row['bath_use']) - 1} time" + "s" * (row["bath_use"] > 2)
        yield _say(row, "used_bath", bath=row["bath"], times=times)


_RULES: tuple[Callable[[pd.DataFrame], Iterator[Advice]], ...] = (
    *(_scour, _tannin, _mordant, _iron, _dose, _printed, _pot, _heat, _listed),
)
