"""Every notebook: stored clean, short, honest about its limits, and running from nothing."""

import json
import os
import shutil
import sys
from pathlib import Path

import nbclient
import nbformat
import pytest

from dyelab import files

NOTEBOOKS = sorted(files.shipped_path("notebooks").glob("*.ipynb"))
LIMITS = "What could make this wrong"


def named(path):
    return path.stem


@pytest.fixture(params=NOTEBOOKS, ids=named)
def path(request):
    return request.param


@pytest.fixture
def notebook(path):
    return nbformat.read(path, as_version=4)


def test_there_are_notebooks_and_their_names_say_their_order():
    assert NOTEBOOKS
    assert all(path.name[0].isdigit() for path in NOTEBOOKS)


def test_stored_without_outputs_and_counts(notebook):
    nbformat.validate(notebook)
    for cell in notebook.cells:
        if cell.cell_type == "code":
            assert cell.outputs == []
            assert cell.execution_count is None
    assert "widgets" not in notebook.metadata


def test_two_or_three_cells_of_code_with_prose_around(notebook):
    kinds = [cell.cell_type for cell in notebook.cells]
    assert kinds[0] == "markdown"
    assert 1 <= kinds.count("code") <= 3
    for cell in notebook.cells:
        if cell.cell_type == "code":
            assert len(cell.source.splitlines()) <= 8


def test_it_ends_with_what_could_make_the_result_wrong(notebook):
    assert notebook.cells[-1].cell_type == "markdown"
    assert LIMITS in notebook.cells[-1].source


def test_no_machine_path_is_left_in_it(path):
    text = path.read_text(encoding="utf-8")
    assert not [word for word in ("/tmp/", "/home/", "/root/", "C:\\\\") if word in text]
    assert json.loads(text)["metadata"]["kernelspec"]["name"] == "python3"


@pytest.mark.slow
def test_it_runs_from_nothing_and_shows_a_panel(path, tmp_path, monkeypatch):
    for name in ("state", "ipython", "jupyter", "runtime"):
        (tmp_path / name).mkdir()
    monkeypatch.setenv("IPYTHONDIR", str(tmp_path / "ipython"))
    monkeypatch.setenv("JUPYTER_RUNTIME_DIR", str(tmp_path / "runtime"))
    monkeypatch.setenv("JUPYTER_PREFER_ENV_PATH", "1")
    root = str(Path(__file__).parents[1])
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([root, *filter(None, sys.path)]))
    desk = tmp_path / "desk"
    desk.mkdir()
    shutil.copy(path, desk)
    ran = nbformat.read(desk / path.name, as_version=4)
    nbclient.NotebookClient(
        ran, timeout=120, kernel_name="python3", resources={"metadata": {"path": str(desk)}}
    ).execute()
    outputs = [out for cell in ran.cells if cell.cell_type == "code" for out in cell.outputs]
    kinds = {kind for out in outputs for kind in out.get("data", {})}
    assert "application/vnd.jupyter.widget-view+json" in kinds
    assert [out for out in outputs if out.output_type in ("error", "stream")] == []
