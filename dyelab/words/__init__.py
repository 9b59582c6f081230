"""Every text that a panel or a page shows, in one place and ready for translation.

The texts are TOML files, one a topic, in a folder a language: ``words/en/metals.toml`` holds
``title = "Metals"``, said as ``words.say("metals.title")``. One setting chooses the
language of all panels and pages: ``words.use("xx")``, or ``DYELAB_LANGUAGE=xx`` in the environment.
Refusals, the command line, and names of materials, metals and fibres are in English; so is a text
that a language lacks.
"""

import os
import string
import tomllib
from collections.abc import Mapping
from functools import cache, partial
from pathlib import Path
from typing import Any

from dyelab.errors import InputError


class _Forms(string.Formatter):
    """Fills blanks; ``{count:# swatch|# swatches}`` takes the form that goes with a number, and
    ``{weigh_g:~}`` is a number as a sentence has it.
    """

    def format_field(self, value: Any, spec: str) -> Any:
        if spec == "~":
            return number(value)
        one, bar, many = spec.partition("|")
        if not bar:
            return super().format_field(value, spec)
        shown = number(value) if isinstance(value, float) else str(value)
        return (one if str(value) in ("1", "1.0") else many).replace("#", shown)


_forms = _Forms()
_HERE = Path(__file__).parent
_ENGLISH = "en"
_chosen = {"folder": _HERE / os.environ.get("DYELAB_LANGUAGE", _ENGLISH)}


def use(language: str, folder: Path | None = None) -> None:
    """Choose the language of every text from here on.

    Parameters
    ----------
    language : str
        Name of its folder, such as ``en``.
    folder : Path, optional
        Where that folder lies, for a translation of one's own; else in dyelab itself.

    Raises
    ------
    InputError
        If there is no such folder; it says which languages there are.

    Examples
    --------
    >>> from dyelab import words
    >>> words.use("en")
    """
    path = (folder or _HERE) / language
    if not path.is_dir():
        found = ", ".join(sorted(p.name for p in (folder or _HERE).iterdir() if p.is_dir()))
        raise InputError(f"no texts in the language {language!r}. There are: {found}.")
    _chosen["folder"] = path


def say(key: str, **values: Any) -> str:
    """Return the text of a key such as ``metals.title``, with its {blanks} filled in.

    A blank such as ``{count:# swatch|# swatches}`` takes the first form for 1, else the second;
    ``{weigh_g:~}`` is filled in by `number`.

    Raises
    ------
    KeyError
        If the topic or the key is not there; a test says every key used exists.

    Examples
    --------
    >>> from dyelab import words
    >>> words.say("browse.found", found=3, all=195, where="")
    '3 of 195 swatches.'
    """
    topic, _, name = key.partition(".")
    text = _texts(topic)[name]
    return _forms.format(text, **values) if values else text


def number(value: float) -> str:
    """Return a number as a sentence has it: no digits that nobody could weigh or read.

    From 1 to 100 two decimals at most, to 1000 one, beyond none; below 1 three figures.

    Examples
    --------
    >>> from dyelab import words
    >>> [words.number(value) for value in (100 / 36, 15.0, 0.0123456, 13333.47)]
    ['2.78', '15', '0.0123', '13333']
    """
    size = abs(float(value))
    if 0 < size < 1:
        return f"{value:.3g}"
    shown = f"{value:.{1 if 100 <= size < 1000 else 2}f}"
    return f"{value:.0f}" if size >= 1000 else shown.rstrip("0").rstrip(".")


def number_span(row: Mapping[Any, Any], name: str, digits: int) -> str:
    """Return a number of a row, with its `name_low` and `name_high` where they are known.

    Examples
    --------
    >>> from dyelab import words
    >>> words.number_span({"dE00": 3.21, "dE00_low": 2.5, "dE00_high": 3.96}, "dE00", 1)
    '3.2 (2.5 to 4.0)'
    """
    low, high = (row.get(f"{name}_{end}", float("nan")) for end in ("low", "high"))
    ends = {"low": f"{low:.{digits}f}", "high": f"{high:.{digits}f}"}
    return f"{row[name]:.{digits}f}" + (say("shift.span", **ends) if low == low else "")


