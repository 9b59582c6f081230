"""A photo of the card measured: rendered photos with known answers, and bad photos refused."""

import re
from dataclasses import replace

import cv2
import numpy as np
import pandas as pd
import photos
import pytest
import raw
from click.testing import CliRunner
from PIL import Image
from worlds import synth
from worlds.synth import render

from dyelab import calibrate, card, convert, measure, read, words
from dyelab.cli.measure_ import command
from dyelab.errors import InputError

AVERAGE = calibrate.reference()


def measured(picture, **options):
    return measure.photo(read.photo(picture.jpeg(), name="a.jpg"), AVERAGE, **options)


def off(picture, made):
    return convert.dE00(picture.truth, made.table[["L", "a", "b"]].to_numpy())


def saved(picture, path):
    path.write_bytes(picture.jpeg())
    return path


def changed(picture, pixels):
    return replace(picture, pixels=np.ascontiguousarray(pixels))


# --- right colours


def test_an_easy_photo_gives_the_true_colours():
    e = off(photos.easy(), measured(photos.easy()))
    assert np.median(e) < 1.1
    assert np.percentile(e, 95) < 3.0


@pytest.mark.parametrize("seed", [11, 12, 13])
def test_tilted_turned_photos_are_mapped_right(seed):
    picture = photos.drawn(seed)
    made = measured(picture)
    inner = [w.inner(0.7).corners for w in picture.card.windows]
    true = calibrate.map_points(picture.to_pixels, np.array(inner))
    assert np.abs(true - made.quads).max() < 3
    assert np.median(off(picture, made)) < 1.6


@pytest.mark.slow
def test_a_steeper_tone_curve_costs_little():
    plain = np.median(off(photos.easy(), measured(photos.easy(), method="plain")))
    steep = photos.easy(steeper=0.6)
    assert np.median(off(steep, measured(steep, method="plain"))) < plain + 0.4


@pytest.mark.slow
def test_a_raw_photo_gives_the_true_colours():
    pytest.importorskip("rawpy")
    linear = read.photo(photos.easy().jpeg(), name="a.jpg").to_linear[
        photos.easy().pixels, [0, 1, 2]
    ]
    made = measure.photo(read.photo(raw.dng(linear), name="a.dng"), AVERAGE)
    e = off(photos.easy(), made)
    assert np.median(e) < 1.0
    assert np.percentile(e, 95) < 3.0


def test_two_windows_share_the_calibration_error():
    made = measured(photos.easy())
    assert list(made.shared.columns) == ["reading", "source", "factor", "L", "a", "b", "scope"]
    assert set(made.shared["reading"]) == set("a.jpg/" + made.table["place"])
    whole = made.table[["var_L", "var_a", "var_b"]].to_numpy()
    part = made.shared.assign(**made.shared[["L", "a", "b"]].pow(2)).groupby("reading", sort=False)
    assert (part[["L", "a", "b"]].sum().to_numpy() <= whole + 1e-3).all()


@pytest.mark.slow
def test_more_noise_in_the_cloth_makes_the_uncertainty_larger():
    calm, rough = (measured(photos.easy(weave=w)).table for w in (0.02, 0.3))
    assert (rough["var_L"] > calm["var_L"]).mean() > 0.8


@pytest.mark.slow
def test_white_only_works_with_a_larger_uncertainty():
    picture = photos.easy()
    made = measure.photo(read.photo(picture.jpeg(), name="a.jpg"), None)
    by_target = measured(picture)
    assert made.table["flags"].str.contains("no_target").all()
    assert not made.table["flags"].map(words.flags).str.contains("_").any()
    assert made.table["u_a"].median() > 1.4 * by_target.table["u_a"].median()


@pytest.mark.slow
def test_a_stored_calibration_serves_the_same_light_and_refuses_another(tmp_path):
    first = measured(photos.easy())
    kept = calibrate.write_calibration(first.setup.calibration, tmp_path / "kept.json")
    stored = calibrate.read_calibration(kept)
    again = measured(photos.easy(), stored=stored)
    np.testing.assert_allclose(again.table["L"], first.table["L"], atol=0.05)
    with pytest.raises(InputError, match=r"no longer fits: .*make a new calibration"):
        measured(photos.easy(light="A", developed=0.0), stored=stored)


