"""A JupyterLab (and a served app) on a folder of its own, and a Chromium that drives them."""

import os
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from dyelab.cli import open_

ROOT = Path(__file__).parents[2]
ARTEFACTS = ROOT / ".artefacts"
CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--force-color-profile=srgb",
]
COLD = 120_000  # the first start on a slow machine


def pytest_collection_modifyitems(items):
    here = Path(__file__).parent
    reason = f"no Chromium at {CHROMIUM}; install it or set CHROMIUM"
    for item in items:
        if here in Path(item.fspath).parents:
            item.add_marker(pytest.mark.browser)
            item.add_marker(pytest.mark.slow)
            # A browser on a busy machine now and then misses a click: such a test has two goes.
            item.add_marker(pytest.mark.flaky(reruns=1))
            if not Path(CHROMIUM).exists():
                item.add_marker(pytest.mark.skip(reason=reason))


def free_port():
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        return held.getsockname()[1]


def answered(url, process, seconds=90):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if process.poll() is not None:
            raise RuntimeError(f"the server ended with code {process.returncode}")
        try:
            with urllib.request.urlopen(url, timeout=5):
                return
        except urllib.error.HTTPError:
            return
        except OSError:
            time.sleep(0.2)
    raise TimeoutError(url)


@pytest.fixture(scope="session")
def desk(tmp_path_factory):
    """Return a folder with copies of the notebooks: what a user works in."""
    folder = tmp_path_factory.mktemp("desk")
    for path in (ROOT / "notebooks").glob("*.ipynb"):
        shutil.copy(path, folder)
    return folder


@pytest.fixture(scope="session")
def surroundings(tmp_path_factory):
    """Return an environment where nothing of the user's own is read or written."""
    home = tmp_path_factory.mktemp("home")
    own = {
        "HOME": str(home),
        "XDG_STATE_HOME": str(home / "state"),
        "IPYTHONDIR": str(home / "ipython"),
        "JUPYTER_CONFIG_DIR": str(home / "jupyter"),
        "JUPYTER_RUNTIME_DIR": str(home / "runtime"),
        "JUPYTER_PREFER_ENV_PATH": "1",
        "PYTHONPATH": os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")]),
        "OMP_NUM_THREADS": "1",
        "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}",
    }
    return {**os.environ, **own}


def served(command, folder, environment, url):
    log = (folder / "server.log").open("w")
    process = subprocess.Popen(command, cwd=folder, env=environment, stdout=log, stderr=log)
    try:
        answered(url, process)
        yield url
    finally:
        process.terminate()
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
        log.close()


@pytest.fixture(scope="session")
def lab(desk, surroundings):
    """Address of a JupyterLab on the desk."""
    port = free_port()
    command = open_.lab_command(port, no_browser=True)
    command += ["--IdentityProvider.token=", "--ServerApp.password="]
    command += ["--LabApp.expose_app_in_browser=True"]
    environment = open_.with_looks(surroundings)
    yield from served(command, desk, environment, f"http://127.0.0.1:{port}")


@pytest.fixture(scope="session")
def app(desk, surroundings, tmp_path_factory):
    """Address of the served panels, which remember nothing of what JupyterLab's tests chose."""
    pytest.importorskip("voila", reason="the app extra is not installed")
    port = free_port()
    command = open_.app_command(port, no_browser=True)
    state = str(tmp_path_factory.mktemp("state"))
    own = {"XDG_STATE_HOME": state, "PYTHONUNBUFFERED": "1"}
    environment = open_.with_looks({**surroundings, **own})
    for plain in served(command, desk, environment, f"http://127.0.0.1:{port}"):
        said = (desk / "server.log").read_text()
        yield re.search(rf"{plain}/\?token=\S+", said).group()


@pytest.fixture(scope="session")
def chromium():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def page(chromium, surroundings):
    """Return a browser page, nothing of other tests remembered; it fails the test if it asks any
    other machine for anything, or if a traceback can be seen at the end.
    """
    shutil.rmtree(Path(surroundings["XDG_STATE_HOME"]) / "dyelab", ignore_errors=True)
    context = chromium.new_context(viewport={"width": 1280, "height": 900})
    shown = context.new_page()
    shown.set_default_timeout(30_000)
    foreign = []
    shown.on("request", lambda ask: foreign.append(ask.url) if abroad(ask.url) else None)
    yield shown
    faults = shown.locator(".jp-OutputArea-output[data-mime-type*='error']").count()
    context.close()
    assert (foreign, faults) == ([], 0)


