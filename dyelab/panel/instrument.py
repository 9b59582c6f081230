"""Readings of a spectrophotometer or colorimeter: a file or typed lines, into the book."""

from dataclasses import dataclass
from typing import Any

import pandas as pd

from dyelab import book as books
from dyelab import convert, read, words
from dyelab.book import Book, InstrumentReadings
from dyelab.errors import InputError
from dyelab.panel import choices, frame, save
from dyelab.panel.book_choice import typed_path
from dyelab.panel.capture_names import read_names
from dyelab.table import (
    CONDITIONS,
    EXPOSURE,
    LAB,
    M_CONDITIONS,
    STANDARD_UNCERTAINTIES,
    conditions_text,
    covariances,
    white_text,
    with_uncertainties,
)

_METHODS = ("colorimeter", "spectral", "typed")
_SHOWN = ["reading", "swatch", *EXPOSURE, *LAB, *STANDARD_UNCERTAINTIES, "flags"]
_USUAL_WHITES = ("D65/10°", "D65/2°", "D50/2°", "C/2°", "A/10°")
_GEOMETRIES = ("45/0", "0/45", "d/8", "d/0")
_OFFERED = ("white", "sheet", "reading")
_SELDOM = ("sheet", "reading", "white", "adapt", "method", *CONDITIONS, "repeat")
_MANY = 24  # patches shown


@dataclass(frozen=True)
class _Found:
    """What was read, as rows for the book, and what had to be decided."""

    book: Book  # with the swatches that are to be entered as new
    made: InstrumentReadings
    notes: tuple[str, ...]


def panel(book: frame.BookChoice = None) -> frame.Panel:
    """Choose a measurement file, or type values; see what it holds; add it to the book.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the last one, else the example.
    """
    return frame.Panel(
        *("instrument", "instrument.title", _choose, _show),
        refresh=lambda _book, made: choices.fit_exposure(made),
        actions={"instrument.add": _add},
        main=True,
        remember="session",
        seldom=_SELDOM,
        book=book,
    )


def _add(panel: frame.Panel) -> str:
    """Add what is shown to the book, and say so."""
    found, typed_ = _find(panel.own(), **panel.values), panel.values["typed"]
    count, left = len(found.made.readings), found.made.left
    what = words.say("instrument.saved_as", count=count)
    panel.save_book(books.add_readings(found.book, found.made), what)
    panel.choices["typed"].value = _still(typed_, set(left["sample"]))
    return words.say("instrument.added", count=count, left=len(left))


def _choose(_book: Book) -> dict[str, Any]:
    every = [f"{name}/{degrees}°" for name in convert.illuminants() for degrees in (10, 2)]
    whites = [(name, name) for name in dict.fromkeys((*_USUAL_WHITES, *every))]
    stated = words.say("instrument.white_stated")
    kinds = ".txt,.cgats,.cxf,.xml,.csv,.tsv,.xlsx"
    upload, path = choices.file("instrument.upload", kinds, "instrument.path")
    return {
        "upload": upload,
        "path": path,
        "typed": choices.text("instrument.typed", long=True),
        "sheet": choices.text("instrument.sheet"),
        "reading": choices.text("instrument.reading"),
        "white": choices.pick("instrument.white", [(stated, ""), *whites]),
        "adapt": choices.tick("instrument.adapt"),
        "method": choices.pick("instrument.method", choices.options("instrument.from_", _METHODS)),
        **_conditions(),
        **choices.exposures(),
        "names": choices.text("instrument.names", long=True),
        "new": choices.tick("instrument.new"),
        "repeat": choices.number("instrument.repeat", 0, high=5, step=0.05),
    }


def _conditions() -> dict[str, Any]:
    """How it was read, where the file doesn't say."""
    blank = [(words.say("instrument.not_stated"), "")]
    gloss = choices.options("instrument.specular_", ("in", "out"))
    lamps = [(words.say(f"instrument.{name.lower()}"), name) for name in M_CONDITIONS]
    return {
        "geometry": choices.pick("instrument.geometry", [*blank, *((g, g) for g in _GEOMETRIES)]),
        "specular": choices.pick("instrument.specular", [*blank, *gloss]),
        "m_condition": choices.pick("instrument.m_condition", [*blank, *lamps]),
        "aperture_mm": choices.number("instrument.aperture", 0, high=100, step=0.5, unit="mm"),
        "backing": choices.text("instrument.backing"),
        "layers": choices.number("instrument.layers", 0, high=64, whole=True),
    }


