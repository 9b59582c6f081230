"""One page that tells what iron did in a book, and how well it held: made for handing out."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dyelab import convert, grade, table, words
from dyelab.handout import page as parts
from dyelab.handout import variants

SHOWN = ("dE00", "dE00_low", "dE00_high")


@dataclass(frozen=True)
class Findings:
    """What was found in a book.

    Attributes
    ----------
    rows : DataFrame
        Readings as dyed, as ``variants.as_dyed`` gives them.
    made : DataFrame
        Recipes, as ``variants.variants`` gives them.
    metals : DataFrame
        One row a matched pair: `metal, dose, dye, cloth` and the result of ``compare.pairs``.
    held : DataFrame
        One row a swatch and exposure, as `exposed` gives it.
    """

    rows: pd.DataFrame
    made: pd.DataFrame
    metals: pd.DataFrame
    held: pd.DataFrame

    def of(self, metal: str, dose: float, **wanted: str) -> pd.DataFrame:
        """Pairs of one metal at one dose, the furthest moved first."""
        found = self.metals[(self.metals["metal"] == metal) & (self.metals["dose"] == dose)]
        for name, value in wanted.items():
            found = found[found[name] == value]
        return found.sort_values("dE00", ascending=False, kind="stable")


def find(wide: pd.DataFrame, shared: pd.DataFrame | None = None) -> Findings:
    """Compare every matched pair of a book, and every exposed swatch with itself as dyed.

    Parameters
    ----------
    wide : DataFrame
        As ``book.wide`` gives it.
    shared : DataFrame, optional
        `table.SHARED` rows of these readings.

    Returns
    -------
    Findings
    """
    rows = variants.as_dyed(wide)
    made = variants.variants(rows)
    pairs = pd.concat([matched(made, metal) for metal in variants.METALS], ignore_index=True)
    ends = list(pairs[["reference", "sample"]].itertuples(index=False, name=None))
    compared = variants.differences(rows, ends, shared).drop(columns=["reference", "sample"])
    metals = pd.concat([pairs.drop(columns=["reference", "sample"]), compared], axis=1)
    return Findings(rows, made, metals.assign(**pairs[["reference", "sample"]]), exposed(wide))


def matched(made: pd.DataFrame, metal: str) -> pd.DataFrame:
    """Recipes that differ in one metal alone: one row a pair, `reference` without it.

    Parameters
    ----------
    made : DataFrame
        As ``variants.variants`` gives it.
    metal : str
        ``iron`` or ``copper``.

    Returns
    -------
    DataFrame
        `reference, sample` (variants), `metal, dose, dye, fibre, tannin, mordant, cloth`.
    """
    column = f"{metal}_wof"
    same = [name for name in variants.FACTORS if name in made and name != column]
    without = made.loc[made[column] == 0, [*same, "variant"]]
    having = made.loc[made[column] > 0, [*same, column, "variant"]]
    pairs = having.merge(without, on=same, suffixes=("_with", "_without"))
    named = pairs.rename(
        columns={"variant_without": "reference", "variant_with": "sample", column: "dose"}
    )
    kept = ["reference", "sample", "dose", "dye", "fibre", "tannin", "mordant"]
    return named[kept].assign(metal=metal, cloth=cloths(named))


def cloths(rows: pd.DataFrame) -> list[str]:
    """What the dye went on, in words: ``cotton with gallnut, aluminium acetate``."""
    said = []
    for row in rows.to_dict("records"):
        added = [str(row[name]) for name in ("tannin", "mordant") if row[name] != "none"]
        joint = words.say("findings.with", fibre=row["fibre"], what=", ".join(added))
        said.append(joint if added else str(row["fibre"]))
    return said


def exposed(wide: pd.DataFrame) -> pd.DataFrame:
    """Every swatch after washing or light, against itself as dyed.

    Parameters
    ----------
    wide : DataFrame
        As ``book.wide`` gives it.

    Returns
    -------
    DataFrame
        `swatch`, the recipe, `cloth, exposure, amount, unit`, the differences of
        ``convert.differences``, `change_value, change_grade`.
    """
    swatches = wide[wide["part"].isin(["", "swatch"])]
    fresh = swatches[swatches["exposure"] == "none"].set_index("swatch")[table.LAB]
    later = swatches[swatches["exposure"].isin(["wash", "light"])].reset_index(drop=True)
    later = later[later["swatch"].isin(fresh.index)].reset_index(drop=True)
    table.one_white(swatches)
    before, after = fresh.loc[later["swatch"]].to_numpy(), later[table.LAB].to_numpy()
    kept = ["swatch", *_RECIPE, "exposure", "amount", "unit"]
    named = later[kept].assign(cloth=[variants.recipe(r) for r in later.to_dict("records")])
    moved = [convert.differences(before, after), grade.change(before, after)]
    return pd.concat([named, *(part.reset_index(drop=True) for part in moved)], axis=1)


_RECIPE = ["fibre", "tannin", "mordant", "dye", "iron_wof", "copper_wof"]


def case(found: Findings, metal: str, dose: float) -> pd.DataFrame:
    """Find where a quick answer misleads most: a dye on tannin, and that tannin without dye.

    Returns
    -------
    DataFrame
        Two rows of `metals`, a dyed pair and its control: those where the control's shift is
        most nearly the whole. No rows where no tannin has such a control.
    """
    pairs = found.of(metal, dose)
    tanned = pairs[pairs["tannin"] != "none"].reset_index()
    both = tanned[tanned["dye"] != "none"].merge(
        tanned[tanned["dye"] == "none"], on="cloth", suffixes=("", "_alone")
    )
    if both.empty:
        return pairs.head(0)
    shift = both[["dL", "da", "db"]].to_numpy()
    left = shift - both[["dL_alone", "da_alone", "db_alone"]].to_numpy()
    worst = both.iloc[(np.linalg.norm(left, axis=1) / np.linalg.norm(shift, axis=1)).argmin()]
    return pairs.loc[[worst["index"], worst["index_alone"]]]


def page(found: Findings, *, dose: float, note: str = "") -> parts.Page:
    """Set the page: chips before and after iron, the differences, the grades, the cautions.

    Parameters
    ----------
    found : Findings
    dose : float
        Iron dose shown, % WOF of ferrous sulfate.
    note : str
        Foot line.

    Returns
    -------
    Page
    """
    moved = found.of("iron", dose)
    plain = moved[(moved["dye"] != "none") & (moved["tannin"] == "none")]
    misled = case(found, "iron", dose)
    columns = ["dye", "cloth", *SHOWN, "dL", "dC", "verdict"]
    chosen = pd.concat([plain, misled])[columns]
    return parts.Page(
        words.say("findings.title", dose=variants.dose(dose)),
        (
            parts.Text(" ".join(answers(plain, misled)), "lead"),
            _chips(found.made, pd.concat([plain.head(1), misled]), variants.dose(dose)),
            parts.Heading(words.say("findings.table")),
            parts.number_table(chosen),
            parts.Heading(words.say("findings.held")),
            parts.number_table(grades(found.held, dose=dose)),
            parts.Caution((words.say("findings.caution"), words.say("findings.screening"))),
        ),
        note=note,
    )


def answers(plain: pd.DataFrame, misled: pd.DataFrame) -> list[str]:
    """Say what moved furthest, and how much of a shift on tannin comes without any dye."""
    said = []
    if len(plain):
        said.append(words.say("findings.furthest", **rounded(plain.iloc[0].to_dict())))
    if len(misled) == 2:
        dyed, control = misled.to_dict("records")
        said.append(words.say("findings.quick", **rounded(dyed)))
        said.append(words.say("findings.alone", **rounded(control)))
    return said


def rounded(row: dict[Any, Any]) -> dict[str, Any]:
    """Numbers of one row as printed, with one decimal."""
    return {str(k): f"{v:.1f}" if isinstance(v, float) else v for k, v in row.items()}


def _chips(made: pd.DataFrame, pairs: pd.DataFrame, dose: str) -> parts.Chips:
    """Pairs side by side: each cloth without iron, then with it."""
    at = made.set_index("variant")
    order = pairs[["reference", "sample"]].to_numpy().ravel()
    labels = [words.say("findings.without"), words.say("findings.with_iron", dose=dose)]
    dyes = pairs["dye"].replace("none", words.say("findings.no_dye"))
    notes = [f"{dye}, {cloth}" for dye, cloth in zip(dyes, pairs["cloth"], strict=True)]
    shown = at.loc[order, [*table.LAB, *table.WHITE]]
    patches = parts.patches(shown, labels * len(pairs), [n for n in notes for _ in (0, 1)])
    return parts.Chips(tuple(patches), columns=6)


def grades(held: pd.DataFrame, *, fibre: str = "wool", dose: float = 2.0) -> pd.DataFrame:
    """Change grades on one mordanted fibre, plain and with each metal.

    Returns
    -------
    DataFrame
        One row a dye and metal: `dye, added`, and a column for the hardest exposure of each
        kind, named in words.
    """
    last = held["amount"] == held.groupby("exposure")["amount"].transform("max")
    metals = held["iron_wof"].isin([0, dose]) & held["copper_wof"].isin([0, dose])
    chosen = held[last & metals & (held["fibre"] == fibre) & (held["mordant"] != "none")]
    rows = chosen[chosen["dye"] != "none"].to_dict("records")
    named = [{**row, "when": when(row), "added": _added(row)} for row in rows]
    return (
        pd.DataFrame(named, columns=[*held.columns, "when", "added"])
        .pivot_table(
            index=["dye", "added"],
            columns="when",
            values="change_grade",
            aggfunc="first",
            sort=False,
        )
        .rename_axis(columns=None)
        .reset_index()
    )


def _added(row: dict[Any, Any]) -> str:
    doses = {metal: row[f"{metal}_wof"] for metal in variants.METALS}
    said = [
        words.say(f"variants.{metal}", dose=variants.dose(dose))
        for metal, dose in doses.items()
        if dose > 0
    ]
    return ", ".join([row["mordant"], *said])


def when(row: dict[Any, Any]) -> str:
    """Name an exposure in words: ``after 10 washes``."""
    amount = float(row["amount"])
    if row["unit"] == "lx h":
        return words.say("findings.light", amount=f"{amount / 1e6:g}")
    return words.say("findings.wash", amount=f"{amount:g}")
