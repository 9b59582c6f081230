"""Find swatches by plain words: "cotton, iron between 1 and 3, no tannin".

Clauses are parted by commas; all must hold. In a clause ``or`` gives a choice, and ``no``,
``not`` or ``without`` turns it round. A name may be followed by ``between 1 and 3``,
``above 2``, ``at least 2``, ``below 2``, ``at most 2`` or a plain number: its dose. Notes are
looked at for words that are found nowhere else.
"""

import difflib
import re
from weakref import WeakKeyDictionary

import numpy as np
import pandas as pd

from dyelab.book.model import Book
from dyelab.book.views import recipes
from dyelab.errors import InputError

_NUMBER = r"(\d+(?:\.\d+)?)\s*%?"
_RANGES = (
    (rf"(?:between|from)\s+{_NUMBER}\s+(?:and|to)\s+{_NUMBER}", "between"),
    (rf"{_NUMBER}\s*(?:to|-|–)\s*{_NUMBER}", "between"),
    (rf"(?:at least|from|>=|≥)\s*{_NUMBER}", "least"),
    (rf"(?:at most|up to|<=|≤)\s*{_NUMBER}", "most"),
    (rf"(?:above|over|more than|>)\s*{_NUMBER}", "above"),
    (rf"(?:below|under|less than|<)\s*{_NUMBER}", "below"),
    (rf"(?:is|=|of|at)?\s*{_NUMBER}", "exactly"),
)
_NAMED = ("tannin", "mordant", "dye", "modifier")
_DOSES = {"iron": "iron_wof", "copper": "copper_wof", "mass": "mass_g"}
_DOSES |= {name: f"{name}_wof" for name in _NAMED if name != "modifier"}
_COLOUR = {"l": "L", "lightness": "L", "a": "a", "b": "b", "chroma": "chroma"}
_WORDS = ["swatch", "form", "fibre", "ground", "series", *_NAMED]
_FILLERS = {"with", "on", "dyed", "and", "the", "of", "a", "swatches", "only"}
_index: "WeakKeyDictionary[Book, pd.DataFrame]" = WeakKeyDictionary()


def search(bk: Book, text: str) -> pd.DataFrame:
    """Return the recipes of the swatches that a line of plain words describes.

    Parameters
    ----------
    bk : Book
    text : str
        Such as ``cotton, iron between 1 and 3`` or ``madder or weld, no tannin, L below 40``.
        L, a, b and chroma are those of the undyed-upon reading, before any exposure. Blank
        finds all.

    Returns
    -------
    DataFrame
        Rows of `recipes`, in the book's order.

    Raises
    ------
    InputError
        If a word is nowhere in the book, with the nearest that is.
    """
    rows = _indexed(bk)
    keep = np.ones(len(rows), bool)
    for clause in _clauses(text):
        keep &= _clause(rows, clause)
    return rows.loc[keep, recipes(bk).columns].reset_index(drop=True)


def _indexed(bk: Book) -> pd.DataFrame:
    """The book's recipes with what else can be asked for; made once for each book."""
    if bk not in _index:
        rows = recipes(bk).merge(bk.swatches[["swatch", "note", "mass_g"]], on="swatch")
        fresh = bk.readings[(bk.readings["exposure"] == "none") & (bk.readings["part"] == "swatch")]
        colour = fresh.groupby("swatch")[["L", "a", "b"]].mean()
        colour["chroma"] = np.hypot(colour["a"], colour["b"])
        _index[bk] = rows.merge(colour.reset_index(), on="swatch", how="left")
    return _index[bk]


def _clauses(text: str) -> list[str]:
    """Parts of the line; a comma or "and" parts, but not the "and" of a range."""
    quoted = re.sub(rf"{_RANGES[0][0]}", lambda m: m.group().replace(" and ", " to "), text.strip())
    parts = re.split(r"\s*[,;]\s*|\s+and\s+", quoted)
    return [part.strip() for part in parts if part.strip()]


