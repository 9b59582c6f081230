"""The tone curve that a camera adds to the encoding: a few numbers, undone in linear light."""

from dataclasses import dataclass

import numpy as np

_GAMMA = 2.2  # the scale on which the curve is smooth; no assumption about the camera


@dataclass(frozen=True)
class Tone:
    """Stored light u to true light: a power, then a bend of the middle tones.

    With v = u^(1/2.2): v1 = v^exp(power), v2 = v1 + v1 (1 - v1) (lift + contrast (2 v1 - 1)),
    and the true light is v2^2.2. Black and full stay where they are.
    """

    power: float = 0.0
    lift: float = 0.0
    contrast: float = 0.0

    def undo(self, stored: np.ndarray) -> np.ndarray:
        """True light of stored light, both 0 to 1."""
        v = np.clip(stored, 0, 1) ** (np.exp(self.power) / _GAMMA)
        bent = v + v * (1 - v) * (self.lift + self.contrast * (2 * v - 1))
        return np.clip(bent, 0, 1) ** _GAMMA

    def redo(self, true: np.ndarray) -> np.ndarray:
        """Stored light of true light, the inverse of `undo`."""
        grid = np.linspace(0, 1, 1025) ** _GAMMA
        return np.interp(true, self.undo(grid), grid)

    @property
    def is_rising(self) -> bool:
        """Whether more light always gives more."""
        return bool((np.diff(self.undo(np.linspace(0.002, 1, 200))) > 0).all())

    @property
    def values(self) -> np.ndarray:
        """Power, lift and contrast, shape (3,)."""
        return np.array([self.power, self.lift, self.contrast])
