"""One page that tells what iron did in a book, and how well it held: made for handing out."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dyelab import compare, convert, grade, shift, table, words
from dyelab.errors import InputError
from dyelab.handout import colours, fastness_texts
from dyelab.handout import page as parts

_CELL = [name for name in colours.FACTORS if name not in shift.METALS.values()]
_SHOWN = ["dye", "cloth", "dE00", "dE00_low", "dE00_high", "dL", "dC", "verdict"]


@dataclass(frozen=True)
class Findings:
    """What was found in a book.

    Attributes
    ----------
    metals : DataFrame
        Every matched pair, as ``shift.of_step`` gives it, with `metal`, and `cloth` and
        `dye_told` in words.
    held : DataFrame
        Every swatch after washing or light, as ``grade.grades`` gives it.
    light : DataFrame
        Light fastness: the blue wool reference each swatch changed like, as
        ``grade.nearest_reference`` gives it; no rows where no references were lit beside the
        swatches.
    case : Separation or None
        Iron on a dyed and tannined cloth, split with its controls: of those the book can
        split, the best replicated, and among equals the one with the largest tannin share.
    dose : float
        Dose asked about, % WOF of ferrous or copper sulfate.
    """

    metals: pd.DataFrame
    held: pd.DataFrame
    light: pd.DataFrame
    case: shift.Separation | None
    dose: float

    def at_dose(self, metal: str) -> pd.DataFrame:
        """Pairs of a metal at the dose asked about, the furthest moved first."""
        kept = (self.metals["metal"] == metal) & (self.metals["dose"] == self.dose)
        return self.metals[kept].sort_values("dE00", ascending=False, kind="stable")

    def plain(self, metal: str = "iron") -> pd.DataFrame:
        """Of these pairs, the dyed ones without a tannin, at their fullest dose."""
        pairs = self.at_dose(metal)
        return fullest(pairs[(pairs["dye"] != "none") & (pairs["tannin"] == "none")])

    def misled(self) -> pd.DataFrame:
        """Two pairs of the case: the dyed cloth, and the same cloth and tannin without dye."""
        iron = self.at_dose("iron")
        if self.case is None:
            return iron.head(0)
        cells = self.case.cells.set_index("cell")["swatch"]
        at = iron.set_index("swatch_with", drop=False)
        return at.loc[[cells["dyed with"], cells["tannin with"]]].reset_index(drop=True)


def find(
    wide: pd.DataFrame,
    *,
    spectra: pd.DataFrame | None = None,
    shared: pd.DataFrame | None = None,
    dose: float = 2.0,
) -> Findings:
    """Ask a book what its metals did, what the tannin's share was, and how the colours held.

    Parameters
    ----------
    wide : DataFrame
        As ``book.wide`` gives it.
    spectra, shared : DataFrame, optional
        The book's tables of these names.
    dose : float
        Iron dose to dwell on, % WOF of ferrous sulfate.

    Returns
    -------
    Findings
    """
    recipes = shift.as_dyed(wide, shared=shared)
    metals = pd.concat([_pairs(recipes, metal) for metal in colours.METALS], ignore_index=True)
    graded = grade.grades(grade.pair(wide), shared=shared)
    graded = graded.assign(swatch=table.pieces(graded))
    held = graded[(graded["kind"] == "change") & graded["exposure"].isin(["wash", "light"])]
    case = _case(recipes, metals, spectra, dose)
    return Findings(metals, held, _light(graded), case, dose)


def _light(graded: pd.DataFrame) -> pd.DataFrame:
    try:
        placed = grade.nearest_reference(graded)
    except InputError:  # no references beside the swatches
        return pd.DataFrame(columns=["swatch", "reference", "reference_low", "reference_high"])
    return placed[placed["best"]]


def _pairs(recipes: shift.Recipes, metal: str) -> pd.DataFrame:
    pairs = shift.pairs(recipes, metal)
    if pairs.empty:  # a book need not have every metal
        return pairs
    after = recipes.made.loc[pairs["to_row"], ["swatch", *table.WHITE]].reset_index(drop=True)
    said = colours.name_pairs(pairs, recipes.made)[["dye", "cloth"]]
    named = pairs.assign(metal=metal, cloth=said["cloth"], dye_told=said["dye"])
    return pd.concat([named, after.rename(columns={"swatch": "swatch_with"})], axis=1)


def _case(
    recipes: shift.Recipes, metals: pd.DataFrame, spectra: pd.DataFrame | None, dose: float
) -> shift.Separation | None:
    iron = metals[(metals["metal"] == "iron") & (metals["dose"] == dose)]
    held = [name for name in _CELL if name in iron]
    alone = iron[shift.without_others(iron, "iron")]
    cells = alone.loc[(alone["tannin"] != "none") & (alone["dye"] != "none"), held]
    splits = [
        shift.separate(
            recipes,
            "iron",
            hold={str(name): value for name, value in cell.items()},
            spectra=spectra,
            dose=dose,
        )
        for cell in cells.drop_duplicates().to_dict("records")
    ]
    whole = [split for split in splits if not split.missing and "share" in split.parts]
    return max(whole, key=_weight, default=None)


def _weight(split: shift.Separation) -> tuple[int, float]:
    """Best replicated first, then the tannin's share."""
    share = split.parts.set_index("part")["share"].astype(float)
    return int(split.cells["pieces"].iloc[:4].min()), share["tannin"]


