"""What was done to a swatch as one line of code: every step in order, with its own dose.

``tannin "gallnut" 8 % WOF > mordant[Al] "potash alum" 15 % WOF > assist "cream of tartar"
6 % WOF > dye "weld" 50 % WOF > vat "indigo" x3 > modifier[Fe] "ferrous sulfate" 2 % WOF @leaf``

Swatches whose lines differ are never replicates of one another. The line is a code: it is made
into words last, by `in_words`.
"""

import operator
import re
from collections.abc import Iterable
from functools import reduce
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from dyelab import words

_PARTED = " > "
_STEP = re.compile(
    r'(\w+)(?:\[(\w+)\])? "([^"]*)"(?: (\S+) (% WOF|g/L|g))?(?: x(\d+))?(?: use(\d+))?(?: @(.+))?'
)
_RESERVED = str.maketrans({'"': "”", ">": "›", "\n": " ", "\r": " "})
DYEING = ("dye", "vat")


class Step(NamedTuple):
    """One step of the line; `amount` is NaN where no dose is known."""

    kind: str
    metal: str
    material: str
    amount: float
    unit: str
    dips: int
    bath_use: int
    area: str


def parts(code: str) -> list[str]:
    """Return the parts of a line, each a line of one step."""
    return [part for part in code.split(_PARTED) if part]


def steps(code: str) -> list[Step]:
    """Read a line back into its steps."""
    found = []
    for match in filter(None, map(_STEP.fullmatch, parts(code))):
        kind, metal, material, amount, unit, dips, use, area = match.groups()
        dose, counts = float(amount or "nan"), (int(dips or 1), int(use or 1))
        named = kind, metal or "", material
        found.append(Step(*named, dose, unit or "", *counts, area or "whole"))
    return found


def in_words(code: str) -> str:
    """Say a line in words: ``potash alum 15 % with cream of tartar 6 %, weld 50 %``."""
    return say(steps(code))


def say(done: Iterable[Step]) -> str:
    """Say steps in words, in order; an assist joins the step it helps."""
    said = ""
    for step in done:
        helps = step.kind == "assist" and said
        parted = words.say("recipe_words.with") if helps else ", " if said else ""
        said += parted + step_in_words(step)
    return said


def step_in_words(step: Step) -> str:
    """Say one step: ``indigo, 3 dips``, ``ferrous sulfate 2 % (leaf)``."""
    unit = "%" if step.unit == "% WOF" else step.unit
    dose = f" {words.number(step.amount)} {unit}" if step.amount > 0 else ""
    dips = words.say("recipe_words.dips", dips=step.dips) if step.dips > 1 else ""
    used = words.say("recipe_words.use", use=step.bath_use) if step.bath_use > 1 else ""
    area = f" ({step.area})" if step.area != "whole" else ""
    return f"{step.material or words.heading(step.kind)}{dose}{dips}{used}{area}"


def dyes(code: str) -> list[Step]:
    """Return the dye and vat steps of a line in the order done: the first lies under the next."""
    return [step for step in steps(code) if step.kind in DYEING]


def of_dyes(layers: Iterable[Any]) -> str:
    """Line of dyes alone, each with `material, dose` (% WOF or NaN) and `dips`."""
    return _PARTED.join(
        f'dye "{one.material}"'
        + (f" {one.dose:.9g} % WOF" if one.dose > 0 else "")
        + (f" x{one.dips}" if one.dips > 1 else "")
        for one in layers
    )


def texts(done: pd.DataFrame) -> pd.Series:
    """Write each step as its part of a line.

    Parameters
    ----------
    done : DataFrame
        Columns `kind, metal, material, wof, amount, unit, dips, bath_use, area`; `wof` is the
        dose in % WOF, NaN where it can't be worked out.
    """
    columns = (
        done["kind"] + done["metal"].map(lambda metal: f"[{metal}]" if metal else ""),
        ' "' + done["material"].astype(str).str.translate(_RESERVED) + '"',
        pd.Series(_doses(done), done.index, dtype=object),
        _more(done["dips"], " x"),
        _more(done["bath_use"], " use"),
        done["area"].map(lambda a: "" if a == "whole" else f" @{str(a).translate(_RESERVED)}"),
    )
    return reduce(operator.add, columns).astype(object)


def _doses(done: pd.DataFrame) -> list[str]:
    rows = zip(done["wof"], done["amount"], done["unit"], strict=True)
    told = ((w, "% WOF") if np.isfinite(w) else (amount, unit) for w, amount, unit in rows)
    return [f" {dose:.9g} {unit}" if np.isfinite(dose) and unit else "" for dose, unit in told]


def _more(counts: pd.Series, mark: str) -> pd.Series:
    texts = [f"{mark}{int(n)}" if n > 1 else "" for n in counts.fillna(1)]
    return pd.Series(texts, counts.index, dtype=object)


def join(parts: pd.Series) -> str:
    """Join the parts of one swatch, in order, to its line."""
    return _PARTED.join(parts)
