"""The book's folder on disk: versions, the lock, and saves that happen wholly or not at all.

A save writes every changed file twice beside its place: once into ``history/files``, named by
its content, and once as a hidden part file next to the file it will replace. Then one small
file, ``history/000012.pending``, appears by a rename: from that moment the save counts. Part
files are renamed over the old ones, and the pending file becomes ``history/000012.json``.

Killed before the pending file is there, the book is as it was. Killed after, whoever opens it
next finishes the renames. Readers never need the lock: they read, and look whether a save came
in between.
"""

import hashlib
import json
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from dyelab import files
from dyelab.errors import InputError

HISTORY = "history"
KEPT_VERSIONS = 60
_WAIT = 30.0
_TRIES = 200


@contextmanager
def locked(path: Path) -> Iterator[None]:
    """Hold the book's lock: one save at a time, also between programs."""
    from filelock import FileLock, Timeout

    try:
        (path / HISTORY).mkdir(exist_ok=True)
        lock = FileLock(path / HISTORY / ".lock", timeout=_WAIT)
        lock.acquire(poll_interval=0.01)
    except Timeout as error:
        raise InputError(
            f"{path.name}: another program has been saving this book for {_WAIT:.0f} s. "
            "Close it, or wait, and save again. Nothing was changed."
        ) from error
    except OSError as error:
        raise InputError(
            f"{path.name}: can't write in this folder ({error.strerror}). Nothing was changed. "
            "Copy the book to a folder of your own and open it there."
        ) from error
    try:
        yield
    finally:
        lock.release()


def digest(content: bytes) -> str:
    """Name for a content: the first 24 hex digits of its SHA-256."""
    return hashlib.sha256(content).hexdigest()[:24]


def manifests(path: Path) -> list[dict[str, Any]]:
    """Every finished version, oldest first: version, saved_at, act, what, files."""
    found = sorted((path / HISTORY).glob("[0-9]*.json"))
    return [json.loads(file.read_text(encoding="utf-8")) for file in found]


def _latest(path: Path) -> dict[str, Any] | None:
    newest = max((path / HISTORY).glob("[0-9]*.json"), default=None)
    return json.loads(newest.read_text(encoding="utf-8")) if newest else None


def _pending(path: Path) -> list[Path]:
    return sorted((path / HISTORY).glob("[0-9]*.pending"))


def snapshot(path: Path, names: Iterator[str] | list[str]) -> dict[str, bytes]:
    """Read the book's files as one consistent state; finish an interrupted save first."""
    wanted = list(names)
    for _ in range(_TRIES):
        if _pending(path):
            with locked(path):
                recover(path)
        before = _mark(path)
        content = _read(path, wanted)
        if _mark(path) == before:
            return content
    with locked(path):
        recover(path)
        return _read(path, wanted)


def _mark(path: Path) -> list[str]:
    return sorted(
        name
        for name in (os.listdir(path / HISTORY) if (path / HISTORY).is_dir() else [])
        if name.endswith((".json", ".pending"))
    )


def _read(path: Path, names: list[str]) -> dict[str, bytes]:
    content = {}
    for name in names:
        with suppress(FileNotFoundError):
            content[name] = (path / name).read_bytes()
    return content


def commit(
    path: Path, contents: dict[str, bytes], *, act: str, what: list[str], **more: Any
) -> dict[str, Any]:
    """Make these files the book's new version; the caller holds the lock.

    Parameters
    ----------
    path : Path
        The book's folder.
    contents : dict of str to bytes
        Every file the version holds, by its path inside the folder. Files of the last
        version that are not here are removed.
    act : str
        ``save``, ``undo``, ``redo``, or ``found`` for edits made outside.
    what : list of str
        What changed, in words.

    Raises
    ------
    InputError
        If the disk is full or refuses; the book is then as it was.
    """
    last = _latest(path) or {"version": 0, "files": {}}
    manifest = {
        "version": last["version"] + 1,
        "saved_at": datetime.now(UTC).isoformat(timespec="seconds"),
        "act": act,
        "what": what,
        "files": {name: digest(content) for name, content in contents.items()},
        "before": {name: digest(old) for name, old in _read(path, list(contents)).items()},
        "removed": [name for name in last["files"] if name not in contents],
        **more,
    }
    try:
        _stage(path, contents, manifest)
        _write_json(path / HISTORY / f"{manifest['version']:06}.pending", manifest)
    except OSError as error:
        _sweep(path)
        raise InputError(
            f"{path.name}: the save could not be written ({error.strerror}). "
            "The book is as it was before; make room or check the disk, and save again."
        ) from error
    recover(path)
    return manifest