def page(found: Findings, title: str, *, note: str = "") -> parts.Page:
    """Set the page: chips before and after iron, the differences, the grades, the cautions.

    Parameters
    ----------
    found : Findings
    title, note : str
        Head and foot line.

    Returns
    -------
    Page
    """
    plain, misled = found.plain(), found.misled()
    return parts.Page(
        title,
        (
            parts.Text(" ".join([*furthest(found), *quick_answer(found)]), "lead"),
            _chips(pd.concat([plain.head(1), misled]), found.dose),
            parts.Heading(words.say("findings.table")),
            parts.number_table(compare.readable(_told(pd.concat([plain, misled])))[_SHOWN]),
            parts.Heading(words.say("findings.held")),
            parts.number_table(grades(found)),
            parts.Caution((words.say("findings.caution"), words.say("findings.screening"))),
        ),
        note=note,
    )


def _told(pairs: pd.DataFrame) -> pd.DataFrame:
    return pairs.assign(dye=pairs["dye_told"]) if len(pairs) else pairs


def furthest(found: Findings) -> list[str]:
    """Say which dye iron moved furthest where no tannin was in the way."""
    first = _told(found.plain().head(1)).to_dict("records")
    return [words.say("findings.furthest", **round_row(row)) for row in first]


def quick_answer(found: Findings) -> list[str]:
    """Say what iron seems to do to a dye on tannin, and how much of it is the tannin's own."""
    if found.case is None:
        return []
    dyed, control = (round_row(row) for row in _told(found.misled()).to_dict("records"))
    return [
        words.say("findings.quick", **dyed),
        words.say("findings.alone", **control),
        words.say("findings.split", **_shares(found.case)),
    ]


def _shares(split: shift.Separation) -> dict[str, str]:
    rows = split.parts.set_index("part").to_dict("index")
    return {part: shift.share_text(rows[part]) for part in ("dye", "tannin")}


def round_row(row: dict[Any, Any]) -> dict[str, Any]:
    """Numbers of one row as printed, with one decimal."""
    return {str(k): f"{v:.1f}" if isinstance(v, float) else v for k, v in row.items()}


def _chips(pairs: pd.DataFrame, dose: float) -> parts.Chips:
    """Pairs side by side: each cloth without iron, then with it."""
    with_iron = words.say("findings.with_iron", dose=colours.dose(dose))
    labels = [words.say("findings.without"), with_iron]
    patches: list[parts.Patch] = []
    for row in _told(pairs).to_dict("records"):
        ends = [{**row, **{c: row[f"{end}_{c}"] for c in table.LAB}} for end in ("from", "to")]
        dye = words.say("findings.no_dye") if row["dye"] == "none" else row["dye"]
        notes = [f"{dye}, {row['cloth']}"] * 2
        patches += parts.patches(pd.DataFrame(ends), labels, notes)
    return parts.Chips(tuple(patches), columns=6)


def grades(found: Findings) -> pd.DataFrame:
    """Change grades on mordanted wool, plain and with each metal at the dose asked about.

    Returns
    -------
    DataFrame
        One row a dye and metal: `dye, added`, a column for the hardest exposure of each kind,
        named in words, and `fades_like`, the reference it fades like.
    """
    held = found.held
    last = held["amount"] == held.groupby("exposure")["amount"].transform("max")
    doses = held[[c for c in shift.METALS.values() if c in held]]
    metals = doses.isin([0, found.dose]).all(axis=1)
    chosen = held[last & metals & (held["fibre"] == "wool") & (held["mordant"] != "none")]
    rows = fullest(chosen[chosen["dye"] != "none"]).to_dict("records")
    for row in rows:
        row["when"] = fastness_texts.after_what(row)
        row["added"] = ", ".join([row["mordant"], *colours.metals(row)])
    frame = pd.DataFrame(rows, columns=[*held.columns, "when", "added"])
    wide = frame.pivot_table(
        index=["swatch", "dye", "added"],
        columns="when",
        values="said",
        aggfunc="first",
        sort=False,
    )
    return _with_light(wide.rename_axis(columns=None).reset_index(), found.light)


def fullest(rows: pd.DataFrame) -> pd.DataFrame:
    """Of dyes and mordants used at several doses, the largest: one line a dye and metal."""
    keys = [rows["fibre"], rows["dye"]]
    largest = [rows.groupby([*keys, rows["mordant"]])["mordant_wof"].transform("max")]
    largest.insert(0, rows.groupby(keys)["dye_wof"].transform("max"))
    return rows[(rows["dye_wof"] == largest[0]) & (rows["mordant_wof"] == largest[1])]


def _with_light(graded: pd.DataFrame, light: pd.DataFrame) -> pd.DataFrame:
    """Put the blue wool reference in a last column; the swatch codes have done their work."""
    said = {
        row["swatch"]: words.say("findings.reference", **round_row(row))
        for row in light.to_dict("records")
    }
    if said:
        graded = graded.assign(fades_like=graded["swatch"].map(said).fillna(""))
    return graded.drop(columns="swatch")


def agreement(read: pd.DataFrame, instrument: pd.DataFrame) -> pd.DataFrame:
    """Compare photo readings with an instrument's of the same swatches.

    Parameters
    ----------
    read : DataFrame
        `swatch, L, a, b`, white point, covariances.
    instrument : DataFrame
        `sample` (the swatch), `L, a, b`, white point.

    Returns
    -------
    DataFrame
        `swatch, dE00`, and `inside`: whether the instrument's colour lies where the photo's
        stated uncertainty puts it 95 times in a hundred (chi-squared, three coordinates).
    """
    table.one_white(read, instrument)
    other = instrument.set_index("sample").loc[read["swatch"], table.LAB].to_numpy()
    own = read[table.LAB].to_numpy()
    off = other - own
    squares = np.einsum("ni,nij,nj->n", off, np.linalg.inv(table.covariances(read)), off)
    found = read[["swatch"]].reset_index(drop=True)
    return found.assign(dE00=convert.dE00(other, own), inside=squares < _CHI2_95)


_CHI2_95 = 7.814728  # chi-squared, 3 degrees of freedom, 95 %
