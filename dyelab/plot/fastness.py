"""Figures of fastness: a quantity over washes or dose, with bands, forecasts and a limit."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from dyelab import grade, table, words
from dyelab.plot import style

_UNITS = {"cycle": (1.0, "washes"), "lx h": (1e6, "light_dose"), "h": (1.0, "hours")}
_BAND = "rgba(128,128,128,0.22)"  # grid lines show through
_COLUMNS, PANEL = 4, 230  # panels in a row, and their height in pixels
_LABEL = 20  # letters in a line of a label: what the narrowest panel holds
_GAP = 0.03  # between panels beside one another, as a part of the figure
_ROOM = 76  # pixels between rows, for the axis title of one and the names of the next


def scale_of(unit: str) -> tuple[float, str]:
    """What an exposure is divided by for an axis, and the axis title."""
    size, name = _UNITS.get(unit, (1.0, ""))
    other = f"{words.heading('exposure')} ({unit})"
    return size, words.say(f"fastness_panel.{name}") if name else other


def curves(
    drifts: Sequence[grade.Drift],
    labels: Sequence[str],
    quantity: str = "dEF",
    *,
    limit: tuple[float, str] | None = None,
    at: float | None = None,
    white: tuple[str, int] = table.DEFAULT_WHITE,
    columns: int = _COLUMNS,
    height: int = PANEL,
) -> go.Figure:
    """A quantity over exposure, one panel a swatch and test, all to one height.

    Marks are the readings as the table of grades has them, with their intervals.

    Parameters
    ----------
    drifts : sequence of Drift
        Those without this quantity are left out; each has an axis of its own exposure.
    labels : sequence of str
        One a drift, over its panel.
    quantity : str
        ``L``, ``C``, ``h``, ``dE00`` or ``dEF``.
    limit : (level, text), optional
        A level drawn across, such as the requirement.
    at : float, optional
        An exposure marked by an upright line.
    white : (illuminant, observer)
        Of the colours.
    columns : int
        Panels beside one another.
    height : int
        Of a panel, in pixels.
    """
    pairs = [(d, n) for d, n in zip(drifts, labels, strict=True) if quantity in d.curves]
    if not pairs:
        return style.figure(height=height)
    columns = min(columns, len(pairs))
    rows = -(-len(pairs) // columns)
    tall = height * rows + _ROOM * (rows - 1)
    drawn = style.figure(height=tall + 60, showlegend=False)
    span = _span(pairs, quantity, limit)
    for i, (one, name) in enumerate(pairs):
        row, column = divmod(i, columns)
        by, title = scale_of(one.unit)
        far = max(grade.HORIZON * d.longest for d, _ in pairs if d.unit == one.unit) / by
        axes = style.pair(i + 1)
        drawn.add_traces(_band(one, quantity, by, axes))
        drawn.add_traces(_line(one, quantity, by, name, axes))
        drawn.add_trace(_readings(one, quantity, by, name, white, axes))
        _mark(drawn, limit, None if at is None else at / by, far, axes, i == 0)
        text = style.escape(name, 44 if columns < _COLUMNS else 24, wide=24 if columns > 1 else 48)
        drawn.add_annotation(style.over_panel(text, axes, x=0, font={"size": 12}))
        last = i + columns >= len(pairs) or pairs[i + columns][0].unit != one.unit
        across = {"range": [-0.02 * far, far * 1.01], "title": {"text": title if last else ""}}
        named = words.say(f"fastness_panel.{quantity}") if column == 0 else ""
        up = {"range": span, "title": {"text": named}, "showticklabels": column == 0}
        place = _place((row, column), (rows, columns), _ROOM / tall)
        drawn.update_layout(style.place_axes(axes, *place, across, up))
    return drawn


def _place(
    place: tuple[int, int], grid: tuple[int, int], room: float
) -> tuple[list[float], list[float]]:
    """The parts of the figure's width and height that a panel of the grid takes."""
    width, height = (1 - _GAP * (grid[1] - 1)) / grid[1], (1 - room * (grid[0] - 1)) / grid[0]
    left, top = place[1] * (width + _GAP), 1 - place[0] * (height + room)
    return [left, left + width], [max(top - height, 0), top]


