"""Why two swatches of one recipe differ, and why two readings of one swatch do."""

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from worlds.synth.model import DOSES
from worlds.synth.spectra import body_reflectance

if TYPE_CHECKING:
    from collections.abc import Callable

# Of the relative error: how much of it tilts the spectrum, and the part that doesn't shrink
# with the light, which is why dark shades repeat worse.
_TILT, _FLOOR = 0.5, 0.1


def swatch_doses(
    recipes: pd.DataFrame,
    sd: float,
    rng: np.random.Generator,
    *,
    pots: pd.DataFrame | None = None,
    share: float = 0.5,
) -> pd.DataFrame:
    """Return the recipes as the baths really worked: each dose off by a factor of its own.

    Parameters
    ----------
    recipes : DataFrame
        One row a swatch.
    sd : float
        Standard deviation of the logarithm of each dose.
    rng : Generator
    pots : DataFrame, optional
        For each dose, the bath that each swatch lay in; blank where it was its own. Without it,
        every swatch is a pot.
    share : float
        Of the variance, the part that belongs to the pot.

    Returns
    -------
    DataFrame
    """
    present = [name for name in DOSES if name in recipes]
    draws = rng.normal(0, 1, (len(recipes), len(present)))
    named = {} if pots is None else {name: pots[name].to_numpy(str) for name in present}
    for i, baths in enumerate(named.values()):
        common = _drawn_by_pot(baths, rng)
        draws[:, i] = np.sqrt(1 - share) * draws[:, i] + np.sqrt(share) * common
    factors = np.exp(sd * draws)
    return recipes.assign(**dict(zip(present, (recipes[present] * factors).T.values, strict=True)))


def _drawn_by_pot(names: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """One draw a pot; a swatch without one draws for itself."""
    own = np.where(names == "", [f" {i}" for i in range(len(names))], names)
    _, at = np.unique(own, return_inverse=True)
    return rng.normal(size=int(at.max(initial=0)) + 1)[at]


def weave_levels(n: int, sd: float, rng: np.random.Generator) -> np.ndarray:
    """Factor on K/S that weave and lay give each of `n` swatches, shape (n, 1)."""
    return np.exp(rng.normal(0, 0.3 * sd, (n, 1)))


def at_level(reflectance: np.ndarray, levels: np.ndarray) -> np.ndarray:
    """Lift or lower each row by its factor on K/S, shape (n, k)."""
    return body_reflectance((1 - reflectance) ** 2 / (2 * reflectance) * levels)


def reading_directions(reflectance: np.ndarray, sd: float) -> np.ndarray:
    """How one standard deviation of each instrument error moves a spectrum.

    Parameters
    ----------
    reflectance : ndarray, shape (n, k)
    sd : float
        Relative standard deviation of a reading; 0.004 is a good bench instrument with the
        cloth laid anew.

    Returns
    -------
    ndarray, shape (n, 5, k)
        Placement (all wavelengths alike, then tilted) in proportion to the reflectance; dark
        signal (level, tilt, bow) that doesn't shrink with it.
    """
    tilt = np.linspace(-1, 1, reflectance.shape[1])
    shapes = np.stack([np.ones_like(tilt), _TILT * tilt])
    floor = _FLOOR * np.stack([np.ones_like(tilt), tilt, 1.5 * tilt**2 - 0.5])
    scaled = reflectance[:, None, :] * shapes
    return sd * np.concatenate([scaled, np.broadcast_to(floor, (len(scaled), *floor.shape))], 1)


def read_spectra(reflectance: np.ndarray, sd: float, rng: np.random.Generator) -> np.ndarray:
    """Return the spectra as an instrument reports them, shape (n, k)."""
    directions = reading_directions(reflectance, sd)
    draws = rng.normal(size=directions.shape[:2])
    return reflectance + np.einsum("nj,njk->nk", draws, directions)


def reading_covariances(
    reflectance: np.ndarray, sd: float, to_lab: "Callable[[np.ndarray], np.ndarray]"
) -> np.ndarray:
    """Covariance of L*, a*, b* that the instrument error causes, shape (n, 3, 3)."""
    directions = reading_directions(reflectance, sd)
    base = reflectance[:, None, :]
    moved = (to_lab(base + directions) - to_lab(base - directions)) / 2
    return np.einsum("nji,njk->nik", moved, moved)
