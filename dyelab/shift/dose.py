"""Dose curves: how much metal shows, how much does half, and how much more is wasted.

Lightness, a* and b* follow one saturating curve of the dose with a shared rate. Two shapes are
weighed by how well they fit, 1 - exp(-k x) and x / (x + 1/k), since nobody knows which a fibre
follows. Rates, shapes and coordinates are drawn from their joint posterior (flat in the shift at
the largest dose and in the logarithm of the rate; the swatch-to-swatch covariance learned from
this curve and from all other replicates), so that every dose read off the curve carries an
interval. Doses are read within the range dyed: nothing is extrapolated.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dyelab import compare, table, words
from dyelab.compare.formulas import FORMULAS
from dyelab.errors import InputError, choose
from dyelab.shift.recipes import FACTORS, METALS, Recipes, as_dyed, label

SHAPES = ("exponential", "hyperbola")
_RATES, _GRID = 80, 61
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
        not reached within the doses dyed.
    shapes : dict
        Weight of each curve shape.
    formula : str
    visible : float
        Difference taken as just visible.
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
        ``iron`` or ``copper``.
    hold : dict
        Factors held, such as ``{"dye": "weld", "fibre": "wool", "tannin": "none"}``. Where
        several recipes remain, the one dyed at most doses is taken.
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
    """
    choose(metal, METALS, "metal", "here")
    choose(formula, FORMULAS, "difference formula", "here")
    recipes = wide if isinstance(wide, Recipes) else as_dyed(wide, shared=shared)
    rows = series_of(recipes, metal, hold or {})
    points = _points(recipes, rows, metal)
    prior, free = _others(recipes, rows)
    drawn = _drawn(points, prior, free, draws, np.random.default_rng(seed))
    grid = np.linspace(0, points["dose"].max(), _GRID)
    curves = drawn.curves(grid)
    distance = FORMULAS[formula](np.broadcast_to(curves[:, :1], curves.shape), curves)
    back = FORMULAS[formula](curves, np.broadcast_to(curves[:, -1:], curves.shape))
    doses = _read_off(grid, distance, back, visible, confidence)
    start = np.median(curves[:, 0], axis=0)
    lab = points[table.LAB].to_numpy(float)
    points = points.assign(distance=FORMULAS[formula](np.broadcast_to(start, lab.shape), lab))
    named = label(recipes.made.iloc[rows[:1]], (metal,))[0]
    return DoseCurve(
        metal=metal,
        recipe=named,
        points=points,
        band=_band(grid, curves, distance, confidence),
        doses=doses,
        shapes=drawn.weights,
        formula=formula,
        visible=visible,
        sentence=_sentence(doses, metal, named, float(grid[-1]), visible, formula),
    )


def series_of(recipes: Recipes, metal: str, hold: dict[str, object]) -> np.ndarray:
    """Row numbers of the recipes of one dose series, the unmodified one first.

    Raises
    ------
    InputError
        If no such recipe has the metal at three doses and none.
    """
    made = recipes.made
    keep = made[METALS["copper" if metal == "iron" else "iron"]].to_numpy() == 0
    for name, value in hold.items():
        table.need(made, [name], "dose curve")
        keep &= (made[name] == value).to_numpy()
    held = [name for name in FACTORS if name in made and name != METALS[metal]]
    group = made.groupby(held, sort=False, dropna=False).ngroup().to_numpy()
    doses = made[METALS[metal]].to_numpy(float)
    sizes = {g: len(set(doses[keep & (group == g)])) for g in np.unique(group[keep])}
    started = {g: n for g, n in sizes.items() if (doses[keep & (group == g)] == 0).any()}
    best = max(started, key=lambda g: started[g], default=None)
    if best is None or started[best] < 4:
        found = sorted(set(doses[keep])) if keep.any() else []
        listing = ", ".join(f"{dose:g} %" for dose in found) or "none"
        raise InputError(
            f"a dose curve of {metal} needs one recipe at no {metal} and at least three doses. "
            f"Dyed so far: {listing}. Dye the missing doses, spread evenly on a ratio scale."
        )
    rows = np.flatnonzero(keep & (group == best))
    return rows[np.argsort(doses[rows], kind="stable")]


