"""Panels without a browser: choose, and read what is said."""

import html

from dyelab import files

EXAMPLE = files.shipped_path("data", "marlpit_yard")


def said(panel):
    """The answer, or what stands in its place."""
    return html.unescape(panel.answer.value)


def choose(panel, **values):
    """Set choices in this order; return what is said then."""
    for name, value in values.items():
        panel.choices[name].value = value
    return panel.sentence or said(panel)
