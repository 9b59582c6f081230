"""What washing and light take away, and what the neighbour picks up.

Washing is two-rate: a loose share goes within a cycle or two, the rest slowly. Light breaks
dye at a rate that depends on the metal that holds it, fast for a loose part and slowly for the
rest (fast then slow is one of the shapes of fading that Giles described). Broken dye leaves
something yellow-brown behind; iron-tannate hardly goes, so that iron shades turn grey. All
rates are invented; their order is the published one: aluminium lets the dye fade soonest, then
iron, copper last.
"""

from dataclasses import replace

import numpy as np
import pandas as pd

from dyelab.errors import choose
from worlds.synth.materials import CLOTH, Cloth
from worlds.synth.model import BOUND, Uptake, of, seen, uptake
from worlds.synth.spectra import WAVELENGTHS

LAMP_LUX = 60_000.0
# Dose in lx h to a just noticeable fade of blue wool references 1 to 8, light with UV:
# CIE 157:2004, from memory.
REFERENCE_DOSE = (0.22e6, 0.6e6, 1.5e6, 3.5e6, 8e6, 20e6, 50e6, 120e6)

# Broken share per Mlx h for the quick and the slow part, and the quick part's share.
_QUICK, _SLOW, _QUICK_SHARE = 0.16, 0.018, 0.35
_LIGHT = dict(zip(BOUND, (1.0, 1.25, 0.5, 0.3), strict=True))
_TANNIN_LIGHT, _TANNATE_LIGHT = 0.25, 0.10
_LEFT_BROWN = dict(zip(BOUND, (1.0, 1.3, 0.5, 0.6), strict=True))
# Loose share that a metal leaves, of what would be loose without it; speeds per cycle.
_HELD = dict(zip(BOUND, (1.0, 0.45, 0.25, 0.25), strict=True))
_LOOSE_RATE, _FAST_RATE = 0.9, 0.012
# Share of a blue wool reference's dye that is gone when its fade is just noticed.
_NOTICED = 0.106


def light_dose(amount: np.ndarray | float, unit: str = "lx h") -> np.ndarray:
    """Exposure in Mlx h from lx h, hours under the studio's lamp, or blue wool steps.

    Raises
    ------
    InputError
        If the unit isn't one of these.
    """
    choose(unit, ["lx h", "h", "reference step"], "unit", "for light")
    amount = np.asarray(amount, float)
    if unit == "reference step":
        steps = np.arange(len(REFERENCE_DOSE) + 1)
        return np.expm1(np.interp(amount, steps, np.log1p([0, *REFERENCE_DOSE]))) / 1e6
    return amount * (LAMP_LUX if unit == "h" else 1.0) / 1e6


def _kept_in_light(dose: np.ndarray, speed: np.ndarray | float) -> np.ndarray:
    quick = _QUICK_SHARE * np.exp(-_QUICK * speed * dose)
    return quick + (1 - _QUICK_SHARE) * np.exp(-_SLOW * speed * dose)


def _kept_in_wash(cycles: np.ndarray, loose: np.ndarray | float) -> np.ndarray:
    fast = (1 - loose) * np.exp(-_FAST_RATE * cycles)
    return fast + loose * np.exp(-_LOOSE_RATE * cycles)


def _lit(amounts: Uptake, dose: np.ndarray, cloth: Cloth) -> Uptake:
    speed = of(cloth.dyes, amounts.recipes["dye"], "light")
    kept = np.stack([_kept_in_light(dose, speed * _LIGHT[form]) for form in BOUND], axis=1)
    broken = amounts.dye * (1 - kept)
    brown = broken @ np.array([_LEFT_BROWN[form] for form in BOUND])
    brown = brown * of(cloth.dyes, amounts.recipes["dye"], "metals")
    tannin = _kept_in_light(dose, _TANNIN_LIGHT)
    tannate = _kept_in_light(dose, _TANNATE_LIGHT)
    return replace(
        amounts,
        dye=amounts.dye * kept,
        tannin=amounts.tannin * tannin,
        dye_tannin=amounts.dye_tannin * tannin,
        tannin_copper=amounts.tannin_copper * tannin,
        tannin_iron=amounts.tannin_iron * tannate,
        dye_tannin_iron=amounts.dye_tannin_iron * tannate,
        brown=amounts.brown + brown + amounts.tannin * (1 - tannin) * 0.6,
    )


def _washed(amounts: Uptake, cycles: np.ndarray, cloth: Cloth) -> Uptake:
    r = amounts.recipes
    fibre = of(cloth.fibres, r["fibre"], "slack")
    dye = fibre * of(cloth.dyes, r["dye"], "loose")
    kept = np.stack(
        [_kept_in_wash(cycles, np.minimum(dye * _HELD[form], 0.9)) for form in BOUND], axis=1
    )
    tannin = _kept_in_wash(cycles, np.minimum(0.08 * fibre, 0.9))
    tannate = _kept_in_wash(cycles, np.minimum(0.03 * fibre, 0.9))
    return replace(
        amounts,
        dye=amounts.dye * kept,
        tannin=amounts.tannin * tannin,
        dye_tannin=amounts.dye_tannin * tannin,
        tannin_copper=amounts.tannin_copper * tannate,
        tannin_iron=amounts.tannin_iron * tannate,
        dye_tannin_iron=amounts.dye_tannin_iron * tannate,
        rust=amounts.rust * tannate,
        verdigris=amounts.verdigris * tannin,
    )


