"""Photos of a card from another world than `synth.render`: other cloths, lights and programs.

Nothing here follows the laws that `dyelab.calibrate` assumes. Cameras are measured ones, cloths
either measured surfaces or dyed by transmission through layers (no Kubelka and Munk, no Gaussian
bands), lights are off the standards' tables, and a phone's own program works on the picture: a
map of local tone (blurred, edge-keeping or tiled), glare, a cast, a tone curve, livelier colours,
clipping, sharpening. Forms and strengths are drawn at random. Small on purpose: 0.5 megapixels
unless asked otherwise, so that hundreds of photos can be judged.
"""

import csv
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import pandas as pd

from dyelab import calibrate, convert, read
from dyelab import card as cards
from worlds import dyehouse

NM = np.arange(380.0, 731.0, 5.0)
TENS = NM[::2]
DATA = Path(__file__).parents[2] / "dyelab"
PROGRAMS = ("plain", "steep", "half", "whole", "mixed")
SCALE = 2.6  # pixels a mm of the small photo
MARGIN = 0.08  # of the page, table around it
SRGB = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])


# --- what is measured, and how alike it is


def rows(name):
    with open(DATA / name, encoding="utf-8") as file:
        lines = list(csv.reader(line for line in file if not line.startswith("#")))
    return lines[0], lines[1:]


@cache
def cameras():
    """Sensitivities (34, 71, 3) at `NM`."""
    _, lines = rows("calibrate/cameras.csv")
    table = np.array(lines, float)
    at = np.stack([np.interp(NM, table[:, 0], column) for column in table[:, 1:].T])
    return at.reshape(-1, 3, len(NM)).transpose(0, 2, 1)


@cache
def surfaces():
    """Reflectance factors (190, 71) at `NM`, measured up to 720 nm."""
    head, lines = rows("convert/surfaces/reflectances.csv")
    nm = np.array(head[1:], float)
    kept = nm <= 720
    values = np.array([line[1:] for line in lines], float)[:, kept]
    return np.array([np.interp(NM, nm[kept], row) for row in values])


def alike(features, most):
    """Number of the group of each row: chains of rows closer than `most` belong together."""
    apart = np.sqrt(((features[:, None] - features) ** 2).mean(axis=-1))
    group = np.arange(len(features))
    for i, j in zip(*np.nonzero(apart < most), strict=True):
        group[group == group[j]] = group[i]
    return np.unique(group, return_inverse=True)[1]


@cache
def camera_groups():
    shape = cameras() / cameras().sum(axis=1, keepdims=True) * len(NM)
    return alike(shape.reshape(len(shape), -1), 0.13)


@cache
def surface_groups():
    return alike(np.sqrt(np.maximum(surfaces(), 0)), 0.05)


@cache
def near_a_patch():
    """Which surfaces look like a patch of the target, up to depth: no use for judging."""
    patches = convert.target_spectra()[[str(int(b)) for b in TENS]].to_numpy(float)
    ours = np.sqrt(np.maximum(surfaces()[:, ::2], 0))
    apart = np.sqrt(((ours[:, None] - np.sqrt(patches)) ** 2).mean(axis=-1))
    return apart.min(axis=1) < 0.03


def fold(groups, which):
    """Which rows belong to a part: half 0 or 1; 2 and 3 are the two parts of half 0.

    Groups of like rows stay together. Constants are derived within half 0, each of its parts seen
    by priors of the other; half 1 had no say in anything.
    """
    if which > 1:
        inside = np.flatnonzero(fold(groups, 0))
        part = np.zeros(len(groups), bool)
        part[inside[fold(np.unique(groups[inside], return_inverse=True)[1], which - 2)]] = True
        return part
    sizes, half = np.bincount(groups), np.zeros(2)
    home = np.zeros(len(sizes), int)
    for group in np.argsort(-sizes, kind="stable"):
        home[group] = half.argmin()
        half[home[group]] += sizes[group]
    return home[groups] == which


def others(groups, which):
    """Which rows the priors are made of while this part is seen."""
    return fold(groups, 5 - which) if which > 1 else ~fold(groups, which)


# --- cloths


