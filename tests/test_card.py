"""The printed card: its geometry, its file and its page."""

import json

import cv2
import numpy as np
import pytest
from click.testing import CliRunner

from dyelab import card
from dyelab.cli.card_ import command
from dyelab.errors import InputError

CARDS = [(paper, kind) for paper in card.PAPERS for kind in card.KINDS]


def areas(made):
    return [*made.windows, made.target_area, *made.white_areas, *made.grey_areas, *made.markers]


@pytest.mark.parametrize(("paper", "kind"), CARDS)
def test_nothing_overlaps_and_all_is_on_the_page(paper, kind):
    made = card.layout(paper, kind)
    boxes = np.array([[a.x_mm, a.y_mm, a.x_mm + a.width_mm, a.y_mm + a.height_mm]
                      for a in areas(made)])  # fmt: skip
    assert (boxes[:, :2] >= 5).all()
    assert (boxes[:, 2:] <= np.array(made.page_mm) - 5).all()
    for i, box in enumerate(boxes):
        apart = (boxes[:, :2] >= box[2:] - 1e-6) | (boxes[:, 2:] <= box[:2] + 1e-6)
        assert apart.any(axis=1).sum() == len(boxes) - 1, areas(made)[i]


def test_the_cloth_card_has_24_windows_for_swatches_of_two_centimetres():
    made = card.layout()
    assert len(made.windows) == 24
    assert all(w.width_mm >= 20 and w.height_mm >= 20 for w in made.windows)


def test_every_card_has_markers_of_its_own():
    numbers = [m.place for paper, kind in CARDS for m in card.layout(paper, kind).markers]
    assert len(set(numbers)) == len(numbers)
    assert set(map(int, numbers)) <= set(card.marker_numbers())
    for paper, kind in CARDS:
        made = card.layout(paper, kind)
        assert card.of_markers({int(made.markers[2].place)}) == made
    assert card.of_markers({3}) is None


@pytest.mark.parametrize(("paper", "kind"), CARDS)
def test_the_printed_markers_are_where_the_layout_says(paper, kind):
    made = card.layout(paper, kind)
    page = card.bitmap(made, 5)
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36H11)
    corners, numbers, _ = cv2.aruco.ArucoDetector(family).detectMarkers(page)
    found = {int(n): c[0] for n, c in zip(numbers.ravel(), corners, strict=True)}
    for marker in made.markers:
        np.testing.assert_allclose(found[int(marker.place)] / 5, marker.corners, atol=0.3)


def test_a_layout_file_gives_the_same_card_back(tmp_path):
    made = card.layout("Letter", "large")
    path = card.write_layout(made, tmp_path / "card.json")
    read = card.read_layout(path)
    for one, other in zip(areas(made), areas(read), strict=True):
        np.testing.assert_allclose(one.corners, other.corners, atol=1e-3)


def test_a_layout_file_without_windows_says_which_part_is_missing(tmp_path):
    path = card.write_layout(card.layout(), tmp_path / "card.json")
    content = json.loads(path.read_text())
    del content["windows"]
    path.write_text(json.dumps(content))
    with pytest.raises(InputError, match=r"no usable 'windows'.*dyelab card"):
        card.read_layout(path)


def test_the_command_writes_the_page_and_the_layout(tmp_path):
    done = CliRunner().invoke(
        command,
        ["-o", str(tmp_path / "c.pdf"), "--layout", str(tmp_path / "c.json"), "--paper", "Letter"],
    )
    assert done.exit_code == 0
    assert (tmp_path / "c.pdf").read_bytes().startswith(b"%PDF")
    content = json.loads((tmp_path / "c.json").read_text())
    assert content["page_mm"] == [215.9, 279.4]
    assert set(content["windows"][0]) == {"place", "x_mm", "y_mm", "width_mm", "height_mm"}
    assert {"target_area", "white_areas"} <= set(content)


def test_paper_of_another_name_is_refused():
    with pytest.raises(InputError, match=r"no paper 'A5'.*A4, Letter"):
        card.layout("A5")
