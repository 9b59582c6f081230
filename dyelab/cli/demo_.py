"""``dyelab demo``: the whole job on the shipped example, from instrument files to a page."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import click
import pandas as pd

from dyelab import book, compare, files, synth, words
from dyelab.book import Book
from dyelab.cli import options
from dyelab.cli.terminal_text import columns, sentence
from dyelab.cli.whole_folder import fresh
from dyelab.handout import colours, findings, pdf
from dyelab.handout.findings import Findings

DOSE = 2.0  # % WOF of ferrous sulfate, where the example has replicates and every control
OVERLAYS = "overlays"
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
@options.path(
    "--to",
    "folder",
    metavar="DIR",
    default=Path("dyelab-demo"),
    show_default=True,
    help="Folder to make; never one that holds other things.",
)
def command(folder: Path) -> None:
    """Run the whole job on the shipped example.

    Instrument files and a photo of an invented studio become a swatch book; then what iron and
    copper did, where the tannin did it, how it held in the wash and the light, and a page to
    hand out.
    """
    with fresh(folder) as made:
        bk, agreed, found = _job(made)
    for line in _summary(bk, agreed, found, folder):
        click.echo(line)


def _job(folder: Path) -> tuple[Book, pd.DataFrame, Findings]:
    with _progress(5) as step:
        step("reading")
        bk = synth.write_book(synth.sources(), folder / BOOK)
        step("photo")
        bk, agreed = _photographed(bk, synth.sources() / "photos", folder / OVERLAYS)
        step("comparing")
        found = _found(bk)
        step("writing")
        _write(found, folder)
        step("page")
        _page(found, folder)
    return bk, agreed, found


@contextmanager
def _progress(steps: int) -> Iterator[Callable[[str], None]]:
    """Yield a function that names the step beginning and counts the one before as done."""
    from tqdm import tqdm

    with tqdm(total=steps, bar_format="{percentage:3.0f} % {bar:20} {desc}", leave=False) as bar:
        begun: list[str] = []

        def step(key: str) -> None:
            bar.update(len(begun) > bar.n)
            begun.append(key)
            bar.set_description_str(words.say(f"demo.{key}"))

        yield step


def _photographed(bk: Book, batch: Path, overlays: Path) -> tuple[Book, pd.DataFrame]:
    """Put the photographed batch into the book, and hold it against the instrument."""
    bk = synth.add_photographed(bk, batch, overlays=overlays)
    read = bk.readings[bk.readings["method"] == "photo"]
    return bk, findings.agreement(read, synth.by_instrument(batch))


def _found(bk: Book) -> Findings:
    wide = book.wide(bk)
    measured = wide[wide["method"] == "spectral"]
    return findings.find(measured, spectra=bk.spectra, shared=bk.shared, dose=DOSE)


def _page(found: Findings, folder: Path) -> None:
    title = words.say("demo.page_title", dose=f"{DOSE:g} %")
    page = findings.page(found, title, note=words.say("demo.page_note"))
    pdf(page, folder / PAGE)


def _write(found: Findings, folder: Path) -> None:
    for name, frame in ((METALS, found.metals), (HELD, found.held)):
        files.write_table(frame[TOLD[name]], folder / name, "%.6g")


def _summary(bk: Book, agreed: pd.DataFrame, found: Findings, folder: Path) -> Iterator[str]:
    yield sentence(words.say("demo.invented"))
    yield from _counted(bk)
    told = _metal(found, "iron"), _metal(found, "copper"), _quick_answer(found), _held(found)
    for part in (_by_phone(agreed), *told, _files(folder)):
        yield ""
        yield from part


def _counted(bk: Book) -> Iterator[str]:
    spectral = bk.readings.loc[bk.readings["method"] == "spectral", "source"].unique()
    told = {"swatches": len(bk.swatches), "readings": len(bk.readings)}
    yield sentence(words.say("demo.counted", files=", ".join(spectral), **told))


def _by_phone(agreed: pd.DataFrame) -> Iterator[str]:
    told = {"count": len(agreed), "inside": int(agreed["inside"].sum())}
    ends = {"middle": f"{agreed['dE00'].median():.1f}", "most": f"{agreed['dE00'].max():.1f}"}
    yield sentence(words.say("demo.by_phone", **told, **ends))


def _metal(found: Findings, metal: str) -> Iterator[str]:
    yield words.say(f"demo.{metal}", dose=colours.dose(DOSE))
    lines = []
    for row in map(findings.round_row, found.plain(metal).to_dict("records")):
        said = [words.say(f"demo.{key}", **row) for key in ("cloth", "distance")]
        lines.append([*said, compare.in_words(row), str(row["moved"])])
    yield from columns(lines)


def _quick_answer(found: Findings) -> Iterator[str]:
    yield words.say("demo.tannin")
    yield from (sentence(line, indent=2) for line in findings.quick_answer(found))


def _held(found: Findings) -> Iterator[str]:
    graded = findings.grades(found)
    heads = ["", "", *(words.heading(name) for name in graded.columns[2:])]
    yield words.say("demo.held")
    yield from columns([heads, *graded.fillna("").to_numpy().tolist()])
    yield sentence(words.say("findings.screening"))


def _files(folder: Path) -> Iterator[str]:
    yield words.say("demo.files", folder=folder)
    listed = {"overlays": f"{OVERLAYS}/", "metals": METALS, "held": HELD, "page": PAGE}
    first = [f"{BOOK}/", words.say("demo.file_book", path=folder / BOOK)]
    yield from columns([first, *([n, words.say(f"demo.file_{k}")] for k, n in listed.items())])
