"""One row a recipe: the mean colour of the swatches dyed to it, as pages and panels show it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dyelab import compare, shift, table, words
from dyelab.shift.recipes import FACTORS

__all__ = ["FACTORS", "METALS", "Source", "differences", "only", "recipe", "source", "variants"]

METALS = tuple(shift.METALS)
REFERENCE_FIBRE = "blue wool"  # light references: measured beside the swatches, not dyed here


@dataclass(frozen=True)
class Source:
    """What pages and panels take from a book, read once.

    Attributes
    ----------
    book : Book
    recipes : Recipes
        As ``shift.as_dyed`` gathers them, all read by one method: the one that has read most.
    made : DataFrame
        One row a recipe, as `variants` gives them.
    read : DataFrame
        All readings as dyed, by whatever method, the most trusted first.
    """

    book: Any
    recipes: shift.Recipes
    made: pd.DataFrame
    read: pd.DataFrame

    @property
    def rows(self) -> pd.DataFrame:
        """The readings behind `made`."""
        return self.recipes.rows

    @property
    def white(self) -> tuple[str, int]:
        """White of all its colours."""
        return table.one_white(self.read)

    @property
    def shared(self) -> pd.DataFrame | None:
        """Errors that readings of one source share."""
        return getattr(self.book, "shared", None)

    def of_swatch(self, swatch: str) -> pd.DataFrame:
        """Readings of one swatch by the most trusted method that read it."""
        rows = self.read[self.read["swatch"] == swatch]
        return rows[rows["method"] == rows["method"].iloc[0]] if len(rows) else rows

    @property
    def notes(self) -> list[str]:
        """What was left out because another method read it, in words."""
        methods = [] if "method" not in self.read else list(dict.fromkeys(self.read["method"]))
        if len(methods) < 2:
            return []
        used = str(self.rows["method"].iloc[0])
        others = " · ".join(name for name in methods if name != used)
        missed = len(set(self.read["swatch"]) - set(self.rows["swatch"]))
        return [words.say("variants.read_by", used=used, others=others, missed=missed)]


def source(bk: Any) -> Source:
    """Read what pages and panels need from a book.

    Raises
    ------
    InputError
        If nothing in it has been measured as dyed.
    """
    from dyelab import book

    wide = book.wide(bk)
    cloth = wide[wide["fibre"] != REFERENCE_FIBRE]
    shared = getattr(bk, "shared", None)
    every = shift.as_dyed(cloth, shared=shared)
    recipes = every
    if len(every.methods) > 1:
        recipes = shift.as_dyed(cloth, shared=shared, method=shift.leading(cloth))
    return Source(bk, recipes, variants(recipes), every.rows)


def variants(recipes: shift.Recipes) -> pd.DataFrame:
    """Describe each recipe for a page.

    Parameters
    ----------
    recipes : Recipes

    Returns
    -------
    DataFrame
        ``recipes.made`` and `variant` (its row number), `u_L, u_a, u_b` (standard uncertainty of
        the mean, swatch-to-swatch scatter included where there are replicates) and `recipe` (in
        words).
    """
    of_mean = np.diagonal(_of_mean(recipes.variants), axis1=1, axis2=2)
    spread = np.sqrt(np.clip(of_mean, 0, None))
    made = recipes.made.assign(
        variant=np.arange(len(recipes.made)),
        **dict(zip(table.STANDARD_UNCERTAINTIES, spread.T, strict=True)),
    )
    return made.assign(recipe=[recipe(row) for row in made.to_dict("records")])


def _of_mean(gathered: compare.Variants) -> np.ndarray:
    """Covariance of each mean: pooled scatter of the pieces, else what the readings state."""
    freedom = int((gathered.pieces - 1).sum())
    if freedom < 1:
        return gathered.stated
    pooled = gathered.scatter.sum(axis=0) / freedom
    return pooled[None] / gathered.pieces[:, None, None]


def recipe(row: dict[Any, Any], *, bare: bool = False) -> str:
    """A recipe in words: ``madder 50 % on wool, potash alum 12 %, iron 1 %``.

    With `bare`, without the dye and the cloth: what the metals and the tannin were.
    """
    parts = [] if bare else [_dye(row)]
    parts += [_part(row, "tannin"), _part(row, "mordant")]
    parts += [
        words.say(f"variants.{metal}", dose=dose(row.get(f"{metal}_wof")))
        if _some(row, metal)
        else ""
        for metal in METALS
    ]
    said = ", ".join(part for part in parts if part)
    return said or words.say("variants.bare")


def labels(rows: Sequence[dict[Any, Any]]) -> list[str]:
    """What was put with the dye, one label a recipe, each told apart from the others.

    Where that alone leaves two alike, the dye's dose joins, and then the swatch's code.
    """
    made = [recipe(row, bare=True) for row in rows]
    if len(set(made)) < len(made):
        dyes = [_part(row, "dye") for row in rows]
        made = [
            ", ".join(filter(None, [dye, recipe(row, bare=True) if _added(row) else ""])) or label
            for dye, row, label in zip(dyes, rows, made, strict=True)
        ]
    return [
        f"{label} ({row['swatch']})" if made.count(label) > 1 else label
        for label, row in zip(made, rows, strict=True)
    ]


def _added(row: dict[Any, Any]) -> bool:
    return recipe(row, bare=True) != words.say("variants.bare")


def _dye(row: dict[Any, Any]) -> str:
    fibre = str(row.get("fibre", "") or "")
    if _none(row.get("dye")):
        return words.say("variants.undyed", fibre=fibre)
    named = _part(row, "dye")
    return words.say("variants.on", dye=named, fibre=fibre) if fibre else named


def _part(row: dict[Any, Any], kind: str) -> str:
    name, amount = row.get(kind), row.get(f"{kind}_wof")
    if _none(name):
        return ""
    many = isinstance(amount, int | float) and np.isfinite(amount) and amount > 0
    return f"{name} {dose(amount)}" if many else str(name)


def _none(name: Any) -> bool:
    return name is None or str(name) in ("", "none", "nan")


def _some(row: dict[Any, Any], metal: str) -> bool:
    amount = row.get(f"{metal}_wof")
    return isinstance(amount, int | float) and np.isfinite(amount) and amount > 0


def dose(amount: Any) -> str:
    """A dose as the trade writes it: ``0.5 %`` of the weight of fibre."""
    return f"{float(amount):.3g} %" if amount is not None and np.isfinite(float(amount)) else "?"


def differences(recipes: shift.Recipes, pairs: Sequence[tuple[int, int]]) -> pd.DataFrame:
    """Compare pairs of recipes by their row numbers; the result as ``compare.pairs`` gives it."""
    first, second = np.array(pairs, int).reshape(-1, 2).T
    found = compare.between(recipes.variants, first, second, replicates_needed=True)
    return found.assign(reference=first, sample=second)


def only(made: pd.DataFrame, **wanted: Any) -> pd.DataFrame:
    """Rows whose factors have these values; a dose of 0 also matches a blank."""
    keep = np.ones(len(made), bool)
    for name, value in wanted.items():
        if name not in made:
            continue
        column = made[name]
        keep &= (column.fillna(0) == value) if isinstance(value, float) else (column == value)
    return made[keep]
