"""A book from a stranger is data: opening, checking, saving, undoing it touches nothing outside."""

import json
import os
import shutil
import subprocess
import sys
import zipfile

import pandas as pd
import pytest

from dyelab import book
from dyelab.book import store
from dyelab.errors import InputError

pytestmark = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs links and pipes")
SECRET = b"swatch,note\nmine,private\n"


def a_book(path):
    bk = book.create(path, "From a stranger")
    return book.save(book.add(bk, swatches=pd.DataFrame([{"swatch": "A"}, {"swatch": "B"}])))


def version(path, name, *, files, removed=(), ending="pending"):
    """Write a history file by hand, with the contents that it names."""
    held = path / "history" / "files"
    for content in files.values():
        (held / f"{store.digest(content)}.csv").write_bytes(content)
    made = {
        "version": int(name),
        "saved_at": "2026-04-30T12:00:00+00:00",
        "act": "save",
        "what": ["invented"],
        "files": {file: store.digest(content) for file, content in files.items()},
        "before": {},
        "removed": list(removed),
    }
    (path / "history" / f"{name}.{ending}").write_text(json.dumps(made), "utf-8")


def pending_absolute(path, outside):
    version(path, "000009", files={str(outside / "new.csv"): b"chosen"})


def pending_relative(path, outside):
    version(path, "000009", files={}, removed=["../outside/secret.csv"])


def finished_absolute(path, outside):
    version(path, "000009", files={str(outside / "secret.csv"): b"chosen"}, ending="json")
    version(path, "000010", files={}, removed=[str(outside / "secret.csv")], ending="json")


def finished_relative(path, outside):
    version(path, "000009", files={"set_aside/../../outside/secret.csv": b"x"}, ending="json")


def digest_that_climbs(path, outside):
    made = json.loads((path / "history" / "000002.json").read_text("utf-8"))
    made |= {"version": 9, "before": {}, "removed": []}
    made["files"]["swatches.csv"] = "../../../outside/secret"
    (path / "history" / "000009.pending").write_text(json.dumps(made), "utf-8")


def garbage_pending(path, outside):
    (path / "history" / "000009.pending").write_bytes(b"\xff\x00{" + b"[" * 100_000)


def link_in_photos(path, outside):
    (path / "photos").mkdir()
    (path / "photos" / "x.jpg").symlink_to(outside / "secret.csv")


def photos_is_a_link(path, outside):
    (path / "photos").symlink_to(outside)


def set_aside_is_a_link(path, outside):
    (path / "set_aside").symlink_to(outside)


def history_is_a_link(path, outside):
    shutil.copytree(path / "history", outside / "history")
    shutil.rmtree(path / "history")
    (path / "history").symlink_to(outside / "history")


def lock_is_a_link(path, outside):
    (path / "history" / ".lock").unlink(missing_ok=True)
    (path / "history" / ".lock").symlink_to(outside / "secret.csv")


def table_is_a_link(path, outside):
    (path / "swatches.csv").unlink()
    (path / "swatches.csv").symlink_to(outside / "secret.csv")


def table_is_a_pipe(path, outside):
    (path / "tests.csv").unlink()
    os.mkfifo(path / "tests.csv")


def version_is_a_link(path, outside):
    (path / "history" / "000009.json").symlink_to(outside / "secret.csv")


CRAFTED = [
    pending_absolute,
    pending_relative,
    finished_absolute,
    finished_relative,
    digest_that_climbs,
    garbage_pending,
    link_in_photos,
    photos_is_a_link,
    set_aside_is_a_link,
    history_is_a_link,
    lock_is_a_link,
    table_is_a_link,
    table_is_a_pipe,
    version_is_a_link,
]


def everything(folder):
    return {
        file.relative_to(folder).as_posix(): file.read_bytes() if file.is_file() else None
        for file in folder.rglob("*")
    }


def use(path, tmp_path):
    """All that a teacher does with a student's book; refusals are fine, acting outside is not."""
    swatches = pd.DataFrame([{"swatch": "new"}])
    (tmp_path / "p.jpg").write_bytes(b"invented")
    mine = book.create(tmp_path / "mine")
    steps = [
        lambda: book.check(path),
        lambda: book.history(path),
        lambda: book.merge(mine, book.open(path)),
        lambda: book.export(book.open(path), tmp_path / "out"),
        lambda: book.export(book.open(path), tmp_path / "out.zip"),
        lambda: book.keep_photo(book.open(path), tmp_path / "p.jpg"),
        lambda: book.save(book.add(book.open(path), swatches=swatches)),
        lambda: book.undo(path),
        lambda: book.redo(path),
        lambda: book.save(book.add(book.open(path), swatches=swatches)),
    ]
    for step in steps:
        try:
            step()
        except InputError:
            continue


