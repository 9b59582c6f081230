"""The colours a book's materials reach: every candidate recipe, predicted at once."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.spatial import ConvexHull, QhullError

from dyelab.predict import candidates, coded_recipes, gp
from dyelab.predict.candidates import Limits
from dyelab.predict.model import Model

_CHUNK = 2_000  # what a processor's cache holds
_CELL = 5.0  # CIELAB units: colours nearer than this count as one
_GAMUT_SIZE = 50_000


@dataclass(frozen=True)
class Reach:
    """Candidates and their predicted colours.

    Attributes
    ----------
    candidates : Grid
    places : ndarray (n,)
        Places of the candidates in the grid.
    lab : ndarray (n, 3)
        Under the book's white.
    """

    candidates: candidates.Grid
    places: np.ndarray
    lab: np.ndarray

    def recipes(self, rows: np.ndarray) -> pd.DataFrame:
        """Recipes of some candidates."""
        return self.candidates.recipes(self.places[rows])

    def column(self, name: str) -> np.ndarray:
        """One column of all candidates."""
        i, j = np.divmod(self.places, len(self.candidates.right))
        left, right = self.candidates.left, self.candidates.right
        return left[name].to_numpy()[i] if name in left else right[name].to_numpy()[j]


@dataclass(frozen=True)
class Gamut:
    """What a book reaches.

    Attributes
    ----------
    outlines : DataFrame
        `group, metals (without, iron, copper, both), plane (ab or CL), x, y`: corners of the
        outline of the region, in order.
        A region bent like a bow has unreached colours inside its outline.
    counts : DataFrame
        One row a group: how many different colours (cells of 5 CIELAB units) are reached
        `without` either metal, `iron_adds`, `copper_adds`: how many more with each.
    """

    outlines: pd.DataFrame
    counts: pd.DataFrame


def reach(
    model: Model, limits: Limits = candidates.NO_LIMITS, *, size: int = candidates.SIZE
) -> Reach:
    """Predict every candidate recipe within limits.

    Parameters
    ----------
    model : Model
    limits : Limits
    size : int
        Most candidates.

    Raises
    ------
    InputError
        For limits that leave nothing, or name what the book doesn't hold.
    """
    made = candidates.of_book(model.made, model.steps, limits, size)
    places = np.flatnonzero(made.fits)
    scores = _scores(model, made)[places]
    parts = [model.basis.lab(scores[i : i + _CHUNK]) for i in range(0, len(scores), _CHUNK)]
    return Reach(made, places, np.concatenate(parts))


def _scores(model: Model, grid: candidates.Grid) -> np.ndarray:
    """Mean scores of the whole grid: the kernel's factors of each side, then one product."""
    on_left = [i for i, s in enumerate(model.steps) if _in(s.name, grid.left)]
    on_right = [i for i in range(len(model.steps)) if i not in on_left]
    sides = []
    for side, chosen in ((grid.left, on_left), (grid.right, on_right)):
        codes = [coded_recipes.coded(step, side) for step in model.steps]
        sides.append((codes, chosen))
    scores = []
    for learned in model.scores:
        left, right = (
            gp.likeness(learned.p, model.kernels, codes, model.codes, chosen)
            for codes, chosen in sides
        )
        scores.append(((left * (np.exp(learned.p[0]) * learned.alpha)) @ right.T).ravel())
    return np.stack(scores, axis=1)


def _in(name: str, side: pd.DataFrame) -> bool:
    return any(column in side for column in coded_recipes.STEPS[name] if column)


def gamut(
    model: Model, *, by: Sequence[str] = ("fibre", "mordant"), limits: Limits = candidates.NO_LIMITS
) -> Gamut:
    """Outline the colours that a book's materials reach, and what iron and copper add.

    Parameters
    ----------
    model : Model
    by : sequence of str
        Columns of a recipe; each combination is a region of its own.
    limits : Limits

    Returns
    -------
    Gamut
    """
    reached = reach(model, limits, size=_GAMUT_SIZE)
    names = pd.DataFrame({column: reached.column(column) for column in by})
    iron, copper = (reached.column(f"{metal}_wof") > 0 for metal in ("iron", "copper"))
    outlines, counts = [], []
    for key, rows in names.groupby(list(by)).indices.items():
        parts = key if isinstance(key, tuple) else (key,)
        lab, group = reached.lab[rows], " · ".join(str(part) for part in parts)
        with_ = {"without": ~iron[rows] & ~copper[rows], "iron": ~copper[rows]}
        with_ |= {"copper": ~iron[rows], "both": np.ones(len(rows), bool)}
        counts.append({"group": group, **_counts(lab, with_)})
        for metals, keep in with_.items():
            outlines += _outline(group, metals, lab[keep])
    return Gamut(pd.concat(outlines, ignore_index=True), pd.DataFrame(counts))


def _counts(lab: np.ndarray, with_: dict[str, np.ndarray]) -> dict[str, int]:
    cells = np.floor(lab / _CELL).astype(int)
    many = {name: len(np.unique(cells[keep], axis=0)) for name, keep in with_.items()}
    base = many["without"]
    return {"without": base, "iron_adds": many["iron"] - base, "copper_adds": many["copper"] - base}


def _outline(group: str, metals: str, lab: np.ndarray) -> list[pd.DataFrame]:
    """Corners of the convex outline on a*b* and on C*L*; a line or a point is kept as it is."""
    planes = {"ab": lab[:, 1:], "CL": np.column_stack([np.hypot(lab[:, 1], lab[:, 2]), lab[:, 0]])}
    found = []
    for plane, points in planes.items():
        if not len(points):
            continue
        try:
            corners = points[ConvexHull(points).vertices]
        except (QhullError, ValueError):
            corners = np.unique(points, axis=0)
        frame = pd.DataFrame(np.vstack([corners, corners[:1]]), columns=["x", "y"])
        found.append(frame.assign(group=group, metals=metals, plane=plane))
    return found
