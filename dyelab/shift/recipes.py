"""A swatch book as variants: one row a recipe as dyed, its mean colour, and its noise."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from dyelab import compare, table, words
from dyelab.errors import InputError, choose

FACTORS = [
    *("form", "fibre", "ground", "tannin", "tannin_wof", "mordant", "mordant_wof"),
    *("dye", "dye_wof", "iron_wof", "copper_wof", "modifier", "assist", "assist_wof"),
    *("metals_at", "rest", "method"),
]
# What makes two swatches replicates beside the factors: every step in order, and the area.
IDENTITY = ["area", "recipe"]
# Ways of reading a colour, the most trusted first: an instrument's own spectrum, its colour, what
# somebody typed from one, then pictures. They err differently, so they are never averaged.
METHODS = ("spectral", "colorimeter", "typed", "scan", "photo")
_SALTS = ("ferrous sulfate", "copper sulfate")
METALS = {"iron": "iron_wof", "copper": "copper_wof"}
VARIES = {
    "iron": ("metals_at", "iron_wof"),
    "copper": ("metals_at", "copper_wof"),
    "mordant": ("assist", "assist_wof", "mordant", "mordant_wof"),
    "assist": ("assist", "assist_wof"),
    "tannin": ("tannin", "tannin_wof"),
}


@dataclass(frozen=True)
class Recipes:
    """The variants of a book.

    Attributes
    ----------
    made : DataFrame (g rows)
        One row a recipe and `method` of reading, the most trusted method first: its factors,
        `pieces`, `swatch` (codes), `L, a, b`, white point.
    variants : compare.Variants
        Means and noise of the same g rows.
    rows : DataFrame
        The readings behind them, with the row number of their recipe as `variant`.
    """

    made: pd.DataFrame
    variants: compare.Variants
    rows: pd.DataFrame

    @property
    def methods(self) -> list[str]:
        """How these recipes were read, the most trusted method first."""
        return list(dict.fromkeys(self.made["method"])) if "method" in self.made else []


def as_dyed(
    wide: pd.DataFrame, *, shared: pd.DataFrame | None = None, method: str | None = None
) -> Recipes:
    """Gather the readings taken before any test into recipes.

    Readings by different methods err differently, so each recipe has a row for each method that
    read it; what compares recipes pairs only rows of one method.

    Parameters
    ----------
    wide : DataFrame
        As ``book.wide`` gives it.
    shared : DataFrame, optional
        The book's `shared` table.
    method : str, optional
        Keep only what was read by this method: one of `METHODS`. `leading` names the one that
        read most recipes.

    Returns
    -------
    Recipes

    Raises
    ------
    InputError
        If columns are missing, nothing has been read as dyed (by this method), or white points
        mix.
    """
    table.need(wide, [*table.LAB, *table.WHITE, "swatch", *METALS.values()], "shift")
    rows = _read_by(fresh(wide), method)
    white = table.one_white(rows)
    there = [name for name in [*FACTORS, *IDENTITY] if name in rows]
    rows = _without_salts(rows.assign(**_filled(rows[there])))
    rows["variant"] = grouped(rows, there)
    series = "series" if "series" in rows else None
    known = shared if shared is not None and len(shared) else None
    variants = compare.gather(rows, by="variant", piece="swatch", shared=known, series=series)
    first = rows.drop_duplicates("variant").reset_index(drop=True)
    codes: dict[int, dict[str, None]] = {}
    for variant, code in zip(rows["variant"].tolist(), rows["swatch"].tolist(), strict=True):
        codes.setdefault(variant, {})[code] = None
    made = first[there].assign(
        **dict(zip(table.LAB, variants.mean.T, strict=True)),
        illuminant=white[0],
        observer=white[1],
        pieces=variants.pieces,
        swatch=[", ".join(codes[i]) for i in range(len(first))],
    )
    return Recipes(made, replace(variants, names=np.array(label(made), object)), rows)


def fresh(wide: pd.DataFrame) -> pd.DataFrame:
    """Readings of the cloth itself, taken before any test.

    Raises
    ------
    InputError
        If there is none.
    """
    keep = wide[table.LAB].notna().all(axis=1)
    if "exposure" in wide:
        keep &= wide["exposure"] == "none"
    if "part" in wide:
        keep &= wide["part"].isin(["", "swatch"]) | wide["part"].isna()
    if not keep.any():
        raise InputError(words.say("variants.nothing"))
    return wide[keep].reset_index(drop=True)


def _read_by(rows: pd.DataFrame, method: str | None) -> pd.DataFrame:
    """Rows of this method, or of all of them with the most trusted first."""
    if "method" not in rows:
        return rows
    if method is not None:
        choose(method, _trusted(rows), "method", "has read a swatch as dyed here")
        return rows[rows["method"] == method].reset_index(drop=True)
    ranks = rows["method"].map({name: rank for rank, name in enumerate(_trusted(rows))})
    return rows.iloc[np.argsort(ranks.to_numpy(), kind="stable")].reset_index(drop=True)


def _trusted(rows: pd.DataFrame) -> list[str]:
    """Methods of these rows, the most trusted first, unknown ones last."""
    there = list(dict.fromkeys(rows["method"]))
    known = [name for name in METHODS if name in there]
    return known + [name for name in there if name not in known]


def leading(wide: pd.DataFrame) -> str | None:
    """Name the method that has read the most swatches as dyed, the most trusted of equals.

    For what has to rest on one method as a whole, such as a page or a model. None where the table
    doesn't say how it was read.
    """
    if "method" not in wide:
        return None
    rows = fresh(wide)
    swatches = rows.groupby("method")["swatch"].nunique()
    return max(_trusted(rows), key=lambda name: swatches[name])


def _filled(rows: pd.DataFrame) -> dict[str, pd.Series]:
    """Blanks as none; but a metal whose dose can't be worked out stays unknown, and unpaired."""
    metals = METALS.values()
    return {
        str(name): rows[name].astype(float).fillna(np.nan if name in metals else 0.0)
        if str(name).endswith("_wof")
        else rows[name].astype(object).where(rows[name].notna(), "").astype(str)
        for name in rows
    }


