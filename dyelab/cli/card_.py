"""``dyelab card``: the printable card that swatches are photographed on."""

from pathlib import Path

import click

from dyelab import card
from dyelab.cli import options
from dyelab.errors import InputError


@click.command("card")
@options.path(
    "-o", "--out", metavar="CARD.pdf", required=True, help="The page to print, at any scale."
)
@options.path(
    "--layout",
    "layout_file",
    metavar="CARD.json",
    help="Also write where everything is on it, in mm.",
)
@click.option(
    "--paper", type=click.Choice(list(card.PAPERS)), default="A4", show_default=True, help="Paper."
)
@click.option(
    "--kind",
    type=click.Choice(list(card.KINDS)),
    default="cloth",
    show_default=True,
    help="24 windows for cloth, 8 large ones, or 16 slots for yarn wound on card.",
)
def command(out: Path, layout_file: Path | None, paper: str, kind: str) -> None:
    """Write the card as a PDF. Print it on matt paper, mount swatches, photograph the whole."""
    if out.suffix.lower() != ".pdf":
        raise InputError(f"{out}: a card is written as .pdf. Name the file so.")
    chosen = card.layout(paper, kind)
    card.pdf(chosen, out)
    click.echo(f"{out}: card {chosen.name}, {len(chosen.windows)} windows")
    if layout_file:
        card.write_layout(chosen, layout_file)
        click.echo(f"{layout_file}: its layout, for dyelab measure --card")
