"""Derived views: one recipe a swatch, one row a reading with its recipe. Never stored."""

from collections.abc import Callable

import numpy as np
import pandas as pd

from dyelab import recipe
from dyelab.book.model import Book

_SWATCH = ["swatch", "form", "fibre", "ground", "series"]
RECIPE = ["tannin", "tannin_wof", "mordant", "mordant_wof", "dye", "dye_wof", "vat"]
RECIPE += ["iron_wof", "copper_wof", "modifier"]


def materials(bk: Book) -> pd.DataFrame:
    """Return the materials a recipe in this book may name: those shipped and its own."""
    return recipe.materials(bk.materials)


def recipes(bk: Book) -> pd.DataFrame:
    """Return one row a swatch: what was done to it, one column a factor.

    Returns
    -------
    DataFrame
        `swatch, form, fibre, ground, series, tannin, tannin_wof, mordant, mordant_wof, dye,
        dye_wof, vat, iron_wof, copper_wof, modifier`. Names are those of the materials list;
        ``none`` and 0.0 where absent; several are joined ``a + b`` in the order done. Doses
        are % WOF of the material used. Iron and copper stay out of `mordant` unless they are
        the only mordant. A dose that can't be worked out is NaN.
    """
    return (
        bk.swatches[_SWATCH].merge(_by_group(bk, ["swatch"]), on="swatch", how="left").pipe(_filled)
    )


def areas(bk: Book) -> pd.DataFrame:
    """Return one row a swatch and area, as `recipes`, with `area` after `swatch`.

    A step on the whole cloth counts for each of its named areas. A cloth with named areas has
    a row for each and one for ``whole``: the steps that touched all of it.
    """
    spread = _spread(bk.steps)
    known = pd.concat([bk.swatches[["swatch"]].assign(area="whole"), spread[["swatch", "area"]]])
    rows = known.drop_duplicates().merge(bk.swatches[_SWATCH], on="swatch")
    by_area = _by_group(bk, ["swatch", "area"], spread)
    full = rows.merge(by_area, on=["swatch", "area"], how="left").pipe(_filled)
    return full[["swatch", "area", *_SWATCH[1:], *RECIPE]]


def _spread(steps: pd.DataFrame) -> pd.DataFrame:
    """Give each named area of a cloth the steps done to the whole."""
    named = steps.loc[steps["area"] != "whole", ["swatch", "area"]].drop_duplicates()
    if named.empty:
        return steps
    whole = steps[steps["area"] == "whole"].drop(columns="area").merge(named, on="swatch")
    return pd.concat([steps, whole], ignore_index=True).sort_values(
        ["swatch", "area", "order"], kind="stable"
    )


def wide(bk: Book) -> pd.DataFrame:
    """Return every reading joined with the recipe of its swatch, or of its area.

    Returns
    -------
    DataFrame
        All columns of `readings`, then those of `recipes`, then `baths`: the bath of each
        step in order, as ``scour=S1 mordant=M2 dye=``, blank where it isn't recorded. Codes
        begin again with each series, so a bath is known by its series as well.
    """
    made = areas(bk)
    joined = bk.readings.merge(made, on=["swatch", "area"], how="left")
    unknown = joined["tannin"].isna()
    if unknown.any():  # an area that no step names had the steps of the whole, and no others
        whole = made[made["area"] == "whole"].drop(columns="area")
        plain = bk.readings[unknown.to_numpy()].merge(whole, on="swatch", how="left")
        joined = pd.concat([joined[~unknown], plain]).reset_index(drop=True)
    return joined.assign(baths=joined["swatch"].map(baths(bk)).fillna("").astype(str))


def baths(bk: Book) -> pd.Series:
    """Name the baths of each swatch, in the order done; see `wide`."""
    done = bk.steps.sort_values(["swatch", "order"], kind="stable")
    named = done["bath"].fillna("").astype(str).str.replace(r"\s+", "_", regex=True)
    return (done["kind"] + "=" + named).groupby(done["swatch"]).agg(" ".join)


def _filled(frame: pd.DataFrame) -> pd.DataFrame:
    doses = {name: 0.0 for name in RECIPE if name.endswith("_wof")}
    absent = frame["tannin"].isna()
    for name in RECIPE:
        blank = doses.get(name, False if name == "vat" else "none")
        frame[name] = frame[name].where(~absent, blank)
    return frame.astype(dict.fromkeys(doses, float) | {"vat": bool})


