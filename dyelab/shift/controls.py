"""What a metal did to the dye, to the tannin and to the fibre, told apart by controls.

A cloth with tannin greys under iron whether it is dyed or not. The same cloth without the dye,
with and without iron, shows the tannin's share; the bare cloth, the fibre's:

    fibre  = bare with iron   - bare
    tannin = (tannin with iron - tannin) - fibre
    dye    = (dyed with iron - dyed) - (tannin with iron - tannin)

Dye and tannin may compete for the metal: then the tannin's share on the dyed cloth is smaller than
the control shows, and the dye's larger. No control can exclude that, so the dye's share is told
as a lower bound, the tannin's and the fibre's as upper ones.

With spectra this is done in K/S at every wavelength, where colorants add up (Kubelka and Munk
1931, single constant); without them in CIELAB, as a difference of differences, which is only
near the truth for small shifts.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dyelab import compare, convert, table, words
from dyelab.errors import InputError, choose
from dyelab.recipe import metals
from dyelab.shift.k_over_s import CellSpectra, cell_spectra, pooled_log_noise
from dyelab.shift.pairs import pairs
from dyelab.shift.recipes import (
    FACTORS,
    METALS,
    Recipes,
    as_dyed,
    recipe_names,
    which_have,
    without_others,
)

PARTS = ("dye", "tannin", "fibre")
_NOTHING = 2.0  # per cent of K/S: with less on tannin and fibre, there is nothing to compete for
# Each part as a sum over cells: dyed with and without metal, tannin alone with and without it,
# bare cloth with and without it.
CELLS = ("dyed with", "dyed", "tannin with", "tannin", "bare with", "bare")
WEIGHTS = {
    "dye": (1, -1, -1, 1, 0, 0),
    "tannin": (0, 0, 1, -1, -1, 1),
    "fibre": (0, 0, 0, 0, 1, -1),
    "naive": (1, -1, 0, 0, 0, 0),
}


@dataclass(frozen=True)
class Separation:
    """A metal's effect, split.

    Attributes
    ----------
    metal, recipe : str
    parts : DataFrame
        Rows dye, tannin, fibre, and naive (all of it put down to the dye). With spectra:
        `ks` (visible sum of the change of K/S), `share` (per cent of the whole change), both
        with `_low` and `_high`: noise of pots, surface and unevenness of the fibres; `bound`
        (``at_least``, ``at_most``, ``no_less``: how far it goes where the parts compete; blank
        where there is nothing to compete), `seen_share` (per cent of the change in ΔE00 that
        is gone from the cloth without that part). Always `dL, da, db`, their `_low`, `_high`,
        `distance` (ΔE*ab), and `moved`: the colour shift of that part alone.
    spectra : DataFrame or None
        `part`, `wavelength`, `ks`, `ks_low`, `ks_high`.
    cells : DataFrame
        The six cloths: `cell`, `recipe`, `swatch`, `pieces`, `L, a, b`, white point; blank
        where missing.
    missing : list of str
        Recipes that would have to be dyed.
    basis : str
        ``K/S`` or ``CIELAB``.
    method : str
        How all the cloths were read; empty where the table doesn't say.
    sentence : str
    """

    metal: str
    recipe: str
    parts: pd.DataFrame
    spectra: pd.DataFrame | None
    cells: pd.DataFrame
    missing: list[str]
    basis: str
    method: str
    sentence: str

    def as_if(self, part: str) -> dict[str, Any]:
        """Colour of the dyed cloth, had the metal worked on this part alone; blank if unknown."""
        start = self.cells.set_index("cell").loc["dyed"]
        moved = self.parts.set_index("part").loc[part, ["dL", "da", "db"]].to_numpy(float)
        lab = start[table.LAB].to_numpy(float) + moved
        return {**dict(zip(table.LAB, lab, strict=True)), **start[table.WHITE].to_dict()}


def separate(
    wide: pd.DataFrame | Recipes,
    metal: str,
    *,
    hold: dict[str, object],
    spectra: pd.DataFrame | None = None,
    dose: float | None = None,
    shared: pd.DataFrame | None = None,
    confidence: float = 0.95,
    draws: int = 2000,
    seed: int = 0,
) -> Separation:
    """Split a metal's effect on a dyed cloth into its effects on dye, tannin and fibre.

    Parameters
    ----------
    wide : DataFrame or Recipes
    metal : str
        One of the table of metals, such as ``iron``.
    hold : dict
        What names the dyed cloth: at least ``dye`` and ``fibre``, mostly ``tannin`` too.
    spectra : DataFrame, optional
        The book's spectra: `reading` and one column a wavelength. Without it, CIELAB.
    dose : float, optional
        % WOF of the metal's salt; the best replicated dose without it.
    shared, confidence
        As for `of_step`.
    draws : int
        Of the noise, for intervals in K/S.
    seed : int

    Returns
    -------
    Separation
        With `missing` filled and parts blank where controls lack.

    Raises
    ------
    InputError
        If the dyed cloth itself, with and without the metal, isn't there.

    Examples
    --------
    >>> from dyelab import book, shift, synth
    >>> bk = book.open(synth.example())
    >>> recipes = shift.as_dyed(book.wide(bk), shared=bk.shared)
    >>> hold = {"fibre": "wool", "dye": "madder", "mordant": "potash alum"}
    >>> found = shift.separate(recipes, "iron", hold=hold, spectra=bk.spectra)
    >>> found.parts["part"].tolist()
    ['dye', 'tannin', 'fibre', 'naive']
    """
    choose(metal, METALS, "metal", "here")
    recipes = wide if isinstance(wide, Recipes) else as_dyed(wide, shared=shared)
    wanted = _cells(recipes, metal, hold, dose)
    rows = np.array([_find(recipes.made, cell) for cell in wanted])
    absent = [cell for cell, row in zip(wanted, rows, strict=True) if row < 0]
    missing = list(dict.fromkeys(recipe_names(pd.DataFrame(absent)))) if absent else []
    cells = _describe(recipes, wanted, rows)
    found = None
    if spectra is not None and len(spectra):
        found = cell_spectra(recipes, rows, spectra)
    if found is None:
        parts, bands, basis = _by_lab(recipes, rows, confidence), None, "CIELAB"
    else:
        noise = pooled_log_noise(found, rows, draws, np.random.default_rng(seed))
        tails = [(1 - confidence) / 2, (1 + confidence) / 2]
        split = _Split(found, noise, table.one_white(recipes.rows), tails)
        possible = _possible(rows)
        parts = _order(pd.DataFrame([split.record(part) for part in possible]))
        parts, basis = _with_shares(parts, split, possible), "K/S"
        bands = pd.concat([split.band(part) for part in possible], ignore_index=True)
    named = recipe_names(pd.DataFrame([wanted[1]]), (metal,))[0]
    method = str(wanted[0].get("method", ""))
    did = _say_change(recipes, metal, rows, named, str(parts["moved"].iloc[-1]))
    said = _sentence(parts, metal, did, missing, basis)
    return Separation(metal, named, parts, bands, cells, missing, basis, method, said)


def _cells(recipes: Recipes, metal: str, hold: dict[str, object], dose: float | None) -> list[dict]:
    """The six recipes, dyed with the metal first."""
    table.need(pd.DataFrame([hold]), ["dye", "fibre"], "controls")
    column = METALS[metal]
    made = recipes.made
    table.need(made, list(hold), "controls")
    keep = without_others(made, metal) & (made[column] > 0) & which_have(made, hold)
    if dose is not None:
        keep &= np.isclose(made[column], dose)
    with_metal = made[keep].sort_values("pieces", ascending=False, kind="stable")
    trust = {name: rank for rank, name in enumerate(recipes.methods)}
    if trust:
        with_metal = with_metal.sort_values("method", key=lambda m: m.map(trust), kind="stable")
    for _, row in with_metal.iterrows():
        dyed = {name: row[name] for name in FACTORS if name in made}
        cells = _around(dyed, column)
        if _find(made, cells[1]) >= 0:
            return cells
    what = recipe_names(pd.DataFrame([hold]))[0]
    raise InputError(
        f"there is no pair of {what} with and without {metal}"
        f"{'' if dose is None else f' {dose:g} %'}. Dye both, else alike, and measure them."
    )


def _around(dyed: dict, column: str) -> list[dict]:
    undyed = {**dyed, "dye": "none", "dye_wof": 0.0, "metals_at": metals.salt_alone(dyed)}
    bare = {**undyed, "tannin": "none", "tannin_wof": 0.0}
    without = [{**cell, column: 0.0, "metals_at": ""} for cell in (dyed, undyed, bare)]
    return [dyed, without[0], undyed, without[1], bare, without[2]]


def _find(made: pd.DataFrame, cell: dict[str, Any]) -> int:
    """Row number of a recipe; -1 where it isn't there."""
    keep = np.ones(len(made), bool)
    for name in FACTORS:
        if name in made:
            value: Any = cell.get(name)
            same = np.isclose(made[name], value) if name.endswith("_wof") else made[name] == value
            keep &= np.asarray(same)
    at = np.flatnonzero(keep)
    return int(at[0]) if len(at) else -1


