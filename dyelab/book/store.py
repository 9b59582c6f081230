"""The book's folder on disk: versions, the lock, and saves that happen wholly or not at all.

A save writes every changed file twice beside its place: once into ``history/files``, named by
its content, and once as a hidden part file next to the file it will replace. Then one small
file, ``history/000012.pending``, appears by a rename: from that moment the save counts. Part
files are renamed over the old ones, and the pending file becomes ``history/000012.json``.

Killed before the pending file is there, the book is as it was. Killed after, whoever opens it
next finishes the renames, or sees the finished book in memory where the folder can't be written.
Readers never need the lock: they read, and look whether a save came in between.

What lies in ``history`` may come from a stranger or a damaged disk: `manifests.parsed` says what
is believed, and every content must have the digest it is named by. The rest is ignored, named by
`faults`, and moved to ``history/set aside`` by the next save.
"""

import hashlib
import json
import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from dyelab import files, limits
from dyelab.book import folder
from dyelab.book.folder import HISTORY, number, parse_version
from dyelab.book.swatch_book import ASIDE, FILES
from dyelab.errors import InputError

KEPT_VERSIONS = 60  # a season of evenings; tables are small, and equal files are kept once
_ASIDE = f"{HISTORY}/set aside"
_FOLDERS = (f"{HISTORY}/files", _ASIDE, ASIDE, folder.PHOTOS)
_WAIT = 30.0  # s that a save waits for another: a large book on a slow disk saves in two or three
_TRIES = 200  # readings between other programs' saves before the lock is taken to read at all


@contextmanager
def hold_lock(path: Path) -> Iterator[None]:
    """Hold the book's lock: one save at a time, also between programs."""
    from filelock import FileLock, Timeout

    folder.refuse_strange(path, (*FILES, f"{HISTORY}/.lock"), _FOLDERS)
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


def _history(path: Path, ending: str) -> list[str]:
    """The names of history files of one kind, oldest first; none where ``history`` is a link."""
    names = folder.names(path / HISTORY) if not folder.is_link(path / HISTORY) else []
    found = [name for name in names if name.endswith(ending) and name[:1] != "."]
    return sorted(found, key=lambda name: (number(name) or 0, name))


def _believe(path: Path, name: str) -> dict[str, Any]:
    """A history file that keeps the rules; raises InputError with the rule that it breaks."""
    if number(name) is None:
        raise InputError("is not named as a version is")
    content = folder.content(path, f"{HISTORY}/{name}", limits.HISTORY_BYTES)
    if content is None:
        raise InputError("is a link or no file")
    return parse_version(content, name)


def _sound(path: Path, names: list[str]) -> Iterator[dict[str, Any]]:
    for name in names:
        with suppress(InputError):
            yield _believe(path, name)


def manifests(path: Path) -> list[dict[str, Any]]:
    """Every finished version that can be believed, oldest first.

    Each has version, saved_at, act, what, files.
    """
    return list(_sound(path, _history(path, ".json")))


def latest(path: Path) -> dict[str, Any] | None:
    """Return the newest finished version that can be believed, None where there is none."""
    return next(_sound(path, _history(path, ".json")[::-1]), None)


def unfinished_saves(path: Path) -> list[dict[str, Any]]:
    """Saves that count and wait to be finished: whole, and newer than every finished version."""
    newest = number((_history(path, ".json") or [""])[-1]) or 0
    waiting = [m for m in _sound(path, _history(path, ".pending")) if m["version"] > newest]
    return [manifest for manifest in waiting if None not in _after(path, manifest).values()]


def _after(path: Path, manifest: dict[str, Any]) -> dict[str, bytes | None]:
    """The files of a version that is being installed; None for one that is nowhere any more."""
    found = {}
    for name, sha in manifest["files"].items():
        places = (_kept_name(name, sha), _part_name(name), name)
        held = (folder.content(path, place) for place in places)
        found[name] = next((c for c in held if c is not None and digest(c) == sha), None)
    return found


def faults(path: Path) -> list[tuple[str, str, str]]:
    """List what is ignored in the folder: file, what is wrong with it, what to do."""
    mend = "Delete it if you don't know it, or put what it leads to in its place."
    strange = "is a link, a pipe or a device; none is followed"
    found = [(name, strange, mend) for name in folder.strange(path)]
    mend = "The tables are as they stand in the folder; the next save moves this file aside."
    for name, reason in _damage(path).items():
        found.append((f"{HISTORY}/{name}", f"{reason}; it was not followed", mend))
    return found


