"""What is expected before a photo is looked at: measured cameras and surfaces, invented cloths.

The response q of a channel is sensitivity times light. Its prior is a Gaussian process for each of
many lights: the mean and covariance of measured cameras under that light, their channels mixed as
a phone mixes them on the way to sRGB, free to deviate smoothly. The 24 patches are 24 weighted
sums of q; conditioning on them gives q and its uncertainty in closed form.

Thousands of cloths to train on are invented dyes, measured surfaces mixed, and steep edges.
Invented: absorption bands of dye and iron on a fibre's own, turned into reflectance by Kubelka
and Munk, with a small share from the surface. A family of its own: the worlds that dyelab's
examples and tests are drawn from share nothing with it but the physics. Measured: mixed and made
deeper or paler in K/S. Steep: logistic edges, as acid blues have in the far red.
"""

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

from dyelab import convert, numerics
from dyelab.calibrate.colour_fit import KnownColours, known_colours
from dyelab.calibrate.reference import BANDS, NOISE
from dyelab.convert import adaptation
from dyelab.convert.srgb import SRGB_TO_XYZ
from dyelab.table import DEFAULT_WHITE, White

# Lamps by the CIE's tables; daylight and bulbs lie on their loci between and beside the tables.
LAMPS = (
    "ID50", "ID65", "LED-B1", "LED-B2", "LED-B4", "LED-B5", "LED-V1",
    "FL3.1", "FL3.3", "FL3.5", "FL3.8", "FL3.12", "FL3.13", "FL3.15", "FL12",
)  # fmt: skip
BULBS = (2500, 2900, 3400, 4200)  # kelvin
_DAY = {"D50": 5003.0, "D55": 5503.0, "D65": 6504.0, "D75": 7504.0}
BLUE_SKY = 1.8  # step beyond D50 and D75 along the locus, in steps from D55 to D65 or D65 to D75
_SHARES = (0.0, 0.5, 0.8, 1.0)  # how far a program brings the channels to sRGB
FREEDOM, SMOOTH_NM = 0.12, 28.0  # of an unseen camera or light, relative; by photo_priors.py
TEMPER = 4.0  # by it the evidence of a light is divided, the prior being only roughly right; same

# How many invented cloths, mixed surfaces and steep edges, and how much each kind weighs. With a
# quarter as many, chance in their drawing made colours worse, of measured surfaces by 7 % in the
# median, of dyed cloths by 4; half and double of both: photo_constants.py COUNTS, WEIGHTS.
COUNTS, WEIGHTS = np.array([3600, 2000, 1200]), np.array([0.7, 0.2, 0.1])
_CAMERAS = Path(__file__).with_name("cameras.csv")


@cache
def sensitivities() -> np.ndarray:
    """Sensitivities (34, 36, 3) of measured cameras at `BANDS`, each relative to green's top."""
    table = pd.read_csv(_CAMERAS, comment="#", index_col=0)
    at = np.stack([np.interp(BANDS, table.index, table[name]) for name in table])
    return np.moveaxis(at.reshape(-1, 3, len(BANDS)), 1, 2)


@cache
def surfaces() -> np.ndarray:
    """Reflectance factors (190, 36) of real surfaces at `BANDS`."""
    _, spectra, families = adaptation.surfaces()
    return spectra[families == "measured"]


@dataclass(frozen=True)
class Prior:
    """What cameras of every kind see by under some lights: L lights, mean and covariance."""

    means: np.ndarray  # (L, 3, 36), each channel's sum 1
    spreads: np.ndarray  # (L, 3, 36, 36)
    samples: np.ndarray  # (L, m, 36, 3): the curves they were made of
    powers: np.ndarray  # (L, 36)


@cache
def lights() -> np.ndarray:
    """Relative power of typical lights, (L, 36), mean 1."""
    day = {name: convert.illuminant_power(name, BANDS) for name in _DAY}
    warm = day["D50"] - 0.8 * (day["D55"] - day["D50"])
    cold = day["D75"] + BLUE_SKY * (day["D75"] - day["D65"])
    bulbs = [(BANDS / 560) ** -5 / (np.exp(1.4388e7 / (BANDS * k)) - 1) for k in BULBS]
    lamps = [convert.illuminant_power(name, BANDS) for name in LAMPS]
    powers = np.stack([warm, *day.values(), np.maximum(cold, 0), *bulbs, *lamps])
    return powers / powers.mean(axis=1, keepdims=True)


