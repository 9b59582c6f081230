"""Finding the 24-patch target: inside its area on the card, or anywhere in a photo.

Every way the target could lie is a guess at six by four patch centres. A guess is scored by how
much of the colours seen there a linear function of the (square-rooted) reference values explains,
so that only the right place and the right turn score high.
"""

from dataclasses import dataclass
from itertools import product

import numpy as np

from dyelab.calibrate.card_pose import Pose, downsample, map_points
from dyelab.calibrate.colour_fit import to_xyz
from dyelab.calibrate.reference import COLUMNS, ROWS, Reference
from dyelab.errors import InputError
from dyelab.read import Photo

# Half and double of all that follows: tests/benchmarks/card_finding.py. Share of the patches'
# variation that the reference must explain, and lead over the same target turned another way: every
# target laid in its area passes, none of the same colours in another order.
LEAST_SCORE, LEAST_LEAD = 0.9, 0.02
CORE = 0.42  # share of the pitch, about the middle of a patch, that is measured
# Looking for a patch's edges: how far out, in patches; how plain an edge must be, root of light;
# how far one patch may differ from the others, and how many must show theirs.
_WAYS = np.array([[1.0, 0], [-1, 0], [0, 1], [0, -1]])
FARTHEST, SEEN_EDGE, ASTRAY, FEWEST_EDGES = 0.75, 0.05, 0.1, 10
SCALE = 2  # pixels a mm of the straightened area
_PITCHES = 7.0 * 1.08 ** np.arange(15)  # mm from patch to patch
_HELP = (
    "Lay the whole target, clean and unshaded, inside the dashed frame, and give the reference "
    "values of this target."
)
GRID = np.array([[c - (COLUMNS - 1) / 2, r - (ROWS - 1) / 2] for r, c in product(range(ROWS), range(COLUMNS))])  # fmt: skip  # noqa: E501


@dataclass(frozen=True)
class Target:
    """Where the target lies: homography from patch units (pitch 1, middle 0, 0) to pixels."""

    to_pixels: np.ndarray
    score: float

    @property
    def quads(self) -> np.ndarray:
        """Measured inner part of the 24 patches, shape (24, 4, 2), pixels."""
        half = CORE / 2
        corners = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
        return map_points(self.to_pixels, GRID[:, None] + corners)

    @property
    def outline(self) -> np.ndarray:
        """Corners of the field of patches, clockwise from the first patch, pixels."""
        return map_points(self.to_pixels, np.array([[-3.0, -2], [3, -2], [3, 2], [-3, 2]]))


class _Scorer:
    """How well colours at 24 places agree with the reference."""

    def __init__(self, reference: Reference) -> None:
        xyz = np.sqrt(np.maximum(to_xyz(reference.lab, reference.white), 0) / 100)
        self._base, _ = np.linalg.qr(np.column_stack([np.ones(len(xyz)), xyz]))

    def __call__(self, roots: np.ndarray) -> np.ndarray:
        """Explained share of (..., 24, 3) roots of linear values; at most 1."""
        seen = roots - roots.mean(axis=-2, keepdims=True)  # the base spans the mean too
        told = np.square(self._base.T @ seen).sum(axis=(-1, -2))
        total = np.einsum("...ij,...ij->...", seen, seen)
        return np.minimum(told, total) / np.maximum(total, 0.15)


def find_on_card(photo: Photo, pose: Pose, reference: Reference) -> Target:
    """Find the target inside the card's target area: any offset, size and quarter turn.

    Raises
    ------
    InputError
        If it isn't there, is covered, or can't be told from another turn.

    Examples
    --------
    >>> from dyelab import calibrate, read, synth
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> picture = read.photo(photo)
    >>> pose = calibrate.find_card(picture)
    >>> calibrate.find_on_card(picture, pose, calibrate.reference("average")).quads.shape
    (24, 4, 2)
    """
    area = pose.layout.target_area
    onto = np.array([[1 / SCALE, 0, area.x_mm], [0, 1 / SCALE, area.y_mm], [0, 0, 1]])
    picture = _straight(photo, pose.to_pixels @ onto, area.width_mm, area.height_mm)
    score = _Scorer(reference)
    guess, rivals = _search(picture, score)
    best, found = _refine(picture, guess, score)
    if found < LEAST_SCORE or found - rivals < LEAST_LEAD:
        raise InputError(
            f"{photo.name}: the 24-patch target isn't seen in its area (agreement {found:.2f}, "
            f"{LEAST_SCORE} needed). {_HELP}"
        )
    return Target(pose.to_pixels @ onto @ best, found)


