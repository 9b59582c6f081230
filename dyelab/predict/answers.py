"""What a model answers: a colour with its covariance, what it leans on, and when it guesses."""

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from dyelab import shift, table, words
from dyelab.errors import InputError, choose
from dyelab.predict import calibration
from dyelab.predict.gp import Weighed
from dyelab.predict.recipes import (
    CLOTH,
    NONE,
    STEPS,
    Coded,
    Step,
    coded,
    layers,
    name_and_dose,
    written,
)
from dyelab.recipe import sequence

if TYPE_CHECKING:
    from dyelab.predict.model import Model

NEW_POT, KNOWN_POT, RECIPE = OF = ("new_pot", "known_pot", "recipe")
_FAR = 0.3  # share of the prior variance left: little is known there
_LEAN, _MOST_LEANT = 0.08, 4  # least weight worth naming, and how many are named
_SLACK = 1.001  # on the largest and smallest dose
_CHI2_50 = 2.366  # three degrees of freedom
Light = tuple[str | None, int | None]


def colour(
    model: "Model",
    recipes: pd.DataFrame,
    light: Light = (None, None),
    of: str = NEW_POT,
    beside: str = "",
) -> pd.DataFrame:
    """See `Model.colour`."""
    full, place = completed(model, recipes), _place(model, of, beside)
    white = (light[0] or model.white[0], light[1] or model.white[1])
    weighed = model.weighed(full, place)
    lab, C = _landed(model, weighed, white, of)
    answered: dict[str, Any] = dict(zip(table.LAB, lab.T, strict=True))
    answered |= {"illuminant": white[0], "observer": white[1]}
    answered |= {"leans_on": leans(model, weighed), "extrapolates": marks(model, full, weighed)}
    answered["flags"] = "" if model.spectral or white == model.white else "adapted"
    return table.with_covariances(full.assign(recipe=labels(full), **answered), C)


def labels(recipes: pd.DataFrame) -> list[str]:
    """Recipes in words, each of several dyes with its own dose and dips."""
    rows = [layers(d, w) for d, w in zip(recipes["dye"], recipes["dye_wof"], strict=True)]
    lines = [
        sequence.of_dyes(own) if len(own) > 1 or any(part.dips > 1 for part in own) else ""
        for own in rows
    ]
    return shift.label(recipes.assign(rest=lines))


