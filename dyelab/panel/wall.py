"""The wall of a book: one small window a swatch, filled as far as the swatch has come."""

from collections.abc import Iterable
from html import escape
from typing import Any

import pandas as pd

from dyelab import plan, words
from dyelab.plot import style
from dyelab.table import LAB


def wall(rows: pd.DataFrame) -> str:
    """Every series as a row of windows, in one piece of HTML.

    Parameters
    ----------
    rows : DataFrame
        What `plan.standing` gives.
    """
    rows = rows.assign(**_fills(rows))
    groups = rows.groupby("series", sort=False)
    return "".join(_series(str(name), part) for name, part in groups) + _key()


def _fills(rows: pd.DataFrame) -> dict[str, list[str]]:
    after = rows[[f"{name}_after" for name in LAB]].set_axis(LAB, axis=1)
    after = after.assign(illuminant=rows["illuminant"], observer=rows["observer"])
    return {"fill": _screen(rows[rows.columns[:]]), "fill_after": _screen(after)}


def _screen(rows: pd.DataFrame) -> list[str]:
    found = pd.Series("", index=rows.index)
    there = rows[rows["L"].notna() & rows["illuminant"].notna()]
    if len(there):
        found.loc[there.index] = list(style.screen(there)[0])
    return found.tolist()


def _series(name: str, part: pd.DataFrame) -> str:
    counts = part["stage"].value_counts()
    told = ", ".join(
        words.say(f"home.count_{stage}", count=counts[stage])
        for stage in plan.STAGES
        if stage in counts
    )
    shown = escape(name or words.say("home.no_series"))
    windows = "".join(_window(row) for row in part.to_dict("records"))
    return (
        f'<section class="dl-series"><h3>{shown}</h3><p>{escape(told)}</p>'
        f'<div class="dl-wall" role="img" aria-label="{escape(f"{name}: {told}", quote=True)}">'
        f"{windows}</div></section>"
    )


def _window(row: dict[Any, Any]) -> str:
    """One window: staples alone while planned, hatched when dyed, then its colours."""
    stage = words.say(f"home.stage_{row['stage']}")
    title = f"{row['swatch']}: {stage}"
    fill, after = row["fill"], row["fill_after"]
    paint = f"linear-gradient({fill} 62%,{after} 62%)" if after else fill
    style_ = f' style="background:{escape(paint, quote=True)}"' if fill else ""
    return f'<i class="dl-w dl-{row["stage"]}" title="{escape(title, quote=True)}"{style_}></i>'


def _key() -> str:
    keys = "".join(
        f'<li><i class="dl-w dl-{stage} dl-sample"></i>'
        f"{escape(words.say(f'home.stage_{stage}'))}</li>"
        for stage in plan.STAGES
    )
    return f'<ul class="dl-key">{keys}</ul>'


def links(entries: Iterable[tuple[str, str, str]]) -> str:
    """Presses that lead to a page: (its notebook or file, what is said, a second line)."""
    items = "".join(
        f'<li><a class="dl-to" href="{escape(page, quote=True)}">{escape(text)}</a>'
        + (f"<small>{escape(more)}</small>" if more else "")
        + "</li>"
        for page, text, more in entries
    )
    return f'<ul class="dl-next">{items}</ul>'
