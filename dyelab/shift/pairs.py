"""Swatches that differ in one step alone, found in the book, and what that step did."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy import special

from dyelab import compare, table, words
from dyelab.compare.directions import hue_part
from dyelab.errors import InputError
from dyelab.shift.recipes import (
    FACTORS,
    METALS,
    Recipes,
    as_dyed,
    group_numbers,
    level,
    recipe_names,
    varied_columns,
    which_have,
)

PARTS = ["dL", "da", "db", "dC", "dH"]


@dataclass(frozen=True)
class Shift:
    """What one step did, pair by pair.

    Attributes
    ----------
    what : str
        iron, copper, mordant or tannin.
    pairs : DataFrame
        One row a matched pair: the factors held, `method` (both were read by it: the most
        trusted that read both), `level` (what the sample has of the step), `dose`, `recipe` (in
        words), then the columns of ``compare.to_reference``.
    recipes : Recipes
        All variants of the book.
    """

    what: str
    pairs: pd.DataFrame
    recipes: Recipes

    def by(self, *factors: str) -> pd.DataFrame:
        """Mean shift and its spread over pairs; see `mean_shift`."""
        return mean_shift(self.pairs, by=list(factors))


def of_step(
    wide: pd.DataFrame | Recipes,
    what: str,
    *,
    reference: str = "none",
    shared: pd.DataFrame | None = None,
    hold: dict[str, Any] | None = None,
    formula: str = "dE00",
    confidence: float = 0.95,
) -> Shift:
    """Compare recipes that differ in one step alone: a metal, all metals, mordant or tannin.

    Parameters
    ----------
    wide : DataFrame or Recipes
        As ``book.wide`` gives it, or already gathered by `as_dyed`.
    what : str
        A metal, ``metals`` (any of them, or several at once), ``mordant`` or ``tannin``.
    reference : str
        What the reference has of it: ``none``, a material such as ``potash alum``, or a
        material with its dose as `level` words it.
    hold : dict, optional
        Factors to hold, such as ``{"dye": "weld"}``: only such pairs are compared, and only
        they count for the correction of the verdicts.
    shared : DataFrame, optional
        The book's `shared` table.
    formula, confidence
        As for ``compare.to_reference``.

    Returns
    -------
    Shift

    Raises
    ------
    InputError
        If no two recipes differ in that step alone; the message says which swatch is missing.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> len(shift.of_step(wide, "iron").pairs)
    40
    >>> shift.of_step(wide, "mordant").pairs[["level", "dE00"]].head(1).round(1)
                  level  dE00
    0  potash alum 15 %  23.7
    """
    recipes = wide if isinstance(wide, Recipes) else as_dyed(wide, shared=shared)
    found = pairs(recipes, what, reference, hold, formula=formula, confidence=confidence)
    if found.empty:
        made = recipes.made
        raise InputError(_why_none(made[which_have(made, hold or {})], what, reference))
    return Shift(what, found, recipes)


def pairs(
    recipes: Recipes,
    what: str,
    reference: str = "none",
    hold: dict[str, Any] | None = None,
    *,
    formula: str = "dE00",
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Return `Shift.pairs`, empty where no two recipes differ in the step alone; see `of_step`.

    All that says what a step did takes its pairs from here.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> found = shift.pairs(recipes, "iron")
    >>> found[["recipe", "dE00"]].head(1).round(1)
                                                  recipe  dE00
    0  madder 50 % on wool, potash alum 15 %, iron 0.5 %   7.7
    """
    made = recipes.made
    table.need(made, [*(hold or {})], "what to hold")
    columns = varied_columns(what, made)
    first, second = _match(made, what, columns, reference)
    keep = which_have(made.iloc[second], hold or {})
    first, second = first[keep], second[keep]
    if not len(first):
        return pd.DataFrame()
    found = compare_rows(recipes, first, second, formula=formula, confidence=confidence)
    held = [name for name in FACTORS if name in made and name not in columns]
    sample = made.iloc[second].reset_index(drop=True)
    dosed = what != "metals" and columns[-1].endswith("_wof")
    context = sample[held].assign(
        level=level(sample, what),
        dose=sample[columns[-1]].to_numpy(float) if dosed else np.nan,
        recipe=recipes.variants.names[second],
    )
    return pd.concat([context, found], axis=1)


