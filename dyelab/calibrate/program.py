"""What the camera's own program did, and how the light fell: estimated together from the card.

Tone curve, glare and local tone map are told apart from the camera's colours by the patches: the
sum of a spectrum times any response is linear in light, so the right undoing is the one whose
values agree best with what measured cameras could see. A fit to CIELAB would bend the curve to
hide what the camera can't see, most of all under warm light. The light's fall-off and the local
map also show on the card's white and grey areas. All is one least-squares problem; its covariance
gives the doubt that the colours carry on.
"""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from scipy.optimize import least_squares

from dyelab import numerics
from dyelab.calibrate import priors
from dyelab.calibrate.reference import NOISE
from dyelab.calibrate.shading import Shading
from dyelab.calibrate.tone import Tone

DRAWS = 24  # of what could be as true
# How far each may go, standard deviations: the tone's numbers, glare as a share of the frame's
# mean light, a local map's exponent over each width. Half and double of these and of what follows:
# photo_constants.py with their names, or all.
FREE_TONE = np.array([0.35, 0.4, 0.5])
FREE_GLARE, FREE_LOCAL = 0.015, 0.2
AREAS_OFF = 0.006  # of a white or grey area beside the surface of light, relative: print and noise
# Between target and page a map of another form than ours leaves a step, of so much of our map's
# exponents, standard deviation: a quarter is better after a program (photo_constants.py), but does
# harm without one. The card's paper tells it, being white (ISO 12647-2's papers have L* 91 to 96,
# from memory): its reflectance, and relative spread.
STEP, PAPER, PAPER_OFF = 0.1, 0.87, 0.035
_FREE_SURFACE = 2.0  # of the logarithm of light, by each term of its surface: not held back
LEAST_LOCAL = 0.03  # exponent of a local map that may hide where none shows
LOUDER, COLOURED = 1.5, 0.4  # power of the misfit; range of a spectrum over its mean
ODD = 3.0  # misfit, in standard deviations, past which a patch counts less


@dataclass(frozen=True)
class Undoing:
    """Tone and glare that a program added, as undone: light = tone undone, evened, less the veil.

    Attributes
    ----------
    tone : Tone
        Curve.
    veil : ndarray (3,)
        Light that was added everywhere.
    """

    tone: Tone
    veil: np.ndarray

    def values(self, toned: np.ndarray, light: np.ndarray | float = 1.0) -> np.ndarray:
        """Camera values (n, 3) of values with the tone undone, in light (n, 3) as given."""
        return np.maximum(toned / light - self.veil, 1e-6)

    def undo(self, stored: np.ndarray, light: np.ndarray | float = 1.0) -> np.ndarray:
        """Camera values (..., 3) of values linear by the file's own curve."""
        return self.values(self.tone.undo(stored), light)

    def redo(self, values: np.ndarray) -> np.ndarray:
        """Stored values of camera values, in the middle of the target."""
        return self.tone.redo(np.maximum(values, 0) + self.veil)


@dataclass(frozen=True)
class Program:
    """What was undone, and `DRAWS` undoings that could be as true.

    Attributes
    ----------
    best : Undoing
        The likeliest.
    drawn : tuple of Undoing
        Could be as true.
    moved : ndarray (DRAWS, n, 3)
        By how much the n patches' values would differ.
    shading : Shading or None
        The light, with draws of its own in step with these.
    step : float
        Logarithm of the light on the target beside that: what a map of another form did to it.
    misfit : float
        Root mean square of what no camera could see, in standard deviations; 1 is usual.
    """

    best: Undoing
    drawn: tuple[Undoing, ...]
    moved: np.ndarray
    shading: Shading | None
    step: float
    misfit: float


