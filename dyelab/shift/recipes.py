"""A swatch book as variants: one row a recipe as dyed, its mean colour, and its noise."""

from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
import pandas as pd

from dyelab import compare, table, words
from dyelab.errors import InputError, choose
from dyelab.recipe import materials, metals, sequence

METALS = metals.columns()
FACTORS = [
    *("form", "fibre", "ground", "tannin", "tannin_wof", "mordant", "mordant_wof"),
    *("dye", "dye_wof", *METALS.values(), "modifier", "assist", "assist_wof"),
    *("metals_at", "rest", "method"),
]
# What makes two swatches replicates beside the factors: every step in order, and the area.
IDENTITY = ["area", "recipe"]
# Ways of reading a colour, the most trusted first: an instrument's own spectrum, its colour, what
# somebody typed from one, then pictures. They err differently, so they are never averaged.
METHODS = ("spectral", "colorimeter", "typed", "scan", "photo")
# What a step changes in a recipe; `metals` is any of them or several at once.
VARIES = {
    **{metal: ("metals_at", column) for metal, column in METALS.items()},
    "metals": ("metals_at", *METALS.values()),
    "mordant": ("assist", "assist_wof", "mordant", "mordant_wof"),
    "assist": ("assist", "assist_wof"),
    "tannin": ("tannin", "tannin_wof"),
}


@dataclass(frozen=True)
class Recipes:
    """The variants of a book.

    Attributes
    ----------
    made : DataFrame (g rows)
        One row a recipe and `method` of reading, the most trusted method first: its factors,
        `pieces`, `swatch` (codes), `L, a, b`, white point, `u_L, u_a, u_b` (standard uncertainty
        of the mean, as ``compare.mean_covariances`` gives it), `variant` (its row number).
    variants : compare.Variants
        Means and noise of the same g rows.
    rows : DataFrame
        The readings behind them, with the row number of their recipe as `variant`.
    """

    made: pd.DataFrame
    variants: compare.Variants
    rows: pd.DataFrame

    @property
    def methods(self) -> list[str]:
        """How these recipes were read, the most trusted method first."""
        return list(dict.fromkeys(self.made["method"])) if "method" in self.made else []


def as_dyed(
    wide: pd.DataFrame, *, shared: pd.DataFrame | None = None, method: str | None = None
) -> Recipes:
    """Gather the readings taken before any test into recipes.

    Readings by different methods err differently, so each recipe has a row for each method that
    read it; what compares recipes pairs only rows of one method.

    Parameters
    ----------
    wide : DataFrame
        As ``book.wide`` gives it.
    shared : DataFrame, optional
        The book's `shared` table.
    method : str, optional
        Keep only what was read by this method: one of `METHODS`. `leading_method` names the
        one that read most recipes.

    Returns
    -------
    Recipes

    Raises
    ------
    InputError
        If columns are missing, nothing has been read as dyed (by this method), or white points
        mix.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> len(recipes.made)
    98
    """
    table.need(wide, [*table.LAB, *table.WHITE, "swatch"], "shift")
    rows = _read_by(fresh_readings(wide), method)
    white = table.one_white(rows)
    rows, there = _tell_apart(rows)
    rows["variant"] = group_numbers(rows, there)
    series = "series" if "series" in rows else None
    known = shared if shared is not None and len(shared) else None
    variants = compare.gather(rows, by="variant", piece="swatch", shared=known, series=series)
    first = rows.drop_duplicates("variant").reset_index(drop=True)
    once = rows[["variant", "swatch"]].drop_duplicates()
    codes = once.groupby("variant")["swatch"].agg(", ".join)
    colours = dict(zip(table.LAB, variants.mean.T, strict=True))
    made = first[there].assign(**colours, illuminant=white[0], observer=white[1])
    made = made.assign(pieces=variants.pieces, variant=np.arange(len(first)))
    made["swatch"] = codes.to_numpy()
    made = table.with_uncertainties(made, compare.mean_covariances(variants))
    return Recipes(made, replace(variants, names=np.array(recipe_names(made), object)), rows)


def pot_names(rows: pd.DataFrame) -> list[str]:
    """One name for swatches that went through all their baths together; else the swatch's own."""
    if "baths" not in rows:
        return list(rows["swatch"].astype(str))
    pots = map(compare.colour_baths, rows["baths"])
    return [
        f"{swatch}" if not steps or any(step.endswith("=") for step in steps) else " ".join(steps)
        for swatch, steps in zip(rows["swatch"], pots, strict=True)
    ]