def compare_rows(
    recipes: Recipes,
    first: np.ndarray,
    second: np.ndarray,
    *,
    formula: str = "dE00",
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Compare recipes by their row numbers: as ``compare.pairs``, with `from_row, to_row`.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> found = shift.compare_rows(recipes, np.array([0]), np.array([1]))
    >>> found[["dE00", "verdict"]].round(1)
       dE00 verdict
    0  23.7    real
    """
    found = compare.between(
        recipes.variants, first, second, formula, confidence, replicates_needed=True
    )
    return found.assign(from_row=first, to_row=second)


def _match(
    made: pd.DataFrame, what: str, columns: list[str], reference: str
) -> tuple[np.ndarray, np.ndarray]:
    """Row numbers of references and samples that agree in every other factor."""
    held = [name for name in FACTORS if name in made and name not in columns]
    base = level(made, what).to_numpy() == reference
    if what in made:
        base |= (made[what] == reference).to_numpy()
    group = group_numbers(made, held)
    rows = pd.Series(np.flatnonzero(base), index=group[base])
    rows = rows[~rows.index.duplicated()]
    dosed = made[list(METALS.values())].notna().all(axis=1).to_numpy()  # unknown pairs with nothing
    samples = np.flatnonzero(~base & dosed & np.isin(group, rows.index))
    first = rows.reindex(group[samples]).to_numpy()
    # Of a pair read by several methods, the most trusted reading: `made` has those first.
    recipe = group_numbers(made, [name for name in FACTORS if name in made and name != "method"])
    ends = pd.DataFrame({"first": recipe[first], "second": recipe[samples]})
    keep = ~ends.duplicated().to_numpy()
    return first[keep], samples[keep]


def _why_none(made: pd.DataFrame, what: str, reference: str) -> str:
    others = made[level(made, what).to_numpy() != reference]
    if others.empty:
        other = "" if reference == "none" else f" other than {reference}"
        return (
            f"no swatch here has {what}{other}. Dye one swatch of a recipe you have with "
            f"{what}, measure it, and come back."
        )
    wanted = others.iloc[[0]].copy()
    if what not in made:
        wanted[varied_columns(what, made)] = 0.0
    recipe = recipe_names(wanted, (what,) if what in made else ())[0]
    return (
        f"no two recipes here differ in {what} alone. Missing, for one: {recipe}, "
        f"with {what} {reference}. Dye and measure that swatch."
    )


def mean_shift(
    pairs: pd.DataFrame, *, by: list[str] | None = None, confidence: float = 0.95
) -> pd.DataFrame:
    """Mean shift over pairs, and how much it differs from one pair to another.

    Parameters
    ----------
    pairs : DataFrame
        As `Shift.pairs`.
    by : list of str
        Columns such as ``fibre``, ``tannin``, ``dye``, ``level``; all pairs together without.

    Returns
    -------
    DataFrame
        The columns of `by`, `pairs`, then for dL, da, db, dC, dH the mean, `_low`, `_high`
        (Student's t over pairs; blank for one pair) and `_spread` (standard deviation over
        pairs), mean `dE00`, and `moved` in words: the ways that half of the pairs or more went,
        with their number where not all did.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> shift.mean_shift(shift.pairs(recipes, "iron"))[["dL"]].round(1)
         dL
    0 -16.3
    """
    by = by or []
    table.need(pairs, [*by, *PARTS], "mean shift")
    groups = pairs.groupby(by, sort=False) if by else [((), pairs)]
    keyed = [dict(zip(by, key, strict=True)) | _mean(part, confidence) for key, part in groups]
    return pd.DataFrame(keyed)


def _mean(part: pd.DataFrame, confidence: float) -> dict:
    n = len(part)
    values = part[PARTS].to_numpy(float)
    mean = values.mean(axis=0)
    spread = values.std(axis=0, ddof=1) if n > 1 else np.full(len(PARTS), np.nan)
    reach = special.stdtrit(n - 1, (1 + confidence) / 2) * spread / np.sqrt(n) if n > 1 else spread
    row: dict = {"pairs": n}
    for name, middle, far, own in zip(PARTS, mean, reach, spread, strict=True):
        row |= {name: middle, f"{name}_low": middle - far, f"{name}_high": middle + far}
        row[f"{name}_spread"] = own
    row["dE00"] = part["dE00"].mean()
    return row | {"moved": _common_way(part)}


def _common_way(part: pd.DataFrame) -> str:
    """Ways that at least half of the pairs went, whatever the degree, in words.

    With their number where not all did.
    """
    ends = [part[[f"{end}_{name}" for name in table.LAB]].to_numpy(float) for end in ("from", "to")]
    went = compare.direction_codes(*ends)
    counts = {way: sum(way in one for one in went) for way in compare.WAYS}
    said = [
        words.say("direction.most", way=words.say(f"direction.{way}"), part=n, of=len(went))
        if n < len(went)
        else words.say(f"direction.{way}")
        for way, n in counts.items()
        if 2 * n >= len(went)
    ]
    return ", ".join(said) or words.say("direction.no_common")


def rank(pairs: pd.DataFrame, *, formula: str = "dE00") -> pd.DataFrame:
    """Order variants by how far they moved, with the dyer's names for the way.

    Parameters
    ----------
    pairs : DataFrame
        As `Shift.pairs` or ``compare.to_reference`` give it, with `L, a, b` of both in
        `from_L` … `to_b` where hue names shall be exact.
    formula : str
        dE76, dE00 or dECMC.

    Returns
    -------
    DataFrame
        Furthest first: `place`, `recipe`, the distance with its interval, and
        `saddening` (-(ΔL* + ΔC*) / √2: darker and duller), `warming` (ΔH* towards hue 50°,
        orange; negative is cooling), `greening` (ΔH* where hue moved towards green; negative
        towards red), `moved`, `verdict`, `caveat`. All in CIELAB units.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> found = shift.rank(shift.of_step(wide, "iron").pairs)
    >>> found[["dE00", "verdict"]].head(1).round(1)
       dE00 verdict
    0  33.4    real
    """
    table.need(pairs, [formula, "dL", "dC", "dH", "moved"], "ranking")
    warming, greening = _hue_names(pairs)
    sad = -(pairs["dL"] + pairs["dC"]) / np.sqrt(2)
    result = pairs.assign(saddening=sad, warming=warming, greening=greening)
    result = result.sort_values(formula, ascending=False, kind="stable").reset_index(drop=True)
    result.insert(0, "place", np.arange(1, len(result) + 1))
    names = ["place", "recipe", "sample", formula, f"{formula}_low", f"{formula}_high"]
    names += ["saddening", "warming", "greening", "moved", "verdict", "caveat"]
    return result[[name for name in names if name in result]]


def _hue_names(pairs: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Hue change towards orange, and towards green, in CIELAB units."""
    size = pairs["dH"].abs().to_numpy()
    angle = hue_part(pairs[["from_a", "from_b"]].to_numpy(), pairs[["to_a", "to_b"]].to_numpy())
    warm = size * np.sign(np.cos(np.radians(angle - 50)))
    quarter = np.round(angle / 90).astype(int) % 4
    return warm, np.where(quarter == 2, size, np.where(quarter == 0, -size, 0.0))


def interaction(
    wide: pd.DataFrame | Recipes, *, shared: pd.DataFrame | None = None, confidence: float = 0.95
) -> pd.DataFrame:
    """What two metals do together beyond the sum of what each does alone.

    Parameters
    ----------
    wide : DataFrame or Recipes
    shared : DataFrame, optional
    confidence : float

    Returns
    -------
    DataFrame
        One row where all four of none, each metal and both exist: the factors, `recipe`,
        `dL, da, db` (both - one - other + none) and its length `distance` (ΔE*ab), each with
        `_low` and `_high`, `noise_floor`, `verdict`, `moved`, `words`. Each four was read by
        one method, the most trusted that read all of it. Empty where there is no such four.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> len(shift.interaction(recipes))
    1
    """
    recipes = wide if isinstance(wide, Recipes) else as_dyed(wide, shared=shared)
    made = recipes.made
    held = [n for n in FACTORS if n in made and n not in METALS.values()]
    key = [*held, *METALS.values()]
    at = pd.Series(np.arange(len(made)), index=pd.MultiIndex.from_frame(made[key]))
    at = at[~at.index.duplicated()]
    two = np.flatnonzero((made[list(METALS.values())] > 0).sum(axis=1) == 2)
    fours = [four for row in two if (four := _four(made, at, key, int(row))) is not None]
    if not fours:
        return pd.DataFrame(columns=["recipe", *METALS.values(), "distance", "verdict"])
    apart = [name for name in key if name != "method"]
    whole = [made.iloc[four[0]][apart] for four in fours]
    rows = np.array(fours)[~pd.DataFrame(whole).duplicated().to_numpy()]
    mean = recipes.variants.mean[rows]
    summed = mean[:, 1] + mean[:, 2] - mean[:, 3]
    weights = np.array([1, -1, -1, 1.0])
    found = compare.contrast(recipes.variants, rows, weights, summed, confidence)
    context = made.iloc[rows[:, 0]].reset_index(drop=True)
    result = pd.concat([context[key].assign(recipe=recipe_names(context)), found], axis=1)
    return result.assign(words=[_beyond_the_sum(row) for row in result.to_dict("records")])


def _beyond_the_sum(row: dict[Any, Any]) -> str:
    told = {"distance": words.number_span(row, "distance", 1)}
    told |= {"recipe": row["recipe"], "moved": row["moved"]}
    names = [name for name, column in METALS.items() if row[column] > 0]
    metals = words.say("family.and").join(names).capitalize()
    return words.say(
        "shift.together", metals=metals, verdict=compare.in_words(row, said=True), **told
    )


def _four(made: pd.DataFrame, at: pd.Series, key: list[str], row: int) -> list[int] | None:
    """Rows with both metals, the first alone, the second alone, and neither."""
    own = dict(zip(key, made[key].iloc[row], strict=True))
    one, other = (column for column in METALS.values() if own[column] > 0)
    wanted = [own, own | {other: 0.0}, own | {one: 0.0}, own | {one: 0.0, other: 0.0}]
    places = [tuple(cell[name] for name in key) for cell in wanted]
    return [int(at[place]) for place in places] if all(p in at.index for p in places) else None