def _straight(photo: Photo, to_pixels: np.ndarray, width: float, height: float) -> np.ndarray:
    """Seen from above, roots of linear light, 2 pixels a mm; averaged from a finer copy."""
    import cv2

    fine = 2
    size = (round(width * SCALE) * fine, round(height * SCALE) * fine)
    back = to_pixels @ np.diag([1 / fine, 1 / fine, 1])
    seen = cv2.warpPerspective(
        photo.pixels, back, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    )
    size = (size[0] // fine, size[1] // fine)
    return cv2.resize(_roots(photo, seen), size, interpolation=cv2.INTER_AREA)


def _roots(photo: Photo, stored: np.ndarray) -> np.ndarray:
    curves = np.sqrt(np.maximum(photo.to_linear, 0))
    return np.stack([np.take(curves[:, c], stored[..., c]) for c in range(3)], axis=-1)


def _search(picture: np.ndarray, score: _Scorer) -> tuple[np.ndarray, float]:
    """Best of all places, sizes and quarter turns, and the best score of the other turns."""
    import cv2

    best: dict[int, tuple[float, ...]] = {}
    for pitch in _PITCHES * SCALE:
        side = max(1, 2 * round(CORE * pitch / 2) - 1)
        means = cv2.blur(picture, (side, side), borderType=cv2.BORDER_REPLICATE)
        for turn in range(2):
            places = _places(picture.shape, pitch, turn)
            if not len(places):
                continue
            seen = _at(means, places[:, None] + GRID @ _turn(turn).T * pitch)
            # Upside down, the same places hold the patches in the opposite order.
            for which, values in ((turn, score(seen)), (turn + 2, score(seen[:, ::-1]))):
                i = int(values.argmax())
                if values[i] > best.get(which, (-9.0,))[0]:
                    best[which] = (float(values[i]), pitch, *places[i])
    order = sorted(best, key=lambda t: best[t][0])
    top = best[order[-1]]
    frame = np.eye(3)
    frame[:2, :2] = _turn(order[-1]) * top[1]
    frame[:2, 2] = top[2:]
    return frame, best[order[-2]][0] if len(order) > 1 else 0.0


def _turn(turn: int) -> np.ndarray:
    c, s = ((1, 0), (0, 1), (-1, 0), (0, -1))[turn]
    return np.array([[c, -s], [s, c]], float)


def _places(shape: tuple[int, ...], pitch: float, turn: int) -> np.ndarray:
    """Middles of the target that keep it inside the picture, a fraction of the pitch apart."""
    across, down = (COLUMNS, ROWS) if turn % 2 == 0 else (ROWS, COLUMNS)
    half = np.array([across, down]) * pitch / 2 * 0.97
    spans = np.array([shape[1], shape[0]]) - 2 * half
    if (spans < 0).any():
        return np.empty((0, 2))
    sides = [np.linspace(h, h + s, int(s / (pitch / 3.5)) + 2)
             for h, s in zip(half, spans, strict=True)]  # fmt: skip
    return np.stack(np.meshgrid(*sides), axis=-1).reshape(-1, 2)


def _at(picture: np.ndarray, centres: np.ndarray) -> np.ndarray:
    """Pixels (..., 3) that hold points (..., 2), counted from the picture's own corner."""
    x, y = np.moveaxis(centres.astype(np.intp), -1, 0)
    h, w = picture.shape[:2]
    flat = np.clip(y, 0, h - 1) * w + np.clip(x, 0, w - 1)
    return np.take(picture.reshape(-1, 3), flat, axis=0)


def _between(picture: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Values (n, 3) at points (..., 2) of a picture, straight between pixels."""
    import cv2

    x, y = points.reshape(-1, 2).astype(np.float32).T
    edge = cv2.BORDER_REPLICATE
    return cv2.remap(picture, x[None], y[None], cv2.INTER_LINEAR, borderMode=edge)[0]


def _refine(picture: np.ndarray, frame: np.ndarray, score: _Scorer) -> tuple[np.ndarray, float]:
    """Fine place, size and angle, rewarding patches that are even inside."""
    from scipy.optimize import minimize

    half = CORE / 2
    inner = np.array(list(product(np.linspace(-half, half, 4), repeat=2)))
    points = (GRID[:, None] + inner).reshape(-1, 2)

    def seen(move: np.ndarray) -> np.ndarray:
        values = _between(picture, map_points(_move(frame, move), points))
        return values.reshape(len(GRID), len(inner), 3).astype(float)

    def loss(move: np.ndarray) -> float:
        values = seen(move)
        uneven = values.var(axis=1).mean() / max(values.mean(axis=1).var(axis=0).mean(), 1e-3)
        return float(1 - score(values.mean(axis=1)) + 2 * uneven)

    start = np.vstack([np.zeros(5), 0.15 * np.eye(5)])
    start[3:] *= 0.3
    options = {"initial_simplex": start, "xatol": 2e-3, "fatol": 1e-5, "maxfev": 220}
    found = minimize(loss, np.zeros(5), method="Nelder-Mead", options=options)
    best = _move(frame, found.x)
    best = _centre(picture, _centre(picture, best))
    return best, float(score(seen(found.x).mean(axis=1)))


def _centre(picture: np.ndarray, frame: np.ndarray) -> np.ndarray:
    """The grid moved, stretched and sheared so that the patches' own edges lie evenly about it."""
    right, left, down, up = (_edges(picture, frame, way) for way in _WAYS)
    moves = _affine((right - left) / 2), _affine((down - up) / 2)
    local = np.eye(3)
    for row, move in enumerate(moves):
        local[row] += [move[1], move[2], move[0]]
    return frame @ local


def _edges(picture: np.ndarray, frame: np.ndarray, way: np.ndarray) -> np.ndarray:
    """How far each patch reaches from its middle in one way, in patches; NaN if no edge shows."""
    out, beside = np.linspace(0, FARTHEST, 40), np.linspace(-0.15, 0.15, 5)
    lines = out[:, None, None] * way + beside[:, None] * way[::-1]
    values = _between(picture, map_points(frame, GRID[:, None, None] + lines))
    values = values.reshape(len(GRID), len(out), len(beside), 3).mean(axis=2)
    off = np.linalg.norm(values - values[:, :8].mean(axis=1, keepdims=True), axis=-1)
    top = off.max(axis=1)
    found = out[(off > 0.5 * top[:, None]).argmax(axis=1)]
    return np.where((top > SEEN_EDGE) & (found > 0.2), found, np.nan)


def _affine(offsets: np.ndarray) -> np.ndarray:
    """Offset (24,) of the patches as 1, column, row: (3,), those far from the rest left out."""
    design, seen = np.column_stack([np.ones(len(GRID)), GRID]), np.isfinite(offsets)
    for _ in range(3):
        if seen.sum() < FEWEST_EDGES:
            return np.zeros(3)
        move = np.linalg.lstsq(design[seen], offsets[seen], rcond=None)[0]
        seen = np.isfinite(offsets) & (np.abs(offsets - design @ move) < ASTRAY)
    return move


def _move(frame: np.ndarray, move: np.ndarray) -> np.ndarray:
    """Shift by patches, then log size across and down, then angle in radians."""
    right, down, wide, high, angle = move
    c, s = np.cos(angle), np.sin(angle)
    local = np.array([[c * np.exp(wide), -s * np.exp(high), right],
                      [s * np.exp(wide), c * np.exp(high), down], [0, 0, 1]])  # fmt: skip
    return frame @ local


def from_outline(corners: np.ndarray) -> Target:
    """Target whose field of patches somebody has shown: corners (4, 2) in pixels, clockwise.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import calibrate
    >>> corners = np.array([[0.0, 0], [60, 0], [60, 40], [0, 40]])
    >>> calibrate.from_outline(corners).quads.shape
    (24, 4, 2)
    """
    import cv2

    field = np.array([[-3, -2], [3, -2], [3, 2], [-3, 2]], np.float32)
    return Target(cv2.getPerspectiveTransform(field, np.asarray(corners, np.float32)), np.nan)


def find_anywhere(photo: Photo, reference: Reference) -> Target:
    """Find the target in a photo without our card.

    Raises
    ------
    InputError
        If it isn't found, or can't be told from another turn.

    Examples
    --------
    >>> from dyelab import calibrate, read, synth
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> picture = read.photo(photo)
    >>> calibrate.find_anywhere(picture, calibrate.reference("average")).quads.shape
    (24, 4, 2)
    """
    step = max(1, round(max(photo.pixels.shape) / 1400))
    picture = _roots(photo, downsample(photo.pixels, step))
    score = _Scorer(reference)
    tried = (_align(picture, quads, score) for quads in _quad_groups(picture))
    options = [option for option in tried if option is not None]
    best = max(options, key=lambda option: option[1], default=None)
    if best is None or best[1] < LEAST_SCORE:
        found = "" if best is None else f" (agreement {best[1]:.2f}, {LEAST_SCORE} needed)"
        raise InputError(
            f"{photo.name}: no 24-patch target found in the photo{found}. Show it whole, clean, "
            "unshaded and at least 150 pixels wide; or drag its outline on the page of photos."
        )
    full = np.array([[step, 0, (step - 1) / 2], [0, step, (step - 1) / 2], [0, 0, 1]])
    return Target(full @ best[0], best[1])


def _quad_groups(picture: np.ndarray) -> list[np.ndarray]:
    """Groups of neighbouring four-sided spots of like size: centres and two sides (n, 3, 2)."""
    import cv2

    found = []
    shown = np.clip(picture, 0, 1)
    for channel in range(3):
        plane = (255 * shown[..., channel]).astype(np.uint8)
        for window in (11, 31, 75):
            for flip in (cv2.THRESH_BINARY, cv2.THRESH_BINARY_INV):
                mask = cv2.adaptiveThreshold(
                    plane, 255, cv2.ADAPTIVE_THRESH_MEAN_C, flip, window, 2
                )
                mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
                found += _quads(mask)
    return _group(_distinct(found))


def _quads(mask: np.ndarray) -> list[np.ndarray]:
    import cv2

    outlines, _ = cv2.findContours(mask, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)
    kept = []
    for outline in outlines:
        area = cv2.contourArea(outline)
        if not 80 < area < mask.size / 60:
            continue
        corners = cv2.approxPolyDP(outline, 0.06 * cv2.arcLength(outline, True), True)
        if len(corners) != 4 or not cv2.isContourConvex(corners):
            continue
        (centre, (w, h), _) = cv2.minAreaRect(outline)
        if min(w, h) < 0.6 * max(w, h) or area < 0.8 * w * h:
            continue
        p = corners[:, 0].astype(float)
        across, down = (p[1] + p[2] - p[0] - p[3]) / 2, (p[2] + p[3] - p[0] - p[1]) / 2
        kept.append(np.array([centre, across, down]))
    return kept


def _distinct(quads: list[np.ndarray]) -> np.ndarray:
    kept: list[np.ndarray] = []
    for quad in sorted(quads, key=lambda q: -np.linalg.norm(q[1])):
        side = np.linalg.norm(quad[1])
        if all(np.linalg.norm(quad[0] - other[0]) > 0.5 * side for other in kept):
            kept.append(quad)
    return np.array(kept).reshape(-1, 3, 2)


def _group(quads: np.ndarray) -> list[np.ndarray]:
    """Chains of quads that lie within two sides of each other and are of like size."""
    groups, free = [], set(range(len(quads)))
    sides = np.linalg.norm(quads[:, 1:], axis=2).mean(axis=1) if len(quads) else np.empty(0)
    while free:
        group, edge = set(), {free.pop()}
        while edge:
            i = edge.pop()
            group.add(i)
            near = [j for j in free
                    if np.linalg.norm(quads[j, 0] - quads[i, 0]) < 2 * sides[i]
                    and 0.6 < sides[j] / sides[i] < 1.6]  # fmt: skip
            free -= set(near)
            edge |= set(near)
        if len(group) >= 6:
            groups.append(quads[sorted(group)])
    return groups


def _align(
    picture: np.ndarray, quads: np.ndarray, score: _Scorer
) -> tuple[np.ndarray, float] | None:
    """Lay the six by four grid over a group of quads in every possible way; keep the best."""
    import cv2

    found = _cells(quads)
    if found is None or len(np.unique(found[0], axis=0)) < 6:
        return None
    cells, quads = found
    lattice, _ = cv2.findHomography(cells.astype(float), quads[:, 0], cv2.RANSAC, 4.0)
    if lattice is None:
        return None
    low, high = cells.min(axis=0), cells.max(axis=0)
    best: tuple[np.ndarray, float] | None = None
    for turn in range(4):
        reach = np.abs(_turn(turn) @ [(COLUMNS - 1) / 2, (ROWS - 1) / 2])
        for x, y in product(*(_middles(low[i], high[i], reach[i]) for i in range(2))):
            frame = np.eye(3)
            frame[:2, :2], frame[:2, 2] = _turn(turn), (x, y)
            value = _score(picture, lattice @ frame, score)
            if best is None or value > best[1]:
                best = (lattice @ frame, value)
    if best is None or best[1] < 0.6:
        return best
    return _refine(picture, best[0], score)


def _middles(low: int, high: int, reach: float) -> np.ndarray:
    """Middles of the target along one axis that cover the cells seen, one way or the other."""
    a, b = high - reach, low + reach
    return np.arange(min(a, b), max(a, b) + 0.5)


def _cells(quads: np.ndarray) -> tuple[np.ndarray, np.ndarray] | None:
    """Whole-number places in a common lattice, by walking from quad to quad, and the quads."""
    across, down = np.array([_axis(quads, 0), _axis(quads, 1)])
    basis = np.column_stack([across, down])
    if abs(np.linalg.det(basis)) < 1e-6:
        return None
    start = int(np.linalg.norm(quads[:, 0] - quads[:, 0].mean(axis=0), axis=1).argmin())
    cells = {start: np.zeros(2, int)}
    edge = [start]
    while edge:
        i = edge.pop(0)
        moves = (quads[:, 0] - quads[i, 0]) @ np.linalg.inv(basis).T / 1.18
        for j in np.flatnonzero(np.abs(moves).max(axis=1) < 1.35):
            step = np.rint(moves[j])
            if int(j) not in cells and np.abs(moves[j] - step).max() < 0.3 and step.any():
                cells[int(j)] = cells[i] + step.astype(int)
                edge.append(int(j))
    order = sorted(cells)
    return np.array([cells[i] for i in order]), quads[order]


def _axis(quads: np.ndarray, which: int) -> np.ndarray:
    """Mean side of the quads, each turned so that the sides agree."""
    first = quads[0, 1] if abs(quads[0, 1, 0]) >= abs(quads[0, 2, 0]) else quads[0, 2]
    wanted = first if which == 0 else np.array([-first[1], first[0]])
    sides = np.concatenate([quads[:, 1], quads[:, 2], -quads[:, 1], -quads[:, 2]])
    n = len(quads)
    pick = (sides @ wanted).reshape(4, n).argmax(axis=0)
    return np.median(sides[pick * n + np.arange(n)], axis=0)


def _score(picture: np.ndarray, frame: np.ndarray, score: _Scorer) -> float:
    at = np.rint(map_points(frame, GRID)).astype(int)
    if (at < 0).any() or (at >= picture.shape[1::-1]).any():
        return -1.0
    return float(score(picture[at[:, 1], at[:, 0]]))