def _describe(recipes: Recipes, wanted: list[dict], rows: np.ndarray) -> pd.DataFrame:
    frame = pd.DataFrame({"cell": CELLS, "recipe": recipe_names(pd.DataFrame(wanted))})
    made = recipes.made[["swatch", "pieces", *table.LAB, *table.WHITE]]
    there = made.reindex(rows).reset_index(drop=True)
    return pd.concat([frame, there], axis=1)


def _possible(rows: np.ndarray) -> list[str]:
    """Parts whose cells are all there; no tannin's part on a cloth without tannin."""
    return [
        part
        for part, weights in WEIGHTS.items()
        if not (part == "tannin" and rows[2] == rows[4])
        and all(row >= 0 for row, weight in zip(rows, weights, strict=True) if weight)
    ]


def _by_lab(recipes: Recipes, rows: np.ndarray, confidence: float) -> pd.DataFrame:
    found = []
    start = recipes.variants.mean[rows[[1]]]
    for part in _possible(rows):
        weights = np.array(WEIGHTS[part], float)
        used = weights != 0
        row = compare.contrast(
            recipes.variants, rows[used][None, :], weights[used], start, confidence
        )
        found.append(row.assign(part=part))
    return _order(pd.concat(found, ignore_index=True))


def _order(found: pd.DataFrame) -> pd.DataFrame:
    """All four rows, blank where the controls lack."""
    return found.set_index("part").reindex(list(WEIGHTS)).rename_axis("part").reset_index()


