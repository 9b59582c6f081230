"""Designs: the whole cross, a regular fraction of it, or the best few recipes for a model.

Each design is a table of level numbers, one column a factor. What a smaller design can no
longer tell is worked out from the model matrix itself, so it holds for any of them.
"""

import itertools
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from dyelab import words
from dyelab.errors import InputError

Term = tuple[str, ...]
_RIDGE = 1e-6  # keeps the first rows of a design, too few for its terms, comparable


def contrasts(count: int) -> np.ndarray:
    """Orthonormal contrasts of a factor's levels: (count, count - 1), each column sums to 0."""
    full = np.linalg.qr(np.column_stack([np.ones(count), np.eye(count)[:, : count - 1]]))[0]
    return full[:, 1:] * np.sqrt(count)


def block(design: pd.DataFrame, sizes: Mapping[str, int], term: Term) -> np.ndarray:
    """Columns of the model matrix for a term: products of its factors' contrasts."""
    columns = np.ones((len(design), 1))
    for name in term:
        own = contrasts(sizes[name])[design[name].to_numpy(int)]
        columns = (columns[:, :, None] * own[:, None, :]).reshape(len(design), -1)
    return columns


def model_matrix(
    design: pd.DataFrame, sizes: Mapping[str, int], terms: Sequence[Term]
) -> np.ndarray:
    """Model matrix with a constant first, then each term's columns.

    Examples
    --------
    >>> from dyelab import plan
    >>> sizes = {"iron": 2, "dye": 2, "mordant": 2}
    >>> design, resolution = plan.fraction(sizes, 2)
    >>> plan.model_matrix(design, sizes, [("iron",)]).shape
    (4, 2)
    """
    parts = [np.ones((len(design), 1)), *(block(design, sizes, term) for term in terms)]
    return np.hstack(parts)


def all_terms(sizes: Mapping[str, int], most: int = 2) -> list[Term]:
    """Every effect up to `most` factors acting together; a factor of one level has none.

    Examples
    --------
    >>> from dyelab import plan
    >>> plan.all_terms({"iron": 2, "dye": 3})
    [('iron',), ('dye',), ('iron', 'dye')]
    """
    names = [name for name, count in sizes.items() if count > 1]
    return [t for size in range(1, most + 1) for t in itertools.combinations(names, size)]


def fraction(sizes: Mapping[str, int], by: int, times: int = 1) -> tuple[pd.DataFrame, int]:
    """Take one recipe in ``by ** times`` of the whole cross, balanced, of the best resolution.

    Parameters
    ----------
    sizes : mapping of str to int
        Levels of each factor.
    by : int
        2 or 3 (a prime): a half or a third. Factors whose levels `by` divides take part.
    times : int
        How often to divide.

    Returns
    -------
    design : DataFrame
        Level numbers.
    resolution : int
        3: no main effect is mixed with another main effect; 4: nor with two factors acting
        together; 5: nor are two of those with each other.

    Raises
    ------
    InputError
        If too few factors can be divided so.

    Examples
    --------
    >>> from dyelab import plan
    >>> sizes = {"iron": 2, "dye": 2, "mordant": 2}
    >>> design, resolution = plan.fraction(sizes, 2)
    >>> design
       iron  dye  mordant
    0     0    0        0
    1     0    1        1
    2     1    0        1
    3     1    1        0
    """
    names = [name for name, count in sizes.items() if count > 1 and count % by == 0]
    words = _words(len(names), by, times)
    if words is None:
        raise InputError(
            f"no balanced part: dividing by {by**times} needs more factors whose number of levels "
            f"is a multiple of {by}. Found: {', '.join(names) or 'none'}. Add such levels, divide "
            "by less, or choose the optimal design, with as many recipes as you like."
        )
    full = pd.DataFrame(
        list(itertools.product(*(range(count) for count in sizes.values()))), columns=list(sizes)
    )
    kept = ((full[names].to_numpy() @ words.T) % by == 0).all(axis=1)
    return full[kept].reset_index(drop=True), _resolution(words, by)


def _words(count: int, by: int, times: int) -> np.ndarray | None:
    """Defining words (times, count) over the numbers modulo `by` with the longest shortest word.

    The last `times` factors are set by the others: each word is one such rule.
    """
    free = count - times
    rules = [
        v for v in itertools.product(range(by), repeat=max(free, 0)) if np.count_nonzero(v) > 1
    ]
    rules.sort(key=np.count_nonzero, reverse=True)
    best, length = None, 2
    for chosen in itertools.islice(itertools.combinations(rules, times), 20_000):
        words = np.hstack([np.array(chosen), (by - 1) * np.eye(times, dtype=int)])
        found = _resolution(words, by)
        if found > length:
            best, length = words, found
    return best


def _resolution(words: np.ndarray, by: int) -> int:
    """Length of the shortest defining word."""
    sums = (
        np.array(c) @ words % by for c in itertools.product(range(by), repeat=len(words)) if any(c)
    )
    return min(int(np.count_nonzero(total)) for total in sums)


