"""How much is read from a file somebody gave us: every limit stands here, with the words for it.

The numbers are several times what the largest honest file holds that we could think of: a book
of ten thousand readings at 1 nm, a scan of A3 at 600 dpi. Past them a file is damaged or made
to harm, and is refused before it is read.
"""

import functools
import signal
import stat
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

from dyelab.errors import InputError

MEGABYTE = 2**20
HISTORY_BYTES = MEGABYTE  # one version's list of files has a few hundred bytes a table
UNPACKED_BYTES = 4096 * MEGABYTE  # all that a zip holds
TABLE_BYTES = 256 * MEGABYTE  # readings, spectra, an instrument's file
PHOTO_BYTES = 512 * MEGABYTE  # a raw file of 150 megapixels has 300
ROWS = 1_000_000  # ten times the largest book tried (tests/benchmarks/book_size.py)
COLUMNS = 2_000  # 1 nm from 300 to 1100 with room for a user's own
CELLS = 5_000_000  # of one sheet; 10,000 spectra at 1 nm have 4 million
LETTERS = 100_000  # in one cell; a spreadsheet's own limit is 32,767
PHRASE = (
    1_000  # of a cell or heading that is looked through for what it says; longer ones are notes
)
DIGITS = 40  # in one number; a double has 17
DEPTH = 60  # of brackets within brackets
PIXELS = 80_000_000  # A3 at 600 dpi has 70 million; in 16 bits these take 480 MB
FLAT_PIXELS = 8_000_000  # up to here a picture may be as flat as it likes
SECONDS = 60  # of computing for one file; the largest honest ones take 10 to 20
AGAIN = 1  # s between refusals, since a library may swallow the first one
PIXELS_A_BYTE = 100  # a sharp photo of cloth has 0.3 to 6, the flattest scan of paper some 20

_Given = ParamSpec("_Given")
_Read = TypeVar("_Read")


def in_time(reader: Callable[_Given, _Read]) -> Callable[_Given, _Read]:
    """Have a reader of files refuse what it can't read in `SECONDS`; its first value is named.

    Processor time is counted, so that a busy machine refuses nothing. Only the main thread of a
    system with interval timers can be stopped so (not Windows); elsewhere the reader goes on.

    Examples
    --------
    >>> from dyelab import limits
    >>> limits.in_time(len)("card")
    4
    """

    @functools.wraps(reader)
    def timed(*given: _Given.args, **named: _Given.kwargs) -> _Read:
        if not _can_stop():
            return reader(*given, **named)
        where = str(named.get("name") or _name(given))

        def stop(*_: Any) -> None:
            raise InputError(
                f"{where}: not read after {SECONDS} s of computing, the most that is given to one "
                "file. It may be damaged: save it again from where it came, or split it."
            )

        before = signal.signal(signal.SIGPROF, stop)
        signal.setitimer(signal.ITIMER_PROF, SECONDS, AGAIN)
        try:
            return reader(*given, **named)
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)
            signal.signal(signal.SIGPROF, before)

    return timed


def _can_stop() -> bool:
    """Whether a timer can run here and none does."""
    main = threading.current_thread() is threading.main_thread()
    return main and hasattr(signal, "setitimer") and not any(signal.getitimer(signal.ITIMER_PROF))


def _name(given: tuple[Any, ...]) -> str:
    return Path(given[0]).name if given and isinstance(given[0], str | Path) else "the file"


def check(found: float, most: float, what: str, where: str) -> None:
    """Refuse what is more than a limit.

    Raises
    ------
    InputError
        ``scan.png: 169,000,000 pixels, the most that is read is 150,000,000. …``

    Examples
    --------
    >>> from dyelab import limits
    >>> limits.check(3, 10, "rows", "a.csv")
    """
    if found > most:
        raise InputError(
            f"{where}: {found:,.0f} {what}, the most that is read is {most:,.0f}. "
            "Give a smaller file, or split it."
        )


def content(path: str | Path, most: int = TABLE_BYTES) -> bytes:
    """Return the bytes of a plain file that is not larger than a limit.

    Raises
    ------
    InputError
        If it is no file (a folder, a pipe, a device), is larger, or can't be read.

    Examples
    --------
    >>> from dyelab import limits
    >>> _ = (folder / "note.txt").write_text("dyed", "utf-8")
    >>> limits.content(folder / "note.txt")
    b'dyed'
    """
    file = Path(path)
    try:
        about = file.stat()
        if not stat.S_ISREG(about.st_mode):
            raise InputError(f"{file}: not a file. Check the name and the folder.")
        check(about.st_size, most, "bytes", file.name)
        return file.read_bytes()
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        said = getattr(error, "strerror", None) or error
        raise InputError(f"{file}: can't be read ({said}). Check the name and the folder.") from (
            error
        )
