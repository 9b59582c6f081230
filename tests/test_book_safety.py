"""Saves that are killed, meet a full disk, or happen twice at once: nothing finished is lost."""

import errno
import os
import random
import resource
import signal
import subprocess
import sys
import time
from pathlib import Path

import pandas as pd
import pytest

from dyelab import book
from dyelab.errors import InputError

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork, signals and rlimits")
READING = ["reading", "swatch", "exposure", "method", "illuminant", "observer", "L", "a", "b"]


def one_more(bk, code, **swatch):
    """Add a swatch with its reading and spectrum: three tables that must switch together."""
    readings = pd.DataFrame(
        [(f"R-{code}", code, "none", "typed", "D65", 10, 50, 1, 2)], columns=READING
    )
    spectra = pd.DataFrame({"reading": [f"R-{code}"], "400": [0.25]})
    swatches = pd.DataFrame([{"swatch": code, **swatch}])
    return book.add(bk, swatches=swatches, readings=readings, spectra=spectra)


def state(path):
    """The codes in the book, having looked that its three tables agree and nothing is at fault."""
    bk = book.open(path)
    assert bk.faults.empty, bk.faults["text"].to_list()
    codes = list(bk.swatches["swatch"])
    assert list(bk.readings["swatch"]) == codes
    assert list(bk.spectra["reading"]) == [f"R-{code}" for code in codes]
    return codes


def child(work):
    """Run in a forked process; it ends without any cleaning up."""
    pid = os.fork()
    if pid == 0:
        code = 1
        try:
            work()
            code = 0
        finally:
            os._exit(code)
    return pid


class Dies:
    """Stands in for a system call: does its work so many times, then the power goes."""

    def __init__(self, call, times, end):
        self.call, self.times, self.end = call, times, end

    def __call__(self, *args, **keywords):
        self.times -= 1
        if self.times < 0:
            self.end()
        return self.call(*args, **keywords)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["replace", "fsync", "open"])
def test_killed_at_every_step_the_book_opens_old_or_new(tmp_path, name, monkeypatch):
    """Every rename, flush and opening of a save is once the last thing that happens."""
    path = tmp_path / "b"
    bk = book.save(one_more(book.create(path), "A"))
    expected = ["A"]
    seen = set()
    for times in range(60):
        new = f"B{times}"

        def work(new=new, times=times):
            opened = book.open(path)
            setattr(os, name, Dies(getattr(os, name), times, lambda: os._exit(9)))
            book.save(one_more(opened, new))

        _, status = os.waitpid(child(work), 0)
        found = state(path)
        assert found in (expected, [*expected, new])
        seen.add(len(found) - len(expected))
        expected = found
        if os.WEXITSTATUS(status) == 0:
            assert found[-1] == new
            break
    else:
        pytest.fail("the save never ran to its end")
    assert seen == {0, 1}
    assert not list(path.glob(".*.part"))
    assert bk.path == path


@pytest.mark.slow
def test_killed_at_any_moment_nothing_acknowledged_is_lost(tmp_path):
    path = tmp_path / "b"
    book.save(one_more(book.create(path), "A"))
    chance = random.Random(4)
    done = tmp_path / "acknowledged"
    done.write_text("A\n")
    for turn in range(15):

        def work(turn=turn):
            with done.open("a") as log:
                bk = book.open(path)
                for i in range(1000):
                    bk = book.save(one_more(bk, f"T{turn}-{i}"))
                    log.write(f"T{turn}-{i}\n")
                    log.flush()

        pid = child(work)
        while f"T{turn}-0" not in done.read_text():
            time.sleep(0.01)
        time.sleep(chance.uniform(0.0, 0.4))
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        missing = set(done.read_text().split()) - set(state(path))
        assert not missing
    assert len(state(path)) > 15


def test_a_full_disk_leaves_the_book_as_it_was(tmp_path):
    path = tmp_path / "b"
    book.save(one_more(book.create(path), "A"))
    before = {file: file.read_bytes() for file in path.glob("*.csv")}

    def work():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        bk = one_more(book.open(path), "B", note="x" * 200_000)
        resource.setrlimit(resource.RLIMIT_FSIZE, (60_000, 60_000))
        with pytest.raises(InputError, match=r"could not be written.*as it was before"):
            book.save(bk)

    _, status = os.waitpid(child(work), 0)
    assert os.WEXITSTATUS(status) == 0
    assert {file: file.read_bytes() for file in path.glob("*.csv")} == before
    assert state(path) == ["A"]
    assert not list(path.rglob("*.part"))
    assert book.save(one_more(book.open(path), "B")).swatches["swatch"].to_list() == ["A", "B"]


@pytest.mark.slow
def test_no_room_at_any_flush_leaves_a_whole_book(tmp_path, monkeypatch):
    path = tmp_path / "b"
    book.save(one_more(book.create(path), "A"))
    real = os.fsync

    def full():
        raise OSError(errno.ENOSPC, "No space left on device")

    refused = 0
    for times in range(60):
        opened = one_more(book.open(path), f"B{times}")
        monkeypatch.setattr(os, "fsync", Dies(real, times, full))
        try:
            book.save(opened)
        except InputError as error:
            refused += "No space left" in str(error)
        monkeypatch.setattr(os, "fsync", real)
        if f"B{times}" in state(path):
            break
    assert refused > 3
    assert state(path) == ["A", f"B{times}"]


