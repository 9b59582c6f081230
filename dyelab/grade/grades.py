"""Before and after, matched by swatch, part and area, and graded: value, grade, requirement."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dyelab import compare, convert, table, words
from dyelab.compare import CANNOT_TELL, CHANCE, REAL, noise
from dyelab.errors import InputError, choose
from dyelab.grade import scales

WHERE = ["swatch", "part", "area"]
TEST = ["exposure", "amount", "unit", "test"]
MADE = ["method", *table.CONDITIONS]
_COUNTED = ("wash", "light")  # exposures of which an amount of 0 is none at all
SCREENING = ("photo", "scan")
NEEDED = ["swatch", "exposure", *table.LAB, *table.WHITE]
Cells = dict[str, np.ndarray]
_SCATTER_CHANCE = 0.001  # readings this unlikely to agree are called out


@dataclass(frozen=True)
class Pairing:
    """Before and after of every tested piece.

    Attributes
    ----------
    pairs : DataFrame
        One row a piece and test: `swatch, part, area, exposure, amount, unit, test, method,
        geometry, kind` (``change`` or ``staining``), `before, after` (their readings),
        `first, second` (numbers in `sets`), `flags` (words), and every column of the input that
        isn't a reading's own, such as the recipe.
    readings : DataFrame
        The readings used, a row for each use, with `set`: readings of one set are averaged.
    missing : DataFrame
        `swatch, part, area, text`: what could not be matched, why, and what to do.
    """

    pairs: pd.DataFrame
    readings: pd.DataFrame
    missing: pd.DataFrame


def pair(frame: pd.DataFrame) -> Pairing:
    """Match the readings after a test with those before it.

    Parameters
    ----------
    frame : DataFrame
        Readings as ``book.wide`` or `table.READINGS` have them; `swatch, exposure, L, a, b,
        illuminant, observer` at least. Row order doesn't matter. A reading with exposure
        ``none``, or after 0 washes or no light, is a before-reading. Several of one piece are
        averaged, and so are several after the same test.

    Returns
    -------
    Matched

    Raises
    ------
    InputError
        If columns are missing, an amount is negative, before and after have different
        white points, or nothing at all can be matched.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> found = grade.pair(wide)
    >>> len(found.pairs)
    686
    """
    rows = _checked(frame)
    before = rows["exposure"].eq("none")
    before |= rows["exposure"].isin(_COUNTED) & rows["amount"].eq(0)
    if not (~before).any():
        raise InputError(words.say("grade.no_after"))
    cells = {str(name): rows[name].to_numpy() for name in rows}  # quicker to reach into
    base = _positions(rows[before], WHERE)
    undyed = _positions(rows[before & rows["part"].ne("swatch")], ["part"])
    sets: dict[tuple[int, ...], int] = {}
    pairs, missing = [], []
    for where, after in _tested(rows[~before]):
        own = base.get(where)
        borrowed = undyed.get((where[1],)) if own is None and where[1] != "swatch" else None
        found = own if own is not None else borrowed
        if found is None:
            missing.append(_no_before(cells, where, after))
            continue
        first, flags = _alike(cells, found, after)
        flags += ["borrowed"] if own is None else []
        pairs.append(_pair(cells, first, after, flags, sets))
    if not pairs:
        raise InputError(missing[0]["text"])
    missing += _no_after(base, {tuple(p[name] for name in WHERE) for p in pairs})
    gaps = pd.DataFrame(missing, columns=[*WHERE, "text"]).drop_duplicates("text")
    return Pairing(pd.DataFrame(pairs), _stacked(rows, sets), gaps.reset_index(drop=True))


def _checked(frame: pd.DataFrame) -> pd.DataFrame:
    """Fill what a reading may leave out, and refuse what can't be graded."""
    table.need(frame, NEEDED, "grade")
    rows = frame.reset_index(drop=True)
    for name, blank in _blanks(rows).items():
        rows[name] = rows[name].where(rows[name].notna() & rows[name].ne(""), blank)
    rows["amount"] = pd.to_numeric(rows["amount"], errors="coerce").astype(float)
    for name in rows["exposure"].unique():
        choose(str(name), table.EXPOSURES, "exposure")
    below = rows[rows["amount"] < 0]
    if len(below):
        told = {"reading": below["reading"].iloc[0], "amount": f"{below['amount'].iloc[0]:g}"}
        raise InputError(words.say("grade.negative", **told))
    _one_white(rows)
    measured = rows[table.LAB].apply(pd.to_numeric, errors="coerce").notna().all(axis=1)
    return rows[measured].reset_index(drop=True)


