"""What a kernel that waits for a page does meanwhile: import every panel, pack the drawings'
program and open the session's book. It is loaded as an extension of the kernel's shell.
"""

import pkgutil
from contextlib import suppress
from importlib import import_module
from typing import Any

from dyelab import panel
from dyelab.panel import book_choice, remember


def load_ipython_extension(_shell: Any) -> None:
    """Do what every page would do before its first answer."""
    for found in pkgutil.iter_modules(panel.__path__):
        import_module(f"dyelab.panel.{found.name}")
    for drawn_with in ("plotly.io", "typst"):  # else imported by the first figure, the first page
        import_module(drawn_with)
    import_module("dyelab.panel.widgets")._plotly()
    with suppress(Exception):  # a panel says what is wrong with a book
        book_choice.gathered(book_choice.opened(remember.start() or book_choice.example()))