def _without_salts(rows: pd.DataFrame) -> pd.DataFrame:
    """Iron and copper are told by their doses alone, wherever in the recipe they stood."""
    changed = {}
    if "modifier" in rows:
        kept = {text: _no_salt(text) for text in rows["modifier"].unique()}
        changed["modifier"] = rows["modifier"].map(kept)
    if "mordant" in rows:
        alone = rows["mordant"].isin(_SALTS)
        changed["mordant"] = rows["mordant"].where(~alone, "none")
        if "mordant_wof" in rows:
            changed["mordant_wof"] = rows["mordant_wof"].where(~alone, 0.0)
    return rows.assign(**changed)


def _no_salt(text: str) -> str:
    kept = [part for part in text.split(" + ") if part and part not in _SALTS]
    return " + ".join(kept) or "none"


def grouped(frame: pd.DataFrame, names: list[str]) -> np.ndarray:
    """Number rows that agree in all these columns alike, in order of appearance."""
    key = np.zeros(len(frame), np.int64)
    for name in names:
        codes, levels = pd.factorize(frame[name], use_na_sentinel=False)
        key = pd.factorize(key * (len(levels) + 1) + codes)[0].astype(np.int64)
    return key


def varying(what: str, made: pd.DataFrame) -> list[str]:
    """Columns that `what` varies: iron, copper, mordant, its assist, or tannin."""
    choose(what, VARIES, "step", "that can vary")
    return [name for name in VARIES[what] if name in made]


def level(made: pd.DataFrame, what: str) -> pd.Series:
    """What each recipe has of `what`, in words: ``iron 2 %``, ``potash alum 15 %``, ``none``."""
    if what in METALS:
        doses = made[METALS[what]].to_numpy(float)
        return pd.Series(["none" if dose <= 0 else _dosed(what, dose) for dose in doses])
    doses = made.get(f"{what}_wof", pd.Series(np.nan, index=made.index)).to_numpy(float)
    return pd.Series([_dosed(str(n), d) for n, d in zip(made[what], doses, strict=True)])


def _dosed(name: str, dose: float) -> str:
    return f"{name} {dose:.3g} %" if np.isfinite(dose) and dose > 0 else name


def label(made: pd.DataFrame, leave_out: tuple[str, ...] = ()) -> list[str]:
    """Each recipe in words: ``madder 50 % on wool, potash alum 15 %, iron 2 %``."""
    there = {name: made[name].tolist() for name in FACTORS if name in made}
    rows = zip(*there.values(), strict=True)
    return [_label(dict(zip(there, row, strict=True)), leave_out) for row in rows]


def _label(row: dict, leave_out: tuple[str, ...]) -> str:
    dye = "undyed" if row.get("dye", "none") in ("none", "") else ""
    parts = [] if "dye" in leave_out else [dye or _dosed(row["dye"], row.get("dye_wof", np.nan))]
    if "fibre" not in leave_out and row.get("fibre"):
        parts = [f"{parts[0]} {row['fibre']}" if dye else " on ".join([*parts, row["fibre"]])]
    for name in ("tannin", "mordant"):
        if name not in leave_out and row.get(name, "none") not in ("none", ""):
            parts.append(_dosed(row[name], row.get(f"{name}_wof", np.nan)))
    parts += [
        _dosed(metal, row[column])
        for metal, column in METALS.items()
        if metal not in leave_out and not row[column] <= 0
    ]
    if row.get("modifier", "none") not in ("none", ""):
        parts.append(str(row["modifier"]))
    return ", ".join(part for part in parts if part)