def _points(recipes: Recipes, rows: np.ndarray, metal: str) -> pd.DataFrame:
    """One row a swatch: its mean colour and its dose."""
    chosen = recipes.rows[recipes.rows["variant"].isin(rows)]
    names = [*table.LAB, METALS[metal]]
    points = chosen.groupby("swatch", sort=False)[names].mean().reset_index()
    points = points.rename(columns={METALS[metal]: "dose"})
    white = table.one_white(chosen)
    return points.assign(illuminant=white[0], observer=white[1]).sort_values("dose", kind="stable")


def _others(recipes: Recipes, rows: np.ndarray) -> tuple[np.ndarray, int]:
    """Scatter of all other replicates of the series, and its degrees of freedom."""
    variants = recipes.variants
    alike = variants.series == variants.series[rows[0]]
    alike[rows] = False
    return variants.scatter[alike].sum(axis=0), int((variants.pieces[alike] - 1).sum())


@dataclass(frozen=True)
class _Draws:
    hyperbola: np.ndarray  # (d,) bool
    rate: np.ndarray  # (d,)
    top: float
    coefficients: np.ndarray  # (d, 2, 3): start, shift at the largest dose
    weights: dict[str, float]

    def curves(self, grid: np.ndarray) -> np.ndarray:
        """Colours along the doses: (d, g, 3)."""
        risen = _risen(grid, self.rate, self.hyperbola) / _risen(
            np.array([self.top]), self.rate, self.hyperbola
        )
        return self.coefficients[:, :1] + risen[:, :, None] * self.coefficients[:, 1:]


def _risen(x: np.ndarray, rate: np.ndarray, hyperbola: np.ndarray) -> np.ndarray:
    """Share of saturation reached at x: (d, n)."""
    kx = rate[:, None] * x
    return np.where(hyperbola[:, None], kx / (1 + kx), -np.expm1(-kx))


def _drawn(
    points: pd.DataFrame, prior: np.ndarray, free: int, draws: int, rng: np.random.Generator
) -> _Draws:
    """Draw shape, rate and coordinates from their joint posterior."""
    x, y = points["dose"].to_numpy(float), points[table.LAB].to_numpy(float)
    df = free + len(x) - 2
    if df < 4:
        raise InputError(
            f"{len(x)} swatches without replicates can't carry a dose curve with an interval. "
            "Dye at least two of them again, in separate baths."
        )
    top, least = x.max(), x[x > 0].min()
    rates = np.geomspace(0.1 / top, 8 / least, _RATES)
    rate, hyperbola = np.tile(rates, 2), np.repeat([False, True], _RATES)
    risen = _risen(x, rate, hyperbola) / _risen(np.array([top]), rate, hyperbola)
    design = np.stack([np.ones_like(risen), risen], axis=-1)
    inverse = np.linalg.inv(np.swapaxes(design, 1, 2) @ design)
    centre = inverse @ np.swapaxes(design, 1, 2) @ y
    rest = y - design @ centre
    scatter = prior + np.swapaxes(rest, 1, 2) @ rest + 1e-9 * np.eye(3)
    log = 1.5 * np.linalg.slogdet(inverse)[1] - df / 2 * np.linalg.slogdet(scatter)[1]
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    at = rng.choice(len(rate), draws, p=weight)
    noise = _matrix_noise(inverse[at], scatter[at], df, rng)
    return _Draws(
        hyperbola[at],
        rate[at],
        top,
        centre[at] + noise,
        dict(zip(SHAPES, weight.reshape(2, -1).sum(axis=1), strict=True)),
    )


