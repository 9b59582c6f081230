"""A figure on paper: the same marks as on screen, drawn as vectors with black ink.

Reads the Plotly description and draws it through matplotlib, so that a figure is made once.
"""

import html
import io
import re
import warnings
from collections.abc import Sequence
from typing import Any

import numpy as np
import plotly.graph_objects as go

_INK = "#1c1c1c"
_GRID = "#dcdcdc"
_PIXELS_AN_INCH = 96
_MARKS = {
    "circle": "o",
    "square": "s",
    "diamond": "D",
    "triangle-up": "^",
    "triangle-down": "v",
    "triangle-left": "<",
    "triangle-right": ">",
    "cross": "P",
    "x": "X",
    "pentagon": "p",
    "star": "*",
    "hexagon": "h",
    "hourglass": "d",
    "line-ns": "|",
    "line-ew": "_",
}
_DASHES = {
    "solid": "-",
    "dash": (0, (5, 3)),
    "dot": (0, (1.2, 2)),
    "dashdot": (0, (5, 2, 1.2, 2)),
    "longdash": (0, (9, 4)),
    "longdashdot": (0, (9, 3, 1.2, 3)),
}
_STYLE: Any = {
    "svg.fonttype": "none",
    "svg.hashsalt": "dyelab",
    "text.parse_math": False,
    "font.family": ["DejaVu Sans"],
    "font.size": 8.5,
    "axes.edgecolor": "#555555",
    "axes.linewidth": 0.7,
    "axes.labelcolor": _INK,
    "text.color": _INK,
    "xtick.color": _INK,
    "ytick.color": _INK,
    "axes.unicode_minus": True,
}


def svg(figure: go.Figure, width: int = 720) -> str:
    """Draw a figure as SVG text, its words kept as words.

    Parameters
    ----------
    figure : Figure
        Scatter, bar, heatmap and contour traces on Cartesian axes.
    width : int
        In pixels; the height is the figure's own.

    Raises
    ------
    ValueError
        For a kind of trace that paper can't show.
    """
    import matplotlib

    height = int(figure.layout.height or 420)
    with matplotlib.rc_context(_STYLE), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # letters without a glyph here get one where it is shown
        drawn = _drawn(figure, width, height)
        out = io.StringIO()
        drawn.savefig(out, format="svg", transparent=True, metadata={"Date": None})
    return re.sub(r"'DejaVu Sans'(?!,)", "'DejaVu Sans', sans-serif", out.getvalue())


def _drawn(figure: go.Figure, width: int, height: int) -> Any:
    from matplotlib.figure import Figure

    sheet = Figure(figsize=(width / _PIXELS_AN_INCH, height / _PIXELS_AN_INCH))
    traces = [_known(trace) for trace in figure.data if trace.visible in (None, True)]
    places = list(dict.fromkeys((t.xaxis or "x", t.yaxis or "y") for t in traces)) or [("x", "y")]
    legend = any(t.showlegend is not False and t.name for t in traces) and (
        figure.layout.showlegend is not False
    )
    box = _box(figure, width, height, legend)
    axes = {place: _axes(sheet, figure, place, box) for place in places}
    handles: dict[str, Any] = {}
    previous: dict[tuple[str, str], Any] = {}
    for trace in traces:
        place = (trace.xaxis or "x", trace.yaxis or "y")
        handle = _trace(axes[place], trace, previous.get(place))
        previous[place] = trace
        if handle is not None and trace.name and trace.showlegend is not False:
            handles.setdefault(_words(trace.name), handle)
    _extras(axes, figure, sheet)
    for place, ax in axes.items():
        _limits(ax, figure, place)
    if legend and handles:
        top = 1 - 4 / height
        sheet.legend(
            handles.values(),
            handles.keys(),
            loc="upper left",
            bbox_to_anchor=(box[0] - 0.01, top),
            ncols=_abreast(list(handles), width),
            frameon=False,
            fontsize=8,
            handletextpad=0.5,
            columnspacing=1.4,
        )
    return sheet


