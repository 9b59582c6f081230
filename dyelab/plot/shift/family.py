"""A family of recipes as a branching figure, from what they share to where they part."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from dyelab import words
from dyelab.plot import style


def family(recipes: pd.DataFrame, *, labels: Sequence[str], height: int = 0) -> go.Figure:
    """One dye through all its mordants: a tree whose leaves are chips of the cloth's colour.

    Parameters
    ----------
    recipes : DataFrame
        Rows of ``shift.Recipes.made`` of one dye: one leaf each.
    labels : sequence of str
        What each leaf has beyond the dye, branches parted by commas:
        ``wool, potash alum 15 %, iron 2 %``.
    height : int
        In pixels; by the number of leaves without it.
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
    drawn = style.figure(height=height or 90 + 34 * len(leaves), showlegend=True)
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
    line = {"color": style.INK, "width": 1.2}
    return go.Scatter(x=xs, y=ys, mode="lines", line=line, hoverinfo="skip", showlegend=False)


def _node_names(middle: dict[tuple[str, ...], float]) -> go.Scatter:
    nodes = [node for node in middle if len(node) > 1]
    return go.Scatter(
        x=[len(node) - 1.86 for node in nodes],
        y=[middle[node] for node in nodes],
        mode="text",
        text=[style.plain(node[-1], 28) for node in nodes],
        textposition="top right",
        textfont={"size": 11.5},
        hoverinfo="skip",
        showlegend=False,
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
    traces.append(
        go.Scatter(
            x=leaves["x"] + 0.12,
            y=leaves["y"],
            mode="text",
            text=lightness,
            textposition="middle right",
            hovertext=[style.plain(label, 100) for label in labels],
            hoverinfo="text",
            showlegend=False,
        )
    )
    return traces