def with_own(picture, count, **how):
    """Before and after: windows that no instrument read, and which those were."""
    before = measured(picture, **how)
    (places,) = measure.worth_reading(before.table, count).values()
    at = [picture.card.places.index(place) for place in places]
    add = pd.DataFrame(picture.truth[at], columns=["L", "a", "b"]).assign(sample=places)
    return before, measured(picture, add=add, **how), np.setdiff1d(np.arange(24), at)


@pytest.mark.slow
def test_own_swatches_measured_by_instrument_help():
    """A quarter off the 95th percentile of the others, over six photos in three lights."""
    before, after = [], []
    for seed, light in ((41, "D65"), (42, "LED-B3"), (43, "FL11"), (45, "D65"), (46, "LED-B3")):
        picture = photos.drawn(seed, light=light)
        was, now, rest = with_own(picture, 12, method="plain")
        before.append(off(picture, was)[rest])
        after.append(off(picture, now)[rest])
    was, now = (np.percentile(np.concatenate(e), 95) for e in (before, after))
    assert now < 0.75 * was


def test_own_swatches_narrow_what_is_stated_of_the_others():
    was, now, rest = with_own(photos.easy(light="LED-B3"), 12)
    assert now.table["u_a"].iloc[rest].mean() < 0.8 * was.table["u_a"].iloc[rest].mean()


@pytest.mark.parametrize("count", [1, 2])
def test_one_or_two_own_swatches_do_no_harm(count):
    picture = photos.easy(light="LED-B3")
    was, now, rest = with_own(picture, count)
    assert off(picture, now)[rest].mean() < off(picture, was)[rest].mean() + 0.05


def test_own_swatches_correct_a_photo_without_a_target():
    picture = photos.easy(light="LED-B3")
    was = measure.photo(read.photo(picture.jpeg(), name="a.jpg"), None)
    (places,) = measure.worth_reading(was.table, 12).values()
    at = [picture.card.places.index(place) for place in places]
    add = pd.DataFrame(picture.truth[at], columns=["L", "a", "b"]).assign(sample=places)
    now = measure.photo(read.photo(picture.jpeg(), name="a.jpg"), None, add=add)
    rest = np.setdiff1d(np.arange(24), at)
    assert np.median(off(picture, now)[rest]) < 0.6 * np.median(off(picture, was)[rest])


def test_swatches_worth_reading_speak_for_the_others():
    """Of two families of like colours and one alone, each has its reading before a second."""
    lab = [[60, 40, 30], [50, 41, 31], [40, 39, 29], [70, -20, 40], [60, -21, 41], [80, 0, -30]]
    table = pd.DataFrame(lab, columns=["L", "a", "b"]).assign(photo="a.jpg", place=list("abcdef"))
    (chosen,) = measure.worth_reading(table, 3).values()
    assert sorted("abc".find(c) >= 0 for c in chosen) == [False, False, True]
    assert chosen[0] in "abc"
    assert "f" in chosen


def test_added_readings_of_an_unknown_place_are_refused():
    add = pd.DataFrame({"sample": ["Z9"], "L": [50.0], "a": [0.0], "b": [0.0]})
    with pytest.raises(InputError, match=r"name 'Z9', which is no place here. Places: A1"):
        measured(photos.easy(), add=add)


def test_an_added_reading_of_another_swatch_is_refused():
    picture = photos.easy()
    add = pd.DataFrame(picture.truth[[0, 0, 7]], columns=["L", "a", "b"])
    far = convert.dE00(picture.truth, picture.truth[0]).argmax()
    add["sample"] = np.array(picture.card.places)[[0, far, 7]]
    with pytest.raises(InputError, match=rf"'{picture.card.places[far]}' is \d+ ΔE00 from what"):
        measured(picture, add=add)


