"""What a class guessed a metal would do, beside what it did."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from dyelab import convert, table
from dyelab.errors import InputError

HEAD = "student,question,swatch,L,a,b"
_COLUMNS = HEAD.split(",")
_MOST = 5000  # lines: a class of a hundred with fifty cloths each


@dataclass(frozen=True)
class Question:
    """A cloth to guess: its colour without the metal and with it, as measured.

    Attributes
    ----------
    key : str
        Code of a swatch with the metal; what a guess names.
    ask : str
    before, after : (L, a, b)
    noise : float
        How far apart two cloths of this recipe would rarely be, ΔE00.
    told : str
        What the metal did, in words.
    """

    key: str
    ask: str
    before: tuple[float, ...]
    after: tuple[float, ...]
    noise: float
    told: str


def read_guesses(text: str) -> tuple[pd.DataFrame, list[str]]:
    r"""Read the lines that guess pages gave, pasted together in any order.

    Returns
    -------
    guesses : DataFrame
        `student, question, swatch, L, a, b`; the last line of a student for a cloth counts.
    left_out : list of str
        Lines that are no guesses.

    Examples
    --------
    >>> from dyelab import shift
    >>> guesses, left = shift.read_guesses("Ann, 1, W09, 40, 15, 8\nwhat is this")
    >>> guesses
      student  question swatch     L     a    b
    0     Ann         1    W09  40.0  15.0  8.0
    """
    lines = [line.strip() for line in text.splitlines()[:_MOST]]
    kept, left = [], []
    for line in lines:
        if not line or line.replace(" ", "") == HEAD:
            continue
        try:
            kept.append(_guess(line))
        except (ValueError, InputError):
            left.append(line)
    guesses = pd.DataFrame(kept, columns=_COLUMNS)
    return guesses.drop_duplicates(["student", "swatch"], keep="last"), left


def _guess(line: str) -> tuple[str, int, str, float, float, float]:
    student, number, swatch, *lab = (part.strip() for part in line.split(","))
    L, a, b = (table.number(value) for value in lab)
    if not (0 <= L <= 100 and abs(a) <= 160 and abs(b) <= 160):
        raise ValueError(line)
    return student[:60], int(number), swatch, L, a, b


def judge_guesses(guesses: pd.DataFrame, questions: list[Question]) -> pd.DataFrame:
    """Say how far each guess is from the measured cloth.

    Returns
    -------
    DataFrame
        The guesses about these cloths with `dE00`, and `guessed_L, guessed_a, guessed_b` and
        `went_L, went_a, went_b`: how far each moved from the cloth without the metal.

    Examples
    --------
    >>> from dyelab import shift
    >>> one = shift.Question("W09", "madder", (48, 38, 18), (38, 16, 9), 2.0, "darker")
    >>> questions, text = [one], "Ann, 1, W09, 40, 15, 8"
    >>> guesses, left = shift.read_guesses(text)
    >>> judged = shift.judge_guesses(guesses, questions)
    >>> judged[["student", "dE00"]].round(1)
      student  dE00
    0     Ann   1.9
    """
    known = {one.key: one for one in questions}
    rows = guesses[guesses["swatch"].isin(known)].reset_index(drop=True)
    before = np.array([known[key].before for key in rows["swatch"]]).reshape(-1, 3)
    after = np.array([known[key].after for key in rows["swatch"]]).reshape(-1, 3)
    lab = rows[table.LAB].to_numpy(float)
    moves = {f"guessed_{c}": (lab - before)[:, i] for i, c in enumerate(table.LAB)}
    moves |= {f"went_{c}": (after - before)[:, i] for i, c in enumerate(table.LAB)}
    return rows.assign(dE00=convert.dE00(after, lab), **moves)


def class_mean(judged: pd.DataFrame, questions: list[Question]) -> pd.DataFrame:
    """Return the class's mean guess of each cloth, judged as one guess.

    Returns
    -------
    DataFrame
        As `judge_guesses` gives it, with `students`, in the questions' order.

    Examples
    --------
    >>> from dyelab import shift
    >>> one = shift.Question("W09", "madder", (48, 38, 18), (38, 16, 9), 2.0, "darker")
    >>> questions, text = [one], "Ann, 1, W09, 40, 15, 8"
    >>> guesses, left = shift.read_guesses(text)
    >>> judged = shift.judge_guesses(guesses, questions)
    >>> shift.class_mean(judged, questions)[["swatch", "dE00"]].round(1)
      swatch  dE00
    0    W09   1.9
    """
    grouped = judged.groupby("swatch", sort=False)
    means = grouped[table.LAB].mean().assign(students=grouped.size()).reset_index()
    order = {one.key: i for i, one in enumerate(questions)}
    means = means.assign(question=means["swatch"].map(order) + 1).sort_values("question")
    return judge_guesses(means, questions)
