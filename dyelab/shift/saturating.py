"""Saturating curves, y = start + gain (1 - exp(-rate x)), several coordinates sharing one rate.

For a given rate the rest is linear, so only the rate is searched (variable projection, Golub and
Pereyra 1973): a scan of its logarithm finds the basin from anywhere, golden section closes in.
"""

from dataclasses import dataclass

import numpy as np

from dyelab.errors import InputError

_FINEST = 200  # e-folds: rates from 1/200 to 200 times one over the widest dose


@dataclass(frozen=True)
class Saturating:
    """A fitted curve.

    Attributes
    ----------
    rate : float
        Per unit of x; x = ln 2 / rate gives half of the gain.
    coefficients : ndarray (m, q)
        Start (if there is one) and gain, for each of q coordinates.
    rate_error : float
    errors : ndarray (m, q)
        Standard errors from the linearised problem at the solution.
    residual : ndarray (q,)
        Residual standard deviation of each coordinate.
    """

    rate: float
    coefficients: np.ndarray
    rate_error: float
    errors: np.ndarray
    residual: np.ndarray

    @property
    def gain(self) -> np.ndarray:
        """Change at saturation, (q,)."""
        return self.coefficients[-1]

    def at(self, x: np.ndarray) -> np.ndarray:
        """Values at x, (n, q)."""
        return basis(np.asarray(x, float), self.rate, len(self.coefficients) > 1) @ (
            self.coefficients
        )


def basis(x: np.ndarray, rate: float | np.ndarray, start: bool = True) -> np.ndarray:
    """Columns of the linear part: ones (with a start), and 1 - exp(-rate x)."""
    risen = -np.expm1(-np.asarray(rate)[..., None] * x)
    parts = [np.ones_like(risen), risen] if start else [risen]
    return np.stack(parts, axis=-1)


def fit(
    x: np.ndarray, values: np.ndarray, *, start: bool = True, guess: float | None = None
) -> Saturating:
    """Least squares with one rate for all coordinates, each weighted by its own residual.

    Parameters
    ----------
    x : array_like (n,)
        Doses, at least 0.
    values : array_like (n,) or (n, q)
    start : bool
        Whether the curve may start elsewhere than at zero.
    guess : float, optional
        A rate to search around; without it the search covers all rates the doses can show.

    Returns
    -------
    Saturating

    Raises
    ------
    InputError
        If there are too few different doses to tell a rate, or values aren't finite.
    """
    x = np.asarray(x, float)
    y = np.asarray(values, float).reshape(len(x), -1)
    _enough(x, y, start)
    top = x.max()
    rates = np.geomspace(1 / _FINEST, _FINEST, 241) / top if guess is None else _around(guess)
    best = rates[int(np.argmin(_misfit(rates, x, y, start)))]
    low, high = np.log(best) - 0.2, np.log(best) + 0.2
    if guess is not None:
        low, high = np.log(rates[0]), np.log(rates[-1])
    rate = _refined(float(np.exp(_golden(low, high, x, y, start))), x, y, start)
    return _described(rate, x, y, start)


def _enough(x: np.ndarray, y: np.ndarray, start: bool) -> None:
    if not (np.isfinite(x).all() and np.isfinite(y).all() and (x >= 0).all()):
        raise InputError("a dose or a value is missing or negative. Take that row out.")
    different = len(np.unique(x))
    if different < 3 + start or len(x) < 3 + start:
        raise InputError(
            f"{different} different doses don't show a curve: at least {3 + start} are needed, "
            f"{'none among them' if start else 'above zero'}. Dye more doses."
        )


def _around(guess: float) -> np.ndarray:
    return guess * np.geomspace(1e-3, 1e3, 481)


def _linear(rate: float | np.ndarray, x: np.ndarray, y: np.ndarray, start: bool) -> np.ndarray:
    return np.linalg.pinv(basis(x, rate, start)) @ y


def _squares(rates: np.ndarray, x: np.ndarray, y: np.ndarray, start: bool) -> np.ndarray:
    """Residual sum of squares of each coordinate for each rate: (r, q)."""
    rest = y - basis(x, rates, start) @ _linear(rates, x, y, start)
    return np.sum(rest**2, axis=-2)


def _misfit(rates: np.ndarray, x: np.ndarray, y: np.ndarray, start: bool) -> np.ndarray:
    """Minus twice the log likelihood, each coordinate's variance profiled out."""
    return len(x) * np.log(np.maximum(_squares(rates, x, y, start), 1e-300)).sum(axis=-1)


def _golden(low: float, high: float, x: np.ndarray, y: np.ndarray, start: bool) -> float:
    from scipy.optimize import minimize_scalar

    def misfit(log_rate: float) -> float:
        return float(_misfit(np.exp([log_rate]), x, y, start)[0])

    found = minimize_scalar(misfit, bounds=(low, high), method="bounded", options={"xatol": 1e-9})
    return float(found.x)


def _refined(rate: float, x: np.ndarray, y: np.ndarray, start: bool) -> float:
    """Gauss-Newton steps on the rate: squares flatten where their root still has a slope."""
    for _ in range(20):
        design, coefficients = _design(rate, x, y, start)
        rest = (y - basis(x, rate, start) @ coefficients) / _deviations(rate, x, y, start)
        step = np.linalg.lstsq(design, rest.T.ravel(), rcond=None)[0][-1]
        if not np.isfinite(step) or abs(step) > rate / 2:
            return rate
        rate += float(step)
        if abs(step) < 1e-14 * rate:
            break
    return rate


def _deviations(rate: float, x: np.ndarray, y: np.ndarray, start: bool) -> np.ndarray:
    free = max(len(x) - 1 - start - 1 / y.shape[1], 1)
    return np.sqrt(np.maximum(_squares(np.array([rate]), x, y, start)[0], 1e-300) / free)


def _design(
    rate: float, x: np.ndarray, y: np.ndarray, start: bool
) -> tuple[np.ndarray, np.ndarray]:
    """Weighted Jacobian (n q, m q + 1), the rate last, and the linear coefficients."""
    coefficients = _linear(rate, x, y, start)
    linear, slope = basis(x, rate, start), x * np.exp(-rate * x)
    scale = _deviations(rate, x, y, start)
    blocks = np.kron(np.diag(1 / scale), linear)
    last = np.concatenate(
        [slope * gain / s for gain, s in zip(coefficients[-1], scale, strict=True)]
    )
    return np.column_stack([blocks, last]), coefficients


def _described(rate: float, x: np.ndarray, y: np.ndarray, start: bool) -> Saturating:
    design, coefficients = _design(rate, x, y, start)
    size = np.linalg.norm(design, axis=0)
    size = np.where(size > 0, size, 1)
    scaled = design / size
    covariance = np.linalg.pinv(scaled.T @ scaled) / np.outer(size, size)
    errors = np.sqrt(np.maximum(np.diag(covariance), 0))
    shape = coefficients.shape
    return Saturating(
        rate=rate,
        coefficients=coefficients,
        rate_error=float(errors[-1]),
        errors=errors[:-1].reshape(shape[::-1]).T,
        residual=_deviations(rate, x, y, start),
    )
