"""Files that are whole or absent: atomic writing, CSV cells as text, what the package ships."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    pass

_HERE = Path(__file__).resolve().parent


@contextmanager
def whole(path: str | Path, *, binary: bool = False) -> Iterator[Any]:
    """Open a file that appears under its name only once it is complete.

    Parameters
    ----------
    path : str or Path
        Where the file shall be. Its folder is made if missing.
    binary : bool
        Bytes instead of UTF-8 text.

    Yields
    ------
    file object
        Write to it; when the block ends well it is flushed to disk and renamed to
        `path`, when it raises nothing is left behind.
    """
    target = Path(path)
    target.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent)
    try:
        text: dict[str, Any] = {} if binary else {"encoding": "utf-8", "newline": ""}
        with os.fdopen(handle, "wb" if binary else "w", **text) as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        os.chmod(name, 0o666 & ~_umask())
        os.replace(name, target)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def shipped(*parts: str) -> Path:
    """Path of something that comes with dyelab: ``shipped("data", "studio")``.

    An installed wheel carries it inside the package, a checkout at its top level.
    """
    packed = _HERE / "_shipped"
    return (packed if packed.is_dir() else _HERE.parent).joinpath(*parts)


_FORMULA = ("=", "+", "-", "@", "\t", "\r", "'")


def plain(text: str) -> str:
    """Neutralise text that a spreadsheet would run as a formula, with a leading apostrophe.

    Text that begins with an apostrophe gets one more, so that `unplain` brings all text back.
    """
    return f"'{text}" if text[:1] in _FORMULA and text else text


def unplain(text: str) -> str:
    """Return the text that `plain` was given."""
    return text[1:] if text[:1] == "'" else text
