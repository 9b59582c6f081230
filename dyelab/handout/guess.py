"""Guess, then see: a page on which a student guesses what a metal does, then sees the cloth."""

from pathlib import Path
from typing import Any

import numpy as np

from dyelab import convert, files, words
from dyelab.errors import InputError
from dyelab.handout import colours
from dyelab.handout.html_page import render, script
from dyelab.handout.metal_texts import metals_text
from dyelab.handout.sheets.worksheet import pick_pairs
from dyelab.shift import doses_of
from dyelab.shift.guesses import HEAD, Question

_ROOM = 18.0  # units of a* and b* around all colours, so that a guess may go too far
_WORDS = ["before", "yours", "measured", "lightness", "a", "b", "greener", "redder", "yellower"]
_WORDS += ["bluer", "reveal", "off", "moved", "nobody", "copied"]
# What a distance means to the eye: common practice of the trade, no source.
_BANDS = ((0.0, "pot"), (2.0, "close"), (5.0, "near"), (10.0, "kin"), (1e9, "other"))


def questions(source: colours.Source, *, metal: str, count: int = 5) -> list[Question]:
    """Return the cloths to guess: those of the printed worksheet.

    Raises
    ------
    InputError
        If no swatch differs from another by this metal alone.
    """
    found = pick_pairs(source, metal, count)
    if found.empty:
        raise InputError(words.say("pages.no_pairs", metal=metal))
    return [
        Question(
            key=str(source.made["swatch"].iloc[row["to_row"]]).split(",")[0],
            ask=words.say(
                "guess.ask",
                cloth=colours.cloth(row),
                dose=metals_text(doses_of(**{metal: row["dose"]})),
            ),
            before=tuple(float(row[f"from_{c}"]) for c in "Lab"),
            after=tuple(float(row[f"to_{c}"]) for c in "Lab"),
            noise=float(row["noise_floor"]) if np.isfinite(row["noise_floor"]) else 0.0,
            told=str(row["words"]),
        )
        for row in found.to_dict("records")
    ]


def guess_page(source: colours.Source, *, metal: str, count: int = 5, note: str = "") -> str:
    """Return the page as HTML text that needs nothing else.

    Parameters
    ----------
    source : Source
    metal : str
        One of ``recipe.metals``.
    count : int
        Cloths to guess; fewer where the book has fewer.
    note : str
        A line of the teacher's own.
    """
    return render(
        "guess.html",
        title=words.say("guess.title", metal=metal),
        lead=words.say("guess.lead", metal=metal),
        data=script(_data(source, metal, count)),
        note=note.strip(),
        how=source.how,
    )


def write_guess_page(path: str | Path, source: colours.Source, **chosen: Any) -> Path:
    """Write the page of `guess_page`, whole or not at all."""
    return files.write(path, guess_page(source, **chosen))


def _data(source: colours.Source, metal: str, count: int) -> dict[str, Any]:
    asked_ = questions(source, metal=metal, count=count)
    every = np.array([[one.before, one.after] for one in asked_]).reshape(-1, 3)
    low, high = every[:, 1:].min(axis=0) - _ROOM, every[:, 1:].max(axis=0) + _ROOM
    side = float((high - low).max()) / 2
    middle = (high + low) / 2
    span = [float(f"{v:.1f}") for m in middle for v in (m - side, m + side)]
    white = convert.white(*source.white)
    return {
        "head": HEAD,
        "words": {key: words.say(f"guess.{key}") for key in _WORDS},
        "bands": [
            {"most": most, "own": key == "pot", "says": words.say(f"guess.means_{key}")}
            for most, key in _BANDS
        ],
        "span": span,
        "white": [float(v) / 100 for v in white],
        "matrix": _to_screen(source.white).tolist(),
        "questions": [
            {
                "key": one.key,
                "ask": one.ask,
                "before": [round(v, 2) for v in one.before],
                "after": [round(v, 2) for v in one.after],
                "noise": round(one.noise, 2),
                "words": one.told,
            }
            for one in asked_
        ],
    }


def _to_screen(white: tuple[str, int]) -> np.ndarray:
    """The 3 x 3 matrix from XYZ (0 to 1) under a white to linear sRGB: the chips' own way, read
    off three colours, since adaptation and primaries are both linear.
    """
    lab = np.array([[60.0, 0.0, 0.0], [60.0, 30.0, 10.0], [60.0, -10.0, 40.0]])
    light = convert.screen_light(lab, illuminant=white[0], observer=white[1])
    xyz = convert.lab_to_xyz(lab, convert.white(*white)) / 100
    return np.linalg.solve(xyz, light).T
