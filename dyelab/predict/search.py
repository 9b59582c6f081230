"""Which recipe gives a wanted colour, and how likely it lands."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dyelab import convert, recipe, table, words
from dyelab.predict import answers, chance, coded_recipes, complete_recipes, given_recipe, wanted
from dyelab.predict.candidates import Limits
from dyelab.predict.coded_recipes import NONE, STEPS
from dyelab.predict.model import Model
from dyelab.predict.reach import Reach, reach

TOLERANCE = 3.0  # ΔE00: near enough for most cloth seen a moment apart
_SHORT, _AGAIN, _DRAWS = 250, 50, 300  # untried and tried ones looked at, swatches drawn of each
_WAYS = ["fibre", "tannin", "mordant", "dye", "modifier"]


@dataclass(frozen=True)
class Found:
    """Recipes for a wanted colour.

    Attributes
    ----------
    wanted : ndarray (3,)
        CIELAB under `white`.
    white : (illuminant, observer)
    tolerance : float
        ΔE00.
    ranked : DataFrame
        Tried recipes that should land first, then untried ones, nearest first, the best doses
        of each way of dyeing: `tried` (codes of its swatches, blank if untried), `recipe`, the
        recipe's columns, `L, a, b`, covariances, `dE00` (expected distance of one swatch),
        `chance` (of one swatch landing within the tolerance, 0 to 1; both suppose that some
        recipe of the book's materials gives the colour, unless it is out of reach),
        `extrapolates`, `leans_on`.
    reachable : bool
        Whether the middle of some prediction lies within the tolerance.
    sentence : str
        The answer in words.
    """

    wanted: np.ndarray
    white: tuple[str, int]
    tolerance: float
    ranked: pd.DataFrame
    reachable: bool
    sentence: str


def find(
    model: Model,
    target: Any,
    *,
    tolerance: float = TOLERANCE,
    hold: Mapping[str, Any] | None = None,
    most: Mapping[str, float] | None = None,
    without: Sequence[str] = (),
    n: int = 8,
    within: Reach | None = None,
) -> Found:
    """Rank recipes by how near they come to a colour.

    Parameters
    ----------
    model : Model
    target : array_like (3,), text, Series or one-row DataFrame
        CIELAB, a screen colour, a Munsell notation, a swatch's code, or a reading, whose
        covariance, if it has one, widens the distances.
    tolerance : float
        ΔE00 that still counts as landing.
    hold : mapping, optional
        Column to value or values, such as ``{"fibre": "wool"}``.
    most : mapping, optional
        Dose column to the most allowed, such as ``{"iron_wof": 2}``.
    without : sequence of str
        Materials not to use, such as ``["copper"]``.
    n : int
        Recipes to return.
    within : Reach, optional
        What `reach` gave for the same limits, so as not to predict all candidates again.

    Returns
    -------
    Found

    Raises
    ------
    InputError
        For a colour that can't be read, limits that leave nothing, a tolerance not above 0.
    """
    if not np.isfinite(tolerance) or tolerance <= 0:
        raise ValueError(f"tolerance = {tolerance} is not above 0")
    lab, spread = wanted.colour(model, target), wanted.spread(model, target)
    limits = Limits(hold or {}, most or {}, tuple(without))
    candidates = within or reach(model, limits)
    untried = candidates.recipes(_nearest(candidates.lab, lab))
    judged = pd.concat(
        [
            _judged(model, recipes, (lab, spread), tolerance)
            for recipes in (_tried(model, limits, lab), untried)
        ]
    )
    ranked = _ranked(judged, tolerance).head(n).reset_index(drop=True)
    reachable = bool((judged["middle"] <= tolerance).any())
    if reachable:
        ranked = _ranked(_as_given(model, ranked, (lab, spread), tolerance), tolerance)
        ranked = ranked.reset_index(drop=True)
    ranked = _with_marks(model, ranked)
    sentence = _sentence(judged, ranked, reachable, tolerance)
    return Found(lab, model.white, tolerance, ranked, reachable, sentence)


def _nearest(lab: np.ndarray, target: np.ndarray) -> np.ndarray:
    """Candidates whose middle lies nearest: by ΔE*ab first, which is quick, then by ΔE00."""
    rough = np.linalg.norm((lab - target) * [1.0, 0.7, 0.7], axis=1)
    many = min(10 * _SHORT, len(lab))
    some = np.argpartition(rough, many - 1)[:many]
    exact = convert.dE00(np.broadcast_to(target, (many, 3)), lab[some])
    return some[np.argsort(exact, kind="stable")[:_SHORT]]


def _tried(model: Model, limits: Limits, target: np.ndarray) -> pd.DataFrame:
    """Recipes of the book that keep to the limits, those measured nearest."""
    made, keep = model.made, np.ones(len(model.made), bool)
    for column, value in limits.hold.items():
        allowed = [value] if isinstance(value, str | float | int) else list(value)
        keep &= made[column].isin(allowed).to_numpy()
    for column, top in limits.most.items():
        keep &= (made[column] <= top + 1e-9).to_numpy()
    for name in STEPS:
        material = coded_recipes.name_and_dose(made, name)[0]
        keep &= ~np.array([bool(set(m.split(" + ")) & set(limits.without)) for m in material])
    columns = [c for c in coded_recipes.COLUMNS if c in made]
    found = made.loc[keep, columns].assign(tried=made.loc[keep, "swatch"]).reset_index(drop=True)
    measured = made.loc[keep, table.LAB].to_numpy(float)
    away = convert.dE00(np.broadcast_to(target, measured.shape), measured)
    return found.iloc[np.argsort(away, kind="stable")[:_AGAIN]].reset_index(drop=True)


def _judged(
    model: Model, recipes: pd.DataFrame, aim: tuple[np.ndarray, np.ndarray], tolerance: float
) -> pd.DataFrame:
    """Add the colour of a swatch of each recipe, its distance, and its chance of landing."""
    target, unsure = aim
    if recipes.empty:
        return recipes.assign(middle=[], dE00=[], chance=[])
    full = complete_recipes.completed(model, recipes)
    lab, C = answers.landed(model, full)
    away = convert.dE00(
        np.broadcast_to(target, (len(lab), _DRAWS, 3)), draws(model, lab, C + unsure)
    )
    middle = convert.dE00(np.broadcast_to(target, lab.shape), lab)
    answered = full.assign(
        **dict(zip(table.LAB, lab.T, strict=True)),
        illuminant=model.white[0],
        observer=model.white[1],
        middle=middle,
        dE00=away.mean(axis=1),
        chance=chance.chances(away, tolerance, model.odds),
    )
    answered["tried"] = answered.get("tried", "")
    return table.with_covariances(answered, C)


def _as_given(
    model: Model, ranked: pd.DataFrame, aim: tuple[np.ndarray, np.ndarray], tolerance: float
) -> pd.DataFrame:
    """Judge distance and chance again, now that some recipe is known to give the colour."""
    lab = given_recipe.draws(model, model.givers, ranked, aim, _DRAWS)
    away = convert.dE00(np.broadcast_to(aim[0], lab.shape), lab)
    return ranked.assign(dE00=away.mean(axis=1), chance=chance.chances(away, tolerance, model.odds))


def draws(model: Model, lab: np.ndarray, C: np.ndarray, n: int = _DRAWS) -> np.ndarray:
    """Colours (m, n, 3) that single swatches may have, by the model's own tail; seeded."""
    return chance.draws(lab, C, model.tail, n)


def _ranked(judged: pd.DataFrame, tolerance: float) -> pd.DataFrame:
    """Tried ones that should land first; then by expected distance, the best of each way."""
    landing = (judged["tried"] != "") & (judged["dE00"] <= tolerance)
    ordered = judged.assign(_first=~landing).sort_values(["_first", "dE00"], kind="stable")
    ways = [*_WAYS, "_iron", "_copper", "_first"]
    marked = ordered.assign(_iron=ordered["iron_wof"] > 0, _copper=ordered["copper_wof"] > 0)
    ways = [way for way in ways if way in marked]
    return marked.drop_duplicates(ways).drop(columns=["_first", "_iron", "_copper"])


def _with_marks(model: Model, ranked: pd.DataFrame) -> pd.DataFrame:
    front = ranked.assign(recipe=answers.labels(ranked))
    rows = model.coded(front)
    weighed = model.weighed(rows)
    front["extrapolates"] = answers.marks(model, rows, weighed)
    front["leans_on"] = answers.leans(model, weighed)
    return front


def _sentence(judged: pd.DataFrame, ranked: pd.DataFrame, reachable: bool, tolerance: float) -> str:
    best = ranked.iloc[0]
    told = {"recipe": best["recipe"], "dE00": f"{best['dE00']:.1f}", "tolerance": f"{tolerance:g}"}
    told["chance"] = f"{100 * best['chance']:.0f}"
    if not reachable:
        edge = f"{judged['middle'].min():.1f}"
        return words.say("predict.out_of_reach", edge=edge, **told)
    key = "found_tried" if best["tried"] else "found"
    return words.say(f"predict.{key}", swatches=best["tried"], **told)


def weigh_out(recipe_row: Mapping[Any, Any], fibre_g: float) -> pd.DataFrame:
    """What to weigh for a recipe: `step, material, wof, grams`, in the order of the steps.

    Parameters
    ----------
    recipe_row : mapping
        A recipe, such as a row of `Found.ranked`.
    fibre_g : float
        Dry fibre, g.

    Raises
    ------
    InputError
        If there is no fibre.
    """
    rows = []
    salts = {"iron": "ferrous sulfate", "copper": "copper sulfate"}
    for name, (material, dose) in STEPS.items():
        wof = float(recipe_row.get(dose, 0.0)) if dose else 0.0
        if wof > 0:
            text = salts.get(name) or str(recipe_row.get(str(material), NONE))
            grams = recipe.grams(wof, fibre_g)
            rows.append({"step": name, "material": text, "wof": wof, "grams": grams})
    return pd.DataFrame(rows, columns=["step", "material", "wof", "grams"])
