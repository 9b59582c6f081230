"""What a metal did to each recipe: shift vectors, and small multiples of them."""

import re
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from dyelab import words
from dyelab.plot import plane, style


def _ends(pairs: pd.DataFrame, recipes: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Both ends of each pair as tables of swatches that the figures can mark.

    Parameters
    ----------
    pairs : DataFrame
        As ``shift.Shift.pairs``.
    recipes : DataFrame
        As ``shift.Recipes.made``.

    Returns
    -------
    start, finish : DataFrame
        `L, a, b, C`, white point, `swatch`, `recipe`, one row a pair.
    """
    sides = []
    for row, name in (("from_row", "reference"), ("to_row", "sample")):
        side = recipes.iloc[pairs[row].to_numpy(int)].reset_index(drop=True)
        chroma = np.hypot(side["a"], side["b"])
        sides.append(side.assign(C=chroma, recipe=pairs[name].to_numpy()))
    return sides[0], sides[1]


def vectors(
    pairs: pd.DataFrame, recipes: pd.DataFrame, *, mark: str = "level", height: int = 470
) -> go.Figure:
    """Shift vectors on the a*b* plane, and in lightness and chroma beside it.

    Parameters
    ----------
    pairs, recipes : DataFrame
        As for `ends`.
    mark : str
        Column of `pairs` that decides the marker shape; its values make the legend.
    height : int
        In pixels.
    """
    start, finish = _ends(pairs, recipes)
    both = pd.concat([start, finish], ignore_index=True)
    drawn = style.figure(height=height, **_two_planes(both))
    places: list[tuple[str, str, dict[str, Any]]] = [
        ("a", "b", {}),
        ("C", "L", {"xaxis": "x2", "yaxis": "y2"}),
    ]
    for x, y, axes in places:
        drawn.add_trace(_arrows(start, finish, x, y, **axes))
        drawn.add_traces(_marks(start, finish, pairs[mark].astype(str), x, y, axes))
    return drawn


def _two_planes(both: pd.DataFrame) -> dict[str, Any]:
    a_low, a_high, b_low, b_high = plane.around(both)
    most = float(both["C"].max()) * 1.08 + 3
    return {
        "xaxis": {
            "domain": [0, 0.56],
            "range": [a_low, a_high],
            "title": {"text": style.AXES["a"]},
        },
        "yaxis": {
            "range": [b_low, b_high],
            "title": {"text": style.AXES["b"]},
            "scaleanchor": "x",
            "constrain": "domain",
        },
        "xaxis2": {
            "domain": [0.68, 1],
            "anchor": "y2",
            "range": [0, most],
            "title": {"text": style.AXES["C"]},
        },
        "yaxis2": {"anchor": "x2", "range": [0, 100], "title": {"text": style.AXES["L"]}},
    }


def _arrows(
    start: pd.DataFrame, finish: pd.DataFrame, x: str, y: str, *, size: int = 12, **axes: Any
) -> go.Scatter:
    """Every shift as a line with a head past its middle; one trace, parted by gaps."""
    gap = np.full(len(start), np.nan)
    places = {
        name: np.stack(
            [start[name], 0.4 * start[name] + 0.6 * finish[name], finish[name], gap], axis=1
        ).ravel()
        for name in (x, y)
    }
    return go.Scatter(
        x=places[x],
        y=places[y],
        mode="lines+markers",
        line={"color": style.INK, "width": 1.4},
        marker={
            "symbol": ["circle", "arrow", "circle", "circle"] * len(start),
            "angleref": "previous",
            "size": [0, size, 0, 0] * len(start),
            "color": style.INK,
        },
        hoverinfo="skip",
        showlegend=False,
        **axes,
    )


def _marks(
    start: pd.DataFrame,
    finish: pd.DataFrame,
    kind: pd.Series,
    x: str,
    y: str,
    axes: dict[str, str],
    size: int = 15,
) -> list[go.Scatter]:
    """Start points as small circles, ends with a shape for each kind."""
    legend = not axes
    first = start.drop_duplicates("swatch")
    name = words.say("shift_plot.start")
    traces = [
        style.points(
            first,
            x=x,
            y=y,
            name=name,
            size=0.65 * size,
            showlegend=legend,
            legendgroup=name,
            **axes,
        )
    ]
    look: dict[str, Any] = {"x": x, "y": y, "size": size, "showlegend": legend, **axes}
    for one, shape in _kinds(kind).items():
        part = finish[(kind == one).to_numpy()]
        traces.append(style.points(part, name=one, shape=shape, legendgroup=one, **look))
    return traces


def _kinds(kind: pd.Series) -> dict[str, str]:
    """Give each kind of end a shape of its own; circles are for the start."""
    others = [shape for shape in style.SHAPES if shape != "circle"]
    return {one: others[i % len(others)] for i, one in enumerate(sorted(set(kind), key=_rising))}


def _rising(text: str) -> tuple[str, float]:
    """Sorts by name, then by dose: iron 0.5 %, iron 2 %, iron 10 %."""
    number = re.search(r"\d+(\.\d+)?", text)
    return (text[: number.start()], float(number[0])) if number else (text, 0.0)


def multiples(
    pairs: pd.DataFrame,
    recipes: pd.DataFrame,
    *,
    columns: str = "dye",
    rows: str = "fibre",
    mark: str = "level",
) -> go.Figure:
    """One small a*b* plane for each dye and fibre, all to one scale."""
    start, finish = _ends(pairs, recipes)
    if pairs[columns].nunique() == 1 < pairs[rows].nunique():  # one column would be low and wide
        columns, rows = rows, columns
    across, down = list(dict.fromkeys(pairs[columns])), list(dict.fromkeys(pairs[rows]))
    a_low, a_high, b_low, b_high = plane.around(pd.concat([start, finish]))
    layout: dict[str, Any] = {"height": 90 + 220 * len(down), "annotations": []}
    traces: list[Any] = []
    named: set[str] = set()
    kinds = _kinds(pairs[mark].astype(str))
    n = 0
    for j, below in enumerate(down):
        for i, beside in enumerate(across):
            here = ((pairs[columns] == beside) & (pairs[rows] == below)).to_numpy()
            if not here.any():
                continue
            n += 1
            axes = {"xaxis": f"x{n}" if n > 1 else "x", "yaxis": f"y{n}" if n > 1 else "y"}
            layout |= _cell(n, (i, len(across)), (j, len(down)), (a_low, a_high, b_low, b_high))
            title = f"{style.plain(beside, 24)}, {style.plain(below, 24)}"
            layout["annotations"].append(_title(title, axes))
            kind = pairs.loc[here, mark].astype(str)
            traces.append(_arrows(start[here], finish[here], "a", "b", size=8, **axes))
            marks = _marks(start[here], finish[here], kind, "a", "b", axes, size=10)
            traces += _once(marks, named, kinds)
    return style.figure(traces, **layout)


def _once(traces: list[go.Scatter], named: set[str], kinds: dict[str, str]) -> list[go.Scatter]:
    """One shape for a kind in every panel, named in the legend the first time only."""
    for trace in traces:
        if trace.name in kinds:
            crossed = {"-x": "-x", "en": "-open"}
            trace.marker.symbol = [
                kinds[trace.name] + crossed.get(str(old)[-2:], "") for old in trace.marker.symbol
            ]
        trace.showlegend = trace.name not in named
        named.add(trace.name)
    return traces


def _cell(
    n: int, across: tuple[int, int], down: tuple[int, int], limits: Sequence[float]
) -> dict[str, Any]:
    (i, columns), (j, rows) = across, down
    end = "" if n == 1 else str(n)
    width, height = 1 / columns, 1 / rows
    x = {
        "domain": [i * width + 0.02, (i + 1) * width - 0.01],
        "range": list(limits[:2]),
        "anchor": f"y{end}",
        "title": {"text": "a*" if j == rows - 1 else ""},
    }
    top = 1 - j * height
    y = {
        "domain": [top - height + 0.05, top - 0.07],
        "range": list(limits[2:]),
        "anchor": f"x{end}",
        "showticklabels": i == 0,
        "title": {"text": "b*" if i == 0 else ""},
    }
    return {f"xaxis{end}": x, f"yaxis{end}": y}


def _title(text: str, axes: dict[str, str]) -> dict[str, Any]:
    return {
        "text": text,
        "xref": f"{axes['xaxis']} domain",
        "yref": f"{axes['yaxis']} domain",
        "x": 0.5,
        "y": 1.02,
        "xanchor": "center",
        "yanchor": "bottom",
        "showarrow": False,
    }
