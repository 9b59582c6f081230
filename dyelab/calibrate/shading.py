"""How the light falls off over the card: a smooth surface fitted to its white and grey areas."""

from dataclasses import dataclass

import numpy as np

from dyelab.card import Layout
from dyelab.errors import InputError

_LIMIT = 3.5  # robust standard deviations beyond which an area counts as covered


@dataclass(frozen=True)
class Shading:
    """Light over the page relative to the middle of the target.

    Attributes
    ----------
    terms : ndarray (6,)
        Logarithm of the light as 1, x, y, x², xy, y² of the page, each side -1 to 1.
    page_mm : tuple
        Width and height.
    middle : tuple
        Where the light counts as 1.
    left : float
        Standard deviation of what the surface leaves, relative.
    covered : int
        Areas that were left out.
    paper : ndarray (3,)
        Linear camera values of the white paper, light evened out.
    grey : ndarray (3,)
        The same of the grey areas; NaN where there are none.
    """

    terms: np.ndarray
    page_mm: tuple[float, float]
    middle: tuple[float, float]
    left: float
    covered: int
    paper: np.ndarray
    grey: np.ndarray

    def at(self, points: np.ndarray) -> np.ndarray:
        """Relative light at points (..., 2) in mm."""
        there = _surface(points, self.page_mm) - _surface(np.array(self.middle), self.page_mm)
        return np.exp(there @ self.terms)

    @property
    def span(self) -> float:
        """Lightest over darkest corner of the page, minus 1."""
        w, h = self.page_mm
        light = self.at(np.array([[0, 0], [w, 0], [w, h], [0, h], [w / 2, h / 2]]))
        return float(light.max() / light.min() - 1)


def even(layout: Layout) -> Shading:
    """Return the shading of a photo that can't tell: even light."""
    x, y = layout.target_area.centre
    unknown = np.full(3, np.nan)
    return Shading(np.zeros(6), layout.page_mm, (float(x), float(y)), 0.02, 0, unknown, unknown)


def _surface(points: np.ndarray, page_mm: tuple[float, float]) -> np.ndarray:
    x, y = np.moveaxis(2 * np.asarray(points, float) / page_mm - 1, -1, 0)
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)


def fit_shading(layout: Layout, white: np.ndarray, grey: np.ndarray, name: str) -> Shading:
    """Fit the light's fall-off.

    Parameters
    ----------
    layout : Layout
        The card.
    white, grey : ndarray (n, 3)
        Mean linear values of its white and grey areas; NaN where not seen.
    name : str
        The photo's, for messages.

    Raises
    ------
    InputError
        If too few areas are seen for a surface.
    """
    values = np.concatenate([white, grey])
    places = np.array([a.centre for a in (*layout.white_areas, *layout.grey_areas)])
    is_grey = np.arange(len(values)) >= len(white)
    seen = np.isfinite(values).all(axis=1) & (values > 1e-4).all(axis=1)
    light = np.log(np.maximum(values, 1e-4).mean(axis=1))
    design = np.column_stack([_surface(places, layout.page_mm), is_grey])
    kept, terms, off = _robust(design, light, seen, name)
    middle = layout.target_area.centre
    base = _surface(middle, layout.page_mm) @ terms[:6]
    relative = np.exp(design[:, :6] @ terms[:6] - base)
    evened = values / relative[:, None]
    paper = np.median(evened[kept & ~is_grey], axis=0)
    shade = np.median(evened[kept & is_grey], axis=0) if (kept & is_grey).any() else paper * np.nan
    left = float(np.sqrt(np.sum(off[kept] ** 2) / max(kept.sum() - 7, 1)))
    return Shading(
        terms[:6],
        layout.page_mm,
        (float(middle[0]), float(middle[1])),
        left,
        int((seen & ~kept).sum()),
        paper,
        shade,
    )


def _robust(
    design: np.ndarray, light: np.ndarray, seen: np.ndarray, name: str
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Least squares, leaving out areas that something covers or shades."""
    kept = seen.copy()
    for _ in range(6):
        if kept[design[:, 6] == 0].sum() < 9:
            raise InputError(
                f"{name}: too little of the card's white paper is seen to even out the light. "
                "Keep the side strips and the paper between the windows uncovered."
            )
        terms = np.linalg.lstsq(design[kept], light[kept], rcond=None)[0]
        off = light - design @ terms
        scale = max(1.4826 * float(np.median(np.abs(off[kept]))), 0.004)
        now = seen & (np.abs(off) < _LIMIT * scale)
        if (now == kept).all():
            break
        kept = now
    return kept, terms, off
