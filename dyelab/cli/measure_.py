"""``dyelab measure``: colours from photos of a swatch card."""

import os
from concurrent.futures import ProcessPoolExecutor
from contextlib import nullcontext
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import click

from dyelab import book, calibrate, files, measure, read, words
from dyelab.book import Book
from dyelab.calibrate import Calibration
from dyelab.card import Layout, read_layout
from dyelab.cli import options as common
from dyelab.errors import InputError
from dyelab.table import BY_INSTRUMENT, DEFAULT_WHITE

Places = dict[str, dict[str, str]]  # swatch by place, by photo


@click.command("measure")
@click.argument("photos", metavar="PHOTO...", nargs=-1, required=True, type=common.PATH)
@click.option(
    "--target",
    metavar="REF",
    required=True,
    help="Values of the 24-patch target: a measurement file, a published average (average, "
    "older, newer), or white to go by the card's paper alone.",
)
@common.path("--card", metavar="CARD.json", help="Layout of the card.")
@common.path(
    "--add",
    metavar="SWATCHES.csv",
    help="Instrument readings of some of the windows: sample is the place.",
)
@click.option(
    "--worth-reading",
    metavar="N",
    type=click.IntRange(1),
    help="Name the N windows of each photo whose instrument readings would tell most about the "
    "others, given with --add.",
)
@click.option(
    "--method",
    type=click.Choice(["auto", "plain", "learned"]),
    default="auto",
    show_default=True,
    help="Fit to the patches alone, or trained on dyed cloth as this camera sees it.",
)
@click.option("--illuminant", help="CIE illuminant wanted.  [default: D65, or the book's]")
@click.option(
    "--observer",
    type=click.Choice(["2", "10"]),
    help="Standard observer wanted, in degrees.  [default: 10, or the book's]",
)
@common.path("--keep", metavar="FILE.json", help="Keep the first photo's calibration.")
@common.path("--calibration", metavar="FILE.json", help="Use a calibration kept before.")
@common.path("--overlay", metavar="DIR", help="Pictures of what was measured.")
@common.path("--shared", metavar="SHARED.csv", help="The error that windows of a photo share.")
@click.option("--skip-bad", is_flag=True, help="Leave out refused photos, naming each.")
@click.option(
    "-j", "--jobs", type=click.IntRange(1), help="Processes; by default one a processor core."
)
@common.path("-o", "--out", metavar="OUT.csv", help="Table to write.")
@common.path("--into", metavar="BOOK", help="Swatch book to add the readings to.")
@common.path(
    "--names",
    metavar="PLACES.csv",
    help="With --into: which swatch lies at which place; columns place, swatch, and photo if "
    "there are several.  [default: as the labels above the windows say]",
)
@click.option(
    "--goes-with",
    metavar="PHOTO",
    default="",
    help="With --into: an earlier photo of the book by the same phone, of the same card in the "
    "same light. Checked on the target; then changes between the two are far surer.",
)
@click.option(
    "--witnesses",
    metavar="SWATCHES",
    default="",
    help="With --goes-with: swatches that were never treated, such as W01,W13.",
)
@common.treatment("what had happened to the cloth, such as wash or light.")
def command(photos: tuple[Path, ...], out: Path | None, **options: Any) -> None:
    """Colours of the windows in each PHOTO of a swatch card, with their uncertainty.

    Everything is CIELAB under the illuminant and for the observer you ask for; colours that go
    into one table or book need one white. With --into, the windows that their labels name, or
    --names, go into a swatch book, with the photos and the error that their windows share.
    """
    read_from = [*photos, *(options[name] for name in ("add", "card", "calibration", "names"))]
    for written in (out, options["keep"], options["shared"]):
        common.keep_sources(written, (*read_from, options["target"]))
    taken = _book(options, out)
    options["white"] = _white(options, taken)
    if options["target"] == "white":
        options["target"] = None
    _check_keep(options)
    card, kept = options["card"], options["calibration"]
    options["card"] = None if card is None else read_layout(card)
    stored = None if kept is None else calibrate.read_calibration(kept)
    result = _measure(photos, stored, options)
    if options["keep"] is not None:
        _keep(photos[0], options)
    if options["shared"] is not None:
        files.write_table(result.shared, options["shared"])
    if out is not None:
        files.write_table(result.table, out)
    _tell(result, out)
    if taken is not None:
        _add(*taken, result, photos, options)
    for name, places in measure.worth_reading(result.table, options["worth_reading"] or 0).items():
        if places:
            click.echo(f"{name}: worth reading by instrument: {', '.join(places)}")


