"""Capture: a photo of the card to named colours in the book; wrong corners are dragged right."""

import re
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from dyelab import book as books
from dyelab import calibrate, card, convert, measure, plan, read, words
from dyelab.book import Book
from dyelab.calibrate import map_points
from dyelab.errors import InputError
from dyelab.panel import book_choice, choices, frame, html_parts, save
from dyelab.panel.book_choice import typed_path
from dyelab.panel.capture_names import EMPTY, Naming, Tap, candidates, name_windows, read_names
from dyelab.plot import style
from dyelab.table import BY_INSTRUMENT, LAB

_WHITE = "white"
_TOLD = ("developed", "mixed_light", "target_poor")  # flags of a whole photo that are explained
_COLUMNS = ["place", "swatch", "named_by", *LAB, "u_L", "u_a", "u_b", "flags"]
_WORTH = 12  # windows to read by instrument
_NAMED_BY = ("names", "first", "witnesses")  # choices that name windows; the rest measures anew
_KEPT_AS = ("exposure", "amount", "unit", "method")  # said of the readings, measured or not
_SELDOM = ("target", "own", "boxes", "by_book", "method")
_METHODS = ("photo", "scan")
_GRIP = 9  # pixels of the shown picture
_MOST = 20  # earlier photos offered, the latest first
_SQUARE = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])


def _in_order(book: Book) -> list[tuple[str, str]]:
    """Swatches that the first window may hold, where they lie in the book's order."""
    codes = map(str, book.swatches["swatch"])
    return [(words.say("capture.first_none"), ""), *((code, code) for code in codes)]


def panel(book: frame.BookChoice = None) -> "Capture":
    """Choose a photo, see what was measured where, put it right, name the swatches, add them.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the last one, else the example.
    """
    return Capture(book)


