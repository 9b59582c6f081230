"""One row a recipe: the mean colour of the swatches dyed to it, as pages and panels show it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dyelab import compare, table, words
from dyelab.errors import InputError

FACTORS = [
    *("form", "fibre", "ground", "tannin", "tannin_wof", "mordant", "mordant_wof"),
    *("dye", "dye_wof", "iron_wof", "copper_wof", "modifier"),
]
METALS = ("iron", "copper")
REFERENCE_FIBRE = "blue wool"  # light references: measured beside the swatches, not dyed here


@dataclass(frozen=True)
class Source:
    """What pages and panels take from a book, read once.

    Attributes
    ----------
    book : Book
    rows : DataFrame
        Readings as dyed, as `as_dyed` gives them.
    made : DataFrame
        One row a recipe, as `variants` gives them.
    """

    book: Any
    rows: pd.DataFrame
    made: pd.DataFrame

    @property
    def shared(self) -> pd.DataFrame | None:
        """Errors that readings of one source share."""
        return getattr(self.book, "shared", None)


def source(bk: Any) -> Source:
    """Read what pages and panels need from a book.

    Raises
    ------
    InputError
        If nothing in it has been measured as dyed.
    """
    from dyelab import book

    rows = as_dyed(book.wide(bk))
    return Source(bk, rows, variants(rows))


def as_dyed(wide: pd.DataFrame) -> pd.DataFrame:
    """Readings of swatches before any test, each with the key of its recipe as `variant`.

    Parameters
    ----------
    wide : DataFrame
        As ``book.wide`` gives it.

    Raises
    ------
    InputError
        If nothing has been measured as dyed.
    """
    blank = wide["part"].fillna("").isin(["", "swatch"]) if "part" in wide else True
    measured = wide[table.LAB].notna().all(axis=1)
    cloth = wide["fibre"] != REFERENCE_FIBRE
    rows = wide[(wide["exposure"] == "none") & blank & measured & cloth]
    if rows.empty:
        raise InputError(words.say("variants.nothing"))
    rows = rows.reset_index(drop=True)
    return rows.assign(variant=_keys(rows))


def _keys(rows: pd.DataFrame) -> list[str]:
    there = [name for name in FACTORS if name in rows]
    cells = rows[there].astype(object).where(rows[there].notna(), "")
    return [" | ".join(map(str, cell)) for cell in cells.itertuples(index=False)]


def variants(rows: pd.DataFrame) -> pd.DataFrame:
    """Average readings to recipes.

    Parameters
    ----------
    rows : DataFrame
        As `as_dyed` gives it.

    Returns
    -------
    DataFrame
        `variant`, the factors, `L, a, b, illuminant, observer`, `u_L, u_a, u_b` (standard
        uncertainty of the mean, swatch-to-swatch scatter included where there are replicates),
        `pieces`, `swatch` (their codes), `recipe` (in words).
    """
    gathered = compare.gather(rows, by="variant", piece="swatch")
    first = rows.drop_duplicates("variant").reset_index(drop=True)
    spread = np.sqrt(np.clip(np.diagonal(_of_mean(gathered), axis1=1, axis2=2), 0, None))
    codes = rows.groupby("variant", sort=False)["swatch"].agg(lambda s: ", ".join(s.unique()))
    kept = first[["variant", *[name for name in FACTORS if name in first], *table.WHITE]]
    made = kept.assign(
        **dict(zip(table.LAB, gathered.mean.T, strict=True)),
        **dict(zip(table.STANDARD_UNCERTAINTIES, spread.T, strict=True)),
        pieces=gathered.pieces,
        swatch=codes.to_numpy(),
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


def differences(
    rows: pd.DataFrame, pairs: Sequence[tuple[str, str]], shared: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Compare pairs of recipes; the result as ``compare.pairs`` gives it."""
    known = shared if shared is not None and len(shared) else None
    return compare.pairs(rows, pairs, by="variant", piece="swatch", shared=known)


def only(made: pd.DataFrame, **wanted: Any) -> pd.DataFrame:
    """Rows whose factors have these values; a dose of 0 also matches a blank."""
    keep = np.ones(len(made), bool)
    for name, value in wanted.items():
        if name not in made:
            continue
        column = made[name]
        keep &= (column.fillna(0) == value) if isinstance(value, float) else (column == value)
    return made[keep]
