"""How light falls over the card, and a phone's local tone map: told by its white and grey areas."""

from dataclasses import dataclass, replace

import numpy as np

from dyelab.calibrate.card_pose import Pose, map_points
from dyelab.calibrate.tone import Tone
from dyelab.card import Layout
from dyelab.errors import InputError
from dyelab.read import Photo

# By trial; what half and double of each would do: tests/benchmarks/photo_constants.py.
LIMIT = 3.5  # robust standard deviations beyond which an area counts as covered
# Blurs that a local map may use, of the frame's long side, in steps of two and a half times: a map
# between two of them is nearly a sum of both. Half as wide are as good within 0.03 in the median
# ΔE00 of photos, twice as wide worse by 0.05; none of the other constants here matters as much.
WIDTHS = (0.008, 0.02, 0.05, 0.12)
SMALL = 320  # long side of the copy that is blurred, pixels: 2.5 to the narrowest blur
PRINT_TINT, LIKELY_TINT = 0.004, 0.05  # of one area, and of a light over the page, relative
DARKEST = 0.01  # light, full being 1, below which a map no longer lightens
HELD = 0.03  # how a local map is held back before the tone is known, relative light a unit
LEAST_OFF = 0.004  # relative light: paper is no evener, so areas off by less aren't covered
# Half a side of what is looked at, mm: well inside the card's strips, patches and windows.
AREA_MM, PATCH_MM, WINDOW_MM = 1.5, 2.5, 8.0


@dataclass(frozen=True)
class Surround:
    """Logarithm of the light around each place of a photo, blurred over each of `WIDTHS`.

    A local tone map multiplies light by a power of such a blur, so it is undone by another.
    """

    fields: np.ndarray  # (h, w, K) float32
    scale: float  # pixels of the photo a pixel of the fields

    def at(self, quads: np.ndarray) -> np.ndarray:
        """Mean over each of n areas (n, 4, 2) in pixels of the photo: (n, K)."""
        import cv2

        sides = np.array([(x, y) for x in (0.2, 0.5, 0.8) for y in (0.2, 0.5, 0.8)])
        u, v = sides.T[..., None]
        inside = (
            (1 - u) * (1 - v) * quads[:, None, 0] + u * (1 - v) * quads[:, None, 1]
            + u * v * quads[:, None, 2] + (1 - u) * v * quads[:, None, 3]
        )  # fmt: skip
        x, y = np.moveaxis(inside.astype(np.float32) / self.scale - 0.5, -1, 0)
        return cv2.remap(self.fields, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).mean(
            axis=1
        )