def fresh_readings(wide: pd.DataFrame) -> pd.DataFrame:
    """Readings of the cloth itself, taken before any test; `method` as of `table.reading_ways`.

    Raises
    ------
    InputError
        If there is none.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> shift.fresh_readings(wide)["exposure"].unique().tolist()
    ['none']
    """
    keep = wide[table.LAB].notna().all(axis=1)
    if "exposure" in wide:
        keep &= wide["exposure"] == "none"
    if "part" in wide:
        keep &= wide["part"].isin(["", "swatch"]) | wide["part"].isna()
    if not keep.any():
        raise InputError(words.say("variants.nothing"))
    rows = wide[keep].reset_index(drop=True)
    return rows.assign(method=table.reading_ways(rows)) if "method" in rows else rows


def list_recipes(swatches: pd.DataFrame) -> pd.DataFrame:
    """Every recipe of a book, read or not: one row each, as in ``Recipes.made``, without colours.

    Parameters
    ----------
    swatches : DataFrame
        As ``book.areas`` gives it.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> len(shift.list_recipes(book.areas(bk)))
    98
    """
    rows, key = _tell_apart(swatches)
    codes = rows.groupby(key, sort=False, dropna=False)["swatch"]  # NaN: a dose nobody weighed
    first = rows.drop_duplicates(key)[key].reset_index(drop=True)
    return first.assign(swatch=codes.agg(", ".join).to_numpy(), pieces=codes.size().to_numpy())


def unread_recipes(every: pd.DataFrame, recipes: Recipes) -> pd.DataFrame:
    """Those recipes of `list_recipes` that were never read as dyed, by whatever method.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> len(shift.unread_recipes(shift.list_recipes(book.areas(bk)), recipes))
    0
    """
    key = [name for name in [*FACTORS, *IDENTITY] if name in every and name in recipes.made]
    read = pd.MultiIndex.from_frame(recipes.made[key])
    return every[~pd.MultiIndex.from_frame(every[key]).isin(read)].reset_index(drop=True)


def _read_by(rows: pd.DataFrame, method: str | None) -> pd.DataFrame:
    """Rows of this method, or of all of them with the most trusted first."""
    if "method" not in rows:
        return rows
    if method is not None:
        choose(method, _by_trust(rows), "method", "has read a swatch as dyed here")
        return rows[rows["method"] == method].reset_index(drop=True)
    ranks = rows["method"].map({name: rank for rank, name in enumerate(_by_trust(rows))})
    return rows.iloc[np.argsort(ranks.to_numpy(), kind="stable")].reset_index(drop=True)


def _by_trust(rows: pd.DataFrame) -> list[str]:
    """Ways of reading these rows, the most trusted method first, unknown ones last."""
    ranks = {name: rank for rank, name in enumerate(METHODS)}
    there = dict.fromkeys(rows["method"])
    return sorted(there, key=lambda way: ranks.get(table.method_of(way), len(ranks)))


def way_text(way: str) -> str:
    """A way of reading as panels and pages name it: ``spectrophotometer, 45/0, M1``.

    Examples
    --------
    >>> from dyelab import shift
    >>> shift.way_text("spectral")
    'spectrophotometer'
    """
    method = table.method_of(way)
    named = words.say(f"reading.{method}") if method in METHODS else method
    return named + way.removeprefix(method)


def leading_method(wide: pd.DataFrame) -> str | None:
    """Name the method that has read the most swatches as dyed, the most trusted of equals.

    For what has to rest on one method as a whole, such as a page or a model. None where the table
    doesn't say how it was read.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> shift.leading_method(wide)
    'spectral'
    """
    if "method" not in wide:
        return None
    rows = fresh_readings(wide)
    swatches = rows.groupby("method")["swatch"].nunique()
    return max(_by_trust(rows), key=lambda name: swatches[name])


