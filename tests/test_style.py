import json

import nasty
import numpy as np
import plotly.graph_objects as go
import pytest
import stand_in

from dyelab.plot import plane, static, style

VALUES = [(45, 42, 30), (38, 25, 18), (60, -120, 60)]


@pytest.fixture
def swatches():
    more = {"group": ["madder", "madder", "tannin alone"], "path": ["iron", "iron", ""]}
    return stand_in.lab(["K-01", "K-02", "K-03"], VALUES, u_L=0.5, u_a=1.0, u_b=0.7, **more)


def test_every_category_has_its_own_shape():
    shapes = style.assign_marks(["none", "alum", "none", "iron"], style.SHAPES)
    assert list(shapes) == ["none", "alum", "iron"]
    assert len(set(shapes.values())) == 3


def test_a_colour_no_screen_shows_is_marked_in_shape_and_words(swatches):
    trace = style.points(swatches)
    assert [symbol.endswith("-x") for symbol in trace.marker.symbol] == [False, False, True]
    assert "a screen can't show" in trace.text[2]
    assert "a screen can't show" not in trace.text[0]


def test_hover_says_swatch_recipe_numbers_and_white(swatches):
    text = style.hover(swatches.assign(recipe="madder 50 % WOF"))[0]
    for part in ("K-01", "madder 50 % WOF", "L* 45.0", "a* 42.0", "b* 30.0", "D65/10°", "± 0.5"):
        assert part in text


@pytest.mark.parametrize("text", nasty.ALL)
def test_user_text_has_no_markup_left_and_is_kept_short(text):
    shown = style.escape(text)
    assert "<" not in shown.replace("<br>", "")
    assert len(shown.replace("<br>", "").replace("&lt;", "<").replace("&amp;", "&")) <= 70


def test_the_plane_holds_every_swatch_twice_and_the_way_between(swatches):
    figure = plane.figure(swatches, path="path")
    on_plane = [t for t in figure.data if t.mode == "markers" and not t.xaxis]
    strip = [t for t in figure.data if t.yaxis == "y2"]
    assert sum(len(t.x) for t in on_plane) == sum(len(t.x) for t in strip) == 3
    (way,) = [t for t in figure.data if t.mode == "lines+markers"]
    assert list(way.x) == [42, 25]


def test_outline_has_the_95_percent_radius(swatches):
    (outline,) = [t for t in plane.figure(swatches).data if t.mode == "lines"]
    first = np.array([outline.x[:41], outline.y[:41]], float)
    scaled = (first - [[42], [30]]) / [[1.0], [0.7]]
    assert np.hypot(*scaled) == pytest.approx(np.sqrt(5.991))


def test_the_limits_hold_all_colours_and_grey(swatches):
    a_low, a_high, b_low, b_high = plane.around(swatches)
    assert a_low < -120
    assert a_high > 42
    assert b_low < 0
    assert b_high > 60
    assert a_high - a_low == pytest.approx(b_high - b_low)


@pytest.mark.parametrize("text", nasty.ALL)
def test_paper_shows_the_same_marks_and_keeps_text_as_text(swatches, text):
    from xml.etree import ElementTree

    figure = plane.figure(swatches.assign(group=text), path="path")
    root = ElementTree.fromstring(static.svg(figure))
    tags = {element.tag.split("}")[1] for element in root.iter()}
    assert "script" not in tags
    assert "image" not in tags
    words = "".join(root.itertext())
    assert "a* (− greener, + redder)" in words
    assert text.split()[0][:20] in words.replace("\n", "")


def test_marks_wider_than_their_strip_are_not_cut_on_paper(swatches):
    from xml.etree import ElementTree

    root = ElementTree.fromstring(static.svg(plane.figure(swatches), 430))
    (plot, strip) = [g for g in root if g.tag.endswith("}g") and g.get("clip-path")][:2]
    assert (len(plot) > 0, len(strip)) == (True, 0)


def test_paper_repeats_byte_for_byte(swatches):
    assert static.svg(plane.figure(swatches)) == static.svg(plane.figure(swatches))


def test_paper_refuses_what_it_can_not_draw():
    with pytest.raises(ValueError, match="can't show a pie"):
        static.svg(go.Figure(go.Pie(values=[1, 2])))


def test_a_figure_is_light_enough_to_send_on_every_move(swatches):
    assert len(json.dumps(json.loads(plane.figure(swatches, path="path").to_json()))) < 20_000