def _stage(path: Path, contents: dict[str, bytes], manifest: dict[str, Any]) -> None:
    for name, content in contents.items():
        kept = _kept(path, name, manifest["files"][name])
        if not kept.exists():
            _write(kept, content)
        if manifest["before"].get(name) != manifest["files"][name]:
            _write(_part(path, name), content)
    _settle(path / HISTORY / "files")


def _kept(path: Path, name: str, sha: str) -> Path:
    return path / HISTORY / "files" / (sha + Path(name).suffix)


def _part(path: Path, name: str) -> Path:
    target = path / name
    return target.with_name(f".{target.name}.part")


def _write(target: Path, content: bytes) -> None:
    with files.whole(target, binary=True) as file:
        file.write(content)


def _write_json(target: Path, data: Any) -> None:
    _write(target, json.dumps(data, ensure_ascii=False, indent=1).encode())
    _settle(target.parent)


def _settle(folder: Path) -> None:
    """Flush a folder's list of names to disk, where the system can."""
    with suppress(OSError, AttributeError):
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def recover(path: Path) -> None:
    """Finish a save that was interrupted after it counted; sweep up one that never did."""
    for marker in _pending(path):
        manifest = json.loads(marker.read_text(encoding="utf-8"))
        for name, sha in manifest["files"].items():
            _install(path, name, sha, manifest["before"].get(name))
        for name in manifest["removed"]:
            (path / name).unlink(missing_ok=True)
        _settle(path)
        os.replace(marker, marker.with_suffix(".json"))
        _settle(path / HISTORY)
    _sweep(path)


def _install(path: Path, name: str, sha: str, before: str | None) -> None:
    target, part = path / name, _part(path, name)
    current = digest(target.read_bytes()) if target.exists() else None
    if current == sha:
        return
    if current not in (before, None):  # edited by hand while the save was unfinished
        _write(path / HISTORY / "set aside" / f"{current}-{Path(name).name}", target.read_bytes())
    if not part.exists():
        _write(part, _kept(path, name, sha).read_bytes())
    os.replace(part, target)


def _sweep(path: Path) -> None:
    folders = [path, path / "set_aside", path / HISTORY, path / HISTORY / "files"]
    for folder in folders:
        for part in folder.glob(".*.part"):
            part.unlink(missing_ok=True)


def contents(path: Path, manifest: dict[str, Any]) -> dict[str, bytes]:
    """Every file of a version.

    Raises
    ------
    InputError
        If the version's files are no longer kept.
    """
    try:
        return {
            name: _kept(path, name, sha).read_bytes() for name, sha in manifest["files"].items()
        }
    except FileNotFoundError as error:
        raise InputError(
            f"{path.name}: the files of version {manifest['version']} are no longer kept "
            f"(the last {KEPT_VERSIONS} are). Choose a later one."
        ) from error


def kept(path: Path, manifest: dict[str, Any], name: str) -> bytes | None:
    """One file of a version: nothing in it where the version has none, None if no longer kept."""
    if name not in manifest["files"]:
        return b""
    try:
        return _kept(path, name, manifest["files"][name]).read_bytes()
    except FileNotFoundError:
        return None


def prune(path: Path) -> None:
    """Let go of the files that only versions older than the last `KEPT_VERSIONS` hold."""
    every = manifests(path)
    if len(every) <= KEPT_VERSIONS:
        return
    needed = {
        _kept(path, name, sha) for m in every[-KEPT_VERSIONS:] for name, sha in m["files"].items()
    }
    for file in (path / HISTORY / "files").iterdir():
        if file not in needed:
            file.unlink(missing_ok=True)


def steps_back(path: Path) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return the versions that undo walks back along, and those that redo can bring again."""
    done: list[dict[str, Any]] = []
    undone: list[dict[str, Any]] = []
    for manifest in manifests(path):
        if manifest["act"] == "undo":
            undone.append(done.pop())
        elif manifest["act"] == "redo":
            done.append(undone.pop())
        else:
            done.append(manifest)
            undone.clear()
    return done, undone