def _blanks(rows: pd.DataFrame) -> dict[str, object]:
    """Add the columns that may be missing; return what stands for a blank in each."""
    blanks: dict[str, object] = {"part": "swatch", "area": "whole", "exposure": "none"}
    blanks |= dict.fromkeys(["unit", "test", *MADE, "taken_at", "flags"], "")
    for name in blanks:
        if name not in rows:
            rows[name] = ""
        rows[name] = rows[name].astype(object)
    if "amount" not in rows:
        rows["amount"] = np.nan
    if "reading" not in rows:
        rows["reading"] = [f"row {i + 1}" for i in range(len(rows))]
    return blanks


def _one_white(rows: pd.DataFrame) -> None:
    whites = rows["illuminant"].astype(str) + "/" + rows["observer"].astype(str) + "°"
    if whites.nunique() == 1:
        return
    mixed = whites.groupby([rows[name] for name in WHERE]).nunique()
    if (mixed > 1).any():
        where = mixed[mixed > 1].index[0]
        here = (rows[WHERE].astype(str) == [str(part) for part in where]).all(axis=1)
        names = rows.loc[here, "reading"].astype(str) + " under " + whites[here]
        listed = names[~whites[here].duplicated()]
        raise InputError(words.say("grade.white", swatch=where[0], readings=", ".join(listed)))
    table.one_white(rows)


def _positions(rows: pd.DataFrame, by: list[str]) -> dict[tuple, np.ndarray]:
    """Row numbers of each group, by its key, groups in the order of their first rows."""
    numbers = rows.index.to_numpy()
    groups = sorted(rows.groupby(by).indices.items(), key=lambda group: group[1][0])
    return {k if isinstance(k, tuple) else (k,): numbers[at] for k, at in groups}


def _tested(rows: pd.DataFrame) -> Iterator[tuple[tuple, np.ndarray]]:
    """Yield (swatch, part, area) and the row numbers of each piece, test and instrument."""
    keyed = rows.assign(amount=rows["amount"].fillna(-1.0))
    for key, at in _positions(keyed, [*WHERE, *TEST, *MADE]).items():
        yield key[: len(WHERE)], at


def _alike(cells: Cells, before: np.ndarray, after: np.ndarray) -> tuple[np.ndarray, list[str]]:
    """Before-readings made as the after-reading was; where there are none, all, with a flag."""
    flags = []
    for name in MADE:
        wanted, has = cells[name][after[0]], cells[name][before]
        same = (has == wanted) | (has == "") | (wanted == "")
        if same.any():
            before = before[same]
        else:
            flags.append(f"{_CHANGED.get(name, 'conditions')}_changed")
    return before, list(dict.fromkeys(flags))


_CHANGED = {"method": "instrument", "geometry": "geometry"}


def _pair(cells: Cells, first: np.ndarray, after: np.ndarray, flags: list[str], sets: dict) -> dict:
    row = {name: column[after[0]] for name, column in cells.items() if name not in _OWN}
    numbers = [sets.setdefault(tuple(int(i) for i in at), len(sets)) for at in (first, after)]
    methods = {cells["method"][i] for i in (*first, *after)}
    return {
        **{name: row.pop(name) for name in [*WHERE, *TEST, *MADE]},
        "kind": "change" if cells["part"][after[0]] == "swatch" else "staining",
        "before": ", ".join(map(str, cells["reading"][first])),
        "after": ", ".join(map(str, cells["reading"][after])),
        "first": numbers[0],
        "second": numbers[1],
        "screening": not methods.isdisjoint(SCREENING),
        "flags": " ".join([*flags, *_seen(cells, first, after)]),
        **row,
    }


