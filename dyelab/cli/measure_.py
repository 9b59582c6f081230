"""``dyelab measure``: colours from photos of a swatch card."""

import os
from concurrent.futures import ProcessPoolExecutor
from contextlib import nullcontext
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import click

from dyelab import files
from dyelab.errors import InputError

_PATH: Any = click.Path(path_type=Path)


@click.command("measure")
@click.argument("photos", metavar="PHOTO...", nargs=-1, required=True, type=_PATH)
@click.option(
    "--target",
    metavar="REF",
    required=True,
    help="Values of the 24-patch target: a measurement file, a published average (average, "
    "before-2014, after-2014), or white to go by the card's paper alone.",
)
@click.option("--card", metavar="CARD.json", type=_PATH, help="Layout of the card.")
@click.option(
    "--add",
    metavar="SWATCHES.csv",
    type=_PATH,
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
@click.option("--illuminant", default="D65", show_default=True, help="CIE illuminant wanted.")
@click.option(
    "--observer",
    type=click.Choice(["2", "10"]),
    default="10",
    show_default=True,
    help="Standard observer wanted, in degrees.",
)
@click.option("--keep", metavar="FILE.json", type=_PATH, help="Keep the first photo's calibration.")
@click.option(
    "--calibration", metavar="FILE.json", type=_PATH, help="Use a calibration kept before."
)
@click.option("--overlay", metavar="DIR", type=_PATH, help="Pictures of what was measured.")
@click.option(
    "--shared", metavar="SHARED.csv", type=_PATH, help="The error that windows of a photo share."
)
@click.option("--skip-bad", is_flag=True, help="Leave out refused photos, naming each.")
@click.option(
    "-j", "--jobs", type=click.IntRange(1), help="Processes; by default one a processor core."
)
@click.option("-o", "--out", metavar="OUT.csv", required=True, type=_PATH, help="Table to write.")
def command(
    photos: tuple[Path, ...], target: str, card: Path | None, out: Path, **options: Any
) -> None:
    """Colours of the windows in each PHOTO of a swatch card, with their uncertainty.

    Everything is CIELAB under the illuminant and for the observer you ask for; colours that go
    into one table or book need one white.
    """
    from tqdm import tqdm

    from dyelab import calibrate, measure
    from dyelab.card import read_layout

    options["white"] = (options.pop("illuminant"), int(options.pop("observer")))
    _check_keep(target, options)
    kept = options["calibration"]
    layout = None if card is None else read_layout(card)
    stored = None if kept is None else calibrate.read_calibration(kept)
    with (
        _pool(len(photos), options["jobs"]) as executor,
        tqdm(total=len(photos), unit="photo", disable=len(photos) < 2, leave=False) as bar,
    ):
        result = measure.photos(
            photos,
            None if target == "white" else target,
            layout=layout,
            add=options["add"],
            method=options["method"],
            stored=stored,
            overlays=options["overlay"],
            executor=executor,
            progress=lambda done, _all: bar.update(done - bar.n),
            skip_bad=options["skip_bad"],
            white=options["white"],
        )
    if options["keep"] is not None:
        _keep(photos[0], target, layout, options)
    _write(result.table, out)
    if options["shared"] is not None:
        _write(result.shared, options["shared"])
    _tell(result, out)
    for name, places in measure.worth_reading(result.table, options["worth_reading"] or 0).items():
        if places:
            click.echo(f"{name}: worth reading by instrument: {', '.join(places)}")


def _pool(count: int, jobs: int | None) -> Any:
    workers = min(jobs or os.cpu_count() or 1, count)
    if workers < 2:
        return nullcontext()
    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"))


def _keep(photo: Path, target: str, layout: Any, options: dict[str, Any]) -> None:
    from dyelab import calibrate, measure

    made = measure.calibration(
        photo, target, layout=layout, add=options["add"], method=options["method"],
        white=options["white"],
    )  # fmt: skip
    calibrate.write_calibration(made, options["keep"])
    click.echo(f"{options['keep']}: the calibration of {photo.name}")


def _check_keep(target: str, options: dict[str, Any]) -> None:
    if options["keep"] is None:
        return
    if target == "white":
        raise InputError("--keep needs the target in the picture. Give its values with --target.")
    if options["calibration"] is not None:
        raise InputError(
            "--keep makes a new calibration and --calibration uses an old one: give one of the two."
        )


def _write(table: Any, path: Path) -> None:
    text = table.copy()
    for name in ("photo", "reading", "source"):
        if name in text:
            text[name] = text[name].map(files.plain)
    with files.whole(path) as file:
        text.to_csv(file, index=False, lineterminator="\n")


def _tell(result: Any, out: Path) -> None:
    for message in result.faults.values():
        click.echo(f"left out: {message}", err=True)
    flagged = int((result.table["flags"] != "").sum())
    count = result.table["photo"].nunique()
    click.echo(
        f"{out}: {len(result.table)} windows of {count} photo{'s' if count != 1 else ''}"
        + (f", {flagged} flagged" if flagged else "")
    )