def _abreast(names: Sequence[str], width: int) -> int:
    """How many entries of the legend fit beside each other, the longest as wide as any."""
    longest = max((len(line) for name in names for line in name.split("\n")), default=0)
    return max(1, min(4, len(names), int(width // (45 + 7 * longest))))  # 8 pt: 7 px a letter


def _lines(names: Sequence[str], abreast: int) -> int:
    """Lines that the legend takes; its entries run down column by column."""
    down = -(-len(names) // abreast)
    tall = [name.count("\n") + 1 for name in names]
    return max(sum(tall[at : at + down]) for at in range(0, len(names), down))


def _box(figure: go.Figure, width: int, height: int, legend: bool) -> tuple[float, ...]:
    """Left, bottom, width and height that the axes share, as parts of the sheet."""
    drawn = [t for t in figure.data if t.name and t.showlegend is not False]
    names = list(dict.fromkeys(_words(t.name) for t in drawn))
    rows = _lines(names, _abreast(names, width)) if legend else 0
    left, bottom, right, top = 66, 52, 14, 12 + 17 * rows
    return (
        left / width,
        bottom / height,
        1 - (left + right) / width,
        1 - (bottom + top) / height,
    )


def _axes(sheet: Any, figure: go.Figure, place: tuple[str, str], box: Sequence[float]) -> Any:
    x, y = _axis(figure, place[0]), _axis(figure, place[1])
    (x0, x1), (y0, y1) = x.domain or (0, 1), y.domain or (0, 1)
    left, bottom, width, height = box
    ax = sheet.add_axes(
        (left + x0 * width, bottom + y0 * height, (x1 - x0) * width, (y1 - y0) * height)
    )
    ax.spines[["top", "right"]].set_visible(False)
    ax.set_axisbelow(True)
    for axis, made in ((x, ax.xaxis), (y, ax.yaxis)):
        made.set_label_text(_words(axis.title.text or ""))
        if axis.showgrid is not False:
            made.grid(True, color=_GRID, linewidth=0.6)
        if axis.showticklabels is False:
            made.set_ticks([])
    return ax


def _axis(figure: go.Figure, name: str) -> Any:
    return figure.layout[name[0] + "axis" + name[1:]]


def _limits(ax: Any, figure: go.Figure, place: tuple[str, str]) -> None:
    x, y = _axis(figure, place[0]), _axis(figure, place[1])
    for axis, setting, scale in (
        (x, ax.set_xlim, ax.set_xscale),
        (y, ax.set_ylim, ax.set_yscale),
    ):
        log = axis.type == "log"
        if log:
            scale("log")
        if axis.range is not None and None not in axis.range:
            setting(*(10.0**v if log else v for v in axis.range))
        elif axis.autorange == "reversed":
            low, high = sorted(setting())
            setting(high, low)
        if axis.rangemode == "tozero" and axis.range is None:
            setting(min(0, setting()[0]), setting()[1])
    _ticks(ax, x, y)
    if y.scaleanchor and y.scaleanchor[0] == "x":
        _squared(ax)


def _squared(ax: Any) -> None:
    """Widen the shorter range so that one unit is as long across as up, and the place is full."""
    width, height = ax.bbox.width, ax.bbox.height
    unit = max(np.ptp(ax.get_xlim()) / width, np.ptp(ax.get_ylim()) / height)
    for limits, length, setting in (
        (ax.get_xlim(), width, ax.set_xlim),
        (ax.get_ylim(), height, ax.set_ylim),
    ):
        middle = sum(limits) / 2
        setting(middle - unit * length / 2, middle + unit * length / 2)


def _ticks(ax: Any, x: Any, y: Any) -> None:
    for axis, made in ((x, ax.xaxis), (y, ax.yaxis)):
        if axis.tickvals is not None and axis.showticklabels is not False:
            labels = axis.ticktext if axis.ticktext is not None else axis.tickvals
            made.set_ticks(list(axis.tickvals), [_words(label) for label in labels])
        if axis.tickangle and made is ax.xaxis:
            ax.tick_params(axis="x", rotation=-axis.tickangle)


def _known(trace: Any) -> Any:
    if trace.type not in ("scatter", "scattergl", "bar", "heatmap", "contour"):
        raise ValueError(f"paper can't show a {trace.type} trace")
    return trace


def _trace(ax: Any, trace: Any, previous: Any) -> Any:
    if trace.type == "bar":
        return _bar(ax, trace)
    if trace.type in ("heatmap", "contour"):
        return _field(ax, trace)
    return _scatter(ax, trace, previous)


def _scatter(ax: Any, trace: Any, previous: Any) -> Any:
    y = _numbers(trace.y)
    x = _numbers(trace.x) if trace.x is not None else np.arange(len(y))
    modes = (trace.mode or "lines").split("+")
    handle = None
    if trace.fill and trace.fill != "none":
        handle = _filled(ax, trace, x, y, previous)
    if "lines" in modes and (trace.line.width is None or trace.line.width > 0):
        (handle,) = ax.plot(
            x,
            y,
            color=_ink(trace.line.color),
            linewidth=0.75 * (trace.line.width or 2),
            linestyle=_DASHES.get(trace.line.dash or "solid", "-"),
            zorder=2,
        )
    _bars(ax, trace, x, y)
    if "markers" in modes:
        handle = _markers(ax, trace, x, y) or handle
    if "text" in modes and trace.text is not None:
        _labels(ax, trace, x, y)
    return handle


def _filled(ax: Any, trace: Any, x: Any, y: Any, previous: Any) -> Any:
    colour, opacity = _fill(trace.fillcolor or "rgba(120,120,120,0.2)")
    if trace.fill == "toself":
        return ax.fill(x, y, color=colour, alpha=opacity, linewidth=0)[0]
    below = _numbers(previous.y) if trace.fill == "tonexty" and previous is not None else 0.0
    return ax.fill_between(x, below, y, color=colour, alpha=opacity, linewidth=0)


def _bars(ax: Any, trace: Any, x: Any, y: Any) -> None:
    ends: dict[str, Any] = {}
    for name, error in (("xerr", trace.error_x), ("yerr", trace.error_y)):
        if error.array is not None and error.visible is not False:
            up = _numbers(error.array)
            ends[name] = [_numbers(error.arrayminus), up] if error.arrayminus is not None else up
    if ends:
        ax.errorbar(x, y, **ends, fmt="none", ecolor="#666666", elinewidth=0.8, capsize=2)


def _markers(ax: Any, trace: Any, x: Any, y: Any) -> Any:
    symbols = np.array([str(s) for s in _many(trace.marker.symbol or "circle", len(x))], object)
    colours = [_ink(colour) for colour in _many(trace.marker.color or "#555555", len(x))]
    sizes = np.array(_many(trace.marker.size or 6, len(x)), float)
    for i in np.flatnonzero(symbols == "arrow"):
        _arrow(ax, x, y, int(i))
    handle = None
    for symbol in dict.fromkeys(symbols[symbols != "arrow"]):
        at = np.flatnonzero(symbols == symbol)
        fills = "none" if symbol.endswith("-open") else [colours[i] for i in at]
        base = symbol.removesuffix("-open").removesuffix("-x").removesuffix("-dot")
        style = {"edgecolors": "#333333", "linewidths": 0.8, "zorder": 3}
        marks = ax.scatter(
            x[at], y[at], (0.72 * sizes[at]) ** 2, marker=_MARKS.get(base, "o"), **style
        )
        marks.set_facecolor(fills)
        if symbol.endswith("-x"):
            ax.scatter(x[at], y[at], (0.5 * sizes[at]) ** 2, "#222222", marker="x", zorder=4)
        handle = handle or marks
    return handle


def _arrow(ax: Any, x: Any, y: Any, i: int) -> None:
    if i == 0 or (x[i] == x[i - 1] and y[i] == y[i - 1]):
        return
    ax.annotate(
        "",
        (x[i], y[i]),
        (x[i - 1], y[i - 1]),
        arrowprops={"arrowstyle": "-|>", "color": "#444444", "lw": 0.9, "shrinkB": 4},
        zorder=2,
    )


def _labels(ax: Any, trace: Any, x: Any, y: Any) -> None:
    position = str(trace.textposition or "middle center")
    up = {"top": 5, "bottom": -5}.get(position.split()[0], 0)
    across = {"left": -6, "right": 6}.get(position.split()[-1], 0)
    for px, py, label in zip(x, y, _many(trace.text, len(x)), strict=True):
        ax.annotate(
            _words(label),
            (px, py),
            (across, up),
            textcoords="offset points",
            ha={-6: "right", 6: "left"}.get(across, "center"),
            va={5: "bottom", -5: "top"}.get(up, "center"),
            fontsize=7.5,
        )


def _bar(ax: Any, trace: Any) -> Any:
    x, y = _numbers(trace.x), _numbers(trace.y)
    colours = [_ink(c) for c in _many(trace.marker.color or "#777777", len(x))]
    flat = trace.orientation == "h"
    bars = ax.barh(y, x, color=colours) if flat else ax.bar(x, y, color=colours)
    _bars(ax, trace, x, y)
    return bars


def _field(ax: Any, trace: Any) -> Any:
    z = np.asarray(trace.z, float)
    x = _numbers(trace.x) if trace.x is not None else np.arange(z.shape[1])
    y = _numbers(trace.y) if trace.y is not None else np.arange(z.shape[0])
    if trace.type == "contour":
        lines = ax.contour(x, y, z, colors="#555555", linewidths=0.8)
        ax.clabel(lines, fontsize=7)
        return None
    ax.pcolormesh(x, y, z, cmap="cividis", shading="nearest", rasterized=True)
    return None


def _extras(axes: dict, figure: go.Figure, sheet: Any) -> None:
    """Lines, bands and words laid over the axes."""
    for shape in figure.layout.shapes or ():
        ax = axes.get((_data(shape.xref, "x"), _data(shape.yref, "y"))) or next(iter(axes.values()))
        _shape(ax, shape)
    for note in figure.layout.annotations or ():
        ax = axes.get((_data(note.xref, "x"), _data(note.yref, "y"))) or next(iter(axes.values()))
        across = ax.get_yaxis_transform() if _relative(note.xref) else ax.transData
        where = ax.transAxes if _relative(note.xref) and _relative(note.yref) else across
        if _relative(note.yref) and not _relative(note.xref):
            where = ax.get_xaxis_transform()
        ax.text(note.x, note.y, _words(note.text or ""), transform=where, fontsize=8, ha="center")


def _data(ref: str | None, default: str) -> str:
    return (ref or default).split()[0] if not _relative(ref) or " " in (ref or "") else default


def _relative(ref: str | None) -> bool:
    return bool(ref) and (ref == "paper" or str(ref).endswith("domain"))


def _shape(ax: Any, shape: Any) -> None:
    line = {
        "color": _ink(shape.line.color),
        "linestyle": _DASHES.get(shape.line.dash or "solid", "-"),
        "linewidth": 0.75 * (shape.line.width if shape.line.width is not None else 1),
    }
    if shape.type == "rect":
        colour, opacity = _fill(shape.fillcolor or "rgba(0,0,0,0)")
        opacity *= shape.opacity if shape.opacity is not None else 1
        if _relative(shape.yref):
            ax.axvspan(shape.x0, shape.x1, color=colour, alpha=opacity, linewidth=0)
        elif _relative(shape.xref):
            ax.axhspan(shape.y0, shape.y1, color=colour, alpha=opacity, linewidth=0)
        else:
            ax.fill(
                [shape.x0, shape.x1, shape.x1, shape.x0],
                [shape.y0, shape.y0, shape.y1, shape.y1],
                color=colour,
                alpha=opacity,
            )
    elif _relative(shape.yref):
        ax.axvline(shape.x0, **line)
    elif _relative(shape.xref):
        ax.axhline(shape.y0, **line)
    else:
        ax.plot([shape.x0, shape.x1], [shape.y0, shape.y1], **line)


def _numbers(values: Any) -> Any:
    array = np.asarray(values)
    if array.dtype.kind in "if":
        return array.astype(float)
    if array.dtype.kind == "O" and all(v is None or isinstance(v, int | float) for v in array):
        return np.array([np.nan if v is None else v for v in array], float)
    return np.array([_words(v) for v in array])


def _many(value: Any, count: int) -> list[Any]:
    if isinstance(value, str | int | float):
        return [value] * count
    return list(value)


def _words(text: Any) -> str:
    """Plain words of a Plotly text: line breaks kept, its little markup gone."""
    lines = re.sub(r"<br\s*/?>", "\n", str(text))
    return html.unescape(re.sub(r"</?(b|i|em|sub|sup|span)[^>]*>", "", lines))


def _ink(colour: Any) -> Any:
    shade, opacity = _fill(colour or "#555555")
    return (*shade, opacity)


def _fill(colour: Any) -> tuple[tuple[float, ...], float]:
    from matplotlib.colors import to_rgba

    found = re.fullmatch(r"rgba?\(([^)]*)\)", str(colour).replace(" ", ""))
    if found:
        parts = [float(part) for part in found[1].split(",")]
        shade = tuple(part / 255 for part in parts[:3])
        return shade, (parts[3] if len(parts) > 3 else 1.0)
    r, g, b, a = to_rgba(str(colour))
    return (r, g, b), a