_OWN = {*table.READINGS.names, *table.STANDARD_UNCERTAINTIES} - {*WHERE, *TEST, *MADE}


def _seen(cells: Cells, first: np.ndarray, after: np.ndarray) -> list[str]:
    """Flags that the readings themselves raise."""
    flags = []
    if len(first) > 1:
        flags.append("averaged")
    if any(_disagree(cells, at) for at in (first, after)):
        flags.append("disagree")
    taken = [[time for time in cells["taken_at"][at] if time] for at in (first, after)]
    if all(taken) and min(taken[0]) > max(taken[1]):
        flags.append("before_is_later")
    if any("adapted" in str(cells["flags"][i]) for i in (*first, *after)):
        flags.append("adapted")
    return flags


def _disagree(cells: Cells, at: np.ndarray) -> bool:
    """Whether readings of one piece lie further apart than their stated uncertainty allows."""
    if len(at) < 2:
        return False
    from scipy import stats

    rows = pd.DataFrame({name: column[at] for name, column in cells.items()})
    covariance = table.covariances(rows)
    if not np.isfinite(covariance).all():
        return False
    lab = rows[table.LAB].to_numpy(float)
    rest = lab - lab.mean(axis=0)
    square = np.einsum("ni,ij,nj->", rest, np.linalg.pinv(covariance.mean(axis=0)), rest)
    return bool(stats.chi2.sf(square, 3 * (len(at) - 1)) < _SCATTER_CHANCE)


def _no_before(cells: Cells, where: tuple, after: np.ndarray) -> dict:
    exposure = cells["exposure"][after[0]]
    kind = "grade.no_before" if where[1] == "swatch" else "grade.no_unstained"
    text = words.say(kind, swatch=where[0], part=where[1], area=where[2], exposure=exposure)
    return {**dict(zip(WHERE, where, strict=True)), "text": text}


def _no_after(base: dict, done: set[tuple]) -> list[dict]:
    """Pieces measured before and never after, in one line: they wait for their test."""
    names = [where[0] for where in base if where[1] == "swatch" and where not in done]
    if not names:
        return []
    more = words.say("grade.and_more", count=len(names) - 6) if len(names) > 6 else ""
    shown = ", ".join(names[:6]) + more
    text = words.say("grade.not_tested", number=len(names), swatches=shown)
    return [{**dict.fromkeys(WHERE, ""), "text": text}]


def _stacked(rows: pd.DataFrame, sets: dict[tuple[int, ...], int]) -> pd.DataFrame:
    """Rows in order of their sets; a reading used in two sets is there twice."""
    numbers = np.concatenate([list(at) for at in sets])
    names = np.repeat(list(sets.values()), [len(at) for at in sets])
    return rows.loc[numbers].assign(set=names).reset_index(drop=True)


MET, NOT_MET, NOT_SETTLED = "met", "not_met", "not_settled"
UNSETTLING = ("instrument_changed", "geometry_changed", "conditions_changed", "disagree")
_KINDS = {
    "change": (scales.grey_scale_difference, scales.change),
    "staining": (scales.staining_difference, scales.staining),
}
_PARTS = ["dL", "da", "db", "dC", "dH", "dE76", "dE00", "dECMC"]


