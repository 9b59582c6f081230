"""What in a book is valid and yet looks like a slip: seen by whoever knows the trade."""

import difflib
from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from dyelab import convert, recipe, table, words
from dyelab.book.swatch_book import FAULT_COLUMNS, Book
from dyelab.book.views import materials, recipes, wide

# How far beyond the trade's usual range a dose may lie before it is pointed out: dose series go to
# half and to double on purpose, a slip of a decimal goes ten times past (common practice).
_BEYOND = 3.0
_DIPS = 20  # of one vat: dark blues take eight to twelve (common practice)
# Likeness of two names (difflib's ratio): "wled" is nearly "weld", "lac" isn't "lax"; at 0.8 some
# slips are missed, below 0.74 right names look like others (tests/benchmarks/near_words.py).
LIKE = 0.74
# Replicates are pointed out if they lie further apart than those of every other recipe by this
# factor (the second where no more than so many recipes were repeated), and by more than an eye
# overlooks; or if they lie so far apart as no two pieces of one recipe should. What half and double
# of each would find, and point out in vain: tests/benchmarks/suspicious_books.py, in both worlds.
APART, OTHERS, SEEN, FAR = (2.0, 4.0), 3, 2.0, 12.0  # times; recipes; ΔE00
# A cloth's reflectance is smooth: hardly a dye bends it by so much within two bands (same script).
JUMP = 0.06  # reflectance factor, off the middle of its two neighbours at 20 nm or less
_CLOSE_BANDS = 20.0  # nm


def suspicions(bk: Book) -> pd.DataFrame:
    """List what is valid but should be looked at.

    Returns
    -------
    DataFrame
        `file, row, column, found, expected, remedy, text`, as the book's faults: doses far out of
        the usual range, grams that look like those of a whole bath, names that are nearly a known
        material's, a swatch that lacks one step of a recipe else repeated, replicates that differ
        more than all others, spectra with a jump.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> bk = book.open(synth.example())
    >>> book.suspicions(bk)["text"].tolist()
    []
    """
    rules = (_doses, _grams_of_baths, _names, _lost_steps, _replicates, _jumps)
    found = [fault for rule in rules for fault in rule(bk)]
    return pd.DataFrame(found, columns=FAULT_COLUMNS)


def _fault(
    file: str, row: int, column: str, found: Any, label: str, key: str, **values: Any
) -> dict[str, Any]:
    said = {part: words.say(f"suspicions.{key}_{part}", **values) for part in ("is", "do")}
    return table.fault(file, row, column, found, said["is"], said["do"], label)


def _codes(rows: pd.DataFrame, column: str = "swatch") -> str:
    codes = list(dict.fromkeys(rows[column]))
    return ", ".join(codes[:6]) + (f" and {len(codes) - 6} more" if len(codes) > 6 else "")


def _doses(bk: Book) -> Iterator[dict[str, Any]]:
    known_ones = materials(bk)
    listed = known_ones.set_index("material")[["low_wof", "high_wof"]]
    rows = bk.steps[bk.steps["unit"].isin(["% WOF", "g"]) & bk.steps["amount"].gt(0)]
    mass = rows["swatch"].map(bk.swatches.set_index("swatch")["mass_g"]).astype(float)
    whole = rows["area"].eq("whole") & mass.gt(0)  # grams on an area are no share of all the cloth
    wof = rows["amount"].where(rows["unit"].eq("% WOF"), 100 * rows["amount"] / mass.where(whole))
    rows = rows.assign(amount=wof.astype(float).round(3)).dropna(subset="amount")
    names = {name: recipe.known_name(name, known_ones) for name in rows["material"].unique()}
    for (name, amount), group in rows.groupby(["material", "amount"], sort=False):
        low, high = listed.reindex([names[str(name)]]).iloc[0].astype(float)
        if amount > _BEYOND * high or amount < low / _BEYOND:
            at = int(group.index[0]) + 2
            yield _fault("steps.csv", at, "amount", f"{amount:g}", _codes(group), "dose",
                         material=name, low=low, high=high)  # fmt: skip
    for at, row in bk.steps[bk.steps["dips"].gt(_DIPS)].iterrows():
        yield _fault("steps.csv", int(at) + 2, "dips", f"{row['dips']}", row["swatch"], "dips")


def _grams_of_baths(bk: Book) -> Iterator[dict[str, Any]]:
    """The same grams for each of several in one bath, too many for one and usual for all."""
    known = materials(bk)
    high = known.set_index("material")["high_wof"]
    own = bk.swatches.set_index("swatch")[["series", "mass_g"]]
    rows = bk.steps[bk.steps["unit"].eq("g") & bk.steps["bath"].ne("")].join(own, on="swatch")
    rows = rows[rows["area"].eq("whole")]
    for (_, bath, name), group in rows.groupby(["series", "bath", "material"], sort=False):
        grams, mass = group["amount"].iloc[0], group["mass_g"].astype(float)
        most = float(high.get(recipe.known_name(str(name), known), np.nan))
        each, together = 100 * grams / mass.min(), 100 * grams / mass.sum(skipna=False)
        if len(group) > 1 and group["amount"].eq(grams).all() and together <= most < each:
            told = {"bath": bath, "each": each, "together": together}
            at = int(group.index[0]) + 2
            yield _fault("steps.csv", at, "amount", f"{grams:g}", _codes(group), "grams", **told)


