"""One row a recipe: the mean colour of the swatches dyed to it, as pages and panels show it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from dyelab import book, grade, measure, shift, table, words
from dyelab import recipe as recipe_
from dyelab.book import Book
from dyelab.errors import InputError, choose
from dyelab.handout import page as parts
from dyelab.handout.page import Header, Page, Patch
from dyelab.shift.recipes import FACTORS, which_have

__all__ = ["FACTORS", "METALS", "Source", "cloth", "recipe", "rows_with", "source"]

METALS = tuple(shift.METALS)
SALTS = recipe_.metals.salts()


@dataclass(frozen=True)
class Source:
    """What pages and panels take from a book, read once.

    Attributes
    ----------
    book : Book
    wide : DataFrame
        As ``book.wide`` gives it.
    every : Recipes
        As ``shift.as_dyed`` gathers them, each method apart.
    """

    book: Book
    wide: pd.DataFrame
    every: shift.Recipes

    @cached_property
    def _by_method(self) -> dict[str, shift.Recipes]:
        return {}

    def by(self, method: str | None) -> shift.Recipes:
        """Recipes as read by one method; by all of them, each apart, where blank."""
        if not method or self.every.methods == [method]:
            return self.every
        if method not in self._by_method:
            given: Any = {"shared": self.shared, "method": method}
            self._by_method[method] = shift.as_dyed(_leave_references(self.wide), **given)
        return self._by_method[method]

    @cached_property
    def recipes(self) -> shift.Recipes:
        """Recipes all read by one method: the one that has read most."""
        return self.by(shift.leading_method(_leave_references(self.wide)))

    @cached_property
    def made(self) -> pd.DataFrame:
        """``recipes.made`` with `recipe`, in words."""
        return _put_in_words(self.recipes.made)

    @property
    def readings(self) -> pd.DataFrame:
        """All readings as dyed, by whatever method, the most trusted first."""
        return self.every.rows

    @cached_property
    def all_recipes(self) -> pd.DataFrame:
        """Every recipe of the book (``shift.list_recipes``); bare ends of prints apart."""
        areas = _leave_references(book.areas(self.book))
        printed = areas.groupby("swatch")["area"].transform("nunique") > 1
        return shift.list_recipes(areas[~(printed & (areas["area"] == "whole"))])

    @cached_property
    def unread_recipes(self) -> pd.DataFrame:
        """Recipes planned and never measured."""
        return _put_in_words(shift.unread_recipes(self.all_recipes, self.every))

    @property
    def rows(self) -> pd.DataFrame:
        """The readings behind `made`."""
        return self.recipes.rows

    @property
    def white(self) -> tuple[str, int]:
        """White of all its colours."""
        return table.one_white(self.readings)

    @property
    def how(self) -> str:
        """How the colours were read: method and conditions, said once on a page."""
        return read_how(self.rows)

    @property
    def shared(self) -> pd.DataFrame | None:
        """Errors that readings of one source share."""
        return self.book.shared

    @cached_property
    def moves(self) -> dict[tuple[int, int], dict[Any, Any]]:
        """What metals did, pair by pair, as ``shift.metal_moves`` gives it."""
        return shift.metal_moves(self.recipes)

    @cached_property
    def last_additions(self) -> dict[int, dict[Any, Any]]:
        """What the last thing added to each recipe did, by the recipe's row number.

        A recipe with metals is compared with the same one without, one with a mordant with the
        same one without it, one with a tannin alone with the plain one: the pairs that the pages
        and panels of metals, mordants and tannins take.
        """
        bare = (self.made[list(shift.METALS.values())] == 0).all(axis=1)
        found: dict[int, dict[Any, Any]] = {}
        for what in ("tannin", "mordant"):
            rows = shift.pairs(self.recipes, what).to_dict("records")
            found |= {int(row["to_row"]): row for row in rows if bare[row["to_row"]]}
        return found | {end: row for (start, end), row in self.moves.items() if bare[start]}

    @cached_property
    def made_and_planned(self) -> pd.DataFrame:
        """`made` and, without colours, what was planned and not measured yet."""
        both = [self.made, *([self.unread_recipes] if len(self.unread_recipes) else [])]
        return pd.concat(both, ignore_index=True)

    def planned_doses(self, one: shift.Family, metal: str) -> list[tuple[float, ...]]:
        """Doses of this metal alone that this recipe was planned with and not measured at."""
        shared = [name for name in one.picked if name in self.unread_recipes and name != "method"]
        alike = rows_with(self.unread_recipes, **{name: one.picked[name] for name in shared})
        doses = alike[list(shift.METALS.values())].itertuples(index=False, name=None)
        return [dose for dose in doses if shift.with_only(dose, metal) and dose not in one.dyed]

    def pairs(self, metal: str) -> pd.DataFrame:
        """Every pair that differs in this metal alone, compared; its dye and cloth in words."""
        if metal not in self._paired:
            self._paired[metal] = name_pairs(shift.pairs(self.recipes, metal), self.made)
        return self._paired[metal]

    @cached_property
    def _paired(self) -> dict[str, pd.DataFrame]:
        return {}

    @cached_property
    def change_grades(self) -> pd.DataFrame:
        """Grades of change after the most of each test that each piece had; no rows of none."""
        rows = self.wide[self.wide["part"].eq("swatch")]
        try:
            found = grade.keep_one_way(grade.pair(rows[at_most(rows)]))
            return grade.grades(found, shared=self.shared)
        except InputError:  # a book need not have been washed or lit
            return pd.DataFrame()

    def cautions(self, materials: Iterable[str], **wanted: bool) -> tuple[str, ...]:
        """What to take care of with these materials; `wanted` as of `recipe.cautions`."""
        listed = book.materials(self.book)
        return recipe_.cautions(materials, listed, **wanted)

    def cautions_of(self, rows: Iterable[Mapping[Any, Any]], **wanted: bool) -> tuple[str, ...]:
        """What to take care of with every material that the swatches of these recipes took."""
        codes = {code for row in rows for code in str(row.get("swatch", "")).split(", ")}
        steps = self.book.steps
        return self.cautions(steps.loc[steps["swatch"].isin(codes), "material"].unique(), **wanted)

    def crops(self, swatches: Iterable[str]) -> dict[str, bytes]:
        """Pictures of these cloths as dyed, cut from the book's photos; those that have one.

        By swatch, such as ``W05``, or by swatch and area, such as ``P-01 leaf``.
        """
        named = set(swatches)
        rows = self.readings[self.readings["swatch"].isin(named)]
        readings = self.book.readings[self.book.readings["reading"].isin(rows["reading"])]
        found = measure.crops(readings, self.book.path)
        pairs = zip(readings["reading"], table.pieces(readings), strict=True)
        return {name: found[reading] for reading, name in pairs if reading in found}

    def page(self, own: Header, title: str, blocks: Sequence[Any], **laid: Any) -> Page:
        """Return a teacher's page of this book's colours: its foot names white and method."""
        return own.page(title, blocks, white=self.white, how=self.how, **laid)

    def title(self, whole: str, bare: str) -> str:
        """A title by the key of its words: with the book's own in it, where the book has one."""
        return words.say(whole if self.book.title else bare, book=self.book.title)

    def patches(
        self, rows: Sequence[dict[Any, Any]], labels: Sequence[str], notes: Sequence[str] = ()
    ) -> tuple[Patch, ...]:
        """Patches of recipes, each with a picture of a cloth dyed to it where a photo has one.

        A recipe without a colour is a blank place.
        """
        made = parts.patches(pd.DataFrame(rows, columns=parts.COLOUR), labels, notes)
        cut = zip(made, self.cloth(rows), strict=True)
        return tuple(replace(one, crop=crop) for one, crop in cut)

    def cloth(self, rows: Sequence[dict[Any, Any]]) -> list[bytes]:
        """A picture of a cloth dyed to each recipe, cut from a photo; empty where there is none."""
        codes = [str(row.get("swatch") or "").split(", ") for row in rows]
        cut = self.crops(code for some in codes for code in some)
        named = [
            table.pieces(pd.DataFrame({"swatch": some}).assign(area=row.get("area")))
            for row, some in zip(rows, codes, strict=True)
        ]
        return [next((cut[name] for name in some if name in cut), b"") for some in named]

    def check_swatches(self, swatches: Sequence[str]) -> list[str]:
        """Codes of swatches, each one of the book's.

        Raises
        ------
        InputError
            If none are named, or the book has no such swatch.
        """
        if not len(swatches):
            raise InputError(words.say("make_pages.no_swatches"))
        known = dict.fromkeys(self.book.swatches["swatch"])
        wanted = [str(code) for code in swatches]
        for code in set(wanted) - set(known):
            choose(code, known, "swatch", "in this book")
        return wanted

    @cached_property
    def leading_readings(self) -> pd.DataFrame:
        """Readings of every swatch by the most trusted method that read it."""
        first = self.readings.groupby("swatch")["method"].transform("first")
        return self.readings[self.readings["method"] == first]

    def of_swatch(self, swatch: str) -> pd.DataFrame:
        """Readings of one swatch by the most trusted method that read it."""
        return self.leading_readings[self.leading_readings["swatch"] == swatch]

    @property
    def notes(self) -> list[str]:
        """What was left out because another method read it, in words."""
        methods = (
            [] if "method" not in self.readings else list(dict.fromkeys(self.readings["method"]))
        )
        if len(methods) < 2:
            return []
        used = str(self.rows["method"].iloc[0])
        others = " · ".join(shift.way_text(name) for name in methods if name != used)
        missed = len(set(self.readings["swatch"]) - set(self.rows["swatch"]))
        return [
            words.say("variants.read_by", used=shift.way_text(used), others=others, missed=missed)
        ]