def surround(photo: Photo) -> tuple[Surround, np.ndarray]:
    """Blurred surroundings of a photo, and the mean light (3,) of the whole."""
    import cv2

    step = max(1, max(photo.pixels.shape) // (2 * SMALL))
    few = np.ascontiguousarray(photo.pixels[step // 2 :: step, step // 2 :: step])
    linear = np.stack([np.take(photo.to_linear[:, c], few[..., c]) for c in range(3)], axis=-1)
    shrink = SMALL / max(few.shape)
    small = cv2.resize(linear, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    log = np.log(np.maximum(small @ np.array([0.25, 0.65, 0.1], np.float32), DARKEST))
    log -= log.mean()
    fields = [cv2.GaussianBlur(log, (0, 0), width * SMALL) for width in WIDTHS]
    scale = max(photo.pixels.shape) / max(small.shape)
    return Surround(np.stack(fields, axis=-1), scale), small.mean(axis=(0, 1)).astype(float)


@dataclass(frozen=True)
class Shading:
    """Light over the page relative to the middle of the target, a local tone map included.

    Attributes
    ----------
    terms : ndarray (K + 5,)
        Logarithm of the light as the local map over each width, then x, y, x², xy, y² of the
        page, each side -1 to 1.
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
    around : Surround or None
        Of this photo; None for a flat table of terms.
    to_pixels : ndarray (3, 3)
        Homography from mm to pixels.
    tint : ndarray (5, 3)
        Logarithm of each channel's light beside their mean, as x, y, x², xy, y²: a second light.
    drawn : ndarray (d, K + 5)
        How far the terms could be off, d times.
    areas, area_design : ndarray (m, 3), (m, K + 7)
        The white and grey areas that count, and how the logarithm of their light follows the
        terms and two levels.
    solved : ndarray (7,)
        Terms of the page and the two levels, without a local map.
    """

    terms: np.ndarray
    page_mm: tuple[float, float]
    middle: tuple[float, float]
    left: float
    covered: int
    paper: np.ndarray
    grey: np.ndarray
    tint: np.ndarray
    drawn: np.ndarray
    areas: np.ndarray
    area_design: np.ndarray
    solved: np.ndarray
    around: Surround | None = None
    to_pixels: np.ndarray | None = None

    def at(self, points: np.ndarray, half_mm: float = PATCH_MM) -> np.ndarray:
        """Relative light (n, 3) by channel over squares of half a side about points (n, 2), mm."""
        level = self.design(points, half_mm) @ self.terms
        return np.exp(level[:, None] + self.tint_at(points))

    def tint_at(self, points: np.ndarray) -> np.ndarray:
        """How the light's colour differs from that on the target, logarithm by channel, (n, 3)."""
        page = _surface(points, self.page_mm) - _surface(np.array(self.middle), self.page_mm)
        return page @ self.tint

    def off(self, points: np.ndarray, half_mm: float = PATCH_MM) -> np.ndarray:
        """How far the logarithm of that light could be off, (n, d)."""
        return self.design(points, half_mm) @ self.drawn.T

    def design(self, points: np.ndarray, half_mm: float = PATCH_MM) -> np.ndarray:
        """How the logarithm of that light follows the terms, (n, K + 5)."""
        page = _surface(points, self.page_mm)
        page = page - _surface(np.array(self.middle), self.page_mm)
        return np.column_stack([-self._around(points, half_mm), page])

    def _around(self, points: np.ndarray, half_mm: float) -> np.ndarray:
        if self.around is None or self.to_pixels is None:
            return np.zeros((len(points), len(WIDTHS)))
        box = half_mm * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        return self.around.at(map_points(self.to_pixels, points[:, None] + box))

    @property
    def span(self) -> float:
        """Lightest over darkest corner of the page, minus 1, without a local map."""
        w, h = self.page_mm
        page = np.array([[0, 0], [w, 0], [w, h], [0, h], [w / 2, h / 2]])
        light = np.exp(_surface(page, self.page_mm) @ self.terms[len(WIDTHS) :])
        return float(light.max() / light.min() - 1)

    def with_tone(self, tone: Tone, local: np.ndarray) -> "Shading":
        """Return the shading as fitted with a known tone and local map (K,)."""
        light = np.log(np.maximum(tone.undo(self.areas), 1e-4).mean(axis=1))
        mapped = self.area_design[:, : len(WIDTHS)] @ local
        page = self.area_design[:, len(WIDTHS) :]
        found = np.concatenate([local, np.linalg.lstsq(page, light - mapped, rcond=None)[0]])
        rest = light - self.area_design @ found
        return self.with_terms(found, np.zeros((0, len(found) - 2)), rest, tone)

    @property
    def colour_change(self) -> float:
        """Greatest change of the light's colour from the target to a corner, logarithm."""
        w, h = self.page_mm
        return float(np.abs(self.tint_at(np.array([[0, 0], [w, 0], [w, h], [0, h]]))).max())

    def with_terms(
        self, found: np.ndarray, drawn: np.ndarray, rest: np.ndarray, tone: Tone
    ) -> "Shading":
        """Return the shading with other terms: found (K + 7,) and what they leave of the areas."""
        light = np.exp(self.area_design[:, :-2] @ found[:-2])
        evened = tone.undo(self.areas) / light[:, None]
        tint = _tint(self.area_design, evened)
        evened = evened / np.exp(self.area_design[:, len(WIDTHS) : -2] @ tint)
        white = self.area_design[:, -2] == 0
        grey = np.median(evened[~white], axis=0) if (~white).any() else self.grey
        left = float(np.sqrt(np.sum(rest**2) / max(len(rest) - 9, 1)))
        return replace(
            self, terms=found[:-2], drawn=drawn, left=left,
            paper=np.median(evened[white], axis=0), grey=grey, tint=tint,
        )  # fmt: skip


def even_light(layout: Layout) -> Shading:
    """Return the shading of a photo that can't tell: even light.

    Examples
    --------
    >>> from dyelab import calibrate, card
    >>> calibrate.even_light(card.layout()).page_mm
    (210.0, 297.0)
    """
    x, y = layout.target_area.centre
    unknown = np.full(3, np.nan)
    count = len(WIDTHS) + 5
    return Shading(
        np.zeros(count), layout.page_mm, (float(x), float(y)), 0.02, 0, unknown, unknown,
        tint=np.zeros((5, 3)), drawn=np.zeros((0, count)), areas=np.empty((0, 3)),
        area_design=np.empty((0, count + 2)), solved=np.zeros(7),
    )  # fmt: skip


def _tint(design: np.ndarray, evened: np.ndarray) -> np.ndarray:
    """Colour of the light over the page (5, 3) from white and grey areas, least squares.

    Near nought the terms are drawn to it: what print and noise tint isn't light.
    """
    colour = np.log(np.maximum(evened, 1e-5))
    colour = colour - colour.mean(axis=1, keepdims=True)
    return _fit_held_back(design[:, len(WIDTHS) :], colour, 5, PRINT_TINT / LIKELY_TINT)[:5]


def _fit_held_back(design: np.ndarray, aim: np.ndarray, held: int, by: float) -> np.ndarray:
    """Least squares, the first terms held back towards nothing."""
    ridge = np.eye(held, design.shape[1]) * by
    aims = np.concatenate([aim, np.zeros((held, *aim.shape[1:]))])
    return np.linalg.lstsq(np.concatenate([design, ridge]), aims, rcond=None)[0]


def _surface(points: np.ndarray, page_mm: tuple[float, float]) -> np.ndarray:
    x, y = np.moveaxis(2 * np.asarray(points, float) / page_mm - 1, -1, 0)
    return np.stack([x, y, x * x, x * y, y * y], axis=-1)


def first_shading(
    pose: Pose, white: np.ndarray, grey: np.ndarray, around: Surround | None, name: str
) -> Shading:
    """Fit the light's fall-off alone, and find which areas count.

    Parameters
    ----------
    pose : Pose
        Of the card.
    white, grey : ndarray (n, 3)
        Mean linear values of its white and grey areas; NaN where not seen.
    around : Surround or None
        Of the photo, for the local map that is fitted later.
    name : str
        The photo's, for messages.

    Raises
    ------
    InputError
        If too few areas are seen for a surface.
    """
    layout = pose.layout
    values = np.concatenate([white, grey])
    places = np.array([a.centre for a in (*layout.white_areas, *layout.grey_areas)])
    is_grey = np.arange(len(values)) >= len(white)
    blank = replace(even_light(layout), around=around, to_pixels=pose.to_pixels)
    design = np.column_stack([blank.design(places, AREA_MM), is_grey, np.ones(len(places))])
    seen = np.isfinite(values).all(axis=1) & (values > 1e-4).all(axis=1)
    light = np.log(np.maximum(np.nan_to_num(values), 1e-4).mean(axis=1))
    kept, terms = _robust(design, light, seen, name)
    found = np.concatenate([np.zeros(len(WIDTHS)), terms[len(WIDTHS) :]])
    first = replace(
        blank, covered=int((seen & ~kept).sum()), areas=values[kept], area_design=design[kept],
        solved=terms[len(WIDTHS) :],
    )  # fmt: skip
    return first.with_terms(
        found, np.zeros((0, len(found) - 2)), (light - design @ terms)[kept], Tone()
    )


def _robust(
    design: np.ndarray, light: np.ndarray, seen: np.ndarray, name: str
) -> tuple[np.ndarray, np.ndarray]:
    """Least squares with a small ridge on the local map, without areas covered or shaded."""
    kept = seen.copy()
    for _ in range(6):
        if kept[design[:, -2] == 0].sum() < 9:
            raise InputError(
                f"{name}: too little of the card's white paper is seen to even out the light. "
                "Keep the side strips and the paper between the windows uncovered."
            )
        terms = _fit_held_back(design[kept], light[kept], len(WIDTHS), HELD)
        off = light - design @ terms
        scale = max(1.4826 * float(np.median(np.abs(off[kept]))), LEAST_OFF)
        now = seen & (np.abs(off) < LIMIT * scale)
        if (now == kept).all():
            break
        kept = now
    return kept, terms
