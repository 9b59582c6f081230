"""Paths that somebody types into a panel; served panels read below the desk and the book alone."""

import os
from pathlib import Path

from dyelab import files, words
from dyelab.errors import InputError


def typed(text: str) -> Path:
    """Return the path that was typed.

    Raises
    ------
    InputError
        In the served panels, if it leads out of the desk folder, the book and the example. In
        JupyterLab whoever types can read every file anyway.
    """
    path = Path(text.strip().strip("\"'")).expanduser()
    desk = os.environ.get("DYELAB_DESK")
    if desk:
        roots: list[str | Path] = [
            desk,
            os.environ.get("DYELAB_BOOK") or desk,
            files.shipped("data"),
        ]
        try:
            inside = any(path.resolve().is_relative_to(Path(root).resolve()) for root in roots)
        except (OSError, RuntimeError, ValueError):
            inside = False
        if not inside:
            raise InputError(words.say("frame.outside_desk", desk=Path(desk).name))
    return path
