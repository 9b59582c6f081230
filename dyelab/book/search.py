"""Find swatches by plain words: "cotton, iron between 1 and 3, no tannin".

Clauses are parted by commas; all must hold. In a clause ``or`` gives a choice, and ``no``,
``not`` or ``without`` turns it round. A name may be followed by ``between 1 and 3``,
``above 2``, ``at least 2``, ``below 2``, ``at most 2`` or a plain number: its dose. ``below`` and
``at most`` ask of doses that were given: ``no iron`` finds the rest. Notes are looked at for words
that are found nowhere else, and names of series before them; ``series autumn`` asks for a series
alone.
"""

import difflib
import re
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np
import pandas as pd

from dyelab import recipe, table
from dyelab.book.swatch_book import Book
from dyelab.book.views import recipes
from dyelab.errors import InputError

_NUMBER = r"([-−]?\d+(?:[.,]\d+)?)\s*%?"
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
_METALS = recipe.metals.columns()
_DOSES = {**_METALS, "mass": "mass_g"}
_DOSES |= {name: f"{name}_wof" for name in _NAMED if name != "modifier"}
_COLOUR = {"l": "L", "lightness": "L", "a": "a", "b": "b", "chroma": "chroma"}
_MADE_OF = ["form", "fibre", "ground", *_NAMED]
_WORDS = [*_MADE_OF, "series"]
_FILLERS = {"with", "on", "dyed", "and", "the", "of", "a", "swatches", "only"}
_index: "WeakKeyDictionary[Book, _Index]" = WeakKeyDictionary()


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

    Examples
    --------
    >>> from dyelab import book, synth
    >>> bk = book.open(synth.example())
    >>> found = book.search(bk, "cotton, weld, iron between 1 and 3")
    >>> found[["swatch", "tannin", "iron_wof"]].head(2)
      swatch tannin  iron_wof
    0    C12   none       2.0
    1    C14   none       2.0
    """
    rows = _index_of(bk)
    keep = np.ones(len(rows), bool)
    for clause in _clauses(text):
        keep &= _clause(rows, clause)
    return rows.rows.loc[keep, rows.columns].reset_index(drop=True)


@dataclass(frozen=True)
class _Index:
    """A book's recipes ready to be asked: made once for each book."""

    rows: pd.DataFrame
    columns: list[str]
    words: dict[str, tuple[np.ndarray, list[str]]]  # by column: code of each row, and the texts
    codes: np.ndarray  # swatch codes in small letters
    names: frozenset[str]  # codes and series in small letters

    def __getitem__(self, name: str) -> np.ndarray:
        return self.rows[name].to_numpy()

    def __len__(self) -> int:
        return len(self.rows)


def _index_of(bk: Book) -> _Index:
    if bk not in _index:
        made = recipes(bk)
        rows = made.merge(bk.swatches[["swatch", "note", "mass_g"]], on="swatch")
        fresh = bk.readings[(bk.readings["exposure"] == "none") & (bk.readings["part"] == "swatch")]
        colour = fresh.groupby("swatch")[["L", "a", "b"]].mean()
        colour["chroma"] = np.hypot(colour["a"], colour["b"])
        rows = rows.merge(colour.reset_index(), on="swatch", how="left")
        codes = np.array([code.lower() for code in rows["swatch"]], dtype=object)
        names = frozenset([*codes, *(str(name).lower() for name in rows["series"].unique())])
        parts = {name: pd.factorize(rows[name]) for name in [*_WORDS, "note"]}
        words = {name: (part, list(map(str, texts))) for name, (part, texts) in parts.items()}
        _index[bk] = _Index(rows, list(made.columns), words, codes, names)
    return _index[bk]


def _clauses(text: str) -> list[str]:
    """Parts of the line; a comma or "and" parts, but not the "and" of a range."""
    quoted = re.sub(rf"{_RANGES[0][0]}", lambda m: m.group().replace(" and ", " to "), text.strip())
    parts = re.split(r"\s*(?:;|,(?!\d))\s*|\s+and\s+", quoted)
    return [part.strip() for part in parts if part.strip()]


