"""A photo file into a swatch book: by the command, by Python and from the panel alike."""

import numpy as np
import pandas as pd
import photos
import pytest
from click.testing import CliRunner
from worlds.synth import render

from dyelab import book, calibrate, compare, files, measure, read, shift
from dyelab.cli.measure_ import command
from dyelab.errors import InputError

PHOTO = files.shipped_path("data", "studio", "photos", "card_1.jpg")
NAMES = {"A1": "W07", "A2": "W08", "B1": "W09"}


@pytest.fixture(scope="module")
def made():
    return measure.photo(read.photo(PHOTO), calibrate.reference())


@pytest.fixture
def places(tmp_path):
    path = tmp_path / "places.csv"
    rows = pd.DataFrame({"place": NAMES.keys(), "swatch": NAMES.values()})
    rows.to_csv(path, index=False)
    return path


def empty(folder, white=("D65", 10)):
    bk = book.create(folder, white=white)
    return book.save(book.add(bk, swatches=pd.DataFrame({"swatch": ["w07", "W08"]})))


def test_the_command_and_python_give_the_same_book(made, places, tmp_path):
    by_hand = empty(tmp_path / "by_hand")
    book.save(book.add_photo(by_hand, made, PHOTO, NAMES)[0])
    empty(tmp_path / "by_command")
    told = CliRunner().invoke(
        command,
        [str(PHOTO), "--target=average", f"--into={tmp_path / 'by_command'}", f"--names={places}"],
        catch_exceptions=False,
    )
    assert told.exit_code == 0
    assert "3 readings and 1 new swatch added to " in told.output
    one, other = (book.open(tmp_path / name) for name in ("by_hand", "by_command"))
    assert one.faults.empty
    for table in ("swatches", "readings", "shared"):
        pd.testing.assert_frame_equal(getattr(one, table), getattr(other, table))
    assert list(one.readings["swatch"]) == ["w07", "W08", "W09"]  # as the book writes it
    (kept,) = (tmp_path / "by_hand" / "photos").iterdir()
    assert kept.read_bytes() == PHOTO.read_bytes()
    assert set(one.readings["source"]) == {f"photos/{kept.name}"}


def test_what_an_instrument_corrected_is_no_evidence_of_its_own(made, tmp_path):
    own = made.table.set_index("place").loc[["A1", "A2"], ["L", "a", "b"]]
    added, places = tmp_path / "added.csv", tmp_path / "places.csv"
    own.assign(illuminant="D65", observer=10).rename_axis("sample").to_csv(added)
    asked = [str(PHOTO), "--target=average", f"--add={added}", f"--names={places}"]
    asked.append(f"--into={empty(tmp_path / 'mine').path}")
    places.write_text("place,swatch\nA1,W1\nA2,W2\n", "utf-8")
    assert "corrected this photo" in str(CliRunner().invoke(command, asked).exception)
    assert book.open(tmp_path / "mine").readings.empty
    places.write_text("place,swatch\nA1,W1\nA2,W2\nB3,W3\n", "utf-8")
    told = CliRunner().invoke(command, asked, catch_exceptions=False)
    assert "flagged" not in told.output
    assert list(book.open(tmp_path / "mine").readings["swatch"]) == ["W3"]


def test_the_shared_error_arrives(made, tmp_path):
    """Two windows of one photo: their difference must not count the photo's error twice."""
    bk, rows = book.add_photo(empty(tmp_path / "book"), made, PHOTO, NAMES)
    kept = book.open(book.save(bk).path)
    assert set(kept.shared["reading"]) == set(rows["reading"])
    window = made.table.set_index("place").loc[list(NAMES)]
    np.testing.assert_allclose(kept.readings["var_L"], window["var_L"], rtol=1e-4)
    own = made.shared[made.shared["reading"].isin(f"{PHOTO.name}/{place}" for place in NAMES)]
    assert len(own) == len(kept.shared)
    np.testing.assert_allclose(
        np.sort(kept.shared["L"] ** 2), np.sort(own["L"] ** 2), rtol=1e-3, atol=1e-9
    )
    wide = book.wide(kept)
    spread = [
        compare.pairs(wide, [("w07", "W08")], by="swatch", shared=shared)["noise_floor"].iloc[0]
        for shared in (kept.shared, None)
    ]
    assert spread[0] < spread[1]
    assert len(shift.as_dyed(wide, shared=kept.shared).made)


def test_a_photo_is_added_once(made, tmp_path):
    bk, _ = book.add_photo(empty(tmp_path / "book"), made, PHOTO, NAMES)
    with pytest.raises(InputError, match="in this book already"):
        book.add_photo(bk, made, PHOTO, {"A1": "W07"})
    with pytest.raises(InputError, match=r"reading w07-\w+-A1"):  # nor as another swatch
        book.add_photo(bk, made, PHOTO, {"A1": "W08"})


