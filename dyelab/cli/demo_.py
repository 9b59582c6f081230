"""``dyelab demo``: the whole job on the shipped example, from instrument files to a page."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dyelab import words
from dyelab.cli import lines
from dyelab.cli.fresh import fresh

if TYPE_CHECKING:
    from dyelab.book import Book
    from dyelab.handout.findings import Findings

DOSE = 2.0  # % WOF of ferrous sulfate, where the example has replicates and every control
BOOK, METALS, HELD, PAGE = "book", "metals.csv", "fastness.csv", "what_iron_did.pdf"
_MOVED = ["dL", "da", "db", "dC", "dH", "dE76", "dE00", "dE00_low", "dE00_high", "dECMC"]
TOLD = {
    METALS: [
        *("metal", "dose", "dye", "cloth", "reference", "sample", *_MOVED, "noise_floor"),
        *("pieces", "verdict", "moved", "illuminant", "observer"),
    ],
    HELD: [
        *("swatch", "dye", "fibre", "tannin", "mordant", "iron_wof", "copper_wof", "exposure"),
        *("amount", "unit", *_MOVED, "value", "grade", "grade_worst", "grade_best", "moved"),
        *("illuminant", "observer"),
    ],
}


@click.command("demo")
@click.option(
    "--to",
    "folder",
    metavar="DIR",
    type=click.Path(path_type=Path),
    default=Path("dyelab-demo"),
    show_default=True,
    help="Folder to make; never one that holds other things.",
)
def command(folder: Path) -> None:
    """Run the whole job on the shipped example.

    Instrument files of an invented studio become a swatch book; then what iron did, where the
    tannin did it, how it held in the wash and the light, and a page to hand out.
    """
    with fresh(folder) as made:
        bk, found = _job(made)
    for line in _summary(bk, found, folder):
        click.echo(line)


def _job(folder: Path) -> "tuple[Book, Findings]":
    from tqdm import tqdm

    with tqdm(total=4, bar_format="{percentage:3.0f} % {bar:20} {desc}", leave=False) as bar:

        def step(key: str) -> None:
            bar.set_description_str(words.say(f"demo.{key}"))

        step("reading")
        from dyelab import book, synth
        from dyelab.handout import findings, pdf

        bk = synth.write_book(synth.sources(), folder / BOOK)
        bar.update()
        step("comparing")
        found = findings.find(book.wide(bk), spectra=bk.spectra, shared=bk.shared, dose=DOSE)
        bar.update()
        step("writing")
        _write(found, folder)
        bar.update()
        step("page")
        title = words.say("demo.page_title", dose=f"{DOSE:g} %")
        note = words.say("demo.page_note")
        pdf(findings.page(found, title, note=note), folder / PAGE)
        bar.update()
    return bk, found


def _write(found: "Findings", folder: Path) -> None:
    from dyelab import files

    for name, frame in ((METALS, found.metals), (HELD, found.held)):
        with files.whole(folder / name) as file:
            frame[TOLD[name]].to_csv(file, index=False, lineterminator="\n", float_format="%.6g")


def _summary(bk: "Book", found: "Findings", folder: Path) -> Iterator[str]:
    yield lines.sentence(words.say("demo.invented"))
    counted = words.say(
        "demo.counted",
        swatches=len(bk.swatches),
        readings=len(bk.readings),
        files=", ".join(bk.readings["source"].unique()),
    )
    yield lines.sentence(counted)
    for part in (
        _metal(found, "iron"),
        _metal(found, "copper"),
        _quick_answer(found),
        _held(found),
        _files(folder),
    ):
        yield ""
        yield from part


def _metal(found: "Findings", metal: str) -> Iterator[str]:
    from dyelab.handout import findings, variants

    yield words.say(f"demo.{metal}", dose=variants.dose(DOSE))
    rows = [findings.rounded(row) for row in found.plain(metal).to_dict("records")]
    yield from lines.columns(
        [
            [
                words.say("demo.cloth", **row),
                words.say("demo.distance", **row),
                str(row["verdict"]),
                str(row["moved"]),
            ]
            for row in rows
        ]
    )


def _quick_answer(found: "Findings") -> Iterator[str]:
    from dyelab.handout import findings

    yield words.say("demo.tannin")
    yield from (lines.sentence(line, indent=2) for line in findings.quick_answer(found))


def _held(found: "Findings") -> Iterator[str]:
    from dyelab.handout import findings

    graded = findings.grades(found)
    heads = ["", "", *(words.heading(name) for name in graded.columns[2:])]
    yield words.say("demo.held")
    yield from lines.columns([heads, *graded.fillna("").to_numpy().tolist()])
    yield lines.sentence(words.say("findings.screening"))


def _files(folder: Path) -> Iterator[str]:
    yield words.say("demo.files", folder=folder)
    yield from lines.columns(
        [
            [f"{BOOK}/", words.say("demo.file_book", path=folder / BOOK)],
            [METALS, words.say("demo.file_metals")],
            [HELD, words.say("demo.file_held")],
            [PAGE, words.say("demo.file_page")],
        ]
    )
