"""A dose curve in three coordinates, with its band and the doses that matter."""

from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from dyelab import words
from dyelab.plot import style

_COORDINATES = ("L", "a", "b")


def dose(curve: Any, *, height: int = 440) -> go.Figure:
    """A dose curve with its band, the doses read off it, and L*, a*, b* beside it.

    Parameters
    ----------
    curve : shift.DoseCurve
    height : int
    """
    layout: dict[str, Any] = {
        "xaxis": {"domain": [0, 0.56], "rangemode": "tozero"},
        "yaxis": {"rangemode": "tozero", "title": {"text": style.AXES[curve.formula]}},
    }
    layout["xaxis"]["title"] = {"text": words.say("shift_plot.metal_axis", metal=curve.metal)}
    for i, name in enumerate(_COORDINATES):
        n = i + 2
        bottom = 1 - (i + 1) / 3 + (0.03 if i < 2 else 0)
        layout[f"xaxis{n}"] = {"domain": [0.7, 1], "anchor": f"y{n}", "showticklabels": i == 2}
        layout[f"yaxis{n}"] = {
            "domain": [bottom, 1 - i / 3 - 0.03],
            "anchor": f"x{n}",
            "title": {"text": f"{name}*"},
        }
    layout["xaxis4"]["title"] = {"text": "% WOF"}
    drawn = style.figure(height=height, **layout)
    fitted = len(curve.band) > 0
    if fitted:
        drawn.add_traces(_banded(curve.band, "distance", {}))
    drawn.add_trace(_swatches(curve.points, "distance", {}))
    for i, name in enumerate(_COORDINATES):
        axes = {"xaxis": f"x{i + 2}", "yaxis": f"y{i + 2}"}
        if fitted:
            drawn.add_traces(_banded(curve.band, name, axes))
        drawn.add_trace(_swatches(curve.points, name, axes))
    _mark_doses(drawn, curve)
    return drawn


def _banded(band: pd.DataFrame, name: str, axes: dict[str, str]) -> list[go.Scatter]:
    edge = {"mode": "lines", "line": {"width": 0}, "hoverinfo": "skip", "showlegend": False}
    legend = not axes
    return [
        go.Scatter(x=band["dose"], y=band[f"{name}_low"], **edge, **axes),
        go.Scatter(
            x=band["dose"],
            y=band[f"{name}_high"],
            mode="lines",
            line={"width": 0},
            fill="tonexty",
            fillcolor="rgba(128,128,128,0.25)",
            name=words.say("shift_plot.band"),
            hoverinfo="skip",
            showlegend=legend,
            **axes,
        ),
        go.Scatter(
            x=band["dose"],
            y=band[name],
            mode="lines",
            line={"color": style.INK, "width": 2},
            name=words.say("shift_plot.curve"),
            showlegend=legend,
            hovertemplate="%{x:.2f} %: %{y:.1f}<extra></extra>",
            **axes,
        ),
    ]


def _swatches(points: pd.DataFrame, y: str, axes: dict[str, str]) -> go.Scatter:
    name = words.say("shift_plot.swatch")
    return style.points(
        points, x="dose", y=y, name=name, size=12, showlegend=not axes, legendgroup=name, **axes
    )


def _mark_doses(drawn: go.Figure, curve: Any) -> None:
    """Upright lines at the doses read off, each with its name and its interval below the axis."""
    dashes = style.dashes(curve.doses["what"])
    top = float(curve.band["distance_high"].max()) * 1.12
    for i, row in enumerate(curve.doses.to_dict("records")):
        if not np.isfinite(row["dose"]) or (row["what"] == "enough" and row["dose"] <= 0):
            continue
        last = float(curve.band["dose"].iloc[-1])
        high = row["high"] if np.isfinite(row["high"]) else last
        name = words.say(f"shift_plot.{row['what']}", dose=f"{row['dose']:.2g}")
        level = -top * 0.02 * (i + 1)
        drawn.add_trace(
            go.Scatter(
                x=[row["dose"], row["dose"], np.nan, row["low"], high],
                y=[0, top, np.nan, level, level],
                mode="lines",
                line={"color": style.INK, "width": 1.5, "dash": dashes[row["what"]]},
                name=name,
                hoverinfo="name",
            )
        )