@dataclass(frozen=True)
class _Split:
    """K/S of the six cloths, drawn `noise` (d, c, k) about it, and how it is to be told."""

    found: CellSpectra
    noise: np.ndarray | None
    white: table.White
    tails: list[float]

    @property
    def visible(self) -> np.ndarray:
        """Bands that are summed."""
        return (self.found.wavelengths >= 400) & (self.found.wavelengths <= 700)

    def summed(self, part: str) -> tuple[np.ndarray, np.ndarray | None]:
        """K/S (k,) that a part stands for, and as drawn (d, k)."""
        weights = np.array(WEIGHTS[part], float)
        used = np.flatnonzero(weights)
        centre = weights[used] @ self.found.mean[used]
        if self.noise is None:
            return centre, None
        return centre, np.einsum("c,dck->dk", weights[used], self.noise[:, used])

    def limits(self, drawn: np.ndarray | None, like: np.ndarray) -> np.ndarray:
        """Both ends of the interval of what was drawn; NaN without noise."""
        if drawn is None:
            return np.full((2, *like.shape), np.nan)
        return np.quantile(drawn, self.tails, axis=0)

    def lab(self, ks: np.ndarray) -> np.ndarray:
        """CIELAB of cloths of these K/S."""
        seen = convert.ks_to_reflectance(np.maximum(ks, 1e-4))
        return convert.spectrum_to_lab(self.found.wavelengths, seen, *self.white)

    def record(self, part: str) -> dict:
        """A part's K/S, the colour shift of it alone, and its share of the change that is seen."""
        centre, cloud = self.summed(part)
        total = centre[self.visible].sum()
        drawn = None if cloud is None else cloud[:, self.visible].sum(axis=1)
        low, high = self.limits(drawn, total)
        told = {"part": part, "ks": total, "ks_low": low, "ks_high": high}
        return told | self._moved(centre, cloud) | {"seen_share": self._seen_share(centre)}

    def band(self, part: str) -> pd.DataFrame:
        """A part's K/S, wavelength by wavelength."""
        centre, cloud = self.summed(part)
        low, high = self.limits(cloud, centre)
        told = {"part": part, "wavelength": self.found.wavelengths}
        return pd.DataFrame({**told, "ks": centre, "ks_low": low, "ks_high": high})

    def _moved(self, centre: np.ndarray, cloud: np.ndarray | None) -> dict:
        """Colour shift of one part alone, from the dyed cloth without the metal."""
        start = self.found.mean[1]
        first, second = self.lab(start[None])[0], self.lab((start + centre)[None])[0]
        move = second - first
        record: dict = dict(zip(("dL", "da", "db"), move, strict=True))
        record["distance"] = float(np.linalg.norm(move))
        record["moved"] = compare.direction(first, second)[0]
        if cloud is not None and self.noise is not None:
            base = self.noise[:, 1]
            spread = np.quantile(self.lab(base + cloud) - self.lab(base), self.tails, axis=0)
            for name, low, high in zip(("dL", "da", "db"), *spread, strict=True):
                record |= {f"{name}_low": low, f"{name}_high": high}
        return record

    def _seen_share(self, part: np.ndarray) -> float:
        """Per cent of the change from the cloth without the metal that goes with this part."""
        with_metal, without = self.found.mean[0], self.found.mean[1]
        lab = self.lab(np.array([without, with_metal, with_metal - part]))
        whole, rest = convert.dE00(np.repeat(lab[:1], 2, axis=0), lab[1:])
        return float(100 * (1 - rest / whole)) if whole > 0 else np.nan


