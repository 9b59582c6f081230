"""``dyelab open``: JupyterLab, or the panels alone, on copies of the notebooks."""

import filecmp
import hashlib
import json
import os
import shutil
import sys
from collections.abc import Mapping
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import click

from dyelab import files, words
from dyelab.cli import options
from dyelab.errors import InputError

FOLDER = "dyelab-notebooks"
_RECORD = ".as-shipped"
_SERVED = Path(__file__).parent / "served"
_WARM = "dyelab.cli.warm_kernels.WarmKernels"


@click.command("open")
@click.argument("folder", metavar="[BOOK]", required=False, type=options.PATH)
@click.option("--app", is_flag=True, help="Serve the panels alone, without code.")
@click.option(
    "--in",
    "desk",
    metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path(FOLDER),
    show_default=True,
    help="Folder of your own for the copies of the notebooks.",
)
@click.option(
    "--white",
    metavar="WHITE",
    help="White of a book that begins here: D65/10 (usual for textiles), D65/2, D50/10 or D50/2.",
)
@click.option("--port", type=int, default=0, help="Port on this machine; a free one by default.")
@click.option("--no-browser", is_flag=True, help="Print the address only.")
def command(folder: Path | None, app: bool, desk: Path, white: str | None, **server: Any) -> None:
    """Open the notebooks on a swatch book, or on the example.

    The notebooks are copied to a folder of your own; those you have changed are left as they
    are. The server answers to this machine alone.
    """
    given = environment(folder, white)
    if app and find_spec("voila") is None:
        raise InputError(words.say("cli.no_app"))
    for line in copies(desk):
        click.echo(line)
    click.echo(words.say("cli.serving", folder=desk.resolve()))
    run = app_command if app else lab_command
    if app:
        given["DYELAB_DESK"] = str(desk.resolve())
    os.chdir(desk)
    os.execve(sys.executable, run(**server), with_looks(given))


def with_looks(environment: Mapping[str, str]) -> dict[str, str]:
    """Let the servers find what comes along: pages and settings that ask no other machine."""
    added = {
        name: os.pathsep.join([str(_SERVED), *filter(None, [environment.get(name, "")])])
        for name in ("JUPYTER_PATH", "JUPYTER_CONFIG_PATH")
    }
    return {**environment, **added}


def environment(folder: Path | None, white: str | None = None) -> dict[str, str]:
    """Return the environment of the server, with the book the panels shall open on."""
    if folder is None:
        return {**os.environ}
    if not folder.exists() and (white or _is_wanted(folder)):
        _begin(folder, white)
    elif not folder.exists() and not sys.stdin.isatty():
        raise InputError(words.say("cli.nobody_to_ask", path=folder))
    elif white:
        raise InputError(words.say("cli.white_stands", path=folder))
    if not (folder / "datapackage.json").is_file():
        raise InputError(words.say("frame.no_book", path=folder))
    return {**os.environ, "DYELAB_BOOK": str(folder.resolve())}


def _begin(folder: Path, white: str | None) -> None:
    """Begin a book under the white given, or under the one chosen when asked."""
    from dyelab import book, table

    offered = [table.white_text(one).rstrip("°") for one in table.WHITES]
    chosen = white or click.prompt(
        words.say("cli.which_white"), type=click.Choice(offered), default=offered[0]
    )
    book.save(book.create(folder, folder.name, white=table.book_white(chosen)))


def _is_wanted(folder: Path) -> bool:
    """Ask whether a book shall be begun where there is none; unasked, the answer is no."""
    said = words.say("cli.begin_book", path=folder)
    return sys.stdin.isatty() and click.confirm(said, default=True)


def copies(desk: Path) -> list[str]:
    """Copy the notebooks to a folder of the user's own; give back what there is to say.

    A copy that was changed is never written over: the new one is laid beside it.

    Raises
    ------
    InputError
        If the folder lies inside the installed package.
    """
    source = files.shipped_path("notebooks")
    if desk.resolve().is_relative_to(Path(__file__).resolve().parents[1]):
        raise InputError(words.say("cli.inside", path=desk))
    desk.mkdir(parents=True, exist_ok=True)
    record = files.json_kept(desk / _RECORD)  # digests of the notebooks as they were laid there
    said = []
    for path in sorted(source.glob("*.ipynb")):
        target = desk / path.name
        if target.exists() and not _is_untouched(target, path, record):
            target = desk / f"{path.stem} (new){path.suffix}"
            if not target.exists() or not filecmp.cmp(path, target, shallow=False):
                said.append(words.say("cli.kept", name=path.name, new=target.name))
        if not target.exists() or _is_untouched(target, path, record):
            shutil.copyfile(path, target)
        record.setdefault(target.name, []).append(_digest(path))
    kept = {name: sorted(set(known)) for name, known in record.items()}
    files.write(desk / _RECORD, json.dumps(kept, indent=1))
    return said


def _is_untouched(target: Path, path: Path, record: dict[str, list[str]]) -> bool:
    same = filecmp.cmp(path, target, shallow=False)
    return same or _digest(target) in record.get(target.name, [])


def _digest(path: Path) -> str:
    """Digest of what a user writes in a notebook; outputs and counts don't matter."""
    try:
        cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        kept = [[cell["cell_type"], "".join(cell["source"])] for cell in cells]
    except (OSError, ValueError, KeyError, TypeError):
        return ""
    return hashlib.sha256(json.dumps(kept).encode()).hexdigest()


def lab_command(port: int, no_browser: bool) -> list[str]:
    # The address alone is said in the terminal: it is critical to the server's log.
    arguments = [sys.executable, "-m", "jupyterlab"]
    arguments += ["--Application.log_level=ERROR", "--ServerApp.ip=127.0.0.1"]
    arguments += ["--LabApp.news_url=None", "--ServerApp.root_dir=."]
    arguments += [f"--ServerApp.kernel_manager_class={_WARM}"]
    arguments += ["--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate"]
    # It carries old settings over, and warns in the terminal of one that nobody here has set.
    arguments.append('--ServerApp.jpserver_extensions={"notebook_shim": False}')
    # In a container the only user is often root; the server answers to this machine alone.
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        arguments.append("--allow-root")
    return arguments + _common(port, no_browser, "--ServerApp.port")


def app_command(port: int, no_browser: bool) -> list[str]:
    arguments = [sys.executable, "-m", "dyelab.cli.serve_panels", ".", "--template=dyelab"]
    arguments += ["--Application.log_level=ERROR"]
    arguments += [f"--VoilaConfiguration.multi_kernel_manager_class={_WARM}"]
    # Each panel is shown as it answers, not once the page's last one has.
    arguments += ["--VoilaConfiguration.progressive_rendering=True"]
    return arguments + _common(port, no_browser, "--Voila.port")


def _common(port: int, no_browser: bool, name: str) -> list[str]:
    return [*([f"{name}={port}"] if port else []), *(["--no-browser"] if no_browser else [])]