def at_most(readings: pd.DataFrame) -> pd.Series:
    """Which readings are from before any test, or after the most of it that their piece had."""
    amount = readings["amount"]
    most = readings.groupby(["swatch", "area", "exposure", "unit"])["amount"].transform("max")
    return readings["exposure"].eq("none") | amount.isin([0]) | amount.eq(most) | amount.isna()


def read_how(rows: pd.DataFrame) -> str:
    """Method and conditions of readings in words; blank where nothing says."""
    if "method" not in rows:
        return ""
    named = [shift.way_text(table.method_of(way)) for way in rows["method"].unique()]
    kinds = rows.drop_duplicates(_tell(rows)).to_dict("records")
    under = dict.fromkeys(filter(None, map(table.conditions_text, kinds)))
    by = words.say("variants.how", by=" · ".join(dict.fromkeys(named)))
    return ", ".join(filter(None, [by, "; ".join(under)]))


def _tell(rows: pd.DataFrame) -> list[str]:
    return ["method", *(name for name in table.CONDITIONS if name in rows)]


def source(bk: Book) -> Source:
    """Read what pages and panels need from a book.

    Raises
    ------
    InputError
        If nothing in it has been measured as dyed.
    """
    wide = book.wide(bk)
    return Source(bk, wide, shift.as_dyed(_leave_references(wide), shared=bk.shared))