def grades(
    found: Pairing, *, shared: pd.DataFrame | None = None, confidence: float = 0.95
) -> pd.DataFrame:
    """Grade every matched pair.

    Parameters
    ----------
    found : Matched
        From `matched`.
    shared : DataFrame, optional
        `table.SHARED`: errors that readings of one photo share, which cancel in part.
    confidence : float
        Of the interval, between 0 and 1.

    Returns
    -------
    DataFrame
        The columns of ``found.pairs``; `L_before, a_before, b_before, L, a, b, illuminant,
        observer`; `dL` to `dECMC` (after minus before), `dE00_low, dE00_high`; `difference`
        (ΔE_F of ISO 105-A05, or ΔE_GS of A04), `difference_low, difference_high`; `changed`
        (``real``, ``chance``, or ``cannot_tell`` where the uncertainty isn't known: whether this
        piece changed at all) and `chance_if_equal` behind it; `value`, `grade`, `grade_worst,
        grade_best` (over the interval; blank where the uncertainty isn't known), `said`,
        `to_worse, to_better` (difference left to the next limits), `moved` (in words),
        `cautions`.

    Notes
    -----
    The interval is for the difference of this very piece, from the joint covariance of before and
    after: errors that both readings share are taken off, and noise along one direction doesn't
    hide a change along another. A second swatch of the recipe may behave otherwise.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> grades = grade.grades(grade.pair(book.wide(bk)), shared=bk.shared)
    >>> grades[["swatch", "exposure", "amount", "grade"]].head(2)
      swatch exposure  amount grade
    0    W01     wash     1.0     4
    1    W02     wash     1.0   4-5
    """
    if not 0 < confidence < 1:
        raise InputError(f"grade: confidence is {confidence}. Give a value between 0 and 1.")
    variants = variants_of(found, shared)
    kinds = {kind: found.pairs[found.pairs["kind"] == kind] for kind in _KINDS}
    parts = [_one_kind(own, kind, variants, confidence) for kind, own in kinds.items()]
    result = pd.concat([part for part in parts if len(part)]).sort_index()
    illuminant, observer = table.one_white(found.readings)
    return result.assign(
        illuminant=illuminant,
        observer=observer,
        said=[grade_text(row) for row in _rows(result, *_GRADES)],
        cautions=[_cautions(row) for row in _rows(result, "screening", "flags", "grade_worst")],
    )


_GRADES = ("grade", "grade_worst", "grade_best")


def _rows(frame: pd.DataFrame, *names: str) -> list[dict[Any, Any]]:
    """Rows as dicts of these columns alone: a book's many columns would take most of the time."""
    return frame[list(names)].to_dict("records")


def variants_of(found: Pairing, shared: pd.DataFrame | None) -> compare.Variants:
    """Mean and noise of each set; a reading used twice is told apart by its row."""
    rows = found.readings.assign(_row=[f"{i}" for i in range(len(found.readings))])
    if shared is not None and len(shared):
        names = rows[["reading", "_row"]]
        shared = shared.merge(names, on="reading").drop(columns="reading")
        shared = shared.rename(columns={"_row": "reading"})
    piece = pd.MultiIndex.from_frame(rows[WHERE].astype(str)).to_flat_index()
    rows = rows.assign(reading=rows["_row"], _cloth=piece)
    return compare.gather(rows, by="set", piece="set", shared=shared, dyed="_cloth")


def _one_kind(
    pairs: pd.DataFrame, kind: str, variants: compare.Variants, confidence: float
) -> pd.DataFrame:
    if pairs.empty:
        return pairs
    formula, scale = _KINDS[kind]
    first, second = pairs["first"].to_numpy(), pairs["second"].to_numpy()
    before, after = variants.mean[first], variants.mean[second]
    joint = noise.joint(variants, first, second)
    result = pairs.drop(columns=["first", "second"]).reset_index(names="_at")
    told = scale(before, after)
    told.columns = ["difference", "value", "grade", "to_worse", "to_better"]
    low, high, _ = interval(formula, before, after, joint, confidence)
    near, far, chance = interval(convert.dE00, before, after, joint, confidence)
    result = pd.concat([result, convert.differences(before, after)[_PARTS], told], axis=1)
    result[[f"{name}_before" for name in table.LAB]] = before
    result[table.LAB] = after
    minus = np.hstack([-np.eye(3), np.eye(3)])  # after less before
    result = table.with_covariances(result, minus @ joint.total @ minus.T)
    of = scales.change_of if kind == "change" else scales.staining_of
    result = result.assign(difference_low=low, difference_high=high, dE00_low=near, dE00_high=far)
    changed = np.where(chance <= 1 - confidence, REAL, CHANCE).astype(object)
    changed[~np.isfinite(chance)] = CANNOT_TELL
    result = result.assign(chance_if_equal=chance, changed=changed)
    result = result.assign(grade_worst=of(high)[1], grade_best=of(low)[1])
    result["moved"] = compare.direction(before, after)
    return result.set_index("_at").rename_axis(None)


