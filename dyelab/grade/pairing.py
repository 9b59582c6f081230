"""Before and after, matched by swatch, part and area; whatever doesn't match is said."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from dyelab import table, words
from dyelab.errors import InputError, choose
from dyelab.shift.recipes import METHODS, way_text

WHERE = ["swatch", "part", "area"]
TEST = ["exposure", "amount", "unit", "test"]
MADE = ["method", *table.CONDITIONS]
_COUNTED = ("wash", "light")  # exposures of which an amount of 0 is none at all
SCREENING = ("photo", "scan")
NEEDED = ["swatch", "exposure", *table.LAB, *table.WHITE]
Columns = dict[str, np.ndarray]
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
    rows = _check(frame)
    before = rows["exposure"].eq("none")
    before |= rows["exposure"].isin(_COUNTED) & rows["amount"].eq(0)
    if not (~before).any():
        raise InputError(words.say("grade.no_after"))
    cells = {str(name): rows[name].to_numpy() for name in rows}  # quicker to reach into
    base = _positions(rows[before], WHERE)
    undyed = _positions(rows[before & rows["part"].ne("swatch")], ["part"])
    sets: dict[tuple[int, ...], int] = {}
    pairs, missing = [], []
    for where, after in _tests(rows[~before]):
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
    return Pairing(pd.DataFrame(pairs), _stack(rows, sets), gaps.reset_index(drop=True))


def keep_one_way(found: Pairing) -> Pairing:
    """Of a piece read in several ways after one test, the pairs of one way alone.

    That which read most pieces after such a test as they had been read before, the most trusted of
    equals: methods err differently, so one piece must neither count twice nor mix them.

    Parameters
    ----------
    found : Pairing

    Returns
    -------
    Pairing
        With a line of `missing` for each exposure of which readings were left out.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> found = grade.pair(book.wide(bk))
    >>> len(grade.keep_one_way(found).pairs) == len(found.pairs)
    True
    """
    pairs = found.pairs.reset_index(drop=True)
    way = pairs.groupby(MADE, sort=False, dropna=False).ngroup()
    steady = pairs["swatch"].where(~pairs["flags"].str.contains("_changed"))
    read = steady.groupby([pairs["exposure"], way]).transform("nunique")
    trust = pairs["method"].map({name: rank for rank, name in enumerate(METHODS)})
    ranked = pairs.assign(_way=way, _read=-read, _trust=trust.fillna(len(METHODS)))
    ranked = ranked.sort_values(["_read", "_trust", "_way"], kind="stable")
    best = ranked.groupby([*WHERE, "exposure", "unit", "test"], sort=False)["_way"]
    kept = way.eq(best.transform("first"))
    said = [_say_left_out(pairs[kept], rows) for _, rows in pairs[~kept].groupby("exposure")]
    missing = pd.concat([found.missing, pd.DataFrame(said, columns=found.missing.columns)])
    return replace(
        found, pairs=pairs[kept].reset_index(drop=True), missing=missing.reset_index(drop=True)
    )


def _say_left_out(kept: pd.DataFrame, rows: pd.DataFrame) -> dict:
    """One line for the readings after one exposure that were left out."""
    used = kept[kept["exposure"].isin(rows["exposure"]) & kept["swatch"].isin(rows["swatch"])]
    named = [", ".join(map(way_text, part["method"].unique())) for part in (used, rows)]
    told = {"swatches": rows["swatch"].nunique(), "used": named[0], "others": named[1]}
    exposure = words.wording("grade.exposure_", rows["exposure"].iloc[0])
    text = words.say("grade.one_way", exposure=exposure, **told)
    return {**rows.iloc[0][WHERE].to_dict(), "text": text}


def _check(frame: pd.DataFrame) -> pd.DataFrame:
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


def _tests(rows: pd.DataFrame) -> Iterator[tuple[tuple, np.ndarray]]:
    """Yield (swatch, part, area) and the row numbers of each piece, test and instrument."""
    keyed = rows.assign(amount=rows["amount"].fillna(-1.0))
    for key, at in _positions(keyed, [*WHERE, *TEST, *MADE]).items():
        yield key[: len(WHERE)], at


def _alike(cells: Columns, before: np.ndarray, after: np.ndarray) -> tuple[np.ndarray, list[str]]:
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


def _pair(
    cells: Columns, first: np.ndarray, after: np.ndarray, flags: list[str], sets: dict
) -> dict:
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
        "flags": " ".join([*flags, *_seen_flags(cells, first, after)]),
        **row,
    }


_OWN = {*table.READINGS.names, *table.STANDARD_UNCERTAINTIES} - {*WHERE, *TEST, *MADE}


def _seen_flags(cells: Columns, first: np.ndarray, after: np.ndarray) -> list[str]:
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


def _disagree(cells: Columns, at: np.ndarray) -> bool:
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


def _no_before(cells: Columns, where: tuple, after: np.ndarray) -> dict:
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


def _stack(rows: pd.DataFrame, sets: dict[tuple[int, ...], int]) -> pd.DataFrame:
    """Rows in order of their sets; a reading used in two sets is there twice."""
    numbers = np.concatenate([list(at) for at in sets])
    names = np.repeat(list(sets.values()), [len(at) for at in sets])
    return rows.loc[numbers].assign(set=names).reset_index(drop=True)