def _leave_references(rows: pd.DataFrame) -> pd.DataFrame:
    """Rows of cloth, without those of light references."""
    return rows[~grade.is_reference(rows)]


def _put_in_words(made: pd.DataFrame) -> pd.DataFrame:
    return made.assign(recipe=[recipe(row) for row in made.to_dict("records")])


def recipe(row: dict[Any, Any], *, bare: bool = False) -> str:
    """A recipe in words: ``madder 50 % on wool, potash alum 12 %, iron 1 %``.

    With `bare`, without the dye and the cloth: what the metals and the tannin were.
    """
    left = ("dye", "fibre", "form", "ground", "rest") if bare else ("form", "ground", "rest")
    return shift.in_words(row, left) or words.say("variants.bare")


def cloth(row: dict[Any, Any]) -> str:
    """A dye on a cloth, or the cloth without one."""
    key = "no_dye_on" if row["dye"] == "none" else "dye_on"
    return words.say(f"pages.{key}", dye=row["dye"], cloth=row["cloth"])


def addition_labels(rows: Sequence[dict[Any, Any]]) -> list[str]:
    """What was put with the dye, one label a recipe, each told apart from the others.

    Where that alone leaves two alike, the dye's dose joins, and then the swatch's code.
    """
    made = [recipe(row, bare=True) for row in rows]
    if len(set(made)) < len(made):
        dyes = [shift.dose_text(row["dye"], row["dye_wof"]) for row in rows]
        bare = words.say("variants.bare")
        made = [
            ", ".join(filter(None, [dye, "" if label == bare else label])) or label
            for dye, label in zip(dyes, made, strict=True)
        ]
    return [
        f"{label} ({row['swatch']})" if made.count(label) > 1 else label
        for label, row in zip(made, rows, strict=True)
    ]


