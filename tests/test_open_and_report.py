"""The commands that open the notebooks and write the report."""

import json
import os
import shutil
import subprocess
import time
from types import SimpleNamespace

import pytest
from click.testing import CliRunner

from dyelab import book, files
from dyelab.cli import open_, report_
from dyelab.errors import InputError

EXAMPLE = files.shipped_path("data", "marlpit_yard")


def edited(path, text):
    notebook = json.loads(path.read_text(encoding="utf-8"))
    notebook["cells"][0]["source"] = [text]
    path.write_text(json.dumps(notebook), encoding="utf-8")


def test_the_notebooks_are_copied_to_a_folder_of_the_users_own(tmp_path):
    assert open_.copies(tmp_path / "desk") == []
    names = {path.name for path in files.shipped_path("notebooks").glob("*.ipynb")}
    assert names == {path.name for path in (tmp_path / "desk").glob("*.ipynb")}


def test_a_changed_copy_is_never_written_over(tmp_path):
    desk = tmp_path / "desk"
    open_.copies(desk)
    mine = sorted(desk.glob("*.ipynb"))[0]
    edited(mine, "my own words")
    (said,) = open_.copies(desk)
    assert mine.name in said
    assert "my own words" in mine.read_text(encoding="utf-8")
    beside = desk / f"{mine.stem} (new).ipynb"
    assert beside.read_bytes() == (files.shipped_path("notebooks") / mine.name).read_bytes()
    assert open_.copies(desk) == []


def test_an_untouched_copy_follows_a_new_version(tmp_path, monkeypatch):
    """A copy that was only run, not edited, is replaced when dyelab brings a newer one."""
    shipped = tmp_path / "shipped"
    shutil.copytree(files.shipped_path("notebooks"), shipped)
    monkeypatch.setattr(files, "shipped_path", lambda *parts: shipped)
    desk = tmp_path / "desk"
    open_.copies(desk)
    name = sorted(path.name for path in shipped.glob("*.ipynb"))[0]
    edited(shipped / name, "a newer text")
    assert open_.copies(desk) == []
    assert "a newer text" in (desk / name).read_text(encoding="utf-8")


def test_the_notebooks_are_never_opened_inside_the_package():
    inside = files.shipped_path("notebooks").parent / "dyelab" / "desk"
    with pytest.raises(InputError, match="folder of your own"):
        open_.copies(inside)
    assert not inside.exists()


@pytest.mark.slow
@pytest.mark.parametrize("of", [open_.lab_command, open_.app_command])
def test_the_terminal_is_told_the_address_and_no_warning(tmp_path, of):
    if of is open_.app_command:
        pytest.importorskip("voila", reason="the app extra is not installed")
    command = of(0, True)
    environment = open_.with_looks({**os.environ, "JUPYTER_RUNTIME_DIR": str(tmp_path / "run")})
    with (tmp_path / "log").open("w") as log:
        server = subprocess.Popen(command, cwd=tmp_path, env=environment, stdout=log, stderr=log)
        try:
            end = time.monotonic() + 90
            while "token=" not in (said := (tmp_path / "log").read_text()):
                assert time.monotonic() < end, said
                time.sleep(0.3)
        finally:
            server.terminate()
            server.wait(20)
    assert "Warning" not in said
    assert "[Panels]" not in said, "what the server says to itself"


def test_the_server_answers_to_this_machine_alone():
    assert "--ServerApp.ip=127.0.0.1" in open_.lab_command(0, True)
    assert "--Voila.port=8899" in open_.app_command(8899, True)


def test_a_missing_extra_is_told_with_its_install_line(tmp_path, monkeypatch):
    monkeypatch.setattr(open_, "find_spec", lambda name: None)
    with pytest.raises(InputError, match=r'pip install "dyelab\[app\]"'):
        CliRunner().invoke(
            open_.command,
            ["--app", "--in", str(tmp_path / "d")],
            standalone_mode=False,
            catch_exceptions=False,
        )


def test_a_book_is_begun_where_there_is_none_if_the_user_says_so(tmp_path, monkeypatch):
    wanted = tmp_path / "my-book"
    monkeypatch.setattr(open_.sys, "stdin", SimpleNamespace(isatty=lambda: True))
    monkeypatch.setattr(open_.click, "confirm", lambda *_, **__: False)
    with pytest.raises(InputError, match="not a swatch book"):
        open_.environment(wanted)
    assert not wanted.exists()
    monkeypatch.setattr(open_.click, "confirm", lambda *_, **__: True)
    monkeypatch.setattr(open_.click, "prompt", lambda *_, **__: "D50/2")
    assert open_.environment(wanted)["DYELAB_BOOK"] == str(wanted.resolve())
    assert book.open(wanted).title == "my-book"
    assert book.open(wanted).white == ("D50", 2)


def test_the_white_of_a_new_book_may_be_given_and_never_changes_one(tmp_path):
    wanted = tmp_path / "another"
    open_.environment(wanted, "D65/2")
    assert book.open(wanted).white == ("D65", 2)
    with pytest.raises(InputError, match="Leave it out to open this one"):
        open_.environment(wanted, "D50/2")
    with pytest.raises(InputError, match="Choose one of D65/10°, D65/2°, D50/10°, D50/2°"):
        open_.environment(tmp_path / "third", "F11/2")
    assert not (tmp_path / "third").exists()


def test_a_folder_that_is_no_book_is_refused_before_anything_starts(tmp_path):
    with pytest.raises(InputError, match="not a swatch book"):
        CliRunner().invoke(
            open_.command, [str(tmp_path)], standalone_mode=False, catch_exceptions=False
        )


def test_with_nobody_to_ask_it_says_how_to_begin_a_book(tmp_path, monkeypatch):
    monkeypatch.setattr(open_.sys, "stdin", SimpleNamespace(isatty=lambda: False))
    with pytest.raises(InputError, match=r"no terminal to ask .* dyelab open .*new --white D65/10"):
        open_.environment(tmp_path / "new")
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize("suffix", [".pdf", ".html"])
def test_the_report_is_written(tmp_path, suffix):
    out = tmp_path / f"report{suffix}"
    told = CliRunner().invoke(
        report_.command, [str(EXAMPLE), "-o", str(out), "--teacher", "Class 3"]
    )
    assert told.exit_code == 0, told.output
    assert "Wrote" in told.output
    assert out.stat().st_size > 10_000


def test_a_report_refused_leaves_no_file(tmp_path):
    for folder, out in ((EXAMPLE, "report.docx"), (tmp_path / "none", "report.pdf")):
        with pytest.raises(InputError):
            CliRunner().invoke(
                report_.command,
                [str(folder), "-o", str(tmp_path / out)],
                standalone_mode=False,
                catch_exceptions=False,
            )
        assert not (tmp_path / out).exists()
