"""Words of dyers' spreadsheets, in several languages, and what each means here."""

import csv
import difflib
import re
from functools import cache
from pathlib import Path

import pandas as pd

from dyelab import limits, recipe

_FILE = Path(__file__).with_name("vocabulary.csv")
_CLOSE = 0.84  # likeness of two words: lets one slip of the pen pass, and no two headings meet

# Names that several materials share: which of them was in the pot is asked.
SEVERAL = {
    "alum": ("potash alum", "ammonium alum", "aluminium sulfate 16-hydrate", "aluminium acetate"),
    "iron": ("ferrous sulfate", "ferrous acetate"),
    "copper": ("copper sulfate", "copper acetate"),
    "aluminium acetate": ("aluminium acetate", "basic aluminium acetate"),
    "aluminium sulfate": tuple(f"aluminium sulfate {n}-hydrate" for n in (16, 14, 18)),
}
_SHARED = {
    **dict.fromkeys(("alaun", "alun", "alumbre", "allume", "aluin"), "alum"),
    **dict.fromkeys(("eisen", "fer", "hierro", "ferro", "ijzer", "fe"), "iron"),
    **dict.fromkeys(("kupfer", "cuivre", "cobre", "rame", "koper", "cu"), "copper"),
    "aluminiumacetat": "aluminium acetate",
    "aluminum acetate": "aluminium acetate",
    "aluminum sulfate": "aluminium sulfate",
}


@cache
def words(kind: str) -> dict[str, str]:
    """Every word of one kind (field, step, slot, fibre, material, exposure, unit): its meaning."""
    with _FILE.open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["kind"] == kind]
    own = {plain(row["means"]): row["means"] for row in rows}
    listed = ((word, row["means"]) for row in rows for word in row["words"].split(";"))
    return {**{plain(word): means for word, means in listed if word.strip()}, **own}


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
    held = plain(text)
    return held if held in SEVERAL else _SHARED.get(held, "")


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


def near(text: str, known: dict[str, str]) -> str | None:
    """The meaning of the word, or of the one that is nearly it."""
    held = plain(text)
    if held in known or len(held) < 4:
        return known.get(held)
    found = difflib.get_close_matches(held, known, n=1, cutoff=_CLOSE)
    return known[found[0]] if found else None
