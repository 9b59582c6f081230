"""The shares of tannin, dye and fibre in a shift, as colours and as spectra."""

from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from dyelab import words
from dyelab.plot import style

_PARTS = ("dye", "tannin", "fibre")


def split(separation: Any, *, height: int = 440) -> go.Figure:
    """What the metal added to K/S, part by part, with bands; the naive answer as their hull.

    Parameters
    ----------
    separation : shift.Separation
        With spectra.
    height : int
    """
    bands = separation.spectra
    drawn = style.figure(
        x="wavelength",
        y=words.say("shift_plot.ks_change"),
        height=height,
        legend={"traceorder": "normal"},
    )
    colours, dashes = style.colours(_PARTS), style.dashes(_PARTS)
    naive = bands[bands["part"] == "naive"]
    drawn.add_trace(
        go.Scatter(
            x=naive["wavelength"],
            y=naive["ks"],
            mode="lines",
            fill="tozeroy",
            fillcolor="rgba(128,128,128,0.14)",
            line={"color": style.INK, "width": 1},
            name=words.say("shift_plot.naive"),
        )
    )
    for part in _PARTS:
        here = bands[bands["part"] == part]
        if len(here):
            drawn.add_traces(_part_band(here, part, colours[part], dashes[part]))
    return drawn


def _part_band(here: pd.DataFrame, part: str, colour: str, dash: str) -> list[go.Scatter]:
    x = here["wavelength"]
    edge = {"mode": "lines", "line": {"width": 0}, "hoverinfo": "skip", "showlegend": False}
    tint = "rgba({},{},{},0.2)".format(*(int(colour[i : i + 2], 16) for i in (1, 3, 5)))
    return [
        go.Scatter(x=x, y=here["ks_low"], **edge),
        go.Scatter(x=x, y=here["ks_high"], fill="tonexty", fillcolor=tint, **edge),
        go.Scatter(
            x=x,
            y=here["ks"],
            mode="lines",
            line={"color": colour, "width": 2.5, "dash": dash},
            name=words.say(f"shift_plot.on_{part}"),
        ),
    ]


def spectra(
    wavelengths: np.ndarray,
    reference: np.ndarray,
    sample: np.ndarray,
    *,
    names: tuple[str, str],
    strength: bool = False,
    height: int = 400,
) -> go.Figure:
    """Two spectra with the difference shaded: reflectance, or K/S.

    Parameters
    ----------
    wavelengths, reference, sample : ndarray (k,)
        nm; reflectance factors, or K/S with `strength`.
    names : (str, str)
        Of the two cloths.
    strength : bool
        The values are K/S.
    height : int
    """
    y = words.say("shift_plot.ks") if strength else "reflectance"
    lines = [
        go.Scatter(
            x=wavelengths,
            y=values,
            mode="lines",
            name=style.plain(name),
            line={"color": style.INK, "width": 2, "dash": dash},
            fill=fill,
            fillcolor="rgba(128,128,128,0.22)",
        )
        for values, name, dash, fill in (
            (reference, names[0], "solid", None),
            (sample, names[1], "dash", "tonexty"),
        )
    ]
    return style.figure(lines, x="wavelength", y=y, height=height)
