"""Photos of another world: regions that hold, programs undone or said, targets of every kind."""

import dataclasses

import numpy as np
import pandas as pd
import pytest
from scipy.stats import chi2
from worlds import photos as world

from dyelab import calibrate, convert, measure, table
from dyelab.calibrate import target as targets
from dyelab.calibrate.reference import BANDS
from dyelab.errors import InputError

AVERAGE = calibrate.reference()


def measured(taken, reference=AVERAGE, **how):
    return measure.photo(taken.photo, reference, pose=taken.pose, target=taken.target, **how)


def lab(made):
    return made.table[table.LAB].to_numpy()


# --- regions; tests/benchmarks/photo_worlds.py holds the cameras out of the priors as well


@pytest.mark.parametrize("kind", world.PROGRAMS)
@pytest.mark.parametrize("cloth", ["dyed", "real"])
def test_regions_hold_whatever_the_program(kind, cloth):
    held = []
    for seed in range(5):
        taken = world.take(seed, kind, cloth, world.KINDS[seed % 4])
        made = measured(taken)
        e, own = lab(made) - taken.truth, table.covariances(made.table)
        held.append(np.einsum("nk,nkl,nl->n", e, np.linalg.inv(own), e) < chi2.ppf(0.95, 3))
    assert np.mean(held) > 0.86  # 120 colours of 5 photos: about 3 % of sampling error


def test_white_alone_states_enough_after_a_program():
    held = []
    for seed in range(6):
        taken = world.take(seed, "whole", "real", "daylight")
        made = measure.photo(taken.photo, None, pose=taken.pose)
        e, own = lab(made) - taken.truth, table.covariances(made.table)
        held.append(np.einsum("nk,nkl,nl->n", e, np.linalg.inv(own), e) < chi2.ppf(0.95, 3))
    assert np.mean(held) > 0.86


# --- what a program and a second light do


def spoilt(**changes):
    return world.take(3, "plain", "dyed", "daylight", **changes)


def test_a_local_tone_map_is_undone():
    taken = spoilt(local=0.3, form="blur", width=0.15, developed=0.6)
    plain = spoilt(developed=0.6)
    off = [np.abs(lab(measured(one))[:, 0] - one.truth[:, 0]).mean() for one in (plain, taken)]
    assert off[1] < off[0] + 0.5


def test_a_second_light_is_evened_out_and_said():
    taken = spoilt(second=0.4)
    made, one = measured(taken), measured(spoilt())
    assert made.table["flags"].str.contains("mixed_light").all()
    assert not one.table["flags"].str.contains("mixed_light").any()
    off = [np.median(convert.dE00(taken.truth, lab(m))) for m in (one, made)]
    assert off[1] < off[0] + 0.6


def test_frames_alike_give_colours_alike():
    taken, rng = world.take(1, "half", "real", "daylight"), np.random.default_rng(1)
    noise = np.round(rng.normal(0, 0.4, taken.photo.pixels.shape)).astype(int)
    pixels = np.clip(taken.photo.pixels.astype(int) + noise, 0, 255).astype(np.uint8)
    again = dataclasses.replace(taken, photo=dataclasses.replace(taken.photo, pixels=pixels))
    assert convert.dE00(lab(measured(taken)), lab(measured(again))).max() < 0.3


# --- targets


def test_a_target_by_edition_or_under_another_white_serves_like_its_spectra(tmp_path):
    edition = convert.target_lab("newer", illuminant="D50", observer=2)
    spectra = world.spectra_of_colours(edition[table.LAB].to_numpy(), ("D50", 2))
    names = [f"{'ABCD'[i // 6]}{i % 6 + 1}" for i in range(24)]
    own = pd.DataFrame(spectra, columns=[str(int(b)) for b in BANDS])
    own.insert(0, "sample", names)
    own.to_csv(tmp_path / "own.csv", index=False)
    edition.drop(columns="flags").assign(sample=names).to_csv(tmp_path / "d50.csv", index=False)
    taken = world.take(2, "plain", "dyed", "daylight", target=spectra)
    exact = lab(measured(taken, calibrate.reference(tmp_path / "own.csv")))
    for source in ("newer", tmp_path / "d50.csv"):
        moved = convert.dE00(exact, lab(measured(taken, calibrate.reference(source))))
        assert np.percentile(moved, 95) < 0.3


def test_a_copied_target_is_said_or_refused():
    """As from a printer: its dark patches paler, its colours turned."""
    spectra = AVERAGE.spectra ** (0.8 + 0.25 * np.sin(np.arange(24) * 2.4))[:, None]
    taken = world.take(2, "plain", "dyed", "daylight", target=spectra)
    try:
        flags = measured(taken).table["flags"]
    except InputError as error:
        assert "don't agree with the reference" in str(error) or "ΔE00 off" in str(error)  # noqa: PT017
    else:
        assert flags.str.contains("target_poor").all()


@pytest.mark.parametrize("seed", [1, 5])
def test_the_grid_lies_in_the_middle_of_the_patches(seed):
    taken = world.take(seed, "whole", "dyed")
    found = targets.find_on_card(taken.photo, taken.pose, AVERAGE)
    middles = calibrate.map_points(np.linalg.inv(taken.target.to_pixels), found.quads.mean(axis=1))
    grid = calibrate.map_points(
        np.linalg.inv(taken.target.to_pixels), taken.target.quads.mean(axis=1)
    )
    assert np.abs(middles - grid).max() < 0.08
