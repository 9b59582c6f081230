"""What a model answers: a colour with its covariance, what it leans on, and when it guesses."""

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from dyelab import shift, table, words
from dyelab.errors import InputError, choose
from dyelab.predict import calibration
from dyelab.predict.gp import Codes
from dyelab.predict.recipes import CLOTH, NONE, STEPS, Coded, Step, name_and_dose

if TYPE_CHECKING:
    from dyelab.predict.model import Model, Weighed

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
    sums = _sums(model, full)
    plain = np.array([i not in sums for i in range(len(full))])
    lab, C = np.zeros((len(full), 3)), np.zeros((len(full), 3, 3))
    said, leant = [""] * len(full), [""] * len(full)
    if plain.any():
        rows = model.coded(full[plain])
        weighed = model.weighed(rows, place)
        lab[plain], C[plain] = _landed(model, weighed, white, of)
        told = marks(model, rows, weighed), leans(model, weighed)
        for i, mark, lean in zip(np.flatnonzero(plain), *told, strict=True):
            said[i], leant[i] = mark, lean
    for at, parts in sums.items():
        lab[at], C[at] = _joined(model, parts, white)
        said[at] = words.say("predict.joined", dyes=str(full.iloc[at]["dye"]))
        dyed = model.weighed(model.coded(parts[1:]))
        leant[at] = ", ".join(dict.fromkeys(leans(model, dyed)))
    answered: dict[str, Any] = dict(zip(table.LAB, lab.T, strict=True))
    answered |= {"illuminant": white[0], "observer": white[1]}
    answered |= {"leans_on": leant, "extrapolates": said}
    answered["flags"] = "" if model.spectral or white == model.white else "adapted"
    return table.with_covariances(full.assign(recipe=labels(full), **answered), C)


def labels(recipes: pd.DataFrame) -> list[str]:
    """Recipes in words."""
    if pd.api.types.is_numeric_dtype(recipes["dye_wof"]):
        return shift.label(recipes)
    return shift.label(recipes.assign(dye_wof=pd.to_numeric(recipes["dye_wof"], errors="coerce")))


def landed(
    model: "Model", recipes: pd.DataFrame, white: tuple[str, int] | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """CIELAB (n, 3) and covariance (n, 3, 3) of a swatch of each recipe, all of known materials."""
    return _landed(model, model.weighed(model.coded(recipes)), white)


def _place(model: "Model", of: str, beside: str) -> int | None:
    """Place of the swatch whose pots are meant, if any are."""
    choose(of, OF, "colour", "that can be predicted")
    if of != KNOWN_POT:
        return None
    codes = list(model.left_out["swatch"])
    return codes.index(choose(beside, codes, "swatch", "in this book"))


def _landed(
    model: "Model", weighed: "Weighed", white: tuple[str, int] | None, of: str = NEW_POT
) -> tuple[np.ndarray, np.ndarray]:
    J = model.basis.slopes(weighed.mean, white)
    C = calibration.spread(J, weighed.left + (0.0 if of == RECIPE else weighed.more))
    return model.basis.lab(weighed.mean, white), model.stretch * C


def _sums(model: "Model", full: pd.DataFrame) -> dict[int, pd.DataFrame]:
    """Recipes of dyes never joined, by their place: each as `_parts` gives it."""
    in_book = model.levels["dye"]
    never = [i for i, dye in enumerate(full["dye"]) if dye not in in_book and " + " in dye]
    return {i: _parts(full.iloc[i].to_dict()) for i in never}


def _parts(row: dict) -> pd.DataFrame:
    """A recipe of dyes never joined, as its ground and then each dye alone."""
    dyes = str(row["dye"]).split(" + ")
    doses = str(row["dye_wof"]).split(" + ")
    if len(doses) != len(dyes):
        told = {"dyes": row["dye"], "found": row["dye_wof"]}
        raise InputError(words.say("predict.doses", **told))
    alone = [{**row, "dye": d, "dye_wof": float(w)} for d, w in zip(dyes, doses, strict=True)]
    return pd.DataFrame([{**row, "dye": NONE, "dye_wof": 0.0}, *alone])


def _joined(
    model: "Model", parts: pd.DataFrame, white: tuple[str, int]
) -> tuple[np.ndarray, np.ndarray]:
    """Add what each dye brings to K/S over the ground, with their variances."""
    weighed = model.weighed(model.coded(parts))
    mean, spread = weighed.mean, weighed.left + model.nuggets
    signs = np.array([2.0 - len(parts), *np.ones(len(parts) - 1)])

    def lab(scores: np.ndarray) -> np.ndarray:
        ks = np.tensordot(signs, model.basis.roots(scores) ** 2, (0, -2))
        return model.basis.lab_of_roots(np.sqrt(np.maximum(ks, 0)), white)

    J = np.zeros((len(mean), 3, mean.shape[1]))
    for i, c in np.ndindex(mean.shape):
        move = np.zeros_like(mean)
        move[i, c] = 1e-3
        J[i, :, c] = (lab(mean + move) - lab(mean - move)) / 2e-3
    return lab(mean), model.stretch * calibration.spread(J, spread).sum(axis=0)


def marks(model: "Model", rows: Codes, weighed: "Weighed") -> list[str]:
    """Why a recipe lies outside what was dyed; blank inside."""
    said: list[list[str]] = [[] for _ in range(len(weighed.mean))]
    for step, code in zip(model.steps, rows, strict=True):
        for i, text in _doses_outside(model, step, code):
            said[i].append(text)
    for far in np.flatnonzero((weighed.left / weighed.prior).mean(axis=1) > _FAR):
        said[far].append(words.say("predict.far"))
    return ["; ".join(texts) for texts in said]


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


def leans(model: "Model", weighed: "Weighed") -> list[str]:
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
    J = model.basis.slopes(model.seen.y)
    C = calibration.spread(J, np.tile(model.nuggets, (len(J), 1)))
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
    for name in STEPS:
        _known(model, table, name)
    return table


def _texts(cells: Any, missing: str) -> np.ndarray:
    """Texts, with one of them for what is blank."""
    return np.array([missing if _blank(cell) else str(cell) for cell in cells], object)


def _blank(cell: Any) -> bool:
    return cell is None or cell == "" or cell != cell


def _doses(cells: np.ndarray) -> np.ndarray:
    """Doses, 0 where blank; a text (two doses of two dyes) stays as it is."""
    if cells.dtype == object:
        return np.array([0.0 if cell is None or cell != cell else cell for cell in cells], object)
    return np.where(np.isnan(cells), 0.0, cells)


def _without_salts(full: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Shifting metals are told by their doses alone, as in the book's own recipes."""
    alone = np.isin(full["mordant"].astype(str), list(shift.shifting_salts()))
    mordant = np.where(alone, NONE, full["mordant"])
    return {**full, "mordant": mordant, "mordant_wof": np.where(alone, 0.0, full["mordant_wof"])}


def _known(model: "Model", full: pd.DataFrame, name: str) -> None:
    """Raise for a material the book holds no swatch of."""
    material = list(full["dye"]) if name == "dye" else name_and_dose(full, name)[0]
    in_book = model.levels[name]
    learned = any(step.name == name for step in model.steps)
    if not learned and name in CLOTH[1:]:
        return
    for i, text in enumerate(material):
        parts = [text] if text in in_book else text.split(" + ")
        if any(part not in in_book and part != NONE for part in parts) or (
            text == NONE and not learned and NONE not in in_book
        ):
            known = ", ".join(kind for kind in in_book if kind != NONE) or NONE
            raise InputError(
                words.say("predict.unknown", row=i + 1, step=name, found=text, known=known)
            )
