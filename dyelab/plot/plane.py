"""The a*b* plane with lightness beside it: where a colour is, and the way it came."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from dyelab import table
from dyelab.plot import style

HIDDEN = {"showticklabels": False, "showgrid": False, "zeroline": False, "ticks": ""}
_HEAD = {"symbol": "arrow", "angleref": "previous", "size": 11, "color": style.INK}
_BESIDE = 36  # pixels: half of the strip's name stands out of a narrow figure's plot
_CHI2_95 = 5.991  # two degrees of freedom: the outline that holds 95 % of a normal cloud


def figure(
    lab: pd.DataFrame,
    *,
    path: str | None = None,
    size: float = 16,
    height: int = 460,
    spans: Sequence[float] | None = None,
    fitted: bool = False,
    groups: Sequence[str] | None = None,
) -> go.Figure:
    """Draw swatches on the a*b* plane, with L* on a strip at its right.

    Parameters
    ----------
    lab : DataFrame
        `L, a, b, illuminant, observer`, `swatch`, `group`, which decides the marker's shape and
        makes the legend, the column named by `path`, and, where known, `recipe` and covariance
        columns (drawn as 95 % outlines and bars).
    path : str, optional
        Column whose equal, non-blank values are joined by a line, in row order.
    size : float
        Marker size in pixels.
    height : int
        Figure height in pixels.
    spans : (a_low, a_high, b_low, b_high), optional
        Fixed axis limits, so that a figure that follows a slider doesn't jump.
    fitted : bool
        Axes as far as these colours reach, without the grey point and the whole of L*.
    groups : sequence of str, optional
        Values of `group` that figures beside one another share, so that each keeps its shape.
    """
    spans = around(lab, grey=False) if fitted and spans is None else spans
    drawn = style.figure(height=height, **_layout(lab, spans))
    drawn.update_layout(margin={"r": _BESIDE})
    if fitted:
        drawn.update_layout(yaxis2={"range": _reach(lab["L"]), "dtick": None})
    if "hover" not in lab:
        lab = style.with_screen_colours(lab)
    dealt = style.assign_marks(lab["group"] if groups is None else groups, style.SHAPES)
    there = set(lab["group"].map(str))
    marks = {name: shape for name, shape in dealt.items() if name in there}
    if path:
        drawn.add_traces(_paths(lab, path, size))
    drawn.add_traces(_outlines(lab))
    strip = {name: i for i, name in enumerate(marks)}
    for name, shape in marks.items():
        part = lab[lab["group"].astype(str) == name]
        drawn.add_trace(style.points(part, name=name, shape=shape, size=size, legendgroup=name))
        placed = part.assign(_place=float(strip[name]))
        drawn.add_trace(_strip(placed, shape, size, name))
    return drawn


def _layout(lab: pd.DataFrame, spans: Sequence[float] | None) -> dict:
    groups = lab["group"].nunique()
    strip = {"domain": [0.9, 1], "anchor": "y2", "range": [-0.8, max(0.8, groups - 0.2)]}
    layout = {
        **axes(spans or around(lab), (0, 0.8)),
        "xaxis2": {**strip, **HIDDEN, "title": {"text": style.axis("lightness")}},
        "yaxis2": {"anchor": "x2", "range": [0, 100], "dtick": 20},
    }
    for axis in layout.values():
        axis["automargin"] = False  # measuring labels on every move costs more than drawing
    return layout


def axes(spans: Sequence[float], domain: Sequence[float]) -> dict[str, dict[str, Any]]:
    """The axes of an a*b* plane of such limits, over a part of the figure's width."""
    across, up = list(spans[:2]), list(spans[2:])
    return {
        "xaxis": {"domain": list(domain), "range": across, "title": {"text": style.axis("a")}},
        "yaxis": {"range": up, "title": {"text": style.axis("b")}, "scaleanchor": "x"},
    }


def _reach(values: pd.Series) -> list[float]:
    """Limits of an axis about these values."""
    low, high = float(values.min()), float(values.max())
    room = max(0.12 * (high - low), 2.0)  # of L*: half a mark's height at either end
    return [low - room, high + room]


def around(lab: pd.DataFrame, *, grey: bool = True) -> tuple[float, float, float, float]:
    """Limits of a square of the a*b* plane that holds these colours, each with its outline.

    With `grey` it holds the grey point as well.
    """
    values = np.vstack([lab[["a", "b"]].to_numpy(float), *([[[0, 0]]] if grey else [])])
    low, high = np.nanmin(values, axis=0), np.nanmax(values, axis=0)
    reach = np.sqrt(_CHI2_95 * table.covariances(lab)[:, [1, 2], [1, 2]])  # NaN: not known
    reach = np.clip(reach, 0, (high - low).max() / 2)  # large doubt doesn't dwarf the marks
    ends = np.vstack([low, high, values[: len(lab)] - reach, values[: len(lab)] + reach])
    low, high = np.nanmin(ends, axis=0), np.nanmax(ends, axis=0)
    # room for marks at the edge; never so near that readings' scatter fills the plane
    half = max(float((high - low).max()) / 2 * 1.12, 6.0) + 2
    middle = (low + high) / 2
    return (middle[0] - half, middle[0] + half, middle[1] - half, middle[1] + half)


def _paths(lab: pd.DataFrame, path: str, size: float) -> list[go.Scatter]:
    """Ways from colour to colour; each head ends at the rim of its mark, where it is seen."""
    named = lab[lab[path].fillna("").astype(str) != ""]
    kinds = style.assign_marks(named[path], style.DASHES)
    return [
        style.line(
            *(list(part["a"]), list(part["b"])),
            mode="lines+markers",
            dash=kinds[str(name)],
            marker={**_HEAD, "standoff": size / 2 + 1},
        )
        for name, part in named.groupby(path, sort=False)
    ]


def _outlines(lab: pd.DataFrame) -> list[go.Scatter]:
    """Outlines that hold 95 % of where the true colour may lie, as one broken line."""
    rings = style.outlines(lab, _CHI2_95, 41)
    rings = rings[np.isfinite(rings).all(axis=(1, 2))]
    parted = np.pad(rings, ((0, 0), (0, 0), (0, 1)), constant_values=np.nan)
    places = parted.transpose(1, 0, 2).reshape(2, -1).tolist()
    return [style.line(*places, width=1, dash="dot")]


def _strip(part: pd.DataFrame, shape: str, size: float, name: str) -> go.Scatter:
    deviations = np.sqrt(table.covariances(part)[:, 0, 0]) * 1.96  # 95 % of a normal
    look: dict[str, Any] = {"shape": shape, "size": size, "name": name, "legendgroup": name}
    bars = {"array": list(np.nan_to_num(deviations)), **style.BARS}
    # its marks are wider than the strip of a narrow figure: none is cut
    look |= {"showlegend": False, **style.pair(2), "error_y": bars, "cliponaxis": False}
    return style.points(part, x="_place", y="L", **look)