@pytest.mark.parametrize("craft", CRAFTED, ids=lambda craft: craft.__name__)
def test_a_crafted_book_touches_nothing_outside_and_is_named(tmp_path, craft):
    outside, path = tmp_path / "outside", tmp_path / "b"
    outside.mkdir()
    (outside / "secret.csv").write_bytes(SECRET)
    a_book(path)
    craft(path, outside)
    before = everything(outside)
    listed = book.check(path)
    assert len(listed) >= 1
    assert not listed["text"].str.contains("private").any()
    assert "B" in set(book.open(path).swatches["swatch"]) or craft is table_is_a_link
    use(path, tmp_path)
    assert everything(outside) == before
    for copied in (tmp_path / "out", tmp_path / "mine"):
        assert not any(content == SECRET for content in everything(copied).values())


@pytest.mark.slow
def test_the_check_command_names_every_crafted_book_at_once(tmp_path):
    paths = []
    for craft in CRAFTED:
        outside, path = tmp_path / craft.__name__ / "outside", tmp_path / craft.__name__ / "b"
        outside.mkdir(parents=True)
        (outside / "secret.csv").write_bytes(SECRET)
        a_book(path)
        craft(path, outside)
        paths.append(str(path))
    command = [sys.executable, "-m", "dyelab", "check", *paths]
    run = subprocess.run(command, capture_output=True, text=True)
    assert run.returncode == 1
    for path in paths:
        assert f"{path}: " in run.stdout


def test_after_a_save_the_damaged_version_is_set_aside_and_the_check_is_clean(tmp_path):
    path = tmp_path / "b"
    a_book(path)
    garbage_pending(path, tmp_path)
    (path / "history" / "000002.json").write_bytes(b"")
    bk = book.open(path)
    assert any("history/000002.json" in text for text in bk.outside)
    book.save(book.add(bk, swatches=pd.DataFrame([{"swatch": "C"}])))
    assert book.check(path).empty
    held = {file.name for file in (path / "history" / "set aside").iterdir()}
    assert held == {"000002.json", "000009.pending"}
    assert list(book.history(path)["version"])[-1] == 11
    assert list(book.undo(path).swatches["swatch"]) == ["A", "B"]


def test_a_zip_that_leads_out_is_refused_and_nothing_is_made(tmp_path):
    for name in ("../secret.csv", "/tmp/secret.csv", "photos/../../secret.csv", "C:\\secret.csv"):
        with zipfile.ZipFile(tmp_path / "x.zip", "w") as packed:
            packed.writestr("swatches.csv", "swatch\nA\n")
            packed.writestr(name, "chosen")
        with pytest.raises(InputError, match=r"leads out of its folder"):
            book.restore(tmp_path / "x.zip", tmp_path / "made")
        assert {file.name for file in tmp_path.iterdir()} == {"x.zip"}


@pytest.mark.skipif(os.geteuid() == 0, reason="root writes anywhere")
def test_a_half_saved_book_that_can_not_be_written_opens_as_saved(tmp_path):
    path = half_saved(tmp_path / "b")
    (path / "history").chmod(0o555)
    assert list(book.open(path).swatches["swatch"]) == ["A", "B", "late"]


def half_saved(path):
    a_book(path)
    content = (path / "swatches.csv").read_bytes()
    late = content + b"late" + content.splitlines()[-1][1:] + b"\n"
    version(path, "000009", files={"swatches.csv": late})
    return path


def test_a_half_saved_book_is_finished_in_memory_where_the_lock_is_refused(tmp_path, monkeypatch):
    path = half_saved(tmp_path / "b")
    before = everything(path)

    def refuse(_path):
        raise InputError("can't write in this folder")

    with monkeypatch.context() as patched:
        patched.setattr(store, "hold_lock", refuse)
        assert list(book.open(path).swatches["swatch"]) == ["A", "B", "late"]
        assert everything(path) == before
    assert list(book.open(path).swatches["swatch"]) == ["A", "B", "late"]
    assert (path / "history" / "000009.json").exists()


def test_what_a_kill_left_among_the_photos_is_swept_by_the_next_save(tmp_path):
    bk = a_book(tmp_path / "b")
    (tmp_path / "p.jpg").write_bytes(b"invented")
    bk, source = book.keep_photo(bk, tmp_path / "p.jpg")
    (bk.path / "photos" / ".x.part").write_bytes(b"half a photo")
    bk = book.save(bk)
    assert [file.name for file in (bk.path / "photos").iterdir()] == [source.split("/")[1]]


@pytest.mark.parametrize("name", ["x" * 240 + ".jpg", "photo.{}", "a" * 200 + "." + "b" * 50])
def test_a_photo_of_any_name_is_kept_under_a_plain_one(tmp_path, name):
    bk = a_book(tmp_path / "b")
    (tmp_path / name).write_bytes(b"invented")
    source = book.keep_photo(bk, tmp_path / name)[1]
    assert len(source) < 45
    assert book.photos_of(bk, "A") == []