def test_a_target_in_a_photo_without_card_is_found():
    picture = photos.easy()
    pixels = picture.pixels.copy()
    for marker in picture.card.markers:
        corners = calibrate.map_points(picture.to_pixels, marker.inner(1.3).corners)
        cv2.fillConvexPoly(pixels, np.round(corners).astype(np.int32), (120, 120, 120))
    bare = read.photo(changed(picture, pixels).jpeg(), name="a.jpg")
    boxes = {
        w.place: calibrate.map_points(picture.to_pixels, w.inner(0.6).corners)
        for w in picture.card.windows
    }
    made = measure.boxes(bare, AVERAGE, boxes)
    assert np.median(off(picture, made)) < 1.5
    assert made.table["flags"].str.contains("no_card").all()


def test_areas_are_sampled_where_they_lie_and_missing_ones_stay_empty():
    pixels = np.full((200, 300, 3), 40, np.uint8)
    pixels[50:100, 60:120] = [255, 120, 80]
    seen = read.photo(cv2.imencode(".png", pixels[..., ::-1])[1].tobytes(), name="a.png")
    inside = np.array([[62, 52], [118, 52], [118, 98], [62, 98]], float)
    made = calibrate.sample(seen, [inside + np.array([200, 0]), inside])
    assert np.isnan(made.mean[0]).all()
    np.testing.assert_allclose(made.mean[1], seen.to_linear[[255, 120, 80], [0, 1, 2]], rtol=1e-5)
    assert made.clipped.tolist() == [0, 1]
    assert made.pixels.tolist() == [0, 56 * 46]


# --- reference values


def test_reference_values_from_files_agree_with_the_published_ones(tmp_path):
    spectra = convert.target_spectra()
    spectra["sample"] = [f"{'ABCD'[i // 6]}{i % 6 + 1}" for i in range(24)]
    spectra.sample(frac=1, random_state=1).to_csv(tmp_path / "target.csv", index=False)
    read_back = calibrate.reference(tmp_path / "target.csv")
    np.testing.assert_allclose(read_back.lab, AVERAGE.lab, atol=0.02)


def test_a_target_stored_column_by_column_is_turned(tmp_path):
    lab = convert.target_lab().drop(columns="flags")
    by_column = lab.iloc[np.arange(24).reshape(4, 6).T.ravel()]
    by_column.to_csv(tmp_path / "target.csv", index=False)
    np.testing.assert_allclose(calibrate.reference(tmp_path / "target.csv").lab, AVERAGE.lab)


def test_a_file_without_24_patches_is_refused(tmp_path):
    convert.target_lab().drop(columns="flags")[:20].to_csv(tmp_path / "t.csv", index=False)
    with pytest.raises(InputError, match="20 patches; the reference target has 24"):
        calibrate.reference(tmp_path / "t.csv")


# --- what is refused or flagged, each in its own words


def refused(picture, match):
    with pytest.raises(InputError, match=match):
        measured(picture)


def test_no_card():
    blank = np.random.default_rng(1).integers(90, 160, (600, 800, 3), np.uint8)
    refused(changed(photos.easy(), blank), r"no swatch card found.*draw boxes")


def test_a_cut_off_card():
    refused(photos.easy(cut=0.75), "cut off")


def test_two_cards():
    one = photos.easy().pixels
    refused(changed(photos.easy(), np.hstack([one, one])), r"more than one card.*one at a time")


def test_another_card_than_the_layout():
    with pytest.raises(InputError, match="shows the A4 cloth card, but the layout given is Letter"):
        measured(photos.easy(), layout=card.layout("Letter"))


def test_a_covered_target():
    refused(render.dark(photos.easy()), r"target isn't seen.*inside the dashed frame")


def test_clipped_whites():
    refused(photos.easy(exposure=1.3), "burnt out .clipped.*Expose less")


