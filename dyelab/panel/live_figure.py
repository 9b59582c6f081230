"""A Plotly figure in a panel: redrawn from one message, and able to send its picture back."""

import base64
import gzip
import json
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import anywidget
import plotly.graph_objects as go
import traitlets
from plotly.offline import get_plotlyjs

_HERE = Path(__file__).parent


@cache
def _plotly() -> bytes:
    """Plotly's program, packed: under what a notebook server lets through in one message."""
    return gzip.compress(get_plotlyjs().encode(), 6)


class Canvas(anywidget.AnyWidget):
    """Shows one figure at a time; a screen reader reads `description` in its place.

    Plotly is sent when a page first has something to draw. Sent along with the widget it would
    have to be read within the two seconds that a widget is given to start, and on a busy machine
    the figure was then never shown.
    """

    _esm = (_HERE / "canvas.js").read_text(encoding="utf-8")
    figure = traitlets.Unicode("").tag(sync=True)
    description = traitlets.Unicode("").tag(sync=True)

    def __init__(self, **traits: Any) -> None:
        self._waiting: Callable[[bytes], None] | None = None
        self.moved: Callable[[dict[str, Any]], None] | None = None
        self.pointed: Callable[[float, float], None] | None = None
        super().__init__(**traits)
        self.on_msg(self._received)

    def show(self, figure: go.Figure | dict[str, Any] | None, description: str) -> None:
        """Draw a figure, or nothing."""
        with self.hold_sync():
            self.description = description
            self.figure = "" if figure is None else _text(figure)

    def picture(self, form: str, then: Callable[[bytes], None], width: int, height: int) -> None:
        """Ask the browser for the figure as ``svg`` or ``png``; `then` gets the bytes."""
        self._waiting = then
        ask = {"kind": "picture", "name": form, "format": form, "width": width, "height": height}
        self.send(ask)

    def _received(self, _widget: Any, content: dict, _buffers: Any) -> None:
        if content.get("kind") == "program":
            self.send({"kind": "program"}, [_plotly()])
        if content.get("kind") == "moved" and self.moved is not None:
            self.moved(content.get("change", {}))
        if content.get("kind") == "pointed" and self.pointed is not None:
            self.pointed(float(content["x"]), float(content["y"]))
        if content.get("kind") != "picture" or self._waiting is None:
            return
        waiting, self._waiting = self._waiting, None
        if "url" in content:
            waiting(_decoded(content["url"]))


def _text(figure: go.Figure | dict[str, Any]) -> str:
    return json.dumps(figure) if isinstance(figure, dict) else str(figure.to_json())


def _decoded(url: str) -> bytes:
    """Bytes of a data address such as ``data:image/svg+xml,…``."""
    from urllib.parse import unquote_to_bytes

    head, _, body = url.partition(",")
    return base64.b64decode(body) if head.endswith(";base64") else unquote_to_bytes(body)
