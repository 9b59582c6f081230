"""The demo: the whole job on the shipped example, and never over somebody's own work."""

import pytest

from dyelab.cli.fresh import fresh
from dyelab.errors import InputError


def fill(folder, text="one"):
    with fresh(folder) as made:
        (made / "book").mkdir()
        (made / "book" / "swatches.csv").write_text(text)


def stumble(folder):
    with fresh(folder) as made:
        (made / "half").write_text("half")
        raise RuntimeError


def listing(folder):
    return sorted(p.name for p in folder.iterdir())


def test_a_folder_is_made_and_made_again(tmp_path):
    fill(tmp_path / "out")
    fill(tmp_path / "out", "two")
    assert (tmp_path / "out" / "book" / "swatches.csv").read_text() == "two"
    assert listing(tmp_path) == ["out"]


def test_an_empty_folder_is_taken(tmp_path):
    (tmp_path / "out").mkdir()
    fill(tmp_path / "out")
    assert listing(tmp_path / "out") == [".dyelab-demo", "book"]


def test_a_folder_of_other_things_is_left_alone(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(InputError, match=r"isn't a demo folder.*another folder with --to"):
        fill(tmp_path)
    assert listing(tmp_path) == ["notes.txt"]


@pytest.mark.parametrize("name", ["book/swatches.csv", "book/notes.txt"])
def test_changed_and_added_files_are_left_alone(tmp_path, name):
    fill(tmp_path / "out")
    (tmp_path / "out" / name).write_text("mine")
    with pytest.raises(InputError, match=rf"holds work of yours \({name} is new or changed\)"):
        fill(tmp_path / "out", "two")
    assert (tmp_path / "out" / name).read_text() == "mine"


def test_a_file_in_the_way_is_left_alone(tmp_path):
    (tmp_path / "out").write_text("mine")
    with pytest.raises(InputError, match="is a file, not a folder"):
        fill(tmp_path / "out")
    assert (tmp_path / "out").read_text() == "mine"


def test_a_failure_leaves_the_old_folder_and_nothing_else(tmp_path):
    fill(tmp_path / "out")
    with pytest.raises(RuntimeError):
        stumble(tmp_path / "out")
    assert listing(tmp_path) == ["out"]
    assert (tmp_path / "out" / "book" / "swatches.csv").read_text() == "one"
