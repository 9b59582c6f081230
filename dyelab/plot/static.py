"""A figure on paper: what its description says, written as SVG in dark ink.

Knows the marks that our own figures use, and no others: scatter traces (lines, marks, bars, words,
fills between lines), chips edge to edge, upright lines and words over a panel.
"""

import html
import re
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import plotly.graph_objects as go

_INK, _GRID = "#1c1c1c", "#dcdcdc"
_LEFT, _RIGHT, _ABOVE, _BELOW = 66, 14, 12, 52  # pixels around the axes
_LINE = 17  # pixels from one line of the legend to the next
_DASHES = {  # in widths of the line
    "dash": (5, 3),
    "dot": (1.2, 2),
    "dashdot": (5, 2, 1.2, 2),
    "longdash": (9, 4),
    "longdashdot": (9, 3, 1.2, 3),
}


def _corners(count: int, turn: float = 0.0, *radii: float) -> np.ndarray:
    """Corners of a regular shape of about the circle's area, the first at the top; y runs down."""
    angle = np.radians(turn) + 2 * np.pi * np.arange(count) / count
    return np.resize(radii or (1.15,), count)[:, None] * np.stack(
        [np.sin(angle), -np.cos(angle)], axis=1
    )


_PLUS = np.array([(-1, -3), (1, -3), (1, -1), (3, -1), (3, 1), (1, 1)]) / 3.0
_MARKS = {
    "circle": _corners(40, 0, 1.0),
    "square": _corners(4, 45, 1.3),
    "diamond": _corners(4, 0, 1.3),
    "triangle-up": _corners(3, 0, 1.3),
    "triangle-down": _corners(3, 180, 1.3),
    "cross": np.vstack([_PLUS, -_PLUS]),
    "pentagon": _corners(5),
    "star": _corners(10, 0, 1.3, 0.6),
    "hexagon": _corners(6),
    "hourglass": np.array([(-0.9, -1), (0.9, -1), (-0.9, 1), (0.9, 1)]),
    "arrow": np.array([(0.0, 0.0), (-0.55, 1.6), (0.55, 1.6)]),
}


def svg(figure: go.Figure, width: int = 720) -> str:
    """Draw a figure as SVG text, its words kept as words.

    Parameters
    ----------
    figure : Figure
        Scatter and heatmap traces on linear Cartesian axes.
    width : int
        In pixels; the height is the figure's own.

    Raises
    ------
    ValueError
        For a kind of trace that paper can't show.
    """
    height = int(figure.layout.height or 420)
    traces = [_look_up(trace) for trace in figure.data if trace.visible in (None, True)]
    named = {_words(t.name): t for t in reversed(traces) if t.name and t.showlegend is not False}
    names = list(reversed(named)) if figure.layout.showlegend is not False else []
    abreast = _abreast(names, width)
    above = (_words(one.text).count("\n") for one in figure.layout.annotations if one.y == 1)
    top = _ABOVE + _LINE * (_lines(names, abreast) + max(above, default=0))
    box = (_LEFT, top, width - _LEFT - _RIGHT, height - top - _BELOW)
    places = list(dict.fromkeys(map(_place, traces))) or [("x", "y")]
    planes = {p: _Plane(figure, p, [t for t in traces if _place(t) == p], box) for p in places}
    parts = [part for plane in planes.values() for part in plane.drawn()]
    for over in (*figure.layout.images, *figure.layout.shapes, *figure.layout.annotations):
        plane = planes.get(((over.xref or "x").split()[0], (over.yref or "y").split()[0]))
        parts += [plane.over(over)] if plane else []
    parts += _legend([(name, named[name]) for name in names], abreast, width)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}" font-family="DejaVu Sans, sans-serif" fill="{_INK}">'
        + "\n".join([*parts, "</svg>"])
    )


def _place(trace: Any) -> tuple[str, str]:
    return trace.xaxis or "x", trace.yaxis or "y"


def _look_up(trace: Any) -> Any:
    if trace.type not in ("scatter", "heatmap"):
        raise ValueError(f"paper can't show a {trace.type} trace")
    return trace


