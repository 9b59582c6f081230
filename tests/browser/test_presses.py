"""The whole job in a browser, each press counted: click, key chord or typed field is one."""

import os
import re

import labelled
import numpy as np
import pytest
from conftest import ARTEFACTS, COLD, free_port, served
from worlds.synth import fade, render

from dyelab import book
from dyelab.cli import open_

MOST = 40
HERE = ".jp-NotebookPanel:not(.lm-mod-hidden)"


class Hand:
    """Does what a user does on the page in front, and keeps count of it."""

    def __init__(self, page):
        self.page, self.done = page, []

    def panel(self, title):
        return self.page.locator(f'{HERE} .dyelab[aria-label="{title}"]')

    def _did(self, what):
        self.done.append(what)
        print(f"{len(self.done):3} {what}")

    def press(self, panel, name):
        panel.get_by_role("button", name=name).click()
        self._did(f"press “{name}”")

    def follow(self, name, until):
        self.page.locator(HERE).get_by_role("link", name=name, exact=True).first.click()
        self.page.locator(f"{HERE} {until}").first.wait_for(timeout=COLD)
        self.page.wait_for_timeout(2500)  # a page holds its top while its panels grow
        self._did(f"go to “{name}”")

    def home(self):
        self.follow("To the book's home", ".dl-next")

    def type(self, panel, label, text):
        field = panel.get_by_label(label, exact=True)
        field.fill(text)
        field.press("Tab")
        self._did(f"type “{text.rpartition('/')[2]}” into “{label}”")

    def tick(self, panel, name):
        panel.get_by_label(name, exact=True).first.click()
        self._did(f"tick “{name}”")

    def look(self, name):
        self.page.wait_for_timeout(300)
        self.page.screenshot(path=ARTEFACTS / f"presses-{len(self.done):02}-{name}.png")


@pytest.fixture
def mine(tmp_path, surroundings):
    """A new book as ``dyelab open MINE`` begins it, and the address of JupyterLab on it."""
    ARTEFACTS.mkdir(exist_ok=True)
    begun = open_.environment(tmp_path / "mine", "D65/10")
    own = {"DYELAB_BOOK": begun["DYELAB_BOOK"], "XDG_STATE_HOME": str(tmp_path / "state")}
    desk, port = tmp_path / "desk", free_port()
    open_.copies(desk)
    command = [*open_.lab_command(port, no_browser=True), "--IdentityProvider.token="]
    environment = open_.with_looks({**os.environ, **surroundings, **own})
    for address in served(command, desk, environment, f"http://127.0.0.1:{port}"):
        yield tmp_path / "mine", address, desk


def in_sight(element):
    box = element.bounding_box()
    return box["y"] >= 0 and box["y"] + box["height"] <= element.page.viewport_size["height"]


def photograph(path, file):
    """Lay the book's first 24 swatches on the card, labels above them, and take a picture."""
    bk = book.open(path)
    codes = list(bk.swatches["swatch"])[:24]
    made = book.recipes(bk).set_index("swatch").loc[codes].reset_index()
    made = made.assign(dye=made["dye"].replace("alder bark", "walnut hull"))
    spectra = fade.faded(made, "none", 0.0, wavelengths=render.BANDS)
    bare = np.full((24 - len(codes), len(render.BANDS)), render.PAPER)
    layout = labelled.card.layout()
    numbers = bk.swatches.set_index("swatch").loc[codes, "label_number"]
    laid = labelled.thrown(numbers, layout.windows[: len(codes)], np.random.default_rng(3))
    shot = render.Shot(megapixels=8.0, tilt=6.0)
    picture = render.render(np.vstack([spectra, bare]), shot, card=layout, seed=3, labels=laid)
    file.write_bytes(picture.jpeg())


def test_from_a_new_dye_to_a_handout_in_forty_presses(mine, page, tmp_path):
    path, address, desk = mine
    page.goto(f"{address}/lab?reset", timeout=COLD)
    hand = Hand(page)
    page.locator(f"{HERE} .dl-next").first.wait_for(timeout=COLD)
    materials = hand.panel("My materials")
    hand.type(materials, "Name of the material", "alder bark")
    hand.press(materials, "Put it into the book")
    materials.get_by_text("alder bark is in the book").or_(
        materials.locator(".dl-saved", has_text="alder bark")
    ).first.wait_for()
    hand.look("material")

    hand.follow("Plan, record, browse", ".dyelab .dl-chips")
    plan = hand.panel("Plan a series")
    hand.tick(plan, "madder")
    hand.tick(plan, "alder bark")
    plan.locator(".dl-chips", has_text="alder bark").first.wait_for()
    hand.press(plan, "Put the series into the book")
    plan.get_by_text("swatches are in the book").wait_for()
    hand.look("planned")

    hand.home()
    hand.look("home")
    assert page.locator(f"{HERE} .dl-next a").first.get_attribute("href") == "1_plan.ipynb#record"
    hand.follow("Colours from a photo or an instrument", ".dyelab .dl-answer p")
    capture = hand.panel("Colours from a photo")
    hand.press(capture, "Make labels to print (PDF)")
    capture.get_by_text("Saved:").wait_for()
    photograph(path, tmp_path / "card.jpg")
    hand.type(capture, "Or the name of a photo's file", str(tmp_path / "card.jpg"))
    capture.locator(".dl-answer", has_text="each with its swatch's name").wait_for(timeout=COLD)
    hand.look("measured")
    hand.press(capture, "Add the named swatches to the book")
    added = capture.get_by_text(re.compile(r"Added \d+ readings"))
    added.wait_for()
    assert in_sight(added), "what a press did is brought into view"

    hand.home()
    hand.follow("What the metals did", ".dyelab .dl-canvas .main-svg")
    answer = hand.panel("Iron").locator(".dl-answer").inner_text()
    assert "alder bark" in answer
    assert "iron" in answer
    hand.look("iron")
    hand.home()
    hand.follow("Make pages", ".dyelab .dl-pictures img")
    pages = hand.panel("Make pages")
    hand.press(pages, "Save the page (PDF)")
    pages.get_by_text("Saved:").wait_for()
    hand.look("page")
    assert list((desk / "saved").glob("*.pdf"))
    assert len(hand.done) <= MOST, hand.done