@dataclass(frozen=True)
class _Fit:
    """Least squares: unknowns tone, glare, step, local map, surface of light, two levels."""

    stored: np.ndarray  # (n, 3) patches
    expected: np.ndarray  # (n, 3)
    whitening: np.ndarray  # (3, n, n)
    frame: np.ndarray  # (3,) mean light of the frame
    patch_light: np.ndarray  # (n, K + 5) how the logarithm of the light there follows the unknowns
    tint: np.ndarray  # (n, 3) logarithm of each channel's light there beside that
    areas: np.ndarray  # (m, 3) white and grey areas, stored
    area_light: np.ndarray  # (m, K + 5 + 2)
    noise: float = AREAS_OFF
    free_local: float = FREE_LOCAL

    @property
    def count(self) -> int:
        """Number of unknowns."""
        return 5 + self.area_light.shape[1]

    @property
    def free(self) -> np.ndarray:
        """Prior standard deviation of each unknown."""
        local = self.patch_light.shape[1] - 5
        return np.concatenate([
            FREE_TONE, [FREE_GLARE, STEP * self.free_local], np.full(local, self.free_local),
            np.full(7, _FREE_SURFACE),
        ])  # fmt: skip

    def local(self, move: np.ndarray) -> np.ndarray:
        """Exponents of the local map."""
        return move[5 : self.count - 7]

    def undoing(self, move: np.ndarray) -> Undoing:
        return Undoing(Tone(*move[:3]), move[3] * self.frame)

    def patches(self, move: np.ndarray) -> np.ndarray:
        light = np.exp((self.patch_light @ move[5:-2] + move[4])[:, None] + self.tint)
        return self.undoing(move).undo(self.stored, light)

    def level(self, seen: np.ndarray) -> np.ndarray:
        """Values (3,) of a perfect white, by the patches."""
        return np.asarray((seen * self.expected).sum(axis=0) / (self.expected**2).sum(axis=0))

    def misfits(self, move: np.ndarray) -> np.ndarray:
        """Standardised misfits of the patches, (3, n), of whatever exposure."""
        seen = self.patches(move)
        left = seen / self.level(seen) - self.expected
        return np.einsum("cij,jc->ci", self.whitening, left)

    def paper(self, move: np.ndarray) -> np.ndarray:
        """How much lighter than papers usually are the card's would be, standardised, (0 or 1,)."""
        if not len(self.areas):
            return np.empty(0)
        white = self.level(self.patches(move) + self.undoing(move).veil).mean()
        return np.array([(move[-1] - np.log(white * PAPER)) / PAPER_OFF])

    def uneven(self, move: np.ndarray) -> np.ndarray:
        """What the surface of light leaves of the white and grey areas, relative."""
        light = np.log(np.maximum(Tone(*move[:3]).undo(self.areas), 1e-4).mean(axis=1))
        return light - self.area_light @ move[5:]

    def __call__(self, move: np.ndarray) -> np.ndarray:
        return np.concatenate(
            [_soft(self.misfits(move).ravel()), _soft(self.uneven(move) / self.noise),
             _soft(self.paper(move)), move / self.free]
        )  # fmt: skip


def _soft(off: np.ndarray) -> np.ndarray:
    """Residuals whose squares grow ever more slowly past `ODD` (Cauchy's loss)."""
    return np.sign(off) * ODD * np.sqrt(np.log1p((off / ODD) ** 2))