class _Plane:
    """A pair of axes in its place on the sheet, and what lies on it."""

    def __init__(self, figure: go.Figure, place: tuple[str, str], traces: list, box: Sequence):
        self.traces, self.name = traces, "".join(place)
        self.axes = [figure.layout[f"{name[0]}axis{name[1:]}"] for name in place]
        (x0, x1), (y0, y1) = (axis.domain or (0, 1) for axis in self.axes)
        self.low = np.array([box[0] + x0 * box[2], box[1] + (1 - y0) * box[3]])  # bottom left
        self.size = np.array([(x1 - x0) * box[2], (y1 - y0) * box[3]])
        self.range = np.array([_range(axis, traces) for axis in self.axes], float)
        if self.axes[1].scaleanchor:
            middle, span = self.range.mean(axis=1), np.ptp(self.range, axis=1)
            half = np.max(np.abs(span) / self.size) * self.size / 2
            turned = np.where(self.range[:, 1] < self.range[:, 0], -1, 1)
            self.range = middle[:, None] + np.outer(half * turned, (-1, 1))

    def at(self, x: Any, y: Any) -> np.ndarray:
        """Pixels (n, 2) of values."""
        values = np.stack([np.asarray(x, float), np.asarray(y, float)], axis=-1)
        share = (values - self.range[:, 0]) / (self.range[:, 1] - self.range[:, 0])
        return self.low + share * self.size * [1, -1]

    def drawn(self) -> Iterable[str]:
        """Grid and axes, then the traces, cut off at the edges."""
        (left, bottom), (across, up) = self.low, self.size
        for i, axis in enumerate(self.axes):
            if axis.visible is not False:
                yield from self._axis(i, axis)
        yield (
            f'<clipPath id="{self.name}"><rect x="{left:.1f}" y="{bottom - up:.1f}" '
            f'width="{across:.1f}" height="{up:.1f}"/></clipPath><g clip-path="url(#{self.name})">'
        )
        beyond: list[str] = []  # marks wider than their strip
        for before, trace in zip([None, *self.traces], self.traces, strict=False):
            heat = trace.type == "heatmap"
            parts = self._chips(trace) if heat else _scatter(self, trace, before)
            if not heat and trace.cliponaxis is False:
                beyond += parts
            else:
                yield from parts
        yield from ["</g>", *beyond]

    def _axis(self, i: int, axis: Any) -> Iterable[str]:
        end = self.low + self.size * [(1, 0), (0, -1)][i]
        if axis.showline is not False:
            yield _path([self.low, end], "#555555", 0.9)
        ticks, texts = _ticks(self.range[i], axis, self.size[i])
        edge = np.full(len(ticks), self.range[1 - i, 0])
        places = self.at(ticks, edge) if i == 0 else self.at(edge, ticks)
        for place, text in zip(places, texts, strict=True):
            if axis.showgrid is not False:
                yield _path([place, place + self.size * [(0, -1), (1, 0)][i]], _GRID, 0.8)
            if axis.showticklabels is not False:
                yield _text(text, place + [(0, 15), (-6, 4)][i], 11, ("middle", "end")[i])
        if axis.title.text:
            middle = (self.low + end) / 2
            room = 13 + 6.5 * max(map(len, texts), default=0) * (axis.showticklabels is not False)
            turned = f' transform="rotate(-90 {middle[0] - room:.1f} {middle[1]:.1f})"'
            off = (0, 34) if i == 0 else (-room, 0)
            yield _text(axis.title.text, middle + off, 11.5, "middle", turned if i else "")

    def _chips(self, trace: Any) -> Iterable[str]:
        """Rectangles edge to edge, each in the colour of the scale that it names."""
        shares = np.array([share for share, _ in trace.colorscale])
        z = (np.asarray(trace.z, float) - trace.zmin) / (trace.zmax - trace.zmin)
        for (row, column), value in np.ndenumerate(z):
            fill = trace.colorscale[int(np.argmin(np.abs(shares - value)))][1]
            ends = self.at([column - 0.5, column + 0.5], [row + 0.5, row - 0.5])
            yield _rectangle(ends, f'fill="{fill}"')

    def over(self, part: Any) -> str:
        """What the layout lays over the axes: a photo, an upright line, words above."""
        kind = type(part).__name__
        if kind == "Image":
            ends = self.at([part.x, part.x + part.sizex], [part.y, part.y + part.sizey])
            return _rectangle(ends, f'href="{part.source}" preserveAspectRatio="none"', "image")
        if kind == "Annotation":
            domain = str(part.xref).endswith("domain")
            share = self.low + self.size * [part.x or 0, -(part.y or 0)]
            place = np.add(share, (0, -4)) if domain else self.at(part.x, part.y)
            anchor = {"left": "start"}.get(part.xanchor, "middle")
            return _text(part.text, place, 11, anchor, up=part.yanchor == "bottom")
        if part.type != "line":
            return ""
        x = self.at(part.x0, self.range[1, 0])[0]
        upright = [(x, self.low[1]), (x, self.low[1] - self.size[1])]
        return _path(upright, part.line.color, part.line.width, part.line.dash)


