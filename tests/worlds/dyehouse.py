"""A dyehouse built from other laws than `worlds.synth`, to hold claims against. All of it invented.

Laws, by the names they go by in the literature (from memory; nothing is transcribed):

- Tannin on fibre: Freundlich (1906), q = K c^n. Aluminium: Langmuir (1918). Dye on mordanted
  cloth: competing Langmuir isotherms for sites with and without a metal (Butler and Ockrent 1930).
  Indigo and what stains bare fibre: Nernst (1891), q = K c. Iron: Freundlich as well.
- Bands: lognormal over wavenumber, steep to the red and tailing to the blue (Siano and Metzler
  1969), not sums of Gaussians.
- Cloth: Kubelka and Munk (1931) with a scattering that falls with wavelength, then light sent
  back by the surface and kept inside by it (Saunderson 1942), `surface` giving both.
- `rivalry`: dye and tannin compete for iron; 0 makes the world additive in K/S but for surface.
- Pots: each bath has a strength of its own for each step it gives; what is left is the swatch's.
  A round has its water. Some swatches are outliers, some baths were weighed wrong.

Everything is computed for `books` dyeings of one list of swatches at once.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from dyelab import convert, table

BANDS = np.arange(400.0, 701.0, 10.0)
STEPS = ("tannin", "mordant", "dye", "iron", "copper")
# Peak wavelength, width (1/cm) and steepness of each form's bands, with their strength.
FORMS: dict[str, list[tuple[float, float, float, float]]] = {
    "madder": [(430, 3800, 1.5, 0.35)],
    "madder+alum": [(508, 4300, 1.35, 1.0), (430, 4000, 1.4, 0.8)],
    "madder+iron": [(560, 7200, 1.3, 1.0), (425, 4500, 1.4, 0.6)],
    "weld": [(405, 4200, 1.4, 0.5)],
    "weld+alum": [(428, 3600, 1.35, 1.1)],
    "weld+iron": [(440, 7600, 1.4, 1.2)],
    "logwood": [(450, 4400, 1.4, 0.5)],
    "logwood+alum": [(565, 4700, 1.3, 1.2)],
    "logwood+iron": [(600, 8000, 1.25, 1.5)],
    "indigo": [(648, 4200, 1.25, 1.6), (400, 4000, 1.4, 0.3)],
    "tannin": [(415, 6000, 1.4, 0.16)],
    "tannin+iron": [(570, 9500, 1.3, 0.9)],
    "rust": [(430, 6000, 1.4, 0.7)],
    "verdigris": [(690, 4600, 1.2, 0.12)],
}
FIBRE = {"wool": (0.055, 75.0), "cotton": (0.012, 60.0), "silk": (0.03, 70.0)}


@dataclass(frozen=True)
class Dyed:
    """What `dye` returns: swatches n, books B, bands k."""

    lab: np.ndarray  # (B, n, 3) as read
    spectra: np.ndarray  # (B, n, k) as read
    truth: np.ndarray  # (n, 3) expected colour of each swatch's recipe, by many pots
    parts: dict[str, np.ndarray]  # K/S of the recipes as meant, part by part, (n, k)


def band(peak: float, width: float, skew: float) -> np.ndarray:
    """Lognormal band over wavenumber, height 1 (Siano and Metzler 1969)."""
    at, top = 1e7 / BANDS, 1e7 / peak
    inner = 1 + (at - top) * (skew**2 - 1) / (width * skew)
    safe = np.maximum(inner, 1e-12)
    shape = np.exp(-np.log(2) / np.log(skew) ** 2 * np.log(safe) ** 2)
    return np.where(inner > 0, shape, 0.0)


SPECTRA = {
    name: sum(height * band(peak, width, skew) for peak, width, skew, height in bands)
    for name, bands in FORMS.items()
}


def doses(recipes: pd.DataFrame) -> np.ndarray:
    """Doses in the order of `STEPS`, (n, 5)."""
    names = [f"{step}_wof" for step in STEPS]
    return np.stack(
        [recipes.get(n, pd.Series(0.0, recipes.index)).to_numpy(float) for n in names]
    ).T


def errors(
    recipes: pd.DataFrame,
    books: int,
    rng: np.random.Generator,
    *,
    sd: float | np.ndarray = 0.1,
    pot_share: float = 0.5,
    round_share: float = 0.0,
    outliers: float = 0.0,
    wrong: float = 0.0,
) -> np.ndarray:
    """Logarithm of each effective dose's error, (B, n, 5).

    Baths are the columns `bath_tannin` … of `recipes`; a blank one is the swatch's own. `sd` may
    differ from swatch to swatch. `outliers` is the share of swatches four times as far off,
    `wrong` that of baths weighed a quarter too much or too little.
    """
    n = len(recipes)
    found = np.zeros((books, n, len(STEPS)))
    turns = pd.factorize(recipes.get("round", pd.Series(0, recipes.index)))[0]
    for i, step in enumerate(STEPS):
        named = recipes.get(f"bath_{step}", pd.Series("", recipes.index)).astype(str).to_numpy()
        own = np.array([name or f" {at}" for at, name in enumerate(named)])
        pot = np.unique(own, return_inverse=True)[1]
        common = rng.normal(size=(books, pot.max() + 1))[:, pot]
        water = rng.normal(size=(books, turns.max() + 1))[:, turns]
        alone = rng.normal(size=(books, n)) * np.where(rng.random((books, n)) < outliers, 4.0, 1.0)
        rest = max(1 - pot_share - round_share, 0.0)
        mixed = np.sqrt(pot_share) * common + np.sqrt(round_share) * water + np.sqrt(rest) * alone
        off = np.log(rng.choice([0.75, 1.25], (books, pot.max() + 1)))
        off = np.where(rng.random(off.shape) < wrong, off, 0.0)[:, pot]
        found[:, :, i] = mixed * sd + off
    return found


def k_over_s(
    recipes: pd.DataFrame, given: np.ndarray, rivalry: float = 0.0
) -> dict[str, np.ndarray]:
    """K/S by part for doses as they took effect (…, n, 5): each (…, n, k)."""
    tannin, alum, dye, iron, copper = np.moveaxis(given, -1, 0)
    wool = recipes["fibre"].isin(["wool", "silk"]).to_numpy()
    held = np.where(wool, 0.42, 0.5) * tannin**0.55  # Freundlich
    sites = np.where(wool, 1.0, 0.55) * alum / (alum + 6.0) + np.where(alum > 0, 0.1 * held, 0.0)
    metal = np.where(wool, 0.5, 0.4) * iron**0.6  # Freundlich
    green = 0.4 * copper**0.6
    to_dye = metal * (1 - rivalry * held / (held + 0.8))
    rich = dye / USUAL.reindex(recipes["dye"]).to_numpy()
    shared = 1 + 1.6 * rich * (sites > 0)
    bound = np.where(sites > 0, 1.6 * rich * sites / shared, 0.0) * 3.2
    bare = 0.5 * rich * np.where(wool, 1.0, 0.5)  # Nernst
    taken = to_dye / (to_dye + 0.5)
    to_tannin = metal * (1 - rivalry * rich / (rich + 0.8))
    rusty = to_tannin / (to_tannin + 0.35)
    names = recipes["dye"].to_numpy()
    vat = names == "indigo"

    def of(suffix: str) -> np.ndarray:
        return np.array([SPECTRA.get(f"{n}{suffix}", np.zeros(len(BANDS))) for n in names])

    alone = np.where(vat, 4.0 * rich, bare)[..., None] * of("")
    complexed = (bound * (1 - taken))[..., None] * of("+alum")
    dark = ((bound + 0.6 * bare * ~vat) * taken)[..., None] * of("+iron")
    copperish = (0.12 * bound * green)[..., None] * of("+iron")
    edges = np.array([FIBRE[f] for f in recipes["fibre"]])
    cloth = edges[:, :1] * np.exp(-(BANDS - 400) / edges[:, 1:]) + 0.004
    return {
        "fibre": np.broadcast_to(cloth, (*given.shape[:-1], len(BANDS))),
        "fibre_metal": metal[..., None] * (0.35 * SPECTRA["rust"])
        + green[..., None] * SPECTRA["verdigris"],
        "tannin": (held * (1 - rusty))[..., None] * SPECTRA["tannin"],
        "tannin_iron": (held * rusty)[..., None] * SPECTRA["tannin+iron"],
        "dye": alone * (1 - np.where(vat, 0, 0.6 * taken))[..., None] + complexed,
        "dye_metal": dark + copperish,
    }


USUAL = pd.Series({"madder": 50.0, "weld": 50.0, "logwood": 20.0, "indigo": 4.0, "none": 1.0})
_SCATTER = (BANDS / 550.0) ** -0.6


def reflectance(parts: dict[str, np.ndarray], surface: float = 0.0) -> np.ndarray:
    """Reflectance factors of K/S given part by part.

    `surface` is the share that the fibre's surface sends back; the inside keeps ten times as much
    of what comes out (Saunderson 1942).
    """
    ks = sum(parts.values()) / _SCATTER
    inside = 1 + ks - np.sqrt(ks**2 + 2 * ks)
    back = min(10 * surface, 0.6)
    return surface + (1 - surface) * (1 - back) * inside / (1 - back * inside)


def dye(
    recipes: pd.DataFrame,
    books: int = 400,
    seed: int = 0,
    *,
    surface: float = 0.0,
    rivalry: float = 0.0,
    reading_sd: float = 0.004,
    truth_draws: int = 200,
    **noise,
) -> Dyed:
    """Dye one list of swatches in so many books, and read them.

    Parameters
    ----------
    recipes : DataFrame
        One row a swatch: fibre, dye, the doses `tannin_wof` … `copper_wof`, and where baths are
        shared `bath_tannin` …, `round`.
    noise
        As for `errors`.
    """
    rng = np.random.default_rng(seed)
    recipes = recipes.reset_index(drop=True)
    meant = doses(recipes)
    off = errors(recipes, books, rng, **noise)
    worked = k_over_s(recipes, meant * np.exp(off), rivalry)
    seen = reflectance(worked, surface)
    level = rng.normal(size=(*seen.shape[:2], 1)) + 0.4 * rng.normal(size=seen.shape)
    read = seen * (1 + reading_sd * level / 1.08)
    many = errors(recipes, truth_draws, rng, **noise)
    drawn = lab_of(reflectance(k_over_s(recipes, meant * np.exp(many), rivalry), surface))
    return Dyed(lab_of(read), read, _by_recipe(drawn, recipes), k_over_s(recipes, meant, rivalry))


def _by_recipe(drawn: np.ndarray, recipes: pd.DataFrame) -> np.ndarray:
    """Mean colour of each recipe over all its swatches and draws, (n, 3)."""
    key = recipes[["fibre", "dye", *[c for c in recipes if c.endswith("_wof")]]]
    group = key.groupby(list(key), sort=False, dropna=False).ngroup().to_numpy()
    means = drawn.mean(axis=0)
    return np.array([means[group == g].mean(axis=0) for g in range(group.max() + 1)])[group]


def lab_of(spectra: np.ndarray) -> np.ndarray:
    """CIELAB, D65/10°, of (…, k) reflectance factors."""
    flat = convert.spectrum_to_lab(BANDS, spectra.reshape(-1, len(BANDS)))
    return flat.reshape(*spectra.shape[:-1], 3)


def frame(recipes: pd.DataFrame, dyed: Dyed, recorded: float = 1.0, seed: int = 0) -> pd.DataFrame:
    """All books as one table for `compare.gather`: variant, swatch, series (the book), baths.

    `recorded` is the share of the bath names that were written down.
    """
    books, n = dyed.lab.shape[:2]
    key = recipes[["fibre", "dye", *[c for c in recipes if c.endswith("_wof")]]]
    if "arm" in recipes:  # equal recipes that are told apart all the same
        key = key.assign(arm=recipes["arm"])
    recipe = key.groupby(list(key), sort=False, dropna=False).ngroup().to_numpy()
    rng = np.random.default_rng(seed)
    said = np.full((books, n), "", object)
    for step in STEPS:
        names = recipes.get(f"bath_{step}", pd.Series("", recipes.index)).astype(str).to_numpy()
        has = recipes.get(f"{step}_wof", pd.Series(0.0, recipes.index)).to_numpy(float) > 0
        if not has.any():
            continue
        kind = step if step in ("tannin", "mordant", "dye") else "modifier"
        known = rng.random((books, n)) < recorded
        text = np.where(known, names[None, :], "")
        said = np.where(has, said + " " + kind + "=" + text.astype(object), said)
    book = np.repeat(np.arange(books), n)
    made = pd.DataFrame(dyed.lab.reshape(-1, 3), columns=table.LAB)
    return made.assign(
        series=book,
        recipe=np.tile(recipe, books),
        variant=book * (recipe.max() + 1) + np.tile(recipe, books),
        swatch=np.arange(books * n),
        baths=said.ravel(),
        illuminant="D65",
        observer=10,
    )