def test_a_partly_covered_target():
    picture = photos.easy()
    pixels = picture.pixels.copy()
    found = measured(picture).setup.target
    cv2.fillConvexPoly(pixels, np.round(found.quads[8]).astype(np.int32), (30, 200, 40))
    refused(changed(picture, pixels), r"patch 'moderate red'.*is it covered")


def test_a_bent_card():
    picture = photos.easy()
    h, w = picture.pixels.shape[:2]
    x, y = np.meshgrid(np.arange(w, dtype=np.float32), np.arange(h, dtype=np.float32))
    bent = cv2.remap(
        picture.pixels, x, (y + 30 * np.sin(x / w * 9)).astype(np.float32), cv2.INTER_LINEAR
    )
    refused(changed(picture, bent), "isn't flat|no corner square")


def test_a_card_too_small_in_the_picture():
    refused(photos.easy(filling=0.28), "too small in the picture|no swatch card found|blurred")


def test_a_blurred_photo_is_flagged():
    """Older OpenCV doesn't find the card in it any more, which is said as well."""
    try:
        said = set(measured(photos.easy(blur=2.0)).table["flags"])
    except InputError as refused:
        said = {str(refused)}
    assert all("blurred" in text for text in said)
    assert not measured(photos.easy()).table["flags"].str.contains("blurred").any()


@pytest.mark.slow
def test_a_window_in_hard_shadow_is_flagged():
    picture = photos.easy()
    pixels = picture.pixels.copy()
    quad = measured(picture).quads[8]
    half = np.array([quad[0], (quad[0] + quad[1]) / 2, (quad[2] + quad[3]) / 2, quad[3]])
    mask = np.zeros(pixels.shape[:2], np.uint8)
    cv2.fillConvexPoly(mask, np.round(half).astype(np.int32), 1)
    pixels[mask > 0] = (pixels[mask > 0] * 0.6).astype(np.uint8)
    flags = measured(changed(picture, pixels)).table["flags"]
    assert "shadow" in flags[8]
    assert flags.drop(8).eq("").all()


@pytest.mark.slow
def test_a_clipped_window_is_flagged():
    picture = photos.easy()
    pixels = picture.pixels.copy()
    cv2.fillConvexPoly(pixels, np.round(measured(picture).quads[3]).astype(np.int32), (255, 250, 9))
    assert "clipped" in measured(changed(picture, pixels)).table["flags"][3]


@pytest.mark.slow
def test_an_empty_window_is_flagged():
    paper = np.full((24, len(render.BANDS)), render.PAPER)
    spectra = np.where(np.arange(24)[:, None] == 5, paper, photos.cloth(1))
    made = measured(render.render(spectra, render.Shot(megapixels=2, weave=0.001)))
    assert [i for i, flags in enumerate(made.table["flags"]) if "empty" in flags] == [5]


@pytest.mark.slow
def test_a_letter_card_is_recognised_by_its_markers():
    made = card.layout("Letter", "large")
    picture = render.render(photos.cloth(2, 8), render.Shot(megapixels=2), card=made)
    assert list(measured(picture).table["place"]) == made.places


# --- the command


