"""Sums on weight of fibre: weigh-outs, water, stock solutions, cloth, and metal."""

from pathlib import Path

import numpy as np
import pandas as pd

from dyelab import words
from dyelab.errors import InputError
from dyelab.recipe import materials

_LITTLE = 0.5  # g: less is not weighed on a kitchen scale (common practice of the trade)


def _positive(value: float, what: str, remedy: str) -> float:
    if not np.isfinite(value) or value <= 0:
        raise InputError(f"{what} = {value:g} is not above 0. {remedy}")
    return float(value)


def _not_negative(value: float, what: str) -> float:
    if not np.isfinite(value) or value < 0:
        raise InputError(f"{what} = {value:g} is below 0. Write how much was used; 0 for none.")
    return float(value)


def grams(wof: float, fibre_g: float) -> float:
    """Grams to weigh out for a dose in % WOF (per cent of the dry weight of fibre).

    Raises
    ------
    InputError
        If the dose is negative or there is no fibre.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.grams(15, 200)
    30.0
    """
    fibre = _positive(fibre_g, "fibre, g", "Weigh the dry fibre.")
    return _not_negative(wof, "dose, % WOF") * fibre / 100


def wof(weighed_g: float, fibre_g: float) -> float:
    """Dose in % WOF from what was really weighed. Raises as `grams`.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.wof(12, 80)
    15.0
    """
    fibre = _positive(fibre_g, "fibre, g", "Weigh the dry fibre.")
    return 100 * _not_negative(weighed_g, "weighed, g") / fibre


def water_L(fibre_g: float, liquor_ratio: float) -> float:
    """Litres of bath for a liquor ratio 1 : `liquor_ratio` (litres per kg of dry fibre).

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.water_L(250, 30)
    7.5
    """
    ratio = _positive(liquor_ratio, "liquor ratio", "Write 30 for 1 : 30.")
    return _positive(fibre_g, "fibre, g", "Weigh the dry fibre.") * ratio / 1000


def bath_wof(g_per_L: float, liquor_ratio: float) -> float:
    """Dose in % WOF of a bath of a concentration in g/L at a liquor ratio in L/kg.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.bath_wof(5, 30)
    15.0
    """
    return _not_negative(g_per_L, "concentration, g/L") * liquor_ratio / 10


def stock_ml(wanted_g: float, stock_percent: float) -> float:
    """Millilitres of stock solution that hold so many grams.

    Parameters
    ----------
    wanted_g : float
        Grams of the material.
    stock_percent : float
        Strength of the stock, grams in 100 mL.

    Raises
    ------
    InputError
        If the strength is not above 0.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.stock_ml(40, 10)
    400.0
    """
    strength = _positive(stock_percent, "stock, g in 100 mL", "Write 10 for a 10 % stock.")
    return 100 * _not_negative(wanted_g, "wanted, g") / strength


# Grams that 100 mL of water of about 20 °C take up (handbook values, from memory, rounded down);
# what isn't there dissolves in any strength that a dyer makes.
_ROWS = pd.read_csv(Path(__file__).with_name("solubility.csv"))
_DISSOLVES: dict[str, float] = dict(zip(_ROWS["material"], _ROWS["g_per_100mL"], strict=True))


def no_stock(material: str, stock_percent: float, listed: pd.DataFrame | None = None) -> str:
    """Say why there is no stock solution of a material at a strength; blank where there is.

    Parameters
    ----------
    material : str
    stock_percent : float
        Grams in 100 mL.
    listed : DataFrame, optional
        The materials list. Of plants and vats without ``extract`` or ``acid`` in their name none
        dissolves.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.no_stock("potash alum", 20)
    'No more than about 11 g of potash alum dissolve in 100 mL of water at...
    """
    row = materials.find(material, listed)
    name, plant = str(row["material"]), row["role"] in ("dye", "tannin", "vat")
    whole = plant and not {"extract", "acid"} & set(name.split())
    most = 0.0 if whole else _DISSOLVES.get(name, 100.0)
    if stock_percent <= most:
        return ""
    key = "no_stock_plant" if whole else "no_stock_so_strong" if most >= 1 else "no_stock"
    return words.say(f"recipe.{key}", material=name, most=f"{most:g}")


