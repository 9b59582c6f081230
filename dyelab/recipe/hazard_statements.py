"""Hazard statements of the GHS and of the EU's CLP: read from a cell, and said in words.

The statements and their sources stand in ``words/en/hazards.toml``.
"""

import re

import pandas as pd

from dyelab import table, words
from dyelab.recipe.materials import known_name

_STATEMENT = re.compile(r"(?i)\b(EUH|H)\s?(\d{3})([A-Za-z]{0,2})\b")
# Precautionary statements stand beside the others on every sheet; they are advice, no hazard.
_PRECAUTION = re.compile(r"(?i)\bP\s?\d{3}(\s?\+\s?P?\s?\d{3})*\b")
NONE = "none"  # a material that is known to have no statement, as against one nobody looked up
_CHEMICAL = ("mordant", "modifier", "assist", "scour")
_BETWEEN = re.compile(r"[\s,;+/&.]+|\band\b")

# Those whose signal word is Danger in the most severe category that they are given to (GHS Rev.9,
# annex 3; CLP, annexes II and III).
DANGER = frozenset(
    re.findall(
        r"\w+",
        """
    H200 H201 H202 H203 H205 H206 H207 H209 H210 H220 H221 H222 H224 H225 H228 H230 H231 H232
    H240 H241 H242 H250 H251 H260 H261 H270 H271 H272 H282 H283 H300 H301 H304 H310 H311 H314
    H318 H330 H331 H334 H340 H350 H360 H370 H372 H350i H360F H360D H360FD H360Fd H360Df EUH202
    EUH380 EUH430 EUH440 EUH441 EUH450 EUH451
        """,
    )
)


def statements(text: str) -> tuple[list[str], list[str]]:
    """Read a cell of hazard statements.

    Parameters
    ----------
    text : str
        Such as ``H302 H318``, ``H302, H318``, ``H300+H310`` or ``EUH 031``.

    Returns
    -------
    known, unknown : lists of str
        Codes that have words, and whatever else stands there.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.statements("H302, H318; P280")
    (['H302', 'H318'], [])
    """
    known, unknown = [], []
    text = _PRECAUTION.sub(" ", text) if text.strip().lower() != NONE else ""
    for match in _STATEMENT.finditer(text):
        code = match.group(1).upper() + match.group(2)
        named = (code + match.group(3), code + match.group(3).upper(), code)
        found = next((name for name in named if words.there(f"hazards.{name}")), "")
        known += [found] if found else []
        unknown += [] if found else [match.group()]
    rest = _BETWEEN.split(_STATEMENT.sub(" ", text))
    return list(dict.fromkeys(known)), [*unknown, *filter(None, rest)]


def unstated(names: list[str], listed: pd.DataFrame) -> list[str]:
    """Return the chemicals among these materials whose hazards nobody has looked up."""
    rows = listed[listed["material"].isin([known_name(name, listed) for name in names])]
    blank = rows["hazards"].eq("") & rows["role"].isin(_CHEMICAL)
    strange = [name for name in names if known_name(name, listed) not in set(listed["material"])]
    return [*rows.loc[blank, "material"], *dict.fromkeys(filter(None, strange))]


def of(names: list[str], listed: pd.DataFrame) -> tuple[list[str], list[str]]:
    """Return the known and the unknown statements of all these materials."""
    rows = listed[listed["material"].isin([known_name(name, listed) for name in names])]
    return statements(" ".join(text for text in rows["hazards"] if text != NONE))


def faults(listed: pd.DataFrame) -> list[dict]:
    """Faults, as of `table.fault`, for what a materials list states that is no hazard statement.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.hazard_faults(recipe.materials())
    []
    """
    expected = "holds what is no hazard statement of the GHS or the CLP"
    remedy = "Copy the codes from the supplier's safety data sheet, such as H302 H318."
    return [
        table.fault("materials.csv", at, "hazards", text, expected, remedy, str(name))
        for at, (name, text) in enumerate(
            zip(listed["material"], listed["hazards"], strict=True), 2
        )
        if statements(str(text))[1]
    ]


def not_for_children(names: list[str], listed: pd.DataFrame) -> list[str]:
    """Return the materials that stay out of a room where children work.

    These are metals but alum, vats, whatever carries Danger or an unknown statement, and whatever
    isn't listed: what is not known to be harmless is left out.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.not_for_children(["potash alum", "indigo"], recipe.materials())
    ['indigo']
    """
    found = []
    for name in dict.fromkeys(names):
        row = listed[listed["material"].eq(known_name(name, listed))]
        known, unknown = of([name], listed)
        metal = set(row["metal"]) - {"", "Al"}
        harmful = metal or unknown or DANGER & set(known) or row["role"].eq("vat").any()
        found += [name] if row.empty or harmful else []
    return found
