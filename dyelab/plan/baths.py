"""From recipes to steps, and from steps to baths: what goes in which pot, and how much."""

import itertools
import re
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from dyelab import recipe, words
from dyelab.plan.factors import HELP, Part, parts, roles_of, with_vat_help
from dyelab.recipe.advice import CELLULOSE

_LETTERS = {"scour": "S", "tannin": "T", "mordant": "M", "fixing": "F", "dye": "D", "vat": "V"}
_LETTERS |= {"modifier": "X", "rinse": "R"}
_STAGES = {letter: stage for stage, letter in _LETTERS.items()}
BATH_KINDS = tuple(_LETTERS)
POTS = ("rounds", "each", "shared")
_DAYS = {"scour": 1, "tannin": 1, "mordant": 2, **dict.fromkeys(BATH_KINDS[3:], 3)}
_SCOUR_WOF = 2.0  # % of the weight of fibre, by common practice
FIXING = ("wheat bran", "sodium phosphate")  # what fixes a mordant before the dye, never after it


@cache
def practice() -> pd.DataFrame:
    """Usual heat and time of each kind of step (common practice)."""
    return pd.read_csv(Path(__file__).with_name("practice.csv"), keep_default_na=False)


@cache
def _usual(kind: str, fibre: str, material: str) -> Any:
    group = "cellulose" if fibre in CELLULOSE else "protein"
    rows = practice()
    rows = rows[(rows["kind"] == kind) & rows["fibre"].isin([fibre, group])]
    own = rows[rows["material"] == material]
    best = own if len(own) else rows[rows["material"].isin(["", rows["material"].iloc[0]])]
    return best.iloc[(best["fibre"] != fibre).argmin()]  # a fibre's own practice before its group's


def scour_of(fibre: str) -> Part:
    """Return what a fibre is scoured with, and its dose."""
    return Part(str(_usual("scour", fibre, "")["material"]), _SCOUR_WOF)


def steps(rows: pd.DataFrame, liquor_ratio: float, listed: pd.DataFrame | None) -> pd.DataFrame:
    """Write out the steps of each recipe in the usual order."""
    roles = roles_of(listed)
    found = [
        {"swatch": row["swatch"], "order": order, **step}
        for row in rows.to_dict("records")
        for order, step in enumerate(_of_recipe(row, roles), start=1)
    ]
    return pd.DataFrame(found).assign(area="whole", liquor_ratio=liquor_ratio, bath_use=1)


def _of_recipe(row: Any, roles: dict[str, str]) -> list[dict[str, Any]]:
    put: dict[str, list[tuple[str, Part]]] = {
        kind: put_on(kind, parts(row[kind], row[f"{kind}_wof"]), roles)
        if row[kind] != "none"
        else []
        for kind in ("tannin", "mordant", "dye", "modifier")
    }
    fixing = [one for one in put["modifier"] if one[1].material in FIXING]
    late = [one for one in put["modifier"] if one not in fixing]
    doses = ((salt, row[f"{metal}_wof"]) for metal, salt in recipe.metals.salts().items())
    late += [("modifier", Part(salt, dose)) for salt, dose in doses if dose]
    early = [("scour", scour_of(row["fibre"])), *put["tannin"], *put["mordant"], *fixing]
    return in_turn((*early, *put["dye"], *late, ("rinse", Part("", np.nan))), row["fibre"])


def in_turn(put: Iterable[tuple[str, Part]], fibre: str) -> list[dict[str, Any]]:
    """Write out steps that follow one another; what helps in a bath is as hot and as long as it."""
    found, main = [], "scour"
    for kind, part in put:
        main = main if kind == "assist" else kind
        step = step_of(main, part.material, part.dose, fibre)
        if kind == "assist":
            step |= {"kind": kind, "note": ""}
        found.append({**step, "dips": part.dips if kind == "vat" else np.nan})
    return found


def put_on(kind: str, level: list[Part], roles: dict[str, str]) -> list[tuple[str, Part]]:
    """The steps of a level; a dye's alkali goes into its bath, as does what keeps a vat alive."""
    dyed = kind == "dye"
    found: list[tuple[str, Part]] = []
    for part in with_vat_help(level, roles) if dyed else level:
        own = roles.get(part.material)
        helps = own == "assist" or (dyed and bool(found) and own in HELP)
        found.append(("assist" if helps else "vat" if dyed and own == "vat" else kind, part))
    return found


