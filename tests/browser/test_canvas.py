"""The figure's own part of a panel, in a bare page: what is drawn after what."""

import pytest
from plotly.offline import get_plotlyjs

from dyelab import files
from dyelab.panel import tannin_share, widgets

STANDS = """([js]) => {
  const told = {}, held = { figure: "", description: "" };
  window.dyelabPlotly = window.Plotly;
  window.model = {
    get: (name) => held[name],
    set(name, value) {
      held[name] = value;
      (told[`change:${name}`] || []).forEach((one) => one());
    },
    on: (event, work) => (told[event] = told[event] || []).push(work),
    off() {}, send() {},
  };
  return import(URL.createObjectURL(new Blob([js], { type: "text/javascript" }))).then((made) => {
    const el = document.createElement("div");
    document.getElementById("host").append(el);
    made.default.render({ model, el });
  });
}"""
SEEN = """() => {
  const drawn = [...document.querySelectorAll(".trace path")];
  const marks = drawn.map((one) => one.getBoundingClientRect());
  const { left, right } = document.getElementById("host").getBoundingClientRect();
  return marks.some((one) => one.width > 0 && one.left >= left && one.right <= right);
}"""
HIDDEN = "() => !document.querySelector('.dl-canvas').clientWidth"


@pytest.fixture
def canvas(page):
    page.set_content('<div id="host" style="width:700px"></div>')
    page.add_script_tag(content=get_plotlyjs())
    page.evaluate(STANDS, [widgets.Canvas._esm])
    return page


@pytest.fixture(scope="module")
def figures():
    """Curves with axes as far as they reach, and a plane with limits of its own."""
    panel, found = tannin_share.panel(files.shipped_path("data", "marlpit_yard")), []
    for panel.choices["by_spectra"].value in (True, False):
        found.append(panel.canvas.figure)
    return found


def shown(page, *figures):
    """Set figures one right after the other, faster than they are drawn."""
    page.evaluate("texts => texts.forEach((text) => model.set('figure', text))", figures)
    page.wait_for_function(SEEN if figures[-1] else HIDDEN, timeout=5_000)


def test_figures_of_other_axes_follow_one_another_however_often(canvas, figures):
    curves, plane = figures
    for figure in (plane, curves, plane, curves, "", curves, plane, "", curves):
        shown(canvas, figure)


def test_of_figures_that_come_faster_than_they_are_drawn_the_last_is_seen(canvas, figures):
    curves, plane = figures
    shown(canvas, plane, curves, plane, curves)
    shown(canvas, plane, "", curves, plane, "", curves)
    shown(canvas, curves, plane, "")
    shown(canvas, curves, "", plane)


def test_a_figure_follows_its_width(canvas, figures):
    shown(canvas, figures[0])
    for width in (320, 640):
        canvas.evaluate(
            "wide => { document.getElementById('host').style.width = `${wide}px`; }", width
        )
        canvas.wait_for_function(
            "wide => document.querySelector('.main-svg').clientWidth === wide", arg=width
        )
        canvas.wait_for_function(SEEN)
