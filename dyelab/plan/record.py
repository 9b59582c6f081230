"""Enter what was really done: a planned bath is confirmed as it was, with its corrections."""

import re
from collections.abc import Iterable
from datetime import date
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from dyelab import book, errors, recipe
from dyelab.book import Book
from dyelab.book.views import with_doses
from dyelab.errors import InputError
from dyelab.plan.baths import BATH_KINDS


def open_baths(bk: Book) -> pd.DataFrame:
    """List the baths that are planned and not yet done, in the order they come.

    Returns
    -------
    DataFrame
        `series, bath, kind, material, wof, weigh_g, fibre_g, temperature_C, minutes, bath_use,
        swatches, note`.

    Examples
    --------
    >>> from dyelab import book, plan
    >>> levels = {"fibre": ["wool"], "dye": ["madder 50"], "iron": [0, 2]}
    >>> series = plan.series(levels, name="Iron")
    >>> bk = plan.add_series(book.create(folder / "mine"), series)
    >>> plan.open_baths(bk)[["bath", "kind", "material", "weigh_g"]].head(2)
      bath   kind      material  weigh_g
    0   S1  scour  neutral soap      0.4
    1   D1    dye        madder      5.0
    """
    steps = with_doses(bk, bk.steps).assign(material=bk.steps["material"], stage=_stages(bk.steps))
    steps = steps[(steps["state"] == "planned") & (steps["bath"] != "")]
    facts = steps.merge(bk.swatches[["swatch", "series", "fibre", "mass_g"]], on="swatch")
    facts["round"] = facts["swatch"].map(rounds(bk))
    if facts.empty:
        return pd.DataFrame(columns=_COLUMNS)
    by = ["series", "bath"]
    weighed = _say_weights(facts).groupby([facts[name] for name in by])
    named = weighed.agg(lambda said: " + ".join(dict.fromkeys(said)))
    own = facts[facts["kind"] != "assist"]
    pasted = own["area"].ne("whole").groupby([own[name] for name in by]).transform("any")
    first = ("kind", "temperature_C", "minutes", "bath_use", "note", "round", "stage", "pasted")
    grams = own["wof"] * own["mass_g"] / 100
    once = own.assign(pasted=pasted, weigh_g=grams, fibre_g=own["mass_g"]).drop_duplicates(
        [*by, "swatch"]
    )
    whole = partial(pd.Series.sum, skipna=False)  # what one swatch leaves open stays open
    found = (
        once.groupby(by, sort=False)
        .agg(
            **{name: (name, "first") for name in first},
            wof=("wof", "first"),
            **{name: (name, whole) for name in ("weigh_g", "fibre_g")},
            swatches=("swatch", ", ".join),
        )
        .reset_index()
    )
    found["material"] = [named[key] for key in zip(found["series"], found["bath"], strict=True)]
    dosed = (found["weigh_g"] > 0) & ~found["pasted"]  # a paste isn't weighed by the whole cloth
    found["weigh_g"] = found["weigh_g"].where(dosed)
    ordered = found.sort_values(["series", "round", "stage"], kind="stable")
    return ordered[_COLUMNS].reset_index(drop=True)


def _say_weights(facts: pd.DataFrame) -> pd.Series:
    """Material of each step; what helps in another's bath with the grams the bath takes of it."""
    one = [facts[name] for name in ("series", "bath", "material")]
    grams = (facts["wof"] * facts["mass_g"] / 100).groupby(one).transform("sum")
    helps = facts["kind"].eq("assist") & (grams > 0)
    said = facts["material"] + grams.map(" {:.2f} g".format)
    return facts["material"].where(~helps, said)


def _stages(steps: pd.DataFrame) -> pd.Series:
    """Place of each step in the day; a modifier before the dye is what fixes a mordant."""
    dyed = steps[steps["kind"].isin(["dye", "vat"])].groupby("swatch")["order"].min()
    early = steps["kind"].eq("modifier") & (steps["order"] < steps["swatch"].map(dyed).fillna(0))
    return steps["kind"].mask(early, "fixing").map({name: i for i, name in enumerate(BATH_KINDS)})


def rounds(bk: Book) -> pd.Series:
    """Return the round of each swatch: the first of a recipe in its series is in round 1."""
    done = bk.steps.assign(step=_step(bk.steps)).sort_values(["swatch", "order"], kind="stable")
    recipe_ = done.groupby("swatch", sort=False)["step"].agg(" ".join)
    order = bk.swatches.set_index("swatch")[["series"]].join(recipe_.rename("recipe"))
    return order.fillna("").groupby(["series", "recipe"], sort=False).cumcount() + 1


def _step(steps: pd.DataFrame) -> pd.Series:
    dose = steps["amount"].map("{:g}".format, na_action="ignore").fillna("")
    dips = steps["dips"].astype(str).where(steps["dips"].notna(), "")
    return steps["kind"] + "/" + steps["material"].fillna("") + "/" + dose + "/" + dips


_COLUMNS = ["series", "bath", "kind", "material", "wof", "weigh_g", "fibre_g"]
_COLUMNS += ["temperature_C", "minutes", "bath_use", "swatches", "note"]


