"""From a book's readings to what a model learns from, or what is missing for it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from dyelab import convert, shift, table, words
from dyelab.errors import InputError
from dyelab.grade import is_reference
from dyelab.numerics import gain, greedy
from dyelab.predict.basis import Basis, bands_of_lab, of_bands
from dyelab.predict.candidates import of_book, sample, which_allowed
from dyelab.predict.gp import Likeness, Observations, cross
from dyelab.predict.recipes import COLUMNS, STEPS, StepLevels, code_step, dyes_of, with_layers
from dyelab.recipe import metals, sequence


@dataclass(frozen=True)
class TrainingData:
    """Recipes of a book, what their n swatches measured, and what is odd about them.

    Attributes
    ----------
    made : DataFrame
        One row a recipe.
    swatches : ndarray (n,)
        Their codes.
    bands : ndarray (n, k)
        Their reflectances.
    stated : ndarray (n, 3, 3)
        Covariance of each, as the readings state it.
    recipe : ndarray (n,)
    mates : ndarray (n, n)
    wavelengths : ndarray (k,) or None
    white : (illuminant, observer)
    notes : tuple of str
    """

    made: pd.DataFrame
    swatches: np.ndarray
    bands: np.ndarray
    stated: np.ndarray
    recipe: np.ndarray
    mates: np.ndarray
    wavelengths: np.ndarray | None
    white: tuple[str, int]
    notes: tuple[str, ...]

    def split_overdyes(self) -> tuple["TrainingData", "TrainingData", np.ndarray]:
        """Those whose dyes a model learns, and those of several dyes that it knows one by one.

        The last is the share of baths that all have in common with the first, who come first.
        """
        dyes = dyes_of(self.made)
        alone = {own[0] for own in dyes if len(own) == 1}
        twice = np.array([len(own) > 1 and alone.issuperset(own) for own in dyes], bool)
        here = ~twice[self.recipe]
        shared = self.mates[np.argsort(~here, kind="stable")][:, here]
        return self._of(~twice), self._of(twice), shared

    def _of(self, recipes: np.ndarray) -> "TrainingData":
        rows, number = recipes[self.recipe], np.cumsum(recipes) - 1
        return replace(
            self,
            made=self.made[recipes].reset_index(drop=True),
            swatches=self.swatches[rows],
            bands=self.bands[rows],
            stated=self.stated[rows],
            recipe=number[self.recipe[rows]],
            mates=self.mates[np.ix_(rows, rows)],
        )

    def basis(self, some: np.ndarray | None = None) -> Basis:
        """Components of the recipes, or of those that some swatches have."""
        rows = np.arange(len(self.recipe)) if some is None else some
        means = pd.DataFrame(self.bands[rows]).groupby(self.recipe[rows]).mean()
        return of_bands(means.to_numpy(float), self.wavelengths, self.white)

    def observations(self, basis: Basis) -> Observations:
        """The swatches in the scores of a basis."""
        y = basis.scores(self.bands)
        return Observations(y, basis.variances(y, self.stated), self.recipe, self.mates)


def gather(wide: pd.DataFrame, spectra: pd.DataFrame | None) -> TrainingData:
    """Average a book's readings as dyed, swatch by swatch, and gather the recipes.

    Raises
    ------
    InputError
        As `shift.as_dyed`: nothing measured as dyed, columns missing, or white points mixed.
    """
    table.need(wide, ["swatch"], "prediction")
    # In the order of their codes: which recipes are left out together must not hang on the file's.
    ordered = wide[~is_reference(wide)].sort_values("swatch", kind="stable")
    rows, notes = _known_doses(ordered)
    rows, bands, more = _with_bands(rows, spectra)
    method = shift.leading_method(rows)
    found = shift.as_dyed(rows, method=method)
    made = with_layers(found.made).assign(recipe=shift.recipe_names(found.made))
    if "vat" in found.rows:
        made["vat"] = found.rows.groupby("variant")["vat"].first().to_numpy(bool)
    white = table.one_white(made)
    nm = None if bands is None else np.array([float(c) for c in bands.columns], float)
    said = (*notes, *more, *_left_out(rows, method))
    return TrainingData(made, *_swatches(found.rows, bands, white), nm, white, said)


def _known_doses(wide: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    doses = [name for name in wide if name in COLUMNS and str(name).endswith("_wof")]
    unknown = wide[doses].isna().any(axis=1) & ~_in_dips(wide, doses)
    if not unknown.any():
        return wide, []
    codes = ", ".join(map(str, wide.loc[unknown, "swatch"].unique()[:6]))
    note = (
        f"Left out, because a dose in % of the weight of fibre can't be worked out: {codes}. "
        "Give the swatch's mass_g, or the dose in % WOF."
    )
    return wide[~unknown], [note]


def _in_dips(wide: pd.DataFrame, doses: list) -> pd.Series:
    """Rows whose only unknown dose is that of vats whose dose nobody in this book told."""
    if "recipe" not in wide:
        return pd.Series(False, wide.index)
    lines = wide["recipe"].fillna("").astype(str)
    steps = {line: sequence.dyes(line) for line in lines.unique()}
    told = {step.material for done in steps.values() for step in done if step.amount > 0}
    only = {
        line: all(s.unit == "% WOF" or (s.kind == "vat" and s.material not in told) for s in done)
        for line, done in steps.items()
    }
    others = [name for name in doses if name != "dye_wof"]
    return lines.map(only) & wide[others].notna().all(axis=1)


def _with_bands(
    wide: pd.DataFrame, spectra: pd.DataFrame | None
) -> tuple[pd.DataFrame, pd.DataFrame | None, list[str]]:
    """Keep the readings that have spectra, if they cover the book; else do without spectra."""
    if spectra is None or spectra.empty or "reading" not in wide:
        return wide, None, []
    columns = convert.wavelength_columns(spectra)
    whole = spectra.dropna(subset=columns)
    there = wide["reading"].isin(whole["reading"])
    fresh = wide["exposure"].eq("none") if "exposure" in wide else there | True
    lacking = set(wide.loc[fresh, "swatch"]) - set(wide.loc[fresh & there, "swatch"])
    if lacking:
        note = (
            f"{len(lacking)} swatches have no spectrum, so all were learned from L*a*b*; "
            "a colour under another light is adapted, not computed."
        )
        return wide, None, [note]
    return wide[there | ~fresh], whole.set_index("reading")[columns], []


def _left_out(rows: pd.DataFrame, method: str | None) -> list[str]:
    """Say which readings taken by other methods were left out."""
    fresh = shift.fresh_readings(rows)
    if method is None or fresh["method"].nunique() < 2:
        return []
    kept, others = (fresh[fresh["method"].eq(method) == so] for so in (True, False))
    lost = others.loc[~others["swatch"].isin(kept["swatch"]), "swatch"].unique()
    codes = ", ".join(map(str, lost[:6])) + (", …" if len(lost) > 6 else "")
    many = [
        words.say("reading.count", name=shift.way_text(str(name)), number=number)
        for name, number in others.groupby("method")["swatch"].nunique().items()
    ]
    told = {"method": shift.way_text(method), "others": ", ".join(many), "codes": codes}
    return [words.say(f"predict.methods_{'lose' if len(lost) else 'all'}", **told)]


def _bands(rows: pd.DataFrame, bands: pd.DataFrame | None, white: tuple[str, int]) -> np.ndarray:
    if bands is None:
        return bands_of_lab(rows[table.LAB].to_numpy(float), white)
    return bands.loc[rows["reading"]].to_numpy(float)


def _swatches(
    rows: pd.DataFrame, bands: pd.DataFrame | None, white: tuple[str, int]
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Average the readings of each swatch: see `TrainingData` for the parts, in its order."""
    keys = [rows["variant"].to_numpy(), rows["swatch"].to_numpy()]
    stated = np.nan_to_num(table.covariances(rows)).reshape(len(rows), 9)
    read = pd.DataFrame(_bands(rows, bands, white)), pd.DataFrame(stated)
    means, spread = (one.groupby(keys).mean().to_numpy(float) for one in read)
    many = rows.groupby(keys).size().to_numpy(float)
    first = rows.groupby(keys).head(1).sort_values(["variant", "swatch"], kind="stable")
    spread = spread.reshape(-1, 3, 3) / many[:, None, None]
    codes, recipe = first["swatch"].to_numpy(), first["variant"].to_numpy(int)
    return codes, means, spread, recipe, mates(first)


