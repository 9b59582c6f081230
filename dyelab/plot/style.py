"""The one look of every figure: template, marker shapes, screen chips and hover text.

The frame around the marks is grey, so that the only colour on screen is the cloth's. Greys are
chosen to read on white and on near-black; a panel sharpens them to the theme in use.
"""

import base64
import html
import re
import textwrap
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from dyelab import convert, table, words

INK = "#737373"
FAINT = "rgba(128,128,128,0.28)"  # seen on white and on near-black, behind every mark
FONT = "system-ui, 'Segoe UI', 'Helvetica Neue', 'DejaVu Sans', sans-serif"

# Okabe and Ito's colours, told apart with any colour vision; never the only carrier of a meaning.
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#B5629A", "#B98200", "#3F97C9")
SHAPES = (
    *("circle", "square", "diamond", "triangle-up", "cross", "triangle-down", "pentagon", "star"),
    *("hexagon", "hourglass"),
)
BARS = {"color": INK, "thickness": 1, "width": 3}  # of error
QUIET: dict[str, Any] = {"hoverinfo": "skip", "showlegend": False}
DASHES = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot")


def axis(name: str) -> str:
    """The title of an axis: words of a key such as ``a``, a column's heading, or as it stands."""
    if name.endswith("_wof"):
        return words.say("shift_plot.metal_axis", metal=name.removesuffix("_wof"))
    if words.has_text(f"axes.{name}"):
        return words.say(f"axes.{name}")
    return words.heading(name) if words.has_text(f"columns.{name}") else name


def _template() -> go.layout.Template:
    strong, clear = "rgba(128,128,128,0.6)", "rgba(0,0,0,0)"
    axis = {
        **{"gridcolor": FAINT, "zerolinecolor": strong, "linecolor": strong, "showline": True},
        **{"ticks": "outside", "ticklen": 4, "tickcolor": FAINT},
        "title": {"standoff": 8, "font": {"size": 13}},
        "automargin": True,
    }
    return go.layout.Template(
        layout={
            "font": {"family": FONT, "size": 13, "color": INK},
            **{"paper_bgcolor": clear, "plot_bgcolor": clear},
            "colorway": list(COLOURS),
            "margin": {"l": 64, "r": 16, "t": 44, "b": 56},
            "xaxis": axis,
            "yaxis": axis,
            "legend": {"orientation": "h", "y": 1.02, "yanchor": "bottom", "x": 0},
            "hoverlabel": {"align": "left", "font": {"family": FONT, "size": 13}},
            "hovermode": "closest",
            "dragmode": False,
        }
    )


TEMPLATE = _template()
_PLAIN_TEMPLATE = TEMPLATE.to_plotly_json()


def figure(traces: Iterable[Any] = (), *, x: str = "", y: str = "", **layout: Any) -> go.Figure:
    """Return a figure in the house style.

    Parameters
    ----------
    traces : iterable of Plotly traces
    x, y : str
        Axis titles, or keys of `axis` such as ``"a"``; always with a unit.
    **layout
        Further Plotly layout.
    """
    fixed = {"template": TEMPLATE, "height": 420, "uirevision": "keep"}
    drawn = go.Figure(list(traces), layout={**fixed, **layout})
    if x:
        drawn.update_xaxes(title_text=axis(x))
    if y:
        drawn.update_yaxes(title_text=axis(y))
    return drawn


def plain_figure(traces: Sequence[dict], **layout: Any) -> dict[str, Any]:
    """Return a figure in the house style as plain data, for what follows a slider.

    ``go.Figure`` makes a figure of it; checking every value takes most of a slider's step.
    """
    fixed = {"template": _PLAIN_TEMPLATE, "height": 420, "uirevision": "keep"}
    return {"data": list(traces), "layout": {**fixed, **layout}}


