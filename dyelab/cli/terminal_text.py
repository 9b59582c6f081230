"""Text for a terminal: sentences that break where it ends, and columns that line up."""

import shutil
import textwrap
from collections.abc import Iterator, Sequence

_WIDEST, _LEAST = 100, 24  # letters: longer lines read badly, shorter columns break words


def width() -> int:
    """Columns to fill: the terminal's, but no more than read well."""
    return min(shutil.get_terminal_size((88, 24)).columns, _WIDEST)


def sentence(text: str, indent: int = 0) -> str:
    """Break a sentence into lines, all indented alike."""
    pad = " " * indent
    return "\n".join(pad + line for line in _broken(text, width() - indent))


def columns(rows: Sequence[Sequence[str]], indent: int = 2) -> Iterator[str]:
    """Line up columns; the last one breaks within itself where the terminal ends."""
    wide = [max(map(len, column)) for column in zip(*rows, strict=True)]
    start = indent + sum(wide[:-1]) + 2 * (len(wide) - 1)
    room = max(width() - start, _LEAST)
    for row in rows:
        cells = [f"{cell:{w}}" for cell, w in zip(row[:-1], wide[:-1], strict=True)]
        last = _broken(row[-1], room)
        yield (" " * indent + "  ".join([*cells, last[0]])).rstrip()
        yield from (" " * start + more for more in last[1:])


def _broken(text: str, room: int) -> list[str]:
    """Lines of whole words; one empty line for an empty text."""
    return textwrap.wrap(text, room, break_long_words=False, break_on_hyphens=False) or [""]