@cache
def prior() -> Prior:
    """Mean and covariance of measured cameras under each light."""
    samples = np.stack([_seen_under(power) for power in lights()])
    means = samples.mean(axis=1)
    off = samples - means[:, None]
    spreads = np.einsum("lmkc,lmjc->lckj", off, off, optimize=True) / off.shape[1]
    tops = np.sqrt((means**2).max(axis=1))  # (L, 3)
    smooth = np.exp(-0.5 * ((BANDS[:, None] - BANDS) / SMOOTH_NM) ** 2)
    shape = lights()[:, :, None] * lights()[:, None, :]
    # Cameras' filters end near 400 and 690 nm: little freedom is left beyond.
    edge = 1 / (1 + np.exp(-(BANDS - 400) / 8)) / (1 + np.exp((BANDS - 690) / 8))
    sighted = np.outer(edge, edge)
    free = (FREEDOM * tops)[:, :, None, None] ** 2 * smooth * sighted * shape[:, None]
    return Prior(np.moveaxis(means, -1, 1), spreads + free, samples, lights())


def _seen_under(power: np.ndarray) -> np.ndarray:
    """Responses (m, 36, 3) of every measured camera under a light, developed more and less."""
    bare = sensitivities() * power[:, None]
    bare = bare / bare.sum(axis=1, keepdims=True)
    spectra = surfaces()
    xyz = convert.spectrum_to_xyz(BANDS, spectra, observer=2) / 100
    srgb = xyz @ np.linalg.inv(SRGB_TO_XYZ).T
    made = []
    for camera in bare:
        best = np.linalg.lstsq(spectra @ camera, srgb, rcond=None)[0].T
        best /= best.sum(axis=1, keepdims=True)
        made += [camera @ (s * best + (1 - s) * np.eye(3)).T for s in _SHARES]
    return np.stack(made)


@dataclass(frozen=True)
class Response:
    """What is known of q, per typical light: weight, mean (36, 3) and root of the covariance.

    `evidence` is the best logarithmic evidence.
    """

    weights: np.ndarray  # (lights,)
    means: np.ndarray  # (lights, 36, 3)
    roots: np.ndarray  # (lights, 3, 36, 36)
    gains: np.ndarray  # (lights, 3, 36, n): how q follows the values of the n patches
    evidence: float

    @property
    def mean(self) -> np.ndarray:
        """Mean response, shape (36, 3)."""
        return np.einsum("l,lkc->kc", self.weights, self.means)

    def draw(self, rng: np.random.Generator, moved: np.ndarray | float = 0.0) -> np.ndarray:
        """One response (36, 3) that could be true, had the patches' values moved by (n, 3)."""
        i = int(rng.choice(len(self.weights), p=self.weights))
        shift = np.einsum("ckj,cj->kc", self.roots[i], rng.standard_normal((3, len(BANDS))))
        moves = np.broadcast_to(moved, (self.gains.shape[-1], 3))
        return self.means[i] + shift + np.einsum("ckn,nc->kc", self.gains[i], moves)


def learn(seen: np.ndarray, spectra: np.ndarray, noise: np.ndarray | float = NOISE) -> Response:
    """Condition the prior on patches.

    Parameters
    ----------
    seen : ndarray (n, 3)
        Linear camera values of patches.
    spectra : ndarray (n, 36)
        Their reflectance factors.
    noise : float or ndarray (n,)
        Relative standard deviation of a patch's value, its reference included.

    Returns
    -------
    Response
    """
    expected, across, whole, level = _conditions(seen, spectra, noise)
    left = seen.T - expected
    gains = np.swapaxes(np.linalg.solve(whole, across), -1, -2)  # (L, 3, 36, n)
    solved = np.linalg.solve(whole, left[..., None])[..., 0]
    evidence = -0.5 * (left * solved).sum(axis=(1, 2))
    evidence -= 0.5 * np.linalg.slogdet(whole)[1].sum(axis=1)
    weights = np.exp((evidence - evidence.max()) / TEMPER)
    kept = weights > 0.02
    made = prior()
    means = made.means[kept] * level[kept][..., None]
    means = means + np.einsum("lckn,lcn->lck", gains[kept], left[kept])
    spread = made.spreads[kept] * level[kept][..., None, None] ** 2
    spread = spread - gains[kept] @ across[kept]
    return Response(
        weights[kept] / weights[kept].sum(), np.moveaxis(means, 1, -1),
        numerics.root(spread), gains[kept], float(evidence.max()),
    )  # fmt: skip