def step_of(kind: str, material: str, dose: float, fibre: str) -> dict[str, Any]:
    """Write out one step with its usual heat and time.

    Parameters
    ----------
    kind : str
        That of a step, or ``paste`` for a mordant put on an area.
    """
    fixing = kind == "modifier" and material in FIXING
    usual = _usual("fixing" if fixing else kind, fibre, material)
    return {
        "kind": {"paste": "mordant", "fixing": "modifier"}.get(kind, kind),
        "material": material,
        "amount": dose,
        "unit": "" if np.isnan(dose) else "% WOF",
        "temperature_C": float(usual["temperature_C"]),
        "minutes": float(usual["minutes"]),
        "note": words.say(f"practice.{usual['note']}") if usual["note"] else "",
    }


def stage(rows: pd.DataFrame) -> pd.Series:
    """Return which of `BATH_KINDS` each step belongs to: its kind, or fixing the mordant."""
    return rows["kind"].mask(rows["kind"].eq("modifier") & rows["material"].isin(FIXING), "fixing")


def with_baths(
    done: pd.DataFrame,
    rows: pd.DataFrame,
    *,
    pots: str,
    most: int,
    taken: Iterable[str] = (),
    carried: pd.Series | None = None,
) -> pd.DataFrame:
    """Give each step its bath.

    Swatches share a bath where step, material, dose and fibre agree, and where none of them
    brings in what would spoil another: see `treatments_before`.

    Parameters
    ----------
    done : DataFrame
        Steps: `swatch, order, kind, material, amount`.
    rows : DataFrame
        Swatches: `swatch, fibre, place, replicate` (the round).
    pots : {"rounds", "each", "shared"}
        Each round its own pots; a pot for each swatch; or one pot for all rounds.
    most : int
        Swatches a bath holds.
    taken : iterable of str
        Codes of other baths, after which these are numbered.
    carried : Series of str, optional
        By step, what its cloth carries that acts on others; by default `treatments_before`.

    Returns
    -------
    DataFrame
        The steps in working order with `bath`, such as ``M2``.
    """
    full = _with_help(done)
    done = full[full["kind"] != "assist"]
    facts = done.assign(before=treatments_before(full) if carried is None else carried)
    facts = facts.merge(rows[["swatch", "fibre", "place", "replicate"]], on="swatch")
    facts["kind"] = stage(facts)
    keys = ["kind", "fibre", "material", "amount", "before", "helped"]
    keys += [] if pots == "shared" else ["replicate"]
    facts["stage"] = facts["kind"].map(BATH_KINDS.index)
    facts = facts.sort_values(["stage", "place"], kind="stable")
    group = facts.groupby(keys, sort=False, dropna=False)
    many = group["swatch"].transform("size")
    parts = np.ceil(many / (1 if pots == "each" else most))  # even: 25 are 13 and 12, not 24 and 1
    part = group.cumcount() * parts // many
    identity = list(zip(*(facts[key].astype(str) for key in keys), part, strict=True))
    numbers: dict[str, dict[Any, int]] = {kind: {} for kind in _LETTERS}
    first = {kind: _last_number(letter, taken) + 1 for kind, letter in _LETTERS.items()}
    codes = []
    for kind, key in zip(facts["kind"], identity, strict=True):
        number = numbers[kind].setdefault(key, first[kind] + len(numbers[kind]))
        codes.append(f"{_LETTERS[kind]}{number}")
    places = rows[["swatch", "place"]]
    baths = facts.assign(bath=codes)[["swatch", "order", "bath"]]
    placed = full.drop(columns="helped").merge(baths, on=["swatch", "order"], how="left")
    placed = placed.merge(places, on="swatch").sort_values(["place", "order"], kind="stable")
    placed["bath"] = placed.groupby("swatch", sort=False)["bath"].ffill()  # an assist's: its step's
    return placed[[*done.columns.drop("helped"), "bath"]].reset_index(drop=True)


def _last_number(letter: str, codes: Iterable[str]) -> int:
    """Largest number that a code of this letter bears; 0 where there is none."""
    found = (re.match(rf"{letter}(\d+)", code) for code in codes)
    return max((int(one[1]) for one in found if one), default=0)


def _with_help(done: pd.DataFrame) -> pd.DataFrame:
    """Add `helped` to each step: what else goes into its bath, with its dose."""
    helping = done["kind"].eq("assist")
    step = (~helping).groupby(done["swatch"]).cumsum()
    text = (done["material"] + " " + done["amount"].map("{:g}".format)).where(helping, "")
    return done.assign(helped=text.groupby([done["swatch"], step]).transform(" ".join))


