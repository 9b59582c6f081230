"""From a recipe to the reflectance of the cloth: uptake, complexes, Kubelka-Munk mixing.

The model is physical and its numbers are invented:

1. Tannin, aluminium, iron, copper and dye are taken up with saturation (Langmuir): the dose
   divided by the dose plus a half-dose, times the room the fibre has. Metals open room for dye;
   tannin helps cellulose to hold aluminium.
2. Dye and tannin bind the metals, again with saturation. Each dye exists free or bound to
   aluminium, iron or copper; each tannin free or bound to iron or copper. What the metals leave
   on bare fibre is iron buff and a faint copper green. A vat dye binds no metal.
3. Every one of these forms has an absorption spectrum, a sum of bands smooth in wavenumber.
   K/S of the cloth is K/S of the fibre plus the sum of amount times spectrum (single-constant
   Kubelka-Munk mixing). Iron and tannin without any dye give grey by this sum, not by a rule.
4. Reflectance follows from K/S, plus a small share sent back by the fibre's surface.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from dyelab.errors import InputError, choose
from worlds.synth.materials import ALUMINIUM, CLOTH, Cloth
from worlds.synth.spectra import WAVELENGTHS, absorption, body_reflectance, with_surface

TEXT = {"fibre": "wool", "tannin": "none", "mordant": "none", "dye": "none"}
DOSES = ("tannin_wof", "mordant_wof", "dye_wof", "iron_wof", "copper_wof")
BOUND = ("free", "alum", "iron", "copper")


@dataclass(frozen=True)
class Uptake:
    """What a cloth holds, each of shape (n,) but `dye`, (n, 4) in the order of `BOUND`."""

    recipes: pd.DataFrame
    tannin: np.ndarray
    tannin_iron: np.ndarray
    tannin_copper: np.ndarray
    dye: np.ndarray
    dye_tannin: np.ndarray
    dye_tannin_iron: np.ndarray
    rust: np.ndarray
    verdigris: np.ndarray
    brown: np.ndarray


def whole_recipes(recipes: pd.DataFrame, cloth: Cloth = CLOTH) -> pd.DataFrame:
    """Return the recipes with every column the model needs; what is blank is absent or 0.

    Raises
    ------
    InputError
        If a fibre, tannin, mordant or dye isn't one the model knows, or a dose is negative.
    """
    known = {
        "fibre": list(cloth.fibres),
        "tannin": list(cloth.tannins),
        "mordant": ["none", "ferrous sulfate", "copper sulfate", *ALUMINIUM],
        "dye": list(cloth.dyes),
    }
    full = pd.DataFrame(index=recipes.index)
    for name, absent in TEXT.items():
        cells = recipes.get(name, pd.Series(absent, index=recipes.index))
        full[name] = cells.fillna(absent).replace("", absent).astype(str)
        for value in full[name].unique():
            choose(value, known[name], name, "in this model")
    for name in DOSES:
        cells = recipes.get(name, pd.Series(0.0, index=recipes.index))
        full[name] = pd.to_numeric(cells).fillna(0.0).astype(float)
        if (full[name] < 0).any():
            least = full[name].min()
            raise InputError(f"{name} = {least:g} is below 0 % WOF. Give 0 where there is none.")
    return full


def taken(dose: np.ndarray, half: np.ndarray | float) -> np.ndarray:
    """Share of the room that is filled, 0 to 1 (Langmuir)."""
    return dose / (dose + half)


def of(table: dict, names: pd.Series, field: str) -> np.ndarray:
    """One property of the material that each row names, shape (n,)."""
    return names.map({name: getattr(item, field) for name, item in table.items()}).to_numpy(float)


def uptake(recipes: pd.DataFrame, *, cloth: Cloth = CLOTH) -> Uptake:
    """Amounts of every coloured form on the cloth.

    Parameters
    ----------
    recipes : DataFrame
        Columns `fibre, tannin, tannin_wof, mordant, mordant_wof, dye, dye_wof, iron_wof,
        copper_wof`; missing ones count as none. Doses in % WOF of the salt or dyestuff.
    cloth : Cloth
        The invented world.

    Returns
    -------
    Uptake
    """
    r = whole_recipes(recipes, cloth)
    tannin = _tannin(r, cloth)
    iron = of(cloth.fibres, r["fibre"], "iron") * taken(r["iron_wof"].to_numpy(), cloth.iron_half)
    copper = of(cloth.fibres, r["fibre"], "copper") * taken(
        r["copper_wof"].to_numpy(), cloth.copper_half
    )
    alum = _aluminium(r, tannin, cloth)
    dye = _dye(r, alum + 0.7 * (iron + copper) + 0.2 * tannin, cloth)
    iron_dye = iron * (1 - cloth.rivalry * taken(tannin, 0.5))
    iron_tannin = iron * (1 - cloth.rivalry * taken(dye, 0.5))
    own = dye * of(cloth.dyes, r["dye"], "tannin")
    on_iron = taken(iron_tannin, cloth.iron_on_tannin)
    on_copper = taken(copper, cloth.copper_on_tannin) * (1 - on_iron)
    return Uptake(
        recipes=r,
        tannin=tannin * (1 - on_iron - on_copper),
        tannin_iron=tannin * on_iron,
        tannin_copper=tannin * on_copper,
        dye=_bound(r, dye, alum, iron_dye, copper, cloth),
        dye_tannin=own * (1 - taken(iron_dye, cloth.iron_on_tannin)),
        dye_tannin_iron=own * taken(iron_dye, cloth.iron_on_tannin),
        rust=iron * of(cloth.fibres, r["fibre"], "rust"),
        verdigris=copper * of(cloth.fibres, r["fibre"], "verdigris"),
        brown=np.zeros(len(r)),
    )


def _tannin(r: pd.DataFrame, cloth: Cloth) -> np.ndarray:
    filled = taken(r["tannin_wof"].to_numpy(), of(cloth.tannins, r["tannin"], "half"))
    return np.where(r["tannin"] == "none", 0.0, of(cloth.fibres, r["fibre"], "tannin") * filled)


def _aluminium(r: pd.DataFrame, tannin: np.ndarray, cloth: Cloth) -> np.ndarray:
    acetate = (r["mordant"] == "aluminium acetate").to_numpy()
    half = np.where(acetate, cloth.acetate_half, cloth.alum_half)
    room = np.where(
        acetate, of(cloth.fibres, r["fibre"], "acetate"), of(cloth.fibres, r["fibre"], "alum")
    )
    helped = room + cloth.alum_by_tannin * tannin
    filled = helped * taken(r["mordant_wof"].to_numpy(), half)
    return np.where(r["mordant"].isin(ALUMINIUM), filled, 0.0)


def _dye(r: pd.DataFrame, sites: np.ndarray, cloth: Cloth) -> np.ndarray:
    bare = of(cloth.fibres, r["fibre"], "bare")
    bare = bare + (1 - bare) * of(cloth.dyes, r["dye"], "substantive")
    opened = taken(sites, cloth.site) * of(cloth.dyes, r["dye"], "metals")
    room = of(cloth.fibres, r["fibre"], "room") * (bare + (1 - bare) * opened)
    filled = taken(r["dye_wof"].to_numpy(), of(cloth.dyes, r["dye"], "half"))
    return np.where(r["dye"] == "none", 0.0, room * filled)


def _bound(
    r: pd.DataFrame,
    dye: np.ndarray,
    alum: np.ndarray,
    iron: np.ndarray,
    copper: np.ndarray,
    cloth: Cloth,
) -> np.ndarray:
    """Split the dye among its forms: iron and copper first, aluminium takes of the rest."""
    metals = of(cloth.dyes, r["dye"], "metals")
    by_iron, by_copper = iron / cloth.iron_on_dye, copper / cloth.copper_on_dye
    held = metals / (1 + by_iron + by_copper)
    on_iron, on_copper = held * by_iron, held * by_copper
    on_alum = (1 - on_iron - on_copper) * taken(alum, cloth.alum_on_dye) * metals
    shares = np.stack([1 - on_alum - on_iron - on_copper, on_alum, on_iron, on_copper], axis=1)
    return dye[:, None] * shares


def contributions(
    amounts: Uptake, *, cloth: Cloth = CLOTH, wavelengths: np.ndarray = WAVELENGTHS
) -> dict[str, np.ndarray]:
    """K/S of the cloth, part by part; the parts add up to the whole.

    Parameters
    ----------
    amounts : Uptake
        As `uptake` or fading gives them.
    cloth : Cloth
        The invented world.
    wavelengths : ndarray, shape (k,)
        In nm.

    Returns
    -------
    dict of ndarray, shape (n, k)
        `fibre, tannin, tannin_iron, tannin_copper, dye_free, dye_alum, dye_iron, dye_copper,
        fibre_iron, fibre_copper, brown`. Tannin that a dye brings along counts with the dye.
    """
    r, gall = amounts.recipes, cloth.tannins["gallnut"]

    def forms(table: dict, names: pd.Series, field: str) -> np.ndarray:
        spectra = {n: absorption(getattr(item, field), wavelengths) for n, item in table.items()}
        order = pd.Index(list(spectra)).get_indexer(names)
        return np.array(list(spectra.values()))[order]

    parts = {"fibre": _fibre(r["fibre"], cloth, wavelengths)}
    for name, field in (("tannin", "own"), ("tannin_iron", "iron"), ("tannin_copper", "copper")):
        parts[name] = getattr(amounts, name)[:, None] * forms(cloth.tannins, r["tannin"], field)
    for i, bound in enumerate(BOUND):
        parts[f"dye_{bound}"] = amounts.dye[:, i, None] * forms(cloth.dyes, r["dye"], bound)
    parts["dye_free"] += np.outer(amounts.dye_tannin, absorption(gall.own, wavelengths))
    parts["dye_iron"] += np.outer(amounts.dye_tannin_iron, absorption(gall.iron, wavelengths))
    parts["fibre_iron"] = np.outer(amounts.rust, absorption(cloth.rust, wavelengths))
    parts["fibre_copper"] = np.outer(amounts.verdigris, absorption(cloth.verdigris, wavelengths))
    parts["brown"] = np.outer(amounts.brown, absorption(cloth.brown, wavelengths))
    return parts


def _fibre(names: pd.Series, cloth: Cloth, wavelengths: np.ndarray) -> np.ndarray:
    floor, edge, decay = (of(cloth.fibres, names, f)[:, None] for f in ("floor", "edge", "decay"))
    return floor + edge * np.exp(-(np.asarray(wavelengths, float) - 400.0) / decay)


def seen(
    amounts: Uptake, *, cloth: Cloth = CLOTH, wavelengths: np.ndarray = WAVELENGTHS
) -> np.ndarray:
    """Reflectance factors of cloth that holds these amounts, shape (n, k)."""
    ks = np.sum(list(contributions(amounts, cloth=cloth, wavelengths=wavelengths).values()), axis=0)
    surface = of(cloth.fibres, amounts.recipes["fibre"], "surface")
    return with_surface(body_reflectance(ks), surface)


def reflectance(
    recipes: pd.DataFrame, *, cloth: Cloth = CLOTH, wavelengths: np.ndarray = WAVELENGTHS
) -> np.ndarray:
    """True reflectance factors of freshly dyed cloth, without any noise.

    Parameters
    ----------
    recipes : DataFrame
        One row a swatch: `fibre, tannin, tannin_wof, mordant, mordant_wof, dye, dye_wof,
        iron_wof, copper_wof` (see `uptake`); further columns are ignored.
    cloth : Cloth
        The invented world; `synth.varied(seed)` draws others.
    wavelengths : ndarray, shape (k,)
        In nm.

    Returns
    -------
    ndarray, shape (n, k)
        Between 0 and 1.

    Raises
    ------
    InputError
        If a material isn't one the model knows; the message lists those it does.
    """
    return seen(uptake(recipes, cloth=cloth), cloth=cloth, wavelengths=wavelengths)
