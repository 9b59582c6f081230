"""The camera's tone curve from the patches, told apart from its colours.

The sum of a patch's spectrum times any response is linear in light, whatever the camera's eyes: so
the right curve is the one whose undone values agree best with some smooth response. A fit of the
curve to CIELAB would bend it to hide what the camera can't see, most of all under warm light.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from dyelab.calibrate.camera_response import Misfit, misfits
from dyelab.calibrate.reference import NOISE
from dyelab.calibrate.tone import Tone

_FREE = np.array([0.35, 0.4, 0.5])  # how far the tone's numbers may go, standard deviations
_ROUNDS = 3


@dataclass(frozen=True)
class ToneFit:
    """A tone curve, and the covariance (3, 3) of its numbers."""

    tone: Tone
    spread: np.ndarray

    def draw(self, rng: np.random.Generator) -> Tone:
        """One curve that could be the true one; always a rising one."""
        root = np.linalg.cholesky(self.spread + 1e-12 * np.eye(3))
        for _ in range(20):
            drawn = Tone(*self.tone.values + root @ rng.standard_normal(3))
            if drawn.rising:
                return drawn
        return self.tone


def exact(tone: Tone | None = None) -> ToneFit:
    """Return a curve without doubt."""
    return ToneFit(tone or Tone(), np.zeros((3, 3)))


def fit_tone(
    stored: np.ndarray, light: np.ndarray, spectra: np.ndarray, noise: float = NOISE
) -> ToneFit:
    """Fit the curve.

    Parameters
    ----------
    stored : ndarray (n, 3)
        Camera values of patches, linear by the file's own curve.
    light : ndarray (n,)
        Relative light there.
    spectra : ndarray (n, 36)
        Their reflectance factors.
    noise : float
        Relative standard deviation of a patch's value, its reference included.

    Returns
    -------
    ToneFit
        Kept near no curve at all unless the patches pull it away.
    """
    options = misfits(spectra, noise)

    def seen(move: np.ndarray) -> np.ndarray:
        return Tone(*move).undo(stored) / light[:, None]

    move, spread, last = np.zeros(3), np.diag(_FREE**2), None
    for _ in range(_ROUNDS):
        now = min(options, key=lambda option: _loss(option, seen(move)))
        if now is last:
            break
        last = now
        found = least_squares(
            lambda m, now=now: np.concatenate([now(seen(m)), m / _FREE]), move, method="lm",
            max_nfev=80,
        )  # fmt: skip
        move, spread = found.x, np.linalg.inv(found.jac.T @ found.jac)
    made = Tone(*move)
    return ToneFit(made, spread) if made.rising else ToneFit(Tone(), np.diag(_FREE**2))


def _loss(option: Misfit, seen: np.ndarray) -> float:
    return 0.5 * float((option(seen) ** 2).sum()) + option.ease