def exposed(
    amounts: Uptake,
    exposure: str | np.ndarray,
    amount: float | np.ndarray,
    *,
    unit: str = "",
    cloth: Cloth = CLOTH,
) -> Uptake:
    """Amounts left on the cloth after exposure; see `faded` for the parameters."""
    n = len(amounts.recipes)
    kind = np.broadcast_to(np.asarray(exposure, dtype=object), n)
    dose = np.broadcast_to(np.nan_to_num(np.asarray(amount, float)), n)
    for name in sorted({str(k) for k in kind}):
        choose(name, ["none", "wash", "light"], "exposure", "in this model")
    cycles = np.where(kind == "wash", dose, 0.0)
    light = light_dose(np.where(kind == "light", dose, 0.0), unit if unit else "lx h")
    return _washed(_lit(amounts, light, cloth), cycles, cloth)


def faded(
    recipes: pd.DataFrame,
    exposure: str | np.ndarray,
    amount: float | np.ndarray,
    *,
    unit: str = "",
    cloth: Cloth = CLOTH,
    wavelengths: np.ndarray = WAVELENGTHS,
) -> np.ndarray:
    """True reflectance factors after washing or light, without any noise.

    Parameters
    ----------
    recipes : DataFrame
        One row a swatch, as for `reflectance`.
    exposure : str or array of str, shape (n,)
        `none`, `wash` or `light`.
    amount : float or array, shape (n,)
        Wash cycles; for light the dose, in `unit`.
    unit : str
        For light: `lx h` (the default), `h` under the studio's lamp of 60,000 lx, or
        `reference step` (the dose that just fades that blue wool reference).
    cloth : Cloth
        The invented world.
    wavelengths : ndarray, shape (k,)
        In nm.

    Returns
    -------
    ndarray, shape (n, k)

    Raises
    ------
    InputError
        If a material, exposure or unit isn't one the model knows.
    """
    left = exposed(uptake(recipes, cloth=cloth), exposure, amount, unit=unit, cloth=cloth)
    return seen(left, cloth=cloth, wavelengths=wavelengths)


def stained(
    recipes: pd.DataFrame,
    adjacent: str | np.ndarray,
    cycles: float | np.ndarray,
    *,
    cloth: Cloth = CLOTH,
    wavelengths: np.ndarray = WAVELENGTHS,
) -> np.ndarray:
    """True reflectance factors of undyed cloth washed together with the swatch.

    Parameters
    ----------
    recipes : DataFrame
        One row a swatch, as for `reflectance`.
    adjacent : str or array of str, shape (n,)
        Fibre of the undyed cloth beside it.
    cycles : float or array, shape (n,)
        Wash cycles; 0 gives the clean cloth.
    cloth, wavelengths
        As for `faded`.

    Returns
    -------
    ndarray, shape (n, k)
    """
    before = uptake(recipes, cloth=cloth)
    after = exposed(before, "wash", cycles, cloth=cloth)
    fibre = pd.Series(np.broadcast_to(np.asarray(adjacent, dtype=object), len(recipes)))
    bare_cloth = before.recipes.assign(
        fibre=fibre.to_numpy(), tannin="none", mordant="none", iron_wof=0.0, copper_wof=0.0
    )
    beside = uptake(bare_cloth, cloth=cloth)
    bare = of(cloth.fibres, beside.recipes["fibre"], "bare")
    lost = (before.dye - after.dye).sum(axis=1) * 0.5 * bare
    picked = beside.dye.copy()
    picked[:, 0] = lost
    return seen(replace(beside, dye=picked), cloth=cloth, wavelengths=wavelengths)


def blue_wool(
    reference: int | np.ndarray, dose: float | np.ndarray, *, wavelengths: np.ndarray = WAVELENGTHS
) -> np.ndarray:
    """Invented spectra of blue wool references after light.

    Parameters
    ----------
    reference : int or array, shape (n,)
        1 (fades soonest) to 8.
    dose : float or array, shape (n,)
        In lx h. At the dose of `REFERENCE_DOSE` the change is near grey scale grade 4.
    wavelengths : ndarray, shape (k,)
        In nm.

    Returns
    -------
    ndarray, shape (n, k)
    """
    step, light = np.broadcast_arrays(np.atleast_1d(reference), np.atleast_1d(dose))
    noticed = np.array(REFERENCE_DOSE)[step - 1]
    amount = (0.30 + 0.01 * step) * (1 - _NOTICED) ** (light / noticed)
    wool = pd.DataFrame({"fibre": ["wool"] * len(step)})
    held = uptake(wool.assign(dye="indigo", dye_wof=1.0))
    return seen(replace(held, dye=np.outer(amount, [1.0, 0, 0, 0])), wavelengths=wavelengths)