def _range(axis: Any, traces: list) -> tuple[float, float]:
    """The limits asked for, else those of the values with a little room."""
    if axis.range is not None:
        return axis.range
    which = axis.plotly_name[0]
    found = [np.zeros(1) if axis.rangemode == "tozero" else np.empty(0)]
    for trace in traces:
        values = np.asarray(trace[which], float)
        found += [values]
        if trace.error_y.array is not None and which == "y":
            found += list(_bars(trace, values))
    every = np.concatenate(found)
    low, high = np.nanmin(every), np.nanmax(every)
    room = 0.05 * (high - low) or 0.5
    return (0.0 if axis.rangemode == "tozero" and low == 0 else low - room), high + room


def _bars(trace: Any, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    up = np.asarray(trace.error_y.array, float)
    down = trace.error_y.arrayminus
    return y - (up if down is None else np.asarray(down, float)), y + up


def _ticks(limits: np.ndarray, axis: Any, length: float) -> tuple[np.ndarray, list[str]]:
    """Round values some 40 pixels apart, and as they are written."""
    low, high = sorted(limits)
    rough = max((high - low) * min(40 / length, 1 / 3), 1e-12)
    power = 10.0 ** np.floor(np.log10(rough))
    step = axis.dtick or power * next(m for m in (1, 2, 2.5, 5, 10) if m * power >= rough * 0.999)
    at = np.arange(np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9) + 1) * step
    digits = max(0, *(len(f"{value:.6g}".partition(".")[2]) for value in at), 0)
    return at, [f"{value + 0.0:.{digits}f}".replace("-", "−") for value in at]


def _scatter(plane: _Plane, trace: Any, before: Any) -> Iterable[str]:
    places, modes = plane.at(trace.x, trace.y), (trace.mode or "lines").split("+")
    if trace.fill in ("tonexty", "tozeroy"):
        zero = trace.fill == "tozeroy"
        back = plane.at(*(trace.x, 0 * places[:, 0]) if zero else (before.x, before.y))
        outline = np.vstack([places, back[::-1]])
        yield f'<path d="{_way(outline)}Z" fill="{trace.fillcolor}"/>'
    if "lines" in modes and trace.line.width != 0:
        yield _path(places, trace.line.color, trace.line.width or 2, trace.line.dash)
    if trace.error_y.array is not None:
        for x, low, high in zip(trace.x, *_bars(trace, np.asarray(trace.y, float)), strict=True):
            ends = plane.at([x, x], [low, high])
            for line in (ends, *(np.add(end, [(-2.5, 0), (2.5, 0)]) for end in ends)):
                yield _path(line, "#666666", 1)
    if "markers" in modes:
        yield from _marks(trace, places)
    if "text" in modes:
        yield from _labels(trace, places)


def _marks(trace: Any, places: np.ndarray) -> Iterable[str]:
    marker = trace.marker
    given = (marker.symbol or "circle", marker.color or "#555555", marker.size or 6)
    looks = zip(*(_many(value, len(places)) for value in given), strict=True)
    steps = np.diff(places, axis=0, prepend=places[:1])
    for place, step, (symbol, colour, size) in zip(places, steps, looks, strict=True):
        if not np.isfinite(place).all() or not size:
            continue
        if symbol == "arrow":
            if np.hypot(*step) > 0:  # turned the way it came, short of the mark it leads to
                yield _arrow(place, step, size, marker.standoff or 0, colour)
        else:
            yield from _mark(place, symbol, colour, size)


def _mark(place: np.ndarray, symbol: str, colour: str, size: float) -> Iterable[str]:
    base, _, extra = (symbol, "", "") if symbol in _MARKS else symbol.rpartition("-")
    fill = "none" if extra == "open" else colour
    outline = _way(place + size / 2 * _MARKS[base])
    yield f'<path d="{outline}Z" fill="{fill}" stroke="#333333" stroke-width="1"/>'
    if extra == "x":
        for way in ((-1, -1), (-1, 1)):
            yield _path(place + 0.25 * size * np.array([way, np.negative(way)]), "#222222", 1)


def _arrow(place: np.ndarray, step: np.ndarray, size: float, back: float, colour: str) -> str:
    forward = step / np.hypot(*step)
    turn = np.array([(-forward[1], forward[0]), -forward])
    outline = place - back * forward + size / 2 * _MARKS["arrow"] @ turn
    return f'<path d="{_way(outline)}Z" fill="{colour}"/>'


