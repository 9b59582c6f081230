"""A planned series: recipes with codes, steps, baths, totals, and what it can and can't tell."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
import pandas as pd

from dyelab import recipe, words
from dyelab.book import Book
from dyelab.card import label_numbers
from dyelab.errors import InputError, choose
from dyelab.plan import baths as bathing
from dyelab.plan import design as designs
from dyelab.plan import factors as factoring

Design = Literal["full", "fraction", "optimal"]
RECIPE = ["fibre", "tannin", "tannin_wof", "mordant", "mordant_wof", "dye", "dye_wof"]
RECIPE += [*recipe.metals.columns().values(), "modifier", "modifier_wof"]
_GROUND = ["tannin", "tannin_wof", "mordant", "mordant_wof"]


@dataclass(frozen=True, repr=False)
class Series:
    """A planned series.

    Attributes
    ----------
    name : str
    swatches : DataFrame
        One row a swatch in working order: swatch (code), place (in the working order), purpose
        (series, or which control), replicate, the recipe columns, mass_g, label_number.
    steps : DataFrame
        The columns of `table.STEPS`, each with its bath.
    baths : DataFrame
        One row a bath and material: bath, kind, round, day, fibre, material, wof, weigh_g, fibre_g,
        water_L, swatches (number), codes, temperature_C, minutes, note.
    design : str
        full, fraction or optimal; given where the recipes were.
    resolution : int or None
        Of a regular fraction.
    cannot : tuple of str
        What this series can't tell, in words.
    notes : tuple of str
    seed : int
    levels : mapping
        What `series` was asked to cross.
    pots : str
    water_bath : int
        As `series` was asked.
    """

    name: str
    swatches: pd.DataFrame
    steps: pd.DataFrame
    baths: pd.DataFrame
    design: str
    resolution: int | None
    cannot: tuple[str, ...]
    notes: tuple[str, ...]
    seed: int
    levels: factoring.Levels = field(default_factory=dict)
    pots: str = "rounds"
    water_bath: int = 0

    def __repr__(self) -> str:
        many = (self.swatches["purpose"] == "series").sum()
        return (
            f"Series({self.name!r}: {many} swatches and {len(self.swatches) - many} controls, "
            f"{self.baths['bath'].nunique()} baths)"
        )


def series(
    factors: Mapping[str, Sequence[Any]],
    *,
    name: str = "series",
    design: Design = "full",
    runs: int | None = None,
    divide: int = 2,
    replicates: int = 2,
    controls: bool = True,
    mass_g: float = 5.0,
    liquor_ratio: float = 40.0,
    pots: str = "rounds",
    most_in_bath: int = 24,
    water_bath: int = 0,
    seed: int = 1,
    listed: pd.DataFrame | None = None,
    keep: Series | Book | None = None,
) -> Series:
    """Plan a series of swatches.

    Parameters
    ----------
    factors : mapping
        Factors and levels, as `levels` reads them: ``{"fibre": ["wool"], "tannin": ["none",
        "gallnut 8"], "mordant": ["potash alum 15"], "dye": ["madder 50"], "iron": [0, 2, 4]}``.
    design : {"full", "fraction", "optimal"}
        Every recipe; one in `divide`; or the `runs` that tell most.
    runs : int, optional
        Recipes of an optimal design; by default half of the full one, or as few as needed.
    divide : int
        2, 3, 4, 8 or 9: the fraction is one recipe in so many.
    replicates : int
        Swatches of each recipe. One alone can't show swatch-to-swatch scatter.
    controls : bool
        Add the undyed cloth, tannin and mordant alone and together, and these with each metal:
        what `shift.separate` needs to tell the metal's work on the dye from the rest.
    mass_g, liquor_ratio : float
        Dry mass of a swatch, and litres of bath per kg of fibre.
    pots : {"rounds", "each", "shared"}
        A round is one swatch of each recipe. Each round has pots of its own, on days of its own:
        then rounds show what pots differ by. Or each swatch has a pot of its own; or all rounds
        share their pots, and no verdict can tell a recipe from the luck of its pot. Cloths that
        would spoil one another never share a pot.
    most_in_bath : int
        Swatches that a pot holds.
    water_bath : int
        Pots that are jars standing together in one water bath, up to so many: pots of their
        own that share the heat; 0 where each pot is heated alone.
    seed : int
        Of the random working order; the same seed gives the same plan.
    keep : Series or Book, optional
        An earlier plan, or the book: recipes planned before keep their codes and no code is
        given twice, nor that of a bath of a series of this name.

    Raises
    ------
    InputError
        If a factor, level, design or number can't be.

    Examples
    --------
    >>> from dyelab import plan
    >>> levels = {"fibre": ["wool"], "dye": ["madder 50"], "iron": [0, 2]}
    >>> series = plan.series(levels, name="Iron")
    >>> series
    Series('Iron': 4 swatches and 4 controls, 10 baths)
    """
    chosen = factoring.levels(factors, listed)
    sizes = {factor: len(found) for factor, found in chosen.items()}
    indices, resolution = factoring.full_factorial(chosen, listed), None
    choose(design, ("full", "fraction", "optimal"), "design")
    if design == "optimal":
        indices = _optimal(indices, sizes, runs, seed)
    elif design == "fraction":
        indices, resolution = _fraction(indices, sizes, divide)
    rows = factoring.recipes(indices, chosen, listed).assign(purpose="series")
    if controls:
        rows = pd.concat([rows, _controls(rows)], ignore_index=True)
    made = of_recipes(
        rows, name=name, replicates=replicates, mass_g=mass_g, liquor_ratio=liquor_ratio,
        pots=pots, most_in_bath=most_in_bath, water_bath=water_bath, seed=seed, listed=listed,
        keep=keep,
    )  # fmt: skip
    cannot = (*designs.cannot_tell(indices, sizes), *_unseen(replicates, controls, pots))
    return replace(made, design=design, resolution=resolution, cannot=cannot, levels=chosen)


def of_recipes(
    recipes: pd.DataFrame,
    *,
    name: str = "series",
    replicates: int = 1,
    mass_g: float = 5.0,
    liquor_ratio: float = 40.0,
    pots: str = "rounds",
    most_in_bath: int = 24,
    water_bath: int = 0,
    seed: int = 1,
    listed: pd.DataFrame | None = None,
    keep: Series | Book | None = None,
) -> Series:
    """Plan given recipes, such as those a model would like to see, without any design.

    Parameters
    ----------
    recipes : DataFrame
        One row a recipe, in the columns of ``book.recipes``; `purpose` is ``series`` where it
        isn't there.
    name, replicates, mass_g, liquor_ratio, pots, most_in_bath, water_bath, seed, listed, keep
        As for `series`.

    Raises
    ------
    InputError
        If a number can't be.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import plan
    >>> rows = pd.DataFrame({"fibre": ["wool"], "dye": ["weld"], "dye_wof": [50.0]})
    >>> plan.of_recipes(rows, name="next")
    Series('next': 1 swatches and 0 controls, 3 baths)
    """
    counts = {"replicates": replicates, "most_in_bath": most_in_bath}
    _sensible(pots, seed, mass_g=mass_g, liquor_ratio=liquor_ratio, **counts)
    blank = {c: 0.0 if c.endswith("_wof") else "none" for c in RECIPE}
    rows = pd.DataFrame({c: recipes[c] if c in recipes else blank[c] for c in RECIPE})
    rows = rows.assign(purpose=recipes.get("purpose", "series")).reset_index(drop=True)
    rows = rows.loc[rows.index.repeat(replicates)]
    rows["replicate"] = rows.groupby(level=0).cumcount() + 1
    rows = _order(rows.reset_index(drop=True), seed).assign(mass_g=mass_g)
    rows.insert(0, "swatch", _codes(rows, name, keep))
    rows["label_number"] = label_numbers(rows["swatch"], name, _labels(keep))
    steps = bathing.steps(rows, liquor_ratio, listed)
    taken = _baths_of(keep, name) if isinstance(keep, Book) else set()
    steps = bathing.with_baths(steps, rows, pots=pots, most=most_in_bath, taken=taken)
    return Series(
        name=name,
        swatches=rows,
        steps=steps,
        baths=bathing.bath_rows(steps, rows, pots=pots),
        design="given",
        resolution=None,
        cannot=_unseen(replicates, True, pots),
        notes=_notes(steps, rows, listed),
        seed=seed,
        pots=pots,
        water_bath=water_bath,
    )


def _notes(steps: pd.DataFrame, rows: pd.DataFrame, listed: pd.DataFrame | None) -> tuple[str, ...]:
    """Why cloths were kept apart, and what is worth a thought in the recipes."""
    apart = [words.say(f"series.apart_{kind}") for kind in bathing.separated_kinds(steps)]
    return (*apart, *recipe.advise(steps, rows, listed)["advice"].unique())


def _sensible(pots: str, seed: int, **asked: float) -> None:
    choose(pots, bathing.POTS, "pot use", "in a series")
    for name, value in asked.items():
        if not (np.isfinite(value) and value > 0):
            raise InputError(f"{name} = {value} is not above 0. Give a number from 1 upwards.")
        if name in ("replicates", "most_in_bath") and value != int(value):
            raise InputError(f"{name} = {value} is no whole number. Give one from 1 upwards.")
    if not 0 <= seed < 2**32:
        raise InputError(f"seed = {seed} is outside 0 to {2**32 - 1}. Give a whole number there.")


def _fraction(
    full: pd.DataFrame, sizes: Mapping[str, int], divide: int
) -> tuple[pd.DataFrame, int | None]:
    """Level numbers of one recipe in so many of all, and the resolution."""
    if len(full) < int(np.prod(list(sizes.values()))):
        raise InputError(
            "a balanced fraction needs every combination, and a vat dye takes no mordant. "
            'Choose the optimal design: design="optimal".'
        )
    by = next((prime for prime in (2, 3, 5) if divide % prime == 0), 0)
    times = round(np.log(divide) / np.log(by)) if by else 0
    if not by or by**times != divide:
        raise InputError(f"one recipe in {divide}: choose 2, 3, 4, 8 or 9.")
    return designs.fraction(sizes, by, times)


def _optimal(
    full: pd.DataFrame, sizes: Mapping[str, int], runs: int | None, seed: int
) -> pd.DataFrame:
    """All pairs acting together if there is room, else those with a metal, else single factors."""
    pairs = designs.all_terms(sizes)
    metal = [t for t in pairs if len(t) == 1 or set(t) & set(factoring.METALS)]
    single = [t for t in pairs if len(t) == 1]
    wanted = runs if runs is not None else max(len(full) // 2, 1)
    for terms in (pairs, metal, single):
        needed = np.linalg.matrix_rank(designs.model_matrix(full, sizes, terms))
        if needed <= wanted or (runs is None and terms is single):
            return designs.optimal(full, sizes, terms, max(wanted, int(needed)), seed=seed)
    return designs.optimal(full, sizes, single, wanted, seed=seed)


def _controls(rows: pd.DataFrame) -> pd.DataFrame:
    """The swatches that make shifts separable, those that the design doesn't hold already.

    A control keeps the mordant of the dyed cloth it stands for: iron on bare wool is another
    thing than iron on wool that took alum.
    """
    groups = rows.groupby("fibre", sort=False)
    undyed = [row for fibre, own in groups for row in _undyed_controls(str(fibre), own)]
    frame = pd.DataFrame({**row, "purpose": _purpose(row)} for row in undyed)
    frame = frame.drop_duplicates(RECIPE)
    there = set(rows[RECIPE].itertuples(index=False, name=None))
    new = [row not in there for row in frame[RECIPE].itertuples(index=False, name=None)]
    return frame[new]


def _undyed_controls(fibre: str, own: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """The bare cloth, then every ground of one fibre without dye, and with each metal."""
    bare: dict[str, Any] = {name: 0.0 if name.endswith("_wof") else "none" for name in RECIPE}
    bare["fibre"] = fibre
    yield bare
    metals: list[dict[str, float]] = [
        {f"{metal}_wof": dose}
        for metal in factoring.METALS
        for dose in sorted(own[f"{metal}_wof"].unique())
        if dose
    ]
    grounds: list[Any] = own[_GROUND].drop_duplicates().to_dict("records")
    without = [{**ground, "tannin": "none", "tannin_wof": 0.0} for ground in grounds]
    yield from ({**bare, "tannin": g["tannin"], "tannin_wof": g["tannin_wof"]} for g in grounds)
    for ground in (*without, *grounds):
        for metal in ({}, *metals):
            yield {**bare, **ground, **metal}


def _purpose(row: dict[str, Any]) -> str:
    metal = " and ".join(m for m in factoring.METALS if row[f"{m}_wof"])
    tannin, mordant = row["tannin"] != "none", row["mordant"] != "none"
    if metal:
        ground = "tannin plus" if tannin else ("mordant plus" if mordant else "only")
        return f"{metal} only" if ground == "only" else f"{ground} {metal}"
    if tannin:
        return "tannin and mordant" if mordant else "tannin only"
    return "mordant only" if mordant else "undyed"


def _order(rows: pd.DataFrame, seed: int) -> pd.DataFrame:
    """Random working order, replicates spread so that each round holds every recipe once."""
    shuffled = rows.sample(frac=1, random_state=seed).sort_values("replicate", kind="stable")
    shuffled = shuffled.reset_index(drop=True)
    return shuffled.assign(place=np.arange(1, len(shuffled) + 1))


def _codes(rows: pd.DataFrame, name: str, keep: Series | Book | None) -> list[str]:
    """Short codes; recipes planned before keep theirs, and none is given twice."""
    used, known = _codes_used(keep)
    letters = "".join(word[0] for word in name.split() if word[:1].isalpha()).upper()[:3]
    prefix = letters or "S"
    fresh = (code for i in range(1, 100_000) if (code := f"{prefix}-{i:02}") not in used)
    codes = []
    for row in rows[[*RECIPE, "replicate"]].itertuples(index=False, name=None):
        kept = known.pop(row, None)
        codes.append(kept or next(fresh))
    return codes


def _labels(keep: Series | Book | None) -> set[int]:
    """Numbers of labels that are given already; an earlier plan's own come out the same again."""
    if not isinstance(keep, Book):
        return set()
    return set(keep.swatches["label_number"].dropna().astype(int))