class Capture(frame.Panel):
    """The capture panel: the house frame, shapes that can be dragged, and a button to add."""

    def __init__(self, book: frame.BookChoice = None) -> None:
        self.measured: measure.MeasuredPhoto | None = None
        self.photo: read.Photo | None = None
        self.origin: Path | None = None
        self._moves: dict[str, np.ndarray] = {}
        self.grips: dict[str, np.ndarray] = {}  # all that can be dragged
        self._corrected: list[str] = []
        self._asked = False
        self._labels = pd.DataFrame()
        self._named = Naming({}, {}, self._labels)
        self._goes_with: tuple[measure.Earlier, measure.Kinship] | None = None
        self._joined: measure.JoinedPhoto | None = None
        add = choices.button("capture.add", lambda: self._guard(self.add_to_book))
        self.add = add.add_class("dl-main-button")
        self.tap = Tap(self._lies)
        self.paper = choices.pick(words.say("capture.paper"), list(card.PAPERS))
        kinds = choices.options("capture.card_", card.KINDS)
        self.kind = choices.pick(words.say("capture.card"), kinds)
        super().__init__(
            *("capture", "capture.title", self._offered, self._measured),
            refresh=lambda _opened, made: _fit(self.book, made),  # with what was added since
            actions={
                "capture.write_card": Capture.write_card,
                "capture.write_labels": Capture.write_labels,
            },
            beside=(self.kind, self.paper),
            seldom=_SELDOM,
            book=book,
        )
        self.canvas.moved, self.canvas.pointed = self.move_windows, self.ask_name
        parts = list(self._result.children)
        parts.insert(parts.index(self.busy) + 1, self.add)
        parts.insert(parts.index(self.canvas), self.tap)
        self._result.children = parts

    def write_card(self) -> str:
        """Write the card to print, and say where."""
        path = save.free_path(f"card-{self.kind.value}-{self.paper.value}", ".pdf")
        card.pdf(card.layout(self.paper.value, self.kind.value), path)
        return words.say("frame.saved", path=path)

    def write_labels(self) -> str:
        """Write labels for the book's swatches, numbers given to those without, and say where."""
        numbered = plan.with_label_numbers(self.book)
        if not numbered.swatches.equals(self.book.swatches):
            self.own()
            self.go_on(books.save(numbered, words.say("capture.labels_numbered")))
        path = save.free_path(f"labels-{self.book.path.name}-{self.paper.value}", ".pdf")
        return words.say("frame.saved", path=plan.labels(self.book, path, paper=self.paper.value))

    def follow(self, path: Path) -> None:
        """Keep what was measured when only the book behind it was saved."""
        if self.shows(path):
            self.opened = book_choice.open_book(path)
            choices.set_options(self.choices["first"], _in_order(self.book))
        else:
            super().follow(path)

    def _display(self, shown: frame.Answer) -> None:
        """Offer to add what is in the picture, if anything is."""
        super()._display(shown)
        self.add.layout.display = None if shown.figure is not None else "none"
        if shown.figure is None:
            self.tap.offer([], [])

    def _offered(self, book: Book) -> dict[str, Any]:
        start = str(book_choice.example_photo()) if book_choice.is_example(book) else ""
        targets = choices.options("capture.target_", (*convert.target_names(), _WHITE))
        upload, path = choices.photo(start)
        return {
            "upload": upload,
            "path": path,
            **choices.exposures(),
            "goes_with": choices.pick("capture.goes_with", _earlier(book)),
            "witnesses": choices.text("capture.witnesses"),
            "first": choices.pick("capture.first", _in_order(book)),
            "names": choices.text("capture.names", long=True),
            "target": choices.pick("capture.target", targets),
            "own": choices.text("capture.own"),
            "boxes": choices.number("capture.boxes", 0, high=60, whole=True),
            "by_book": choices.tick("capture.by_book"),
            "method": choices.pick("capture.method", choices.options("capture.", _METHODS)),
        }

    def _recall(self, path: Path) -> None:
        """A photo is chosen anew each time."""

    def _measured(self, _book: Book, **picked: Any) -> frame.Answer:
        if not self._read(picked):
            self.measured = None
            return frame.Answer(words.say("capture.start"))
        assert self.photo is not None
        target = picked["own"].strip() or picked["target"]
        white = target == _WHITE
        reference = None if white else calibrate.reference(target, self.book.white)
        count = int(picked["boxes"])
        if count and reference is None:
            raise InputError(words.say("capture.boxes_need_target"))
        self.measured = self._of(reference, count)
        self._labels = self._read_labels(self.measured)
        known = self._by_instrument(self.measured, picked)
        if len(known):
            self.measured = self._of(reference, count, known)
        self._corrected = list(known["sample"])
        told = picked["goes_with"], self.measured, self.origin, reference
        self._goes_with = measure.with_earlier(self.book, *told) if picked["goes_with"] else None
        return self._told(self.measured, self._naming())

    def _of(
        self, reference: Any, count: int, known: pd.DataFrame | None = None
    ) -> measure.MeasuredPhoto:
        assert self.photo is not None
        if count and reference is not None:
            return measure.boxes(
                self.photo, reference, self._boxes(count), add=known, target=self._target()
            )
        return measure.photo(
            self.photo, reference, pose=self._pose(), target=self._target(),
            windows=self._moves, add=known, white=self.book.white,
        )  # fmt: skip

    def _read_labels(self, made: measure.MeasuredPhoto) -> pd.DataFrame:
        """What the labels above the windows say; nothing where boxes were dragged."""
        assert self.photo is not None
        pose, places = made.setup.pose, list(made.table["place"])
        if pose is None or set(places) != set(pose.layout.places):
            return measure.names_by_label(pd.DataFrame(columns=["place"]), [], self.book.swatches)
        found = measure.read_labels(self.photo, pose)
        return measure.names_by_label(found, places, self.book.swatches)

    def _by_instrument(self, made: measure.MeasuredPhoto, picked: dict[str, Any]) -> pd.DataFrame:
        """Places whose swatches an instrument read in the same state, if the book is asked."""
        names, state = self._naming().swatches, choices.exposure_values(picked)
        told = books.read_by_instrument(self.book, **state).set_index("swatch")
        seen = [p for p in made.table["place"] if p in names]
        places = [p for p in seen if names[p] in told.index]
        if not picked["by_book"]:
            places = []
        elif not places:
            raise InputError(words.say("capture.none_by_book"))
        known = told.loc[[names[p] for p in places]].reset_index(drop=True)
        return known.assign(sample=places)

    def _read(self, picked: dict[str, Any]) -> bool:
        """Read the photo chosen, if there is one; another one forgets what was dragged."""
        origin = save.keep_upload(picked["upload"], "photos")
        if origin is None:
            if not picked["path"].strip():
                return False
            origin = typed_path(picked["path"])
        if self.origin != origin:
            self._moves, self.origin, self.photo = {}, origin, None
        self.photo = self.photo or read.photo(origin)
        return True

    def _pose(self) -> Any:
        """The card's place, if a corner was dragged."""
        corners = [self._moves.get(f"corner {i}") for i in range(4)]
        pose = None if self.measured is None else self.measured.setup.pose
        if self.photo is None or pose is None or all(c is None for c in corners):
            return None
        now = _corners(pose)
        moved = [n if c is None else c for n, c in zip(now, corners, strict=True)]
        return calibrate.from_corners(pose.layout, np.array(moved))

    def _target(self) -> Any:
        """The target's place, if it was dragged."""
        outline = self._moves.get("target")
        return None if outline is None else calibrate.from_outline(outline)

    def _boxes(self, count: int) -> dict[str, np.ndarray]:
        """Boxes where they were dragged, or in a row at the picture's foot to begin with."""
        assert self.photo is not None
        h, w = self.photo.pixels.shape[:2]
        side = min(w / (count + 1), h / 8)
        places = {f"box {i + 1}": (w * (i + 0.6) / (count + 0.2), h * 0.85) for i in range(count)}
        laid = {name: 0.4 * side * _SQUARE + place for name, place in places.items()}
        return {name: self._moves.get(name, quad) for name, quad in laid.items()}

    def move_windows(self, change: dict[str, Any]) -> None:
        """Take what was dragged in the picture, and measure again."""
        for key, value in change.items():
            number = re.match(r"shapes\[(\d+)\]", key)
            if number and isinstance(value, str) and int(number[1]) < len(self.grips):
                points = style.corners(value)
                name = list(self.grips)[int(number[1])]
                self._moves[name] = points.mean(axis=0) if name.startswith("corner") else points
        self.update()

    def _told(self, made: measure.MeasuredPhoto, naming: Naming) -> frame.Answer:
        self._named = naming
        made = self._as_joined(made, naming.swatches)
        how = {p: words.say(f"capture.how_{code}") for p, code in naming.how.items()}
        table = made.table.assign(
            swatch=[naming.swatches.get(place, "") for place in made.table["place"]],
            named_by=[how[place] for place in made.table["place"]],
        )
        doubts = [set(flags.split()) - {EMPTY, BY_INSTRUMENT} for flags in table["flags"]]
        flagged = sum(map(bool, doubts))
        left, flags = made.setup.calibration.patch_error, made.setup.calibration.flags
        notes = [
            *([words.say("capture.flagged", count=flagged)] if flagged else []),
            *naming.notes,
            *_about_pair(self._goes_with, self._joined, self.book),
            words.say("capture.white") if np.isnan(left) else words.say("capture.left", left=left),
            *(words.say(f"capture.{flag}") for flag in _TOLD if flag in flags),
            *([words.say("capture.before_tests")] if self.values["exposure"] == "none" else []),
            words.say("capture.drag"),
            words.say("capture.unsure"),
            *_about_instrument(made, self._corrected),
        ]
        self.tap.offer(naming.open, candidates(self.book), naming.swatches)
        name = self.origin.name if self.origin else ""
        answer = words.say("capture.of_photo", name=name, said=naming.summary)
        shown = table[_COLUMNS].round(2)
        return frame.Answer(answer, self._drawn(made, naming), shown, notes=notes)

    def _drawn(self, made: measure.MeasuredPhoto, naming: Naming) -> go.Figure:
        """Photo with what was measured and each name; corners, target, windows can be dragged."""
        assert self.photo is not None
        h, w = self.photo.pixels.shape[:2]
        self.grips = _grips(made, w * _GRIP / 900)
        figure = go.Figure()
        left, right, top, bottom = _looked_at(made, w, h)
        aspect = (bottom - top) / (right - left)
        figure.update_layout(
            **style.photo(measure.overlay(self.photo, made), (w, h), self.grips.values()),
            annotations=naming.annotations(list(made.table["place"]), made.quads),
            meta={"drag": True, "point": True, "aspect": aspect}, height=620,
            paper_bgcolor="rgba(0,0,0,0)", plot_bgcolor="rgba(0,0,0,0)",
            xaxis={"range": [left, right], "visible": False, "constrain": "domain"},
            yaxis={"range": [bottom, top], "visible": False, "scaleanchor": "x",
                   "constrain": "domain"},
        )  # fmt: skip
        return figure

    def add_to_book(self) -> None:
        """Add the named swatches' readings to the book, with the photo and the shared error."""
        self.own()
        if self.measured is None or self.origin is None:
            raise InputError(words.say("capture.nothing"))
        names = self._naming().swatches
        if names != self._named.swatches:  # nothing is saved that wasn't on its window
            self._show_names()
            self.answer.value = html_parts.notice(words.say("capture.look_again"))
            return
        names = {p: names[p] for p in self.measured.table["place"] if p in names}
        if not names:
            raise InputError(words.say("capture.unnamed"))
        told = self.values
        if self._alone(told):
            self.answer.value = html_parts.notice(words.say("capture.alone"))
            return
        grown, rows = books.add_photo(
            self.book, self._joined.measured if self._joined else self.measured, self.origin,
            names, method=told["method"], **choices.exposure_values(told),
            goes_with=told["goes_with"] if self._joined else "",
            witnesses=_witnesses(told["witnesses"]),
        )  # fmt: skip
        new = len(grown.swatches) - len(self.book.swatches)
        state = choices.exposure_text(told)
        books.save(grown, f"{self.origin.name}, {state}" if self.origin else "")
        self.opened = books.open(grown.path)
        key = "capture.added_new" if new else "capture.added"
        self._forget()
        self._display(frame.Answer(words.say(key, count=len(rows), new=new, state=state)))
        self._tell_others()

    def _alone(self, told: dict[str, Any]) -> bool:
        """Whether to ask once more: a test's photo is weak evidence unless it goes with another."""
        asked, self._asked = self._asked, True
        tested = told["exposure"] != "none" and not told["goes_with"]
        return tested and not asked and bool(_photos(self.book))

    def _forget(self) -> None:
        """The next photo is chosen anew: nothing of this one waits to be added again."""
        self.measured = self.photo = self.origin = None
        self._moves, self._asked = {}, False
        self.put({"upload": (), "path": "", "names": ""})

    def _naming(self) -> Naming:
        """Which swatch lies where, by what is chosen now."""
        assert self.measured is not None
        return name_windows(self.measured.table, self._labels, self.book, self.values, self.origin)

    def _changed(self, change: Any) -> None:
        """Measure anew where something else is to be measured; else show what it is called."""
        chosen = [name for name, widget in self.choices.items() if widget is change["owner"]]
        if self._quiet or not {*chosen} & {*_NAMED_BY, *_KEPT_AS}:
            super()._changed(change)
            return
        self._guard(self._fit)
        if self.measured is not None:  # else what was just told stays to be read
            self._guard(self._show_names)

    def ask_name(self, x: float, y: float) -> None:
        """Ask which swatch lies in the window that was tapped."""
        if self.measured is None:
            return
        for place, quad in zip(self.measured.table["place"], self.measured.quads, strict=True):
            if _within(quad, x, y):
                self.tap.turn_to(place)

    def _lies(self, place: str, swatch: str) -> None:
        """Write down which swatch lies in a window, as if it had been typed."""
        held = read_names(self.choices["names"].value) | {place: swatch}
        self.choices["names"].value = "\n".join(f"{p} = {s}" for p, s in held.items())

    def _as_joined(
        self, made: measure.MeasuredPhoto, names: dict[str, str]
    ) -> measure.MeasuredPhoto:
        """The photo as going with the earlier one chosen, if it does."""
        self._joined = None
        if self._goes_with and self._goes_with[1].verdict == "together":
            seen = _witnesses(self.values["witnesses"])
            self._joined = measure.join(*self._goes_with, made, names, seen)
        return made if self._joined is None else self._joined.measured

    def _show_names(self) -> None:
        assert self.measured is not None
        self._display(self._told(self.measured, self._naming()))


