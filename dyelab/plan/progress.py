"""How far each swatch of a book has come, and what is to be done next."""

from dataclasses import dataclass
from typing import Any

import pandas as pd

from dyelab.book import Book
from dyelab.plan.record import open_baths
from dyelab.table import LAB, WHITE

STAGES = ("planned", "dyed", "measured", "tested")
_MOST = 6  # things to do that are listed: what fits beside the wall of a book


@dataclass(frozen=True)
class Task:
    """Something to do: what, of which series, for how many swatches, with its particulars."""

    what: str
    swatches: int
    series: str = ""
    facts: tuple[tuple[str, Any], ...] = ()


def stages(bk: Book) -> pd.DataFrame:
    """Say of each swatch how far it has come.

    Returns
    -------
    DataFrame
        `swatch, series, fibre, stage` (one of `STAGES`), `L, a, b, illuminant, observer` as
        dyed (L, a, b NaN where not measured), `test, amount` of its longest test and the colour
        after it as `L_after, a_after, b_after`.

    Examples
    --------
    >>> from dyelab import book, plan, synth
    >>> bk = book.open(synth.example())
    >>> plan.stages(bk)["stage"].value_counts().to_dict()
    {'measured': 105, 'tested': 98}
    """
    rows = bk.swatches[["swatch", "series", "fibre"]].copy()
    own = bk.readings[bk.readings["part"] == "swatch"]
    fresh = own[own["exposure"] == "none"].drop_duplicates("swatch")
    rows = rows.merge(fresh[["swatch", *LAB, *WHITE]], on="swatch", how="left")
    last = _longest(own)
    rows = rows.merge(last, on="swatch", how="left", suffixes=("", "_after"))
    for name in WHITE:  # of a swatch that was read after a test alone
        rows[name] = rows[name].where(rows[name].notna(), rows.pop(f"{name}_after"))
    waiting = set(bk.steps.loc[bk.steps["state"] == "planned", "swatch"])
    stage = rows["swatch"].map(lambda code: "planned" if code in waiting else "dyed")
    stage = stage.mask(rows["L"].notna(), "measured")
    return rows.assign(stage=stage.mask(rows["L"].notna() & rows["L_after"].notna(), "tested"))


def _longest(own: pd.DataFrame) -> pd.DataFrame:
    """The reading of each swatch after its longest wash, else after its longest other test."""
    tested = own[own["exposure"] != "none"]
    ranked = tested.assign(other=tested["exposure"] != "wash").sort_values(
        ["other", "amount"], ascending=[True, False], kind="stable"
    )
    after = {name: f"{name}_after" for name in LAB}
    kept = ranked.drop_duplicates("swatch")[["swatch", "exposure", "amount", *LAB, *WHITE]]
    return kept.rename(columns={**after, "exposure": "test"})


def next_tasks(bk: Book, rows: pd.DataFrame | None = None) -> list[Task]:
    """List what can be done next, the most pressing first.

    Parameters
    ----------
    bk : Book
    rows : DataFrame, optional
        What `stages` gave for it.

    Returns
    -------
    list of Task
        `what` is ``bath`` (the next bath of a series that waits), ``measure``, ``wash`` (swatches
        that stand at fewer washes than others of their series), ``test`` or ``tick`` (baths of
        measured swatches that nobody has recorded as done).

    Examples
    --------
    >>> from dyelab import book, plan
    >>> levels = {"fibre": ["wool"], "dye": ["madder 50"], "iron": [0, 2]}
    >>> series = plan.series(levels, name="Iron")
    >>> bk = plan.add_series(book.create(folder / "mine"), series)
    >>> plan.next_tasks(bk)[0].what
    'bath'
    """
    rows = stages(bk) if rows is None else rows
    unread = rows.loc[rows["stage"] == "dyed", "series"].value_counts(sort=False)
    read = [Task("measure", int(count), str(name)) for name, count in unread.items()]
    untested = rows.loc[rows["stage"] == "measured", "series"]
    test = Task("test", len(untested), "; ".join(dict.fromkeys(untested)))
    baths, ticks = _baths(bk, rows)
    return [*baths, *read, *_behind(rows), *[test] * (test.swatches > 0), *ticks][:_MOST]


def _baths(bk: Book, rows: pd.DataFrame) -> tuple[list[Task], list[Task]]:
    """Baths that wait, and those of measured swatches: dyed, and never ticked off."""
    waiting = open_baths(bk)
    undyed = set(rows.loc[rows["stage"] == "planned", "swatch"])
    open_still = waiting["swatches"].map(lambda told: not undyed.isdisjoint(told.split(", ")))
    open_still = open_still.astype(bool)
    done, waiting = waiting[~open_still], waiting[open_still]
    first = waiting.drop_duplicates("series").to_dict("records")
    left = waiting["series"].value_counts()
    found = []
    for row in first:
        facts = (*((n, row[n]) for n in ("bath", "material")), ("left", left[row["series"]]))
        found.append(Task("bath", len(row["swatches"].split(", ")), row["series"], facts))
    ticks = []
    for name, part in done.groupby("series", sort=False):
        codes = {code for told in part["swatches"] for code in told.split(", ")}
        ticks.append(Task("tick", len(codes), str(name), (("left", len(part)),)))
    return found, ticks


def _behind(rows: pd.DataFrame) -> list[Task]:
    washed = rows[rows["test"] == "wash"]
    most = washed.groupby("series")["amount"].transform("max")
    short = washed[washed["amount"] < most].assign(most=most)
    groups = short.groupby(["series", "amount", "most"], sort=False).size()
    return [
        Task("wash", int(count), str(name), (("now", f"{now:g}"), ("most", f"{goal:g}")))
        for (name, now, goal), count in groups.items()
    ]