def dyed(rng, count=24):
    """Cloth dyed by other laws: absorbing layers over fibre, skewed bands with shoulders."""
    u = lambda a, b: rng.uniform(a, b, (count, 1))  # noqa: E731
    fibre = u(0.55, 0.88) * (1 - u(0.05, 0.5) * np.exp(-(NM - 380) / u(30, 90)))
    absorbance = np.zeros((count, len(NM)))
    steep = rng.random((count, 1)) < 0.08  # acid dyes; natural ones are smoother
    for share in (1.0, 0.55, 0.25):
        peak, left, right = u(385, 650), u(55, 130), np.where(steep, u(14, 30), u(42, 100))
        side = np.where(peak > NM, left, right)
        band = 1 / (1 + ((NM - peak) / side) ** 2) ** u(1.2, 3)
        shoulder = 1 / (1 + ((NM - peak + u(25, 60)) / (0.7 * left)) ** 2) ** 2
        height = 10 ** u(-1.3, 0.1) * (rng.random((count, 1)) < share)
        absorbance += height * (band + u(0, 0.6) * shoulder)
    tannin = 10 ** u(-1.5, 0) * (rng.random((count, 1)) < 0.5)
    absorbance += tannin * np.exp(-(NM - 380) / u(60, 200))
    iron = 10 ** u(-1.5, 0) * (rng.random((count, 1)) < 0.35)
    absorbance += iron * (1 - u(0.1, 0.5) * (NM - 380) / 350)
    surface = u(0.003, 0.025)
    return surface + (1 - surface) * fibre * 10**-absorbance


def natural(rng, count=24):
    """Cloth of four natural dyes by the laws of `worlds.dyehouse`, every batch's bands moved."""
    named = rng.choice(dyehouse.USUAL.index, count)
    recipes = pd.DataFrame({
        "fibre": rng.choice(list(dyehouse.FIBRE), count), "dye": named,
        "tannin_wof": rng.choice([0.0, 0.0, 8.0, 20.0], count),
        "mordant_wof": rng.choice([0.0, 8.0, 15.0], count),
        "dye_wof": dyehouse.USUAL[named].to_numpy() * rng.choice([0.25, 0.5, 1.0, 2.0], count),
        "iron_wof": rng.choice([0.0, 0.0, 0.0, 0.5, 1.5, 4.0], count),
        "copper_wof": rng.choice([0.0, 0.0, 0.0, 2.0], count),
    })  # fmt: skip
    parts = dyehouse.k_over_s(recipes, dyehouse.doses(recipes))
    seen = dyehouse.reflectance(parts, rng.uniform(0, 0.02))
    moved = NM + rng.normal(0, 12, (count, 1))
    return np.array([np.interp(x, dyehouse.BANDS, y) for x, y in zip(moved, seen, strict=True)])


def textiles(rng, which=None, count=24):
    """Measured surfaces that no fit of this fold has seen, as they are."""
    fine = ~near_a_patch()
    if which is not None:
        fine &= fold(surface_groups(), which)
    at = rng.choice(np.flatnonzero(fine), count, replace=False)
    return surfaces()[at]


# --- lights


@cache
def light_tables(name):
    return convert.illuminant_power(name, NM)


def light(rng, kind):
    """Relative power (71,) of one light of a kind, seldom one of the tables' own."""
    if kind == "daylight":
        power = daylight(rng.uniform(4600, 8500))
    elif kind == "bulb":
        power = planck(rng.uniform(2500, 3400))
    elif kind == "LED":
        names = ("LED-B3", "LED-BH1", "LED-V2")  # tables that no prior was made of
        one, other = (light_tables(str(n)) for n in rng.choice(names, 2, replace=False))
        share = rng.choice([0.0, rng.uniform(0, 0.5)])
        power = (1 - share) * one / one.mean() + share * other / other.mean()
    else:
        power = light_tables(str(rng.choice(("FL2", "FL4", "FL7", "FL8", "FL10", "FL11"))))
    wall = 1 + 0.06 * np.sin(2 * np.pi * (NM - 380) / rng.uniform(300, 900) + rng.uniform(0, 6.3))
    return power * wall / power.mean()


def daylight(kelvin):
    """CIE 15, method of the daylight locus."""
    from colour import sd_CIE_illuminant_D_series
    from colour.temperature import CCT_to_xy_CIE_D

    table = sd_CIE_illuminant_D_series(CCT_to_xy_CIE_D(kelvin))
    return np.interp(NM, table.wavelengths, table.values)


def planck(kelvin):
    return (NM / 560) ** -5 / (np.exp(1.4388e7 / (NM * kelvin)) - 1)


KINDS = ("daylight", "bulb", "LED", "FL")


# --- the program


@dataclass(frozen=True)
class Program:
    """What a phone does to a picture; the defaults do nothing."""

    developed: float = 0.8
    glare: float = 0.0
    glare_reach: float = 0.3
    cast: tuple[float, float, float] = (0.0, 0.0, 0.0)
    local: float = 0.0
    form: str = "blur"  # blur, edges, tiles
    width: float = 0.1  # of the frame's long side
    curve: float = 0.0
    toe: float = 0.0
    lively: float = 0.0
    vibrance: float = 0.0
    twist: tuple[float, float, float] = (0.0, 0.0, 0.0)  # degrees, harmonics and phase
    sharpening: float = 0.0
    second: float = 0.0  # share of another light at one side