def _by_group(bk: Book, by: list[str], steps: pd.DataFrame | None = None) -> pd.DataFrame:
    """One row a group of steps, with the columns of a recipe."""
    done = bk.steps if steps is None else steps
    done = done.sort_values([*by, "order"], kind="stable").reset_index(drop=True)
    done = _with_doses(bk, done)
    groups = done[by].drop_duplicates().set_index(by).index
    iron, copper = done["metal"].eq("Fe"), done["metal"].eq("Cu")
    metal = iron | copper
    mordant = done["kind"].eq("mordant")
    alone = mordant & metal & ~_any(done, by, mordant & ~metal)
    kinds = {
        "tannin": done["kind"].eq("tannin"),
        "mordant": (mordant & ~metal) | alone,
        "dye": done["kind"].isin(["dye", "vat"]),
    }
    columns: dict[str, pd.Series] = {}
    for name, mask in kinds.items():
        columns[name] = _names(done[mask], by)
        columns[f"{name}_wof"] = _sum(done[mask], by)
    columns["vat"] = done["kind"].eq("vat").groupby([done[key] for key in by]).any()
    acting = done["kind"].isin(["mordant", "modifier", "other"])
    columns["iron_wof"] = _sum(done[iron & acting], by)
    columns["copper_wof"] = _sum(done[copper & acting], by)
    columns["modifier"] = _names(done[done["kind"].eq("modifier") & ~metal], by)
    frame = pd.DataFrame({name: column.reindex(groups) for name, column in columns.items()})
    return _blanks(frame).reset_index()[[*by, *RECIPE]]


def _any(done: pd.DataFrame, by: list[str], mask: pd.Series) -> pd.Series:
    return mask.groupby([done[key] for key in by]).transform("any")


def _blanks(frame: pd.DataFrame) -> pd.DataFrame:
    for name in ("tannin", "mordant", "dye", "modifier"):
        frame[name] = frame[name].astype(object).where(frame[name].notna(), "none").astype(str)
        dose = f"{name}_wof"
        if dose in frame:
            frame[dose] = frame[dose].where(frame[name] != "none", 0.0)
    for name in ("iron_wof", "copper_wof"):
        frame[name] = frame[name].fillna(0.0).replace(-np.inf, np.nan)
    return frame


def _names(done: pd.DataFrame, by: list[str]) -> pd.Series:
    grouped = done.groupby(by, sort=False)["material"]
    once = grouped.first()
    several = grouped.size() > 1
    if several.any():
        joined = grouped.agg(lambda names: " + ".join(dict.fromkeys(names)))
        once = once.where(~several, joined)
    return once


def _sum(done: pd.DataFrame, by: list[str]) -> pd.Series:
    """Doses added up; unknown if one is (-inf, told from absent, in the metals' columns)."""
    unknown = done["material"].isin(["Fe", "Cu"])
    doses = done["wof"].mask(
        done["metal"].isin(["Fe", "Cu"]) & done["wof"].isna() & ~unknown, -np.inf
    )
    return doses.groupby([done[key] for key in by]).sum(min_count=1)


def _with_doses(bk: Book, done: pd.DataFrame) -> pd.DataFrame:
    """Add `wof` (% weight of fibre), `metal`, and the listed name of each material."""
    listed = materials(bk)
    names = {text: recipe.known_name(text, listed) for text in done["material"].unique()}
    metals = dict(zip(listed["material"], listed["metal"], strict=True))
    material = done["material"].map(names)
    mass = done["swatch"].map(bk.swatches.set_index("swatch")["mass_g"])
    by_unit: dict[str, Callable[[], pd.Series]] = {
        "% WOF": lambda: done["amount"],
        "g": lambda: 100 * done["amount"] / mass.where(mass > 0),
        "g/L": lambda: done["amount"] * done["liquor_ratio"] / 10,
    }
    wof = pd.Series(np.nan, index=done.index)
    for unit, dose in by_unit.items():
        wof = wof.mask(done["unit"] == unit, dose())
    return done.assign(material=material, metal=material.map(metals).fillna(""), wof=wof)