def _labels(trace: Any, places: np.ndarray) -> Iterable[str]:
    upright, across = (trace.textposition or "middle center").split()
    off = {"left": -6, "right": 6}.get(across, 0), {"top": -5, "bottom": 13}.get(upright, 4)
    anchor = {"left": "end", "right": "start"}.get(across, "middle")
    for place, text in zip(places, _many(trace.text, len(places)), strict=True):
        yield _text(text, place + off, 10, anchor, up=upright == "top") if text else ""


def _abreast(names: Sequence[str], width: int) -> int:
    """How many entries of the legend fit beside each other, the longest as wide as any."""
    longest = max((len(line) for name in names for line in name.split("\n")), default=0)
    return max(1, min(4, len(names), int(width // (45 + 7 * longest))))  # 7 px a letter


def _lines(names: Sequence[str], abreast: int) -> int:
    """Lines that the legend takes; its entries run down column by column."""
    down = -(-len(names) // abreast)
    tall = [name.count("\n") + 1 for name in names]
    return max((sum(tall[at : at + down]) for at in range(0, len(names), down or 1)), default=0)


def _legend(entries: Sequence[tuple[str, Any]], abreast: int, width: int) -> Iterable[str]:
    down = -(-len(entries) // abreast)
    for i, (name, trace) in enumerate(entries):
        before = sum(n.count("\n") + 1 for n, _ in entries[i - i % down : i])
        left = _LEFT - 6 + (width - _LEFT) / abreast * (i // down)
        place = np.array([left, 13 + _LINE * before])
        yield from _sample(trace, place)
        yield _text(name, np.add(place, (30, 4)), 10.5, "start")


def _sample(trace: Any, place: np.ndarray) -> Iterable[str]:
    """What a trace looks like, beside its name."""
    line, modes = place + np.array([(0, 0), (24, 0)]), (trace.mode or "lines").split("+")
    if trace.fill:
        yield _rectangle(line + np.array([(0, -5), (0, 5)]), f'fill="{trace.fillcolor}"')
    if "lines" in modes and trace.line.width != 0:
        yield _path(line, trace.line.color, trace.line.width or 2, trace.line.dash)
    if "markers" in modes:
        looks = (trace.marker.symbol or "circle", trace.marker.color or "#555555", 9)
        yield from _mark(np.add(place, (12, 0)), *(_many(look, 1)[0] for look in looks))


def _path(places: Any, colour: str | None, width: float | None, dash: str | None = None) -> str:
    pattern = " ".join(f"{n * (width or 1):.3g}" for n in _DASHES.get(dash or "", ()))
    more = f' stroke-dasharray="{pattern}"' if pattern else ""
    return (
        f'<path d="{_way(np.asarray(places))}" fill="none" stroke="{colour or _INK}" '
        f'stroke-width="{width or 1:g}"{more}/>'
    )


def _way(places: np.ndarray) -> str:
    """Path through points; it breaks where one is missing."""
    there = np.isfinite(places).all(axis=1)
    fresh = there & ~np.concatenate([[False], there[:-1]])
    steps = zip(places[there], fresh[there], strict=True)
    return "".join(f"{'M' if new else 'L'}{x:.2f} {y:.2f}" for (x, y), new in steps)


def _rectangle(ends: np.ndarray, more: str, tag: str = "rect") -> str:
    (x, y), (w, h) = ends.min(axis=0), np.ptp(ends, axis=0)
    return f'<{tag} x="{x:.2f}" y="{y:.2f}" width="{w:.2f}" height="{h:.2f}" {more}/>'


def _text(
    text: Any, place: Any, size: float, anchor: str, more: str = "", *, up: bool = False
) -> str:
    """Lines of text, the first at the place, or with `up` the last."""
    (x, y), said = place, _words(text).split("\n")
    first = y - 1.2 * size * (len(said) - 1) * up
    lines = "".join(
        f'<tspan x="{x:.1f}" y="{first + i * 1.2 * size:.1f}">{html.escape(line)}</tspan>'
        for i, line in enumerate(said)
    )
    return f'<text font-size="{size:g}" text-anchor="{anchor}"{more}>{lines}</text>'


def _many(value: Any, count: int) -> list[Any]:
    return [value] * count if isinstance(value, str | int | float) else list(value)


def _words(text: Any) -> str:
    """Plain words of a Plotly text: line breaks kept, its little markup gone."""
    lines = re.sub(r"<br\s*/?>", "\n", str(text))
    return html.unescape(re.sub(r"</?(b|i|em|sub|sup|span)[^>]*>", "", lines))
