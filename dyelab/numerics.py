"""Arithmetic on arrays that several rooms need, each idea written once."""

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import wraps
from typing import Any

import numpy as np
from threadpoolctl import threadpool_limits

# Colours worked on at a time. So many keep their intermediate arrays in a processor core's own
# memory, and are enough for what Python adds to each piece not to count; half or twice as many
# cost the same within 5 % (tests/benchmarks/large_arrays.py).
PIECE = 16_384
_THREADS = 4  # at the most: beyond, the machine's memory sets the pace

Colours = Callable[..., np.ndarray]

# Run a function with one thread of linear algebra: where matrices are small, threads wait for one
# another longer than they work (on a busy machine 0.7 s became 7 to 300 s).
one_thread = threadpool_limits.wrap(limits=1, user_api="blas")


def in_pieces(colours: int) -> Callable[[Colours], Colours]:
    """Let a function of colours take large arrays in pieces, on several threads.

    Parameters
    ----------
    colours : int
        How many of its first arguments are arrays (..., 3) that broadcast against each other.
        Each colour's result must depend on that colour alone.

    Returns
    -------
    callable
        Decorator; the function it makes gives the same results.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import numerics
    >>> twice = numerics.in_pieces(1)(lambda colours: 2 * colours[..., 0])
    >>> twice(np.ones((4, 3))).tolist()
    [2.0, 2.0, 2.0, 2.0]
    """

    def decorated(function: Colours) -> Colours:
        @wraps(function)
        def whole(*given: Any, **options: Any) -> np.ndarray:
            arrays, rest = [np.asarray(a, float) for a in given[:colours]], given[colours:]
            shape = np.broadcast_shapes(*(a.shape for a in arrays))
            if np.prod(shape[:-1]) < 2 * PIECE:
                return function(*arrays, *rest, **options)
            flat = [np.broadcast_to(a, shape).reshape(-1, shape[-1]) for a in arrays]

            def worked(start: int) -> np.ndarray:
                return function(*(a[start : start + PIECE] for a in flat), *rest, **options)

            with ThreadPoolExecutor(min(os.cpu_count() or 1, _THREADS)) as pool:
                found = np.concatenate(list(pool.map(worked, range(0, len(flat[0]), PIECE))))
            return found.reshape(*shape[:-1], *found.shape[1:])

        return whole

    return decorated


def semidefinite(matrices: np.ndarray) -> np.ndarray:
    """Nearest covariance to each symmetric matrix (..., k, k): negative variances set to zero.

    Matrices that are not finite are left as they are.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import numerics
    >>> numerics.semidefinite(np.array([[1.0, 2.0], [2.0, 1.0]])).round(2).tolist()
    [[1.5, 1.5], [1.5, 1.5]]
    """
    result = np.array(matrices, float)
    known = np.isfinite(result).all(axis=(-2, -1))
    values, vectors = np.linalg.eigh(result[known])
    result[known] = (vectors * np.maximum(values, 0)[..., None, :]) @ np.swapaxes(vectors, -1, -2)
    return result


def root(matrices: np.ndarray) -> np.ndarray:
    """R with R Rᵀ the covariance (..., k, k), its columns along the covariance's own axes.

    Negative variances count as zero.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import numerics
    >>> half = numerics.root(np.diag([4.0, 9.0]))
    >>> (half @ half.T).round(2).tolist()
    [[4.0, 0.0], [0.0, 9.0]]
    """
    values, vectors = np.linalg.eigh((matrices + np.swapaxes(matrices, -1, -2)) / 2)
    return vectors * np.sqrt(np.maximum(values, 0))[..., None, :]


def symmetric_root(matrices: np.ndarray) -> np.ndarray:
    """Symmetric S with S S the covariance (..., k, k); negative variances count as zero.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import numerics
    >>> numerics.symmetric_root(np.diag([4.0, 9.0])).round(2).tolist()
    [[2.0, 0.0], [0.0, 3.0]]
    """
    values, vectors = np.linalg.eigh(matrices)
    return (vectors * np.sqrt(np.maximum(values, 0))[..., None, :]) @ np.swapaxes(vectors, -1, -2)


def slopes(function: Colours, at: np.ndarray, step: float) -> np.ndarray:
    """Derivatives (n, m, k) of m results by k coordinates, by central differences.

    Parameters
    ----------
    function : callable
        (n, k, k) points, one moved along each coordinate, to (n, k, m) results.
    at : ndarray (n, k)
    step : float
        How far each coordinate is moved to either side.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import numerics
    >>> numerics.slopes(lambda lab: lab**2, np.array([[3.0]]), 0.01).round(2).tolist()
    [[[6.0]]]
    """
    moves = step * np.eye(at.shape[1])
    up, down = function(at[:, None] + moves), function(at[:, None] - moves)
    return np.swapaxes(up - down, 1, 2) / (2 * step)


def gain(known: np.ndarray, across: np.ndarray, noise: float) -> np.ndarray:
    """Weights (n, m) with which m observations of a Gaussian tell of n other points.

    Their mean is gain @ observed, and gain @ across.T is taken off their covariance (Rasmussen and
    Williams 2006, equations 2.25 and 2.26).

    Parameters
    ----------
    known : ndarray (m, m)
        Covariance of what is observed.
    across : ndarray (n, m)
        Its covariance with the other points.
    noise : float
        Variance of one observation.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import numerics
    >>> numerics.gain(np.eye(1), np.array([[0.5]]), 1.0).tolist()
    [[0.25]]
    """
    return np.linalg.solve(known + noise * np.eye(len(known)), across.T).T


def greedy(covariance: np.ndarray, noise: float, count: int) -> list[int]:
    """Points whose observation leaves least variance in all, one after the other.

    Parameters
    ----------
    covariance : ndarray (n, n)
        Of a Gaussian at n points.
    noise : float
        Variance of one observation.
    count : int

    Returns
    -------
    list of int
        At most `count` different rows, the most telling first.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import numerics
    >>> numerics.greedy(np.diag([1.0, 5.0, 2.0]), 0.1, 2)
    [1, 2]
    """
    left = np.array(covariance, float)
    chosen: list[int] = []
    for _ in range(min(count, len(left))):
        gain = (left**2).sum(axis=1) / (np.diag(left) + noise)
        gain[chosen] = -1.0
        best = int(np.argmax(gain))
        chosen.append(best)
        left -= np.outer(left[best], left[best]) / (left[best, best] + noise)
    return chosen


def first_reached(x: np.ndarray, above: np.ndarray) -> np.ndarray:
    """First x at which each row of `above` (d, n), straight between points, is not below 0.

    Infinite for a row that always is.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import numerics
    >>> above = np.array([[-1.0, 1.0, 2.0], [-3.0, -2.0, -1.0]])
    >>> numerics.first_reached(np.array([0.0, 4.0, 8.0]), above).tolist()
    [2.0, inf]
    """
    reached = above >= 0
    at, row = np.argmax(reached, axis=1), np.arange(len(above))
    before = np.maximum(at - 1, 0)
    low, high = above[row, before], above[row, at]
    part = np.where(high > low, -low / np.where(high > low, high - low, 1), 0.0)
    place = x[before] + np.clip(part, 0, 1) * (x[at] - x[before])
    return np.where(reached.any(axis=1), place, np.inf)
