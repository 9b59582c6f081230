"""What a metal did: shift vectors, dose curves, shares, and one dye through all its mordants."""

import re
from collections.abc import Sequence
from itertools import product
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from dyelab import words
from dyelab.plot import plane, style
from dyelab.shift import DoseCurve, Separation


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


def vectors(pairs: pd.DataFrame, recipes: pd.DataFrame) -> go.Figure:
    """Shift vectors on the a*b* plane, and in lightness and chroma beside it.

    Parameters
    ----------
    pairs, recipes : DataFrame
        As for `_ends`; the `level` of a pair decides its marker's shape and makes the legend.
    """
    start, finish = _ends(pairs, recipes)
    both = pd.concat([start, finish], ignore_index=True)
    drawn = style.figure(height=470, **_two_planes(both))
    places: list[tuple[str, str, dict[str, Any]]] = [("a", "b", {}), ("C", "L", style.pair(2))]
    for x, y, axes in places:
        drawn.add_trace(_arrows(start, finish, x, y, **axes))
        drawn.add_traces(_marks(start, finish, pairs["level"].astype(str), x, y, axes))
    return drawn


def _two_planes(both: pd.DataFrame) -> dict[str, Any]:
    most = float(both["C"].max()) * 1.08 + 3  # C*: room for half a mark
    places = plane.axes(plane.around(both), (0, 0.56))
    places["yaxis"]["constrain"] = "domain"
    chroma = {"range": [0, most], "title": {"text": style.axis("C")}}
    light = {"range": [0, 100], "title": {"text": style.axis("L")}}
    return places | style.place_axes(style.pair(2), [0.68, 1], [0, 1], chroma, light)


