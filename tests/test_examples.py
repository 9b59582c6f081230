"""Every public function has an example in its docstring, and every example runs."""

import doctest
import functools
import importlib
import inspect
from pathlib import Path

import pandas as pd
import pytest

import dyelab

ROOMS = ("book", "calibrate", "card", "compare", "convert", "errors", "files", "grade", "handout")
ROOMS += ("limits", "measure", "numerics", "plan", "predict", "press", "read", "recipe", "shift")
ROOMS += ("synth", "table", "words")
# Asked for by many examples of the same book or photo: worked out once.
SLOW = {
    "book": ("open", "wide"),
    "calibrate": ("find_card", "find_on_card", "reference"),
    "grade": ("drift", "grades", "pair", "study"),
    "measure": ("photo",),
    "predict": ("fit",),
    "read": ("photo",),
    "shift": ("as_dyed",),
}
FLAGS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE


def exported(room):
    """Public functions of a room, by name."""
    module = importlib.import_module(f"dyelab.{room}")
    for name, thing in vars(module).items():
        plain = inspect.unwrap(thing) if callable(thing) else thing
        own = inspect.isfunction(plain) and plain.__module__.startswith(f"dyelab.{room}")
        if own and not name.startswith("_"):
            yield name, plain


def once(function):
    """The function, which answers the same question from memory the second time."""
    kept = {}

    @functools.wraps(function)
    def asked(*args, **named):
        key = tuple(
            str(x) if isinstance(x, str | Path) else id(x) for x in (*args, *named.values())
        )
        if key not in kept:  # what was asked about is kept too, so that its id stays its own
            kept[key] = function(*args, **named), args, named
        return kept[key][0]

    return asked


@pytest.fixture(scope="module", autouse=True)
def _asked_once():
    with pytest.MonkeyPatch.context() as patch:
        for room, names in SLOW.items():
            module = importlib.import_module(f"dyelab.{room}")
            for name in names:
                patch.setattr(module, name, once(getattr(module, name)))
        yield


def test_every_room_is_looked_at():
    assert set(dyelab.MODULES) - {"panel", "plot"} <= set(ROOMS)


@pytest.mark.parametrize("room", ROOMS)
def test_every_public_function_has_an_example_that_runs(room, tmp_path, monkeypatch):
    """``folder`` in an example is a folder of the reader's own."""
    monkeypatch.chdir(tmp_path)
    finder, runner = doctest.DocTestFinder(recurse=False), doctest.DocTestRunner(optionflags=FLAGS)
    wrong = []
    with pd.option_context("display.width", 100):
        for number, (name, function) in enumerate(exported(room)):
            folder = tmp_path / str(number)
            folder.mkdir()
            (test,) = finder.find(function, f"{room}.{name}", globs={"folder": folder}) or [None]
            said = []
            if test is None or not test.examples:
                wrong.append(f"{room}.{name} has no example")
            elif runner.run(test, out=said.append).failed:
                wrong.append("".join(said))
    assert wrong == [], "\n".join(wrong)