def has_text(key: str) -> bool:
    """Whether a key has a text.

    Examples
    --------
    >>> from dyelab import words
    >>> words.has_text("verdict.real")
    True
    """
    topic, _, name = key.partition(".")
    return name in _texts(topic)


def listed_text(topic: str, name: str, text: str) -> str:
    """Return a listed text in the chosen language, or as the list has it.

    Notes of the materials list and disposal of metals stand in their tables; a language may have
    its own in ``material_notes.toml`` and ``disposal.toml``, by the name of the material or metal.

    Examples
    --------
    >>> from dyelab import words
    >>> words.listed_text("disposal", "iron", "Spent iron baths: ask.")
    'Spent iron baths: ask.'
    """
    return _texts(topic).get(name, text)


def heading(column: str) -> str:
    """Return a table column's name as a reader knows it; an unknown one loses its underscores.

    Examples
    --------
    >>> from dyelab import words
    >>> words.heading("iron_wof")
    'iron salt (% WOF)'
    """
    texts = _texts("columns")
    metal, _, ending = column.rpartition("_")
    if column not in texts and f"metal_{ending}" in texts:
        return texts[f"metal_{ending}"].format(metal=metal)
    return texts.get(column, column.replace("_", " "))


def in_words(frame: Any) -> Any:
    """Put words for the codes of a table: of steps, readings and tests, and ``none`` everywhere.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import words
    >>> words.in_words(pd.DataFrame({"kind": ["scour"]}))["kind"].tolist()
    ['scour']
    """
    ways = {"kind": heading, "step": heading, "flags": flags, "part": part}
    ways |= {name: partial(wording, of) for name, of in _CODED.items()}
    there = [name for name in ways if name in frame]
    said = {name: frame[name].map(ways[name], na_action="ignore") for name in there}
    codes = {code: _texts("recipe_words")[code] for code in ("none", "whole")}
    if any(code != text for code, text in codes.items()):
        frame = frame.replace(codes)
    return frame.assign(**said)


_CODED = {"method": "reading.", "exposure": "occasion.", "unit": "occasion.unit_"}
_CODED |= {"role": "own_materials.role_"}


def wording(of: str, code: Any) -> str:
    """Return the words of a code whose keys begin alike, or the code as it stands.

    Examples
    --------
    >>> from dyelab import words
    >>> words.wording("occasion.", "rub dry")
    'after dry rubbing'
    """
    key = f"{of}{code}".replace(" ", "_")
    return say(key) if has_text(key) else str(code)


def part(name: Any) -> str:
    """Return a part that was read, such as the cloth sewn beside a swatch, in words.

    Examples
    --------
    >>> from dyelab import words
    >>> words.part("adjacent wool")
    'adjacent wool'
    """
    return str(name).replace("adjacent ", say("fastness_panel.adjacent"))


def flags(codes: Any) -> str:
    """Return the words of a reading's flags.

    Examples
    --------
    >>> from dyelab import words
    >>> words.flags("clipped shadow")
    'too bright for the camera, in shadow'
    """
    return ", ".join(wording("flags.", code) for code in str(codes).split())


def topic(name: str) -> dict[str, str]:
    """Return all texts of a topic, in their order.

    Examples
    --------
    >>> from dyelab import words
    >>> words.topic("verdict")["real"]
    'real'
    """
    return dict(_texts(name))


def _texts(topic: str) -> dict[str, str]:
    return _join(_chosen["folder"], topic)


@cache
def _join(folder: Path, topic: str) -> dict[str, str]:
    return _read(_HERE / _ENGLISH, topic) | _read(folder, topic)


@cache
def _read(folder: Path, topic: str) -> dict[str, str]:
    path = folder / f"{topic}.toml"
    return tomllib.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