def _matrix_noise(
    inverse: np.ndarray, scatter: np.ndarray, df: int, rng: np.random.Generator
) -> np.ndarray:
    """Matrix t noise of the coefficients: inverse Wishart by Bartlett's factor, then normal."""
    n = len(inverse)
    factor = np.zeros((n, 3, 3))
    for i in range(3):
        factor[:, i, i] = np.sqrt(rng.chisquare(df - i, n))
        factor[:, i, :i] = rng.normal(size=(n, i))
    root = np.linalg.cholesky(scatter) @ np.linalg.inv(np.swapaxes(factor, 1, 2))
    z = rng.normal(size=(n, 2, 3))
    return np.linalg.cholesky(inverse) @ z @ np.swapaxes(root, 1, 2)


def _read_off(
    grid: np.ndarray, distance: np.ndarray, back: np.ndarray, visible: float, confidence: float
) -> pd.DataFrame:
    """Doses where the distance passes what is visible and half, and where too little is left."""
    half = distance[:, -1:] / 2
    left = np.flip(back, axis=1)
    found = {
        "visible": _crossing(grid, distance - visible),
        "half": _crossing(grid, distance - half),
        "enough": grid[-1] - _crossing(grid[-1] - np.flip(grid), left - visible),
    }
    found["enough"] = np.where(np.isfinite(found["enough"]), found["enough"], 0.0)
    found["half"] = np.where(distance[:, -1] > 1e-9, found["half"], np.inf)
    tails = [0.5, (1 - confidence) / 2, (1 + confidence) / 2]
    rows = [[name, *np.quantile(found[name], tails, method="nearest")] for name in LEVELS]
    return pd.DataFrame(rows, columns=["what", "dose", "low", "high"])


def _crossing(x: np.ndarray, above: np.ndarray) -> np.ndarray:
    """First x where each row of `above` (d, g) becomes positive; infinite where it never does."""
    positive = above > 0
    at = np.argmax(positive, axis=1)
    row = np.arange(len(above))
    before = np.maximum(at - 1, 0)
    low, high = above[row, before], above[row, at]
    part = np.where(high > low, -low / np.where(high > low, high - low, 1), 0.0)
    place = x[before] + np.clip(part, 0, 1) * (x[at] - x[before])
    return np.where(positive.any(axis=1), place, np.inf)


def _band(
    grid: np.ndarray, curves: np.ndarray, distance: np.ndarray, confidence: float
) -> pd.DataFrame:
    tails = [0.5, (1 - confidence) / 2, (1 + confidence) / 2]
    columns: dict[str, np.ndarray] = {"dose": grid}
    values = {**{name: curves[:, :, i] for i, name in enumerate(table.LAB)}, "distance": distance}
    for name, value in values.items():
        columns[name], columns[f"{name}_low"], columns[f"{name}_high"] = np.quantile(
            value, tails, axis=0
        )
    return pd.DataFrame(columns)


def _sentence(
    doses: pd.DataFrame, metal: str, recipe: str, top: float, visible: float, formula: str
) -> str:
    rows: dict[Any, Any] = doses.set_index("what").to_dict("index")
    said = [
        words.say(
            f"shift.{name}" if np.isfinite(rows[name]["dose"]) else f"shift.{name}_never",
            dose=_dose(rows[name]["dose"]),
            span=_span(rows[name], top),
            top=f"{top:g}",
            visible=f"{visible:g}",
            sign=compare.SIGNS[formula],
            metal=metal,
        )
        for name in LEVELS
    ]
    return words.say("shift.dose", metal=metal, recipe=recipe) + " " + " ".join(said)


def _dose(value: float) -> str:
    return f"{value:.2g} %"


def _span(row: dict, top: float) -> str:
    high = (
        _dose(row["high"])
        if np.isfinite(row["high"])
        else words.say("shift.beyond", top=f"{top:g}")
    )
    low = _dose(row["low"]) if np.isfinite(row["low"]) else high
    return words.say("shift.span", low=low, high=high)
