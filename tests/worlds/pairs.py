"""Two photos by one phone of one card in one light, before and after a washing test.

Built on `worlds.photos`: the camera, the light's spectrum, the phone's program and the card stay;
where light and card lie, how the picture is exposed, the cloth's texture and noise do not, and the
program answers to what lies on the card. Pairs that don't go together differ in light, camera or
program.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from dyelab import calibrate, convert, read
from dyelab import card as cards
from worlds import photos as world

OTHERS = ("light", "phone", "program")


@dataclass(frozen=True)
class Pair:
    """Two photos: `first`, `second` (photo, pose, target), and the true CIELAB in each."""

    first: tuple
    second: tuple
    before: np.ndarray
    after: np.ndarray


@dataclass(frozen=True)
class Scene:
    """What two photos have in common."""

    camera: int
    power: np.ndarray
    program: world.Program
    table: np.ndarray  # spectra of everything but the windows


def washed(spectra, wanted, rng):
    """Spectra after losing colour, a little stained, until they are ΔE00 `wanted` away."""
    before = convert.spectrum_to_lab(world.NM, spectra)
    stain = 1 - rng.uniform(0, 0.25, (len(spectra), 1)) * np.exp(
        -(((world.NM - rng.uniform(400, 640, (len(spectra), 1))) / 60) ** 2)
    )
    bare = np.maximum(spectra.max(axis=1, keepdims=True), 0.6) * np.ones_like(spectra)
    low, high = np.zeros(len(spectra)), np.ones(len(spectra))
    for _ in range(22):
        t = (low + high) / 2
        now = faded(spectra, bare * stain, t)
        far = convert.dE00(before, convert.spectrum_to_lab(world.NM, now)) > wanted
        high, low = np.where(far, t, high), np.where(far, low, t)
    return faded(spectra, bare * stain, low)


def faded(spectra, towards, share):
    """Each band's density moved a share of the way to another cloth's."""
    t = share[:, None]
    return np.maximum(spectra, 1e-3) ** (1 - t) * towards**t


def scene(rng, kind, lamp, which=None):
    every = np.arange(len(world.cameras()))
    pool = every if which is None else every[world.fold(world.camera_groups(), which)]
    made = world.program(rng, kind)
    table = world.table_of(np.zeros((0, len(world.NM))), None, rng)
    return Scene(int(rng.choice(pool)), world.light(rng, lamp), made, table)


def other(same, rng, kind, lamp, what, which=None):
    """A scene that differs in light, phone or program."""
    new = scene(rng, kind, lamp, which)
    if what == "light":
        lamps = [name for name in world.KINDS if name != lamp]
        return replace(same, power=world.light(rng, str(rng.choice(lamps))))
    if what == "program":
        kinds = [name for name in ("plain", "half", "whole") if name != kind]
        return replace(same, program=world.program(rng, str(rng.choice(kinds))))
    while new.camera == same.camera:
        new = scene(rng, kind, lamp, which)
    return replace(same, camera=new.camera, program=new.program)


def shoot(same, cloth, rng, name):
    """Take a photo of the cloths (24, 71) in this scene, from a position of its own."""
    spectra = np.concatenate([same.table, cloth])
    response = world.cameras()[same.camera] * same.power[:, None]
    colours = (spectra @ (response / response.sum(axis=0))).astype(np.float32)
    numbers, to_pixels, grid = world.places()
    turned = bool(rng.random() < 0.5)
    if turned:
        numbers = numbers[::-1, ::-1]
        h, w = numbers.shape
        about = np.array([[-1.0, 0, w - 1], [0, -1, h - 1], [0, 0, 1]])
        to_pixels, grid = about @ to_pixels, about @ grid
    lit, _ = world.fields(numbers.shape, 0.0, rng)
    linear = colours[numbers] * lit * world.texture(numbers, rng)
    linear = cv2.GaussianBlur(linear, (0, 0), rng.uniform(0.4, 0.8))
    stored = world.developed(linear, same.program, world.matrix(same.camera, same.power))
    noise = rng.standard_normal(stored.shape, np.float32) * rng.uniform(0.5, 2)
    pixels = np.clip(np.round(255 * stored + noise), 0, 255).astype(np.uint8)
    quality = int(rng.integers(85, 96))
    content = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    pixels = np.ascontiguousarray(cv2.imdecode(content, cv2.IMREAD_COLOR)[..., ::-1])
    pose = calibrate.Pose(cards.layout(), to_pixels, density=world.SCALE)
    return read.Photo(pixels, world.curves(), name), pose, calibrate.Target(grid, 1.0)


def pair(
    seed, kind="plain", lamp="daylight", cloth="dyed", which=None, differs="", untouched=12,
    cards=False,
):  # fmt: skip
    """Take a pair; `differs` is blank, or one of `OTHERS`.

    With `cards` the second photo is of another card of the series: twelve of its cloths are the
    first card's, dyed again not quite alike, the others new.
    """
    rng = np.random.default_rng(seed)
    same = scene(rng, kind, lamp, which)
    spectra = world.cloths(rng, cloth, which)
    wanted = np.where(np.arange(24) < untouched, 0, rng.uniform(0, 6, 24))
    order = rng.permutation(24)
    after = np.where(wanted[:, None] > 0, washed(spectra, wanted, rng), spectra)
    if cards:
        new = world.cloths(rng, cloth, which)
        after = np.where(wanted[:, None] > 0, after, new)
    second = other(same, rng, kind, lamp, differs, which) if differs else same
    return Pair(
        shoot(same, spectra[order], rng, "first.jpg"),
        shoot(second, after[order], rng, "second.jpg"),
        convert.spectrum_to_lab(world.NM, spectra[order]),
        convert.spectrum_to_lab(world.NM, after[order]),
    )
