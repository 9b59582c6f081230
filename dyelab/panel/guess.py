"""Guess, then see: write the page for a class, and gather what the class guessed."""

from typing import Any

import pandas as pd

from dyelab import shift, words
from dyelab.errors import InputError
from dyelab.handout import colours, guess
from dyelab.panel import book_choice, choices, frame, save
from dyelab.plot import plane

_EVERY = ""
_TABLE = ["student", "question", "L", "a", "b", "dE00"]


def panel(book: frame.BookChoice = None) -> frame.Panel:
    """Write the guess page; gather a class's guesses.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the last one, else the example.
    """
    return frame.Panel(
        *("guess", "guess.panel_title", _choose, _show),
        refresh=_fit,
        prepare=book_choice.source,
        actions={"guess.write": _write},
        book=book,
    )


def _write(panel: frame.Panel) -> str:
    metal, wanted, note = (panel.values[name] for name in ("metal", "count", "note"))
    asked: Any = {"metal": metal, "count": int(wanted)}
    path = save.free_path(f"guess {metal} {book_choice.title(panel.book.path)}", ".html")
    guess.write_guess_page(path, panel.ready, note=note, **asked)
    cloths = len(guess.questions(panel.ready, **asked))
    told = {"size": round(path.stat().st_size / 1000), "cloths": cloths}
    few = words.say("guess.few", metal=metal, wanted=int(wanted)) if cloths < wanted else ""
    return f"{words.say('guess.wrote', path=path, **told)} {few}".strip()


def _choose(source: colours.Source) -> dict[str, Any]:
    return {
        "metal": choices.pick("guess.metal", shift.metals_of(source.made)),
        "count": choices.number("guess.count", 5, low=1, high=30, whole=True),
        "note": choices.text("guess.note"),
        "given": choices.text("guess.gather", long=True),
        "files": choices.upload("guess.files", ".csv,.txt", many=True),
        "cloth": choices.pick("guess.question", [(words.say("guess.every"), _EVERY)]),
    }


def _fit(source: colours.Source, made: dict[str, Any]) -> None:
    asked = guess.questions(source, metal=made["metal"].value, count=int(made["count"].value))
    listed = [(f"{i}. {one.ask}", one.key) for i, one in enumerate(asked, 1)]
    choices.set_options(made["cloth"], [(words.say("guess.every"), _EVERY), *listed])


def _show(
    source: colours.Source, metal: str, count: float, given: str, files: Any, cloth: str, note: str
) -> frame.Answer:
    asked = guess.questions(source, metal=metal, count=int(count))
    texts = [given, *(bytes(one["content"]).decode("utf-8", "replace") for one in files or ())]
    guesses, left = shift.read_guesses("\n".join(texts))
    if guesses.empty:
        return frame.Answer(words.say("guess.none_yet"), notes=_say_left(left))
    judged = shift.judge_guesses(guesses, asked)
    if judged.empty:
        raise InputError(words.say("guess.no_guess"))
    chosen = [one for one in asked if cloth in (_EVERY, one.key)]
    shown = judged[judged["swatch"].isin([one.key for one in chosen])]
    means = shift.class_mean(judged, asked)
    return frame.Answer(
        _sentence(judged),
        _figure(shown, chosen, source.white),
        shown[_TABLE].sort_values(["question", "dE00"]),
        _chips(means, chosen, source.white),
        [*_tell(means, chosen, metal), *_say_left(left)],
    )


def _sentence(judged: pd.DataFrame) -> str:
    return words.say(
        "guess.sentence",
        guesses=len(judged),
        students=judged["student"].nunique(),
        questions=judged["swatch"].nunique(),
        median=f"{judged['dE00'].median():.1f}",
    )


def _figure(shown: pd.DataFrame, asked: list[shift.Question], white: tuple[str, int]) -> Any:
    """Every guess round the measured cloth, and the cloth it began as."""
    rows = [
        {"swatch": one.key, **dict(zip("Lab", lab, strict=True)), "group": words.say(group)}
        for one in asked
        for lab, group in ((one.before, "guess.before_group"), (one.after, "guess.truth_group"))
    ]
    own = shown.assign(group=words.say("guess.guess_group"), swatch=shown["student"])
    marks = pd.concat([own[["swatch", "L", "a", "b", "group"]], pd.DataFrame(rows)])
    marks = marks.assign(illuminant=white[0], observer=white[1]).reset_index(drop=True)
    return plane.figure(marks)


def _chips(
    means: pd.DataFrame, asked: list[shift.Question], white: tuple[str, int]
) -> list[list[frame.Chip]]:
    """Without, the class's mean guess, and the measured cloth, edge to edge."""
    found: dict[Any, Any] = {
        row["swatch"]: (row["L"], row["a"], row["b"]) for row in means.to_dict("records")
    }
    groups = []
    for one in asked:
        told = {"before": (one.before, one.ask), "guess": (found.get(one.key), "")}
        told["truth"] = (one.after, "")
        named = {words.say(f"guess.{part}_group"): chip for part, chip in told.items()}
        groups.append([frame.Chip(label, *chip, *white) for label, chip in named.items()])
    return groups


def _tell(means: pd.DataFrame, asked: list[shift.Question], metal: str) -> list[str]:
    said = {one.key: one.ask for one in asked}
    rows = means[means["swatch"].isin(said)].to_dict("records")
    told = []
    for row in rows:
        ends = {"g": "guessed", "t": "went"}
        moves = {f"{k}{c}": f"{row[f'{end}_{c}']:+.1f}" for k, end in ends.items() for c in "Lab"}
        moves = {name: move.replace("-", "−") for name, move in moves.items()}
        ask, off = said[row["swatch"]], f"{row['dE00']:.1f}"
        told.append(words.say("guess.class_moved", ask=ask, metal=metal, off=off, **moves))
    return told


def _say_left(lines: list[str]) -> list[str]:
    return [words.say("guess.left_out", count=len(lines), line=lines[0][:80])] if lines else []