def _x(one: grade.Drift, beyond: bool) -> np.ndarray:
    ends = (one.longest, grade.HORIZON * one.longest) if beyond else (0.0, one.longest)
    return np.linspace(*ends, 40)


def _band(one: grade.Drift, quantity: str, by: float, axes: dict[str, str]) -> list[go.Scatter]:
    x = np.concatenate([_x(one, False), _x(one, True)[1:]])
    low, high = one.curves[quantity].band(x)
    return style.band(list(x / by), list(low), list(high), _BAND, **axes)


def _line(
    one: grade.Drift, quantity: str, by: float, name: str, axes: dict[str, str]
) -> list[go.Scatter]:
    """Solid where it was read; thinner, and named a forecast, beyond."""
    parts = []
    for beyond in (False, True):
        x = _x(one, beyond)
        more = words.say("fastness.beyond") if beyond else ""
        look: dict[str, Any] = {"width": 1.1, "dash": "dot"} if beyond else {"width": 2}
        look |= {"hovertemplate": f"%{{x:.3g}}: %{{y:.1f}}{more}<extra></extra>", **axes}
        y = list(one.curves[quantity].at(x))
        parts.append(style.line(list(x / by), y, name=style.escape(name), showlegend=False, **look))
    return parts


def _readings(
    one: grade.Drift,
    quantity: str,
    by: float,
    name: str,
    white: tuple[str, int],
    axes: dict[str, str],
) -> go.Scatter:
    """Readings as marks in the colour the cloth had, with their intervals."""
    read = one.curves[quantity].readings
    lab = one.lab[len(one.lab) - len(read) :]
    label = [grade.amount_text(float(x), one.unit) for x in read["x"]]
    rows = pd.DataFrame(lab, columns=table.LAB).assign(swatch=name, label=label)
    under = dict(zip(table.WHITE, white, strict=True))
    rows = rows.assign(x=read["x"] / by, y=read["y"], **under)
    drawn = style.points(rows, x="x", y="y", name=name, size=11)
    drawn.update(showlegend=False, **axes)
    if read["high"].notna().all():
        up, down = read["high"] - read["y"], read["y"] - read["low"]
        bars = {"array": list(up), "arrayminus": list(down), "symmetric": False}
        drawn.error_y = {**bars, **style.BARS}
    return drawn


def _mark(
    drawn: go.Figure,
    limit: tuple[float, str] | None,
    at: float | None,
    far: float,
    axes: dict[str, str],
    named: bool,
) -> None:
    if limit is not None and np.isfinite(limit[0]):
        text, short = style.escape(limit[1]), style.escape(limit[1], wide=_LABEL)
        more: dict[str, Any] = {"mode": "lines+text", "text": ["", short if named else ""], **axes}
        more |= {"textposition": "top left", "textfont": {"size": 11, "color": style.INK}}
        more |= {"name": text, "showlegend": False, "hoverinfo": "name"}
        ends = [0, far], [limit[0], limit[0]]
        drawn.add_trace(style.line(*ends, width=1.4, dash="longdash", **more))
    if at is not None:
        more = {"x0": at, "x1": at, "y0": 0, "y1": 1, "xref": axes["xaxis"]}
        more["line"] = {"color": style.INK, "width": 1.4, "dash": "dot"}
        drawn.add_shape(type="line", yref=f"{axes['yaxis']} domain", **more)


def _span(
    pairs: Sequence[tuple[grade.Drift, str]], quantity: str, limit: tuple[float, str] | None
) -> list[float]:
    """Axis limits that hold readings, curves and limit, and as much of the bands as is fair."""
    values: list[float] = [] if limit is None or not np.isfinite(limit[0]) else [limit[0]]
    for one, _ in pairs:
        curve = one.curves[quantity]
        values += [*curve.readings["y"], *curve.at(_x(one, True))]
        values += list(curve.readings[["low", "high"]].dropna().to_numpy().ravel())
        low, high = curve.band(np.array([one.longest]))
        values += [*low, *high]
    least, most = min(values), max(values)
    room = max((most - least) * 0.15, 0.5)
    floor = 0.0 if quantity in ("dE00", "dEF", "C", "L") else -np.inf
    return [max(least - room, floor), most + room]
