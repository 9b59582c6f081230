"""How much is read from a file somebody gave us: every limit stands here, with the words for it.

The numbers are several times what the largest honest file holds that we could think of: a book
of ten thousand readings at 1 nm, a scan of A3 at 600 dpi. Past them a file is damaged or made
to harm, and is refused before it is read.
"""

import stat
from pathlib import Path

from dyelab.errors import InputError

MEGABYTE = 2**20
HISTORY_BYTES = MEGABYTE  # one version's list of files has a few hundred bytes a table
TABLE_BYTES = 256 * MEGABYTE  # readings, spectra, an instrument's file
PHOTO_BYTES = 512 * MEGABYTE
UNPACKED_BYTES = 4096 * MEGABYTE  # all that a zip holds
ROWS = 1_000_000
COLUMNS = 2_000  # 1 nm from 300 to 1100 with room for a user's own
CELLS = 5_000_000  # of one sheet; 10,000 spectra at 1 nm have 4 million
LETTERS = 100_000  # in one cell; a spreadsheet's own limit is 32,767
DIGITS = 40  # in one number; a double has 17
DEPTH = 60  # of brackets within brackets
PIXELS = 80_000_000  # A3 at 600 dpi has 70 million; in 16 bits these take 480 MB
FLAT_PIXELS = 8_000_000  # up to here a picture may be as flat as it likes
PIXELS_A_BYTE = 100  # a sharp photo of cloth has 0.3 to 6, the flattest scan of paper some 20


def need(found: float, most: float, what: str, where: str) -> None:
    """Refuse what is more than a limit.

    Raises
    ------
    InputError
        ``scan.png: 169,000,000 pixels, the most that is read is 150,000,000. …``
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
    """
    file = Path(path)
    try:
        about = file.stat()
        if not stat.S_ISREG(about.st_mode):
            raise InputError(f"{file}: not a file. Check the name and the folder.")
        need(about.st_size, most, "bytes", file.name)
        return file.read_bytes()
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        said = getattr(error, "strerror", None) or error
        raise InputError(f"{file}: can't be read ({said}). Check the name and the folder.") from (
            error
        )