def _damage(path: Path) -> dict[str, str]:
    found = {}
    listed = [*_history(path, ".json"), *_history(path, ".pending")]
    whole = {manifest["version"] for manifest in unfinished_saves(path)}
    for name in listed:
        try:
            _believe(path, name)
        except InputError as error:
            if os.path.lexists(path / HISTORY / name):  # else a save was finished meanwhile
                found[name] = str(error)
            continue
        if name.endswith(".pending") and number(name) not in whole:
            found[name] = "can't be finished: it is old, or its files are gone or damaged"
    return found


def snapshot(path: Path, names: Iterable[str]) -> dict[str, bytes]:
    """Read the book's files as one consistent state; see `snapshot_with_version`."""
    return snapshot_with_version(path, names)[0]


def snapshot_with_version(
    path: Path, names: Iterable[str]
) -> tuple[dict[str, bytes], dict[str, Any] | None]:
    """Read the book's files as one consistent state; finish an interrupted save first.

    Where the folder can't be written, the save is finished in memory.

    Returns
    -------
    contents : dict of str to bytes
    last : dict or None
        The newest version when they were read: by now others may have saved a newer one. None
        where there is none that can be believed, or where a save was finished in memory.
    """
    wanted = list(names)
    for _ in range(_TRIES):
        waiting = unfinished_saves(path)
        if waiting and not _is_finished(path):
            after = _after(path, waiting[-1]).items()
            held = {name: c for name, c in after if c is not None}
            gone = {*held, *waiting[-1]["removed"]}
            left = _read(path, [name for name in wanted if name not in gone])
            return left | {name: c for name, c in held.items() if name in wanted}, None
        before = _mark(path)
        found = _read(path, wanted), latest(path)
        if _mark(path) == before:
            return found
    with hold_lock(path):
        recover(path)
        return _read(path, wanted), latest(path)


def _is_finished(path: Path) -> bool:
    try:
        with hold_lock(path):
            recover(path)
    except (InputError, OSError):
        return False
    return True


def _mark(path: Path) -> list[str]:
    return [*_history(path, ".json"), *_history(path, ".pending")]


def _read(path: Path, names: list[str]) -> dict[str, bytes]:
    found = {name: folder.content(path, name) for name in names}
    return {name: content for name, content in found.items() if content is not None}


def commit(
    path: Path, contents: dict[str, bytes], *, act: str, what: list[str], **more: Any
) -> dict[str, Any]:
    """Make these files the book's new version; the caller holds the lock.

    Parameters
    ----------
    path : Path
        The book's folder.
    contents : dict of str to bytes
        Every file the version holds, by its path inside the folder. Files of the book's
        own (`swatch_book.FILES`) that are not here are removed.
    act : str
        ``save``, ``undo``, ``redo``, or ``found`` for edits made outside.
    what : list of str
        What changed, in words.

    Raises
    ------
    InputError
        If the disk is full or refuses; the book is then as it was.
    """
    manifest = {
        "version": _next(path),
        "saved_at": datetime.now(UTC).isoformat(timespec="seconds"),
        "act": act,
        "what": what,
        "files": {name: digest(content) for name, content in contents.items()},
        "before": {name: digest(old) for name, old in _read(path, list(contents)).items()},
        "removed": [f for f in FILES if f not in contents and folder.plain_file(path, f)],
        **more,
    }
    try:
        _set_damaged_aside(path)
        _stage(path, contents, manifest)
        pending = path / HISTORY / f"{manifest['version']:06}.pending"
        files.write(pending, json.dumps(manifest, ensure_ascii=False, indent=1).encode())
        _settle(pending.parent)
    except OSError as error:
        _sweep(path)
        raise InputError(
            f"{path.name}: the save could not be written ({error.strerror}). "
            "The book is as it was before; make room or check the disk, and save again."
        ) from error
    recover(path)
    return manifest


def _next(path: Path) -> int:
    """Return the number of the version to come; damaged ones keep theirs."""
    version = max((number(name) or 0 for name in _mark(path)), default=0) + 1
    if number(f"{version:06}.json") is None:
        raise InputError(
            f"{path.name}: a file in history/ has the highest number there is, so no version can "
            "follow it. Nothing was saved. Move history/ out of the book; its tables stay."
        )
    return version


