"""The materials list, any of their names, what is unsafe, and how much of a salt is metal."""

import re
from collections import Counter
from functools import cache, lru_cache
from pathlib import Path

import numpy as np
import pandas as pd

from dyelab import errors, files, table, words
from dyelab.errors import InputError
from dyelab.recipe import metals

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
            stack[-1][_known(element, formula)] += int(number or 1)
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


def _known(element: str, formula: str) -> str:
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


_SHIPPED = Path(__file__).with_name("materials.csv")

# Never offered, whatever a list says; reasons are GHS classes of their usual salts, from memory.
_UNSAFE = pd.read_csv(Path(__file__).with_name("unsafe.csv"), keep_default_na=False)

# Names that stand for two things which hold different metal: asked, never guessed.
_AMBIGUOUS = {"aa": ("aluminium acetate", "basic aluminium acetate", "dibasic aluminium acetate")}


def materials(own: pd.DataFrame | None = None) -> pd.DataFrame:
    """Return everything a recipe may name, one row a material.

    Parameters
    ----------
    own : DataFrame, optional
        The user's additions, with the columns of `table.MATERIALS`. One with a name that
        ships already takes its place, so an own bag of aluminium acetate can be stated.

    Returns
    -------
    DataFrame
        The columns of `table.MATERIALS` and `molar_mass` (g/mol); `metal_percent` is worked
        out from the formula where there is one.

    Raises
    ------
    InputError
        If an added material is unsafe to offer, or its formula can't be read.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.materials()[["material", "role", "metal"]].head(2)
            material     role metal
    0    potash alum  mordant    Al
    1  ammonium alum  mordant    Al
    """
    listed = shipped_materials()
    if own is None or own.empty:
        return listed.copy()
    added = _worked_out(table.as_typed(table.as_text(own, table.MATERIALS), table.MATERIALS))
    kept = listed[~listed["material"].isin(added["material"])]
    return pd.concat([kept, added], ignore_index=True)


@cache
def shipped_materials() -> pd.DataFrame:
    """Return the materials that come with dyelab."""
    cells, _ = files.cells(_SHIPPED)
    more = metals.metals().rename(columns={"salt": "material"}).drop(columns="metal")
    more = more[~more["material"].isin(cells["material"])].rename(columns={"symbol": "metal"})
    more = table.as_text(more.assign(role="mordant"), table.MATERIALS)
    return _worked_out(table.as_typed(pd.concat([cells, more]).fillna(""), table.MATERIALS))


def _worked_out(frame: pd.DataFrame) -> pd.DataFrame:
    for name, formula, metal in frame[["material", "formula", "metal"]].itertuples(index=False):
        refuse_unsafe(name, formula or metal)
    mass = [molar_mass(text) if text else np.nan for text in frame["formula"]]
    metal = [
        metal_percent(text, metal) if text and metal else stated
        for text, metal, stated in zip(
            frame["formula"], frame["metal"], frame["metal_percent"], strict=True
        )
    ]
    return frame.assign(molar_mass=mass, metal_percent=metal)


def refuse_unsafe(name: str, formula: str = "") -> None:
    """Raise if a material must not be offered to a dyer, whatever the recipe.

    Raises
    ------
    InputError
        Names the material, why, and what to use instead.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.refuse_unsafe("potash alum", "KAl(SO4)2·12H2O")
    """
    said, held = set(re.findall(r"[a-z]+", name.lower())), atoms(formula) if formula else ()
    rows = _UNSAFE.to_dict("records")
    poisons = [row for row in rows if row["symbol"] in held]
    poisons += [row for row in rows if set(row["name"].split()) <= said]
    if poisons:
        raise InputError(
            f"{name!r} is not offered: {poisons[0]['name']} compounds are too dangerous for a "
            f"dye studio ({poisons[0]['reason']}). Use alum, aluminium acetate, iron or copper "
            "instead."
        )


def find(name: str, listed: pd.DataFrame | None = None) -> pd.Series:
    """Find a material by its name or one of its other names, whatever the capitals.

    Raises
    ------
    InputError
        If there is none; the message gives the nearest names.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.find("copperas")["material"]
    'ferrous sulfate'
    """
    listed = shipped_materials() if listed is None else listed
    known = _by_name(listed)
    key = _folded(name)
    if key in _AMBIGUOUS:
        said = ", ".join(_AMBIGUOUS[key])
        raise InputError(
            f"{name!r} is sold for several salts that hold different amounts of metal: {said}. "
            "Read the bag, and name the one you have."
        )
    if key not in known:
        refuse_unsafe(name)
        try:
            errors.choose(name, listed["material"], "material", "in the materials list")
        except InputError as unknown:
            raise InputError(f"{unknown} {words.say('recipe.own_material')}") from None
    return listed.iloc[known[key]]


# Nobody states a most for a dose; past twice the usual high end we have met none that was meant
# (common practice).
_MOST = 2.0


def usual_range(name: str, listed: pd.DataFrame | None = None) -> tuple[float, float, float]:
    """Return the usual low and high dose of a material and the most, in % WOF.

    Raises
    ------
    InputError
        If it isn't listed, or the list states no range for it: a dose must then be given.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.usual_range("madder")
    (30.0, 100.0, 200.0)
    """
    row = find(name, listed)
    low, high = float(row["low_wof"]), float(row["high_wof"])
    if not high > 0:
        raise InputError(words.say("recipe.no_range", material=row["material"]))
    return (low if low >= 0 else 0.0), high, _MOST * high


def known_name(name: str, listed: pd.DataFrame | None = None) -> str:
    """Return the listed name of a material, or the name as it is where the list has none.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.known_name("lye")
    'sodium hydroxide'
    """
    listed = shipped_materials() if listed is None else listed
    at = _by_name(listed).get(_folded(name))
    return str(listed["material"].iloc[at]) if at is not None else name


def _folded(name: str) -> str:
    return " ".join(str(name).lower().replace("sulphate", "sulfate").split())


def _by_name(listed: pd.DataFrame) -> dict[str, int]:
    return _numbered(tuple(listed["material"]), tuple(listed["also"]))


@lru_cache(8)
def _numbered(materials: tuple[str, ...], also: tuple[str, ...]) -> dict[str, int]:
    names: dict[str, int] = {}
    for i, others in enumerate(also):
        names.update({_folded(other): i for other in str(others).split(";") if other.strip()})
    names.update({_folded(name): i for i, name in enumerate(materials)})
    return names