def abroad(url):
    return url.startswith("http") and not url.startswith(("http://127.0.0.1", "http://localhost"))


class Notebook:
    """A notebook open in JupyterLab."""

    def __init__(self, page, lab, name):
        self.page, self.name = page, name
        page.goto(f"{lab}/lab/tree/{name}?reset", timeout=COLD)
        idle = '.jp-Notebook-ExecutionIndicator[data-status="idle"]'
        page.wait_for_selector(idle, state="attached", timeout=COLD)
        page.wait_for_selector(".jp-Notebook .jp-CodeCell")
        self._shut_side_bar()

    def _shut_side_bar(self):
        """Give the notebook the window's width, as a user with a small screen does."""
        if self.page.locator("#jp-left-stack").is_visible():
            self.page.keyboard.press("Control+b")
            self.page.wait_for_selector("#jp-left-stack", state="hidden")

    def run_all(self, until=".dyelab .dl-canvas .main-svg", timeout=60_000):
        """Wait for what the panel shows; a page of ours runs by itself. Give back the seconds."""
        start = time.monotonic()
        self.page.wait_for_selector(until, timeout=timeout)
        return time.monotonic() - start

    def theme(self, name):
        """Switch JupyterLab to its ``light`` or ``dark`` theme."""
        wanted = {"light": "JupyterLab Light", "dark": "JupyterLab Dark"}[name]
        self.page.evaluate(
            "theme => window.jupyterapp.commands.execute('apputils:change-theme', {theme})", wanted
        )
        light = str(name == "light").lower()
        found = f'body[data-jp-theme-light="{light}"]'
        self.page.wait_for_selector(found, state="attached")
        self.page.wait_for_timeout(250)


@pytest.fixture
def notebook(page, lab):
    """Open a notebook: ``notebook("4_metals.ipynb")``."""
    return lambda name: Notebook(page, lab, name)


@pytest.fixture
def shot(page):
    """Keep a picture of the panel (or of the page) among the artefacts."""

    def take(name, selector=".dyelab", width=None):
        if width:
            page.set_viewport_size({"width": width, "height": 1000})
            page.wait_for_timeout(200)
        ARTEFACTS.mkdir(exist_ok=True)
        target = page.locator(selector).first
        # a panel is taller than its scrolled place; a tall window shows it whole
        height = int(target.evaluate("e => e.scrollHeight")) + 500
        size = page.viewport_size
        page.set_viewport_size({"width": size["width"], "height": min(max(height, 900), 3200)})
        page.wait_for_timeout(200)
        target.screenshot(path=ARTEFACTS / f"{name}.png")
        page.set_viewport_size(size)
        return ARTEFACTS / f"{name}.png"

    return take


FITS = "e => e.scrollWidth <= e.clientWidth + 1"


@pytest.fixture
def looks(page, shot):
    """Keep pictures of panels in both themes and both widths; nothing of them may stick out."""

    def take(opened, *names):
        for theme, widths in (("light", (1280, 800)), ("dark", (800, 1280))):
            opened.theme(theme)
            for width in widths:
                for i, name in enumerate(names):
                    shot(f"{name}-{theme}-{width}", f".dyelab >> nth={i}", width)
                    assert page.locator(".dyelab").nth(i).evaluate(FITS), (name, theme, width)
        opened.theme("light")

    return take


@pytest.fixture
def choose(page):
    """Choose an option of a panel's list by the list's label."""

    def pick(label, option):
        page.locator(".dyelab").get_by_label(label, exact=True).select_option(label=option)

    return pick


@pytest.fixture
def save(page):
    """Press buttons that save, each told with the ending of its file, until they say so."""

    def press(**buttons):
        for suffix, name in buttons.items():
            page.get_by_role("button", name=name).click()
            ended = "end => document.querySelector('.dl-saved').innerText.trim().endsWith(end)"
            page.wait_for_function(ended, arg=f".{suffix}", timeout=60_000)

    return press


@pytest.fixture
def drawn(page):
    """Wait until the figure has been drawn again after doing something."""

    def after(work, timeout=45_000):
        canvas = page.locator(".dl-canvas").first
        before = int(canvas.get_attribute("data-drawn") or 0)
        work()
        page.wait_for_function(
            "n => Number(document.querySelector('.dl-canvas').dataset.drawn) > n",
            arg=before,
            timeout=timeout,
        )

    return after
