"""Words of dyers' spreadsheets, in several languages, and what each means here."""

import csv
import difflib
import re
from functools import cache
from pathlib import Path

import pandas as pd

from dyelab import limits, recipe

_FILE = Path(__file__).with_name("vocabulary.csv")
# Likeness of two words (difflib's ratio): of a hundred slips of the pen 80 pass, none for another
# word (tests/benchmarks/near_words.py); at 0.8 a tenth of all known words are so like another.
CLOSE = 0.84


@cache
def groups(kind: str) -> dict[str, tuple[str, ...]]:
    """Every meaning of one kind, with its words as written: `several` lists materials to ask of."""
    with _FILE.open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["kind"] == kind]
    parted = ((row["means"], row["words"].split(";")) for row in rows)
    return {means: tuple(w.strip() for w in words if w.strip()) for means, words in parted}


@cache
def words(kind: str) -> dict[str, str]:
    """Every word of one kind (field, step, slot, fibre, material, exposure, unit): its meaning."""
    known = groups(kind)
    found = {plain(word): means for means, words in known.items() for word in words}
    return found | {plain(means): means for means in known}


def plain(text: str) -> str:
    """Small letters, words parted by one blank; signs that mean something stay."""
    return " ".join(re.findall(r"[^\W\d_]+|\d+(?:[.,]\d+)?|[*±%°/+]", text.lower()))


def unit(text: str) -> str | None:
    """Our unit for one as written; None where it is none."""
    return words("unit").get(plain(text))


def exposure(text: str) -> str | None:
    """The kind of exposure that words such as ``after 5 washes`` name."""
    held = re.sub(r"[^\W\d]*\d+[.,]?\d*", " ", text.lower())
    known = words("exposure")
    for word in sorted(known, key=len, reverse=True):
        if re.search(rf"(?<!\w){re.escape(word)}(?!\w)", held):
            return known[word]
    return None


def fibre(text: str) -> str:
    """Our name of a fibre, else the text in small letters: "Cotton" is cotton."""
    held = " ".join(text.lower().split())
    return words("fibre").get(plain(held), held)


def material(text: str, listed: pd.DataFrame) -> str | None:
    """The listed name of a material; None where no name fits."""
    named = recipe.known_name(text, listed)
    if named in set(listed["material"]):
        return named
    return words("material").get(plain(text))


def shared_name(text: str) -> str:
    """The shared name (``alum``) that this word is, in whatever language; blank where none."""
    return words("shared").get(plain(text), "")


def step_in(text: str, listed: pd.DataFrame) -> tuple[str, str]:
    """The kind of step that a word of a text names, and the material left: ``scoured with soap``.

    Blank and the whole text where that is a material's own name, or what is left is none.
    """
    held, known = plain(text), words("step")
    if len(text) <= limits.PHRASE and not material(text, listed) and not shared_name(text):
        for word in sorted(known, key=len, reverse=True):
            if re.search(rf"(?<!\w){re.escape(word)}(?!\w)", held):
                rest = " ".join(re.sub(rf"(?<!\w){re.escape(word)}(?!\w)", " ", held).split())
                if not rest or material(rest, listed) or shared_name(rest):
                    return known[word], rest
    return "", text


def meaning_of(text: str, known: dict[str, str]) -> str | None:
    """The meaning of the word, or of the one that is nearly it."""
    held = plain(text)
    if held in known or len(held) < 4:
        return known.get(held)
    found = difflib.get_close_matches(held, known, n=1, cutoff=CLOSE)
    return known[found[0]] if found else None