def test_washed_cloth_is_kept_as_such(made, tmp_path):
    state = {"exposure": "wash", "amount": 5.0, "unit": "cycle"}
    _, rows = book.add_photo(empty(tmp_path / "book"), made, PHOTO, {"A1": "W07"}, **state)
    assert {name: rows[name].iloc[0] for name in state} == state


@pytest.mark.parametrize(
    ("names", "said"),
    [({"Z9": "W07"}, "no place 'Z9' was measured"), ({}, "no place is named")],
)
def test_places_that_are_not_there_are_refused(made, tmp_path, names, said):
    with pytest.raises(InputError, match=said):
        book.add_photo(empty(tmp_path / "book"), made, PHOTO, names)


def test_a_photo_under_another_white_is_refused(made, tmp_path):
    with pytest.raises(InputError, match="Measure it again"):
        book.add_photo(empty(tmp_path / "book", ("D50", 2)), made, PHOTO, NAMES)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("place,code\nA1,W07\n", "no column 'swatch'"),
        ("place,swatch\nA1,\n", "row 2: place and swatch must both be filled in"),
        ("place,swatch\nA1,W07\nA1,W08\n", "row 3: place 'A1' is named twice"),
    ],
)
def test_places_that_say_too_little_are_refused(tmp_path, text, said):
    (tmp_path / "places.csv").write_text(text)
    with pytest.raises(InputError, match=said):
        book.read_places(tmp_path / "places.csv")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ([], "nowhere to put the colours"),
        (["-o", "out.csv", "--names=places.csv"], "--names goes with --into"),
        (["-o", "out.csv", "--goes-with=a.jpg"], "--goes-with goes with --into"),
        (["--into=book", "--witnesses=W01"], "name the earlier photo"),
    ],
)
def test_the_command_says_what_belongs_together(options, said):
    told = CliRunner().invoke(command, [str(PHOTO), "--target=average", *options])
    assert said in str(told.exception)


@pytest.fixture(scope="module")
def twice(tmp_path_factory):
    """Two photos of one labelled card in one light, from two positions."""
    folder = tmp_path_factory.mktemp("twice")
    laid = [render.Label(1000 + i, place, 1.0) for i, place in enumerate(("A1", "B2", "C3"))]
    for seed, turn in ((1, 88.0), (2, 93.0)):
        shot = render.Shot(megapixels=5.0, tilt=4, turn=turn)
        picture = render.render(photos.cloth(4), shot, seed=seed, labels=laid)
        (folder / f"{seed}.jpg").write_bytes(picture.jpeg())
    return folder


def told_by(folder, bk, *options):
    asked = ["--target=average", f"--into={bk.path}", *options]
    return CliRunner().invoke(command, [str(folder), *asked], catch_exceptions=False).output


def test_labels_name_the_windows_and_photos_are_linked(twice, tmp_path):
    swatches = pd.DataFrame({"swatch": ["W01", "W02", "W03"], "label_number": [1000, 1001, 1002]})
    bk = book.save(book.add(book.create(tmp_path / "book"), swatches=swatches))
    said = told_by(twice / "1.jpg", bk)
    assert "named by labels: A1 W01, B2 W02, C3 W03" in said
    said = told_by(
        twice / "2.jpg", bk, "--goes-with=1.jpg", "--witnesses=W01", "--exposure=wash",
        "--amount=5", "--unit=cycle",
    )  # fmt: skip
    assert "goes with the earlier one" in said
    assert "Witness W01 changed by" in said
    kept = book.open(bk.path)
    assert kept.photos["goes_with"].fillna("").ne("").tolist().count(True) == 1
    assert kept.shared["source"].nunique() == 1
    washed = kept.readings[kept.readings["exposure"] == "wash"]
    assert set(washed["swatch"]) == {"W02", "W03"}


@pytest.mark.parametrize(
    ("options", "said"),
    [([], "no label above a window names"), (["--goes-with=a.jpg"], "no photo of this book named")],
)
def test_what_neither_label_nor_name_tells_is_asked(places, tmp_path, options, said):
    bk = empty(tmp_path / "book")
    named = [f"--names={places}"] if options else []
    asked = [str(PHOTO), "--target=average", f"--into={bk.path}", *named, *options]
    assert said in str(CliRunner().invoke(command, asked).exception)
    assert book.open(bk.path).readings.empty


def test_names_of_another_photo_are_not_taken_for_this_one(tmp_path):
    bk, path = empty(tmp_path / "book"), tmp_path / "names.csv"
    path.write_text("photo,place,swatch\nother.jpg,A1,W07\n")
    asked = [str(PHOTO), "--target=average", f"--into={bk.path}", f"--names={path}"]
    said = str(CliRunner().invoke(command, asked).exception)
    assert "no line is for card_1.jpg. Photos named there: other.jpg." in said