def photo(content: bytes, size: tuple[int, int], quads: Iterable[np.ndarray]) -> dict[str, Any]:
    """Layout that shows a photo, and quadrilaterals on it that can be dragged.

    `content` is a JPEG, `size` its width and height, `quads` corners (4, 2), all in pixels.
    """
    source = f"data:image/jpeg;base64,{base64.b64encode(content).decode()}"
    picture = {"source": source, "xref": "x", "yref": "y", "x": 0, "y": 0, "layer": "below"}
    picture |= {"sizex": size[0], "sizey": size[1], "sizing": "stretch"}
    look = {"line": {"color": "#ffffff", "width": 2}, "fillcolor": "rgba(255,255,255,0.05)"}
    paths = ("L".join(f"{x:.1f},{y:.1f}" for x, y in quad) for quad in quads)
    shapes = [{"type": "path", "path": f"M{path}Z", **look} for path in paths]
    return {"images": [picture], "shapes": shapes, "margin": dict.fromkeys("lrtb", 0)}


def corners(path: str) -> np.ndarray:
    """Corners (n, 2) of such a shape, as a browser sends it back once it was dragged."""
    return np.array(re.findall(r"-?[\d.]+(?:e-?\d+)?", path), float).reshape(-1, 2)


def line(x: Any, y: Any, *, dash: str = "solid", width: float = 1.5, **more: Any) -> go.Scatter:
    """A line in the frame's grey; without a name it has no place in the legend and no hover."""
    quiet = {} if more.get("name") else QUIET
    look = {"color": more.pop("color", INK), "width": width, "dash": dash}
    return go.Scatter(**{"x": x, "y": y, "mode": "lines", "line": look, **quiet, **more})


def pair(n: int) -> dict[str, str]:
    """Names of the nth pair of axes, from 1, as traces take them."""
    ending = str(n) if n > 1 else ""
    return {"xaxis": f"x{ending}", "yaxis": f"y{ending}"}


def place_axes(
    axes: dict[str, str], across: Sequence[float], up: Sequence[float], x: dict, y: dict
) -> dict[str, Any]:
    """Layout of such a pair over parts of the figure's width and height, with more of each."""
    first = {"domain": list(across), "anchor": axes["yaxis"], **x}
    second = {"domain": list(up), "anchor": axes["xaxis"], **y}
    return {f"xaxis{axes['xaxis'][1:]}": first, f"yaxis{axes['yaxis'][1:]}": second}


def over_panel(text: str, axes: dict[str, str], *, x: float = 0.5, **more: Any) -> dict[str, Any]:
    """Words above a panel whose traces have these axes; `x` is how far along it, 0 to 1."""
    ends = {"xref": f"{axes['xaxis']} domain", "yref": f"{axes['yaxis']} domain"}
    anchors = {"xanchor": "center" if x else "left", "yanchor": "bottom"}
    return {"text": text, "x": x, "y": 1, **ends, **anchors, "showarrow": False, **more}


def band(
    x: Any, low: Any, high: Any, fill: str, *, name: str = "", **axes: Any
) -> list[go.Scatter]:
    """A band between two lines that are not drawn themselves."""
    named = {"name": name, "hoverinfo": "skip"} if name else {}
    upper = line(x, high, width=0, fill="tonexty", fillcolor=fill, **named, **axes)
    return [line(x, low, width=0, **axes), upper]


def outlines(lab: pd.DataFrame, chi2: float, points: int) -> np.ndarray:
    """Ellipses on a*b*, (n, 2, points), within which the true colour lies so likely.

    `chi2` is the quantile of χ² with two degrees of freedom; NaN where no covariance is known.
    """
    turn = np.linspace(0, 2 * np.pi, points)
    spread = table.covariances(lab)[:, 1:, 1:]
    known = np.isfinite(spread).all(axis=(1, 2))
    power, axes = np.linalg.eigh(np.where(known[:, None, None], spread, 0.0))
    size = np.sqrt(np.clip(power, 0, None) * chi2)[..., None]
    rings = axes @ (size * np.stack([np.cos(turn), np.sin(turn)]))
    rings += lab[["a", "b"]].to_numpy(float)[..., None]
    return np.where(known[:, None, None], rings, np.nan)


def assign_marks(categories: Iterable[Any], marks: Sequence[str]) -> dict[str, str]:
    """Give each category, in order of appearance, one of `SHAPES`, `DASHES` or `COLOURS`."""
    names = list(dict.fromkeys(str(category) for category in categories))
    return {name: marks[i % len(marks)] for i, name in enumerate(names)}


