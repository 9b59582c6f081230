"""Recipes made whole: every column a model needs, and only materials that its book holds."""

from typing import Any

import numpy as np
import pandas as pd

from dyelab import words
from dyelab.errors import InputError
from dyelab.predict import coded_recipes
from dyelab.predict.coded_recipes import CLOTH, NONE, STEPS
from dyelab.predict.learned import Taught

_SALTS = ("ferrous sulfate", "copper sulfate")


def completed(model: Taught, recipes: pd.DataFrame) -> pd.DataFrame:
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
    """Iron and copper are told by their doses alone, as in the book's own recipes."""
    alone = np.isin(full["mordant"].astype(str), _SALTS)
    mordant = np.where(alone, NONE, full["mordant"])
    return {**full, "mordant": mordant, "mordant_wof": np.where(alone, 0.0, full["mordant_wof"])}


def _known(model: Taught, full: pd.DataFrame, name: str) -> None:
    """Raise for a material the book holds no swatch of."""
    material = list(full["dye"]) if name == "dye" else coded_recipes.name_and_dose(full, name)[0]
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