def treatments_before(done: pd.DataFrame) -> pd.Series:
    """What each cloth carries that acts on its neighbours in this bath, as one text a step.

    Cloths keep company only where they carry the same, and as much of it: tannin comes off into
    an alum bath and stays on plain cloth, loose mordant mordants its neighbours and a mordanted
    cloth takes the dye from a bare one, iron dulls whatever dye another cloth lets go. So do
    doses: what two cloths draw on is one bath, and the one with twice the alum takes the dye, the
    one with twice the tannin the metal, at the other's cost; a deep colour bleeds on a pale one
    (common practice). What went into a bath beside its own material, such as tartar, counts with
    it. A scour and a vat are common to all: the vat's strength is what one dips in turn; and a
    rinse is of each recipe by itself.
    """
    ordered = done.sort_values(["swatch", "order"], kind="stable")
    doses = [f" {amount:g}" if amount == amount else "" for amount in ordered["amount"]]
    told = (ordered["material"] + doses).where(~ordered["kind"].isin(["scour", "rinse"]), "")
    so_far: dict[Any, str] = {}
    carried = []
    for swatch, material in zip(ordered["swatch"], told, strict=True):
        carried.append(so_far.get(swatch, ""))
        so_far[swatch] = f"{carried[-1]}+{material}" if material else carried[-1]
    before = pd.Series(carried, index=ordered.index).reindex(done.index)
    return before.where(~done["kind"].isin(["scour", "vat", "rinse"]), "")


def separated_kinds(done: pd.DataFrame) -> list[str]:
    """Kinds of step at which cloths of one recipe step were parted, because they would spoil."""
    parted = done.assign(before=treatments_before(done))
    same = ["kind", "material", "amount"]
    many = parted.groupby(same, dropna=False)["before"].nunique()
    found = set(many[many > 1].index.get_level_values("kind"))
    return [kind for kind in ("mordant", "dye", "modifier") if kind in found]


def bath_rows(done: pd.DataFrame, rows: pd.DataFrame, *, pots: str) -> pd.DataFrame:
    """One row a bath and material: when, what to weigh, how much water, which swatches."""
    facts = done.merge(rows[["swatch", "fibre", "mass_g", "place", "replicate"]], on="swatch")
    facts["kind"] = stage(facts)
    facts["layer"] = facts["bath"].map(_layers(done)).fillna(0)
    last = max(_DAYS.values())
    found = []
    for (code, _), group in facts.groupby(["bath", "material"], sort=False):
        first = group.iloc[0]
        turn = 1 if pots == "shared" else int(first["replicate"])
        fibre_g, wof = float(group["mass_g"].sum()), first["amount"]
        day = _DAYS[_STAGES[str(code)[0]]] + last * (turn - 1)
        row = {"bath": code, "kind": first["kind"], "round": turn}
        row |= {"layer": int(group["layer"].max()), "day": day}
        row |= {"fibre": first["fibre"], "material": first["material"], "wof": wof}
        row |= {"weigh_g": 0.0 if pd.isna(wof) else recipe.grams(wof, fibre_g)}
        row |= {"fibre_g": fibre_g, "water_L": recipe.water_L(fibre_g, first["liquor_ratio"])}
        codes = _say_dips(group.sort_values("place"))
        row |= {"swatches": len(group), "codes": ", ".join(codes)}
        found.append(row | first[["temperature_C", "minutes", "note"]].to_dict())
    frame = pd.DataFrame(found)
    at = frame["bath"].str[0].map(list(_STAGES).index)
    number = frame["bath"].str[1:].astype(int)
    order = np.lexsort([frame["kind"].eq("assist"), number, at, frame["round"]])
    return frame.iloc[order].reset_index(drop=True)


def _layers(done: pd.DataFrame) -> dict[str, int]:
    """How many dye baths have to be over before each dye bath: a dye over a vat waits for it."""
    dyes = done[done["kind"].isin(["dye", "vat"])].sort_values(["swatch", "order"], kind="stable")
    ways = list(dict.fromkeys(tuple(own) for _, own in dyes.groupby("swatch")["bath"]))
    layers = dict.fromkeys(dyes["bath"], 0)
    for _ in layers:
        before = dict(layers)
        for way in ways:
            for first, then in itertools.pairwise(way):
                layers[then] = max(layers[then], layers[first] + 1)
        if layers == before:
            break
    return layers


def _say_dips(group: pd.DataFrame) -> list[str]:
    """Codes of a bath's swatches, with how often each is dipped."""
    dips = group.get("dips", pd.Series(np.nan, index=group.index))
    pairs = zip(group["swatch"], dips, strict=True)
    return [f"{code} ×{int(n)}" if n > 1 else code for code, n in pairs]