def _clause(rows: _Index, clause: str) -> np.ndarray:
    turned = re.match(r"(?i)(no|not|without)\s+(.+)", clause)
    if turned:
        return ~_clause(rows, turned.group(2))
    found = np.zeros(len(rows), bool)
    for choice in re.split(r"\s+or\s+", clause):
        found |= _choice(rows, choice.strip())
    return found


def _choice(rows: _Index, text: str) -> np.ndarray:
    for pattern, kind in _RANGES:
        match = re.fullmatch(rf"(?i)(.+?)\s*{pattern}", text)
        if match and text.lower() not in rows.names:  # such as K-07 or autumn 2
            ends = (match.group(i).replace("−", "-") for i in (2, match.lastindex or 2))
            values, low, high = _values(rows, match.group(1)), *map(table.number, ends)
            if kind in ("below", "most") and _strip(match.group(1)) not in _COLOUR:
                values = np.where(values > 0, values, np.nan)
            return _within(values, kind, low, high)
    return _find_named(rows, text)


def _within(values: np.ndarray, kind: str, low: float, high: float) -> np.ndarray:
    with np.errstate(invalid="ignore"):
        found = {"between": (values >= low) & (values <= high), "above": values > low}
        found |= {"least": values >= low, "most": values <= low}
        found |= {"below": values < low, "exactly": np.isclose(values, low, rtol=1e-3)}
    return found[kind]


def _values(rows: _Index, name: str) -> np.ndarray:
    """What a name measures: a colour, a metal's dose, or the dose of a material, NaN elsewhere."""
    plain = _strip(name)
    column = _COLOUR.get(plain) or _DOSES.get(plain)
    if column:
        return rows[column].astype(float)
    values = np.full(len(rows), np.nan)
    for kind in _NAMED[:3]:
        here = _holds(rows, kind, plain)
        values[here] = rows[f"{kind}_wof"][here]
    if np.isnan(values).all():
        raise _nowhere(rows, name)
    return values


def _strip(text: str) -> str:
    return " ".join(word for word in text.lower().strip().split() if word not in _FILLERS) or text


def _find_named(rows: _Index, text: str) -> np.ndarray:
    plain = _strip(text.strip('"“”'))
    if plain in _METALS:
        return rows[_METALS[plain]] != 0  # NaN where it was used and nobody knows how much
    if plain in _NAMED:
        return rows[plain] != "none"
    if plain in ("undyed", "control"):
        return rows["dye"] == "none"
    if plain == "vat":
        return rows["vat"]
    series = re.fullmatch(r"series\s+(.+)", plain)
    if series and _holds(rows, "series", series.group(1)).any():
        return _holds(rows, "series", series.group(1))
    found = rows.codes == plain.lower()
    for column in _MADE_OF:
        found = found | _holds(rows, column, plain)
    for column in ("series", "note"):  # a dye is meant before a series that bears its name
        found = found if found.any() else _holds(rows, column, plain)
    if found.any() or text.startswith(('"', "“")):
        return found
    words = plain.split()
    if len(words) > 1:
        return np.logical_and.reduce([_find_named(rows, word) for word in words])
    raise _nowhere(rows, text)


def _holds(rows: _Index, column: str, text: str) -> np.ndarray:
    """Rows whose text has these words; each different text is looked at once."""
    codes, texts = rows.words[column]
    pattern = re.compile(rf"(?i)(?<!\w){re.escape(text)}(?:s|es)?(?!\w)")
    has = np.array([bool(pattern.search(value)) for value in texts], bool)
    return has[codes] if len(texts) else np.zeros(len(rows), bool)


def _nowhere(rows: _Index, text: str) -> InputError:
    known = {value for column in _WORDS for value in rows.words[column][1]} | rows.names
    known |= {word for value in known for word in value.split()} | set(_DOSES) | set(_COLOUR)
    near = difflib.get_close_matches(text.lower(), known, n=1)
    guess = f" Did you mean {near[0]!r}?" if near else ""
    used = [metal for metal, column in _METALS.items() if (rows[column] > 0).any()]
    like = f"cotton, {[*used, *_METALS][0]} between 1 and 3, no tannin"
    return InputError(f"no swatch here says {text!r}.{guess} Write like: {like}.")
