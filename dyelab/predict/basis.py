"""Colours as a few scores, and scores as colours under any light.

A spectrum, or CIELAB taken back to X/Xn, Y/Yn, Z/Zn, is a row of reflectances. Their √(K/S) is
nearly a sum over what the cloth holds (Kubelka and Munk 1931), and its principal components are
what the model learns. The root evens the noise of pale and of deep shades.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from dyelab import convert, numerics
from dyelab.convert.adaptation import surfaces

_LEAST, _MOST = 0.002, 0.999  # reflectance; K/S runs away below, and turns back above
_STEP = 1e-3
SCORES = 5


@dataclass(frozen=True)
class Basis:
    """Principal components of √(K/S).

    Attributes
    ----------
    wavelengths : ndarray (k,) or None
        In nm; None where the bands are X/Xn, Y/Yn, Z/Zn.
    white : (illuminant, observer)
        Of the book's CIELAB.
    mean : ndarray (k,)
    axes : ndarray (q, k)
        Root K/S for one unit of each score; scores have standard deviation 1 over the book.
    back : ndarray (k, q)
        From root K/S to scores.
    """

    wavelengths: np.ndarray | None
    white: tuple[str, int]
    mean: np.ndarray
    axes: np.ndarray
    back: np.ndarray

    def scores(self, bands: np.ndarray) -> np.ndarray:
        """Scores (n, q) of reflectances (n, k)."""
        return self.of_roots(_roots(bands))

    def of_roots(self, roots: np.ndarray) -> np.ndarray:
        """Scores (..., q) of √(K/S) (..., k)."""
        return (roots - self.mean) @ self.back

    def lab(self, scores: np.ndarray, white: tuple[str, int] | None = None) -> np.ndarray:
        """CIELAB (..., 3) of scores (..., q); from spectra under any light, else adapted."""
        return self.lab_of_roots(self.roots(scores), white)

    def roots(self, scores: np.ndarray) -> np.ndarray:
        """√(K/S) (..., k) of scores (..., q)."""
        return np.maximum(scores @ self.axes + self.mean, 0)

    def fine(self, roots: np.ndarray) -> np.ndarray:
        """K/S (..., k) band by band, narrow enough to be added up.

        Three broad bands aren't: a dye's band fills but a part of each. So each cloth is given the
        spectrum that cloth of its colour usually has.
        """
        if self.wavelengths is not None:
            return roots**2
        return np.maximum(_terms(roots) @ _usual(self.white), 0) ** 2

    def of_fine(self, ks: np.ndarray, parts: np.ndarray) -> np.ndarray:
        """Scores (m, q) of K/S added up, (m, k), from cloths of √(K/S) `parts` (p, m, b).

        What the usual spectra miss of the parts' own colours is mended, each by its share.
        """
        if self.wavelengths is not None:
            return self.of_roots(np.sqrt(ks))
        own = parts**2
        known = own.sum(axis=0) / np.maximum(sum(map(self._broad, self.fine(parts))), 1e-9)
        return self.of_roots(np.sqrt(self._broad(ks) * known))

    def _broad(self, ks: np.ndarray) -> np.ndarray:
        """K/S (m, 3) of X/Xn, Y/Yn, Z/Zn for narrow bands (m, k)."""
        nm, _, _ = surfaces()
        lab = convert.spectrum_to_lab(nm, convert.ks_to_reflectance(ks), *self.white)
        return _roots(bands_of_lab(lab, self.white)) ** 2

    def lab_of_roots(self, roots: np.ndarray, white: tuple[str, int] | None = None) -> np.ndarray:
        """CIELAB (..., 3) of √(K/S) (..., k)."""
        ks = roots**2
        return self.lab_of_bands(convert.ks_to_reflectance(ks, root=roots), white)

    def lab_of_bands(self, bands: np.ndarray, white: tuple[str, int] | None = None) -> np.ndarray:
        """CIELAB (..., 3) of reflectances (..., k)."""
        light = white or self.white
        if self.wavelengths is not None:
            return convert.spectrum_to_lab(self.wavelengths, bands, *light)
        own = convert.white(*self.white)
        lab = convert.xyz_to_lab(bands * own, own)
        return lab if light == self.white else convert.adapt_lab(lab, own, convert.white(*light))

    def slopes(self, scores: np.ndarray, white: tuple[str, int] | None = None) -> np.ndarray:
        """Change of L*, a*, b* by each score, (n, 3, q)."""
        return numerics.slopes(lambda moved: self.lab(moved, white), scores, _STEP)

    def variances(self, scores: np.ndarray, covariances: np.ndarray) -> np.ndarray:
        """Variances (n, q) of the scores for CIELAB covariances (n, 3, 3): the likeliest errors."""
        J = self.slopes(scores)
        inner = J @ np.swapaxes(J, 1, 2) + 1e-6 * np.eye(3)
        pull = np.swapaxes(J, 1, 2) @ np.linalg.inv(inner)
        return np.einsum("nqi,nij,nqj->nq", pull, covariances, pull)


def _terms(roots: np.ndarray) -> np.ndarray:
    """One, the three roots, and their products, (..., 10)."""
    X, Y, Z = np.moveaxis(roots, -1, 0)
    return np.stack([np.ones_like(X), X, Y, Z, X * X, Y * Y, Z * Z, X * Y, X * Z, Y * Z], axis=-1)


@cache
def _usual(white: tuple[str, int]) -> np.ndarray:
    """From `_terms` of three broad bands to √(K/S) of narrow ones, (10, k), by ridge regression.

    Learned from the shipped surfaces. Sums of two cloths of either world then miss their colour by
    a third to a half less, nine in ten (`predict_overdyes.py sums`).
    """
    nm, seen, _ = surfaces()
    lab = convert.spectrum_to_lab(nm, seen, *white)
    X = _terms(_roots(bands_of_lab(lab, white)))
    held = np.diag([0.0, *np.ones(9)])
    return np.linalg.solve(X.T @ X + held, X.T @ _roots(seen))


def of_bands(bands: np.ndarray, wavelengths: np.ndarray | None, white: tuple[str, int]) -> Basis:
    """Learn the components of reflectances (n, k), one row a recipe."""
    roots = _roots(bands)
    mean = roots.mean(axis=0)
    _, sizes, axes = np.linalg.svd(roots - mean, full_matrices=False)
    sd = sizes / np.sqrt(len(roots))
    keep = [i for i in range(min(SCORES, len(sd))) if sd[i] > 1e-6 + 1e-4 * sd[0]] or [0]
    sd = np.maximum(sd[keep], 1e-4)
    return Basis(wavelengths, white, mean, axes[keep] * sd[:, None], axes[keep].T / sd)


def bands_of_lab(lab: np.ndarray, white: tuple[str, int]) -> np.ndarray:
    """X/Xn, Y/Yn, Z/Zn of CIELAB (n, 3): three broad bands, whiteness 1."""
    own = convert.white(*white)
    return convert.lab_to_xyz(lab, own) / own


def _roots(bands: np.ndarray) -> np.ndarray:
    return np.sqrt(convert.ks(np.clip(bands, _LEAST, _MOST)))