def fill(bk, saved):
    for i in range(500):
        bk = book.save(one_more(bk, f"S{i}", note="filling " * 300))
        saved.append(f"S{i}")


@pytest.mark.slow
def test_a_small_disk_that_fills_up_keeps_every_finished_save(tmp_path):
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=600k", "tmpfs", str(disk)]
    if subprocess.run(mount, capture_output=True).returncode:
        pytest.skip("can't mount a small disk here")
    try:
        bk = book.create(disk / "b")
        saved = []
        with pytest.raises(InputError, match=r"could not be written"):
            fill(bk, saved)
        assert len(saved) > 3
        assert state(disk / "b") == saved
    finally:
        subprocess.run(["umount", str(disk)], check=True)


@pytest.mark.slow
def test_two_processes_that_save_at_once_lose_nothing(tmp_path):
    path = tmp_path / "b"
    stale = book.save(one_more(book.create(path), "A"))

    def work(name):
        bk = stale
        for i in range(12):
            bk = book.save(one_more(bk, f"{name}{i}"))

    pids = [child(lambda name=name: work(name)) for name in ("P", "Q")]
    assert [os.waitpid(pid, 0)[1] for pid in pids] == [0, 0]
    expected = {"A", *(f"{name}{i}" for name in "PQ" for i in range(12))}
    assert set(state(path)) == expected


def test_a_reader_never_sees_half_a_save(tmp_path):
    path = tmp_path / "b"
    book.save(one_more(book.create(path), "A"))

    def work():
        bk = book.open(path)
        for i in range(15):
            bk = book.save(one_more(bk, f"W{i}"))

    pid = child(work)
    reads = 0
    while os.waitpid(pid, os.WNOHANG)[0] == 0:
        assert not book.open(path).outside  # a save of somebody else is no edit outside dyelab
        reads += 1
    assert len(state(path)) == 16
    assert reads > 1


def test_the_same_row_changed_in_two_ways_is_refused_and_named(tmp_path):
    path = tmp_path / "b"
    bk = book.save(one_more(book.create(path), "A"))
    mine = book.change(bk, swatches=bk.swatches.assign(note="mine"))
    book.save(book.change(bk, swatches=bk.swatches.assign(note="theirs")))
    with pytest.raises(InputError, match=r"swatches.csv: A changed here and meanwhile"):
        book.save(mine)
    assert book.open(path).swatches["note"].to_list() == ["theirs"]


def test_a_spreadsheet_edit_and_a_save_are_joined(tmp_path):
    path = tmp_path / "b"
    bk = book.save(one_more(one_more(book.create(path), "A"), "B"))
    file = path / "swatches.csv"
    file.write_text(file.read_text("utf-8").replace("B,,", "B,cloth,"), "utf-8")
    after = book.save(book.change(bk, swatches=bk.swatches[:1].assign(note="mine")))
    assert after.swatches["form"].to_list() == ["", "cloth"]
    assert after.swatches["note"].to_list() == ["mine", ""]
    assert state(path) == ["A", "B"]


def test_an_edit_by_hand_during_an_unfinished_save_is_kept(tmp_path):
    path = tmp_path / "b"
    bk = book.save(one_more(book.create(path), "A"))

    def work():
        os.replace = Dies(os.replace, 40, lambda: None)  # counts only
        real = os.replace.call

        def stop(old, new):
            if str(new).endswith("swatches.csv"):
                os._exit(9)
            return real(old, new)

        os.replace = stop
        book.save(one_more(bk, "B"))

    os.waitpid(child(work), 0)
    assert list((path / "history").glob("*.pending"))
    (path / "swatches.csv").write_text("swatch,note\nA,by hand\n", "utf-8")
    assert state(path) == ["A", "B"]
    kept = [file.read_text("utf-8") for file in (path / "history" / "set aside").iterdir()]
    assert kept == ["swatch,note\nA,by hand\n"]


def test_a_folder_that_can_not_be_written_is_read_and_refuses_a_save(tmp_path):
    path = tmp_path / "b"
    bk = book.save(one_more(book.create(path), "A"))
    code = (
        "import os, sys, filelock\n"
        "from dyelab import book\n"
        f"book.open({str(path)!r})\n"
        "os.setuid(65534)\n"
        f"bk = book.open({str(path)!r})\n"
        "assert len(bk.swatches) == 1\n"
        "try: book.save(book.remove(bk, ['A']))\n"
        "except ValueError as error: sys.exit(7 if 'in this folder' in str(error) else 8)\n"
    )
    if os.geteuid() != 0:
        pytest.skip("needs to give up rights")
    for folder in (path, *path.parents):
        if folder.is_relative_to(Path("/tmp")) and folder != Path("/tmp"):
            folder.chmod(0o755)
    here = Path(__file__).parents[1]
    found = subprocess.run(
        [sys.executable, "-B", "-c", code], cwd=here, capture_output=True, text=True
    )
    assert found.returncode == 7, found.stderr
    assert bk.path.exists()
