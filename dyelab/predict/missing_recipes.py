"""When a book is too small to learn from: how many recipes are missing, and which."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from dyelab import shift, words
from dyelab.errors import InputError
from dyelab.predict import candidates, coded_recipes, gp
from dyelab.predict.coded_recipes import STEPS, Step
from dyelab.predict.kernel import Likeness
from dyelab.predict.training import Gathered

_SPARE = 2  # recipes beyond one for each thing to be learned
_LEAST = 6
_ALIKE = 0.3  # ΔE*ab: less than this over a whole book is no effect at all
_NOISE = 0.05
_NAMED = 6


def enough(known: Gathered, steps: Sequence[Step]) -> None:
    """Raise unless the book can teach a model.

    Raises
    ------
    InputError
        All readings alike, or too few recipes: how many are needed and which to dye next.
    """
    lab = known.made[["L", "a", "b"]].to_numpy(float)
    if len(lab) > 1 and np.linalg.norm(lab - lab.mean(axis=0), axis=1).max() < _ALIKE:
        raise InputError(words.say("predict.alike", recipes=len(lab)))
    needed = max(_LEAST, 1 + _SPARE + sum(map(_unknowns, steps)))
    if len(lab) < needed:
        missing = needed - len(lab)
        offered = wanted(known.made, steps, min(missing, _NAMED))
        named = "; ".join(shift.label(offered)) if len(offered) else words.say("predict.other")
        raise InputError(
            words.say("predict.few", found=len(lab), needed=needed, missing=missing, recipes=named)
        )


def _unknowns(step: Step) -> int:
    """Main effects of a step: one a material beyond the first level, one for the dose."""
    varied = bool((step.top > step.least).any())
    dosed = STEPS[step.name][1] is not None
    return len(step.materials) - (0 if dosed else 1) + varied


def wanted(made: pd.DataFrame, steps: Sequence[Step], n: int) -> pd.DataFrame:
    """Recipes that would teach most, before anything has been learned: of the prior alone."""
    kernels = [Likeness(step) for step in steps]
    if not kernels:
        return made.head(0)
    p = np.concatenate([[0.0, np.log(_NOISE)], *(k.priors[:, 0] for k in kernels)])
    pool = candidates.sample(candidates.of_book(made, steps), 400)
    if pool.empty:
        return pool
    rows, own = ([coded_recipes.coded(s, t) for s in steps] for t in (pool, made))
    K = gp.cross(p, kernels, rows, rows)
    k = gp.cross(p, kernels, rows, own)
    inner = gp.cross(p, kernels, own, own) + _NOISE * np.eye(len(made))
    return pool.iloc[candidates.greedy(K - k @ np.linalg.solve(inner, k.T), _NOISE, n)]
