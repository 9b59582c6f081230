"""Cloth dyed more than once: what each dye brings alone, added up, and what that misses.

K/S of dyes that leave one another alone adds up (Kubelka and Munk 1931): the ground's, and what
each dye brought over its own ground. Dyes take one another's places, and a vat takes some of what
lies under it away, so every dye's K/S may be off by the share `MISSED`. Where a book holds cloths
dyed with the same dyes, what they were off by is carried over to others, the likelier the more
alike they are (a Gaussian process about the sum).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from dyelab.plan.factors import without_mordant
from dyelab.predict import gp
from dyelab.predict.basis import Basis
from dyelab.predict.recipes import (
    NONE,
    Part,
    StepCodes,
    StepLevels,
    code_step,
    layers,
    layers_of,
    with_dyes,
)

# Standard deviation of the share of a dye's K/S that it gives more or less over or under another,
# and how far cloths of the same dyes, in the same order and turned, are off alike (0 to 1): set so
# that 90 % regions hold in both worlds of tests/benchmarks/predict_overdyes.py together; what half
# and double of each would give, tests/benchmarks/predict_priors.py shows.
MISSED, SAME, TURNED = 0.2, 0.6, 0.6
_STEP, _ALIKE = 1e-3, 1e-9  # of a root of K/S or a score, for slopes; short of one: the same cloth


@dataclass(frozen=True)
class Dyes:
    """What was learned of dyes alone: where the sums come from.

    Attributes
    ----------
    steps : sequence of StepLevels
    process : gp.Process
    basis : Basis
    alone : frozenset of str
        Dyes that some recipe of the book has alone.
    vats : frozenset of str
        Those of them that take no mordant.
    """

    steps: Sequence[StepLevels]
    process: gp.Process
    basis: Basis
    alone: frozenset[str]
    vats: frozenset[str]

    def codes(self, recipes: pd.DataFrame) -> list[StepCodes]:
        """Recipes as the kernels see them, step by step."""
        return [code_step(step, recipes) for step in self.steps]

    def joins(self, recipes: pd.DataFrame) -> np.ndarray:
        """Which recipes are of several dyes that are all known alone, (n,)."""
        said: dict[str, bool] = {}
        for dye in recipes["dye"].unique():
            own = [part.material for part in layers(dye, 1.0)]
            said[dye] = len(own) > 1 and self.alone.issuperset(own)
        return recipes["dye"].map(said).to_numpy(bool)

    def apart(self, recipes: pd.DataFrame) -> list[pd.DataFrame]:
        """The ground of recipes of equally many dyes, then each dye alone and its own ground."""
        found = [_without_dye(recipes)]
        for own in zip(*layers_of(recipes), strict=True):
            alone = self._dyed(recipes, own)
            found += [alone, _without_dye(alone)]
        return found

    def _dyed(self, recipes: pd.DataFrame, dyes: Sequence[Part]) -> pd.DataFrame:
        """Recipes with these dyes alone, one each; unmordanted in a vat of the book's."""
        plain = np.array([part.material in self.vats for part in dyes])
        return without_mordant(with_dyes(recipes, [[part] for part in dyes]), plain)

    def _palest(self, recipes: pd.DataFrame) -> np.ndarray:
        """K/S (m, k) that the grounds keep below: of each of the book's dyes at its least dose.

        Few books hold undyed cloth on every ground, so what the ground gives is else hardly known.
        """
        step = next(step for step in self.steps if step.name == "dye")
        least = {k: d for k, d in zip(step.materials, step.least, strict=True) if k in self.alone}
        many = len(recipes)
        frames = [self._dyed(recipes, [Part(*dye)] * many) for dye in least.items()]
        rows, place = _once(self.codes(pd.concat(frames, ignore_index=True)))
        ks = self.basis.roots(self.process.means(rows)) ** 2
        return ks[place.reshape(len(frames), -1)].min(axis=0)

    def sum_layers(
        self, scores: np.ndarray, palest: np.ndarray, times: np.ndarray | float = 1.0
    ) -> np.ndarray:
        """Scores (m, q) of the sum of parts (p, m, q), as `apart` gives them."""
        roots = np.concatenate([self.basis.roots(scores), np.sqrt(palest)[None]])
        ks = self.basis.fine(roots)
        alone = ks[1:-1:2] * times
        lowest = np.minimum(ks[-1], alone.min(axis=0))
        total = np.minimum(ks[0], lowest) + (alone - np.minimum(ks[2:-1:2], lowest)).sum(axis=0)
        return self.basis.of_fine(total, roots[1:-1:2])

    def sums(self, recipes: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Scores (m, q) of recipes of equally many dyes, their variances, and weights (m, n)."""
        frames, palest = self.apart(recipes), self._palest(recipes)
        rows, place = _once(self.codes(pd.concat(frames, ignore_index=True)))
        at, C, weights = self.process.joint(rows, place.reshape(len(frames), -1))
        slopes = self._slopes(at, palest)
        variance = np.einsum("pcmo,cprm,rcmo->mo", slopes, C, slopes)
        leant = np.abs(weights[1::2]).mean(axis=0)
        found = self.sum_layers(at, palest)
        return found, np.maximum(variance, 1e-9) + self._missed(at, palest), leant

    def _slopes(self, at: np.ndarray, palest: np.ndarray) -> np.ndarray:
        """Change of the sum's scores by each score of each part, (p, q, m, q)."""
        slopes = np.empty((*at.shape[::2], *at.shape[1:]))
        for p, c in np.ndindex(*slopes.shape[:2]):
            move = np.zeros_like(at)
            move[p, :, c] = _STEP
            up, down = (self.sum_layers(at + sign * move, palest) for sign in (1, -1))
            slopes[p, c] = (up - down) / (2 * _STEP)
        return slopes

    def _missed(self, at: np.ndarray, palest: np.ndarray) -> np.ndarray:
        """Variance (m, q) of the sum where each dye gives more or less than alone."""
        many, found = len(at) // 2, np.zeros(at.shape[1:])
        for i in range(many):
            more = np.ones((many, 1, 1))
            more[i] += _STEP
            found += (
                MISSED * (self.sum_layers(at, palest, more) - self.sum_layers(at, palest)) / _STEP
            ) ** 2
        return found


def _without_dye(recipes: pd.DataFrame) -> pd.DataFrame:
    return recipes.assign(dye=NONE, dye_wof=0.0)


@dataclass(frozen=True)
class OverdyeErrors:
    """What a book's cloths of several dyes were off by.

    Attributes
    ----------
    dyes : Dyes
    recipes : DataFrame
        One row a swatch, n of them; none where the book holds no such cloth.
    seen : gp.Observations
    sums, deviation : ndarray (n, q)
        Scores as added up, and their standard deviations.
    inverses : ndarray (q, n, n)
        Of the covariance of what they were off by.
    """

    dyes: Dyes
    recipes: pd.DataFrame
    seen: gp.Observations
    sums: np.ndarray
    deviation: np.ndarray
    inverses: np.ndarray

    def posterior(self, recipes: pd.DataFrame, singles: int) -> gp.Posterior:
        """Weigh what is known for recipes of several dyes: `weights` of all n + singles."""
        sums, variance, leant = _each(self.dyes, recipes)
        more = self.dyes.process.nuggets
        weights = np.hstack([leant, np.zeros((len(recipes), len(self.recipes)))])
        if self.recipes.empty:
            return gp.Posterior(sums, variance, variance, weights, more)
        k = _likeness(self.dyes, recipes, self.recipes)
        k *= np.sqrt(variance).T[:, :, None] * self.deviation.T[:, None, :]
        pull = k @ self.inverses
        mean = sums + np.einsum("qmn,nq->mq", pull, self.seen.y - self.sums)
        left = np.maximum(variance - np.einsum("qmn,qmn->mq", pull, k), 1e-9)
        weights[:, singles:] = np.abs(pull[0])
        return gp.Posterior(mean, left, variance, weights, more)

    def left_out(self) -> np.ndarray:
        """Mean and variance (n, q, 2) of each swatch without its recipe and its pots."""
        off, every = self.seen.y - self.sums, np.arange(len(self.recipes))
        told = gp.without_own(self.inverses, off, self.seen, every)
        told[..., 0] += self.sums
        return told

    def knows(self, dye: str) -> bool:
        """Whether some cloth of the book has these dyes in this order."""
        return _names(dye) in {_names(own) for own in self.recipes["dye"].unique()}


def learn_overdyes(dyes: Dyes, recipes: pd.DataFrame, seen: gp.Observations) -> OverdyeErrors:
    """Learn what the swatches of several dyes are off by."""
    q = len(dyes.process.p)
    if recipes.empty:
        nothing = np.zeros((0, q))
        return OverdyeErrors(dyes, recipes, seen, nothing, nothing, np.zeros((q, 0, 0)))
    sums, variance, _ = _each(dyes, recipes)
    deviation = np.sqrt(variance)
    K = _likeness(dyes, recipes, recipes) * deviation.T[:, :, None] * deviation.T[:, None, :]
    noise = [gp.noise(p, seen.mates) for p in dyes.process.p]
    known = np.stack([np.diag(own) for own in seen.known.T])
    return OverdyeErrors(dyes, recipes, seen, sums, deviation, np.linalg.inv(K + noise + known))


def _each(dyes: Dyes, recipes: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """`Dyes.sums` of recipes with any number of dyes."""
    many = recipes["dye"].map(lambda dye: len(_names(dye))).to_numpy()
    q, n = len(dyes.process.p), len(dyes.process.seen.y)
    found = tuple(np.zeros((len(recipes), width)) for width in (q, q, n))
    for count in np.unique(many):
        for whole, part in zip(found, dyes.sums(recipes[many == count]), strict=True):
            whole[many == count] = part
    return found  # type: ignore[return-value]


def _likeness(dyes: Dyes, one: pd.DataFrame, two: pd.DataFrame) -> np.ndarray:
    """How alike recipes of the same dyes are off, (q, m, n): of each dye alone, multiplied."""
    process = dyes.process
    full = np.zeros((len(process.p), len(one), len(two)))
    by_dyes: list[Mapping] = [
        rows.groupby(rows["dye"].map(lambda d: tuple(sorted(_names(d))))).indices
        for rows in (one, two)
    ]
    for names in by_dyes[0].keys() & by_dyes[1].keys():
        at = [places[names] for places in by_dyes]
        rows = [frame.iloc[own] for frame, own in zip((one, two), at, strict=True)]
        order = [np.array([_names(d) for d in frame["dye"]]) for frame in rows]
        same = (order[0][:, None] == order[1][None]).all(axis=-1)
        near = np.where(same, 1.0, TURNED)
        alone = [_sort(dyes, frame) for frame in rows]
        for a, b in zip(*alone, strict=True):
            near = near * process.correlation(a, b)
        near = np.where(near > 1 - _ALIKE, 1.0, SAME * near)
        full[np.ix_(range(len(full)), *at)] = near
    return full


def _sort(dyes: Dyes, recipes: pd.DataFrame) -> list[list[StepCodes]]:
    """Each dye of some recipes alone, in the order of their names, coded."""
    named = [sorted(own, key=lambda part: part.material) for own in layers_of(recipes)]
    return [dyes.codes(frame) for frame in dyes.apart(with_dyes(recipes, named))[1::2]]


def _names(dye: str) -> tuple[str, ...]:
    return tuple(part.material for part in layers(dye, 1.0))


def _once(rows: gp.Codes) -> tuple[list[StepCodes], np.ndarray]:
    """Rows that differ, and the place of every row among them."""
    table = np.concatenate([[code.kind, code.dose] for code in rows])
    found, place = np.unique(table, axis=1, return_inverse=True)
    kinds = [StepCodes(a.astype(int), b) for a, b in zip(found[::2], found[1::2], strict=True)]
    return kinds, place.ravel()