def landed(
    model: "Model", recipes: pd.DataFrame, white: tuple[str, int] | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """CIELAB (n, 3) and covariance (n, 3, 3) of a swatch of each recipe, all of known materials."""
    return _landed(model, model.weighed(recipes), white)


def _place(model: "Model", of: str, beside: str) -> int | None:
    """Place of the swatch whose pots are meant, if any are."""
    choose(of, OF, "colour", "that can be predicted")
    if of != KNOWN_POT:
        return None
    codes = list(model.left_out["swatch"])
    return codes.index(choose(beside, codes, "swatch", "in this book"))


def _landed(
    model: "Model", weighed: Weighed, white: tuple[str, int] | None, of: str = NEW_POT
) -> tuple[np.ndarray, np.ndarray]:
    J = model.basis.slopes(weighed.mean, white)
    C = calibration.spread(J, weighed.left + (0.0 if of == RECIPE else weighed.more))
    return model.basis.lab(weighed.mean, white), model.stretch * C


def marks(model: "Model", recipes: pd.DataFrame, weighed: Weighed) -> list[str]:
    """Why a recipe lies outside what was dyed; blank inside."""
    said: list[list[str]] = [[] for _ in range(len(recipes))]
    several = model.over.dyes.joins(recipes)
    for step, code in zip(model.steps, model.coded(recipes), strict=True):
        for i, text in _doses_outside(model, step, code):
            said[i].append(text)
    for at in np.flatnonzero(several):
        said[at] += _over_outside(model, recipes.iloc[at])
    far = (weighed.left / weighed.prior).mean(axis=1) > _FAR
    for at in np.flatnonzero(far & ~several):
        said[at].append(words.say("predict.far"))
    return ["; ".join(texts) for texts in said]


def _over_outside(model: "Model", row: pd.Series) -> list[str]:
    """Doses of dyes that lie over others, and dyes never put over one another."""
    dyes = layers(row["dye"], row["dye_wof"])
    alone = pd.DataFrame([written([part]) for part in dyes[1:]], columns=["dye", "dye_wof"])
    (step,) = (step for step in model.steps if step.name == "dye")
    said = [text for _, text in _doses_outside(model, step, coded(step, alone))]
    if not model.over.held(row["dye"]):
        named = ", ".join(part.material for part in dyes)
        said.append(words.say("predict.joined", dyes=named))
    return said


def _doses_outside(model: "Model", step: Step, code: Coded) -> list[tuple[int, str]]:
    if STEPS[step.name][1] is None:
        return []
    found = []
    in_book = model.levels[step.name]
    for i, (kind, relative) in enumerate(zip(code.kind, code.dose, strict=True)):
        if kind < 0:
            if NONE not in in_book:
                found.append((i, words.say("predict.never_without", step=step.name)))
            continue
        dose, top, least = relative * step.usual[kind], step.top[kind], step.least[kind]
        told = {"material": step.materials[kind], "dose": f"{dose:.3g}"}
        if dose > top * _SLACK:
            found.append((i, words.say("predict.above", limit=f"{top:.3g}", **told)))
        elif dose < least / _SLACK and NONE not in in_book:
            found.append((i, words.say("predict.below", limit=f"{least:.3g}", **told)))
    return found


def leans(model: "Model", weighed: Weighed) -> list[str]:
    """Swatches whose colours weigh most in each prediction."""
    weights = np.abs(weighed.weights)
    codes = model.made["swatch"].to_numpy()
    best = np.argsort(-weights, axis=1)[:, :_MOST_LEANT]
    return [
        ", ".join(codes[j] for n, j in enumerate(own) if n == 0 or line[j] > _LEAN)
        for own, line in zip(best, weights, strict=True)
    ]


def report(model: "Model") -> pd.DataFrame:
    """See `Model.report`."""
    left, repeats = model.left_out, len(model.left_out) - len(model.made)
    rows: list[tuple[str, float, str]] = [
        ("recipes", len(model.made), ""),
        ("swatches", len(left), ""),
        ("error", model.error, ""),
        ("error_90", model.error_90, ""),
        ("inside_50", 100 * float((left["distance"] <= _CHI2_50).mean()), ""),
        ("inside_90", 100 * model.inside, ""),
        ("stretch", model.stretch, ""),
        ("scatter", _scatter(model), "" if repeats else words.say("predict.no_repeats")),
    ]
    return pd.DataFrame(
        {
            "check": [words.say(f"predict.check_{key}") for key, _, _ in rows],
            "value": [value for _, value, _ in rows],
            "means": [more or words.say(f"predict.means_{key}") for key, _, more in rows],
        }
    )


def _scatter(model: "Model") -> float:
    """Root mean square ΔE*ab of one swatch of a recipe about the recipe."""
    J = model.basis.slopes(model.process.seen.y)
    C = calibration.spread(J, np.tile(model.process.nuggets, (len(J), 1)))
    return float(np.sqrt(np.median(np.trace(C, axis1=1, axis2=2))))


def completed(model: "Model", recipes: pd.DataFrame) -> pd.DataFrame:
    """Recipes with every column a model needs, and only materials it knows.

    Raises
    ------
    InputError
        Naming the row, the material and those the book knows.
    """
    full = {str(name): recipes[name].to_numpy() for name in recipes}
    blank = np.full(len(recipes), "", object)
    for name, (material, dose) in STEPS.items():
        if material and name not in CLOTH:
            full[material] = _texts(full.get(material, blank), NONE)
        if dose:
            full[dose] = _doses(full.get(dose, np.zeros(len(recipes))))
    for column, (common, by_fibre) in model.usual.items():
        given = _texts(full.get(column, blank), "")
        fibres = given if column == "fibre" else full["fibre"]
        usual = np.array([by_fibre.get(fibre, common) for fibre in fibres], object)
        full[column] = np.where(given == "", usual, given)
    table = pd.DataFrame(_without_salts(full))
    in_dips = table["dye_wof"].eq(0) & table["dye"].map(_first).isin(model.undosed)
    table["dye_wof"] = table["dye_wof"].mask(in_dips)
    for name in STEPS:
        _known(model, table, name)
    return table


def _first(dye: str) -> str:
    return next((part.material for part in layers(dye, 1.0)), NONE)


def _texts(cells: Any, missing: str) -> np.ndarray:
    """Texts, with one of them for what is blank."""
    return np.array([missing if _blank(cell) else str(cell) for cell in cells], object)


def _blank(cell: Any) -> bool:
    return cell is None or cell == "" or cell != cell


def _doses(cells: np.ndarray) -> np.ndarray:
    """Doses, 0 where blank."""
    try:
        doses = pd.to_numeric(pd.Series(cells)).to_numpy(float)
    except (ValueError, TypeError):
        raise InputError(words.say("predict.doses", found=list(cells))) from None
    return np.where(np.isnan(doses), 0.0, doses)


def _without_salts(full: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Shifting metals are told by their doses alone, as in the book's own recipes."""
    alone = np.isin(full["mordant"].astype(str), list(shift.shifting_salts()))
    mordant = np.where(alone, NONE, full["mordant"])
    return {**full, "mordant": mordant, "mordant_wof": np.where(alone, 0.0, full["mordant_wof"])}


def _known(model: "Model", full: pd.DataFrame, name: str) -> None:
    """Raise for a material the book holds no swatch of."""
    in_book = model.levels[name]
    learned = any(step.name == name for step in model.steps)
    if name == "over" or (not learned and name in CLOTH[1:]):
        return
    for i, text in enumerate(name_and_dose(full, name)[0]):
        parts = [text] if text in in_book else text.split(" + ")
        known = all(part in in_book or part == NONE for part in parts)
        if name == "dye" and text != NONE:
            known = _dyes_known(model, full["dye"].iloc[i])
            text = full["dye"].iloc[i]
        if not known or (text == NONE and not learned and NONE not in in_book):
            listed = ", ".join(kind for kind in in_book if kind != NONE) or NONE
            told = {"row": i + 1, "step": name, "found": text, "known": listed}
            raise InputError(words.say("predict.unknown", **told))


def _dyes_known(model: "Model", dye: str) -> bool:
    """Whether dyes are known each alone, or over one another.

    Raises
    ------
    InputError
        If one over another has no dose, though this book doses it.
    """
    first, *more = layers(dye, 1.0)
    if any(part.dose != part.dose and part.material not in model.undosed for part in more):
        raise InputError(words.say("predict.doses", found=dye))
    names = [part.material for part in (first, *more)]
    if model.over.dyes.alone.issuperset(names):
        return True
    over = " + ".join(names[1:]) or NONE
    return names[0] in model.levels["dye"] and over in model.levels["over"]