def _about_instrument(made: measure.MeasuredPhoto, corrected: list[str]) -> list[str]:
    """What an instrument did for this photo, or where it would do most."""
    if corrected:
        return [words.say("capture.by_instrument", count=len(corrected))]
    filled = made.table[~made.table["flags"].str.contains("empty")]
    if filled.empty:
        return []
    (places,) = measure.worth_reading(filled, min(_WORTH, len(filled) // 2 + 1)).values()
    return [words.say("capture.worth_reading", places=", ".join(places))]


def _within(quad: np.ndarray, x: float, y: float) -> bool:
    """Whether a point lies in a convex quadrilateral."""
    sides = np.roll(quad, -1, axis=0) - quad
    turns = sides[:, 0] * (y - quad[:, 1]) - sides[:, 1] * (x - quad[:, 0])
    return bool((turns >= 0).all() or (turns <= 0).all())


def _fit(book: Book, made: dict[str, Any]) -> None:
    """Ask only what what was chosen before makes sense of."""
    choices.fit_exposure(made)
    choices.set_options(made["goes_with"], _earlier(book))  # the photos that it has by now
    made["goes_with"].layout.display = None if len(made["goes_with"].options) > 1 else "none"
    made["witnesses"].layout.display = None if made["goes_with"].value else "none"


def _earlier(book: Book) -> list[tuple[str, str]]:
    return [(words.say("capture.goes_alone"), ""), *_photos(book)]


def _photos(book: Book) -> list[tuple[str, str]]:
    """Photos of the book that another can go with: what they are called here, and their source."""
    rows = book.readings[book.readings["method"].eq("photo")]
    rows = rows[rows["reading"].isin(book.shared["reading"])]
    names = dict(zip("photos/" + book.photos["photo"], book.photos["original"], strict=True))
    found = []
    for source, codes in rows.groupby("source", sort=False)["swatch"].agg(list).items():
        told = {"name": names.get(source, source), "first": codes[0], "last": codes[-1]}
        named = words.say("capture.photo_called", count=len(codes), **told)
        found.append((named, str(source)))
    return found[::-1][:_MOST]


def _witnesses(text: str) -> tuple[str, ...]:
    """Swatch codes, parted by commas or spaces."""
    return tuple(text.replace(",", " ").replace(";", " ").split())


def _about_pair(pair: Any, made: measure.JoinedPhoto | None, book: Book) -> list[str]:
    """Whether the photos go together, and what the witnesses saw."""
    if pair is None:
        return [words.say("capture.may_go_with")] if _photos(book) else []
    return measure.pair_sentences(pair[1], made)


def _corners(pose: Any) -> np.ndarray:
    """Outer corners of the four markers, in pixels: what `calibrate.from_corners` takes."""
    page = np.array([m.corners[i] for i, m in enumerate(pose.layout.markers)])
    return map_points(pose.to_pixels, page)


def _looked_at(made: measure.MeasuredPhoto, w: int, h: int) -> tuple[float, float, float, float]:
    """Left, right, top and bottom of what matters in the picture: the card, if there is one."""
    if made.setup.pose is None:
        return 0, w, 0, h
    wide, high = made.setup.pose.layout.page_mm
    page = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], float)
    around = map_points(made.setup.pose.to_pixels, page)
    (left, top), (right, bottom) = around.min(axis=0), around.max(axis=0)
    room = 0.03 * max(right - left, bottom - top)
    return max(left - room, 0), min(right + room, w), max(top - room, 0), min(bottom + room, h)


def _grips(made: measure.MeasuredPhoto, size: float) -> dict[str, np.ndarray]:
    """Everything that can be dragged, by name, as quadrilaterals in pixels."""
    grips = {}
    if made.setup.pose is not None:
        corners = enumerate(_corners(made.setup.pose))
        grips = {f"corner {i}": size * _SQUARE + corner for i, corner in corners}
    if made.setup.target is not None:
        grips["target"] = made.setup.target.outline
    return grips | dict(zip(made.table["place"], made.quads, strict=True))
