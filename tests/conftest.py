"""What every test starts with: nothing remembered from before, and no book chosen outside."""

import pytest


@pytest.fixture(scope="session", autouse=True)
def _apart(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_STATE_HOME", str(tmp_path_factory.mktemp("state")))
        patch.delenv("DYELAB_BOOK", raising=False)
        yield


@pytest.fixture(autouse=True)
def _nothing_remembered(tmp_path_factory, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path_factory.mktemp("state")))


@pytest.fixture
def desk(tmp_path, monkeypatch):
    """An empty folder to work in."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture(scope="session")
def source():
    """What pages take from the example book."""
    from dyelab import book, files
    from dyelab.handout import colours

    return colours.source(book.open(files.shipped_path("data", "marlpit_yard")))