def mark_done(
    bk: Book,
    bath: str,
    *,
    series: str | None = None,
    swatches: Iterable[str] | None = None,
    weighed_g: float | None = None,
    temperature_C: float | None = None,
    minutes: float | None = None,
    pH: float | None = None,
    bath_use: int | None = None,
    note: str | None = None,
    on: str = "",
) -> Book:
    """Mark a planned bath as done; what isn't given was as planned.

    Parameters
    ----------
    bk : Book
    bath : str
        Its code, such as ``M1``.
    series : str, optional
        Needed where two planned series have a bath of that code.
    swatches : iterable of str, optional
        Those that really went in; the others stay planned. By default all.
    weighed_g : float, optional
        What was really weighed: the dose in % WOF follows from the fibre that went in.
    temperature_C, minutes, pH, bath_use, note : optional
        As they really were.
    on : str
        Day, as 2026-04-30; today by default. A swatch whose last step is done gets it.

    Raises
    ------
    InputError
        If there is no such planned bath, a value is out of range, or the day is none.

    Examples
    --------
    >>> from dyelab import book, plan
    >>> levels = {"fibre": ["wool"], "dye": ["madder 50"], "iron": [0, 2]}
    >>> series = plan.series(levels, name="Iron")
    >>> bk = plan.add_series(book.create(folder / "mine"), series)
    >>> bk = plan.mark_done(bk, "S1", weighed_g=0.2)
    >>> bk.steps.loc[bk.steps["bath"] == "S1", "state"].unique().tolist()
    ['done']
    """
    rows = _planned_steps(bk, bath, series)
    chosen = list(rows["swatch"]) if swatches is None else list(swatches)
    for code in chosen:
        errors.choose(code, rows["swatch"], "swatch", f"in bath {bath}")
    if not chosen:
        raise InputError(f"bath {bath}: no swatch is ticked. Tick those that went in.")
    if on and not re.fullmatch(r"\d{4}-\d\d-\d\d", on):  # said now: only a last bath's is kept
        raise InputError(f"bath {bath}: {on} is not a date. Write it as 2026-04-30.")
    rows = rows[rows["swatch"].isin(chosen)].assign(state="done")
    told: dict[str, Any] = {"temperature_C": temperature_C, "minutes": minutes, "pH": pH}
    told |= {"bath_use": bath_use, "note": note}
    rows = rows.assign(**{name: value for name, value in told.items() if value is not None})
    if weighed_g is not None:
        own = rows["kind"] != "assist"  # what helps in the bath was weighed as planned
        rows.loc[own, "amount"] = _dose(bk, chosen, weighed_g)
        rows.loc[own, "unit"] = "% WOF"
    changed = book.change(bk, steps=rows)
    return book.change(changed, swatches=_finish(changed, chosen, on or date.today().isoformat()))


def one_pot(bk: Book, groups: Iterable[Iterable[str]]) -> Book:
    """Record that the swatches of each group went through every bath together.

    Only baths that aren't recorded are named; a scour and a rinse are left as they are.

    Parameters
    ----------
    bk : Book
    groups : iterable of iterables of str
        Codes of swatches, such as those of one recipe.

    Raises
    ------
    InputError
        If all their baths are recorded already.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import book, plan
    >>> rows = pd.DataFrame({"swatch": ["A", "B"], "order": 1, "kind": "dye"})
    >>> rows = rows.assign(material="weld")
    >>> bk = book.add(book.create(folder / "mine"), swatches=rows[["swatch"]], steps=rows)
    >>> plan.one_pot(bk, [["A", "B"]]).steps["bath"].tolist()
    ['P1', 'P1']
    """
    of = {code: i for i, group in enumerate(groups) for code in group}
    steps = bk.steps
    blank = (steps["bath"] == "") & steps["swatch"].isin(of) & ~steps["kind"].isin(_NO_COLOUR)
    if not blank.any():
        raise InputError("the baths of these swatches are all recorded: nothing to change.")
    rows = steps[blank]
    same = [rows["swatch"].map(of), *(rows[name] for name in ("order", "kind", "material"))]
    number = rows.groupby(same, sort=False, dropna=False).ngroup()
    used = set(steps["bath"])
    fresh = (code for i in range(1, 100_000) if (code := f"P{i}") not in used)
    codes = {n: next(fresh) for n in sorted(number.unique())}
    return book.change(bk, steps=rows.assign(bath=number.map(codes)))


_NO_COLOUR = ("scour", "rinse")


def _planned_steps(bk: Book, bath: str, series: str | None) -> pd.DataFrame:
    rows = bk.steps[bk.steps["state"] == "planned"]
    names = bk.swatches.set_index("swatch")["series"]
    if series is not None:
        rows = rows[rows["swatch"].map(names) == series]
    errors.choose(bath, rows["bath"].unique(), "bath", "is planned and not yet done")
    rows = rows[rows["bath"] == bath]
    among = rows["swatch"].map(names).unique()
    if len(among) > 1:
        raise InputError(f"bath {bath} is planned in {' and in '.join(among)}. Say which series.")
    return rows


def _dose(bk: Book, chosen: list[str], weighed_g: float) -> float:
    mass = bk.swatches.loc[bk.swatches["swatch"].isin(chosen), "mass_g"].to_numpy(float)
    if np.isnan(mass).any():
        raise InputError(
            "the dry mass of a swatch in this bath is not in the book. Fill in its mass_g first."
        )
    return recipe.wof(weighed_g, float(mass.sum()))


def _finish(bk: Book, chosen: list[str], day: str) -> pd.DataFrame:
    """Rows of the swatches whose last step is done now, with the day."""
    left = set(bk.steps.loc[bk.steps["state"] == "planned", "swatch"])
    rows = bk.swatches[bk.swatches["swatch"].isin(set(chosen) - left)]
    return rows.assign(made_on=rows["made_on"].mask(rows["made_on"] == "", day))
