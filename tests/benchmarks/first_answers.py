"""How long a page takes from the press at home to its first answer, in a headless Chromium.

Run: python tests/benchmarks/first_answers.py [lab|app] [pages, such as 6_explore ...]
Beside the clock stand the processor's time of the server and of the page's kernel from then on,
and the machine's load: on a busy machine the clock says how many share it.
"""

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path
from time import monotonic, sleep

from playwright.sync_api import sync_playwright

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests" / "browser"))
import conftest  # noqa: E402

from dyelab.cli import open_  # noqa: E402

PAGES = [
    path.stem for path in sorted((ROOT / "notebooks").glob("[1-9]*")) if "words" not in path.stem
]
REST = 8  # seconds a reader stays at home; the next kernel is made ready meanwhile
SHOWN = "[...document.querySelectorAll('.jp-NotebookPanel:not(.lm-mod-hidden), #rendered_cells')]"
ANSWER = f"() => {SHOWN}.some(one => one.querySelector('.dl-answer p'))"
WALL = f"() => {SHOWN}.some(one => one.querySelector('.dl-wall .dl-w'))"


def begun(mode, folder):
    """Start a server on a desk of its own; give back the process and home's address."""
    desk, log = folder / "desk", folder / "log"
    open_.copies(desk)
    port = conftest.free_port()
    command = getattr(open_, f"{mode}_command")(port, no_browser=True)
    if mode == "lab":
        command += ["--IdentityProvider.token=", "--ServerApp.password="]
    own = {"HOME": str(folder), "XDG_STATE_HOME": str(folder), "PYTHONUNBUFFERED": "1"}
    with log.open("w") as out:
        process = subprocess.Popen(
            command, cwd=desk, env=open_.with_looks({**os.environ, **own}), stdout=out, stderr=out
        )
    conftest.answered(f"http://127.0.0.1:{port}", process)
    if mode == "lab":
        return process, f"http://127.0.0.1:{port}/lab?reset"
    return process, re.search(r"http://\S+token=\S+", log.read_text()).group()


def processors(parent):
    """Processor time in seconds of a process and of each of its children (Linux)."""
    used = {}
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            fields = (folder / "stat").read_text().rsplit(")", 1)[1].split()
        except OSError:
            continue
        if parent in (int(fields[1]), int(folder.name)):
            used[int(folder.name)] = (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    return used


def at_home(page, mode, home):
    if mode == "lab":
        page.evaluate("() => window.dyelabDesk.open('0_start.ipynb')")
    else:
        page.goto(home.split("?")[0] + "voila/render/0_start.ipynb")
    page.wait_for_function(WALL, timeout=conftest.COLD)
    sleep(REST)


def measured(page, server, name):
    """Seconds from the press to the answer, and of server and page's kernel meanwhile."""
    before, start = processors(server), monotonic()
    page.locator(f"a[href*='{name}']").first.click()
    page.wait_for_function(ANSWER, timeout=conftest.COLD)
    took, after = monotonic() - start, processors(server)
    spent = {one: after[one] - before.get(one, 0) for one in after}
    return took, spent.pop(server), max(spent.values(), default=0)


def main(mode="lab", *pages):
    with (
        tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder,
        sync_playwright() as play,
    ):
        process, home = begun(mode, Path(folder))
        browser = play.chromium.launch(executable_path=conftest.CHROMIUM, args=conftest.FLAGS)
        try:
            page, start = browser.new_page(), monotonic()
            page.goto(home, timeout=conftest.COLD)
            page.wait_for_function(WALL, timeout=conftest.COLD)
            print(f"{mode}: home from a cold browser {monotonic() - start:.1f} s")
            sleep(REST)
            for name in pages or PAGES:
                clock, server, kernel = measured(page, process.pid, name)
                load = os.getloadavg()[0]
                print(
                    f"{name:20} {clock:5.1f} s; server {server:.2f}, kernel {kernel:.2f} s of"
                    f" processor; load {load:.1f}",
                    flush=True,
                )
                at_home(page, mode, home)
        finally:
            browser.close()
            process.terminate()
            process.wait(20)


if __name__ == "__main__":
    main(*sys.argv[1:])
