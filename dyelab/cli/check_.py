"""``dyelab check``: every fault in a swatch book, a line each."""

import sys
from pathlib import Path

import click

from dyelab import book, words
from dyelab.cli import options
from dyelab.errors import InputError


@click.command("check")
@click.argument("folders", metavar="BOOK...", nargs=-1, required=True, type=options.PATH)
def command(folders: tuple[Path, ...]) -> None:
    """List every fault in the swatch books BOOK, a line each.

    Ends with exit code 0 when there is none, 1 when there are some. The count goes to standard
    error, so that the lines can be piped on, and so does what is valid but looks like a slip.
    With several books, each line begins with its book.
    """
    counts = [_check(folder, several=len(folders) > 1) for folder in folders]
    sys.exit(1 if any(counts) else 0)


def _check(folder: Path, *, several: bool) -> int:
    """Print one book's faults; a book that can't be opened is a fault of its own."""
    try:
        texts = list(book.check(folder)["text"])
        slips = list(book.suspicions(book.open(folder))["text"])
    except InputError as error:
        if not several:
            raise
        texts, slips = [str(error)], []
    for text in texts:
        click.echo(f"{folder}: " * several + " ".join(text.split()))
    for text in slips:
        said = words.say("suspicions.listed", text=" ".join(text.split()))
        click.echo(f"{folder}: " * several + said, err=True)
    many = f"{len(texts)} fault{'s' * (len(texts) != 1)}" if texts else "no faults"
    click.echo(f"{folder.name}: {many}.", err=True)
    return len(texts)
