"""A camera's response to the light of a photo, as three curves learned from the patches.

The response q of a channel is sensitivity times light. Its prior is a Gaussian process for each of
many lights: the mean and covariance of measured cameras under that light, their channels mixed as
a phone mixes them on the way to sRGB, free to deviate smoothly. The 24 patches are 24 weighted
sums of q; conditioning on them gives q and its uncertainty in closed form.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from dyelab import convert, numerics
from dyelab.calibrate import measured
from dyelab.calibrate.reference import BANDS, NOISE
from dyelab.convert.srgb import SRGB_TO_XYZ

# Lamps by the CIE's tables; daylight and bulbs lie on their loci between and beside the tables.
LAMPS = (
    "ID50", "ID65", "LED-B1", "LED-B2", "LED-B4", "LED-B5", "LED-V1",
    "FL3.1", "FL3.3", "FL3.5", "FL3.8", "FL3.12", "FL3.13", "FL3.15", "FL12",
)  # fmt: skip
BULBS = (2500, 2900, 3400, 4200)  # kelvin
_DAY = {"D50": 5003.0, "D55": 5503.0, "D65": 6504.0, "D75": 7504.0}
_BLUE_SKY = 1.8  # step beyond D50 and D75 along the locus, in steps from D55 to D65 or D65 to D75
_SHARES = (0.0, 0.5, 0.8, 1.0)  # how far a program brings the channels to sRGB
FREEDOM, SMOOTH_NM = 0.12, 28.0  # of an unseen camera or light, relative; by photo_priors.py
TEMPER = 4.0  # by it the evidence of a light is divided, the prior being only roughly right; same


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
    cold = day["D75"] + _BLUE_SKY * (day["D75"] - day["D65"])
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
    free = (FREEDOM * tops)[:, :, None, None] ** 2 * smooth * _sighted() * shape[:, None]
    return Prior(np.moveaxis(means, -1, 1), spreads + free, samples, lights())


def _sighted() -> np.ndarray:
    """Share (36, 36) of the freedom left to each band: cameras' filters end near 400 and 690 nm."""
    edge = 1 / (1 + np.exp(-(BANDS - 400) / 8)) / (1 + np.exp((BANDS - 690) / 8))
    return np.outer(edge, edge)


def _seen_under(power: np.ndarray) -> np.ndarray:
    """Responses (m, 36, 3) of every measured camera under a light, developed more and less."""
    bare = measured.cameras() * power[:, None]
    bare = bare / bare.sum(axis=1, keepdims=True)
    spectra = measured.surfaces()
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