def _with_shares(parts: pd.DataFrame, split: _Split, possible: list[str]) -> pd.DataFrame:
    """Each part as a share of the whole change of K/S, per cent."""
    whole = parts.loc[parts["part"] == "naive", "ks"].iloc[0]
    result = parts.assign(share=100 * parts["ks"] / whole, share_low=np.nan, share_high=np.nan)
    if split.noise is not None:
        sums = split.noise[:, :, split.visible].sum(axis=2)
        for i, part in enumerate(parts["part"]):
            if part in possible:
                share = 100 * (np.nan_to_num(sums) @ np.array(WEIGHTS[part], float))
                share /= sums[:, 0] - sums[:, 1]
                result.loc[i, ["share_low", "share_high"]] = np.quantile(share, split.tails)
    return result.assign(bound=_bounds(result))


def _bounds(parts: pd.DataFrame) -> list[str]:
    """Which way a part is bounded where it competes with the others for the metal.

    What competes does less than its control shows. So the dye's share lies between all and what is
    left for it: less than all, or more, where the others went against the whole change.
    """
    rest = parts[parts["part"].isin(["tannin", "fibre"])]
    most = rest["share_high"].fillna(rest["share"]).fillna(0.0).abs()
    if (most < _NOTHING).all():
        return [""] * len(parts)
    against = {"dye": parts["share"] > 100, "tannin": parts["share"] < 0}
    against["fibre"] = against["tannin"]
    ways = {"dye": ("at_least", "at_most"), **dict.fromkeys(rest["part"], ("at_most", "no_less"))}
    return [
        ways[part][bool(against[part][i])] if part in ways else ""
        for i, part in enumerate(parts["part"])
    ]


def _say_change(recipes: Recipes, metal: str, rows: np.ndarray, recipe: str, moved: str) -> str:
    """What the dyed cloth did, the metal named as its cause only where it is more than chance."""
    judged = pairs(recipes, metal)
    own = judged[judged["from_row"].eq(rows[1]) & judged["to_row"].eq(rows[0])]
    row = own.iloc[0] if len(own) else {"verdict": compare.CANNOT_TELL}
    key, verdict = ("did" if row["verdict"] == compare.REAL else "seen"), compare.in_words(row)
    return words.say(f"shift.{key}", metal=metal, recipe=recipe, moved=moved, verdict=verdict)


def _sentence(parts: pd.DataFrame, metal: str, did: str, missing: list[str], basis: str) -> str:
    rows: dict[Any, Any] = parts.set_index("part").to_dict("index")
    column = "share" if "share" in parts else "distance"
    dye = rows["dye"]
    if missing and not np.isfinite(dye[column]):
        return words.say("shift.controls_missing", did=did, missing="; ".join(missing))
    told: dict[str, Any] = {"metal": metal, "did": did, "dye_moved": dye["moved"]}
    if basis == "CIELAB":
        far = {n: words.number_span(rows[n], "distance", 1) for n in ("naive", "dye")}
        return words.say("shift.by_lab", **told, **far)
    known = [part for part in PARTS if np.isfinite(rows[part]["share"])]
    said = [words.say(f"shift.share_{part}", share=share_text(rows[part])) for part in known]
    seen = f"{dye['seen_share']:.0f}"
    return words.say("shift.by_ks", **told, shares=", ".join(said), seen=seen)


def share_text(row: dict[Any, Any]) -> str:
    """Say a part's share of K/S: a bound where the parts may compete, else with its interval.

    Examples
    --------
    >>> from dyelab import shift
    >>> shift.share_text({"share": 60.0, "share_low": 50.0, "share_high": 70.0, "bound": ""})
    '60 % (50 to 70)'
    """
    places = 0 if abs(row["share"]) >= 10 else 1
    columns = {"share": "share", "low": "share_low", "high": "share_high"}
    if not np.isfinite(row["share_low"]):
        return f"{row['share']:.0f} %"
    key = f"shift.share_{row['bound'] or 'span'}"
    shown = {name: f"{row[column]:.{places}f}" for name, column in columns.items()}
    if row["bound"] == "at_least" and row["share_low"] <= 0:
        key = "shift.share_any"
    return words.say(key, **shown)
