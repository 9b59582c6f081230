"""A camera's response to the light of a photo, as three smooth curves learned from the patches.

The response q of a channel is sensitivity times light. Its prior is a Gaussian process: a generic
sensitivity times one of a few typical lights, free to deviate smoothly. The 24 patches are 24
weighted sums of q; conditioning on them gives q and its uncertainty in closed form.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from dyelab import convert, numerics
from dyelab.calibrate.reference import BANDS, NOISE

# Typical of their kind; a photo's own light is seldom one of a standard's tables.
LIGHTS = ("D50", "D55", "D75", "A", "LED-B1", "LED-B2", "LED-B4", "LED-B5", "LED-V1", "FL2", "FL7")
FREEDOM, SMOOTH_NM = 0.35, 28.0
_TEMPER = 8.0  # the prior is only roughly right, so its evidence counts for less


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


@dataclass(frozen=True)
class Misfit:
    """Standardised misfits of patches under one typical light, of whatever exposure."""

    expected: np.ndarray  # (n, 3)
    whitening: np.ndarray  # (3, n, n)

    def __call__(self, seen: np.ndarray) -> np.ndarray:
        """Misfits (3 n,) of values (n, 3); independent and of unit size if all is as assumed."""
        level = (seen * self.expected).sum(axis=0) / (self.expected**2).sum(axis=0)
        left = seen / level - self.expected
        return np.einsum("cij,jc->ci", self.whitening, left).ravel()

    @property
    def ease(self) -> float:
        """Logarithm of how widely this light spreads what it allows; lower is more telling."""
        return float(-np.log(np.diagonal(self.whitening, axis1=1, axis2=2)).sum())


@cache
def _generic() -> np.ndarray:
    """Three bell-shaped sensitivities (36, 3), red with a little violet: no camera's in particular."""  # noqa: E501

    def bell(middle: float, width: float) -> np.ndarray:
        return np.exp(-0.5 * ((BANDS - middle) / width) ** 2)

    return np.stack([bell(600, 35) + 0.1 * bell(440, 25), bell(535, 38), bell(460, 30)], axis=-1)


@cache
def _lights() -> np.ndarray:
    powers = np.stack([convert.illuminant_power(name, BANDS) for name in LIGHTS])
    return powers / powers.mean(axis=1, keepdims=True)


def learn(seen: np.ndarray, spectra: np.ndarray, noise: float = NOISE) -> Response:
    """Condition the prior on patches.

    Parameters
    ----------
    seen : ndarray (n, 3)
        Linear camera values of patches.
    spectra : ndarray (n, 36)
        Their reflectance factors.
    noise : float
        Relative standard deviation of a patch's value, its reference included.

    Returns
    -------
    Response
    """
    parts = [_for_light(light, seen, spectra, noise) for light in _lights()]
    evidence = np.array([part[0] for part in parts])
    weights = np.exp((evidence - evidence.max()) / _TEMPER)
    kept = weights > 0.02
    parts = [part for part, k in zip(parts, kept, strict=True) if k]
    return Response(
        weights[kept] / weights[kept].sum(),
        np.stack([part[1] for part in parts]),
        np.stack([[numerics.root(rest) for rest in part[2]] for part in parts]),
        np.stack([part[3] for part in parts]),
        float(evidence.max()),
    )


def _for_light(
    light: np.ndarray, seen: np.ndarray, spectra: np.ndarray, noise: float
) -> tuple[float, np.ndarray, np.ndarray, np.ndarray]:
    alike = np.exp(-0.5 * ((BANDS[:, None] - BANDS) / SMOOTH_NM) ** 2)
    evidence, means, spreads, gains = 0.0, [], [], []
    for channel in range(3):
        prior = _generic()[:, channel] * light
        level = seen[:, channel] @ (spectra @ prior) / ((spectra @ prior) ** 2).sum()
        prior = prior * level
        size = FREEDOM * level * _generic()[:, channel].max()
        spread = size**2 * alike * np.outer(light, light)
        error = (noise * (seen[:, channel] + 0.02 * seen[:, channel].max())) ** 2
        off = seen[:, channel] - spectra @ prior
        found = numerics.conditioned(spread, spectra, np.diag(error), off)
        means.append(prior + found[0])
        spreads.append(found[1])
        gains.append(found[2])
        evidence += found[3]
    return evidence, np.stack(means, axis=-1), np.stack(spreads), np.stack(gains)


def misfits(spectra: np.ndarray, noise: float = NOISE) -> list[Misfit]:
    """For each typical light: how badly a camera's values of these patches fit any response."""
    return [_misfit(light, spectra, noise) for light in _lights()]


def _misfit(light: np.ndarray, spectra: np.ndarray, noise: float) -> Misfit:
    alike = np.exp(-0.5 * ((BANDS[:, None] - BANDS) / SMOOTH_NM) ** 2)
    expected = spectra @ (_generic() * light[:, None])
    spread = spectra @ (alike * np.outer(light, light)) @ spectra.T
    whitened = []
    for channel in range(3):
        size = FREEDOM * _generic()[:, channel].max()
        error = noise * (expected[:, channel] + 0.02 * expected[:, channel].max())
        whole = size**2 * spread + np.diag(error**2)
        whitened.append(np.linalg.inv(np.linalg.cholesky(whole)))
    return Misfit(expected, np.stack(whitened))


def any_response(rng: np.random.Generator) -> np.ndarray:
    """One response (36, 3) of a camera and light that nothing is known about."""
    light = _lights()[rng.integers(len(_lights()))]
    alike = np.exp(-0.5 * ((BANDS[:, None] - BANDS) / SMOOTH_NM) ** 2)
    bumps = (numerics.root(alike) @ rng.standard_normal((len(BANDS), 3))) * FREEDOM
    return np.maximum(_generic() + bumps * _generic().max(axis=0) * 0.5, 0) * light[:, None]
