"""The explorer: the house frame, and buttons that take a recipe further."""

from typing import Any

from dyelab import book as books
from dyelab import plan, words
from dyelab.errors import InputError
from dyelab.panel import frame
from dyelab.panel.explore import answers, bench, offered, spot

_PUT = "exploring.put"
_TAKES = {  # tasks that each button takes further
    "exploring.aim": ("spot",),
    "exploring.take": ("find", "next"),
    _PUT: ("recipe", "find", "next"),
}


class Explorer(frame.Panel):
    """The panel, with the buttons that take a recipe further."""

    def __init__(self, book: frame.BookChoice = None) -> None:
        works = (Explorer.aim, Explorer.take_first, Explorer.into)
        super().__init__(
            *("explore", "exploring.title", offered.choose, answers.show),
            refresh=offered.fit,
            prepare=bench.prepare,
            actions=dict(zip(_TAKES, works, strict=True)),
            book=book,
        )
        self.canvas.moved, self.canvas.pointed = self._dragged, self._pointed

    def _display(self, shown: frame.Answer) -> None:
        """Show the buttons that can take further what is shown."""
        super()._display(shown)
        task = self.choices["task"].value if self.choices else ""
        few = self.opened is not None and self.ready is not None and self.ready.model is None
        for name, button in self.actions.items():
            can = name == _PUT and not self.ready.has_printed_areas if few else task in _TAKES[name]
            button.layout.display = None if can else "none"

    def aim(self) -> str:
        """Look for a recipe for the spot in the photo."""
        if self.values["task"] != "spot" or "spot" not in self.ready.kept:
            raise InputError(words.say("exploring.no_spot"))
        reading = self.ready.kept["spot"]
        self.ready.kept["aim"] = reading
        self._set({"wanted": spot.text(reading), "task": "find"})
        return ""

    def _dragged(self, change: dict[str, Any]) -> None:
        middle = spot.dragged_middle(change)
        if middle is not None:
            self._pointed(*middle)

    def _pointed(self, x: float, y: float) -> None:
        """Move the spot there."""
        if self.values.get("task") == "spot" and "scene" in self.ready.kept:
            self._set(spot.place(self.ready.kept["scene"], x, y))

    def _set(self, values: dict[str, Any]) -> None:
        """Set several choices and show once."""
        self.put(values)
        self._guard(self._fit)
        self.update()

    def take_first(self) -> str:
        """Set the sliders to the first recipe listed."""
        rows = answers.recipes(self.ready, self.values)
        if self.values.get("task") not in ("find", "next") or rows.empty:
            raise InputError(words.say("exploring.nothing_found"))
        best = offered.slider_values(rows.iloc[0])
        with self.quiet():
            for name in ("fibre", *offered.DOSED, "over", "dips"):
                self.choices[name].value = best.pop(name)
            self._fit()
        told = {name: dose for name, dose in best.items() if name in self.choices and dose == dose}
        self._set({**told, "task": "recipe"})
        return ""

    def into(self) -> str:
        """Put the recipes found into the book, as a series to dye."""
        rows = answers.recipes(self.ready, self.values)
        if rows.empty:
            raise InputError(words.say("exploring.nothing_to_plan"))
        self.own("exploring.example_kept", put=words.say(_PUT))
        name = words.say("exploring.series")
        planned = plan.of_recipes(rows, name=name, keep=self.book)
        saved = books.save(plan.add_series(self.book, planned), name)
        self.go_on(saved)
        told = {"swatches": str(len(planned.swatches)), "book": saved.title, "name": name}
        return words.say("exploring.put_in", **told)


def panel(book: frame.BookChoice = None) -> Explorer:
    """Move the doses of a recipe nobody has dyed yet; see the colours it may give.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the last one, else the example.
    """
    return Explorer(book)
