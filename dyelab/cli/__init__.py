"""The commands. Each lives in a module of its own and is loaded only when called."""

import sys
from importlib import import_module

import click

from dyelab.errors import InputError

COMMANDS = {
    "card": "Print the card that swatches are photographed on.",
    "check": "List every fault in a swatch book.",
    "compare": "Differences between swatches, with grades.",
    "convert": "Turn measurement files into CIELAB.",
    "demo": "Run the whole job on the shipped example.",
    "measure": "Colours from photos of a swatch card.",
    "open": "Open the notebooks on a swatch book.",
    "report": "Write the printed report of a swatch book.",
}


class _Commands(click.Group):
    """A group that imports a command's module only when that command is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        return import_module(f"dyelab.cli.{name}_").command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(sorted(COMMANDS.items()))


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="dyelab")
def dyelab() -> None:
    """What a mordant does to a natural dye, in measured colour."""


def main() -> None:
    """Run a command; refusals and disk trouble are one message on stderr and exit code 1."""
    try:
        dyelab()
    except InputError as error:
        click.echo(f"dyelab: {error}", err=True)
        sys.exit(1)
    except OSError as error:
        if not error.filename:
            raise
        place = f"dyelab: {error.filename}: {error.strerror}."
        click.echo(f"{place} Check the folder, its permissions and its free space.", err=True)
        sys.exit(1)
