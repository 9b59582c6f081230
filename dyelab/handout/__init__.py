"""Handouts: a description of a page, then the page, as PDF or as one HTML file."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from dyelab.errors import InputError
from dyelab.handout.html_page import html
from dyelab.handout.page import (
    Band,
    Bands,
    Card,
    Caution,
    Chart,
    Chips,
    Clock,
    Fields,
    Frame,
    HandIn,
    Heading,
    Live,
    Logo,
    NewPage,
    NumberTable,
    Page,
    Patch,
    Points,
    Reveal,
    Text,
    TickQuestion,
    cell,
    chart,
    live,
    logo,
    logo_of,
    number_table,
    numbers,
    patches,
)
from dyelab.handout.typst_pdf import pdf, pictures


def write(page: Page, path: str | Path) -> Path:
    """Write a page as what its file name says: ``.pdf`` or ``.html``.

    Raises
    ------
    InputError
        If the name ends in neither.

    Examples
    --------
    >>> from dyelab import handout
    >>> page = handout.share_page("Madder", "Iron made it darker.")
    >>> handout.write(page, folder / "a.html").name
    'a.html'
    """
    return pdf(page, path) if ending(path) == ".pdf" else html(page, path)


def ending(path: str | Path) -> str:
    """Kind of page a file name asks for: ``.pdf`` or ``.html``.

    Raises
    ------
    InputError
        If the name ends in neither.

    Examples
    --------
    >>> from dyelab import handout
    >>> handout.ending("report.pdf")
    '.pdf'
    """
    found = Path(path).suffix.lower()
    if found not in (".pdf", ".html"):
        raise InputError(f"{path}: a page is written as .pdf or .html. Name the file so.")
    return found


def share_page(
    title: str, sentence: str, figure: Any = None, table: Any = None, notes: Sequence[str] = ()
) -> Page:
    """What a panel shows, as a page to pass on: the answer, figure, table, what limits it.

    Examples
    --------
    >>> from dyelab import handout
    >>> handout.share_page("Madder", "Iron made it darker.").title
    'Madder'
    """
    blocks: list[Any] = [Text(sentence, "lead")]
    if figure is not None:
        blocks.append(live(figure, sentence))
    if table is not None and len(table.columns):
        blocks.append(number_table(table, decimals=2))
    blocks += [Points(tuple(notes))] if notes else []
    return Page(title, tuple(blocks))
