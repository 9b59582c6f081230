"""How alike two recipes are: a product over the steps of one plus the likeness of that step.

Multiplied out, the product holds each step's own effect and every way steps act together. A step
left out has likeness 0, so that a dose of 0 and an absent material are one and the same.
"""

from dataclasses import dataclass, field

import numpy as np

from dyelab.predict.coded_recipes import STEPS, Coded, Step

# Priors of the parameters (mean, standard deviation), on the scales they are fitted on.
_SIZE, _WEIGHT = (0.0, 1.2), (0.0, 1.0)
_KNEE, _LENGTH = (np.log(0.5), 0.7), (np.log(1.5), 0.5)


@dataclass(frozen=True)
class Likeness:
    """The kernel of one step.

    Parameters, in order: log of the effect's size; two weights that share likeness between all
    materials, those of one family and one and the same (softmax with 0); log of the dose, over
    the usual one, where the log scale bends; log of the length over which doses differ.
    """

    step: Step
    weights: int = field(init=False)
    dosed: bool = field(init=False)
    many: int = field(init=False)
    tables: np.ndarray = field(init=False)

    def __post_init__(self) -> None:
        same = self.step.shares @ self.step.shares.T
        kin = self.step.families @ self.step.families.T
        tables = [np.ones_like(same)]
        if len(same) > 1:
            tables += [same] if np.allclose(kin, same) or np.allclose(kin, 1) else [same, kin]
        object.__setattr__(self, "tables", np.array(tables))
        object.__setattr__(self, "weights", len(tables) - 1)
        object.__setattr__(self, "dosed", STEPS[self.step.name][1] is not None)
        object.__setattr__(self, "many", 1 + self.weights + 2 * self.dosed)

    @property
    def priors(self) -> np.ndarray:
        """Mean and standard deviation of each parameter, (p, 2)."""
        own = [_SIZE, *[_WEIGHT] * self.weights]
        return np.array(own + ([_KNEE, _LENGTH] if self.dosed else []))

    def matrix(self, p: np.ndarray, one: Coded, two: Coded) -> np.ndarray:
        """Likeness of each row of `one` to each of `two`, (..., n, m) for parameters (..., p)."""
        (rows, here), (columns, there) = one.levels, two.levels
        size = np.exp(p[..., 0])[..., None, None]
        small = size * self._between(p, rows, columns) * self._doses(p, rows, columns)[0]
        return small[..., here[:, None], there]

    def alone(self, p: np.ndarray, one: Coded) -> np.ndarray:
        """Likeness of each row to itself: the diagonal of `matrix`."""
        there = one.kind != -1
        level = _log_dose(one.dose, np.exp(p[..., -2, None])) ** 2 if self.dosed else 1.0
        return np.exp(p[..., 0, None]) * np.where(there, level, 0.0)

    def slopes(self, p: np.ndarray, one: Coded) -> tuple[np.ndarray, list[np.ndarray]]:
        """Likeness among the levels of these rows, and its derivative by each parameter."""
        levels = one.levels[0]
        size, alike = np.exp(p[0]), self._between(p, levels, levels)
        by_dose, *dose_slopes = self._doses(p, levels, levels, slopes=True)
        slopes = [size * alike * by_dose]
        shares, mixed = _softmax(p[1 : 1 + self.weights]), self._mixed(p)
        for i in range(self.weights):
            moved = self._looked_up(shares[i + 1] * (self.tables[i + 1] - mixed), levels, levels)
            slopes.append(size * moved * by_dose)
        slopes += [size * alike * slope for slope in dose_slopes]
        return slopes[0], slopes

    def _mixed(self, p: np.ndarray) -> np.ndarray:
        return np.tensordot(_softmax(p[..., 1 : 1 + self.weights]), self.tables, 1)

    def _between(self, p: np.ndarray, one: Coded, two: Coded) -> np.ndarray:
        return self._looked_up(self._mixed(p), one, two)

    def _looked_up(self, table: np.ndarray, one: Coded, two: Coded) -> np.ndarray:
        """Entries of a table of materials; 0 with none, the least there is with an unknown."""
        m = table.shape[-1]
        full = np.zeros((*table.shape[:-2], m + 2, m + 2))
        full[..., :m, :m] = table
        full[..., m, :m] = full[..., :m, m] = table.min(axis=(-2, -1))[..., None]
        full[..., m, m] = 1.0
        return full[..., (one.kind % (m + 2))[:, None], two.kind % (m + 2)]

    def _doses(
        self, p: np.ndarray, one: Coded, two: Coded, slopes: bool = False
    ) -> list[np.ndarray]:
        if not self.dosed:
            return [np.ones((len(one.kind), len(two.kind)))]
        knee, length = np.exp(p[..., -2, None]), np.exp(p[..., -1, None, None])
        u, v = _log_dose(one.dose, knee)[..., None], _log_dose(two.dose, knee)[..., None, :]
        gap = u - v
        near = np.exp(-0.5 * (gap / length) ** 2)
        level = u * v
        if not slopes:
            return [level * near]
        step = 1e-5
        du = (_log_dose(one.dose, knee * np.exp(step))[:, None] - u) / step
        by_knee = (du * v + u * du.T) * near
        by_knee -= level * near * gap * (du - du.T) / length**2
        return [level * near, by_knee, level * near * (gap / length) ** 2]


def _log_dose(dose: np.ndarray, knee: np.ndarray) -> np.ndarray:
    """Log scale with a true zero; the usual dose is 1."""
    return np.log1p(dose / knee) / np.log1p(1 / knee)


def _softmax(weights: np.ndarray) -> np.ndarray:
    full = np.concatenate([np.zeros((*weights.shape[:-1], 1)), weights], axis=-1)
    full = np.exp(full - full.max(axis=-1, keepdims=True))
    return full / full.sum(axis=-1, keepdims=True)
