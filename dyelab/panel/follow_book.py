"""The panels on show in one notebook: when one opens or saves a book, the others follow."""

import weakref
from pathlib import Path
from typing import Any

_on_show: weakref.WeakSet[Any] = weakref.WeakSet()


def join(panel: Any) -> None:
    """Count a panel among those that a user sees."""
    _on_show.add(panel)


def tell(panel: Any, path: Path) -> None:
    """Let every other panel on show turn to this book, if `panel` is itself on show."""
    if panel not in _on_show:
        return
    for other in list(_on_show):
        if other is not panel and other.comm is not None:  # a closed one has no comm
            other.follow(path)