def mates(swatches: pd.DataFrame) -> np.ndarray:
    """Share of their baths that swatches have in common, (n, n); 1 with itself.

    Scour and rinse apart; a step whose bath isn't recorded had one of its own. The share is the
    Jaccard index of the two sets of baths.
    """
    texts = swatches.get("baths", pd.Series("", swatches.index)).astype(str)
    series = swatches.get("series", pd.Series("", swatches.index)).astype(str)
    named, many = [], []
    for text, batch in zip(texts, series, strict=True):
        steps = [s.partition("=") for s in text.split() if not s.startswith(_APART)]
        named.append({(batch, kind, bath) for kind, _, bath in steps if bath})
        many.append(max(len(steps), 1))
    baths = {bath: j for j, bath in enumerate(sorted(set().union(*named)))}
    member = np.zeros((len(named), len(baths)))
    for i, own in enumerate(named):
        member[i, [baths[bath] for bath in own]] = 1
    common, sizes = member @ member.T, np.array(many, float)
    full = common / (sizes[:, None] + sizes - common)
    np.fill_diagonal(full, 1.0)
    return full


_APART = ("scour", "rinse")  # steps that dye nothing
_SPARE = 2  # recipes beyond one for each thing to be learned
_LEAST = 6  # recipes, however little there is to learn: fewer leave no error to judge by
_ALIKE = 0.3  # ΔE*ab: less than this over a whole book is no effect at all
_NOISE = 0.05  # of a score's variance: a guess, which only orders what is offered to be dyed
_UNSAID = {"assist": "none", "assist_wof": 0.0, "metals_at": "", "rest": "", "area": "whole"}
_NAMED = 6  # recipes offered, as many as a refusal can name