def _conditions(
    seen: np.ndarray, spectra: np.ndarray, noise: np.ndarray | float
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Per light and channel: expected values (n,), covariance with q, own covariance, level."""
    made = prior()
    unit = made.means @ spectra.T  # (L, 3, n)
    level = (unit * seen.T).sum(axis=-1) / (unit**2).sum(axis=-1)  # (L, 3)
    across = spectra @ made.spreads * level[..., None, None] ** 2  # (L, 3, n, 36)
    error = (np.reshape(noise, (-1, 1)) * (seen + 0.02 * seen.max(axis=0))) ** 2  # (n, 3)
    whole = across @ spectra.T
    n = np.arange(len(seen))
    whole[..., n, n] += error.T
    return unit * level[..., None], across, whole, level


@dataclass(frozen=True)
class Training:
    """Spectra (n, 36), their colours, the number of each one's family, and its share of weight."""

    spectra: np.ndarray
    of: KnownColours
    family: np.ndarray
    share: np.ndarray

    def every(self, step: int) -> "Training":
        """Every so many of them, of each family alike."""
        kept = np.arange(0, len(self.spectra), step)
        of = self.of.subset(kept)
        return Training(self.spectra[kept], of, self.family[kept], self.share[kept])


def dyed_cloths(count: int, rng: np.random.Generator) -> np.ndarray:
    """Dyed cloths, reflectance factors (count, 36) at `BANDS`."""
    wave = 1e7 / BANDS

    def drawn(low: float, high: float) -> np.ndarray:
        return rng.uniform(low, high, (count, 1))

    absorbed = 10 ** drawn(-2.3, -1.1) + drawn(0.05, 0.6) * np.exp(-(BANDS - 380) / drawn(25, 75))
    for share in (0.95, 0.7, 0.4, 0.3):
        height = 10 ** drawn(-1.3, 1.3) * (rng.random((count, 1)) < share)
        place = 1e7 / drawn(370, 690)
        absorbed += height * np.exp(-0.5 * ((wave - place) / drawn(900, 3500)) ** 2)
    iron = 10 ** drawn(-2, 0.9) * (rng.random((count, 1)) < 0.5)
    absorbed += iron * (BANDS / 550) ** -drawn(0.3, 3)
    return _see(absorbed, drawn(0.002, 0.02))


def _see(ks: np.ndarray, surface: np.ndarray) -> np.ndarray:
    return surface + (1 - surface) * convert.ks_to_reflectance(ks)


def mixed_surfaces(count: int, rng: np.random.Generator) -> np.ndarray:
    """Measured surfaces, one or two mixed in K/S, paler or deeper."""
    ks = convert.ks(np.clip(surfaces(), 0.004, 0.98))
    one, two = ks[rng.integers(len(ks), size=(2, count))]
    share = rng.uniform(0, 1, (count, 1)) * (rng.random((count, 1)) < 0.5)
    depth = np.exp(rng.normal(0, 0.5, (count, 1)))
    return _see(depth * ((1 - share) * one + share * two), rng.uniform(0, 0.01, (count, 1)))


def steep(count: int, rng: np.random.Generator) -> np.ndarray:
    """Bands with logistic edges of 4 to 18 nm: light let through or kept, over a slanted ground."""

    def drawn(low: float, high: float) -> np.ndarray:
        return rng.uniform(low, high, (count, 1))

    start, end = drawn(360, 680), drawn(40, 320)
    edge = [1 / (1 + np.exp(-(BANDS - at) / drawn(4, 18))) for at in (start, start + end)]
    band = edge[0] - edge[1]
    band = np.where(rng.random((count, 1)) < 0.5, 1 - band, band)
    low, high = drawn(0.01, 0.3), drawn(0.2, 0.8)
    slant = 1 + drawn(-0.3, 0.3) * (BANDS - 555) / 175
    return np.clip((low + np.maximum(high - low, 0.05) * band) * slant, 0.003, 0.98)


@cache
def training(white: White = DEFAULT_WHITE, seed: int = 20) -> Training:
    """Spectra to train on, family by family, and their colours under a white."""
    rng = np.random.default_rng(seed)
    makers = dyed_cloths, mixed_surfaces, steep
    made = [make(int(count), rng) for make, count in zip(makers, COUNTS, strict=True)]
    sizes = np.array([len(part) for part in made])
    spectra, family = np.concatenate(made), np.repeat(np.arange(len(made)), sizes)
    share = (WEIGHTS / sizes)[family]
    lab = convert.spectrum_to_lab(BANDS, spectra, illuminant=white[0], observer=white[1])
    return Training(spectra, known_colours(lab, white=white), family, share)
