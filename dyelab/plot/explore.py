"""Where an untried recipe may land: its band among the swatches, and the swatches it may give."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from dyelab import table, words
from dyelab.plot import plane, style

_CHI2_90 = 4.605  # two degrees of freedom: an outline that holds 90 %
_COLUMNS, _ROWS = 6, 10  # of the patch: enough for the eye to see how swatches differ
PATCH = _COLUMNS * _ROWS
_LEFT, _STRIP, _RIGHT = [0, 0.64], [0.72, 0.79], [0.84, 1.0]  # parts of the width
_DASHES = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot", "5px,1px")


@dataclass(frozen=True)
class Backdrop:
    """What holds still while a recipe moves: the swatches tried, and the axes."""

    traces: tuple[dict[str, Any], ...]
    layout: dict[str, Any]


def backdrop(made: pd.DataFrame) -> Backdrop:
    """Draw what holds still, once.

    Parameters
    ----------
    made : DataFrame
        Recipes measured, as ``style.with_screen_colours`` leaves them.
    """
    tried = style.marks(made, name=words.say("exploring.tried"), size=8)
    layout = {"height": 460, **_layout(plane.around(made))}
    return Backdrop((tried, _strip(made, "circle", 8, 0.0)), layout)


def measurements(tried: Backdrop) -> dict[str, Any]:
    """Draw the swatches tried alone."""
    return style.plain_figure(list(tried.traces), **tried.layout)


def predictions(
    tried: Backdrop,
    said: pd.DataFrame,
    plausible: Sequence[str],
    *,
    wanted: pd.DataFrame | None = None,
) -> dict[str, Any]:
    """Draw the a*b* plane with tried swatches, predictions with their bands, and a patch.

    Plain data, as ``style.plain_figure`` gives it.

    Parameters
    ----------
    tried : Backdrop
    said : DataFrame
        Predictions: `L, a, b`, white point, covariance columns, `recipe`; the first is the one
        asked for.
    plausible : sequence of str
        Screen colours (hex) of swatches that the first may give; `PATCH` of them, or none.
    wanted : DataFrame, optional
        The colour looked for.
    """
    predicted = style.with_screen_colours(said)
    bands = _bands(said)
    traces = [*tried.traces, *bands]
    traces.append(style.marks(predicted, name=words.say("exploring.predicted"), shape="square"))
    traces.append(_strip(predicted, "square", 14, 1.0))
    if wanted is not None:
        aim = style.with_screen_colours(wanted)
        traces.append(style.marks(aim, name=words.say("exploring.wanted"), shape="star", size=18))
        traces.append(_strip(aim, "star", 18, 2.0))
    if len(plausible):
        traces.append(_patch(plausible))
    return style.plain_figure(traces, **_hold(tried.layout, bands))


def _hold(layout: dict[str, Any], bands: list[dict[str, Any]]) -> dict[str, Any]:
    """The layout, with room for outlines that reach beyond what was tried."""
    held = dict(layout)
    for name in "xy":
        axis, ends = layout[f"{name}axis"], [end for band in bands for end in band[name]]
        low, high = axis["range"]
        held[f"{name}axis"] = {**axis, "range": [min(low, *ends), max(high, *ends)]}
    return held


def _layout(spans: Sequence[float]) -> dict:
    strip = {**plane.HIDDEN, "title": {"text": words.say("exploring.lightness")}}
    patch = {**plane.HIDDEN, "showline": False}
    text = "<br>".join(textwrap.wrap(words.say("exploring.patch"), 12))  # the strip is narrow
    named = {"title": {"text": text}, "domain": _RIGHT}
    return {
        **plane.axes(spans, _LEFT),
        "xaxis2": {**strip, "domain": _STRIP, "anchor": "y2", "range": [-0.8, 2.8]},
        "yaxis2": {"anchor": "x2", "range": [0, 100], "dtick": 20},
        "xaxis3": {**patch, **named, "anchor": "y3", "range": [-0.5, _COLUMNS - 0.5]},
        "yaxis3": {**patch, "anchor": "x3", "range": [-0.5, _ROWS - 0.5]},
    }


def _strip(part: pd.DataFrame, shape: str, size: float, place: float) -> dict[str, Any]:
    bars = None
    if place == 1.0:
        spread = np.sqrt(table.covariances(part)[:, 0, 0]) * 1.645  # nine in ten of a normal
        bars = {"type": "data", "array": list(spread), "color": style.INK, "thickness": 1}
    look: dict[str, Any] = {**style.pair(2), "showlegend": False, "error_y": bars}
    placed = part.assign(_place=place)
    return style.marks(placed, x="_place", y="L", shape=shape, size=size, **look)


def _bands(said: pd.DataFrame) -> list[dict[str, Any]]:
    """Outlines on a*b* that hold 90 % of where one swatch of each may land."""
    rings = style.outlines(said, _CHI2_90, 49)
    line = {"color": style.INK, "width": 1.5, "dash": "dash"}
    fixed = {"type": "scatter", "mode": "lines", "line": line, "hoverinfo": "skip"}
    return [{**fixed, "showlegend": False, "x": list(x), "y": list(y)} for x, y in rings]


def _patch(plausible: Sequence[str]) -> dict[str, Any]:
    """Swatches edge to edge, where the eye sees how they differ; each its own colour exactly."""
    many = len(plausible)
    places = np.arange(_COLUMNS * _ROWS).reshape(_ROWS, _COLUMNS)
    fixed = {"type": "heatmap", "showscale": False, "xaxis": "x3", "yaxis": "y3"}
    fills = [(i / (many - 1), fill) for i, fill in enumerate(plausible)]
    values = {"z": places.tolist(), "zmin": 0, "zmax": many - 1, "colorscale": fills}
    return {**fixed, **values, "hoverinfo": "skip"}


def gamut(outlines: pd.DataFrame, made: pd.DataFrame) -> go.Figure:
    """Draw the regions reached on a*b* and on C*L*, without metals, with each, with all.

    Parameters
    ----------
    outlines : DataFrame
        `group, metals, plane, x, y`, for one group.
    made : DataFrame
        Recipes measured, as ``style.with_screen_colours`` leaves them.
    """
    hue: dict[str, Any] = {"xaxis": {"domain": [0, 0.46], "title": {"text": style.axis("a")}}}
    hue["yaxis"] = {"title": {"text": style.axis("b")}, "scaleanchor": "x"}
    across = {"title": {"text": style.axis("C")}}
    up = {"title": {"text": style.axis("L")}, "range": [0, 100]}
    depth = style.place_axes(style.pair(2), [0.58, 1], [0, 1], across, up)
    drawn = style.figure(height=460, **hue, **depth)
    chroma = made.assign(C=np.hypot(made["a"], made["b"]))
    drawn.add_trace(style.points(chroma, name=words.say("exploring.tried"), size=8))
    drawn.add_trace(style.points(chroma, x="C", y="L", size=8, showlegend=False, **style.pair(2)))
    order = list(dict.fromkeys(outlines["metals"]))
    for (metals, plane_), part in outlines.groupby(["metals", "plane"], sort=False):
        drawn.add_trace(_region(str(metals), str(plane_), part, order.index(metals)))
    return drawn


def _region(metals: str, plane_: str, part: pd.DataFrame, place: int) -> go.Scatter:
    second = {**style.pair(2), "showlegend": False} if plane_ == "CL" else {}
    key = metals if metals in ("without", "all") else "metal"
    name = words.say(f"exploring.region_{key}", metal=metals)
    colour, dash = style.COLOURS[place % len(style.COLOURS)], _DASHES[place]
    more: dict[str, Any] = {"name": name, "legendgroup": metals, "hoverinfo": "name", **second}
    ends = list(part["x"]), list(part["y"])
    return style.line(*ends, color=colour, dash=dash, width=2, **more)
