"""``dyelab check``: every fault in a swatch book, a line each."""

import sys
from pathlib import Path

import click


@click.command("check")
@click.argument("book_folder", metavar="BOOK", type=click.Path(path_type=Path))
def command(book_folder: Path) -> None:
    """List every fault in the swatch book BOOK, a line each.

    Ends with exit code 0 when there is none, 1 when there are some. The count goes to standard
    error, so that the lines can be piped on.
    """
    from dyelab import book

    faults = book.check(book_folder)
    for text in faults["text"]:
        click.echo(" ".join(text.split()))
    many = f"{len(faults)} fault{'s' * (len(faults) != 1)}" if len(faults) else "no faults"
    click.echo(f"{book_folder.name}: {many}.", err=True)
    sys.exit(1 if len(faults) else 0)
