"""Order and sense: advice by the custom of the trade. It advises, and refuses only the unsafe.

Every rule takes the steps of one swatch in order, each with the facts of its material and the
fibre, and yields (swatch, order, words). All are common practice of the trade.
"""

import itertools
import math
from collections.abc import Callable, Iterator
from typing import Any

import pandas as pd

from dyelab import words
from dyelab.recipe import materials, metals

PROTEIN = {"wool", "silk", "alpaca", "mohair", "cashmere", "angora"}
CELLULOSE = {"cotton", "linen", "hemp", "ramie", "jute", "viscose", "lyocell", "nettle", "bamboo"}
_SUBSTANTIVE = {"walnut hull", "cutch", "onion skin", "indigo", "woad"}
_LIMIT = {"silk": 80.0, "wool": 95.0}
_ALKALI = ("soda ash", "ammonia", "hydrated lime", "sodium hydroxide")
_FIXING = {"wheat bran", "chalk", "sodium phosphate"}
Advice = tuple[str, int | None, str]
Steps = list[Any]  # records of one swatch, in order


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

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import recipe
    >>> steps = pd.DataFrame({"swatch": ["K1"], "order": [1], "kind": ["dye"]})
    >>> steps = steps.assign(material="madder", amount=50.0, unit="% WOF", temperature_C=90.0)
    >>> swatches = pd.DataFrame({"swatch": ["K1"], "fibre": ["wool"]})
    >>> recipe.advise(steps, swatches)["advice"].iloc[-1]
    'madder at 90 °C turns brown. Keep it under 70 °C for clear reds.'
    """
    known = materials.materials() if listed is None else listed
    done = _join_steps(steps, swatches, known)
    rows: Steps = done.to_dict("records")
    found: list[Advice] = [*_across(rows)]
    for codes, one in _alike(rows):
        said = [advice for rule in _RULES for advice in rule(one)]
        found += [(code, order, text) for _, order, text in said for code in codes]
    frame = pd.DataFrame(found, columns=["swatch", "order", "advice"]).drop_duplicates()
    grouped = frame.groupby(["advice", "order"], sort=False, dropna=False)["swatch"]
    codes = grouped.agg(lambda codes: ", ".join(dict.fromkeys(codes))).rename("swatches")
    return codes.reset_index()[["swatches", "order", "advice"]]


def refuse(steps: pd.DataFrame) -> None:
    """Raise if a step's material must not be offered.

    Raises
    ------
    InputError
        Names the material and what to use instead.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import recipe
    >>> recipe.refuse(pd.DataFrame({"material": ["potash alum"]}))
    """
    for name in steps["material"].dropna().unique():
        materials.refuse_unsafe(str(name))


def _join_steps(steps: pd.DataFrame, swatches: pd.DataFrame, known: pd.DataFrame) -> pd.DataFrame:
    named = steps.reset_index(drop=True)
    names = {text: materials.known_name(text, known) for text in named["material"].unique()}
    named = named.assign(material=named["material"].map(names))
    for column, blank in (("area", "whole"), ("bath", "")):
        named[column] = named.get(column, blank)
    named["area"] = named["area"].replace("", "whole")
    for column in ("temperature_C", "bath_use", "amount"):
        values = named[column] if column in named else pd.Series(float("nan"), index=named.index)
        named[column] = values.astype(float)
    facts = known[["material", "role", "metal", "low_wof", "high_wof", "own_colour"]]
    full = named.merge(facts, on="material", how="left")
    full = full.merge(swatches[["swatch", "fibre"]], on="swatch", how="left")
    full["fibre"] = full["fibre"].fillna("").str.lower()
    for column in ("role", "metal", "own_colour", "unit", "bath"):
        full[column] = full[column].fillna("") if column in full else ""
    return full.sort_values(["swatch", "order"], kind="stable")


def _alike(rows: Steps) -> list[tuple[list[str], Steps]]:
    """Steps of each recipe once, with the swatches that share it.

    Each named area of a cloth is looked at with the steps of the whole.
    """
    found: dict[Any, tuple[list[str], Steps]] = {}
    for swatch, group in itertools.groupby(rows, key=lambda row: row["swatch"]):
        own = list(group)
        named = dict.fromkeys(row["area"] for row in own if row["area"] != "whole")
        for area in named or ["whole"]:
            one = [row for row in own if row["area"] in ("whole", area)]
            found.setdefault(_signature(one), ([], one))[0].append(str(swatch))
    return list(found.values())


_ALIKE = ("fibre", "kind", "material", "amount", "unit", "area", "temperature_C", "order")


def _signature(one: Steps) -> Any:
    pots = [row["bath"] for row in one]
    return tuple((pots.index(row["bath"]), *(str(row[name]) for name in _ALIKE)) for row in one)


def _of(one: Steps, *kinds: str) -> Steps:
    return [row for row in one if row["kind"] in kinds]


def _first(rows: Steps) -> float:
    return min((row["order"] for row in rows), default=math.inf)


def _say(row: Any, key: str, **values: Any) -> Advice:
    return str(row["swatch"]), int(row["order"]), words.say(f"recipe.{key}", **values)


def _scour(one: Steps) -> Iterator[Advice]:
    scours = _of(one, "scour")
    if not scours:
        yield str(one[0]["swatch"]), None, words.say("recipe.scour_missing")
    elif one[0]["kind"] not in ("scour", "rinse"):
        yield _say(scours[0], "scour_late", other=one[0]["material"] or one[0]["kind"])


def _tannin(one: Steps) -> Iterator[Advice]:
    fibre, tannins = one[0]["fibre"], _of(one, "tannin")
    alum = [row for row in _of(one, "mordant") if row["metal"] == "Al"]
    alum = [row for row in alum if "acetate" not in row["material"]]
    if fibre in CELLULOSE and alum and not tannins:
        yield _say(alum[0], "tannin_missing", mordant=alum[0]["material"], fibre=fibre)
    if fibre in CELLULOSE and alum and tannins and _first(tannins) > _first(alum):
        yield _say(tannins[0], "tannin_late", fibre=fibre)
    for row in tannins:
        if row["own_colour"] not in ("clear", ""):
            colour = words.wording("recipe.colour_", row["own_colour"])
            yield _say(row, "own_colour", tannin=row["material"], colour=colour)


def _mordant(one: Steps) -> Iterator[Advice]:
    vats = [row for row in one if row["kind"] == "vat" or row["role"] == "vat"]
    dyes = [row for row in _of(one, "dye") if row["role"] != "vat"]
    dyes = [row for row in dyes if row["material"] not in _SUBSTANTIVE]
    metals = [row for row in _of(one, "mordant", "modifier") if row["metal"]]
    for row in vats:
        before = [other for other in metals if other["order"] < row["order"]]
        if before and not dyes:
            yield _say(row, "vat_mordant", dye=row["material"], mordant=before[0]["material"])
    if dyes and not metals:
        yield _say(dyes[0], "no_mordant", dye=dyes[0]["material"])


def _iron(one: Steps) -> Iterator[Advice]:
    fibre, dyed = one[0]["fibre"], _of(one, "dye", "vat")
    for row in (row for row in one if row["metal"] == "Fe" and fibre in PROTEIN):
        if dyed and row["order"] < _first(dyed) and row["area"] == "whole":
            yield _say(row, "iron_early", fibre=fibre)
        if row["unit"] == "% WOF" and row["amount"] > row["high_wof"]:
            amount, high = row["amount"], row["high_wof"]
            yield _say(row, "iron_high", amount=amount, high=high, fibre=fibre)


def _dose(one: Steps) -> Iterator[Advice]:
    for row in one:
        if row["unit"] != "% WOF" or not row["high_wof"] > 0:
            continue
        if row["kind"] == "assist" != row["role"]:
            continue  # an alkali in a vat: its usual range is another step's
        values = {"amount": row["amount"], "material": row["material"]}
        values |= {"low": row["low_wof"], "high": row["high_wof"]}
        protein = row["fibre"] in PROTEIN and row["metal"] == "Fe"
        if row["amount"] > row["high_wof"] and not protein:
            yield _say(row, "dose_high", **values)
        elif 0 < row["amount"] < row["low_wof"]:
            yield _say(row, "dose_low", **values)


def _on_prints(one: Steps) -> Iterator[Advice]:
    dyed = _first(_of(one, "dye"))
    fixed = any(row["material"] in _FIXING and row["order"] < dyed for row in one)
    for row in _of(one, "mordant"):
        if row["area"] == "whole":
            continue
        if "acetate" not in row["material"]:
            yield _say(row, "print_salt", material=row["material"])
        elif not fixed and row["order"] < dyed < math.inf:
            yield _say(row, "print_fix", material=row["material"])


def _pot(one: Steps) -> Iterator[Advice]:
    """What shares a step, or a bath, and shouldn't."""
    pots: dict[str, Steps] = {}
    for row in one:
        pots.setdefault(row["bath"] or str(row["order"]), []).append(row)
    for together in pots.values():
        names = [row["material"] for row in together]
        bad = [name for name in names if "acetate" in name or name == "ferrous sulfate"]
        alum = [name for name in names if "alum" in name]
        if "cream of tartar" in names and bad:
            yield _say(together[0], "share_tartar", other=bad[0])
        if "chalk" in names and alum:
            yield _say(together[0], "share_chalk", other=alum[0])