def program(rng, kind):
    """Draw one of a kind: plain, steep, half, whole or mixed."""
    made = Program(developed=float(rng.uniform(0.4, 1.0)))
    if kind == "steep":
        return replace(made, curve=float(rng.uniform(0.3, 0.7)))
    if kind == "mixed":
        return replace(made, second=float(rng.uniform(0.2, 0.5)))
    if kind == "plain":
        return made
    s = 0.5 if kind == "half" else 1.0
    return replace(
        made,
        developed=float(rng.uniform(0.8, 1.0)),
        glare=s * rng.uniform(0, 0.03),
        glare_reach=float(rng.uniform(0.1, 0.5)),
        cast=tuple(s * rng.normal(0, 0.03, 3)),
        local=s * rng.uniform(0.1, 0.4),
        form=str(rng.choice(("blur", "blur", "edges", "tiles"))),
        width=float(np.exp(rng.uniform(np.log(0.02), np.log(0.25)))),
        curve=s * rng.uniform(0, 0.6),
        toe=s * rng.uniform(-0.02, 0.02),
        lively=s * rng.uniform(0, 0.25),
        vibrance=s * rng.uniform(0, 0.2),
        twist=(s * rng.normal(0, 3), s * rng.normal(0, 2), rng.uniform(0, 6.3)),
        sharpening=s * rng.uniform(0.2, 1.0),
    )


def developed(linear, made, matrix):
    """A raw picture, white balanced, as the program stores it: values 0 to 1, encoded."""
    long = max(linear.shape[:2])
    if made.glare:
        wide = cv2.blur(linear, (int(made.glare_reach * long) | 1,) * 2)
        linear = (1 - made.glare) * linear + made.glare * (0.5 * wide + 0.5 * linear.mean((0, 1)))
    linear = linear * np.exp(np.array(made.cast, np.float32))
    seen = linear @ ((1 - made.developed) * np.eye(3) + made.developed * matrix).T.astype("f4")
    if made.local:
        seen = seen * local_gain(seen, made, long)[..., None]
    if made.lively or made.vibrance or made.twist[0]:
        seen = lively(seen, made)
    stored = encoded(np.clip(seen, 0, 1))
    if made.curve or made.toe:
        bent = stored + made.curve * 0.5 * (stored - 0.45) * 4 * stored * (1 - stored)
        stored = np.clip(bent + made.toe * (1 - stored) ** 4, 0, 1)
    if made.sharpening:
        size = max(0.7, long / 1600)
        stored = stored + made.sharpening * (stored - cv2.GaussianBlur(stored, (0, 0), size))
    return np.clip(stored, 0, 1)


