"""Figures of fastness: a quantity over washes or dose, with bands, forecasts and a limit."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from dyelab import grade, table, words
from dyelab.plot import style

_UNITS = {"cycle": (1.0, "washes"), "lx h": (1e6, "light dose (Mlx h)"), "h": (1.0, "hours")}
_BANDS = ("rgba(128,128,128,0.26)", "rgba(128,128,128,0.16)")


def scale_of(unit: str) -> tuple[float, str]:
    """What an exposure is divided by for an axis, and the axis title."""
    return _UNITS.get(unit, (1.0, f"exposure ({unit or 'amount'})"))


def curves(
    drifts: Sequence[grade.Drift],
    labels: Sequence[str],
    quantity: str = "dEF",
    *,
    limit: tuple[float, str] | None = None,
    at: float | None = None,
    white: tuple[str, int] = table.DEFAULT_WHITE,
    height: int = 430,
) -> go.Figure:
    """A quantity over exposure for a few swatches of one test.

    Parameters
    ----------
    drifts : sequence of Drift
        Of one exposure and unit; those without this quantity are left out.
    labels : sequence of str
        One a drift, for the legend.
    quantity : str
        ``L``, ``C``, ``h``, ``dE00`` or ``dEF``.
    limit : (level, text), optional
        A level drawn across, such as the requirement.
    at : float, optional
        An exposure marked by an upright line.
    white : (illuminant, observer)
        Of the colours.
    height : int
        In pixels.
    """
    pairs = [(d, n) for d, n in zip(drifts, labels, strict=True) if quantity in d.curves]
    if not pairs:
        return style.figure(height=height)
    by, title = scale_of(pairs[0][0].unit)
    drawn = style.figure(height=height, x=title, y=_AXES[quantity], legend_traceorder="normal")
    marks = style.shapes(n for _, n in pairs)
    lines = style.dashes(n for _, n in pairs)
    for i, (one, name) in enumerate(pairs):
        drawn.add_traces(_band(one, quantity, by, _BANDS[i % len(_BANDS)]))
        drawn.add_traces(_line(one, quantity, by, name, lines[str(name)]))
        drawn.add_trace(_readings(one, quantity, by, name, marks[str(name)], white))
    far = max(grade.HORIZON * one.longest for one, _ in pairs) / by
    _mark(drawn, limit, None if at is None else at / by, far)
    drawn.update_xaxes(range=[-0.02 * far, far * 1.01])
    drawn.update_yaxes(range=_span(pairs, quantity, limit))
    return drawn


_AXES = {
    "L": style.AXES["L"],
    "C": style.AXES["C"],
    "h": style.AXES["h"],
    "dE00": "ΔE00 from before",
    "dEF": "change on the grey scale, ΔEF (ISO 105-A05)",
}


def _x(one: grade.Drift, beyond: bool) -> np.ndarray:
    ends = (one.longest, grade.HORIZON * one.longest) if beyond else (0.0, one.longest)
    return np.linspace(*ends, 40)


def _band(one: grade.Drift, quantity: str, by: float, colour: str) -> list[go.Scatter]:
    x = np.concatenate([_x(one, False), _x(one, True)[1:]])
    low, high = grade.band(one, quantity, x)
    edge: dict[str, Any] = {
        "mode": "lines",
        "line": {"width": 0},
        "hoverinfo": "skip",
        "showlegend": False,
    }
    return [
        go.Scatter(x=list(x / by), y=list(low), **edge),
        go.Scatter(x=list(x / by), y=list(high), fill="tonexty", fillcolor=colour, **edge),
    ]


def _line(one: grade.Drift, quantity: str, by: float, name: str, dash: str) -> list[go.Scatter]:
    """Solid where it was read; thinner, and named a forecast, beyond."""
    parts = []
    for beyond in (False, True):
        x = _x(one, beyond)
        parts.append(
            go.Scatter(
                x=list(x / by),
                y=list(one.curves[quantity].at(x)),
                mode="lines",
                line={
                    "color": style.INK,
                    "width": 1.1 if beyond else 2,
                    "dash": "dot" if beyond else dash,
                },
                name=style.plain(name),
                showlegend=False,
                hovertemplate="%{x:.3g}: %{y:.1f}"
                + (words.say("fastness.beyond") if beyond else "")
                + "<extra></extra>",
            )
        )
    return parts


def _readings(
    one: grade.Drift, quantity: str, by: float, name: str, shape: str, white: tuple[str, int]
) -> go.Scatter:
    """Readings as marks in the colour the cloth had."""
    series = one.curves[quantity].chosen.series
    lab = one.lab[len(one.lab) - len(series.x) :]
    rows = pd.DataFrame(lab, columns=table.LAB).assign(
        x=series.x / by,
        y=series.y,
        swatch=name,
        label=[grade.amount_text(float(x), one.unit) for x in series.x],
        illuminant=white[0],
        observer=white[1],
    )
    return style.points(rows, x="x", y="y", name=name, shape=shape, size=13)


def _mark(drawn: go.Figure, limit: tuple[float, str] | None, at: float | None, far: float) -> None:
    line = {"color": style.INK, "width": 1.4, "dash": "longdash"}
    if limit is not None and np.isfinite(limit[0]):
        drawn.add_trace(
            go.Scatter(
                x=[0, far],
                y=[limit[0], limit[0]],
                mode="lines",
                line=line,
                name=style.plain(limit[1]),
                hoverinfo="name",
            )
        )
    if at is not None:
        drawn.add_shape(
            type="line", x0=at, x1=at, y0=0, y1=1, yref="paper", line={**line, "dash": "dot"}
        )


def _span(
    pairs: Sequence[tuple[grade.Drift, str]], quantity: str, limit: tuple[float, str] | None
) -> list[float]:
    """Axis limits that hold readings, curves and limit, and as much of the bands as is fair."""
    values: list[float] = [] if limit is None or not np.isfinite(limit[0]) else [limit[0]]
    for one, _ in pairs:
        curve = one.curves[quantity]
        values += [*curve.chosen.series.y, *curve.at(_x(one, True))]
        low, high = grade.band(one, quantity, np.array([one.longest]))
        values += [*low, *high]
    least, most = min(values), max(values)
    room = max((most - least) * 0.15, 0.5)
    floor = 0.0 if quantity in ("dE00", "dEF", "C", "L") else -np.inf
    return [max(least - room, floor), most + room]