def _book(options: dict[str, Any], out: Path | None) -> tuple[Book, Places | None] | None:
    """The book to add to and which swatch lies where, read before any work is done."""
    into, names = options["into"], options["names"]
    if into is None and out is None:
        raise InputError("nowhere to put the colours. Give -o OUT.csv, --into BOOK, or both.")
    alone = [f"--{n.replace('_', '-')}" for n in ("names", "goes_with", "witnesses") if options[n]]
    if into is None and alone:
        raise InputError(f"{alone[0]} goes with --into BOOK: it says what goes into the book.")
    if options["witnesses"] and not options["goes_with"]:
        raise InputError("--witnesses goes with --goes-with: name the earlier photo they are in.")
    if options["goes_with"] and options["add"]:
        raise InputError("--add and --goes-with don't mix: one photo would be corrected, one not.")
    if into is None:
        return None
    return common.own_book(into), None if names is None else book.read_places(names)


def _white(options: dict[str, Any], taken: tuple[Book, Places | None] | None) -> tuple[str, int]:
    """The white asked for, else the book's, else the usual one."""
    usual = DEFAULT_WHITE if taken is None else taken[0].white
    observer = options["observer"]
    return options["illuminant"] or usual[0], usual[1] if observer is None else int(observer)


def _add(
    bk: Book,
    places: Places | None,
    result: measure.Result,
    photos: tuple[Path, ...],
    options: dict[str, Any],
) -> None:
    """Add each photo that was measured to the book, and save it once."""
    state = {name: options[name] for name in ("exposure", "amount", "unit")}
    grown, count = bk, 0
    for photo in photos:
        if photo.name in set(result.table["photo"]):
            if places is None:
                names = _by_labels(photo, grown, options["card"])
            else:
                names = places.get("", {}) | places.get(photo.name, {})
                if not names:
                    raise InputError(
                        f"{options['names']}: no line is for {photo.name}. Photos named there: "
                        f"{', '.join(places)}."
                    )
            made, link = _link(grown, photo, names, options) or (result, {})
            grown, rows = book.add_photo(grown, made, photo, names, **state, **link)
            count += len(rows)
    new = len(grown.swatches) - len(bk.swatches)
    book.save(grown)
    key = "cli.added_new" if new else "cli.added"
    click.echo(words.say(key, readings=count, swatches=new, path=bk.path))


def _by_labels(path: Path, bk: Book, layout: Layout | None) -> dict[str, str]:
    """Swatch of each place as the labels in the photo say."""
    picture = read.photo(path)
    pose = calibrate.find_card(picture, layout)
    told = measure.names_by_label(
        measure.read_labels(picture, pose), list(pose.layout.places), bk.swatches
    )
    read_, rest = (told[told["status"].eq(measure.READ) == so] for so in (True, False))
    unsure = [f"{r.place} ({r.status})" for r in rest.itertuples() if r.status != "none"]
    if read_.empty:
        raise InputError(
            f"{path.name}: no label above a window names a swatch of this book. Lay the plan's "
            "labels there, or give --names PLACES.csv (columns place, swatch)."
        )
    names = dict(zip(read_["place"], read_["swatch"], strict=True))
    pairs = ", ".join(f"{place} {swatch}" for place, swatch in names.items())
    click.echo(f"{path.name}: named by labels: {pairs}")
    if unsure:
        click.echo(f"{path.name}: left out, label not sure: {', '.join(unsure)}", err=True)
    return names


