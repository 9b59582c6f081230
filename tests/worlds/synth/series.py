"""Simulated swatch books whose every true colour is known."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dyelab import table
from worlds.synth import noise
from worlds.synth.fade import faded
from worlds.synth.materials import CLOTH, Cloth
from worlds.synth.model import DOSES, TEXT
from worlds.synth.spectra import WAVELENGTHS

COLUMNS = [
    *("swatch", "form", "fibre", "ground", "series", "tannin", "tannin_wof", "mordant"),
    *("mordant_wof", "dye", "dye_wof", "vat", "iron_wof", "copper_wof", "modifier"),
]
USUAL_DOSE = {
    **{"none": 0.0, "madder": 50.0, "weld": 50.0, "cochineal": 6.0},
    **{"walnut hull": 60.0, "onion skin": 40.0, "indigo": 4.0},
}
_UNITS = {"wash": "cycle", "light": "lx h"}
BANDS = [f"{w:g}" for w in WAVELENGTHS]


@dataclass(frozen=True)
class Synth:
    """A simulated book.

    Attributes
    ----------
    recipes : DataFrame
        One row a swatch, columns as the wide recipes of a book.
    wide : DataFrame
        One row a reading, noise and all: the columns of `table.READINGS`, then the recipe.
    spectra : DataFrame
        `reading` and one column a wavelength: reflectance factors as read.
    truth : DataFrame
        One row a reading: `reading, swatch, L, a, b` and the wavelengths, as the recipe alone
        would give them, without swatch or reading noise.
    cloth : Cloth
        The world it is true in.
    """

    recipes: pd.DataFrame
    wide: pd.DataFrame
    spectra: pd.DataFrame
    truth: pd.DataFrame
    cloth: Cloth


def filled(recipes: pd.DataFrame) -> pd.DataFrame:
    """Return the recipes with every column of a book's wide recipes, absent ones as none."""
    n = len(recipes)
    blank: dict[str, Any] = {**TEXT, **dict.fromkeys(DOSES, 0.0)}
    blank |= {"form": "cloth", "ground": "", "series": ""}
    full = recipes.assign(**{k: v for k, v in blank.items() if k not in recipes})
    if "swatch" not in full:
        full = full.assign(swatch=[f"S{i + 1:03d}" for i in range(n)])
    return full.assign(vat=full["dye"] == "indigo", modifier="none")[COLUMNS]


def simulate(
    recipes: pd.DataFrame,
    seed: int,
    *,
    replicates: int = 2,
    swatch_sd: float = 0.1,
    reading_sd: float = 0.004,
    exposures: Sequence[tuple[str, float]] = (),
    pots: pd.DataFrame | None = None,
    pot_share: float = 0.5,
    cloth: Cloth = CLOTH,
) -> Synth:
    """Dye, read and expose these recipes in an invented world.

    Parameters
    ----------
    recipes : DataFrame
        One row a recipe: any of the columns of a book's wide recipes; doses in % WOF.
    seed : int
        The same seed gives the same book.
    replicates : int
        Swatches of each recipe, named ``S001.1``, ``S001.2`` when there are several.
    swatch_sd : float
        Swatch-to-swatch variation: standard deviation of the logarithm of every dose that
        takes effect; weave adds 0.3 of it on K/S.
    reading_sd : float
        Relative standard deviation of a reading; see `noise.reading_directions`.
    exposures : sequence of (exposure, amount)
        Readings besides the one as dyed, such as ``("wash", 5)`` cycles, ``("light", 1e6)`` lx h.
    pots, pot_share : optional
        Which swatches lay in one bath, and how much of the variation they shared in it; see
        `noise.swatch_doses`. One row a swatch, so `replicates` must be 1.
    cloth : Cloth
        The world; `varied(seed)` draws others.

    Returns
    -------
    Synth
        The covariances of `wide` are those of the reading alone; what swatches add is for
        their replicates to tell.
    """
    rng = np.random.default_rng(seed)
    swatches = _replicated(filled(recipes), replicates)
    worked = noise.swatch_doses(swatches, swatch_sd, rng, pots=pots, share=pot_share)
    parts = [("none", 0.0), *exposures]
    true = [faded(swatches, *part, cloth=cloth) for part in parts]
    weave = noise.weave_levels(len(swatches), swatch_sd, np.random.default_rng(rng.integers(2**32)))
    cloths = [noise.at_level(faded(worked, *part, cloth=cloth), weave) for part in parts]
    log = pd.concat([_log(swatches, *part) for part in parts], ignore_index=True)
    read = noise.read_spectra(np.concatenate(cloths), reading_sd, rng)
    wide = readings(log, read, reading_sd).merge(swatches, on="swatch")
    return Synth(swatches, wide, _spectral(log, read), _truth(log, np.concatenate(true)), cloth)


def _replicated(recipes: pd.DataFrame, replicates: int) -> pd.DataFrame:
    if replicates == 1:
        return recipes.reset_index(drop=True)
    many = recipes.loc[recipes.index.repeat(replicates)].reset_index(drop=True)
    turn = np.tile(np.arange(1, replicates + 1), len(recipes)).astype(str)
    return many.assign(swatch=many["swatch"].str.cat(turn, sep="."))


def _log(swatches: pd.DataFrame, exposure: str, amount: float) -> pd.DataFrame:
    """One row a reading to be taken: what was exposed, and how long."""
    endings = {"none": "", "wash": f"-w{amount:g}", "light": f"-l{amount / 1e6:g}"}
    return pd.DataFrame(
        {
            "reading": swatches["swatch"] + endings[exposure],
            "swatch": swatches["swatch"],
            "exposure": exposure,
            "amount": amount,
            "unit": _UNITS.get(exposure, ""),
        }
    )


def _lab(reflectance: np.ndarray) -> np.ndarray:
    from dyelab import convert

    illuminant, observer = table.DEFAULT_WHITE
    return convert.spectrum_to_lab(
        WAVELENGTHS, reflectance, illuminant=illuminant, observer=observer
    )


_FIXED: dict[str, Any] = {
    **{"part": "swatch", "area": "whole", "method": "spectral", "source": "invented"},
    **table.NOT_STATED,
    **{"geometry": "45/0", "n": 1, "flags": "", "test": "", "taken_at": ""},
    **dict(zip(table.WHITE, table.DEFAULT_WHITE, strict=True)),
}


def readings(log: pd.DataFrame, read: np.ndarray, reading_sd: float) -> pd.DataFrame:
    """Return rows of `table.READINGS` for spectra as read, with the instrument's covariances.

    Parameters
    ----------
    log : DataFrame
        `reading, swatch, exposure, amount, unit`, and what shall differ from a plain spectral
        reading of the whole swatch.
    read : ndarray, shape (n, k)
    reading_sd : float

    Returns
    -------
    DataFrame
    """
    plain = {name: value for name, value in _FIXED.items() if name not in log}
    lab = dict(zip(table.LAB, _lab(read).T, strict=True))
    covariances = noise.reading_covariances(read, reading_sd, _lab)
    return table.with_covariances(log.assign(**plain, **lab), covariances)[table.READINGS.names]


def _spectral(log: pd.DataFrame, read: np.ndarray) -> pd.DataFrame:
    return pd.concat([log[["reading"]], pd.DataFrame(read, columns=BANDS)], axis=1)


def _truth(log: pd.DataFrame, true: np.ndarray) -> pd.DataFrame:
    lab = pd.DataFrame(_lab(true), columns=table.LAB)
    bands = pd.DataFrame(true, columns=BANDS)
    return pd.concat([log[["reading", "swatch"]], lab, bands], axis=1)
