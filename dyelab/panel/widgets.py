"""Our own widgets: a figure, a list with tick boxes, and the dress of the panel they sit in."""

import base64
import gzip
import json
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import unquote_to_bytes

import anywidget
import ipywidgets
import plotly.graph_objects as go
import traitlets
from plotly.offline import get_plotlyjs

from dyelab import words

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
        self.on_msg(lambda _widget, said, _buffers: self.receive(said))

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

    def receive(self, content: dict[str, Any]) -> None:
        """Take what the browser says, by its `kind`."""
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
            waiting(_decode(content["url"]))


def _text(figure: go.Figure | dict[str, Any]) -> str:
    return json.dumps(figure) if isinstance(figure, dict) else str(figure.to_json())


def _decode(url: str) -> bytes:
    """Bytes of a data address such as ``data:image/svg+xml,…``."""
    head, _, body = url.partition(",")
    return base64.b64decode(body) if head.endswith(";base64") else unquote_to_bytes(body)


class TickList(anywidget.AnyWidget):
    """A list with tick boxes; `value` is a tuple, in the list's order.

    Options are values or (label, value) pairs; new ones keep nothing ticked.
    """

    _esm = (_HERE / "ticks.js").read_text(encoding="utf-8")
    description = traitlets.Unicode("").tag(sync=True)
    narrow = traitlets.Unicode("").tag(sync=True)
    labels: traitlets.List = traitlets.List().tag(sync=True)
    chosen: traitlets.List = traitlets.List().tag(sync=True)
    rows = traitlets.Int(5).tag(sync=True)
    tooltip = traitlets.Unicode("", allow_none=True)
    options = traitlets.Any(())
    value = traitlets.Tuple()

    def __init__(self, options: Any = (), value: Any = (), **more: Any) -> None:
        super().__init__(narrow=words.say("frame.narrow"), **more)
        self.options = tuple(options)
        self.value = tuple(value)

    @property
    def values(self) -> list[Any]:
        """What can be chosen, without labels."""
        return [one[1] if isinstance(one, tuple) else one for one in self.options]

    @traitlets.validate("options")
    def _held(self, proposal: Any) -> tuple[Any, ...]:
        return tuple(proposal["value"])

    @traitlets.observe("options")
    def _offered(self, _change: Any) -> None:
        self.value = ()
        self.labels = [str(one[0] if isinstance(one, tuple) else one) for one in self.options]

    @traitlets.validate("value")
    def _known(self, proposal: Any) -> tuple[Any, ...]:
        unknown = [one for one in proposal["value"] if one not in self.values]
        if unknown:
            raise traitlets.TraitError(f"not on the list: {unknown}")
        return tuple(one for one in self.values if one in proposal["value"])

    @traitlets.observe("value")
    def _shown(self, change: Any) -> None:
        self.chosen = [i for i, one in enumerate(self.values) if one in change["new"]]

    @traitlets.observe("chosen")
    def _ticked(self, change: Any) -> None:
        values = self.values
        self.value = tuple(values[i] for i in change["new"] if 0 <= i < len(values))


class Number(ipywidgets.FloatText):
    """A typed number. What lies outside its limits stays as it was typed, and is refused."""

    low, high, step = traitlets.Float(0.0), traitlets.Float(), traitlets.Float(1.0).tag(sync=True)
    whole = traitlets.Bool(False)

    def refusal(self, value: float) -> str:
        """Why a value can't stand, in words; blank for one that can."""
        numbers = {"value": value, "low": self.low, "high": self.high}
        told = {"name": self.description, **{key: f"{n:.10g}" for key, n in numbers.items()}}
        if not self.low <= value <= self.high:
            return words.say("frame.out_of_range", **told)
        return words.say("frame.not_whole", **told) if self.whole and value % 1 else ""


_SAID_BY_THE_BROWSER = ("big", "typed", "past_slider", "ended", "run_again", "server_gone")


class Dress(anywidget.AnyWidget):
    """Invisible; dresses the panel it sits in, and calls `seen` when it is looked at again."""

    _esm = (_HERE / "dress.js").read_text(encoding="utf-8")
    _css = (_HERE / "frame.css").read_text(encoding="utf-8")
    title = traitlets.Unicode("").tag(sync=True)
    name = traitlets.Unicode("").tag(sync=True)
    texts = traitlets.Dict().tag(sync=True)

    def __init__(self, seen: Callable[[], None], **traits: Any) -> None:
        texts = {name: words.say(f"frame.{name}") for name in _SAID_BY_THE_BROWSER}
        super().__init__(texts=texts, **traits)
        self._seen = seen
        self.on_msg(lambda _widget, said, _buffers: self.receive(said))

    def receive(self, content: dict[str, Any]) -> None:
        """Take what the browser says, by its `kind`."""
        if content.get("kind") == "seen":
            self._seen()
