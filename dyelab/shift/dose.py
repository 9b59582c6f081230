"""Dose curves: how much metal shows, how much does half, and how much more is wasted.

Lightness, a* and b* follow one curve of the dose with a shared rate, from which the colour may
stray smoothly: one that comes to rest, 1 - exp(-k x) or x / (x + 1/k) (Langmuir 1918), or one that
creeps on, log(1 + k x) (Temkin and Pyzhev 1940) or a power of x (Freundlich 1906). Shapes, rates
and looseness are weighed by how well they fit, coordinates drawn from their joint posterior (flat
in the shift at the largest dose and in the logarithm of the rate; the swatch-to-swatch covariance
learned from this curve and from all other replicates), so that every dose read off the curve
carries an interval. What readings share, such as what a camera gets wrong of each colour, is drawn
and added before each fit. Doses are read within the range dyed: nothing is extrapolated.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dyelab import compare, numerics, table, words
from dyelab.compare import noise, pots
from dyelab.compare.formulas import FORMULAS
from dyelab.errors import InputError, choose
from dyelab.shift.recipes import (
    FACTORS,
    METALS,
    Recipes,
    as_dyed,
    group_numbers,
    recipe_names,
    which_have,
    without_others,
)

SHAPES = ("exponential", "hyperbola", "logarithm", "power")
# How many rates are tried, and doses a curve is drawn at; looseness in variances of a swatch, up to
# ten times its scatter. tests/benchmarks/dose_truth.py measures whether limits hold with these.
_RATES, _GRID = 50, 81
_LOOSE = (0.1, 1.0, 10.0, 100.0)
_ERRORS = 25  # draws of what readings share: limits of a dose then stray by a tenth of their width
_REACH = 0.2  # of the doses on a ratio scale: how far a straying carries (same script)
LEVELS = ("visible", "half", "enough")


@dataclass(frozen=True)
class DoseCurve:
    """A dose curve and the doses read off it.

    Attributes
    ----------
    metal, recipe : str
    points : DataFrame
        One row a swatch: `swatch, dose, L, a, b`, white point, `distance` from the start.
    band : DataFrame
        `dose`, then for L, a, b and `distance` (the formula's, from the unmodified colour) the
        median, `_low` and `_high`.
    doses : DataFrame
        Rows `visible`, `half`, `enough`: `what`, `dose`, `low`, `high` (% WOF), infinite where
        not reached within the doses dyed. Below the least dose dyed the shape of the curve alone
        speaks: `low` is 0 there.
    shapes : dict
        Weight of each curve shape.
    formula : str
    visible : float
        Difference taken as just visible.
    method : str
        How all its swatches were read; empty where the table doesn't say.
    sentence : str
    """

    metal: str
    recipe: str
    points: pd.DataFrame
    band: pd.DataFrame
    doses: pd.DataFrame
    shapes: dict[str, float]
    formula: str
    visible: float
    method: str
    sentence: str


def dose_curve(
    wide: pd.DataFrame | Recipes,
    metal: str,
    *,
    hold: dict[str, object] | None = None,
    visible: float = 1.0,
    formula: str = "dE00",
    confidence: float = 0.95,
    shared: pd.DataFrame | None = None,
    draws: int = 1000,
    seed: int = 0,
) -> DoseCurve:
    """Fit the dose curve of a metal over otherwise equal recipes.

    Parameters
    ----------
    wide : DataFrame or Recipes
    metal : str
        One of the table of metals, such as ``iron``.
    hold : dict
        Factors held, such as ``{"dye": "weld", "fibre": "wool", "tannin": "none"}``. Where
        several recipes remain, the one dyed at most doses is taken; of several methods that read
        it, the most trusted.
    visible : float
        Just visible difference in `formula`; 1 by common practice.
    formula : str
        dE76, dE00 or dECMC.
    confidence : float
    shared : DataFrame, optional
    draws : int
        From the posterior.
    seed : int

    Returns
    -------
    DoseCurve

    Raises
    ------
    InputError
        If there are fewer than three doses besides none, or too few swatches for an interval.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> hold = {"fibre": "wool", "dye": "madder", "mordant": "potash alum"}
    >>> shift.dose_curve(recipes, "iron", hold=hold).doses[["what", "dose"]].round(2)
          what  dose
    0  visible  0.04
    1     half  0.42
    2   enough  2.70
    """
    choose(metal, METALS, "metal", "here")
    choose(formula, FORMULAS, "difference formula", "here")
    recipes = wide if isinstance(wide, Recipes) else as_dyed(wide, shared=shared)
    rows = _series(recipes, metal, hold or {})
    points = _points(recipes, rows, metal)
    grid = points["dose"].max() * np.linspace(0, 1, _GRID) ** 2
    lent, rng = _others(recipes, rows), np.random.default_rng(seed)
    errors = _shared_errors(recipes, rows, rng)
    given = (lent, grid, -(-draws // len(errors)), rng)
    drawn = [_draw_curves(_moved(points, rows, error), *given) for error in errors]
    curves, shapes = np.concatenate([one[0] for one in drawn]), _mean_weights(drawn)
    distance = FORMULAS[formula](np.broadcast_to(curves[:, :1], curves.shape), curves)
    back = FORMULAS[formula](curves, np.broadcast_to(curves[:, -1:], curves.shape))
    doses = _read_off(grid, distance, back, visible, confidence)
    sure = _surely_short(grid, curves, formula, visible, confidence)
    doses["low"] = doses["low"].where(doses["what"] != "enough", np.minimum(doses["low"], sure))
    least = float(points.loc[points["dose"] > 0, "dose"].min())
    doses["low"] = doses["low"].where(doses["dose"] >= least, 0.0)  # below, shape alone speaks
    points = _from_start(points, np.median(curves[:, 0], axis=0), formula)
    named = recipe_names(recipes.made.iloc[rows[:1]], (metal,))[0]
    return DoseCurve(
        metal=metal,
        recipe=named,
        points=points,
        band=_band(grid, curves, distance, confidence),
        doses=doses,
        shapes=shapes,
        formula=formula,
        visible=visible,
        method=str(recipes.made["method"].iloc[rows[0]]) if recipes.methods else "",
        sentence=_sentence(doses, metal, named, (least, float(grid[-1])), visible, formula),
    )


def tried_doses(
    recipes: Recipes,
    metal: str,
    *,
    hold: dict[str, object] | None = None,
    visible: float = 1.0,
    formula: str = "dE00",
) -> DoseCurve:
    """Gather the doses that were dyed, without a curve: where they are too few for one.

    Parameters are those of `dose_curve`. Raises `InputError` where no recipe was dyed both with
    the metal and without.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> hold = {"fibre": "wool", "dye": "madder", "mordant": "potash alum"}
    >>> len(shift.tried_doses(recipes, "iron", hold=hold).doses)
    0
    """
    rows = _series(recipes, metal, hold or {}, least=2)
    points = _points(recipes, rows, metal)
    start = points.loc[points["dose"] == 0, table.LAB].to_numpy(float).mean(axis=0)
    points = _from_start(points, start, formula)
    named = recipe_names(recipes.made.iloc[rows[:1]], (metal,))[0]
    ends = [f"{name}{end}" for name in (*table.LAB, "distance") for end in ("", "_low", "_high")]
    band = pd.DataFrame(columns=["dose", *ends], dtype=float)
    doses = pd.DataFrame({"what": []}).assign(dose=0.0, low=0.0, high=0.0)
    return DoseCurve(metal, named, points, band, doses, {}, formula, visible, "", "")


def _series(recipes: Recipes, metal: str, hold: dict[str, object], least: int = 4) -> np.ndarray:
    """Row numbers of the recipes of one dose series, the unmodified one first.

    Raises
    ------
    InputError
        If no such recipe has the metal at `least` doses, none among them.
    """
    made = recipes.made
    table.need(made, [*hold], "dose curve")
    keep = without_others(made, metal).to_numpy() & which_have(made, hold)
    keep &= made[METALS[metal]].notna().to_numpy()  # a dose that nobody knows has no place
    held = [name for name in FACTORS if name in made and name != METALS[metal]]
    group = group_numbers(made, held)
    doses = made[METALS[metal]].to_numpy(float)
    sizes = {g: len(set(doses[keep & (group == g)])) for g in np.unique(group[keep])}
    started = {g: n for g, n in sizes.items() if (doses[keep & (group == g)] == 0).any()}
    best = max(started, key=lambda g: started[g], default=None)
    if best is None or started[best] < least:
        found = sorted(set(doses[keep])) if keep.any() else []
        listing = ", ".join(f"{dose:g} %" for dose in found) or "none"
        raise InputError(
            f"a dose curve of {metal} needs one recipe at no {metal} and at least three doses. "
            f"Dyed so far: {listing}. Dye the missing doses, spread evenly on a ratio scale."
        )
    rows = np.flatnonzero(keep & (group == best))
    return rows[np.argsort(doses[rows], kind="stable")]


def _points(recipes: Recipes, rows: np.ndarray, metal: str) -> pd.DataFrame:
    """One row a pot, with its swatches: their mean colour and dose."""
    chosen = recipes.rows[recipes.rows["variant"].isin(rows)]
    names = [*table.LAB, METALS[metal]]
    keys = ["variant", "pot", "swatch"]
    swatches = chosen.assign(pot=_pots(recipes, rows)).groupby(keys, sort=False)[names].mean()
    by_pot = swatches.reset_index().groupby(["variant", "pot"], sort=False)
    points = by_pot[names].mean().assign(swatch=by_pot["swatch"].agg(", ".join))
    points = points.rename(columns={METALS[metal]: "dose"}).reset_index("variant")
    white = table.one_white(chosen)
    return points.assign(illuminant=white[0], observer=white[1]).sort_values(
        "dose", kind="stable", ignore_index=True
    )


def _pots(recipes: Recipes, rows: np.ndarray) -> pd.Series:
    """Pot of each reading of some recipes: a bath of the step, of those that not all of them
    share, that has fewest.
    """
    every = recipes.rows
    once = every.drop_duplicates(["variant", "swatch"])
    blank = pd.Series("", once.index)
    baths, series = (once.get(name, blank).fillna("").astype(str) for name in ("baths", "series"))
    kind = np.zeros(len(recipes.made), int)
    kind[rows] = pots.arms(recipes.variants.cells, rows[None]).kind[0]
    numbers = pots.number_pots(baths, pd.factorize(series)[0], kind[once["variant"]])
    by_swatch = pd.Series(numbers, pd.MultiIndex.from_frame(once[["variant", "swatch"]]))
    own = every[every["variant"].isin(rows)]
    found = by_swatch[pd.MultiIndex.from_frame(own[["variant", "swatch"]])]
    return pd.Series(found.to_numpy(), own.index)


def _shared_errors(recipes: Recipes, rows: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Draw what readings of each recipe share and its pots' scatter doesn't show: (k, d, 3).

    What a camera gets wrong of a dyed colour is in all its pots alike. Zero, once, where readings
    share nothing.
    """
    variants = recipes.variants
    loadings = variants.loadings[(3 * rows[:, None] + np.arange(3)).ravel()].toarray()
    if not loadings.any():
        return np.zeros((1, len(rows), 3))
    known = loadings @ loadings.T
    shown = noise.shared_part(variants, rows[:, None]) / variants.pieces[rows][:, None, None]
    for i, block in enumerate(shown):
        known[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] -= block
    return (rng.normal(size=(_ERRORS, len(known))) @ numerics.root(known).T).reshape(
        _ERRORS, len(rows), 3
    )


def _moved(points: pd.DataFrame, rows: np.ndarray, error: np.ndarray) -> pd.DataFrame:
    """Points as they would have been read with this error (d, 3) of their recipes."""
    place = pd.Series(np.arange(len(rows)), index=rows)
    moved = points[table.LAB].to_numpy(float) + error[place[points["variant"]]]
    return points.assign(**dict(zip(table.LAB, moved.T, strict=True)))


def _mean_weights(drawn: list[tuple[np.ndarray, dict[str, float]]]) -> dict[str, float]:
    return {name: float(np.mean([weights[name] for _, weights in drawn])) for name in SHAPES}


def _from_start(points: pd.DataFrame, start: np.ndarray, formula: str) -> pd.DataFrame:
    lab = points[table.LAB].to_numpy(float)
    points = points.drop(columns="variant")
    return points.assign(distance=FORMULAS[formula](np.broadcast_to(start, lab.shape), lab))


def _others(recipes: Recipes, rows: np.ndarray) -> tuple[np.ndarray, int]:
    """Scatter that the pots of the other recipes lend this one, and its degrees of freedom."""
    spread = recipes.variants.pot_scatter
    free = round(float(spread.lent_df[rows].min()))
    back = spread.back[rows]
    lent = back @ spread.lent[rows] @ np.swapaxes(back, 1, 2)
    return free * lent.mean(axis=0), free


@dataclass(frozen=True)
class _Candidates:
    """Every shape, rate and looseness weighed; m of them, n swatches.

    Looseness is the variance, in units of a swatch's own, by which the colour may stray smoothly
    from the curve: the path of a colour isn't straight, and no fibre follows a formula.
    """

    shape: np.ndarray  # (m,) place in SHAPES
    rate: np.ndarray  # (m,) per % WOF, or the power
    looseness: np.ndarray  # (m,)
    top: float  # % WOF, largest and least dose dyed
    least: float

    def only(self, at: int) -> "_Candidates":
        """One of them alone."""
        of = slice(at, at + 1)
        return _Candidates(self.shape[of], self.rate[of], self.looseness[of], self.top, self.least)

    def risen(self, x: np.ndarray) -> np.ndarray:
        """Share, of the shift at the largest dose, that is reached at x: (m, n)."""
        rate, shape = self.rate[:, None], self.shape[:, None]
        at, top = rate * x, rate * self.top
        risen = (
            np.expm1(-at) / np.expm1(-top),
            at / (1 + at) / (top / (1 + top)),
            np.log1p(at) / np.log1p(top),
            (x / self.top) ** rate,
        )
        return np.choose(shape, risen)

    def design(self, x: np.ndarray) -> np.ndarray:
        """Ones and the share risen: (m, n, 2)."""
        risen = self.risen(x)
        return np.stack([np.ones_like(risen), risen], axis=-1)

    def stray(self, x: np.ndarray, other: np.ndarray) -> np.ndarray:
        """Covariance of the straying between doses: (m, n, k); smooth on a ratio scale of doses.

        Smooth in the share risen instead, it would hold still a curve that comes to rest.
        """
        apart = self._ratio(x)[:, None] - self._ratio(other)
        return self.looseness[:, None, None] * np.exp(-((apart / _REACH) ** 2) / 2)

    def _ratio(self, x: np.ndarray) -> np.ndarray:
        return np.log1p(x / self.least) / np.log1p(self.top / self.least)


def _candidates(x: np.ndarray) -> _Candidates:
    top, least = x.max(), x[x > 0].min()
    rates = np.geomspace(0.1 / top, 8 / least, _RATES)
    # A logarithm creeps on from the first dose at quick rates only; a power of 1 is a line.
    quick, powers = np.geomspace(0.1 / top, 100 / least, _RATES), np.linspace(0.1, 1, _RATES)
    shape, _, loose = np.meshgrid(range(len(SHAPES)), range(_RATES), _LOOSE, indexing="ij")
    rate = np.repeat(np.concatenate([rates, rates, quick, powers]), len(_LOOSE))
    return _Candidates(shape.ravel(), rate, loose.ravel(), top, least)


def _draw_curves(
    points: pd.DataFrame,
    lent: tuple[np.ndarray, int],
    grid: np.ndarray,
    draws: int,
    rng: np.random.Generator,
) -> tuple[np.ndarray, dict[str, float]]:
    """Colours along the doses, drawn from the posterior: (d, g, 3), and each shape's weight."""
    x, y = points["dose"].to_numpy(float), points[table.LAB].to_numpy(float)
    prior, df = lent[0], lent[1] + len(x) - 2
    if df < 4:
        raise InputError(
            f"{len(x)} swatches without replicates can't carry a dose curve with an interval. "
            "Dye at least two of them again, in separate baths."
        )
    every = _candidates(x)
    design, cover = every.design(x), every.stray(x, x) + np.eye(len(x))
    inverse = np.linalg.inv(cover)
    weighed = np.swapaxes(design, 1, 2) @ inverse
    spread = np.linalg.inv(weighed @ design)
    centre = spread @ weighed @ y
    rest = y - design @ centre
    scatter = prior + np.swapaxes(rest, 1, 2) @ inverse @ rest + 1e-9 * np.eye(3)
    log = 1.5 * (np.linalg.slogdet(spread)[1] - np.linalg.slogdet(cover)[1])
    log -= df / 2 * np.linalg.slogdet(scatter)[1]
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    chosen = np.sort(rng.choice(len(weight), draws, p=weight))
    curves = []
    for at, count in zip(*np.unique(chosen, return_counts=True), strict=True):
        root = np.swapaxes(_wishart_roots(scatter[at], df, int(count), rng), 1, 2)
        steps = np.linalg.cholesky(spread[at]) @ rng.normal(size=(int(count), 2, 3))
        one = every.only(int(at))
        rest = y - design[at] @ (lines := centre[at] + steps @ root)
        strayed = _draw_strays(one, root, x, rest, grid, rng)
        curves.append(one.design(grid)[0] @ lines + strayed)
    share = [float(weight[every.shape == one].sum()) for one in range(len(SHAPES))]
    return np.concatenate(curves), dict(zip(SHAPES, share, strict=True))


def _draw_strays(one: _Candidates, root, x, rest, grid, rng: np.random.Generator) -> np.ndarray:
    """Draw how curves of one candidate stray, given what they leave at x (d, n, 3) and the scatter.

    `root` (d, 3, 3) of each draw's scatter.
    """
    cross = one.stray(grid, x)[0]
    gain = numerics.gain(one.stray(x, x)[0], cross, 1.0)
    left = one.stray(grid, grid)[0] - gain @ cross.T
    values, vectors = np.linalg.eigh(left)
    kept = values > 1e-8 * max(values[-1], 1e-12)
    factor = vectors[:, kept] * np.sqrt(values[kept])
    return gain @ rest + factor @ rng.normal(size=(len(root), int(kept.sum()), 3)) @ root


def _wishart_roots(
    scatter: np.ndarray, df: int, count: int, rng: np.random.Generator
) -> np.ndarray:
    """Square roots of covariances drawn from an inverse Wishart, by Bartlett's factor."""
    factor = np.zeros((count, 3, 3))
    for i in range(3):
        factor[:, i, i] = np.sqrt(rng.chisquare(df - i, count))
        factor[:, i, :i] = rng.normal(size=(count, i))
    return np.linalg.cholesky(scatter) @ np.linalg.inv(np.swapaxes(factor, 1, 2))


def _read_off(
    grid: np.ndarray, distance: np.ndarray, back: np.ndarray, visible: float, confidence: float
) -> pd.DataFrame:
    """Doses where the distance passes what is visible and half, and where too little is left."""
    half = distance[:, -1:] / 2
    left = np.flip(back, axis=1)
    found = {
        "visible": numerics.first_reached(grid, distance - visible),
        "half": numerics.first_reached(grid, distance - half),
        "enough": grid[-1] - numerics.first_reached(grid[-1] - np.flip(grid), left - visible),
    }
    found["enough"] = np.where(np.isfinite(found["enough"]), found["enough"], 0.0)
    found["half"] = np.where(distance[:, -1] > 1e-9, found["half"], np.inf)
    tails = [0.5, (1 - confidence) / 2, (1 + confidence) / 2]
    rows = [[name, *np.quantile(found[name], tails, method="nearest")] for name in LEVELS]
    return pd.DataFrame(rows, columns=["what", "dose", "low", "high"])


def _surely_short(
    grid: np.ndarray, curves: np.ndarray, formula: str, visible: float, confidence: float
) -> float:
    """Largest dose that surely is as much as `visible` short of the largest dyed; 0 where none is.

    Drawn curves, like readings, lie further apart than true ones: their noise alone makes a way.
    """
    middle = curves.mean(axis=0)
    off = curves - curves[:, -1:] - (middle - middle[-1])
    joint = np.zeros((len(grid), 6, 6))
    joint[:, :3, :3] = np.einsum("dgi,dgj->gij", off, off) / len(curves)
    ends = middle[:-1], np.broadcast_to(middle[-1], middle[:-1].shape)
    moved = compare.move(FORMULAS[formula], *ends, joint[:-1])
    reached = compare.directed_interval(moved, confidence)[0] >= visible
    return float(grid[:-1][reached].max(initial=0.0))


def _band(
    grid: np.ndarray, curves: np.ndarray, distance: np.ndarray, confidence: float
) -> pd.DataFrame:
    tails = [0.5, (1 - confidence) / 2, (1 + confidence) / 2]
    columns: dict[str, np.ndarray] = {"dose": grid}
    values = dict(
        zip((*table.LAB, "distance"), (*np.moveaxis(curves, -1, 0), distance), strict=True)
    )
    for name, value in values.items():
        ends = [name, f"{name}_low", f"{name}_high"]
        columns |= dict(zip(ends, np.quantile(value, tails, axis=0), strict=True))
    return pd.DataFrame(columns)


def _sentence(
    doses: pd.DataFrame,
    metal: str,
    recipe: str,
    dyed: tuple[float, float],
    visible: float,
    formula: str,
) -> str:
    least, top = dyed
    rows: dict[Any, Any] = doses.set_index("what").to_dict("index")
    said = [words.say("shift.dose", metal=metal, recipe=recipe)]
    told = {"top": f"{top:g}", "visible": f"{visible:g}", "sign": compare.SIGNS[formula]}
    for name in LEVELS:
        dose, span = rows[name]["dose"], _span(rows[name], top)
        key = f"shift.{name}" if np.isfinite(dose) else f"shift.{name}_never"
        said.append(words.say(key, dose=_dose(dose), span=span, metal=metal, **told))
    if (doses["dose"] < least).any():
        said.append(words.say("shift.below", least=f"{least:g}"))
    return " ".join(said)


def _dose(value: float) -> str:
    return f"{value:.2g} %"


def _span(row: dict, top: float) -> str:
    beyond = words.say("shift.beyond", top=f"{top:g}")
    high = _dose(row["high"]) if np.isfinite(row["high"]) else beyond
    low = _dose(row["low"]) if np.isfinite(row["low"]) else high
    return words.say("shift.span", low=low, high=high)
