"""Gaussian processes over recipes: the kernel, its parameters, leave-one-out, prediction.

How alike two recipes are is a product over the steps of one plus the likeness of that step.
Multiplied out, it holds each step's own effect and every way steps act together. A step left out
has likeness 0, so that a dose of 0 and an absent material are one and the same.

General-purpose processes hold one noise per row but no product over steps with a learned
likeness of materials, and no scatter of replicates; so the few formulas stand here (Rasmussen and
Williams 2006, equations 2.25, 2.26, 5.9 and 5.12).
"""

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from scipy import linalg, optimize, special

from dyelab.predict.recipes import STEPS, StepCodes, StepLevels

# Priors of the parameters (mean, standard deviation), on the scales they are fitted on. A colour
# follows the logarithm of a dose down to doses far below the usual one (the knee, a twentieth of
# it): a book of thirty recipes can't learn that, and all books of 170 that predict_priors.py draws
# come to it, in both worlds. It also shows what half and double of each deviation would do.
SIZE, WEIGHT = (-1.1, 1.2), (0.0, 1.0)
KNEE, LENGTH = (-3.0, 0.8), (0.9, 0.4)


@dataclass(frozen=True)
class Likeness:
    """The kernel of one step.

    Parameters, in order: log of the effect's size; two weights that share likeness between all
    materials, those of one family and one and the same (softmax with 0); log of the dose, over
    the usual one, where the log scale bends; log of the length over which doses differ.
    """

    step: StepLevels
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
        own = [SIZE, *[WEIGHT] * self.weights]
        return np.array(own + ([KNEE, LENGTH] if self.dosed else []))

    def matrix(self, p: np.ndarray, one: StepCodes, two: StepCodes) -> np.ndarray:
        """Likeness of each row of `one` to each of `two`, (..., n, m) for parameters (..., p)."""
        small, here, there = self._by_level(p, one, two)
        return small[..., here[:, None], there]

    def by_row(self, p: np.ndarray, one: StepCodes, two: StepCodes) -> np.ndarray:
        """Likeness of each row of `one` to the same row of `two`, (..., n)."""
        small, here, there = self._by_level(p, one, two)
        return small[..., here, there]

    def _by_level(
        self, p: np.ndarray, one: StepCodes, two: StepCodes
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        (rows, here), (columns, there) = one.levels, two.levels
        size = np.exp(p[..., 0])[..., None, None]
        small = size * self._between(p, rows, columns) * self._doses(p, rows, columns)[0]
        return small, here, there

    def slopes(self, p: np.ndarray, one: StepCodes) -> tuple[np.ndarray, list[np.ndarray]]:
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
        shares, many = _softmax(p[..., 1 : 1 + self.weights]), self.tables.shape
        return (shares @ self.tables.reshape(many[0], -1)).reshape(*shares.shape[:-1], *many[1:])

    def _between(self, p: np.ndarray, one: StepCodes, two: StepCodes) -> np.ndarray:
        return self._looked_up(self._mixed(p), one, two)

    def _looked_up(self, table: np.ndarray, one: StepCodes, two: StepCodes) -> np.ndarray:
        """Entries of a table of materials; 0 with none, the least there is with an unknown."""
        m = table.shape[-1]
        full = np.zeros((*table.shape[:-2], m + 2, m + 2))
        full[..., :m, :m] = table
        full[..., m, :m] = full[..., :m, m] = table.min(axis=(-2, -1))[..., None]
        full[..., m, m] = 1.0
        return full[..., (one.kind % (m + 2))[:, None], two.kind % (m + 2)]

    def _doses(
        self, p: np.ndarray, one: StepCodes, two: StepCodes, slopes: bool = False
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


# Priors (mean, sd) of the logs of amplitude² and nugget², for scores of standard deviation 1, and
# of the log odds of the pot's share in the nugget: nothing is supposed of it. Same script.
AMPLITUDE, NUGGET, POT = (-0.7, 1.2), (float(np.log(0.02)), 1.5), (0.0, 1.5)
_HEAD = 3  # parameters before the kernels' own
_JITTER = 1e-6  # of a variance: what keeps equal recipes apart in arithmetic
_MOST = 100  # swatches that parameters are learned from: more change little and cost the cube
_ROUNDS, _OWN_ROOM = (50, 12), 0.5  # of all scores together and of each; room of each
# Of a fold, begun near its end: on the example 50 and 12 rounds change the stretch by under 1 %.
_ROUNDS_ANEW = (15, 5)
_FOLDS = 5  # each learns anew: more cost more and leave out less
_MATES = 0.5  # share of baths in common from which a swatch tells of another's pots
Codes = Sequence[StepCodes]


@dataclass(frozen=True)
class Observations:
    """What was measured: n swatches, score by score.

    Attributes
    ----------
    y : ndarray (n, q)
    known : ndarray (n, q)
        Variance that the readings state.
    recipe : ndarray (n,)
        Number of each swatch's recipe.
    mates : ndarray (n, n)
        Share of their baths that two swatches have in common, 1 with itself.
    """

    y: np.ndarray
    known: np.ndarray
    recipe: np.ndarray
    mates: np.ndarray

    def part(self, rows: np.ndarray) -> "Observations":
        """Some of the swatches."""
        mates = self.mates[np.ix_(rows, rows)]
        return Observations(self.y[rows], self.known[rows], self.recipe[rows], mates)

    def score(self, c: int) -> "Observations":
        """One of the scores."""
        own = slice(c, c + 1)
        return Observations(self.y[:, own], self.known[:, own], self.recipe, self.mates)


@dataclass(frozen=True)
class Posterior:
    """What was measured, weighed for m recipes.

    Attributes
    ----------
    mean : ndarray (m, q)
        Scores.
    left : ndarray (m, q)
        Their variances, without nugget and not stretched.
    prior : ndarray (m, q)
        Their variances before anything was measured.
    weights : ndarray (m, n)
        Of the n swatches measured, in the first score.
    more : ndarray (q,)
        Variance of a swatch about that: of its pot and its own, or its own alone.
    """

    mean: np.ndarray
    left: np.ndarray
    prior: np.ndarray
    weights: np.ndarray
    more: np.ndarray


@dataclass(frozen=True)
class Process:
    """Gaussian processes of all scores, learned.

    Attributes
    ----------
    kernels : sequence of Likeness
    codes : sequence of StepCodes
        The recipes of the n swatches measured, step by step.
    seen : Observations
    p : ndarray (q, p)
        Parameters of every score: logs of amplitude² and nugget², log odds of the pot's share in
        the nugget, then each kernel's own.
    alphas : ndarray (n, q)
        Weights of the swatches in a mean.
    inverses : ndarray (q, n, n)
        Of the covariance of the swatches, score by score.
    """

    kernels: Sequence[Likeness]
    codes: Codes
    seen: Observations
    p: np.ndarray
    alphas: np.ndarray
    inverses: np.ndarray

    @cached_property
    def nuggets(self) -> np.ndarray:
        """Variance of every score from a swatch to one of the same recipe in another pot."""
        return np.exp(self.p[:, 1])

    @cached_property
    def pots(self) -> np.ndarray:
        """Part of that which swatches of one pot share, (q,)."""
        return self.nuggets * special.expit(self.p[:, 2])

    def posterior(self, rows: Codes, mates: np.ndarray | None = None) -> Posterior:
        """Weigh what was measured for recipes; `mates` (n,) as of `Observations`, by their pots."""
        k = cross(self.p, self.kernels, rows, self.codes)
        prior = cross_rows(self.p, self.kernels, rows, rows)
        more = self.nuggets
        if mates is not None:
            k = k + self.pots[:, None, None] * mates
            prior, more = prior + self.pots[:, None], more - self.pots
        weights = k @ self.inverses
        left = np.maximum(prior - np.einsum("qmn,qmn->qm", weights, k), 1e-9)
        mean = np.einsum("qmn,nq->mq", k, self.alphas)
        return Posterior(mean, left.T, prior.T, weights[0], more)

    def means(self, rows: Codes) -> np.ndarray:
        """Scores (m, q) of recipes."""
        k = cross(self.p, self.kernels, rows, self.codes)
        return np.einsum("qmn,nq->mq", k, self.alphas)

    def posterior_covariance(self, one: Codes, two: Codes) -> np.ndarray:
        """Covariance (q, m, k) of recipes given what was measured."""
        k, kk = (cross(self.p, self.kernels, rows, self.codes) for rows in (one, two))
        prior = cross(self.p, self.kernels, one, two)
        return prior - (k @ self.inverses) @ np.swapaxes(kk, 1, 2)

    def correlation(self, one: Codes, two: Codes) -> np.ndarray:
        """Correlation (q, m, k) of recipes before anything was measured."""
        here, there = (np.sqrt(cross_rows(self.p, self.kernels, rows, rows)) for rows in (one, two))
        return cross(self.p, self.kernels, one, two) / (here[:, :, None] * there[:, None])

    def joint(self, rows: Codes, places: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Scores (p, m, q) of rows taken p at a time, their covariances (q, p, p, m), weights.

        `places` (p, m) of the rows that belong together; `weights` (p, m, n) as of `Posterior`.
        """
        k = cross(self.p, self.kernels, rows, self.codes)
        weights = k @ self.inverses
        taken = [[StepCodes(code.kind[own], code.dose[own]) for code in rows] for own in places]
        C = np.empty((len(k), len(places), *places.shape))
        for i, j in itertools.combinations_with_replacement(range(len(places)), 2):
            prior = cross_rows(self.p, self.kernels, taken[i], taken[j])
            told = np.einsum("qmn,qmn->qm", weights[:, places[i]], k[:, places[j]])
            C[:, i, j] = C[:, j, i] = prior - told
        mean = np.einsum("qmn,nq->mq", k, self.alphas)
        return mean[places], C, weights[0][places]


def learn(kernels: Sequence[Likeness], rows: Codes, seen: Observations) -> Process:
    """Learn every score from the swatches, its parameters from some of them."""
    some = np.sort(_recipe_by_recipe(seen.recipe)[:_MOST])
    return _learn(kernels, rows, seen, some)


def folds(recipe: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
    """Places of some swatches, and of those that their parameters may be learned from.

    Left-out recipes must not have helped to set the parameters: in books of 120 swatches, of which
    each told little, regions of 90 % held 78 where they had, 85 where not.
    """
    order = _recipe_by_recipe(recipe)
    parts = np.array_split(order, min(_FOLDS, recipe.max() + 1))
    return [(part, np.sort(order[~np.isin(recipe[order], recipe[part])][:_MOST])) for part in parts]


def left_out(
    process: Process, seen: Observations, fold: np.ndarray, rest: np.ndarray
) -> np.ndarray:
    """Mean and variance (m, q, 2) at each swatch of a fold, without its recipe and its pots.

    Parameters are learned anew from `rest`, the search for them begun at the whole book's.
    """
    start = process.p.mean(axis=0)
    anew = _learn(process.kernels, process.codes, seen, rest, start, _ROUNDS_ANEW)
    return without_own(anew.inverses, seen.y, seen, fold)


def without_own(
    inverses: np.ndarray, y: np.ndarray, seen: Observations, fold: np.ndarray
) -> np.ndarray:
    """Mean and variance (m, q, 2) of y (n, q) at places without their recipes and pots."""
    blocks = own_blocks(seen, fold)
    found = [without_blocks(K, own, fold, blocks) for K, own in zip(inverses, y.T, strict=True)]
    return np.stack(found, axis=1)


def own_blocks(seen: Observations, fold: np.ndarray) -> list[np.ndarray]:
    """Places of the swatches that share a recipe or pots with each of a fold, itself too."""
    own = (seen.recipe[fold, None] == seen.recipe) | (seen.mates[fold] >= _MATES)
    return [np.flatnonzero(row) for row in own]


def _recipe_by_recipe(recipe: np.ndarray) -> np.ndarray:
    """Places of the swatches, recipes in random order, the same each time."""
    rank = np.random.default_rng(0).permutation(recipe.max() + 1)
    return np.argsort(rank[recipe], kind="stable")


def _learn(
    kernels: Sequence[Likeness],
    rows: Codes,
    seen: Observations,
    some: np.ndarray,
    start: np.ndarray | None = None,
    rounds: tuple[int, int] = _ROUNDS,
) -> Process:
    """Parameters of each score from some swatches, weights from all of them.

    All scores share parameters first, then each moves a little on its own.
    """
    prior = np.vstack([AMPLITUDE, NUGGET, POT, *(k.priors for k in kernels)])
    few = [StepCodes(code.kind[some], code.dose[some]) for code in rows]

    def likeliest(own: Observations, prior: np.ndarray, begin: np.ndarray, many: int) -> np.ndarray:
        ends = [(m - 6 * s, m + 6 * s) for m, s in prior]
        how: Any = {"jac": True, "method": "L-BFGS-B", "options": {"maxiter": many}}
        told = kernels, few, own.part(some), prior
        return optimize.minimize(cost, begin, args=told, bounds=ends, **how).x

    shared = likeliest(seen, prior, prior[:, 0] if start is None else start, rounds[0])
    close = np.column_stack([shared, prior[:, 1] * _OWN_ROOM])
    each = [seen.score(c) for c in range(seen.y.shape[1])]
    p = [likeliest(own, close, shared, rounds[1]) for own in each]
    inverses = [_inverse(one, kernels, rows, own) for one, own in zip(p, each, strict=True)]
    alphas = [K @ own.y[:, 0] for K, own in zip(inverses, each, strict=True)]
    return Process(kernels, rows, seen, np.stack(p), np.stack(alphas, axis=1), np.stack(inverses))


def noise(p: np.ndarray, mates: np.ndarray) -> np.ndarray:
    """Covariance (n, n) of swatches about their recipes: the pot's part shared by mates."""
    pot = special.expit(p[2])
    return np.exp(p[1]) * (pot * mates + (1 - pot) * np.eye(len(mates)))


def _inverse(
    p: np.ndarray, kernels: Sequence[Likeness], rows: Codes, seen: Observations
) -> np.ndarray:
    """Inverse covariance of the swatches in one score."""
    K = cross(p, kernels, rows, rows)
    full = K + noise(p, seen.mates) + np.diag(seen.known[:, 0] + _JITTER * (1 + np.diag(K)))
    return linalg.inv(full, check_finite=False)


def without_blocks(
    inverse: np.ndarray, y: np.ndarray, places: np.ndarray, blocks: Sequence[np.ndarray]
) -> np.ndarray:
    """Mean and variance at each place without its block (Rasmussen and Williams 2006, 5.12).

    For a block B left out together the formula holds with the block of the inverse in place of
    its diagonal element.
    """
    pull, found = inverse @ y, np.empty((len(places), 2))
    for i, (place, block) in enumerate(zip(places, blocks, strict=True)):
        spread = np.linalg.inv(inverse[np.ix_(block, block)])
        at = int(np.flatnonzero(block == place)[0])
        found[i] = y[place] - spread[at] @ pull[block], spread[at, at]
    return found


def _own(p: np.ndarray, kernels: Sequence[Likeness]) -> list[np.ndarray]:
    ends = np.cumsum([_HEAD, *(k.many for k in kernels)])
    return [p[..., a:b] for a, b in itertools.pairwise(ends)]


def cross(p: np.ndarray, kernels: Sequence[Likeness], one: Codes, two: Codes) -> np.ndarray:
    """Prior covariance between rows of two tables, without nugget: (..., n, m) for p (..., k)."""
    amplitude = np.exp(p[..., 0])[..., None, None]
    return amplitude * likeness(p, kernels, one, two, range(len(kernels)))


def likeness(
    p: np.ndarray, kernels: Sequence[Likeness], one: Codes, two: Codes, chosen: Iterable[int]
) -> np.ndarray:
    """Product of one plus likeness over the chosen kernels; `cross` is all, by the amplitude."""
    own = _own(p, kernels)
    full = np.ones((*p.shape[:-1], len(one[0].kind), len(two[0].kind)))
    for i in chosen:
        full *= 1 + kernels[i].matrix(own[i], one[i], two[i])
    return full


def cross_rows(p: np.ndarray, kernels: Sequence[Likeness], one: Codes, two: Codes) -> np.ndarray:
    """`cross` of each row with the same row of the other table, (..., n)."""
    full = np.exp(p[..., 0, None]) * np.ones(len(one[0].kind))
    for kernel, own, a, b in zip(kernels, _own(p, kernels), one, two, strict=True):
        full = full * (1 + kernel.by_row(own, a, b))
    return full


def cost(
    p: np.ndarray, kernels: Sequence[Likeness], rows: Codes, seen: Observations, prior: np.ndarray
) -> tuple[float, np.ndarray]:
    """Minus the log posterior of the parameters, and its slopes."""
    K = np.full((len(seen.y),) * 2, np.exp(p[0]))
    parts = []
    for kernel, own, code in zip(kernels, _own(p, kernels), rows, strict=True):
        value, slopes = kernel.slopes(own, code)
        place = code.levels[1]
        full = 1 + value[place[:, None], place]
        K *= full
        parts.append((full, place, slopes))
    K[np.diag_indices_from(K)] *= 1 + _JITTER
    total, pull, by_noise = _evidence(K, p, seen)
    by_kernel = pull * K
    grad = [by_kernel.sum(), *by_noise]
    for full, place, slopes in parts:
        by_level = _gather(by_kernel / full, place)
        grad += [np.vdot(by_level, slope) for slope in slopes]
    off = (p - prior[:, 0]) / prior[:, 1]
    return total + 0.5 * off @ off, np.array(grad) + off / prior[:, 1]


def _gather(full: np.ndarray, place: np.ndarray) -> np.ndarray:
    """Sums of a matrix over rows and columns of one level."""
    member = np.zeros((len(place), place.max() + 1))
    member[np.arange(len(place)), place] = 1
    return member.T @ full @ member


def _evidence(
    K: np.ndarray, p: np.ndarray, seen: Observations
) -> tuple[float, np.ndarray, tuple[float, float]]:
    """Minus the log likelihood of all scores; its slopes by K, and by the noise's parameters."""
    n, q = seen.y.shape
    around, pull, total = noise(p, seen.mates), np.zeros_like(K), 0.0
    for c in range(q):
        full = K + around + np.diag(seen.known[:, c] + _JITTER)
        factor = linalg.cholesky(full, lower=True, check_finite=False)
        inverse = linalg.cho_solve((factor, True), np.eye(n), check_finite=False)
        alpha = inverse @ seen.y[:, c]
        total += 0.5 * seen.y[:, c] @ alpha + np.log(np.diag(factor)).sum()
        pull += 0.5 * (inverse - np.outer(alpha, alpha))
    pot = special.expit(p[2])
    by_pot = np.exp(p[1]) * pot * (1 - pot) * (np.vdot(pull, seen.mates) - np.trace(pull))
    return total, pull, (float(np.vdot(pull, around)), float(by_pot))