def _baths_of(bk: Book, name: str) -> set[str]:
    """Codes of the baths that a book's series of this name has."""
    own = bk.swatches.loc[bk.swatches["series"].eq(name), "swatch"]
    return set(bk.steps.loc[bk.steps["swatch"].isin(own), "bath"]) - {""}


def _codes_used(keep: Series | Book | None) -> tuple[set[str], dict[tuple[Any, ...], str]]:
    if keep is None:
        return set(), {}
    if isinstance(keep, Book):
        return set(keep.swatches["swatch"]), {}
    rows = keep.swatches[[*RECIPE, "replicate"]].itertuples(index=False, name=None)
    return set(keep.swatches["swatch"]), dict(zip(rows, keep.swatches["swatch"], strict=True))


def _unseen(replicates: int, controls: bool, pots: str) -> tuple[str, ...]:
    there = {"one_swatch": replicates < 2, "no_controls": not controls}
    there["shared_bath"] = pots == "shared" and replicates > 1
    return tuple(words.say(f"series.{key}") for key, holds in there.items() if holds)


def add_series(bk: Book, planned: Series) -> Book:
    """Add a planned series to a book: its swatches, and its steps marked as planned.

    Raises
    ------
    InputError
        If a code of a swatch or a bath is taken already; plan again with ``keep=bk``.

    Examples
    --------
    >>> from dyelab import book, plan
    >>> levels = {"fibre": ["wool"], "dye": ["madder 50"], "iron": [0, 2]}
    >>> series = plan.series(levels, name="Iron")
    >>> bk = plan.add_series(book.create(folder / "mine"), series)
    >>> bk
    Book('mine': 8 swatches, 24 steps, 0 readings, 0 faults)
    """
    from dyelab import book

    rows = planned.swatches
    swatches = rows[["swatch", "fibre", "mass_g", "label_number"]].assign(
        form="cloth",
        series=planned.name,
        note=np.where(rows["purpose"] == "series", "", "control: " + rows["purpose"]),
    )
    grown = book.add(bk, swatches=swatches, steps=planned.steps.assign(state="planned"))
    if taken := sorted(_baths_of(bk, planned.name) & set(planned.steps["bath"])):
        raise InputError(words.say("series.baths_taken", name=planned.name, bath=taken[0]))
    return grown