def _names(bk: Book) -> Iterator[dict[str, Any]]:
    listed = materials(bk)
    others = [part.strip() for text in listed["also"] for part in str(text).split(";")]
    known = {name.lower(): name for name in [*listed["material"], *filter(None, others)]}
    for name, group in bk.steps.groupby("material", sort=False):
        text = str(name).strip()
        if not text or recipe.known_name(text, listed) != text or text.lower() in known:
            continue
        near = difflib.get_close_matches(text.lower(), known, n=1, cutoff=LIKE)
        near += [one for one in known if len(one) > 3 and text.lower().startswith(f"{one} ")]
        if near:
            at = int(group.index[0]) + 2
            yield _fault("steps.csv", at, "material", name, _codes(group), "name",
                         near=known[near[0]])  # fmt: skip


def _lost_steps(bk: Book) -> Iterator[dict[str, Any]]:
    """A swatch alone with its recipe, where most are repeated, and one step short of another."""
    made = recipes(bk)
    made["lines"] = [tuple(recipe.sequence.parts(code)) for code in made["recipe"]]
    for _, group in made.groupby(["series", "fibre", "ground", "form"], sort=False):
        many = group["lines"].map(group["lines"].value_counts())
        if (many >= 2).sum() < len(group) / 2:
            continue  # nothing is repeated here, so a single one is no wonder
        others = group.drop_duplicates("lines")
        for at, row in group[many == 1].iterrows():
            whole = next((o for o in others["lines"] if _one_short(row["lines"], o)), None)
            if whole is not None:
                (lost,) = [step for step in whole if step not in row["lines"]]
                alike = group[group["lines"] == whole]
                yield _fault("swatches.csv", int(at) + 2, "", f"{row['swatch']}", "", "step",
                             lost=recipe.sequence.in_words(lost), codes=_codes(alike))  # fmt: skip


def _one_short(short: tuple[str, ...], whole: tuple[str, ...]) -> bool:
    return len(short) == len(whole) - 1 and any(
        whole[:i] + whole[i + 1 :] == short for i in range(len(whole))
    )


def _replicates(bk: Book) -> Iterator[dict[str, Any]]:
    rows = wide(bk)
    rows = rows[rows["exposure"].eq("none") & rows["part"].eq("swatch")]
    alike = ["form", "fibre", "ground", "area", "recipe", "method", *table.WHITE]
    widest: list[tuple[float, pd.DataFrame]] = []
    for _, group in rows.groupby(alike, sort=False):
        means = group.groupby("swatch", sort=False)[table.LAB].mean()
        if len(means) > 1:
            widest.append((_widest(means.to_numpy(float)), group))
    widest.sort(key=lambda pair: pair[0])
    if not widest:
        return
    most, group = widest[-1]
    second, factor, limit = standing_out([far for far, _ in widest[:-1]])
    if most > limit:
        at = int(bk.readings.index[bk.readings["reading"] == group["reading"].iloc[0]][0]) + 2
        key = "apart" if most > factor * second else "far"
        yield _fault("readings.csv", at, "", f"replicates {_codes(group)}", "", key,
                     most=most, second=second)  # fmt: skip


def standing_out(others: list[float]) -> tuple[float, float, float]:
    """Largest ΔE00 within the other recipes, the factor beyond it, and the limit they make."""
    factor = APART[len(others) < OTHERS]
    limit = max(factor * others[-1], SEEN) if others else np.inf
    return (others or [np.nan])[-1], factor, min(limit, FAR)


def _widest(lab: np.ndarray) -> float:
    """The largest ΔE00 among pieces; of many, that to their middle, twice."""
    if len(lab) > 60:
        return 2 * float(np.max(convert.dE00(lab, np.median(lab, axis=0)[None])))
    first, second = np.triu_indices(len(lab), 1)
    return float(np.max(convert.dE00(lab[first], lab[second])))


def _jumps(bk: Book) -> Iterator[dict[str, Any]]:
    bands = [name for name in bk.spectra.columns if name != "reading"]
    nm = np.array([float(name) for name in bands])
    if len(nm) < 3 or len(bk.spectra) == 0:
        return
    R = bk.spectra[bands].to_numpy(float)
    off, jumps = find_jumps(nm, R)
    for at in np.flatnonzero(jumps):
        band = int(np.nanargmax(off[at])) + 1
        yield _fault("spectra.csv", int(at) + 2, bands[band], f"{R[at, band]:.4g}",
                     str(bk.spectra["reading"].iloc[at]), "jump", left=R[at, band - 1],
                     right=R[at, band + 1])  # fmt: skip


def find_jumps(nm: np.ndarray, R: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """How far each inner band of spectra (n, k) is off its neighbours' middle; which ones jump."""
    off = np.abs(R[:, 1:-1] - (R[:, :-2] + R[:, 2:]) / 2)
    off[:, (nm[2:] - nm[:-2]) > 2 * _CLOSE_BANDS] = 0
    most, usual = np.nanmax(off, axis=1, initial=0), np.nanmedian(off, axis=1)
    return off, most > np.maximum(JUMP, 10 * usual)
