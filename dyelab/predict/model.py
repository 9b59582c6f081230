"""The model: learned from a book, judged on swatches it was not shown, then asked."""

from functools import cached_property

import numpy as np
import pandas as pd

from dyelab.predict import (
    answers,
    calibration,
    chance,
    coded_recipes,
    given_recipe,
    gp,
    missing_recipes,
)
from dyelab.predict.chance import LIMIT
from dyelab.predict.kernel import Likeness
from dyelab.predict.learned import Taught
from dyelab.predict.training import gathered


class Model(Taught):
    """What a book teaches about recipes it doesn't hold, ready to be asked; see `Taught`."""

    @cached_property
    def givers(self) -> given_recipe.Givers:
        """Recipes, any of which may give a colour that is looked for."""
        return given_recipe.of_book(self)

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
    ) -> pd.DataFrame:
        """Predict the colour of recipes.

        Parameters
        ----------
        recipes : DataFrame
            One row a recipe, in the columns of ``book.recipes``; what is missing is left out
            of the recipe, except the fibre's usual form and ground. Two dyes of the book that
            were never joined: ``dye = "weld + indigo"``, ``dye_wof = "40 + 4"``.
        illuminant, observer : optional
            Light to show it under; the book's own without.

        Returns
        -------
        DataFrame
            The recipe's columns, `recipe` in words, `L, a, b, illuminant, observer`, the
            covariance columns (of one new swatch of that recipe: what the model doesn't know
            and how swatches scatter), `leans_on` (codes of the swatches it rests on),
            `extrapolates` (why it is outside what was dyed; blank inside), `flags`.

        Raises
        ------
        InputError
            For a material that the book doesn't know, or an unknown light.
        """
        return answers.colour(self, recipes, (illuminant, observer))


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
    """
    known = gathered(wide, spectra)
    steps = coded_recipes.steps_of(known.made)
    missing_recipes.enough(known, steps)
    kernels = tuple(Likeness(step) for step in steps)
    codes = tuple(coded_recipes.coded(step, known.made) for step in steps)
    scores = tuple(gp.learn(kernels, codes, known.seen))
    together = calibration.together(scores, known.seen.y)
    left, off, C = calibration.judged(known, scores, together)
    far = calibration.far(off, C)
    stretch, tail = calibration.calibrated(far, np.trace(C, axis1=1, axis2=2))
    far = calibration.far(off, stretch(C))
    left = left.assign(distance=far, inside=far <= LIMIT)
    lab = left[["L_left", "a_left", "b_left"]].to_numpy(float)
    basis, levels = known.basis, coded_recipes.levels(known.made)
    return Model(
        *(known.made, basis.white, basis, steps, levels, kernels, codes, scores),
        together,
        *(stretch, tail, chance.odds(lab, lab + off, stretch(C), tail), left, known.notes),
    )