def _arrows(
    start: pd.DataFrame, finish: pd.DataFrame, x: str, y: str, *, size: int = 12, **axes: Any
) -> go.Scatter:
    """Every shift as a line with a head past its middle; one trace, parted by gaps."""
    gap = np.full(len(start), np.nan)
    past = 0.4 * start[[x, y]] + 0.6 * finish[[x, y]]  # clear of the marks at both ends
    places = {
        name: np.stack([start[name], past[name], finish[name], gap], axis=1).ravel()
        for name in (x, y)
    }
    head: dict[str, Any] = {"symbol": ["circle", "arrow", "circle", "circle"] * len(start)}
    head["size"] = [0, size, 0, 0] * len(start)
    return go.Scatter(
        x=places[x],
        y=places[y],
        mode="lines+markers",
        line={"color": style.INK, "width": 1.4},
        marker={**head, "angleref": "previous", "color": style.INK},
        **style.QUIET,
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
    look: dict[str, Any] = {"x": x, "y": y, "size": size, "showlegend": legend, **axes}
    small = {**look, "size": 0.65 * size}
    traces = [style.points(first, name=name, legendgroup=name, **small)]
    for one, shape in _kinds(kind).items():
        part = finish[(kind == one).to_numpy()]
        traces.append(style.points(part, name=one, shape=shape, legendgroup=one, **look))
    return traces


def _kinds(kind: pd.Series) -> dict[str, str]:
    """Give each kind of end a shape of its own; circles are for the start."""
    others = [shape for shape in style.SHAPES if shape != "circle"]
    return {one: others[i % len(others)] for i, one in enumerate(sorted(set(kind), key=_by_dose))}


def _by_dose(text: str) -> tuple[str, float]:
    """Sorts by name, then by dose: iron 0.5 %, iron 2 %, iron 10 %."""
    number = re.search(r"\d+(\.\d+)?", text)
    return (text[: number.start()], float(number[0])) if number else (text, 0.0)


def multiples(pairs: pd.DataFrame, recipes: pd.DataFrame) -> go.Figure:
    """One small a*b* plane for each dye and fibre, all to one scale."""
    start, finish = _ends(pairs, recipes)
    columns, rows, level = "dye", "fibre", pairs["level"].astype(str)
    if pairs[columns].nunique() == 1 < pairs[rows].nunique():  # one column would be low and wide
        columns, rows = rows, columns
    across, down = list(dict.fromkeys(pairs[columns])), list(dict.fromkeys(pairs[rows]))
    limits = plane.around(pd.concat([start, finish]))
    layout: dict[str, Any] = {"height": 90 + 220 * len(down), "annotations": []}
    traces: list[Any] = []
    named: set[str] = set()
    kinds = _kinds(level)
    for (j, below), (i, beside) in product(enumerate(down), enumerate(across)):
        here = ((pairs[columns] == beside) & (pairs[rows] == below)).to_numpy()
        if not here.any():
            continue
        axes = style.pair(len(layout["annotations"]) + 1)
        layout |= _cell(axes, (i, len(across)), (j, len(down)), limits)
        title = f"{style.escape(beside, 24)}, {style.escape(below, 24)}"
        layout["annotations"].append(style.over_panel(title, axes, y=1.02))
        traces.append(_arrows(start[here], finish[here], "a", "b", size=8, **axes))
        marks = _marks(start[here], finish[here], level[here], "a", "b", axes, size=10)
        traces += _once(marks, named, kinds)
    return style.figure(traces, **layout)


def _once(traces: list[go.Scatter], named: set[str], kinds: dict[str, str]) -> list[go.Scatter]:
    """One shape for a kind in every panel, named in the legend the first time only."""
    for trace in traces:
        if trace.name in kinds:
            shape = kinds[trace.name]
            beyond = [old.endswith(("-x", "-open")) for old in trace.marker.symbol]
            trace.marker.symbol = [style.cross_mark(shape) if far else shape for far in beyond]
        trace.showlegend = trace.name not in named
        named.add(trace.name)
    return traces


def _cell(
    axes: dict[str, str],
    across: tuple[int, int],
    down: tuple[int, int],
    limits: Sequence[float],
) -> dict[str, Any]:
    (i, columns), (j, rows) = across, down
    wide, high = [i / columns + 0.02, (i + 1) / columns - 0.01], 1 - j / rows
    x = {"range": list(limits[:2]), "title": {"text": "a*" if j == rows - 1 else ""}}
    y = {"range": list(limits[2:]), "title": {"text": "b*" if i == 0 else ""}}
    tall = [high - 1 / rows + 0.05, high - 0.07]
    return style.place_axes(axes, wide, tall, x, {**y, "showticklabels": i == 0})


_COORDINATES = ("L", "a", "b")


def dose(curve: DoseCurve) -> go.Figure:
    """A dose curve with its band, the doses read off it, and L*, a*, b* beside it.

    Parameters
    ----------
    curve : shift.DoseCurve
    """
    layout: dict[str, Any] = {
        "xaxis": {"domain": [0, 0.56], "rangemode": "tozero"},
        "yaxis": {"rangemode": "tozero", "title": {"text": style.axis(curve.formula)}},
    }
    layout["xaxis"]["title"] = {"text": words.say("shift_plot.metal_axis", metal=curve.metal)}
    for i, name in enumerate(_COORDINATES):
        up = [1 - (i + 1) / 3 + (0.03 if i < 2 else 0), 1 - i / 3 - 0.03]
        ticks, title = {"showticklabels": i == 2}, {"title": {"text": f"{name}*"}}
        layout |= style.place_axes(style.pair(i + 2), [0.7, 1], up, ticks, title)
    layout["xaxis4"]["title"] = {"text": "% WOF"}
    drawn = style.figure(height=440, **layout)
    beside = [(name, style.pair(i)) for i, name in enumerate(_COORDINATES, 2)]
    for name, axes in [("distance", {}), *beside]:
        if len(curve.band):
            drawn.add_traces(_draw_band(curve.band, name, axes))
        drawn.add_trace(_swatches(curve.points, name, axes))
    _mark_doses(drawn, curve)
    return drawn


def _draw_band(band: pd.DataFrame, name: str, axes: dict[str, str]) -> list[go.Scatter]:
    x, fill = band["dose"], "rgba(128,128,128,0.25)"
    told = words.say("shift_plot.band") if not axes else ""
    curve = style.line(
        *(x, band[name]),
        width=2,
        name=words.say("shift_plot.curve"),
        showlegend=not axes,
        hovertemplate="%{x:.2f} %: %{y:.1f}<extra></extra>",
        **axes,
    )
    between = style.band(x, band[f"{name}_low"], band[f"{name}_high"], fill, name=told, **axes)
    return [*between, curve]


def _swatches(points: pd.DataFrame, y: str, axes: dict[str, str]) -> go.Scatter:
    name = words.say("shift_plot.swatch")
    return style.points(
        points, x="dose", y=y, name=name, size=12, showlegend=not axes, legendgroup=name, **axes
    )


def _mark_doses(drawn: go.Figure, curve: DoseCurve) -> None:
    """Upright lines at the doses read off, each with its name and its interval below the axis."""
    dashes = style.assign_marks(curve.doses["what"], style.DASHES)
    top = float(curve.band["distance_high"].max()) * 1.12
    for i, row in enumerate(curve.doses.to_dict("records")):
        if not np.isfinite(row["dose"]) or (row["what"] == "enough" and row["dose"] <= 0):
            continue
        last = float(curve.band["dose"].iloc[-1])
        high = row["high"] if np.isfinite(row["high"]) else last
        name = words.say(f"shift_plot.{row['what']}", dose=f"{row['dose']:.2g}")
        level = -top * 0.02 * (i + 1)
        x = [row["dose"], row["dose"], np.nan, row["low"], high]
        y = [0, top, np.nan, level, level]
        drawn.add_trace(style.line(x, y, dash=dashes[row["what"]], name=name, hoverinfo="name"))


_PARTS = ("dye", "tannin", "fibre")


def split(separation: Separation) -> go.Figure:
    """What the metal added to K/S, part by part, with bands; the naive answer as their hull.

    Parameters
    ----------
    separation : shift.Separation
        With spectra.
    """
    bands = separation.spectra
    assert bands is not None
    drawn = style.figure(
        x="wavelength",
        y=words.say("shift_plot.ks_change"),
        height=440,
        legend={"traceorder": "normal"},
    )
    colours, dashes = (style.assign_marks(_PARTS, marks) for marks in (style.COLOURS, style.DASHES))
    naive = bands[bands["part"] == "naive"]
    fill = {"fill": "tozeroy", "fillcolor": "rgba(128,128,128,0.14)"}
    name = words.say("shift_plot.naive")
    drawn.add_trace(style.line(naive["wavelength"], naive["ks"], width=1, name=name, **fill))
    for part in _PARTS:
        here = bands[bands["part"] == part]
        if len(here):
            drawn.add_traces(_part_band(here, part, colours[part], dashes[part]))
    return drawn


def _part_band(here: pd.DataFrame, part: str, colour: str, dash: str) -> list[go.Scatter]:
    x, name = here["wavelength"], words.say(f"shift_plot.on_{part}")
    tint = "rgba({},{},{},0.2)".format(*bytes.fromhex(colour[1:]))
    curve = style.line(x, here["ks"], color=colour, width=2.5, dash=dash, name=name)
    return [*style.band(x, here["ks_low"], here["ks_high"], tint), curve]


def spectra(
    wavelengths: np.ndarray,
    reference: np.ndarray,
    sample: np.ndarray,
    *,
    names: tuple[str, str],
) -> go.Figure:
    """K/S of two spectra with the difference shaded.

    Parameters
    ----------
    wavelengths, reference, sample : ndarray (k,)
        nm; K/S.
    names : (str, str)
        Of the two cloths.
    """
    first, second = (style.escape(name) for name in names)
    shade = {"fill": "tonexty", "fillcolor": "rgba(128,128,128,0.22)"}
    lines = [
        style.line(wavelengths, reference, width=2, name=first),
        style.line(wavelengths, sample, width=2, dash="dash", name=second, **shade),
    ]
    return style.figure(lines, x="wavelength", y=words.say("shift_plot.ks"), height=400)


def family(recipes: pd.DataFrame, *, labels: Sequence[str]) -> go.Figure:
    """One dye through all its mordants: a tree whose leaves are chips of the cloth's colour.

    Parameters
    ----------
    recipes : DataFrame
        Rows of ``shift.Recipes.made`` of one dye: one leaf each.
    labels : sequence of str
        What each leaf has beyond the dye, branches parted by commas:
        ``wool, potash alum 15 %, iron 2 %``.
    """
    paths = _even([["", *label.split(", ")] for label in labels])
    order = np.array(sorted(range(len(paths)), key=lambda i: paths[i]), int)
    places: dict[tuple[str, ...], list[float]] = {}
    for row, i in enumerate(order):
        for depth in range(1, len(paths[i]) + 1):
            places.setdefault(tuple(paths[i][:depth]), []).append(-float(row))
    middle = {node: float(np.mean(rows)) for node, rows in places.items()}
    deepest = max(len(path) for path in paths)
    leaves = recipes.iloc[order].reset_index(drop=True)
    leaves = leaves.assign(x=float(deepest), y=-np.arange(len(leaves), dtype=float))
    drawn = style.figure(height=90 + 34 * len(leaves), showlegend=True)
    drawn.update_layout(margin={"l": 8, "r": 8, "b": 12})
    drawn.add_trace(_branches(middle, [paths[i] for i in order], deepest))
    drawn.add_trace(_node_names(middle))
    drawn.add_traces(_leaves(leaves, [labels[i] for i in order]))
    drawn.update_xaxes(visible=False, range=[-0.1, deepest + 0.6])
    drawn.update_yaxes(visible=False, range=[-len(leaves) + 0.4, 0.8])
    return drawn


def _even(paths: list[list[str]]) -> list[list[str]]:
    """Where a leaf is also a fork, give it a twig of its own."""
    forks = {tuple(path[:depth]) for path in paths for depth in range(len(path))}
    own = words.say("shift_plot.as_it_is")
    return [[*path, own] if tuple(path) in forks else path for path in paths]


def _branches(
    middle: dict[tuple[str, ...], float], paths: list[list[str]], deepest: int
) -> go.Scatter:
    xs: list[float] = []
    ys: list[float] = []
    for node, height in middle.items():
        if len(node) > 1:
            parent = middle[node[:-1]]
            depth = len(node) - 1
            xs += [depth - 1, depth - 0.85, depth, np.nan]
            ys += [parent, height, height, np.nan]
    for row, path in enumerate(paths):
        xs += [len(path) - 1, deepest, np.nan]
        ys += [middle[tuple(path)], -float(row), np.nan]
    return style.line(xs, ys, width=1.2)


def _node_names(middle: dict[tuple[str, ...], float]) -> go.Scatter:
    nodes = [node for node in middle if len(node) > 1]
    return go.Scatter(
        x=[len(node) - 1.86 for node in nodes],
        y=[middle[node] for node in nodes],
        mode="text",
        text=[style.escape(node[-1], 28) for node in nodes],
        **{"textposition": "top right", "textfont": {"size": 11.5}, **style.QUIET},
    )


def _leaves(leaves: pd.DataFrame, labels: list[str]) -> list[go.Scatter]:
    _, inside = style.screen(leaves)
    traces = []
    for shown, key in ((True, "chip"), (False, "chip_outside")):
        part = leaves[inside == shown]
        if len(part):
            name = words.say(f"shift_plot.{key}")
            traces.append(style.points(part, x="x", y="y", name=name, shape="square", size=26))
    lightness = [f"L* {value:.0f}" for value in leaves["L"]]
    hover = {"hovertext": [style.escape(label, 100) for label in labels], "hoverinfo": "text"}
    said = {"mode": "text", "text": lightness, "textposition": "middle right", **hover}
    return [*traces, go.Scatter(x=leaves["x"] + 0.12, y=leaves["y"], showlegend=False, **said)]