def _read(
    book: Book, **picked: Any
) -> tuple[pd.DataFrame | None, pd.DataFrame | None, tuple[str, ...]]:
    """CIELAB and spectra of the file or of the typed lines, and what had to be decided."""
    illuminant, _, degrees = picked["white"].rstrip("°").partition("/")
    if picked["typed"].strip():
        white = (illuminant, int(degrees)) if illuminant else book.white
        lab = read.typed_lines(picked["typed"], illuminant=white[0], observer=white[1])
        told = words.say("instrument.typed_white", white=white_text(white))
        return lab, None, () if illuminant else (told,)
    path = save.keep_upload(picked["upload"], "readings")
    if path is None and not picked["path"].strip():
        raise InputError(words.say("instrument.start"))
    found = read.measurements(
        path or typed_path(picked["path"]),
        illuminant=illuminant or None, observer=int(degrees) if degrees else None,
        sheet=picked["sheet"].strip() or None, geometry=picked["reading"].strip() or None,
        options={name: words.say(f"instrument.offer_{name}") for name in _OFFERED},
    )  # fmt: skip
    return found.lab, found.spectra, found.notes


def _find(book: Book, **picked: Any) -> _Found:
    lab, spectra, notes = _read(book, **picked)
    given = read_names(picked["names"])
    made = _rows(book, lab, spectra, given, picked)
    if picked["new"] and len(made.left):
        book = books.enter(book, [given.get(n, n) for n in made.left["sample"].unique()])
        made = _rows(book, lab, spectra, given, picked)
    return _Found(book, made, notes)


def _rows(book: Book, lab: Any, spectra: Any, given: dict[str, str], picked: Any) -> Any:
    return books.instrument_readings(
        book, lab, spectra, names=given, method=picked["method"],
        repeat=picked["repeat"] or None, adapt=picked["adapt"],
        conditions={name: picked[name] for name in CONDITIONS if picked[name]},
        **choices.exposure_values(picked),
    )  # fmt: skip


def _still(text: str, left: set[str]) -> str:
    """The typed lines that were left out: they stay, to be put right."""
    lines = [line for line in text.splitlines() if line.strip()]
    if not lines:
        return ""
    samples = read.typed_lines(text, illuminant="D65", observer=10)["sample"]
    return "\n".join(line for line, name in zip(lines, samples, strict=True) if name in left)


def _show(book: Book, **picked: Any) -> frame.Answer:
    found = _find(book, **picked)
    readings, left, notes = found.made.readings, found.made.left, list(found.notes)
    if len(left):
        unknown = ", ".join(left["sample"].unique()[:12])
        new = words.say("instrument.new")
        notes.insert(0, words.say("instrument.left", names=unknown, new=new))
    notes += _told_of(readings)
    notes.append(words.say("instrument.sure_stated" if picked["repeat"] else "instrument.sure"))
    if readings.empty:
        return frame.Answer(words.say("instrument.none_known", left=len(left)), notes=notes[:1])
    sentence = words.say(
        "instrument.told", count=len(readings), swatches=readings["swatch"].nunique(),
        left=len(left), add=words.say("instrument.add"),
    )  # fmt: skip
    table = with_uncertainties(readings, covariances(readings))
    few = readings.head(_MANY).to_dict("records")
    chips = [frame.Chip.of(row, str(row["swatch"])) for row in few]
    return frame.Answer(sentence, table=table[_SHOWN].round(2), chips=chips, notes=notes)


def _told_of(readings: pd.DataFrame) -> list[str]:
    """How the readings were made, and which of them shine of themselves."""
    read_as = readings.apply(conditions_text, axis=1) if len(readings) else []
    how = " · ".join(dict.fromkeys(filter(None, read_as))) or words.say("instrument.not_stated")
    notes = [words.say("instrument.conditions", how=how)]
    glowing = readings.loc[
        readings["flags"].astype(str).str.contains("fluorescent"), "swatch"
    ].unique()
    if len(glowing):
        notes.append(words.say("instrument.fluorescent", names=", ".join(glowing)))
    return notes