def local_gain(seen, made, long):
    """Gain that flattens the picture: over a blur, within edges, or tile by tile."""
    log = np.log(np.maximum(seen @ np.array([0.25, 0.65, 0.1], np.float32), 0.01))
    size = made.width * long
    small = cv2.resize(log, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    if made.form == "blur":
        base = cv2.GaussianBlur(small, (0, 0), max(size / 4, 0.8))
    elif made.form == "edges":
        base = guided(small, max(int(size / 4), 2), 0.15)
    else:
        count = int(np.clip(1 / made.width / 1.5, 2, 12))
        base = tiled(small, count)
    base = cv2.resize(base, log.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.exp(-made.local * (base - np.log(0.45)))


def guided(grey, reach, eps):
    """Edge-keeping mean: locally a linear function of the picture itself (He, Sun, Tang 2010)."""
    side = (2 * reach + 1,) * 2
    mean, square = cv2.blur(grey, side), cv2.blur(grey * grey, side)
    a = np.maximum(square - mean**2, 0) / (np.maximum(square - mean**2, 0) + eps)
    return cv2.blur(a, side) * grey + cv2.blur(mean * (1 - a), side)


def tiled(grey, count):
    """Medians of tiles, drawn smoothly into one another."""
    down, across = (pairwise(np.linspace(0, n, count + 1).astype(int)) for n in grey.shape)
    across = list(across)
    tiles = [[np.median(grey[a:b, c:d]) for c, d in across] for a, b in down]
    tiles = np.array(tiles, np.float32)
    return cv2.resize(tiles, grey.shape[::-1], interpolation=cv2.INTER_CUBIC)


def lively(seen, made):
    """More chroma and turned hues, in a luma and chroma space of gamma-encoded light."""
    root = np.sign(seen) * np.abs(seen) ** np.float32(1 / 2.4)
    luma = root @ np.array([0.3, 0.59, 0.11], np.float32)
    u, v = 0.56 * (root[..., 2] - luma), 0.71 * (root[..., 0] - luma)
    size, hue = np.hypot(u, v), np.arctan2(v, u)
    gain = 1 + made.lively + made.vibrance * np.exp(-size / 0.06)
    hue = hue + np.radians(
        made.twist[0] * np.sin(hue + made.twist[2]) + made.twist[1] * np.sin(2 * hue)
    )
    u, v = gain * size * np.cos(hue), gain * size * np.sin(hue)
    red, blue = luma + v / 0.71, luma + u / 0.56
    root = np.stack([red, (luma - 0.3 * red - 0.11 * blue) / 0.59, blue], axis=-1)
    return np.sign(root) * np.abs(root) ** np.float32(2.4)


def encoded(linear):
    """IEC 61966-2-1."""
    return np.where(
        linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055
    ).astype(np.float32)


def matrix(camera, power):
    """Raw to linear sRGB, white to white, by the surfaces' own colours."""
    response = cameras()[camera] * power[:, None]
    raw = surfaces() @ (response / response.sum(axis=0))
    xyz = convert.spectrum_to_xyz(NM, surfaces(), observer=2) / 100
    best = np.linalg.lstsq(raw, xyz @ SRGB.T, rcond=None)[0].T
    return best / best.sum(axis=1, keepdims=True)


# --- the picture


@dataclass(frozen=True)
class Taken:
    """A photo ready to be measured, and the truth."""

    photo: read.Photo
    pose: calibrate.Pose
    target: calibrate.Target
    truth: np.ndarray  # (24, 3) CIELAB D65/10°
    light: str
    program: Program
    camera: int


@cache
def places(scale=SCALE):
    """Number of the colour at each pixel: 0 to 15 print, 16 table, 17 frame, 18 on patches, then
    windows."""
    card = cards.layout()
    h = card.page_mm[1]
    print_ = cards.bitmap(card, scale).astype(np.float32) / 255
    edge = int(MARGIN * h * scale)
    page = np.round(15 * print_).astype(np.uint8)
    whole = np.full((page.shape[0] + 2 * edge, page.shape[1] + 2 * edge), 16, np.uint8)
    whole[edge : edge + page.shape[0], edge : edge + page.shape[1]] = page
    to_pixels = np.array([[scale, 0, edge - 0.5], [0, scale, edge - 0.5], [0, 0, 1]])

    def fill(area, number):
        x0, y0, x1, y1 = np.round(np.r_[area[0], area[2]] * scale + edge).astype(int)
        whole[y0:y1, x0:x1] = number

    for i, window in enumerate(card.windows):
        fill(window.corners, 42 + i)
    pitch = 12.0
    x, y = card.target_area.centre
    box = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    fill(np.array([x, y]) + box * [3.2 * pitch, 2.2 * pitch], 17)
    for i in range(24):
        middle = np.array([x + (i % 6 - 2.5) * pitch, y + (i // 6 - 1.5) * pitch])
        fill(middle + box * 0.45 * pitch, 18 + i)
    grid = np.array([[pitch, 0, x], [0, pitch, y], [0, 0, 1]])
    return whole, to_pixels, to_pixels @ grid


def cloths(rng, kind, which=None):
    """Spectra (24, 71) of a kind: ``dyed``, ``natural`` or ``real``."""
    return {"dyed": dyed, "natural": natural}[kind](rng) if kind != "real" else textiles(rng, which)


def take(seed, kind="plain", cloth="dyed", lamp="daylight", which=None, target=None, **changes):
    """Take a photo.

    Parameters
    ----------
    seed : int
    kind : str
        Of the program: plain, steep, half, whole, mixed.
    cloth : str or ndarray (24, 71)
        ``dyed``, ``natural``, ``real``, or spectra.
    lamp : str
        One of `KINDS`.
    which : int, optional
        Fold of cameras and surfaces to draw from.
    target : ndarray (24, 36), optional
        Spectra of the target lying there, every 10 nm; by default the published average.
    """
    rng = np.random.default_rng(seed)
    all_of = np.arange(len(cameras()))
    pool = all_of if which is None else all_of[fold(camera_groups(), which)]
    camera, power = int(rng.choice(pool)), light(rng, lamp)
    made = replace(program(rng, kind), **changes)
    if isinstance(cloth, str):
        cloth = cloths(rng, cloth, which)
    spectra = table_of(cloth, target, rng)
    second = light(rng, "bulb" if lamp == "daylight" else "daylight")
    white = (cameras()[camera] * power[:, None]).sum(axis=0)
    main, other = (
        (spectra @ (cameras()[camera] * p[:, None]) / white).astype(np.float32)
        for p in (power, second / (second @ cameras()[camera][:, 1]) * white[1])
    )
    numbers, to_pixels, grid = places()
    lit, tinted = fields(numbers.shape, made.second, rng)
    linear = (main[numbers] * (1 - tinted) + other[numbers] * tinted) * lit * texture(numbers, rng)
    linear = cv2.GaussianBlur(linear, (0, 0), rng.uniform(0.4, 0.8))
    stored = developed(linear, made, matrix(camera, power))
    noise = rng.standard_normal(stored.shape, np.float32) * rng.uniform(0.5, 2)
    pixels = np.clip(np.round(255 * stored + noise), 0, 255).astype(np.uint8)
    photo = read.Photo(pixels, curves(), "a.jpg")
    card = cards.layout()
    return Taken(
        photo, calibrate.Pose(card, to_pixels, density=SCALE), calibrate.Target(grid, 1.0),
        convert.spectrum_to_lab(NM, cloth), lamp, made, camera,
    )  # fmt: skip


def table_of(cloth, target, rng):
    """Spectra of everything in the picture, by its number."""
    fluorescent = rng.uniform(-0.03, 0.03) * np.exp(-(((NM - 440) / 30) ** 2))
    paper = rng.uniform(0.82, 0.92) * (1 + fluorescent) * (1 - 0.15 * np.exp(-(NM - 380) / 12))
    ink = rng.uniform(0.03, 0.05)
    share = np.linspace(0, 1, 16)[:, None] ** 2.2
    tint = 1 + rng.uniform(-0.05, 0.05) * (NM - 555) / 175
    table = np.full((1, len(NM)), rng.uniform(0.05, 0.6)) * tint
    patches = convert.target_spectra()[[str(int(b)) for b in TENS]].to_numpy(float)
    patches = patches if target is None else target
    fine = np.array([np.interp(NM, TENS, row) for row in patches])
    frame = np.full((1, len(NM)), 0.04)
    return np.concatenate([ink + (paper - ink) * share, table, frame, fine, cloth])


def fields(shape, second, rng):
    """Light over the picture, the paper at about 0.75 of full, and the share of a second light."""
    y, x = np.mgrid[-1 : 1 : shape[0] * 1j, -1 : 1 : shape[1] * 1j].astype(np.float32)
    way, turn = rng.uniform(0, 6.3, 2)
    fall = rng.uniform(0, 0.2)
    far = np.hypot(x - 2.5 * np.cos(way), y - 2.5 * np.sin(way))
    lit = (1 - fall) + fall * (2.5 / far) ** 2
    tinted = second / (1 + np.exp(-2.5 * (x * np.cos(turn) + y * np.sin(turn))))
    lit = lit / lit.max() * rng.uniform(0.75, 0.95)
    return lit[..., None].astype(np.float32), np.float32(tinted)[..., None]


def texture(numbers, rng):
    """Relative light of weave, on the windows only."""
    rough = rng.standard_normal(numbers.shape, np.float32)
    depth = np.zeros(256, np.float32)
    depth[42:66] = rng.uniform(0.02, 0.12, 24)
    return np.clip(1 + depth[numbers] * rough, 0.3, 2)[..., None]


@cache
def curves():
    stored = np.arange(256) / 255
    one = np.where(stored <= 0.04045, stored / 12.92, ((stored + 0.055) / 1.055) ** 2.4)
    return np.stack([one] * 3, axis=1).astype(np.float32)


def spectra_of_colours(colours, white):
    """Spectra of these colours, not the nearest to the average's: rippled, then made right."""
    rng = np.random.default_rng(5)
    sums = convert.spectrum_to_xyz(TENS, np.eye(36), illuminant=white[0], observer=white[1])
    smooth = np.exp(-0.5 * ((TENS[:, None] - TENS) / 70) ** 2)
    wanted = convert.lab_to_xyz(colours, convert.white(*white))
    made = []
    for spectrum, xyz in zip(calibrate.reference().spectra, wanted, strict=True):
        ripple = np.sin(2 * np.pi * (TENS - 380) / rng.uniform(120, 300) + rng.uniform(0, 6))
        rough = spectrum * (1 + 0.03 * ripple)
        more = np.linalg.solve(sums.T @ smooth @ sums, xyz - rough @ sums)
        made.append(rough + smooth @ sums @ more)
    return np.maximum(np.array(made), 0.002)
