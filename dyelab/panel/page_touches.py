"""Looks, labels for screen readers and keyboard helps, put on a panel once it is on the page."""

from pathlib import Path

import anywidget
import traitlets

_HERE = Path(__file__).parent


class Dress(anywidget.AnyWidget):
    """Invisible; dresses the panel it sits in."""

    _esm = (_HERE / "dress.js").read_text(encoding="utf-8")
    _css = (_HERE / "frame.css").read_text(encoding="utf-8")
    title = traitlets.Unicode("").tag(sync=True)
    big = traitlets.Unicode("").tag(sync=True)
