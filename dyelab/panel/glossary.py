"""What the words mean: every term of tables and figures, in a dyer's words."""

import ipywidgets as widgets

from dyelab.panel import html_parts


def panel() -> widgets.HTML:
    """Show the words and their meanings."""
    return widgets.HTML(html_parts.glossary())