def _clause(rows: pd.DataFrame, clause: str) -> np.ndarray:
    turned = re.match(r"(?i)(no|not|without)\s+(.+)", clause)
    if turned:
        return ~_clause(rows, turned.group(2))
    found = np.zeros(len(rows), bool)
    for choice in re.split(r"\s+or\s+", clause):
        found |= _choice(rows, choice.strip())
    return found


def _choice(rows: pd.DataFrame, text: str) -> np.ndarray:
    for pattern, kind in _RANGES:
        match = re.fullmatch(rf"(?i)(.+?)\s*{pattern}", text)
        if match and not _literal(rows, text):
            low, high = float(match.group(2)), float(match.groups()[-1])
            return _within(_values(rows, match.group(1)), kind, low, high)
    return _named(rows, text)


def _literal(rows: pd.DataFrame, text: str) -> bool:
    """Whether the text is a code or a series as it stands, such as K-07 or autumn 2."""
    return any(rows[name].str.lower().eq(text.lower()).any() for name in ("swatch", "series"))


def _within(values: np.ndarray, kind: str, low: float, high: float) -> np.ndarray:
    with np.errstate(invalid="ignore"):
        return {
            "between": (values >= low) & (values <= high),
            "least": values >= low,
            "most": (values <= low) & (values > 0),
            "above": values > low,
            "below": values < low,
            "exactly": np.isclose(values, low, rtol=1e-3),
        }[kind]


def _values(rows: pd.DataFrame, name: str) -> np.ndarray:
    """What a name measures: a colour, a metal's dose, or the dose of a material, NaN elsewhere."""
    plain = _stripped(name)
    column = _COLOUR.get(plain) or _DOSES.get(plain)
    if column:
        return rows[column].to_numpy(float)
    values = np.full(len(rows), np.nan)
    for kind in _NAMED[:3]:
        here = _holds(rows[kind], plain)
        values[here] = rows.loc[here, f"{kind}_wof"]
    if np.isnan(values).all():
        raise _nowhere(rows, name)
    return values


def _stripped(text: str) -> str:
    return " ".join(word for word in text.lower().strip().split() if word not in _FILLERS) or text


def _named(rows: pd.DataFrame, text: str) -> np.ndarray:
    plain = _stripped(text.strip('"“”'))
    if plain in ("iron", "copper"):
        return rows[f"{plain}_wof"].to_numpy() > 0
    if plain in _NAMED:
        return (rows[plain] != "none").to_numpy()
    if plain in ("undyed", "control"):
        return (rows["dye"] == "none").to_numpy()
    if plain == "vat":
        return rows["vat"].to_numpy()
    found = np.logical_or.reduce([_holds(rows[column], plain) for column in _WORDS])
    if not found.any():
        found = _holds(rows["note"], plain)
    if found.any() or text.startswith(('"', "“")):
        return found
    words = plain.split()
    if len(words) > 1:
        return np.logical_and.reduce([_named(rows, word) for word in words])
    raise _nowhere(rows, text)


def _holds(cells: pd.Series, text: str) -> np.ndarray:
    """Rows whose text has these words, each looked at once."""
    codes, unique = pd.factorize(cells)
    pattern = re.compile(rf"(?i)(?<!\w){re.escape(text)}(?:s|es)?(?!\w)")
    has = np.array([bool(pattern.search(str(value))) for value in unique], bool)
    return has[codes] if len(unique) else np.zeros(len(cells), bool)


def _nowhere(rows: pd.DataFrame, text: str) -> InputError:
    known = {str(value) for column in _WORDS for value in rows[column].unique()}
    known |= {word for value in known for word in value.split()} | set(_DOSES) | set(_COLOUR)
    near = difflib.get_close_matches(text.lower(), known, n=1)
    guess = f" Did you mean {near[0]!r}?" if near else ""
    return InputError(
        f"no swatch here says {text!r}.{guess} Write like: cotton, iron between 1 and 3, no tannin."
    )
