"""Options that several commands have, said once."""

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import click

from dyelab.errors import InputError

PATH: Any = click.Path(path_type=Path)


def path(*names: str, **told: Any) -> Callable:
    """Give a command an option that takes a path."""
    return click.option(*names, type=PATH, **told)


def keep_sources(out: Path | str | None, sources: Iterable[Path | str | None]) -> None:
    """Refuse to write over what is read."""
    read = {Path(source).resolve() for source in sources if source}
    if out is not None and Path(out).resolve() in read:
        raise InputError(
            f"{out} is one of the files that are read: writing there would destroy it. Give "
            "another name."
        )


def own_book(path: Path | str) -> Any:
    """Open a book to add to; the example that comes along stays as it is."""
    from dyelab import book, files

    if Path(path).resolve() == files.shipped_path("data", "marlpit_yard").resolve():
        raise InputError(f"{path}: the example stays as it is. Copy it, and add to the copy.")
    return book.open(path)


def treatment(what: str) -> Callable:
    """Give a command what had happened to the cloth: --exposure, --amount and --unit."""
    counted = "With --into: what that is counted in, such as cycle or lx h."
    options = [
        click.option("--exposure", default="none", show_default=True, help=f"With --into: {what}"),
        click.option("--amount", type=float, help="With --into: how much of it."),
        click.option("--unit", default="", help=counted),
    ]

    def given(command: Callable) -> Callable:
        for option in reversed(options):
            command = option(command)
        return command

    return given
