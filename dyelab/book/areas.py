"""Parts of a printed or painted cloth by name: ``P-01 leaf`` is the area leaf of swatch P-01."""

import re
from collections.abc import Iterable

import pandas as pd

from dyelab import words
from dyelab.book.model import Book
from dyelab.errors import InputError


def named_areas(bk: Book) -> dict[str, list[str]]:
    """Return the areas of each cloth that has any, from its steps and its readings."""
    parts = [frame.loc[frame["area"] != "whole", ["swatch", "area"]] for frame in _tables(bk)]
    rows = pd.concat(parts).drop_duplicates()
    return {str(code): list(own) for code, own in rows.groupby("swatch", sort=False)["area"]}


def _tables(bk: Book) -> tuple[pd.DataFrame, pd.DataFrame]:
    return bk.steps, bk.readings


def located(bk: Book, names: Iterable[str]) -> dict[str, tuple[str, str]]:
    """Find the swatch and area that each name means.

    Parameters
    ----------
    bk : Book
    names : iterable of str
        A swatch's code, or with one of its areas behind it: ``P-01 leaf``, ``P-01: leaf``,
        ``P-01 (leaf)``, whatever the capitals. ``P-01 whole`` is the whole of a printed cloth.

    Returns
    -------
    dict of str to (str, str)
        Of those names that are in the book.

    Raises
    ------
    InputError
        For the bare code of a cloth with areas: one colour of several is nowhere on the cloth.
    """
    codes = {str(code).casefold(): str(code) for code in bk.swatches["swatch"]}
    areas = named_areas(bk)
    found = {}
    for name in dict.fromkeys(names):
        code, area = _parted(name.strip(), codes, areas)
        if code and not area:
            listed = ", ".join(areas[code])
            raise InputError(words.say("areas.which", code=code, areas=listed, one=areas[code][0]))
        if code:
            found[name] = (code, area)
    return found


def _parted(name: str, codes: dict[str, str], areas: dict[str, list[str]]) -> tuple[str, str]:
    """Code and area of one name; a blank area where one has to be named, blanks for no swatch."""
    folded = name.casefold()
    if folded in codes:
        code = codes[folded]
        return code, "" if code in areas else "whole"
    for key in sorted(codes, key=len, reverse=True):
        rest = folded[len(key) :]
        if folded.startswith(key) and re.match(r"[\s:/,(_-]", rest):
            own = {area.casefold(): area for area in [*areas.get(codes[key], []), "whole"]}
            area = own.get(re.sub(r"^[\s:/,(_-]+|[\s)]+$", "", rest))
            if area:
                return codes[key], area
    return "", ""
