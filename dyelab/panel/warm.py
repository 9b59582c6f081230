"""What a kernel that waits for a page does meanwhile: import every panel, pack the drawings'
program, open the session's book and, where no page has come by then, learn from it for the
explorer. It is loaded as an extension of the kernel's shell.
"""

import pkgutil
from contextlib import suppress
from importlib import import_module
from typing import Any

from tornado.ioloop import IOLoop

from dyelab import panel
from dyelab.panel import book_choice
from dyelab.panel.explore import bench

_QUIET = 0.5  # seconds without a page before more than a second of work is begun


def load_ipython_extension(shell: Any) -> None:
    """Do what every page would do before its first answer."""
    for found in pkgutil.iter_modules(panel.__path__):
        import_module(f"dyelab.panel.{found.name}")
    for drawn_with in ("plotly.io", "typst"):  # else imported by the first figure, the first page
        import_module(drawn_with)
    import_module("dyelab.panel.widgets")._plotly()
    with suppress(Exception):  # a panel says what is wrong with a book
        book = book_choice.open_book(book_choice.first())
        book_choice.source(book)
        taken: list[bool] = []
        shell.events.register("pre_execute", lambda: taken.append(True))
        IOLoop.current().call_later(_QUIET, lambda: None if taken else _learn(book))


def _learn(book: book_choice.Book) -> None:
    with suppress(Exception):
        _ = book_choice.source(book).last_additions
    with suppress(Exception):  # fewer recipes than a model takes
        bench.learn(book)