def _link(
    bk: Book, path: Path, names: dict[str, str], options: dict[str, Any]
) -> tuple[measure.MeasuredPhoto, dict[str, Any]] | None:
    """The photo as going with an earlier one of the book, if it does; says which."""
    if not options["goes_with"]:
        return None
    source = _source(bk, options["goes_with"])
    target = options["target"]
    reference = None if target is None else calibrate.reference(target, options["white"])
    made = measure.photo(
        read.photo(path), reference, layout=options["card"], white=options["white"],
        method=options["method"],
    )  # fmt: skip
    before, kin = measure.with_earlier(bk, source, made, path, reference)
    asked = tuple(options["witnesses"].replace(",", " ").split())
    together = kin.verdict == "together"
    joined = measure.join(before, kin, made, names, asked) if together else None
    click.echo(f"{path.name}: " + "\n".join(measure.pair_sentences(kin, joined)))
    if joined is None:
        return made, {}
    return joined.measured, {"goes_with": before.source, "witnesses": asked}


def _source(bk: Book, name: str) -> str:
    """Source of a photo of the book by its name there, or the one its file had."""
    photos = bk.photos
    found = photos[photos["photo"].eq(name.removeprefix("photos/")) | photos["original"].eq(name)]
    if len(found) != 1:
        raise InputError(
            f"--goes-with: {len(found) or 'no'} photo{'s' * (len(found) > 1)} of this book named "
            f"{name!r}. It has {', '.join(photos['original'].head(8)) or 'none'}: name one."
        )
    return f"photos/{found['photo'].iloc[0]}"


def _measure(
    photos: tuple[Path, ...], stored: Calibration | None, options: dict[str, Any]
) -> measure.Result:
    from tqdm import tqdm

    with (
        _pool(len(photos), options["jobs"]) as executor,
        tqdm(total=len(photos), unit="photo", disable=len(photos) < 2, leave=False) as bar,
    ):
        return measure.photos(
            photos,
            options["target"],
            **_how(options),
            stored=stored,
            overlays=options["overlay"],
            executor=executor,
            progress=lambda done, _all: bar.update(done - bar.n),
            skip_bad=options["skip_bad"],
        )


def _how(options: dict[str, Any]) -> dict[str, Any]:
    same = {name: options[name] for name in ("add", "method", "white")}
    return {**same, "layout": options["card"]}


def _pool(count: int, jobs: int | None) -> Any:
    workers = min(jobs or os.cpu_count() or 1, count)
    if workers < 2:
        return nullcontext()
    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"))


def _keep(photo: Path, options: dict[str, Any]) -> None:
    made = measure.calibration(photo, options["target"], **_how(options))
    calibrate.write_calibration(made, options["keep"])
    click.echo(f"{options['keep']}: the calibration of {photo.name}")


def _check_keep(options: dict[str, Any]) -> None:
    if options["keep"] is None:
        return
    if options["target"] is None:
        raise InputError("--keep needs the target in the picture. Give its values with --target.")
    if options["calibration"] is not None:
        raise InputError(
            "--keep makes a new calibration and --calibration uses an old one: give one of the two."
        )


def _tell(result: measure.Result, out: Path | None) -> None:
    for message in result.faults.values():
        click.echo(f"left out: {message}", err=True)
    told = result.table["flags"].str.replace(BY_INSTRUMENT, "").str.strip()
    flagged = int((told != "").sum())
    count = result.table["photo"].nunique()
    where = "" if out is None else f"{out}: "
    click.echo(
        f"{where}{len(result.table)} windows of {count} photo{'s' if count != 1 else ''}"
        + (f", {flagged} flagged" if flagged else "")
    )
