"""The served panels answer to their own address, with the token, and to nobody else."""

import os
import re
import subprocess
import sys
import time
import urllib.error
import urllib.request

import nbformat
import pytest

from dyelab.cli import open_
from dyelab.cli.gate import Gate, loopback
from dyelab.errors import InputError
from dyelab.panel.book_choice import typed_path


class Asked:
    """Stands in for a request: what the gate looks at."""

    def __init__(self, host="127.0.0.1:8000", origin=None, query="", path="/", cookie=None):
        self.headers = {"Host": host} | ({"Origin": origin} if origin is not None else {})
        self.query, self.path, self.method = query, path, "GET"
        self.cookies = {} if cookie is None else {"dyelab-8000": cookie}


class Held:
    def __init__(self, value):
        self.value = value


@pytest.mark.parametrize(
    ("address", "ours"),
    [
        ("127.0.0.1:8000", True),
        ("localhost:8000", True),
        ("[::1]:8000", True),
        ("127.0.0.1:8001", False),
        ("rebound.example:8000", False),
        ("127.0.0.1.example:8000", False),
        ("localhost@rebound.example:8000", False),
        ("localhost:8000@rebound.example", False),
        ("", False),
        ("localhost", False),
        ("[::1", False),
        ("localhost:x", False),
    ],
)
def test_only_loopback_names_of_this_port_are_ours(address, ours):
    assert loopback(address, 8000) is ours


@pytest.mark.parametrize(
    "origin",
    ["http://rebound.example", "null", "http://127.0.0.1:9999", "https://127.0.0.1:8000", ""],
)
def test_a_page_of_another_place_is_refused(origin):
    gate = Gate(8000, "token")
    assert gate.refusal(Asked(origin=origin)) == "origin"
    assert gate.refusal(Asked(origin="http://127.0.0.1:8000")) == ""


def test_the_token_opens_once_and_the_cookie_from_then_on():
    gate = Gate(8000, "token")
    assert gate.onward(Asked(query="token=wrong")) is None
    assert gate.onward(Asked(query="")) is None
    assert gate.onward(Asked(query="token=token&a=1", path="//elsewhere.example/")) == (
        "/elsewhere.example/?a=1"
    )
    assert not gate.is_known(Asked())
    assert not gate.is_known(Asked(cookie=Held("token")))
    assert gate.is_known(Asked(cookie=Held(gate.pass_key)))


def test_typed_paths_of_served_panels_stay_below_desk_and_book(tmp_path, monkeypatch):
    desk, kept = tmp_path / "desk", tmp_path / "book"
    desk.mkdir()
    kept.mkdir()
    (desk / "way.out").symlink_to("/etc")
    assert str(typed_path("/etc/hostname")) == "/etc/hostname"
    monkeypatch.setenv("DYELAB_DESK", str(desk))
    monkeypatch.setenv("DYELAB_BOOK", str(kept))
    monkeypatch.chdir(desk)
    assert typed_path("photos/x.jpg") is not None
    assert typed_path(str(kept / "photos")) == kept / "photos"
    for text in ("/etc/hostname", "../other", "~", "way.out/hostname", "\0"):
        with pytest.raises(InputError, match=r"outside the folder desk and the book"):
            typed_path(text)


def answer(address, **headers):
    request = urllib.request.Request(address, headers=headers)
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
    try:
        with opener.open(request, timeout=60) as found:
            return found.status, found.geturl()
    except urllib.error.HTTPError as error:
        return error.code, error.read().decode()


@pytest.mark.slow
def test_the_served_panels_refuse_strangers(tmp_path):
    pytest.importorskip("voila", reason="the app extra is not installed")
    command = open_.app_command(0, no_browser=True)
    nbformat.write(nbformat.v4.new_notebook(), tmp_path / "0_start.ipynb")
    log = tmp_path / "log"
    with log.open("w") as out:
        own = open_.with_looks(os.environ)
        server = subprocess.Popen(command, cwd=tmp_path, env=own, stdout=out, stderr=out)
    try:
        found = None
        for _ in range(600):
            found = re.search(r"http://127.0.0.1:\d+/\?token=\S+", log.read_text())
            if found or server.poll() is not None:
                break
            time.sleep(0.1)
        assert found, log.read_text()
        address = found.group()
        plain = address.split("?")[0]
        assert answer(address) == (200, plain + "voila/render/0_start.ipynb")
        port = plain.rsplit(":", 1)[1].strip("/")
        for path in ("", "voila/static/voila.js", "api/kernels/x", "voila/files/x.ipynb"):
            assert answer(plain + path)[0] == 403
        assert answer(address, Host=f"rebound.example:{port}")[0] == 403
        assert answer(address, Origin="http://rebound.example")[0] == 403
        assert answer(plain + "?token=guess")[0] == 403
        assert sys.executable in command
    finally:
        server.terminate()
        server.wait(20)