def _set_damaged_aside(path: Path) -> None:
    """Move history files that can't be believed out of the way."""
    for name in _damage(path):
        (path / _ASIDE).mkdir(exist_ok=True)
        target, count = path / _ASIDE / name, 1
        while target.exists() or folder.is_link(target):
            target, count = path / _ASIDE / f"{count}-{name}", count + 1
        os.replace(path / HISTORY / name, target)


def _stage(path: Path, contents: dict[str, bytes], manifest: dict[str, Any]) -> None:
    for name, content in contents.items():
        sha = manifest["files"][name]
        if not _holds(path, _kept_name(name, sha), sha):
            files.write(path / _kept_name(name, sha), content)
        if manifest["before"].get(name) != sha:
            files.write(path / _part_name(name), content)
    _settle(path / HISTORY / "files")


def _kept_name(name: str, sha: str) -> str:
    return f"{HISTORY}/files/{sha}{Path(name).suffix}"


def _part_name(name: str) -> str:
    return Path(name).with_name(f".{Path(name).name}.part").as_posix()


def _holds(path: Path, name: str, sha: str) -> bool:
    """Whether a plain file of the folder has this content."""
    content = folder.content(path, name)
    return content is not None and digest(content) == sha


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
    for manifest in unfinished_saves(path):
        for name, sha in manifest["files"].items():
            _install(path, name, sha, manifest["before"].get(name))
        for name in manifest["removed"]:
            (path / name).unlink(missing_ok=True)
        _settle(path)
        marker = path / HISTORY / f"{manifest['version']:06}.pending"
        os.replace(marker, marker.with_suffix(".json"))
        _settle(path / HISTORY)
    _sweep(path)


def _install(path: Path, name: str, sha: str, before: str | None) -> None:
    old = folder.content(path, name)
    current = digest(old) if old is not None else None
    if current == sha:
        return
    if old is not None and current != before:  # edited by hand while the save was unfinished
        files.write(path / _ASIDE / f"{current}-{Path(name).name}", old)
    if not _holds(path, _part_name(name), sha):
        held = folder.content(path, _kept_name(name, sha))
        if held is None or digest(held) != sha:
            return  # found whole a moment ago, so the disk is failing under us
        files.write(path / _part_name(name), held)
    os.replace(path / _part_name(name), path / name)


def _sweep(path: Path) -> None:
    """Delete what killed writers left; the lock is held, so nobody is writing now."""
    for place in ("", ASIDE, HISTORY, f"{HISTORY}/files", folder.PHOTOS):
        for part in (path / place).glob(".*.part"):
            with suppress(OSError):  # a folder of that name is nobody's part file
                part.unlink()


def contents(path: Path, manifest: dict[str, Any]) -> dict[str, bytes]:
    """Every file of a version.

    Raises
    ------
    InputError
        If the version's files are no longer kept.
    """
    found = {name: kept_content(path, manifest, name) for name in manifest["files"]}
    if None in found.values():
        raise InputError(
            f"{path.name}: the files of version {manifest['version']} are no longer kept "
            f"(the last {KEPT_VERSIONS} are), or are damaged. Choose another one."
        )
    return {name: content for name, content in found.items() if content is not None}


def kept_content(path: Path, manifest: dict[str, Any], name: str) -> bytes | None:
    """One file of a version: nothing in it where the version has none, None if no longer kept."""
    if name not in manifest["files"]:
        return b""
    sha = manifest["files"][name]
    content = folder.content(path, _kept_name(name, sha))
    return content if content is not None and digest(content) == sha else None


def prune(path: Path) -> None:
    """Let go of the files that only versions older than the last `KEPT_VERSIONS` hold."""
    every = manifests(path)
    if len(every) <= KEPT_VERSIONS:
        return
    needed = {
        path / _kept_name(name, sha)
        for manifest in every[-KEPT_VERSIONS:]
        for name, sha in manifest["files"].items()
    }
    for file in (path / HISTORY / "files").iterdir():
        if file not in needed and not file.is_dir():
            file.unlink(missing_ok=True)


def steps_back(path: Path) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return the versions that undo walks back along, and those that redo can bring again.

    Where a version is missing, what it undid is taken to be undone already.
    """
    done: list[dict[str, Any]] = []
    undone: list[dict[str, Any]] = []
    for manifest in manifests(path):
        if manifest["act"] == "undo":
            undone += [done.pop()] if done else []
        elif manifest["act"] == "redo":
            done += [undone.pop()] if undone else []
        else:
            done.append(manifest)
            undone.clear()
    return done, undone
