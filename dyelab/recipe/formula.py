"""Formulas of salts: their atoms, molar mass, and how much of them is metal."""

import re
from collections import Counter
from pathlib import Path

import pandas as pd

from dyelab.errors import InputError

_FILE = Path(__file__).with_name("atomic_weights.csv")
_ROWS = pd.read_csv(_FILE, comment="#", keep_default_na=False)
WEIGHTS: dict[str, float] = dict(zip(_ROWS["element"], _ROWS["weight"], strict=True))  # g/mol
_LETTERS, _DIGITS = 200, 4  # no salt of the trade comes near
_TOKEN = re.compile(r"([A-Z][a-z]?)([0-9]*)|([(\[])|([)\]])([0-9]*)")


def atoms(formula: str) -> Counter[str]:
    """Count the atoms of a formula such as ``KAl(SO4)2·12H2O``.

    Parameters
    ----------
    formula : str
        Round or square brackets nest; water of crystallisation follows a dot
        (``·``, ``.`` or ``*``) with its number in front.

    Raises
    ------
    InputError
        If it can't be read, or holds an element without a weight here.
    """
    if len(formula) > _LETTERS or re.search(rf"\d{{{_DIGITS + 1}}}", formula):
        raise InputError(
            f"formula {formula[:40]!r}…: longer than any salt's ({_LETTERS} letters, numbers of "
            f"{_DIGITS} figures). Write it like KAl(SO4)2·12H2O."
        )
    total: Counter[str] = Counter()
    for part in re.split(r"[·.*•]", formula.replace(" ", "")):
        lead = re.match(r"[0-9]+", part)
        count = _group(part[lead.end() :] if lead else part, formula)
        for element, number in count.items():
            total[element] += number * (int(lead.group()) if lead else 1)
    return total


def _group(text: str, formula: str) -> Counter[str]:
    stack: list[Counter[str]] = [Counter()]
    at = 0
    while at < len(text):
        token = _TOKEN.match(text, at)
        if token is None:
            raise _unreadable(formula, text[at])
        element, number, opening, closing, times = token.groups()
        if element:
            stack[-1][_check_element(element, formula)] += int(number or 1)
        elif opening:
            stack.append(Counter())
        else:
            _close(stack, int(times or 1), formula, closing)
        at = token.end()
    if len(stack) != 1 or not stack[0]:
        raise _unreadable(formula, "an open bracket" if stack[0] else "nothing")
    return stack[0]


def _close(stack: list[Counter[str]], times: int, formula: str, closing: str) -> None:
    if len(stack) == 1:
        raise _unreadable(formula, closing)
    inner = stack.pop()
    for element, number in inner.items():
        stack[-1][element] += number * times


def _check_element(element: str, formula: str) -> str:
    if element not in WEIGHTS:
        raise InputError(
            f"formula {formula!r}: no atomic weight for {element!r} here. "
            "Check the capitals, or leave the formula blank and state the metal per cent."
        )
    return element


def _unreadable(formula: str, found: str) -> InputError:
    return InputError(
        f"formula {formula!r}: found {found!r} where an element or a bracket was expected. "
        "Write it like KAl(SO4)2·12H2O."
    )


def molar_mass(formula: str) -> float:
    """Molar mass in g/mol from the abridged standard atomic weights.

    Examples
    --------
    >>> from dyelab import recipe
    >>> round(recipe.molar_mass("FeSO4·7H2O"), 2)
    278.01
    """
    return sum(WEIGHTS[element] * number for element, number in atoms(formula).items())


def metal_percent(formula: str, metal: str) -> float:
    """How much of a salt is this metal, in per cent by mass.

    Raises
    ------
    InputError
        If the formula holds none of it.

    Examples
    --------
    >>> from dyelab import recipe
    >>> round(recipe.metal_percent("KAl(SO4)2·12H2O", "Al"), 2)
    5.69
    """
    count = atoms(formula)
    if metal not in count:
        raise InputError(
            f"formula {formula!r} holds no {metal}. It holds {', '.join(sorted(count))}."
        )
    return 100 * WEIGHTS[metal] * count[metal] / molar_mass(formula)