def optimal(
    candidates: pd.DataFrame,
    sizes: Mapping[str, int],
    terms: Sequence[Term],
    runs: int,
    *,
    seed: int = 1,
    starts: int = 8,
) -> pd.DataFrame:
    """Choose the recipes that determine a model best (D-optimal, by exchange of rows).

    Parameters
    ----------
    candidates : DataFrame
        Level numbers of every recipe that may be dyed.
    terms : sequence of tuple of str
        Effects to tell apart.
    runs : int
        How many recipes.
    seed, starts : int
        The search begins from several random choices and keeps the best.

    Raises
    ------
    InputError
        If `runs` is too few for the model, with the number needed.

    Examples
    --------
    >>> from dyelab import plan
    >>> factors = {"fibre": ["wool"], "dye": ["madder 50", "weld 50"], "iron": [0, 2]}
    >>> chosen = plan.levels(factors)
    >>> sizes = {name: len(found) for name, found in chosen.items()}
    >>> len(plan.optimal(plan.full_factorial(chosen), sizes, plan.all_terms(sizes, 1), 4))
    4
    """
    X = model_matrix(candidates, sizes, terms)
    needed = int(np.linalg.matrix_rank(X))
    if runs < needed:
        raise InputError(
            f"{runs} recipes can't tell these effects apart: {needed} are needed. Ask for "
            f"{needed} or more, or leave out effects of factors acting together."
        )
    full = needed == X.shape[1]
    basis = np.linalg.qr(X)[0] if full else np.linalg.svd(X, full_matrices=False)[0][:, :needed]
    rng = np.random.default_rng(seed)
    found = [_exchange(basis, rng, min(runs, len(basis))) for _ in range(starts)]
    rows = max(found, key=lambda rows: np.linalg.slogdet(basis[rows].T @ basis[rows])[1])
    return candidates.iloc[sorted(rows)].reset_index(drop=True)


def _exchange(X: np.ndarray, rng: np.random.Generator, runs: int) -> list[int]:
    """Swap a chosen row for a better one until none is.

    Fedorov 1972, Theory of Optimal Experiments: swapping row i for row j multiplies the
    determinant by (1 + d_j)(1 - d_i) + d_ij², with d = X (XᵀX)⁻¹ Xᵀ over the rows chosen.
    """
    rows = rng.choice(len(X), runs, replace=False)
    for _ in range(60 * runs):
        inverse = np.linalg.inv(X[rows].T @ X[rows] + _RIDGE * np.eye(X.shape[1]))
        across = X[rows] @ inverse @ X.T  # (chosen, all)
        own = np.einsum("ij,jk,ik->i", X, inverse, X)
        gain = (1 - own[rows])[:, None] * (1 + own)[None, :] + across**2
        gain[:, rows] = 0
        out, into = np.unravel_index(np.argmax(gain), gain.shape)
        if gain[out, into] < 1 + 1e-6:
            break
        rows[out] = into
    return [int(row) for row in rows]


def cannot_tell(design: pd.DataFrame, sizes: Mapping[str, int]) -> list[str]:
    """Say in words what a design can't tell, up to two factors acting together.

    Two effects are mixed where their columns of the model matrix are not independent.

    Examples
    --------
    >>> from dyelab import plan
    >>> sizes = {"iron": 2, "dye": 2, "mordant": 2}
    >>> design, resolution = plan.fraction(sizes, 2)
    >>> plan.cannot_tell(design, sizes)[0]
    "the effect of iron can't be told from dye and mordant acting together."
    """
    terms = all_terms(sizes)
    blocks = {term: block(design, sizes, term) for term in terms}
    blocks = {term: columns - columns.mean(axis=0) for term, columns in blocks.items()}
    full = {term: int(np.prod([sizes[name] - 1 for name in term])) for term in terms}
    rank = {term: _rank(columns) for term, columns in blocks.items()}
    lost = [term for term in terms if rank[term] < full[term]]
    said = [words.say("series.uncompared", effect=_name(term)) for term in lost]
    sound = [term for term in terms if term not in lost]
    for one, two in itertools.combinations(sound, 2):
        if _rank(np.hstack([blocks[one], blocks[two]])) < rank[one] + rank[two]:
            named = {"effect": _name(one), "other": _name(two)}
            said.append(words.say("series.mixed", **named))
    return said + _joint(sound, blocks, rank, bool(said))


def _joint(
    sound: list[Term], blocks: dict[Term, np.ndarray], rank: dict[Term, int], said: bool
) -> list[str]:
    """Whether all effects together are too many for the recipes, though each pair is not."""
    if said or not sound:
        return []
    mains = [term for term in sound if len(term) == 1]
    for chosen, what in ((mains, "single"), (sound, "paired")):
        total = sum(rank[term] for term in chosen)
        if _rank(np.hstack([blocks[term] for term in chosen])) < total:
            return [words.say(f"series.too_few_{what}")]
    return []


def _rank(columns: np.ndarray) -> int:
    return int(np.linalg.matrix_rank(columns, tol=1e-8)) if columns.size else 0


def _name(term: Term) -> str:
    named = words.say("series.and").join(map(words.heading, term))
    return words.say("series.effect" if len(term) == 1 else "series.together", what=named)