def interval(
    formula, before: np.ndarray, after: np.ndarray, joint: noise.Joint, confidence: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Interval of a difference by any formula, and the chance that equal colours differ so.

    All (n,); NaN where the noise isn't known.
    """
    low, high, chance = np.full((3, len(before)), np.nan)
    known = np.isfinite(joint.total).all(axis=(1, 2))
    if known.any():
        seen = compare.move(formula, before[known], after[known], joint.total[known])
        low[known], high[known] = compare.directed_interval(seen, confidence)
        chance[known] = seen.chance_if_equal
    return low, high, chance


def grade_text(row: dict) -> str:
    """``4, could be 3-4``: the grade and what else the noise allows."""
    best, worst, grade = row["grade_best"], row["grade_worst"], row["grade"]
    if not grade:
        return words.say("grade.unread")
    if not worst:
        return words.say("grade.bare", grade=grade)
    others = [one for one in (worst, best) if one != grade]
    if not others:
        return str(grade)
    key = "grade.could_be" if len(others) == 1 else "grade.could_span"
    return words.say(key, grade=grade, worst=others[0], best=others[-1])


def _cautions(row: dict) -> str:
    named = [*(["screening"] if row["screening"] else []), *str(row["flags"]).split()]
    if not row["grade_worst"]:
        named.append("no_uncertainty")
    return " ".join(words.say(f"grade.{name}") for name in named)


def judge(
    grades: pd.DataFrame, *, change: str | None = None, staining: str | None = None
) -> pd.DataFrame:
    """Hold every grade against a requirement.

    Parameters
    ----------
    grades : DataFrame
        From `grades`.
    change, staining : str, optional
        Lowest grade allowed, such as ``"4"`` or ``"3-4"``.

    Returns
    -------
    DataFrame
        With `required` (blank where nothing is asked of this kind) and `verdict`: ``met`` or
        ``not_met`` where the whole interval lies on one side, else ``not_settled``; so is a
        grade without a known uncertainty, or with another instrument before than after.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> grades = grade.grades(grade.pair(book.wide(bk)), shared=bk.shared)
    >>> grade.judge(grades, change="4")[["swatch", "grade", "verdict"]].head(2)
      swatch grade      verdict
    0    W01     4  not_settled
    1    W02   4-5          met
    """
    asked = {"change": change, "staining": staining}
    for kind, wanted in asked.items():
        if wanted:
            scales.worst_allowed(wanted, kind)
    need = grades["kind"].map(asked).fillna("").astype(str)
    rows = zip(_rows(grades, "grade_worst", "grade_best", "flags"), need, strict=True)
    return grades.assign(required=need, verdict=[_verdict(row, wanted) for row, wanted in rows])


def _verdict(row: dict, wanted: str) -> str:
    if not wanted:
        return ""
    if not row["grade_worst"] or set(UNSETTLING) & set(str(row["flags"]).split()):
        return NOT_SETTLED
    place = scales.GRADES.index
    if place(row["grade_worst"]) <= place(wanted):
        return MET
    return NOT_MET if place(row["grade_best"]) > place(wanted) else NOT_SETTLED
