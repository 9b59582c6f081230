"""Photos that go together: recognised, their error shared in one covariance, witnesses heard."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from worlds import pairs

from dyelab import book, calibrate, convert, grade, measure, read, table

NAMES = dict(zip([f"{r}{c}" for r in "ABCD" for c in range(1, 7)],
                 [f"W{i:02}" for i in range(1, 25)], strict=True))  # fmt: skip
REFERENCE = calibrate.reference()


def measured(pair):
    return [
        measure.photo(photo, REFERENCE, pose=pose, target=target)
        for photo, pose, target in (pair.first, pair.second)
    ]


def readings(made, exposure="none"):
    rows = made.table
    return rows.assign(
        reading=rows["photo"] + "/" + rows["place"], swatch=rows["place"].map(NAMES),
        source=rows["photo"], exposure=exposure, amount=5.0 if exposure == "wash" else np.nan,
        unit="cycle" if exposure == "wash" else "", part="swatch", area="whole", method="photo",
        taken_at="",
    )  # fmt: skip


def earlier(made):
    return measure.Earlier(made.table["photo"].iloc[0], readings(made), made.shared)


@pytest.fixture(scope="module")
def washed():
    pair = pairs.pair(5, "half")
    return pair, measured(pair)


def graded(first, second):
    frame = pd.concat([readings(first), readings(second, "wash")], ignore_index=True)
    shared = pd.concat([first.shared, second.shared], ignore_index=True)
    return grade.grades(grade.pair(frame), shared=shared).set_index("swatch")


def test_a_change_is_surer_where_photos_go_together(washed):
    pair, (first, second) = washed
    kin = measure.kinship(first, second)
    assert kin.verdict == "together"
    joined = measure.join(earlier(first), kin, second, NAMES).measured
    apart, together = graded(first, second), graded(first, joined)
    width = (together["dE00_high"] - together["dE00_low"]).median()
    assert width < 0.6 * (apart["dE00_high"] - apart["dE00_low"]).median()
    true = pd.Series(convert.dE00(pair.before, pair.after), index=list(NAMES.values()))
    held = together["dE00_low"].le(true + 1e-9) & together["dE00_high"].ge(true)
    assert held.mean() > 0.85  # 24 changes of one pair, far from independent
    # A single colour is about as unsure as it was: by the first photo's calibration.
    sizes = [np.trace(table.covariances(one.table), axis1=1, axis2=2) for one in (joined, second)]
    assert 0.7 < np.median(sizes[0] / sizes[1]) < 1.4


def test_shared_errors_never_promise_more_than_a_reading_has(washed):
    _, (first, second) = washed
    kin = measure.kinship(first, second)
    joined = measure.join(earlier(first), kin, second, NAMES).measured
    rows = joined.shared
    assert not rows.duplicated(["reading", "factor"]).any()
    assert set(rows["source"]) == {"first.jpg"}
    names = second.table["photo"] + "/" + second.table["place"]
    values = rows[table.LAB].to_numpy()
    at = pd.Series(np.arange(24), index=names).loc[rows["reading"]].to_numpy()
    within = np.zeros((24, 3, 3))
    np.add.at(within, at, values[:, :, None] * values[:, None])
    left = table.covariances(joined.table) - within
    assert np.linalg.eigvalsh(left).min() > -0.01


def flagged(made, words):
    return replace(made, table=made.table.assign(flags=words))


def factors(made):
    """Of each reading, all that it shares with an earlier photo: (24,) sum of squares."""
    return made.shared.assign(size=(made.shared[table.LAB] ** 2).sum(axis=1)).groupby(
        "reading", sort=False
    )["size"].sum().to_numpy()  # fmt: skip


def test_a_clipped_window_shares_little_and_a_clipped_patch_changes_nothing(washed):
    _, (first, second) = washed
    kin = measure.kinship(first, second)

    def shared(before, after):
        return factors(measure.join(earlier(before), kin, after, NAMES).measured)

    first, second = flagged(first, ""), flagged(second, "")
    plain = shared(first, second)
    assert np.allclose(shared(first, flagged(second, "patches_clipped")), plain)
    for pair in ((first, flagged(second, "clipped")), (flagged(first, "clipped"), second)):
        assert (shared(*pair) < 0.2 * plain).all()


def photo_factors(made):
    """What all windows of a photo share: (24, 3, factors)."""
    rows = made.shared[made.shared["scope"].eq("photo")]
    wide = rows.pivot_table(index="reading", columns="factor", values=table.LAB, sort=False)
    return wide.to_numpy().reshape(24, 3, -1)


def test_two_cards_of_one_series_compare_as_surely_as_two_windows_of_one():
    pair = pairs.pair(8, "plain", cards=True)
    first, second = measured(pair)
    kin = measure.kinship(first, second)
    names = {place: f"W{at:02}" for at, place in enumerate(NAMES, 25)}
    other = measure.join(earlier(first), kin, second, names).measured
    alike = (pair.before != pair.after).any(axis=1) & (convert.dE00(pair.before, pair.after) < 3)
    assert alike.sum() >= 3
    one, two = (photo_factors(made)[alike] for made in (first, other))
    size = min(one.shape[2], two.shape[2])
    common = 2 * (one[..., :size] * two[..., :size]).sum(axis=(1, 2))
    # Twice the error that a photo's windows share falls out of a difference; of two photos' too.
    within = 2 * (one**2).sum(axis=(1, 2))
    assert 0.75 < np.median(common / within) < 1.25


def test_an_older_photo_without_a_recipes_part_still_pairs(washed):
    _, (first, second) = washed
    old = first.shared[first.shared["scope"].eq("photo")].drop(columns="scope")
    before = measure.Earlier("first.jpg", readings(first), old.assign(scope="photo"))
    joined = measure.join(before, measure.kinship(first, second), second, NAMES)
    assert set(joined.measured.shared["scope"]) == {"photo"}


@pytest.mark.parametrize("what", pairs.OTHERS)
def test_photos_that_do_not_go_together_are_recognised(what):
    pair = pairs.pair(3, "plain", differs=what)
    assert measure.kinship(*measured(pair)).verdict == "look"


def revalued(made, factors):
    """The photo had its patches been stored otherwise, by factors (24, 3) of their light."""
    calibration = made.setup.calibration
    seen = replace(calibration, witnesses=calibration.witnesses * factors)
    return replace(made, setup=replace(made.setup, calibration=seen))


def test_lightness_tells_little_of_whether_photos_go_together(washed):
    # A program lightens and darkens by what it is shown; another light or camera moves hues.
    _, (first, second) = washed
    one, three = (np.random.default_rng(1).normal(0, 0.06, (24, n)) for n in (1, 3))
    lighter, otherwise = (revalued(second, np.exp(moved)) for moved in (one, three))
    assert measure.kinship(first, lighter).verdict == "together"
    assert measure.kinship(first, otherwise).verdict == "look"


@pytest.mark.parametrize("seed", [20, 29])
def test_exposure_before_or_after_a_phones_curve_keeps_photos_together(seed):
    # Otherwise exposed, the first pair is 0.60 apart if light is taken as exposed before the curve,
    # the second 0.77 if after it.
    assert measure.kinship(*measured(pairs.pair(seed, "whole"))).verdict == "together"


def test_another_camera_in_the_files_is_recognised(tmp_path):
    from PIL import Image

    paths = []
    for name in ("Quill 3", "Quill 4"):
        exif = Image.Exif()
        exif[0x0110], exif[0x0132] = name, "2026:04:30 14:05:00"
        paths.append(tmp_path / f"{name}.jpg")
        Image.new("RGB", (300, 300)).save(paths[-1], exif=exif)
    told = read.file_data(paths[0])
    assert told == {"camera": "Quill 3", "taken_at": "2026-04-30T14:05:00"}
    assert measure.kinship(None, None, files=tuple(paths)).verdict == "camera"
    assert read.file_data(tmp_path / "none.jpg")["camera"] == ""


def test_witnesses_say_what_the_camera_did(washed):
    _, (first, second) = washed
    kin = measure.kinship(first, second)
    moved = second.table.copy()
    moved["L"] += 3.0
    other = replace(second, table=moved)
    told = measure.join(earlier(first), kin, other, NAMES, ("W01", "W24"))
    plain = measure.join(earlier(first), kin, other, NAMES)
    assert plain.taken_off[0] == 0
    assert plain.witnesses.empty
    assert told.taken_off[0] > 0.5
    assert told.witnesses["large"].any()
    assert told.measured.table["flags"].str.contains("witnessed").all()


def test_a_book_keeps_which_photos_go_together(washed, tmp_path):
    _, (first, second) = washed
    paths = [tmp_path / f"{name}.jpg" for name in ("first", "second")]
    for i, path in enumerate(paths):
        path.write_bytes(b"photo %d" % i)
    bk = book.create(tmp_path / "mine")
    bk, _ = book.add_photo(bk, first, paths[0], NAMES)
    source = bk.readings["source"].iloc[0]
    before = measure.earlier(bk, source)
    joined = measure.join(before, measure.kinship(first, second), second, NAMES, ("W02",))
    bk, rows = book.add_photo(
        bk, joined.measured, paths[1], NAMES, exposure="wash", amount=5, unit="cycle",
        goes_with=source, witnesses=("W02",),
    )  # fmt: skip
    kept = book.open(book.save(bk).path)
    assert set(kept.shared["source"]) == {source}
    assert list(kept.photos["goes_with"].fillna("")) == ["", source.removeprefix("photos/")]
    assert measure.earlier(kept, rows["source"].iloc[0]).source == source
    state = kept.readings[kept.readings["swatch"].eq("W02")]["exposure"]
    assert list(state) == ["none", "none"]
    told = grade.grades(grade.pair(book.wide(kept)), shared=kept.shared)
    assert len(told) == 23
