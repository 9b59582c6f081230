"""Readings of a spectrophotometer or colorimeter: a file or typed lines, into the book."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import ipywidgets as widgets
import pandas as pd

from dyelab import convert, read, words
from dyelab.book import Book
from dyelab.errors import InputError
from dyelab.panel import book_choice, choices, exposure, frame, save
from dyelab.panel.capture_names import named
from dyelab.panel.typed_path import typed
from dyelab.table import (
    CONDITIONS,
    EXPOSURE,
    LAB,
    M_CONDITIONS,
    STANDARD_UNCERTAINTIES,
    conditions_text,
    white_text,
)

_METHODS = ("colorimeter", "spectral", "typed")
_SHOWN = ["reading", "swatch", *EXPOSURE, *LAB, *STANDARD_UNCERTAINTIES, "flags"]
_USUAL_WHITES = ("D65/10°", "D65/2°", "D50/2°", "C/2°", "A/10°")
_GEOMETRIES = ("45/0", "0/45", "d/8", "d/0")
_OFFERED = ("white", "sheet", "reading")
_MANY = 24  # patches shown


@dataclass(frozen=True)
class _Found:
    """What was read, as rows for the book, and what had to be decided."""

    made: Any
    notes: tuple[str, ...]


class Instrument(frame.Panel):
    """The panel that looks at readings first and adds them when asked."""

    def __init__(self, book: frame.Chosen = None) -> None:
        self.add = widgets.Button(description=words.say("instrument.add"))
        self.add.add_class("dl-button")
        self.add.add_class("dl-main-button")
        self.add.on_click(lambda _: self.tell(self.added))
        title = words.say("instrument.title")
        super().__init__(
            "instrument", title, _choose, _show, refresh=_fit, remember=False, book=book
        )
        self.under(self.add)

    def added(self) -> str:
        """Add what is shown to the book, and say so."""
        from dyelab import book as books

        book_choice.own(self.book)
        found = _found(self.book, **self.values)
        count = len(found.made.readings)
        grown = books.add_readings(self.book, found.made)
        saved = books.save(grown, words.say("instrument.saved_as", count=count))
        self._take(saved.path, saved)
        return words.say("instrument.added", count=count, left=len(found.made.left))


def panel(book: frame.Chosen = None) -> Instrument:
    """Choose a measurement file, or type values; see what it holds; add it to the book.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the example.
    """
    return Instrument(book)


def _choose(_book: Book) -> dict[str, Any]:
    def say(key: str) -> str:
        return words.say(f"instrument.{key}")

    every = [f"{name}/{degrees}°" for name in convert.illuminants() for degrees in (10, 2)]
    whites = [(name, name) for name in dict.fromkeys((*_USUAL_WHITES, *every))]
    return {
        "upload": choices.upload(say("upload"), ".txt,.cgats,.cxf,.xml,.csv,.tsv,.xlsx"),
        "path": choices.text(say("path"), hint=say("path_hint")),
        "typed": choices.text(say("typed"), hint=say("typed_hint"), long=True),
        "sheet": choices.text(say("sheet"), hint=say("sheet_hint")),
        "reading": choices.text(say("reading"), hint=say("reading_hint")),
        "white": choices.pick(say("white"), [(say("white_stated"), ""), *whites]),
        "adapt": choices.tick(say("adapt"), note=say("adapt_note")),
        "method": choices.pick(say("method"), [(say(f"from_{m}"), m) for m in _METHODS]),
        **_conditions(say),
        **exposure.offered(),
        "names": choices.text(say("names"), hint=say("names_hint"), long=True),
        "repeat": choices.number(say("repeat"), 0, low=0, high=5, step=0.05, unit=""),
    }


def _conditions(say: Any) -> dict[str, Any]:
    """How it was read, where the file doesn't say."""
    blank = [(say("not_stated"), "")]
    gloss = [(say(f"specular_{kind}"), kind) for kind in ("in", "out")]
    lamps = [(say(name.lower()), name) for name in M_CONDITIONS]
    return {
        "geometry": choices.pick(say("geometry"), [*blank, *((g, g) for g in _GEOMETRIES)]),
        "specular": choices.pick(say("specular"), [*blank, *gloss]),
        "m_condition": choices.pick(say("m_condition"), [*blank, *lamps]),
        "aperture_mm": choices.number(say("aperture"), 0, low=0, high=100, step=0.5, unit="mm"),
        "backing": choices.text(say("backing"), hint=say("backing_hint")),
        "layers": choices.number(say("layers"), 0, low=0, high=64, unit=""),
    }


def _fit(_book: Book, made: dict[str, Any]) -> None:
    exposure.fit(made)


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
    path = save.uploaded(picked["upload"], "readings") or _named(picked["path"])
    if path is None:
        raise InputError(words.say("instrument.start"))
    found = read.measurements(
        path, illuminant=illuminant or None, observer=int(degrees) if degrees else None,
        sheet=picked["sheet"].strip() or None, geometry=picked["reading"].strip() or None,
        options={name: words.say(f"instrument.offer_{name}") for name in _OFFERED},
    )  # fmt: skip
    return found.lab, found.spectra, found.notes


def _named(text: str) -> Path | None:
    return typed(text) if text.strip() else None


def _found(book: Book, **picked: Any) -> _Found:
    from dyelab import book as books

    lab, spectra, notes = _read(book, **picked)
    made = books.instrument_readings(
        book,
        lab,
        spectra,
        names=named(picked["names"]),
        method=picked["method"],
        repeat=picked["repeat"] or None,
        adapt=picked["adapt"],
        conditions={name: picked[name] for name in CONDITIONS if picked[name]},
        **exposure.told(picked),
    )
    return _Found(made, notes)


def _show(book: Book, **picked: Any) -> frame.Shown:
    found = _found(book, **picked)
    readings, left, notes = found.made.readings, found.made.left, list(found.notes)
    if len(left):
        notes.insert(0, words.say("instrument.left", names=", ".join(left["sample"].unique()[:12])))
    notes += _told_of(readings)
    notes.append(words.say("instrument.sure_stated" if picked["repeat"] else "instrument.sure"))
    sentence = words.say(
        "instrument.told", count=len(readings), swatches=readings["swatch"].nunique(),
        left=len(left), add=words.say("instrument.add"),
    )  # fmt: skip
    variances = readings[["var_L", "var_a", "var_b"]].to_numpy(float) ** 0.5
    table = readings.assign(**dict(zip(STANDARD_UNCERTAINTIES, variances.T, strict=True)))
    return frame.Shown(sentence, table=table[_SHOWN].round(2), chips=_chips(readings), notes=notes)


def _told_of(readings: pd.DataFrame) -> list[str]:
    """How the readings were made, and which of them shine of themselves."""
    read_as = readings.apply(conditions_text, axis=1) if len(readings) else []
    how = " · ".join(dict.fromkeys(filter(None, read_as))) or words.say("instrument.not_stated")
    notes = [words.say("instrument.conditions", how=how)]
    glowing = readings.loc[readings["flags"].str.contains("fluorescent"), "swatch"].unique()
    if len(glowing):
        notes.append(words.say("instrument.fluorescent", names=", ".join(glowing)))
    return notes


def _chips(readings: pd.DataFrame) -> list[frame.Chip]:
    return [
        frame.Chip(
            str(row["swatch"]),
            (row["L"], row["a"], row["b"]),
            illuminant=str(row["illuminant"]),
            observer=int(row["observer"]),
        )
        for row in readings.head(_MANY).to_dict("records")
    ]
