"""``dyelab demo``: the whole job on the shipped example, from instrument files to a page."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
import pandas as pd

from dyelab import compare, files, grade, shift, synth, table, words
from dyelab.book import Book
from dyelab.cli import options
from dyelab.cli.terminal_text import columns, sentence
from dyelab.cli.whole_folder import fresh
from dyelab.handout import colours, fastness_texts, page, pdf
from dyelab.handout.metal_texts import answer_text
from dyelab.handout.sheets import metal as metal_page

DOSE = 2.0  # % WOF of ferrous sulfate, where the example has replicates and every control
# The example's best replicated cloth on a tannin, with its controls.
CASE = {"fibre": "cotton", "dye": "weld", "tannin": "pomegranate rind"}
CASE |= {"mordant": "aluminium acetate"}
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


@dataclass(frozen=True)
class Answers:
    """What the example says: its recipes, every pair of its metals, its grades of change."""

    source: colours.Source
    metals: pd.DataFrame
    held: pd.DataFrame


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


def _job(folder: Path) -> tuple[Book, pd.DataFrame, Answers]:
    with _progress(5) as step:
        step("reading")
        bk = synth.write_book(synth.sources(), folder / BOOK)
        step("comparing")
        found = find(bk)
        step("photo")
        bk, agreed = _photograph(bk, synth.sources() / "photos", folder / OVERLAYS)
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


def _photograph(bk: Book, batch: Path, overlays: Path) -> tuple[Book, pd.DataFrame]:
    """Put the photographed batch into the book, and hold it against the instrument."""
    bk = synth.add_photographed(bk, batch, overlays=overlays)
    read = bk.readings[bk.readings["method"] == "photo"]
    return bk, synth.agreement(read, synth.by_instrument(batch))


def find(bk: Book) -> Answers:
    """Ask a book what its metals did, and how its colours held."""
    source = colours.source(bk)
    pairs = [source.pairs(metal).assign(metal=metal) for metal in shift.metals_of(source.made)]
    white = dict(zip(table.WHITE, source.white, strict=True))
    graded = grade.grades(grade.pair(source.wide), shared=source.shared)
    held = graded[(graded["kind"] == "change") & graded["exposure"].isin(["wash", "light"])]
    return Answers(source, pd.concat(pairs, ignore_index=True).assign(**white), held)


def _page(found: Answers, folder: Path) -> None:
    own = page.Header(note=words.say("demo.page_note"))
    pdf(metal_page.sheet(found.source, own, metal="iron", **CASE), folder / PAGE)


def _write(found: Answers, folder: Path) -> None:
    for name, frame in ((METALS, found.metals), (HELD, found.held)):
        files.write_table(frame[TOLD[name]], folder / name, "%.6g")


def _summary(bk: Book, agreed: pd.DataFrame, found: Answers, folder: Path) -> Iterator[str]:
    yield sentence(words.say("demo.invented"))
    yield from _count(bk)
    told = _metal(found, "iron"), _metal(found, "copper"), _quick_answer(found), _say_held(found)
    for part in (_by_phone(agreed), *told, _files(folder)):
        yield ""
        yield from part


def _count(bk: Book) -> Iterator[str]:
    spectral = bk.readings.loc[bk.readings["method"] == "spectral", "source"].unique()
    told = {"swatches": len(bk.swatches), "readings": len(bk.readings)}
    yield sentence(words.say("demo.counted", files=", ".join(spectral), **told))


def _by_phone(agreed: pd.DataFrame) -> Iterator[str]:
    told = {"count": len(agreed), "inside": int(agreed["inside"].sum())}
    ends = {"middle": f"{agreed['dE00'].median():.1f}", "most": f"{agreed['dE00'].max():.1f}"}
    yield sentence(words.say("demo.by_phone", **told, **ends))


def _metal(found: Answers, metal: str) -> Iterator[str]:
    yield words.say(f"demo.{metal}", dose=colours.dose(DOSE))
    pairs = found.metals[(found.metals["metal"] == metal) & (found.metals["dose"] == DOSE)]
    plain = pairs[(pairs["dye"] != "none") & (pairs["tannin"] == "none")]
    lines = []
    for row in plain.sort_values("dE00", ascending=False, kind="stable").to_dict("records"):
        moved = words.number_span(row, "dE00", 1)
        said = words.say("demo.cloth", **row), moved, compare.in_words(row), str(row["moved"])
        lines.append(list(said))
    yield from columns(lines)


def _quick_answer(found: Answers) -> Iterator[str]:
    """What iron seems to do to a dye on tannin, and how much of it is the tannin's own."""
    source = found.source
    one = shift.family(source.recipes, source.moves, metal="iron", **CASE)
    given: Any = {"hold": one.picked, "spectra": source.book.spectra, "dose": DOSE}
    split = shift.separate(source.recipes, "iron", **given)
    yield words.say("demo.tannin")
    yield sentence(answer_text(one, shift.doses_of(iron=DOSE)), indent=2)
    yield sentence(split.sentence, indent=2)


def _say_held(found: Answers) -> Iterator[str]:
    graded = grades(found)
    heads = [words.heading(name) for name in graded.columns]
    yield words.say("demo.held")
    yield from columns([heads, *graded.fillna("").to_numpy().tolist()])
    yield sentence(words.say("demo.screening"))


def grades(found: Answers) -> pd.DataFrame:
    """Grades of mordanted wool, plain and with each metal, and the blue wool that fades alike."""
    most = found.source.change_grades
    metals = most[list(shift.METALS.values())].isin([0, DOSE]).all(axis=1)
    worn = most[metals & (most["fibre"] == "wool")]
    worn = worn[(worn["mordant"] != "none") & (worn["dye"] != "none")]
    beside = grade.nearest_reference(found.held)
    rows = beside[beside["best"]].to_dict("records")
    like = {row["swatch"]: words.number_span(row, "reference", 1) for row in rows}
    lit = worn[worn["exposure"] == "light"].sort_values("value", kind="stable")
    lit = lit.assign(cloth=shift.recipe_names).drop_duplicates("cloth").set_index("cloth")["swatch"]
    shown = fastness_texts.by_recipe(worn)
    return shown.assign(fades_like=shown["cloth"].map(lit).map(like))


def _files(folder: Path) -> Iterator[str]:
    yield words.say("demo.files", folder=folder)
    listed = {"overlays": f"{OVERLAYS}/", "metals": METALS, "held": HELD, "page": PAGE}
    first = [f"{BOOK}/", words.say("demo.file_book", path=folder / BOOK)]
    yield from columns([first, *([n, words.say(f"demo.file_{k}")] for k, n in listed.items())])