@pytest.mark.slow
def test_the_command_writes_the_agreed_columns(tmp_path):
    paths = [
        saved(photos.easy(), tmp_path / "one.jpg"),
        saved(photos.drawn(11), tmp_path / "b.jpg"),
    ]
    layout = card.write_layout(card.layout(), tmp_path / "card.json")
    out = tmp_path / "out.csv"
    done = CliRunner().invoke(
        command,
        [*map(str, paths), "--target", "average", "--card", str(layout), "-o", str(out),
         "--overlay", str(tmp_path / "over"), "--shared", str(tmp_path / "shared.csv"), "-j", "1",
         "--worth-reading", "3"],
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    assert re.search(
        r"one\.jpg: worth reading by instrument: [A-F]\d, [A-F]\d, [A-F]\d", done.output
    )
    table = pd.read_csv(out)
    assert list(table.columns[:12]) == measure.COLUMNS
    assert len(table) == 48
    with Image.open(tmp_path / "over" / "one.jpg.overlay.jpg") as picture:
        assert max(picture.size) <= 1600
    assert len(pd.read_csv(tmp_path / "shared.csv")) > 48


@pytest.mark.slow
def test_a_kept_calibration_is_made_as_asked(tmp_path):
    picture = photos.easy()
    path = saved(picture, tmp_path / "one.jpg")
    add = pd.DataFrame(picture.truth[::2], columns=["L", "a", "b"])
    add.insert(0, "sample", picture.card.places[::2])
    add["illuminant"], add["observer"] = "D65", 10
    add.to_csv(tmp_path / "own.csv", index=False)
    common = [str(path), "--target", "average", "--add", str(tmp_path / "own.csv")]
    kept, out = tmp_path / "kept.json", tmp_path / "out.csv"
    asked = [*common, "--method", "plain", "--keep", str(kept), "-o", str(out)]
    done = CliRunner().invoke(command, asked)
    assert done.exit_code == 0, done.output
    stored = calibrate.read_calibration(kept)
    assert stored.method == "plain"
    assert len(stored.anchors[0]) == 12
    again = measured(picture, stored=stored).table[["L", "a", "b"]]
    np.testing.assert_allclose(again, pd.read_csv(out)[["L", "a", "b"]], atol=0.1)


@pytest.mark.parametrize(
    ("extra", "match"),
    [
        (["--target", "white", "--keep", "k.json"], "needs the target in the picture"),
        (["--target", "average", "--keep", "k.json", "--calibration", "old.json"], "one of the tw"),
    ],
)
def test_a_calibration_that_cannot_be_kept_is_refused_first(tmp_path, extra, match):
    out = tmp_path / "out.csv"
    done = CliRunner().invoke(command, ["nowhere.jpg", *extra, "-o", str(out)])
    assert isinstance(done.exception, InputError)
    assert re.search(match, str(done.exception))


def test_a_kept_calibration_takes_no_further_readings(tmp_path):
    stored = measured(photos.easy()).setup.calibration
    with pytest.raises(InputError, match="used as it is: added readings"):
        measure.photos(["a.jpg"], stored=stored, method="plain")


@pytest.mark.slow
def test_a_refused_photo_leaves_no_table_behind(tmp_path):
    bad = tmp_path / "bad.jpg"
    bad.write_bytes(photos.easy().jpeg()[:9000])
    good = saved(photos.easy(), tmp_path / "good.jpg")
    out = tmp_path / "out.csv"
    arguments = [str(good), str(bad), "--target", "average", "-o", str(out), "-j", "1"]
    done = CliRunner().invoke(command, arguments)
    assert isinstance(done.exception, InputError)
    assert "bad.jpg: the file breaks off" in str(done.exception)
    assert not out.exists()
    done = CliRunner().invoke(command, [*arguments, "--skip-bad"])
    assert done.exit_code == 0
    assert set(pd.read_csv(out)["photo"]) == {"good.jpg"}


def test_rendered_photos_say_so():
    assert "Invented" in synth.render.__doc__


def test_a_hopelessly_blurred_photo():
    refused(photos.easy(blur=5.0), r"blurred|no swatch card found.*sharp")


def test_swatches_that_tell_nothing_of_others_take_no_doubt_off_them():
    plain = calibrate.from_white(np.array([0.8, 0.82, 0.79]))
    lab = np.array([[40.0, 20, 10], [41, 20, 10], [70, -5, 40]])
    doubts = {
        trusted: np.trace(
            replace(plain, anchors=(lab[:1], np.zeros((1, 3))), trusted=trusted).doubt(lab)[0],
            axis1=1, axis2=2,
        )
        for trusted in (0.0, 0.5, 1.0)
    }  # fmt: skip
    own = np.trace(plain.doubt(lab)[0], axis1=1, axis2=2)
    np.testing.assert_allclose(doubts[0.0], own)
    assert (doubts[1.0] < doubts[0.5]).all()
    assert (doubts[0.5] < own).all()
