"""A colour to aim at: a spot in a photo of a target or the card, measured where it lies."""

import dataclasses
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from dyelab import calibrate, files, measure, read, words
from dyelab.errors import InputError
from dyelab.handout.page import cell
from dyelab.panel import frame, save
from dyelab.panel.book_choice import typed_path
from dyelab.panel.explore.bench import Bench
from dyelab.plot import style
from dyelab.table import COVARIANCE, LAB, STANDARD_UNCERTAINTIES, WHITE

WHITE_ONLY = "white"
_HEIGHT = 560  # pixels: a photo and its notes on one screen
_OF_THE_PHOTO = ("no_card", "no_target", "stored_calibration")  # in a note, or its own


@dataclasses.dataclass(frozen=True)
class Scene:
    """A photo ready to be measured anywhere.

    Attributes
    ----------
    photo : Photo
    reference : Reference or None
        Values of its target; None to go by the card's white paper alone.
    first : MeasuredPhoto
        What a first spot gave: where card and target lie, and the calibration.
    picture : bytes
        A JPEG of it, with the target's outline.
    """

    photo: read.Photo
    reference: calibrate.Reference | None
    first: measure.MeasuredPhoto
    picture: bytes


def show(bench: Bench, values: dict[str, Any], progress: Any) -> frame.Answer:
    """Measure the spot and show it in its photo."""
    scene = _scene(bench, values, progress)
    quad = _quad(scene.photo, values)
    setup = scene.first.setup
    made = measure.boxes(
        *(scene.photo, scene.reference, {"spot": quad}),
        stored=setup.calibration,
        pose=setup.pose,
        target=setup.target,
    )
    table = made.table.assign(flags=made.table["flags"].map(_own))
    row = table.iloc[0]
    bench.kept["spot"] = table[[*LAB, *WHITE, *COVARIANCE]].iloc[0]
    chip = frame.Chip.of(row, words.say("exploring.spot_chip"), _unsure(row))
    notes = [words.say("exploring.spot_move"), _rests_on(scene, row)]
    if setup.pose is None:
        notes.append(words.say("exploring.spot_no_card"))
    shown = table[[*LAB, *STANDARD_UNCERTAINTIES, "flags"]].round(2)
    figure = _draw(scene, quad)
    return frame.Answer(_tell(row), figure, shown, [chip], notes)


def text(reading: pd.Series) -> str:
    """A reading as the wanted colour's field takes it."""
    return ", ".join(f"{float(reading[name]):.1f}" for name in LAB)


def place(scene: Scene, x: float, y: float) -> dict[str, float]:
    """Where a pixel lies, as the sliders give it."""
    height, width = scene.photo.pixels.shape[:2]
    shares = {"across": 100 * x / width, "down": 100 * y / height}
    return {name: float(np.clip(round(share, 1), 0, 100)) for name, share in shares.items()}


def dragged_middle(change: dict[str, Any]) -> np.ndarray | None:
    """Middle of the spot that was dragged, in pixels."""
    paths = [value for value in change.values() if isinstance(value, str)]
    return style.corners(paths[0]).mean(axis=0) if paths else None


def _tell(row: pd.Series) -> str:
    numbers = {name: cell(row[name]) for name in LAB}
    said = words.say("exploring.spot", unsure=_unsure(row), **numbers)
    doubts = words.say("exploring.spot_flags", flags=words.flags(row["flags"]))
    return f"{said} {doubts}" if row["flags"] else said


def _rests_on(scene: Scene, row: pd.Series) -> str:
    if scene.reference is None:
        return words.say("exploring.spot_white")
    return words.say("capture.left", left=row["patch_dE00"])


def _own(flags: str) -> str:
    """What is wrong with the spot itself."""
    return " ".join(flag for flag in flags.split() if flag not in _OF_THE_PHOTO)


def _unsure(row: pd.Series) -> str:
    parts = "  ".join(f"{row[name]:.1f}" for name in STANDARD_UNCERTAINTIES)
    return words.say("exploring.spot_unsure", parts=parts)


def _scene(bench: Bench, values: dict[str, Any], progress: Any) -> Scene:
    """Read the photo and find its target, once for each photo."""
    path = _path(values)
    key = (str(path), files.stamp(path), values["target"])
    if bench.kept.get("scene_of") != key:
        bench.kept.pop("spot", None)
        progress(0.1, words.say("exploring.spot_busy"))
        bench.kept["scene"], bench.kept["scene_of"] = _find(path, values), key
    return bench.kept["scene"]


def _path(values: dict[str, Any]) -> Path:
    """The photo chosen; one that was uploaded is kept beside the notebook."""
    return save.keep_upload(values["upload"], "photos") or typed_path(str(values["photo"]))


def _find(path: Path, values: dict[str, Any]) -> Scene:
    photo = read.photo(path)
    reference = None if values["target"] == WHITE_ONLY else calibrate.reference(values["target"])
    pose, target = _marks(photo, reference)
    spot = {"spot": _quad(photo, values)}
    first = measure.boxes(photo, reference, spot, pose=pose, target=target)
    bare = dataclasses.replace(first, table=first.table.head(0), quads=first.quads[:0])
    return Scene(photo, reference, first, measure.overlay(photo, bare))


def _marks(
    photo: read.Photo, reference: calibrate.Reference | None
) -> tuple[calibrate.Pose | None, calibrate.Target | None]:
    """Where card and target lie."""
    if reference is None:
        return calibrate.find_card(photo), None
    try:
        pose = calibrate.find_card(photo)
        return pose, calibrate.find_on_card(photo, pose, reference)
    except InputError:  # no card of ours: the target alone will do
        return None, calibrate.find_anywhere(photo, reference)


def _quad(photo: read.Photo, values: dict[str, Any]) -> np.ndarray:
    """Corners (4, 2) of the spot, in pixels; it never leaves the picture."""
    height, width = photo.pixels.shape[:2]
    half = 0.5 * min(float(values["size"]) / 100, 0.5) * min(width, height)
    x = np.clip(float(values["across"]) / 100 * width, half + 1, width - half - 1)
    y = np.clip(float(values["down"]) / 100 * height, half + 1, height - half - 1)
    return half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) + (x, y)


def _draw(scene: Scene, quad: np.ndarray) -> dict[str, Any]:
    """The photo, and the spot to be dragged; a click elsewhere moves it there."""
    height, width = scene.photo.pixels.shape[:2]
    x, y = (list(corners) for corners in np.vstack([quad, quad[:1]]).T)
    edge = {"type": "scatter", "mode": "lines", "x": x, "y": y, "hoverinfo": "skip"}
    return style.plain_figure(
        [{**edge, "line": {"color": "#000000", "width": 6}, "showlegend": False}],
        **style.photo(scene.picture, (width, height), [quad]),
        meta={"drag": True, "point": True},
        height=_HEIGHT,
        xaxis={"range": [0, width], "visible": False},
        yaxis={"range": [height, 0], "visible": False, "scaleanchor": "x"},
    )