def _heat(one: Steps) -> Iterator[Advice]:
    fibre = one[0]["fibre"]
    limit = _LIMIT.get(fibre, 130.0)
    for row in one:
        temperature = row["temperature_C"]
        if row["material"] == "madder" and temperature > 70:
            yield _say(row, "hot_madder", temperature=temperature)
        if temperature > limit:
            yield _say(row, "hot_protein", temperature=temperature, fibre=fibre, limit=limit)
        if fibre in PROTEIN and row["kind"] == "assist" and row["material"] in _ALKALI:
            yield _say(row, "alkali_vat", material=row["material"], fibre=fibre)
        elif row["material"] == "soda ash" and fibre in PROTEIN:
            yield _say(row, f"alkali_{'scour' if row['kind'] == 'scour' else 'late'}", fibre=fibre)
        if row["material"] == "cream of tartar" and fibre in CELLULOSE:
            yield _say(row, "tartar_cellulose", fibre=fibre)


def _on_lists(one: Steps) -> Iterator[Advice]:
    for row in one:
        if row["role"] or not row["material"]:
            continue
        key = "unsafe" if materials.is_unsafe(row["material"]) else "unknown"
        yield _say(row, key, material=row["material"])


def _across(rows: Steps) -> Iterator[Advice]:
    """What shows only when swatches are looked at together."""
    baths: dict[str, Steps] = {}
    for row in _of(rows, "dye", "mordant", "modifier"):
        if row["bath"]:
            baths.setdefault(row["bath"], []).append(row)
    for bath, together in baths.items():
        for symbol, metal in metals.shifting_metals().items():
            having = {row["swatch"] for row in together if row["metal"] == symbol}
            without = [row for row in together if row["swatch"] not in having]
            if having and without:
                codes = ", ".join(list(dict.fromkeys(row["swatch"] for row in without))[:6])
                yield _say(without[0], "share_metal", bath=bath, codes=codes, metal=metal)
        for row in together:
            if row["bath_use"] > 1:
                yield _say(row, "used_bath", bath=bath, times=int(row["bath_use"]) - 1)


_RULES: tuple[Callable[[Steps], Iterator[Advice]], ...] = (
    *(_scour, _tannin, _mordant, _iron, _dose, _on_prints, _pot, _heat, _on_lists),
)
