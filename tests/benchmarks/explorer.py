"""How long the iron and copper panel takes, seen from the browser.

Measured: from pressing run to the first picture, and from a key on a slider to the new picture.
Floor, in the same run: the same key on a bare slider whose value comes back from Python as text.

    python tests/benchmarks/explorer.py
"""

import json
import os
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "browser")]

import conftest  # noqa: E402
from playwright.sync_api import sync_playwright  # noqa: E402

from dyelab.cli import open_  # noqa: E402

STARTS = 3
MOVES = 24
FLOOR = """import ipywidgets as widgets

slider = widgets.IntSlider(min=0, max=100)
echo = widgets.HTML("0")
echo.add_class("echo")
slider.observe(lambda change: setattr(echo, "value", str(change["new"])), "value")
widgets.VBox([slider, echo]).add_class("floor")"""
PRESS = """([handle, watched, key]) => new Promise(done => {
  const at = document.querySelector(handle), seen = document.querySelector(watched);
  const start = performance.now();
  const watch = new MutationObserver(() => {
    watch.disconnect();
    requestAnimationFrame(() => done(performance.now() - start));
  });
  watch.observe(seen, {attributes: true, childList: true, subtree: true, characterData: true,
                       attributeFilter: ['data-drawn']});
  at.dispatchEvent(new KeyboardEvent('keydown', {key, keyCode: key === 'ArrowRight' ? 39 : 37,
                                                 bubbles: true, cancelable: true}));
})"""


def floor_notebook(path):
    cells = [{"cell_type": "code", "id": "floor", "metadata": {}, "outputs": [], "source": FLOOR}]
    cells[0]["execution_count"] = None
    kernel = {"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}}
    body = {"cells": cells, "metadata": kernel, "nbformat": 4, "nbformat_minor": 5}
    path.write_text(json.dumps(body))


def moved(page, handle, watched):
    """Milliseconds from a key to its effect, right and left in turn."""
    page.wait_for_timeout(800)
    times = []
    for i in range(MOVES):
        times.append(page.evaluate(PRESS, [handle, watched, ("ArrowRight", "ArrowLeft")[i % 2]]))
        page.wait_for_timeout(250)
    return times


def told(name, times):
    ordered = sorted(times)
    worst = ordered[int(0.9 * (len(ordered) - 1))]
    print(f"{name:34} median {statistics.median(times):6.0f} ms   9 of 10 within {worst:6.0f} ms")


def main():
    desk = Path(tempfile.mkdtemp(prefix="dyelab-desk-"))
    for i in range(STARTS):  # each with a kernel of its own
        shutil.copy(ROOT / "notebooks" / "4_metals.ipynb", desk / f"start{i}.ipynb")
    floor_notebook(desk / "floor.ipynb")
    own = {"PYTHONPATH": str(ROOT), "XDG_STATE_HOME": str(desk), "OMP_NUM_THREADS": "1"}
    own |= {"JUPYTER_PREFER_ENV_PATH": "1"}
    port = conftest.free_port()
    command = open_.lab_command(port, no_browser=True)
    command += ["--allow-root", "--IdentityProvider.token=", "--ServerApp.password="]
    server = conftest.served(
        command, desk, open_.with_looks({**os.environ, **own}), f"http://127.0.0.1:{port}"
    )
    address = next(server)
    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=conftest.CHROMIUM, args=conftest.FLAGS)
        page = browser.new_page(viewport={"width": 1280, "height": 1000})
        page.set_default_timeout(conftest.COLD)
        floor = conftest.Notebook(page, address, "floor.ipynb")
        bare = floor.run_all(until=".floor .noUi-handle")
        back = moved(page, ".floor .noUi-handle", ".echo .widget-html-content")
        firsts = []
        for i in range(STARTS):
            panel = conftest.Notebook(page, address, f"start{i}.ipynb")
            firsts.append(panel.run_all())
        times = moved(page, ".dyelab .noUi-handle", ".dl-canvas")
        browser.close()
    print(f"load of this machine              {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    print(f"run to a bare slider              {bare:.1f} s")
    print(f"run to the first picture          {', '.join(f'{first:.1f}' for first in firsts)} s")
    told("key to text, bare slider", back)
    told("key to picture, iron slider", times)
    server.close()
    shutil.rmtree(desk, ignore_errors=True)


if __name__ == "__main__":
    start = time.monotonic()
    main()
    print(f"whole run                         {time.monotonic() - start:.0f} s")