def how_to_measure(material: str, grams: float, listed: pd.DataFrame | None = None) -> str:
    """Say how to measure what is too little to weigh; blank where it isn't, or won't dissolve.

    Blank as well where the material isn't listed: nobody knows whether it dissolves.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.how_to_measure("ferrous sulfate", 0.05)
    'ferrous sulfate, 0.05 g: too little to weigh. Dissolve 1 g, make up...
    """
    if not 0 < grams < _LITTLE:
        return ""
    try:
        if no_stock(material, 1.0, listed):
            return ""
    except InputError:
        return ""
    ml = f"{stock_ml(grams, 1.0):.1f}"
    return words.say("recipe.measured_out", material=material, grams=f"{grams:.2g}", ml=ml)


def diluted_ml(volume_ml: float, strength: float, stock_strength: float) -> tuple[float, float]:
    """Millilitres of stock and of water that make a weaker solution.

    Strengths are in one unit of your choice, such as g/L.

    Raises
    ------
    InputError
        If the stock is weaker than what is wanted.

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.diluted_ml(500, 4, 100)
    (20.0, 480.0)
    """
    stock = _positive(stock_strength, "stock strength", "State what the stock holds.")
    if strength > stock:
        raise InputError(
            f"a stock of {stock:g} can't be diluted to {strength:g}. Make a stronger stock, "
            "or weigh out the powder."
        )
    needed = _positive(volume_ml, "volume, mL", "State the volume wanted.") * strength / stock
    return needed, volume_ml - needed


def cloth_g(width_cm: float, length_cm: float, g_per_m2: float, pieces: int = 1) -> float:
    """Mass of pieces of cloth, in g, from their size and the cloth's weight in g/m².

    Examples
    --------
    >>> from dyelab import recipe
    >>> recipe.cloth_g(150, 200, 140, pieces=3)
    1260.0
    """
    remedy = "Measure the piece in centimetres; the weight is on the bolt, or weigh a square."
    area = _positive(width_cm, "width, cm", remedy) * _positive(length_cm, "length, cm", remedy)
    return pieces * area / 10_000 * _positive(g_per_m2, "weight, g/m²", remedy)


def metal_wof(material: str, dose_wof: float, listed: pd.DataFrame | None = None) -> float:
    """Metal given to the fibre, in % WOF of the metal itself, by a dose of a salt.

    Raises
    ------
    InputError
        If the material is unknown, or holds no stated metal.

    Examples
    --------
    >>> from dyelab import recipe
    >>> round(recipe.metal_wof("ferrous sulfate", 2), 2)
    0.4
    """
    return _not_negative(dose_wof, "dose, % WOF") * _metal_share(material, listed) / 100


def _metal_share(material: str, listed: pd.DataFrame | None) -> float:
    row = materials.find(material, listed)
    if not np.isfinite(row["metal_percent"]):
        raise InputError(
            f"{material!r} has no stated metal. Add it to the book's materials with its "
            "metal and metal_percent, as the label or the maker states."
        )
    return float(row["metal_percent"])


def exchange(
    dose_wof: float, material: str, wanted: str, listed: pd.DataFrame | None = None
) -> tuple[float, str]:
    """Dose of another salt that brings the same metal.

    Parameters
    ----------
    dose_wof : float
        % WOF of `material`.
    material, wanted : str
        Two salts of one metal, by any of their names.
    listed : DataFrame, optional
        The materials list; by default the one that ships.

    Returns
    -------
    dose : float
        % WOF of `wanted`.
    caution : str
        What equal metal doesn't promise.

    Raises
    ------
    InputError
        If the two hold different metals.

    Examples
    --------
    >>> from dyelab import recipe
    >>> dose, caution = recipe.exchange(15, "potash alum", "aluminium sulfate 18-hydrate")
    >>> round(dose, 2)
    10.54
    """
    one, two = materials.find(material, listed), materials.find(wanted, listed)
    if one["metal"] != two["metal"] or not one["metal"]:
        names = [f"{row['material']} ({row['metal'] or 'no metal'})" for row in (one, two)]
        raise InputError(
            f"{' can not stand in for '.join(reversed(names))}: they hold different metals. "
            "Choose two salts of one metal."
        )
    dose = dose_wof * _metal_share(material, listed) / _metal_share(wanted, listed)
    return dose, words.say("recipe.exchange", metal=str(one["metal"]))
