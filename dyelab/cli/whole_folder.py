"""A folder that a command fills as a whole, and never over somebody's own work."""

import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from dyelab import files
from dyelab.errors import InputError

_MARK = ".dyelab-demo"


@contextmanager
def fresh(folder: Path) -> Iterator[Path]:
    """Yield an empty folder that takes the place of `folder` once all went well.

    Parameters
    ----------
    folder : Path
        May be absent, empty, or left as this very function left it; then it is replaced.

    Yields
    ------
    Path
        Where to write meanwhile, beside `folder`; gone again if anything fails.

    Raises
    ------
    InputError
        If the folder holds anything else, or can't be written.
    """
    _refuse_own_work(folder)
    try:
        folder.absolute().parent.mkdir(parents=True, exist_ok=True)
        made = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", dir=folder.absolute().parent))
    except OSError as error:
        raise InputError(f"can't write {folder}: {error.strerror}. {_ELSEWHERE}") from None
    try:
        yield made
        (made / _MARK).write_text(json.dumps(_sums(made), indent=0), encoding="utf-8")
        made.chmod(0o777 & ~files.umask())
        _swap(made, folder)
    finally:
        shutil.rmtree(made, ignore_errors=True)


_ELSEWHERE = "Nothing was written. Name another folder with --to."


def _refuse_own_work(folder: Path) -> None:
    if not folder.exists():
        return
    if not folder.is_dir():
        raise InputError(f"{folder} is a file, not a folder. {_ELSEWHERE}")
    if not any(folder.iterdir()):
        return
    ours = files.json_kept(folder / _MARK)
    if not ours:
        raise InputError(f"{folder} is there already and isn't a demo folder. {_ELSEWHERE}")
    changed = sorted(name for name, sum_ in _sums(folder).items() if ours.get(name) != sum_)
    if changed:
        raise InputError(
            f"{folder} holds work of yours ({changed[0]} is new or changed). {_ELSEWHERE}"
        )


def _sums(folder: Path) -> dict[str, str]:
    """Checksum of every file but hidden ones, such as locks and this folder's own mark."""
    found = (path for path in sorted(folder.rglob("*")) if path.is_file())
    names = {path.relative_to(folder): path for path in found}
    return {
        name.as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for name, path in names.items()
        if not any(part.startswith(".") for part in name.parts)
    }


def _swap(made: Path, folder: Path) -> None:
    """Put the finished folder in its place; the old one is only removed once it is there."""
    old = made.with_name(made.name + ".old")
    if folder.exists():
        os.replace(folder, old)
    try:
        os.replace(made, folder)
    except OSError:
        if old.exists():
            os.replace(old, folder)
        raise
    shutil.rmtree(old, ignore_errors=True)
