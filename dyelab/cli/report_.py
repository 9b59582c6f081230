"""``dyelab report``: the printed report of a swatch book."""

from pathlib import Path

import click

from dyelab import book, handout, words
from dyelab.cli import options
from dyelab.handout import colours, page
from dyelab.handout.sheets import report


@click.command("report")
@click.argument("folder", metavar="BOOK", type=options.PATH)
@click.option(
    "-o",
    "--output",
    metavar="REPORT",
    required=True,
    type=click.Path(path_type=Path, dir_okay=False),
    help="File to write: .pdf or .html.",
)
@click.option("--title", default="", help="Title; else the book's own.")
@click.option("--teacher", default="", help="A line under the title.")
@click.option("--note", default="", help="A line at the foot of each sheet.")
@options.path("--logo", help="A PNG, JPEG or SVG picture.")
@click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True)
def command(
    folder: Path, output: Path, title: str, teacher: str, note: str, logo: Path | None, paper: str
) -> None:
    """Write the report of a swatch book: colours, what the metals did, how well it held."""
    from tqdm import tqdm

    handout.ending(output)
    with tqdm(total=2, bar_format="{percentage:3.0f} % {bar:20} {desc}", leave=False) as bar:
        bar.set_description_str(words.say("pages.reading"))
        bk = book.open(folder)
        own = page.Header(title, teacher, "", note, handout.logo(logo), paper)
        bar.update()
        bar.set_description_str(words.say("pages.writing"))
        handout.write(report.report(colours.source(bk), own), output)
        bar.update()
    click.echo(words.say("pages.wrote", path=output))
    if len(bk.faults):
        click.echo(words.say("pages.set_aside", count=len(bk.faults), path=folder))
