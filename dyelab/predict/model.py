"""The model: learned from a book, judged on swatches it was not shown, then asked."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from dyelab.predict import answers, calibration, gp, overdyes
from dyelab.predict.basis import Basis
from dyelab.predict.candidates import vats
from dyelab.predict.recipes import CLOTH, Coded, Step, coded, dyes_of, layers, levels, steps_of
from dyelab.predict.training import enough, gathered


@dataclass(frozen=True, repr=False)
class Model:
    """What a book teaches about recipes it doesn't hold.

    Attributes
    ----------
    made : DataFrame
        One row a recipe measured: its columns, `L, a, b`, `pieces`, `swatch`, `recipe` in words.
        Those with several dyes last, ``dye = "weld + indigo 5 x3"`` with the first one's dose.
    white : (illuminant, observer)
        Of the book.
    basis : Basis
    steps : tuple of Step
        Steps of a recipe that vary, or could.
    levels : mapping of str to tuple of str
        Materials that the book holds of every step, ``none`` where it was left out.
    process : gp.Process
        One Gaussian process for each score of `basis`, of the recipes with one dye.
    over : Overdyed
        What the recipes with several dyes were off by.
    mates : ndarray (n, m)
        Share of their baths that the n swatches of `left_out` have in common with the first m.
    stretch : float
        Factor on predicted covariances that makes the 90 % regions hold what they should.
    tail : float
        Degrees of freedom of the t distribution that the leave-one-out errors follow: large is
        normal, small has many near misses and a few far ones.
    odds : (shift, slope)
        Of the log odds of landing, from how often the left-out recipes landed.
    left_out : DataFrame
        One row a swatch, predicted without its recipe and its pots: `swatch, recipe, L, a, b` as
        measured, `L_left, a_left, b_left` as predicted, `dE00`, `distance` (squared, in units of
        its covariance), `inside` (within the 90 % region).
    notes : tuple of str
    """

    made: pd.DataFrame
    white: tuple[str, int]
    basis: Basis
    steps: tuple[Step, ...]
    levels: Mapping[str, tuple[str, ...]]
    process: gp.Process
    over: overdyes.Overdyed
    mates: np.ndarray
    stretch: float
    tail: float
    odds: tuple[float, float]
    left_out: pd.DataFrame
    notes: tuple[str, ...]

    def __repr__(self) -> str:
        return (
            f"Model of {len(self.made)} recipes: left out one by one, half of their swatches are "
            f"predicted within {self.error:.1f} ΔE00, and {100 * self.inside:.0f} % lie in their "
            f"{100 * calibration.LEVEL:.0f} % region"
        )

    @property
    def error(self) -> float:
        """Median ΔE00 of the leave-one-out predictions."""
        return float(self.left_out["dE00"].median())

    @property
    def error_90(self) -> float:
        """ΔE00 that nine in ten of them keep within."""
        return float(self.left_out["dE00"].quantile(0.9))

    @property
    def inside(self) -> float:
        """Share of the swatches, 0 to 1, that lie in the 90 % region foretold without them."""
        return float(self.left_out["inside"].mean())

    @property
    def spectral(self) -> bool:
        """Whether it was learned from spectra, so that any light can be shown."""
        return self.basis.wavelengths is not None

    @cached_property
    def usual(self) -> dict[str, tuple[str, dict[str, str]]]:
        """Commonest fibre, form and ground: of all recipes, and of those on each fibre."""
        made, found = self.made, dict[str, tuple[str, dict[str, str]]]()
        for column in (name for name in CLOTH if name in made):
            common = made[column].mode().iloc[0]
            on = made.groupby("fibre")[column]
            by_fibre = {str(fibre): str(texts.mode().iloc[0]) for fibre, texts in on}
            found[column] = (str(common), {} if column == "fibre" else by_fibre)
        return found

    @cached_property
    def undosed(self) -> frozenset[str]:
        """Vats of which no dose is known: they are told in dips."""
        rows = zip(self.made["dye"], self.made["dye_wof"], strict=True)
        parts = [part for dye, dose in rows for part in layers(dye, dose)]
        return frozenset(part.material for part in parts if part.dose != part.dose)

    def coded(self, recipes: pd.DataFrame) -> list[Coded]:
        """Recipes as the kernels see them, step by step."""
        return self.over.dyes.coded(recipes)

    def weighed(self, recipes: pd.DataFrame, beside: int | None = None) -> gp.Weighed:
        """Weigh what was measured for each of these recipes; `weights` are of the book's recipes.

        `beside` is the place of a measured swatch whose pots they lie in, every bath of it.
        """
        several = self.over.dyes.joins(recipes)
        mates = None if beside is None else self.mates[beside]
        one = self.process.weighed(self.coded(recipes[~several]), mates)
        n, swatches = self.mates.shape[1], len(self.mates)
        more = np.zeros((len(recipes), swatches))
        more[~several, :n] = one.weights
        whole = {name: _filled(getattr(one, name), ~several) for name in ("mean", "left", "prior")}
        if several.any():
            two = self.over.weighed(recipes[several], n)
            more[several] = two.weights
            for name, values in whole.items():
                values[several] = getattr(two, name)
        places = np.concatenate([self.process.seen.recipe, self.over.seen.recipe + self._singles])
        return gp.Weighed(**whole, weights=more @ np.eye(len(self.made))[places], more=one.more)

    @property
    def _singles(self) -> int:
        return int(self.process.seen.recipe.max()) + 1

    def under(self, recipes: pd.DataFrame, white: tuple[str, int]) -> np.ndarray:
        """CIELAB (m, 3) predicted for recipes under any light."""
        return self.basis.lab(self.weighed(recipes).mean, white)

    def report(self) -> pd.DataFrame:
        """How good the model is on swatches it was not shown.

        Returns
        -------
        DataFrame
            `check, value, means`: number of recipes and swatches, median and 90th percentile of
            the leave-one-out ΔE00, share inside the 50 % and 90 % regions, the stretch applied
            to the model's own spread, swatch-to-swatch ΔE*ab.
        """
        return answers.report(self)

    def colour(
        self,
        recipes: pd.DataFrame,
        *,
        illuminant: str | None = None,
        observer: int | None = None,
        of: str = answers.NEW_POT,
        beside: str = "",
    ) -> pd.DataFrame:
        """Predict the colour of recipes.

        Parameters
        ----------
        recipes : DataFrame
            One row a recipe, in the columns of ``book.recipes``; what is missing is left out
            of the recipe, except the fibre's usual form and ground. Several dyes in order, each
            with its own dose and dips: ``dye = "weld + indigo 4 x3"``, ``dye_wof = 40``.
        illuminant, observer : optional
            Light to show it under; the book's own without.
        of : str
            What the covariance is of: `answers.NEW_POT` (one swatch in a new pot), `KNOWN_POT`
            (one more in the pots of the swatch `beside`) or `RECIPE` (the recipe's own colour,
            which many pots would have in the middle).
        beside : str
            Code of a swatch of the book, for `KNOWN_POT`.

        Returns
        -------
        DataFrame
            The recipe's columns, `recipe` in words, `L, a, b, illuminant, observer`, the
            covariance columns, `leans_on` (codes of the swatches it rests on),
            `extrapolates` (why it is outside what was dyed; blank inside), `flags`.

        Raises
        ------
        InputError
            For a material or a swatch that the book doesn't know, or an unknown light.
        """
        return answers.colour(self, recipes, (illuminant, observer), of, beside)


def fit(wide: pd.DataFrame, *, spectra: pd.DataFrame | None = None) -> Model:
    """Learn from a book's readings as dyed.

    Parameters
    ----------
    wide : DataFrame
        As ``book.wide`` gives it: readings with their recipes.
    spectra : DataFrame, optional
        The book's spectra. Where every swatch has one, colours are predicted under any light.

    Returns
    -------
    Model
        Look at `Model.report` before asking for anything.

    Raises
    ------
    InputError
        Too few recipes (it says how many, and which to dye next), all readings alike, missing
        columns, mixed white points.

    Examples
    --------
    >>> from dyelab import book, predict, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> model = predict.fit(wide, spectra=bk.spectra)
    >>> len(model.made)
    90
    """
    both = gathered(wide, spectra)
    known, twice, shared = both.parted()
    steps = steps_of(known.made)
    enough(known, steps)
    kernels = tuple(gp.Likeness(step) for step in steps)
    each = known.made.iloc[known.recipe]
    codes = tuple(coded(step, each) for step in steps)
    basis = both.basis()
    process = gp.learn(kernels, codes, known.seen(basis))
    alone = frozenset(dyes[0] for dyes in dyes_of(known.made) if len(dyes) == 1)
    dyes = overdyes.Dyes(steps, process, basis, alone, frozenset(vats(known.made)))
    over = overdyes.learned(dyes, twice.made.iloc[twice.recipe], twice.seen(basis))
    made = pd.concat([known.made, twice.made], ignore_index=True)
    judged = calibration.judged(known, twice, over)
    return Model(
        *(made, basis.white, basis, steps, levels(made), process, over),
        *(shared, *judged, both.notes),
    )


def _filled(values: np.ndarray, rows: np.ndarray) -> np.ndarray:
    full = np.zeros((len(rows), values.shape[1]))
    full[rows] = values
    return full