def metal_labels(row: Mapping[Any, Any]) -> list[str]:
    """The metals of a recipe: ``iron 2 %``, ``copper 1 %``; ``iron`` where nobody weighed it."""
    doses = {metal: row.get(column, 0.0) for metal, column in shift.METALS.items()}
    return [shift.dose_text(metal, dose) for metal, dose in doses.items() if dose != 0]


def dose(amount: Any) -> str:
    """A dose as the trade writes it: ``0.5 %`` of the weight of fibre."""
    return f"{float(amount):.3g} %" if amount is not None and np.isfinite(float(amount)) else "?"


def rows_with(made: pd.DataFrame, **wanted: Any) -> pd.DataFrame:
    """Rows whose factors have these values."""
    return made[which_have(made, wanted)]


def none_first(column: pd.Series) -> pd.Series:
    """What to sort a column of recipes by, so that ``none`` and a blank dose come first."""
    numbers = pd.api.types.is_numeric_dtype(column)
    return column.fillna(0.0) if numbers else column.where(column != "none", "")


def name_pairs(pairs: pd.DataFrame, made: pd.DataFrame) -> pd.DataFrame:
    """Give pairs their `dye` and `cloth` in words, with doses where one name has several.

    Parameters
    ----------
    pairs : DataFrame
        As ``shift.pairs`` gives it.
    made : DataFrame
        The recipes they are of: every page gives or leaves out the doses of one name alike.

    Returns
    -------
    DataFrame
        The same with `dye` (``none`` where there is none) and `cloth`, such as
        ``cotton with gallnut, aluminium acetate``.
    """
    if pairs.empty:
        return pairs
    dye, tannin, mordant = (_with_dose(pairs, made, name) for name in ("dye", "tannin", "mordant"))
    rest = shift.recipe_names(pairs, ("dye", "fibre", "tannin", "mordant"))
    added = zip(pairs["fibre"], tannin, mordant, rest, strict=True)
    return pairs.assign(dye=dye, cloth=[_cloth(str(one), parts) for one, *parts in added])


def _with_dose(pairs: pd.DataFrame, made: pd.DataFrame, name: str) -> np.ndarray:
    column = f"{name}_wof"
    if column not in pairs:
        return pairs[name].to_numpy()
    several = pairs[name].map(made.groupby(name)[column].nunique() > 1).fillna(False)
    said = [shift.dose_text(*row) for row in pairs[[name, column]].itertuples(index=False)]
    return np.where(several, said, pairs[name])


def _cloth(fibre: str, parts: list[Any]) -> str:
    added = [str(part) for part in parts if part not in ("none", "")]
    return words.say("family.cloth", fibre=fibre, what=", ".join(added)) if added else fibre
