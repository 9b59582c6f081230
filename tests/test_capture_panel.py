"""The capture panel without a browser: measure, drag, name, add."""

from datetime import UTC, datetime

import labelled
import numpy as np
import pandas as pd
import photo_book
import photos
import pytest
from panels import choose
from worlds import random_books
from worlds.synth import render

from dyelab import book, calibrate, convert, grade, plan, synth
from dyelab.panel import book_choice, capture, save

pytestmark = pytest.mark.slow


EXAMPLE = str(book_choice.example_photo())
CODES = [f"K-{i:02}" for i in range(1, 27)]


@pytest.fixture
def shown(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    book.save(book.create(tmp_path / "mine"))
    made = capture.panel(tmp_path / "mine")
    assert "Choose a photo" in made.answer.value
    made.choices["path"].value = EXAMPLE
    return made


@pytest.fixture
def coded(shown, tmp_path):
    """The panel on a book that knows swatches."""
    book.save(book.add(book.open(tmp_path / "mine"), swatches=pd.DataFrame({"swatch": CODES})))
    shown.follow(tmp_path / "mine")
    return shown


def test_it_measures_the_example_and_names_its_swatches(shown):
    assert "24 windows measured, each with its swatch's name" in shown.sentence
    assert "entered as new: W01 … W24 (24)" in shown.sentence
    assert list(shown.shown.table["swatch"][:2]) == ["W01", "W02"]
    assert shown.shown.figure.layout.meta["drag"]


def test_a_dragged_window_is_measured_where_it_was_dropped(shown):
    before = shown.measured
    i = list(shown.grips).index("A1")
    shown.move_windows({f"shapes[{i}].path": drawn(before.quads[7])})
    first = shown.measured.table.set_index("place").loc["A1", ["L", "a", "b"]]
    second = before.table.loc[7, ["L", "a", "b"]]
    assert convert.dE00(first.to_numpy(float), second.to_numpy(float)) < 0.5


def test_a_dragged_corner_moves_the_card(shown):
    corner = calibrate.map_points(
        shown.measured.setup.pose.to_pixels,
        shown.measured.setup.pose.layout.markers[0].corners[:1],
    )[0]
    size = np.array([[-9, -9], [9, -9], [9, 9], [-9, 9]])
    before = shown.measured.quads[0].mean(axis=0)
    i = list(shown.grips).index("corner 0")
    shown.move_windows({f"shapes[{i}].path": drawn(size + np.add(corner, (20, 0)))})
    assert 5 < np.linalg.norm(shown.measured.quads[0].mean(axis=0) - before) < 25


def test_named_swatches_go_into_the_book_with_the_photo(shown, tmp_path):
    shown.choices["names"].value = "A1 = N1\nA2 = N2"
    shown.add_to_book()
    assert "Added 2 readings" in shown.sentence
    kept = book.open(tmp_path / "mine")
    assert list(kept.readings["swatch"]) == ["N1", "N2"]
    assert set(kept.shared["reading"]) == set(kept.readings["reading"])
    assert len(list((tmp_path / "mine" / "photos").iterdir())) == 1


def test_a_line_that_names_nothing_says_how_to_write_it(shown):
    shown.choices["names"].value = "W07"
    shown.update()
    assert "A1 = W07" in shown.sentence


def test_names_are_spelt_as_card_and_book_spell_them(coded):
    coded.choices["path"].value = EXAMPLE
    assert "none has a name yet" not in coded.sentence  # a table lies beside the example
    coded.choices["names"].value = "a1 = k-07, A2 = X9"
    assert (names(coded)["A1"], names(coded)["A2"]) == ("K-07", "X9")
    assert "entered as new: X9 (1)" in coded.sentence
    coded.choices["names"].value = "A9 = K-07"
    assert "no window A9: they are called A1 … D6" in coded.answer.value
    coded.choices["names"].value = "A1 = K-07, A2 = k-07"
    assert "K-07 is written beside several windows: A1, A2" in coded.answer.value


def test_a_window_is_named_by_tapping_it_and_choosing_a_swatch(coded, tmp_path):
    file = tmp_path / "alone.jpg"
    file.write_bytes(book_choice.example_photo().read_bytes())
    coded.choices["path"].value = str(file)
    assert "none has a name yet" in coded.sentence
    assert coded.tap.place.value == "A1"
    assert coded.tap.swatch.options == tuple(CODES)
    coded.ask_name(*coded.measured.quads[7].mean(axis=0))
    place = coded.measured.table["place"][7]
    assert coded.tap.place.value == place
    coded.tap.swatch.value = "K-03"
    assert names(coded)[place] == "K-03"
    assert "K-03" not in coded.tap.swatch.options
    assert coded.tap.place.value == "A1", "the next window without a name"
    coded.add_to_book()
    assert list(book.open(tmp_path / "mine").readings["swatch"]) == ["K-03"]


def test_empty_windows_are_said_and_neither_named_nor_asked_for(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    codes = [f"P{i}" for i in range(1, 9)]
    bk = book.create(tmp_path / "mine")
    book.save(book.add(bk, swatches=pd.DataFrame({"swatch": codes})))
    bare = np.full((18, len(render.BANDS)), render.PAPER)
    picture = render.render(np.vstack([photo_book.spectra(0), bare]), photo_book.SHOT, seed=1)
    (tmp_path / "card.jpg").write_bytes(picture.jpeg())
    shown = capture.panel(tmp_path / "mine")
    shown.choices["path"].value = str(tmp_path / "card.jpg")
    empty = [p for p, flags in shown.measured.table[["place", "flags"]].values if "empty" in flags]
    assert len(empty) == 18
    assert f"Nothing lies in {empty[0]} … {empty[-1]}" in shown.sentence
    assert "6 windows measured; none has a name yet" in shown.sentence
    said = next(note for note in shown.shown.notes if "Have you a colour instrument" in note)
    assert not set(empty) & set(said.rstrip(".").replace(",", " ").split())
    shown.choices["first"].value = "P1"
    assert list(filter(None, names(shown).values())) == [f"P{i}" for i in range(1, 7)]


def test_boxes_serve_without_a_card(shown):
    shown.choices["boxes"].value = 3
    shown.update()
    assert list(shown.shown.table["place"]) == ["box 1", "box 2", "box 3"]


def test_swatches_laid_in_the_books_order_need_no_names(coded):
    choose(coded, path=EXAMPLE, first="K-03", names="B1 = K-01")
    coded.update()
    named = names(coded)
    assert (named["A1"], named["A2"], named["B1"]) == ("K-03", "K-04", "K-01")


def drawn(quad):
    """A shape as the picture sends it back once it was dragged."""
    return "M" + "L".join(f"{x:.1f},{y:.1f}" for x, y in quad) + "Z"


def faded(spectra, wanted):
    """Spectra that have lost density evenly, until they are ΔE00 `wanted` away."""
    before = convert.spectrum_to_lab(render.BANDS, spectra)
    low, high = np.zeros(len(spectra)), np.full(len(spectra), 0.5)
    for _ in range(20):
        middle = (low + high) / 2
        lab = convert.spectrum_to_lab(render.BANDS, spectra ** (1 - middle[:, None]))
        far = convert.dE00(before, lab) > wanted
        low, high = np.where(far, low, middle), np.where(far, middle, high)
    return spectra ** (1 - low[:, None])


def names(shown):
    return dict(zip(shown.shown.table["place"], shown.shown.table["swatch"], strict=True))


def drawn_names(shown):
    return [note.text for note in shown.shown.figure.layout.annotations]


def test_names_are_shown_on_their_windows_as_soon_as_they_change(coded, tmp_path):
    coded.choices["path"].value = EXAMPLE
    coded.update()
    coded.choices["first"].value = "K-03"
    assert names(coded)["A1"] == drawn_names(coded)[0] == "K-03"
    assert "order alone" in coded.below.value
    with coded.quiet():
        coded.choices["first"].value = "K-01"
    coded.add_to_book()
    assert "have changed" in coded.answer.value
    assert book.open(tmp_path / "mine").readings.empty


def test_labels_name_their_windows_and_the_doubtful_are_asked_for(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    bk = book.create(tmp_path / "mine")
    bk = plan.with_label_numbers(book.add(bk, swatches=pd.DataFrame({"swatch": CODES})))
    book.save(bk)
    numbers = list(bk.swatches["label_number"])
    windows = labelled.card.layout().windows
    laid = labelled.thrown(numbers[::-1][: len(windows)], windows, np.random.default_rng(5))
    laid[1] = labelled.replace(laid[1], number=laid[0].number)
    laid[5] = labelled.replace(laid[5], number=11)
    picture, _ = labelled.photo(5, labels=laid, megapixels=6.0, tilt=5.0)
    (tmp_path / "card.jpg").write_bytes(picture.jpeg())
    shown = capture.panel(tmp_path / "mine")
    shown.choices["path"].value = str(tmp_path / "card.jpg")
    shown.update()
    assert list(names(shown).values())[2:5] == ["K-24", "K-23", "K-22"]
    assert drawn_names(shown)[:3] == ["?", "?", "K-24"]
    assert "3 more have a label" in shown.sentence
    assert "K-26 lies above several windows: A1, A2" in shown.below.value
    assert "A6: its label is of no swatch in this book" in shown.below.value
    shown.choices["names"].value = "A1 = K-26, A6 = K-01"
    assert "1 more have a label" in shown.sentence
    shown.add_to_book()
    assert "Added 23 readings" in shown.sentence


def test_small_changes_are_found_between_photos_that_go_together(tmp_path, monkeypatch):
    """Six of 24 washed cloths changed by ΔE00 2.2: too little for two photos each by itself."""
    monkeypatch.chdir(tmp_path)
    spectra = np.maximum(photos.cloth(21), 0.02)
    changed = [0, 5, 9, 14, 18, 23]
    after = spectra.copy()
    after[changed] = faded(spectra[changed], 2.2)
    for seed, (name, seen) in enumerate({"before": spectra, "after": after}.items()):
        shot = random_books.random_shot(seed, megapixels=2.0, camera="Nikon 5100 (NPL)", tilt=8.0)
        picture = render.render(seen, shot, seed=seed)
        (tmp_path / f"{name}.jpg").write_bytes(picture.jpeg())
    book.save(book.create(tmp_path / "mine"))
    shown = capture.panel(tmp_path / "mine")
    shown.choices["names"].value = names_typed = "; ".join(
        f"{place} = W{i:02}" for i, place in enumerate(labelled.card.layout().places, 1)
    )
    shown.choices["path"].value = str(tmp_path / "before.jpg")
    shown.update()
    shown.add_to_book()
    assert "Added 24 readings" in shown.sentence
    choose(shown, names=names_typed, path=str(tmp_path / "after.jpg"), exposure="wash", amount=5)
    shown.update()
    assert "Same phone, same card" in shown.below.value
    assert shown.choices["goes_with"].layout.display is None
    choose(shown, goes_with=shown.choices["goes_with"].options[1][1], witnesses="W03, W16")
    shown.update()
    assert "goes with the earlier one" in shown.below.value
    assert "Witness W03 changed by" in shown.below.value
    shown.add_to_book()
    kept = book.open(tmp_path / "mine")
    told = grade.grades(grade.pair(book.wide(kept)), shared=kept.shared).set_index("swatch")
    found = told.index[told["dE00_low"] > 0]
    assert {f"W{i + 1:02}" for i in changed} <= set(found)
    assert len(found) <= 7
    apart = kept.shared.assign(source=kept.shared["reading"])
    alone = grade.grades(grade.pair(book.wide(kept)), shared=apart)
    assert (alone["dE00_high"] - alone["dE00_low"]).median() > 2 * (
        told["dE00_high"] - told["dE00_low"]
    ).median()


def test_a_photo_of_washed_cloth_is_kept_as_such(shown, tmp_path):
    choose(shown, names="A1 = N1", exposure="wash", amount=5)
    shown.add_to_book()
    row = book.open(tmp_path / "mine").readings.iloc[0]
    assert (row["exposure"], row["amount"], row["unit"]) == ("wash", 5, "cycle")


def chosen(name):
    """What the browser's file chooser hands over."""
    content = book_choice.example_photo().read_bytes()
    return ({"name": name, "type": "image/jpeg", "size": len(content), "content": content,
             "last_modified": datetime(2026, 5, 1, tzinfo=UTC)},)  # fmt: skip


def test_the_photo_given_last_is_the_one_measured_and_named(shown):
    assert shown.sentence.startswith("rendered_card_W01_W24.jpg: 24 windows")
    shown.choices["upload"].value = chosen("dyed.jpg")
    assert shown.choices["path"].value == ""
    assert shown.sentence.startswith("dyed.jpg: 24 windows")
    shown.choices["path"].value = EXAMPLE
    assert shown.choices["upload"].value == ()
    assert shown.sentence.startswith("rendered_card_W01_W24.jpg: ")


def test_what_was_added_does_not_wait_to_be_added_again(shown):
    choose(shown, names="A1 = N1", exposure="wash", amount=5)
    shown.add_to_book()
    assert "Added 1 reading (after washing, 5 times)" in shown.sentence
    for name, value in {"exposure": "light", "amount": 3}.items():
        shown.choices[name].value = value
        assert "Added 1 reading" in shown.sentence
        assert shown.add.layout.display == "none"


def test_a_photo_after_a_test_that_stands_alone_is_asked_about(shown):
    shown.choices["names"].value = "A1 = N1"
    shown.add_to_book()
    choose(shown, path=EXAMPLE, names="A1 = N1", exposure="wash")
    shown.add_to_book()
    assert "goes with no earlier one" in shown.answer.value
    shown.add.click()
    assert "is in this book already" in shown.answer.value, "a second press adds"


def test_the_card_can_be_written_from_the_panel(shown, tmp_path):
    assert "card-cloth-A4.pdf" in shown.write_card()
    assert (tmp_path / "saved" / "card-cloth-A4.pdf").read_bytes()[:4] == b"%PDF"


def test_the_example_is_never_written_to(shown):
    panel = capture.panel(synth.example())
    panel.measured, panel.origin = shown.measured, shown.origin
    panel.choices["names"].value = "A1 = W01"
    before = sorted(p.name for p in synth.example().iterdir())
    panel.add.click()
    assert "example stays as it is" in panel.sentence
    assert sorted(p.name for p in synth.example().iterdir()) == before


def test_another_photo_of_the_same_name_is_another_photo(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    given = [({"name": "image.jpg", "content": memoryview(text)},) for text in (b"one", b"two")]
    first, second = (save.keep_upload(one, "photos") for one in given)
    assert (first.name, second.name) == ("image.jpg", "image-2.jpg")
    assert [path.read_bytes() for path in (first, second)] == [b"one", b"two"]
    assert save.keep_upload(given[1], "photos") == second
    assert save.keep_upload((), "photos") is None


def by_instrument(path, swatches, lab):
    """The book with an instrument's readings of these swatches."""
    known = book.add(book.open(path), swatches=pd.DataFrame({"swatch": swatches}))
    lab = pd.DataFrame(lab, columns=["L", "a", "b"]).assign(sample=swatches)
    made = book.instrument_readings(
        known,
        lab.assign(illuminant="D65", observer=10, source="desk.csv"),
        None,
        method="colorimeter",
    )
    book.save(book.add_readings(known, made))


def test_the_books_instrument_readings_correct_the_photo(shown, tmp_path):
    before, moves = shown.measured.table[["L", "a", "b"]].to_numpy(), np.array([1.0, 2.0, -1.0])
    assert any("Have you a colour instrument?" in note for note in shown.shown.notes)
    by_instrument(tmp_path / "mine", ["N1", "N2"], np.add(before[:2], moves))
    shown.follow(tmp_path / "mine")
    choose(
        shown,
        path=EXAMPLE,
        names="A1 = N1\nA2 = N2\nA3 = N3",
        by_book=True,
    )
    shown.update()
    after = shown.measured.table[["L", "a", "b"]].to_numpy()
    moved = after[:2] - before[:2]
    assert (moved * moves > 0.5).all()
    assert any("readings of 2 of these swatches" in note for note in shown.shown.notes)
    shown.add_to_book()
    photographed = book.open(tmp_path / "mine").readings.query("method == 'photo'")
    assert list(photographed["swatch"]) == ["N3"]


def test_a_book_without_such_readings_says_what_to_do(shown, tmp_path):
    choose(shown, names="A1 = N1", by_book=True)
    shown.update()
    assert "no instrument reading of a swatch named here" in shown.sentence
