"""Colours as a few scores, and scores as colours under any light.

A spectrum, or CIELAB taken back to X/Xn, Y/Yn, Z/Zn, is a row of reflectances. Their √(K/S) is
nearly a sum over what the cloth holds (Kubelka and Munk 1931), and its principal components are
what the model learns. The root evens the noise of pale and of deep shades.
"""

from dataclasses import dataclass

import numpy as np

from dyelab import convert, numerics

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
        return (_roots(bands) - self.mean) @ self.back

    def lab(self, scores: np.ndarray, white: tuple[str, int] | None = None) -> np.ndarray:
        """CIELAB (..., 3) of scores (..., q); from spectra under any light, else adapted."""
        return self.lab_of_roots(self.roots(scores), white)

    def roots(self, scores: np.ndarray) -> np.ndarray:
        """√(K/S) (..., k) of scores (..., q)."""
        return np.maximum(scores @ self.axes + self.mean, 0)

    def lab_of_roots(self, roots: np.ndarray, white: tuple[str, int] | None = None) -> np.ndarray:
        """CIELAB (..., 3) of √(K/S) (..., k)."""
        ks = roots**2
        return self.lab_of_bands(convert.ks_to_reflectance(ks, root=roots), white)

    def lab_of_bands(self, bands: np.ndarray, white: tuple[str, int] | None = None) -> np.ndarray:
        """CIELAB (..., 3) of reflectances (..., k)."""
        light = white or self.white
        if self.wavelengths is not None:
            return convert.spectrum_to_lab(
                self.wavelengths, bands, illuminant=light[0], observer=light[1]
            )
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
