"""What a wanted colour tells: some recipe gives it, and recipes like that one err as it does.

A candidate is predicted near the colour. The recipe that truly gives it may be much like the
candidate, and then what the model gets wrong of one it gets wrong of the other: the candidate
lands more often than its own spread says. So recipes that may give the colour are drawn, each as
likely as the colour is there, and the candidate is predicted again as if that one gave it.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from dyelab.predict import calibration, candidates, chance, complete_recipes, gp
from dyelab.predict.learned import Taught, Weighed

_MANY = 800
_LEAST = 0.05  # of a variance, CIELAB²: what a swatch scatters at the least


@dataclass(frozen=True)
class Givers:
    """Recipes put together anew from a book's own.

    Attributes
    ----------
    codes : list of Coded
    lab : ndarray (m, 3)
        As predicted.
    C : ndarray (m, 3, 3)
        Of that, without the scatter of swatches.
    slopes : ndarray (m, 3, q)
        Change of colour by each score, stretched as the covariances are.
    weights : ndarray (q, n, m)
        Of the recipes measured, in each.
    """

    codes: gp.Codes
    lab: np.ndarray
    C: np.ndarray
    slopes: np.ndarray
    weights: np.ndarray


def of_book(model: Taught) -> Givers:
    """Put recipes together anew, as often as the book has their steps."""
    recipes = complete_recipes.completed(
        model, candidates.anew(model.made, candidates.NO_LIMITS, _MANY)
    )
    codes = model.coded(recipes)
    weighed = model.weighed(codes)
    C, slopes = _stretched(model, weighed, weighed.left)
    k = gp.cross(model.p, model.kernels, model.codes, codes)
    return Givers(codes, model.basis.lab(weighed.mean), C, slopes, model.inverses @ k)


def draws(
    model: Taught, givers: Givers, recipes: pd.DataFrame, aim: tuple[np.ndarray, np.ndarray], n: int
) -> np.ndarray:
    """Colours (r, n, 3) that single swatches of recipes may have, if some recipe gives the aim.

    Parameters
    ----------
    model : Taught
    givers : Givers
    recipes : DataFrame (r rows)
        Completed.
    aim : (ndarray (3,), ndarray (3, 3))
        The wanted colour and its covariance.
    n : int
    """
    wanted, unsure = aim
    weighed = model.weighed(model.coded(recipes))
    C, slopes = _stretched(model, weighed, weighed.left + model.nuggets)
    some = _likely(givers, wanted, unsure, model.tail, n)
    cross = _together(model, givers, recipes, slopes, some)
    gain = cross @ np.linalg.inv(givers.C[some] + unsure)
    off = wanted - givers.lab[some]
    lab = model.basis.lab(weighed.mean)[:, None] + np.einsum("rnij,nj->rni", gain, off)
    left = C[:, None] + unsure - gain @ np.swapaxes(cross, -1, -2)
    sizes, axes = np.linalg.eigh(left)
    roots = axes * np.sqrt(np.maximum(sizes, _LEAST))[..., None, :]
    normal = chance.draws(np.zeros((1, 3)), np.eye(3)[None], model.tail, n)[0]
    return lab + np.einsum("rnij,nj->rni", roots, normal)


def _likely(
    givers: Givers, wanted: np.ndarray, unsure: np.ndarray, tail: float, n: int
) -> np.ndarray:
    """Places (n,) of recipes, each as often as it is likely to give the colour."""
    C = givers.C + unsure
    likely = chance.log_density(calibration.far(wanted - givers.lab, C), C, tail)
    share = np.cumsum(np.exp(likely - likely.max()))
    return np.searchsorted(share, (np.arange(n) + 0.5) / n * share[-1])


def _together(
    model: Taught, givers: Givers, recipes: pd.DataFrame, slopes: np.ndarray, some: np.ndarray
) -> np.ndarray:
    """Covariances (r, n, 3, 3) of what is not known of the recipes and of these givers."""
    rows = model.coded(recipes)
    picked, place = np.unique(some, return_inverse=True)
    codes = [type(code)(code.kind[picked], code.dose[picked]) for code in givers.codes]
    k = gp.cross(model.p, model.kernels, rows, model.codes)
    prior = gp.cross(model.p, model.kernels, rows, codes)
    left = np.maximum(prior - k @ givers.weights[..., picked], 0)
    moves = np.moveaxis(np.sqrt(left), 0, -1)[..., None, :]
    full = (slopes[:, None] * moves) @ model.together
    full = full @ np.swapaxes(givers.slopes[picked] * moves, -1, -2)
    return full[:, place]


def _stretched(model: Taught, weighed: Weighed, left: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Covariances of the colours, and the slopes that give them."""
    J = model.basis.slopes(weighed.mean)
    plain = calibration.spread(J, left, model.together)
    C = model.stretch(plain)
    factor = np.trace(C, axis1=1, axis2=2) / np.trace(plain, axis1=1, axis2=2)
    return C, J * np.sqrt(factor)[:, None, None]
