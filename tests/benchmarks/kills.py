"""Kill a process at random moments of adding, merging, photos, undo and import; count what is lost.

    python tests/benchmarks/kills.py [KILLS]

Each round a child works on a book and writes down what it has been told is saved; then it is killed
and the book is opened. Lost is what was told and is not there; torn is a book with faults.
"""

import os
import random
import signal
import sys
import tempfile
import time
from pathlib import Path

import pandas as pd

from dyelab import book

READING = ["reading", "swatch", "exposure", "method", "illuminant", "observer", "L", "a", "b"]


def more(bk, code):
    """Add a swatch with a reading and a spectrum."""
    readings = [(f"R-{code}", code, "none", "typed", "D65", 10, 50, 1, 2)]
    return book.add(
        bk,
        swatches=pd.DataFrame([{"swatch": code}]),
        readings=pd.DataFrame(readings, columns=READING),
        spectra=pd.DataFrame({"reading": [f"R-{code}"], "400": [0.25]}),
    )


def work(path, log, kind, turn, scratch):
    """Do one kind of thing over and over; what is saved is written down at once."""

    def told(line):
        log.write(f"{line}\n")
        log.flush()

    for i in range(1000):
        code, bk = f"{kind}{turn}-{i}", book.open(path)
        if kind == "merge":
            other = book.save(more(book.create(scratch / code), code))
            bk = book.merge(bk, other)[0]
        elif kind == "import":
            (scratch / "own.csv").write_text(f"swatch,note\n{code},from a spreadsheet\n")
            bk = more(bk, code)
        elif kind == "photo":
            (scratch / "p.jpg").write_text(code)
            bk, _ = book.keep_photo(more(bk, code), scratch / "p.jpg", swatches=[code])
        else:
            bk = more(bk, code)
        book.save(bk)
        if kind == "undo":
            book.undo(path)
            book.redo(path)
        told(code)


def _wait(log, saves, more):
    """Wait until so many saves were told, however busy the machine, and a moment more."""
    end = time.monotonic() + 30
    while log.read_text().count("\n") < saves and time.monotonic() < end:
        time.sleep(0.01)
    time.sleep(more)


def main(kills):
    """Print the count of kills, of saves told, and of what was lost or torn."""
    chance, lost, torn, saved = random.Random(7), 0, 0, 0
    kinds = ("add", "merge", "photo", "undo", "import")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        path = folder / "b"
        book.save(more(book.create(path), "first"))
        for turn in range(kills):
            kind, log = kinds[turn % len(kinds)], folder / "log"
            log.write_text("")
            scratch = folder / f"scratch{turn}"
            scratch.mkdir()
            pid = os.fork()
            if pid == 0:
                with log.open("a") as out:
                    work(path, out, kind, turn, scratch)
                os._exit(0)
            _wait(log, chance.randrange(4), chance.uniform(0, 0.3))
            os.kill(pid, signal.SIGKILL)
            os.waitpid(pid, 0)
            bk = book.open(path)
            there = set(bk.swatches["swatch"])
            told = [line for line in log.read_text().split("\n")[:-1] if line]
            saved += len(told)
            lost += len(set(told) - there)
            held = {p.name for p in (path / "photos").glob("*")} if bk.path else set()
            torn += bool(len(book.check(path))) or not set(bk.photos["photo"]) <= held
            if len(there) > 60:  # so that later rounds are as quick as the first
                book.save(book.remove(bk, sorted(there - {"first"})))
            if (turn + 1) % 25 == 0 or turn + 1 == kills:
                left = len(list(path.rglob("*.part")))
                print(
                    f"{turn + 1} kills, {saved} saves told, {lost} lost, {torn} torn, "
                    f"{left} parts left",
                    flush=True,
                )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 500)