def _tell_apart(rows: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """Rows with blanks filled in and every metal's dose, and the columns that make a recipe."""
    rows = rows.assign(**{column: 0.0 for column in METALS.values() if column not in rows})
    key = [name for name in [*FACTORS, *IDENTITY] if name in rows]
    return _without_salts(rows.assign(**_fill(rows[key]))), key


def _fill(rows: pd.DataFrame) -> dict[str, pd.Series]:
    """Blanks as none; but a metal whose dose can't be worked out stays unknown, and unpaired."""
    metals = METALS.values()
    return {
        str(name): rows[name].astype(float).fillna(np.nan if name in metals else 0.0)
        if str(name).endswith("_wof")
        else rows[name].astype(object).where(rows[name].notna(), "").astype(str)
        for name in rows
    }


def _without_salts(rows: pd.DataFrame) -> pd.DataFrame:
    """Shifting metals are told by their doses alone, wherever in the recipe they stood."""
    salts = shifting_salts()
    changed = {}
    if "modifier" in rows:
        named = {text: text.split(" + ") for text in rows["modifier"].unique()}
        kept = {t: " + ".join(p for p in of if p and p not in salts) for t, of in named.items()}
        changed["modifier"] = rows["modifier"].map(kept).replace("", "none")
    if "mordant" in rows:
        alone = rows["mordant"].isin(salts)
        changed["mordant"] = rows["mordant"].where(~alone, "none")
        if "mordant_wof" in rows:
            changed["mordant_wof"] = rows["mordant_wof"].where(~alone, 0.0)
    return rows.assign(**changed)


@cache
def shifting_salts() -> frozenset[str]:
    """Return the materials that bring a colour-shifting metal.

    Examples
    --------
    >>> from dyelab import shift
    >>> sorted(shift.shifting_salts())[:2]
    ['copper acetate', 'copper sulfate']
    """
    listed = materials()
    return frozenset(listed.loc[listed["metal"].isin(metals.shifting_metals()), "material"])


def group_numbers(frame: pd.DataFrame, names: list[str]) -> np.ndarray:
    """Number rows that agree in all these columns alike, in order of appearance."""
    key = np.zeros(len(frame), np.int64)
    for name in names:
        codes, levels = pd.factorize(frame[name], use_na_sentinel=False)
        key = pd.factorize(key * (len(levels) + 1) + codes)[0].astype(np.int64)
    return key


def which_have(made: pd.DataFrame, picked: dict[str, Any]) -> np.ndarray:
    """Which recipes have these values; a column that isn't there is passed over."""
    keep = np.ones(len(made), bool)
    for name, value in picked.items():
        if name in made:
            keep &= (made[name] == value).to_numpy()
    return keep


def varied_columns(what: str, made: pd.DataFrame) -> list[str]:
    """Columns that `what` varies: a metal, all metals, mordant, its assist, or tannin."""
    choose(what, VARIES, "step", "that can vary")
    return [name for name in VARIES[what] if name in made]


def metals_of(made: pd.DataFrame) -> list[str]:
    """Metals that some recipe here has, in the order of `METALS`; its first where there is none.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> shift.metals_of(recipes.made)
    ['iron', 'copper']
    """
    return [name for name, column in METALS.items() if (made[column] > 0).any()] or [*METALS][:1]


def without_others(made: pd.DataFrame, metal: str) -> pd.Series:
    """Which recipes have no metal but this one, if any.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> int(shift.without_others(recipes.made, "iron").sum())
    81
    """
    others = [column for name, column in METALS.items() if name != metal and column in made]
    return (made[others] == 0).all(axis=1)


def level(made: pd.DataFrame, what: str) -> pd.Series:
    """What each recipe has of `what`, in words: ``iron 2 %``, ``potash alum 15 %``, ``none``.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> shift.level(recipes.made, "mordant").head(2).tolist()
    ['none', 'potash alum 15 %']
    """
    if what in METALS or what == "metals":
        asked = METALS if what == "metals" else {what: METALS[what]}
        doses = zip(*(made[column].tolist() for column in asked.values()), strict=True)
        return pd.Series([_doses(dict(zip(asked, row, strict=True))) or "none" for row in doses])
    doses = made.get(f"{what}_wof", pd.Series(np.nan, index=made.index)).to_numpy(float)
    return pd.Series([dose_text(str(n), d) for n, d in zip(made[what], doses, strict=True)])


def _doses(of: dict[str, float]) -> str:
    return ", ".join(dose_text(metal, dose) for metal, dose in of.items() if not dose <= 0)


def dose_text(name: str, dose: float) -> str:
    """A material with its dose, where that is known: ``iron 2 %``.

    Examples
    --------
    >>> from dyelab import shift
    >>> shift.dose_text("madder", 50.0)
    'madder 50 %'
    """
    return f"{name} {dose:.3g} %" if np.isfinite(dose) and dose > 0 else name


def recipe_names(made: pd.DataFrame, leave_out: tuple[str, ...] = ()) -> list[str]:
    """Each recipe in words: ``madder 50 % on wool, potash alum 15 %, iron 2 %``.

    Form, ground and further steps join where recipes otherwise alike differ in them.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> shift.recipe_names(recipes.made.head(2))
    ['madder 50 % on wool', 'madder 50 % on wool, potash alum 15 %']
    """
    there = {name: made[name].tolist() for name in FACTORS if name in made}
    for name in ("form", "ground"):
        if {"fibre", name} <= set(there):
            several = made.groupby("fibre", sort=False)[name].transform("nunique") > 1
            there[name] = list(made[name].where(several, ""))
    if "area" in made:
        there["area"] = list(made["area"])
    alike = [name for name in ("fibre", "dye", "tannin", "mordant") if name in made]
    if "rest" in there and alike:
        several = made.groupby(alike, sort=False)["rest"].transform("nunique") > 1
        there["rest"] = list(made["rest"].where(several, ""))
        there["dyes"] = list(made["rest"])  # several dyes have a dose each, whatever else is said
    rows = zip(*there.values(), strict=True)
    return [in_words(dict(zip(there, row, strict=True)), leave_out) for row in rows]


def in_words(row: dict, leave_out: tuple[str, ...] = ()) -> str:
    """One recipe in words, from whatever factors the row has; empty where nothing is left.

    Examples
    --------
    >>> from dyelab import shift
    >>> shift.in_words({"dye": "madder", "dye_wof": 50.0, "fibre": "wool", "iron_wof": 2.0})
    'madder 50 % on wool, iron 2 %'
    """
    parts = [_cloth(row, leave_out)]
    for name in ("tannin", "mordant"):
        if name not in leave_out and _is_named(row, name):
            parts.append(dose_text(row[name], _amount(row, name)))
            if name == "mordant" and _is_named(row, "assist"):
                helped = dose_text(row["assist"], _amount(row, "assist"))
                parts[-1] += words.say("recipe_words.with") + helped
    doses = {m: row.get(c) for m, c in METALS.items() if m not in leave_out}
    at = "" if "metals_at" in leave_out else str(row.get("metals_at") or "")
    mordant = "" if "mordant" in leave_out else str(row.get("mordant") or "")
    parts.append(_metals({m: dose for m, dose in doses.items() if dose is not None}, at, mordant))
    if "modifier" not in leave_out:
        parts += _further(row, leave_out)
    parts += [str(row.get(n) or "") for n in ("form", "ground") if n not in leave_out]
    if row.get("area", "whole") not in ("", "whole") and "area" not in leave_out:
        parts.append(str(row["area"]))
    return ", ".join(part for part in parts if part)


def _metals(doses: dict[str, float], at: str, mordant: str) -> str:
    """Each metal with its dose and where it went in; told once where its salt is the mordant."""
    places = [part for part in at.split(" > ") if part]
    symbols = [part.partition(" ")[0] for part in places]
    early = []
    for symbol, part in zip(symbols, places, strict=True):
        metal = metals.symbols().get(symbol, symbol)
        dose = doses.pop(metal, np.nan) if symbols.count(symbol) == 1 else np.nan
        if (part.partition(" as ")[2] or metals.salts().get(metal)) != mordant:
            early.append(metals.say_place(part, dose_text(metal, dose)))
    return ", ".join(filter(None, [*early, _doses(doses)]))


def _further(row: dict, leave_out: tuple[str, ...]) -> list[str]:
    """Modifiers, and what else was done; a part that was printed is told from the whole cloth."""
    rest = "" if "rest" in leave_out else str(row.get("rest") or "")
    others = [step for step in sequence.steps(rest) if step.kind not in sequence.DYEING]
    said = sequence.say(others) or (str(row["modifier"]) if _is_named(row, "modifier") else "")
    return [said, words.say("recipe_words.printed") if rest.endswith("printed") else ""]


def _cloth(row: dict, leave_out: tuple[str, ...]) -> str:
    """The dye and what it is on: ``madder 50 % on wool``, ``undyed wool``."""
    fibre = "" if "fibre" in leave_out else str(row.get("fibre") or "")
    if "dye" in leave_out:
        return fibre
    if not _is_named(row, "dye"):
        return words.say("recipe_words.undyed", fibre=fibre).strip()
    layers = sequence.dyes(str(row.get("dyes", row.get("rest")) or ""))
    dye = words.say("recipe_words.then").join(map(sequence.step_in_words, layers))
    dye = dye or dose_text(row["dye"], _amount(row, "dye"))
    return words.say("recipe_words.on", dye=dye, fibre=fibre) if fibre else dye


def _is_named(row: dict, name: str) -> bool:
    return str(row.get(name) or "none") not in ("none", "nan")


def _amount(row: dict, name: str) -> float:
    value = row.get(f"{name}_wof")
    return float(value) if isinstance(value, int | float) else np.nan