def with_label_numbers(bk: Book) -> Book:
    """Give a label's number to every swatch of a book that has none; the others keep theirs.

    Examples
    --------
    >>> from dyelab import book, plan, synth
    >>> bk = book.open(synth.example())
    >>> int(plan.with_label_numbers(bk).swatches["label_number"].isna().sum())
    0
    """
    from dyelab import book

    rows = bk.swatches[bk.swatches["label_number"].isna()].copy()
    taken = _labels(bk)
    for series, own in rows.groupby("series", dropna=False):
        numbers = label_numbers(own["swatch"], str(series or bk.title), taken)
        rows.loc[own.index, "label_number"] = numbers
        taken |= set(numbers)
    return book.change(bk, swatches=rows) if len(rows) else bk


def totals(planned: Series) -> pd.DataFrame:
    """Return what the whole series takes: material, grams, and litres of water in the last row.

    Examples
    --------
    >>> from dyelab import plan
    >>> levels = {"fibre": ["wool"], "dye": ["madder 50"], "iron": [0, 2]}
    >>> series = plan.series(levels, name="Iron")
    >>> plan.totals(series).round(1)
              material  amount unit
    0     neutral soap     0.8    g
    1           madder    10.0    g
    2  ferrous sulfate     0.4    g
    3            water     4.8    L
    """
    weighed = planned.baths.groupby("material", sort=False)["weigh_g"].sum().reset_index()
    weighed = weighed[weighed["material"] != ""].assign(unit="g")
    water = planned.baths.drop_duplicates("bath")["water_L"].sum()
    last = pd.DataFrame([{"material": "water", "weigh_g": water, "unit": "L"}])
    return pd.concat([weighed, last], ignore_index=True).rename(columns={"weigh_g": "amount"})