class TooFew(InputError):
    """A book that can't teach a model yet: what it holds, and which recipes to dye next.

    Attributes
    ----------
    made : DataFrame
        Recipes measured, as of `Model`.
    offered : DataFrame
        Recipes that would teach most, `recipe` in words; none where nothing varies.
    """

    def __init__(self, text: str, made: pd.DataFrame, offered: pd.DataFrame) -> None:
        super().__init__(text)
        self.made, self.offered = made, offered


def require_enough(known: TrainingData, steps: Sequence[StepLevels]) -> None:
    """Raise unless the book can teach a model.

    Raises
    ------
    InputError
        All readings alike, or too few recipes (`TooFew`): how many are needed, which to dye next.
    """
    lab = known.made[["L", "a", "b"]].to_numpy(float)
    if len(lab) > 1 and np.linalg.norm(lab - lab.mean(axis=0), axis=1).max() < _ALIKE:
        raise InputError(words.say("predict.alike", recipes=len(lab)))
    needed = max(_LEAST, 1 + _SPARE + sum(map(_unknowns, steps)))
    if len(lab) < needed:
        missing = needed - len(lab)
        offered = most_telling(known.made, steps, min(missing, _NAMED))
        labels = shift.recipe_names(offered)
        named = "; ".join(labels) or words.say("predict.other")
        told = {"found": len(lab), "needed": needed, "missing": missing, "recipes": named}
        said = " ".join([words.say("predict.few", **told), *known.notes])
        raise TooFew(said, known.made, offered.assign(recipe=labels))


def _unknowns(step: StepLevels) -> int:
    """Main effects of a step: one a material beyond the first level, one for the dose."""
    varied = bool((step.top > step.least).any())
    dosed = STEPS[step.name][1] is not None
    return len(step.materials) - (0 if dosed else 1) + varied


def most_telling(made: pd.DataFrame, steps: Sequence[StepLevels], n: int) -> pd.DataFrame:
    """Untried recipes that would teach most, before anything has been learned: by prior alone."""
    kernels = [Likeness(step) for step in steps]
    pool = _find_untried(sample(of_book(made, steps), 400), made) if kernels else made.head(0)
    if len(pool) < n:
        more = _find_untried(_halve(made), made)
        more = more[which_allowed(more[[c for c in COLUMNS if c in more]])]
        pool = pd.concat([pool, more], ignore_index=True)
        pool = pool.fillna(_UNSAID)
    if not kernels or pool.empty:
        return pool.head(n)
    p = np.concatenate([[0.0, np.log(_NOISE), 0.0], *(k.priors[:, 0] for k in kernels)])
    rows, own = ([code_step(s, t) for s in steps] for t in (pool, made))
    K = cross(p, kernels, rows, rows)
    k = cross(p, kernels, rows, own)
    told = gain(cross(p, kernels, own, own), k, _NOISE) @ k.T
    return pool.iloc[greedy(K - told, _NOISE, n)]


def _find_untried(pool: pd.DataFrame, made: pd.DataFrame) -> pd.DataFrame:
    columns = [name for name in COLUMNS if name in pool and name in made]
    own, there = (pd.MultiIndex.from_frame(rows[columns]) for rows in (made, pool))
    return pool[~there.isin(own)].reset_index(drop=True)


def _halve(made: pd.DataFrame) -> pd.DataFrame:
    """Each recipe with half of one dose: what is left where all that was used has been joined."""
    salt = made["metals_at"].str.partition(" as ")[2]
    alone = salt.eq(made["mordant"]) | made["mordant"].isin(metals.salts().values())
    parts = []
    for column in (name for name in COLUMNS if name.endswith("_wof") and name in made):
        twice = alone & (column not in ("dye_wof", "tannin_wof"))  # told as mordant and as metal
        rows = made[made[column].gt(0) & ~twice]
        parts.append(rows.assign(**{column: rows[column] / 2}))
    return pd.concat(parts, ignore_index=True).assign(area="whole")