def escape(text: Any, length: int = 60, *, wide: int = 48) -> str:
    """Text of a user's own for a figure: shown letter by letter, shortened, wrapped.

    Plotly reads a little markup in names and hover text; this takes its meaning away.
    """
    words = " ".join(str(text).split())
    short = words if len(words) <= length else words[: length - 1].rstrip() + "…"
    lines = textwrap.wrap(short, wide, break_on_hyphens=False) or [""]
    return "<br>".join(html.escape(line, quote=False) for line in lines)


def screen(lab: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Screen colours (hex texts) of a CIELAB table, and whether a screen can show each.

    Blank where a row has no colour.
    """
    values = lab[table.LAB].to_numpy(float)
    known = np.isfinite(values).all(axis=1)
    illuminant, observer = table.one_white(lab[known]) if known.any() else table.DEFAULT_WHITE
    shown = np.where(known[:, None], values, 50.0)
    fills, inside = convert.screen(shown, illuminant=illuminant, observer=observer)
    return np.where(known, fills, ""), inside


def with_screen_colours(lab: pd.DataFrame) -> pd.DataFrame:
    """Add `fill`, `inside` and `hover` once, for a table whose rows are drawn again and again."""
    fills, inside = screen(lab)
    return lab.assign(fill=fills, inside=inside, hover=hover(lab, inside))


def hover(lab: pd.DataFrame, inside: Iterable[bool] | None = None) -> list[str]:
    """Hover text of each row: swatch, recipe where known, L* a* b* and its white point."""
    shown = screen(lab)[1] if inside is None else inside
    columns = {name: lab[name].tolist() for name in lab}
    rows = (dict(zip(columns, cells, strict=True)) for cells in zip(*columns.values(), strict=True))
    return [_hover(row, bool(fits)) for row, fits in zip(rows, shown, strict=True)]


def _hover(row: dict, inside: bool) -> str:
    name = row.get("swatch", row.get("sample", ""))
    lines = [f"<b>{escape(name)}</b>"]
    for column in ("recipe", "label"):
        if isinstance(row.get(column), str) and row[column]:
            lines.append(escape(row[column], 140))
            break
    lines.append(f"L* {row['L']:.1f}   a* {row['a']:.1f}   b* {row['b']:.1f}".replace("-", "−"))
    if {"u_L", "u_a", "u_b"} <= set(row) and pd.notna(row["u_L"]):
        unsure = {name: f"{row[f'u_{name}']:.1f}" for name in "Lab"}
        lines.append(words.say("axes.unsure", **unsure))
    lines.append(f"{escape(row['illuminant'])}/{int(row['observer'])}°")
    if not inside:
        lines.append(words.say("axes.outside"))
    return "<br>".join(lines)


def points(lab: pd.DataFrame, **more: Any) -> go.Scatter:
    """`marks` as a Plotly trace."""
    return go.Scatter(**marks(lab, **more))


def marks(
    lab: pd.DataFrame,
    *,
    x: str = "a",
    y: str = "b",
    name: str = "",
    shape: str | Sequence[str] = "circle",
    size: float = 15,
    **trace: Any,
) -> dict[str, Any]:
    """Swatches as marks filled with their own colour, a plain Plotly scatter trace.

    A mark that a screen can't show truly carries a cross inside (``…-x``), where its shape has
    one, and says so when hovered.
    """
    ready = lab if {"fill", "inside", "hover"} <= set(lab) else with_screen_colours(lab)
    fills, inside = ready["fill"], ready["inside"]
    wanted = [shape] * len(lab) if isinstance(shape, str) else list(shape)
    symbols = [s if ok else cross_mark(s) for s, ok in zip(wanted, inside, strict=True)]
    marker = {"symbol": symbols, "size": size, "color": list(fills)}
    return {
        "type": "scatter",
        **{"x": list(lab[x]), "y": list(lab[y]), "name": escape(name), "mode": "markers"},
        "marker": {**marker, "line": {"width": 1.5, "color": INK}},
        "text": list(ready["hover"]),
        "hovertemplate": "%{text}<extra></extra>",
        **trace,
    }


def cross_mark(symbol: str) -> str:
    """The shape of a mark that a screen can't show truly."""
    return f"{symbol}-x" if symbol in ("circle", "square", "diamond") else f"{symbol}-open"