def fit_program(
    stored: np.ndarray,
    spectra: np.ndarray,
    frame: np.ndarray,
    *,
    shading: Shading | None = None,
    places: np.ndarray | None = None,
    noise: np.ndarray | float = NOISE,
) -> Program:
    """Fit what the program did.

    Parameters
    ----------
    stored : ndarray (n, 3)
        Values of patches, linear by the file's own curve.
    spectra : ndarray (n, 36)
        Their reflectance factors.
    frame : ndarray (3,)
        Mean linear light of the whole picture, which glare spreads.
    shading : Shading, optional
        First guess of the light, with its areas; without it the light is even.
    places : ndarray (n, 2), optional
        Where the patches are, mm on the page.
    noise : float or ndarray (n,)
        Relative standard deviation of a patch's value, its reference included.

    Returns
    -------
    Program
    """
    expected = _expect(spectra)[0]
    seen = stored, expected, _whiten(spectra, noise), frame
    bare = np.zeros((len(stored), 5)), np.zeros_like(stored), np.empty((0, 3)), np.empty((0, 7))
    problem = _Fit(*seen, *bare)
    if shading is not None and places is not None:
        page = shading.design(places), shading.tint_at(places)
        off = max(AREAS_OFF, 0.7 * shading.left)
        problem = _Fit(*seen, *page, shading.areas, shading.area_design, off)
    start = np.zeros(problem.count)
    if shading is not None and len(problem.areas):
        start[-7:] = shading.solved
    found = least_squares(problem, start, method="lm", max_nfev=400)
    own = problem.misfits(found.x)
    loud = float(np.sqrt(np.mean(np.minimum(own, 2 * ODD) ** 2)))
    # Livelier colours than a camera's: then the greys tell more of the curve. And where no width
    # shows a local map there is likely none.
    local = problem.local(found.x)
    problem = replace(
        problem, whitening=_whiten(spectra, noise, max(1.0, loud) ** LOUDER),
        free_local=float(np.hypot(LEAST_LOCAL, np.sqrt(np.mean(local ** 2)) if local.size else 0)),
    )  # fmt: skip
    found = least_squares(problem, found.x, method="lm", max_nfev=200)
    return _program(problem, found.x, found.jac, shading, loud)


def _whiten(spectra: np.ndarray, noise: np.ndarray | float, louder: float = 1.0) -> np.ndarray:
    """Inverse roots (3, n, n) of the patches' covariance; coloured ones err `louder` times more."""
    expected, whole = _expect(spectra)
    coloured = np.ptp(spectra, axis=1) / spectra.mean(axis=1) > COLOURED
    error = (noise * np.where(coloured, louder, 1.0))[:, None] * (expected + 0.02)
    whole = whole + error.T[:, :, None] ** 2 * np.eye(len(spectra))
    return np.linalg.inv(np.linalg.cholesky(whole))


@cache
def response_over_lights() -> tuple[np.ndarray, np.ndarray]:
    """Mean (3, 36) and covariance (3, 36, 36) of responses under whatever light."""
    made = priors.prior()
    mean = made.means.mean(axis=0)
    off = made.means - mean
    spread = np.einsum("lck,lcj->ckj", off, off) / len(off)
    return mean, spread + made.spreads.mean(axis=0)


def _expect(spectra: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    mean, spread = response_over_lights()
    return spectra @ mean.T, spectra @ spread @ spectra.T


def _program(
    problem: _Fit, best: np.ndarray, jacobian: np.ndarray, shading: Shading | None, loud: float
) -> Program:
    spread = np.linalg.inv(jacobian.T @ jacobian) * max(1.0, loud) ** 2
    rng = np.random.default_rng(0)
    root = numerics.root(spread)
    moves = [_rise(best, root @ rng.standard_normal(len(best))) for _ in range(DRAWS)]
    undone = problem.patches(best)
    lit = None
    if shading is not None and len(problem.areas):
        rest = problem.uneven(best)
        drawn = np.array(moves)[:, 5:-2] - best[5:-2]
        lit = shading.with_terms(best[5:], drawn, rest, Tone(*best[:3]))
    return Program(
        problem.undoing(best), tuple(problem.undoing(m) for m in moves),
        np.stack([problem.patches(m) - undone for m in moves]), lit, float(best[4]), loud,
    )  # fmt: skip


def _rise(best: np.ndarray, move: np.ndarray) -> np.ndarray:
    """Move from the best, less far if the tone would not rise there."""
    for share in (1.0, 0.5, 0.25):
        if Tone(*(best + share * move)[:3]).is_rising:
            return best + share * move
    return best
