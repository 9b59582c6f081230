"""Which mordant holds better, whether that is real, and what it costs in hue."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from dyelab import compare, convert, table
from dyelab.compare import CANNOT_TELL, CHANCE, REAL, pots
from dyelab.compare.formulas import distance_gradient
from dyelab.compare.verdicts import NO_REPLICATES, ONE_POT, OWN_POTS, holm
from dyelab.errors import InputError, choose
from dyelab.grade import scales
from dyelab.recipe import metals

POTS, READINGS = "replicate pots", "readings alone"
ONE_LOAD, OTHER_WAY = "one_load", "other_way"
_LACKING = (NO_REPLICATES, ONE_POT, ONE_LOAD, OTHER_WAY)
_NO_DOSE = 1000.0  # % WOF: more than any
_ALIKE = 0.02  # of the colour: shares nearer than this are equal, by how the path is worked out


def compare_fastness(
    grades: pd.DataFrame,
    reference: str,
    *,
    by: str = "variant",
    shared: pd.DataFrame | None = None,
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Compare how far each variant changed with how far the reference did.

    Parameters
    ----------
    grades : DataFrame
        From `grades`, with the column `by`.
    reference : str
        A value of `by`, such as the alum variant.
    by : str
        Column that names the variant; its pots are its replicates.
    shared : DataFrame, optional
        `table.SHARED`: errors that readings of one photo share, which no scatter of pots shows.
    confidence : float

    Returns
    -------
    DataFrame
        One row a variant, exposure and amount: `exposure, amount, unit, test, variant, reference,
        pieces, pots` (the smaller count of the two), `loads` (that both were in), `assumed` (baths
        not recorded, taken for pots of their own), `change, reference_change` (mean ΔE_F), `grade,
        reference_grade` (of the means), `less_change` (positive: changed less), `less_low,
        less_high`, `left, reference_left` (share of the colour still there), `verdict` (``real``,
        ``chance``, ``cannot_tell``; Holm over the rows) with its `caveat`, `holds` (``better``,
        ``worse``, ``had_less`` where it changed less and kept no more of its colour, or blank),
        `basis`, and the cost before any test: `hue_dE00`, `hue_words` (reference to variant).

    Raises
    ------
    InputError
        If the reference isn't there, or was tested with no other variant.

    Notes
    -----
    That a piece changed can be said of one piece. That a recipe holds better needs pieces from two
    pots of each, and two wash loads or lamps that had both: else the verdict is ``cannot_tell``.
    Pots are the replicates, as in `compare.pots`: the changes of pots are fitted by variant and
    load, least squares, and their scatter about that, pooled over the variants, makes the interval;
    where loads disagree on the difference more than that, they do. What all pieces read in one
    photo share is added.
    ``tests/benchmarks/fastness_truth.py`` counts false verdicts in two worlds.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> grades = grade.grades(grade.pair(book.wide(bk)), shared=bk.shared)
    >>> rows = grades[grades["dye"] == "madder"].assign(variant=grades["mordant"])
    >>> grade.compare_fastness(rows, "none")[["variant", "exposure", "verdict"]].head(1)
           variant exposure      verdict
    0  potash alum     wash  cannot_tell
    """
    table.need(grades, [by, "exposure", "amount", "difference"], "comparing fastness")
    choose(str(reference), grades[by].astype(str).unique(), by, "among the tested")
    result = _compare(grades, str(reference), by, shared, confidence)
    if result.empty:
        raise InputError(
            f"fastness: {reference!r} was tested with no other {by} beside it. "
            "Test at least two variants by the same amount."
        )
    return result


def _compare(
    grades: pd.DataFrame, reference: str, by: str, shared: pd.DataFrame | None, confidence: float
) -> pd.DataFrame:
    """No rows where the reference was tested with no other."""
    span = grades["difference_high"] - grades["difference_low"]  # of 95 %
    rows = grades.assign(_u=span / (2 * 1.96))[grades["kind"].eq("change")]
    made = []
    for _, test in rows.groupby(["exposure", "amount", "unit"], sort=False, dropna=False):
        made += _one_test(test, reference, by, shared, confidence)
    return _judge(pd.DataFrame(made), confidence) if made else pd.DataFrame()


def compare_with_plainest(
    grades: pd.DataFrame, *, shared: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Compare the variants of each dye and cloth with the plainest, after the most they had.

    The plainest has least metal, known and over a mordant if there is such.

    Parameters
    ----------
    grades : DataFrame
        From `grades`, with the columns `variant`, `fibre`, `dye`, `mordant` and doses of metals.
    shared : DataFrame, optional
        As for `compare_fastness`.

    Returns
    -------
    DataFrame
        As `compare_fastness` gives it, with `fibre` and `dye`; empty where no dye on one fibre has
        two variants that were tested by the same amount.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> grades = grade.grades(grade.pair(book.wide(bk)), shared=bk.shared)
    >>> rows = grades[grades["dye"] == "madder"].assign(variant=grades["mordant"])
    >>> grade.compare_with_plainest(rows)["reference"].unique().tolist()
    ['potash alum', 'aluminium acetate']
    """
    change = grades[grades["kind"].eq("change") & grades["dye"].ne("none")].reset_index(drop=True)
    doses = change[[c for c in metals.columns().values() if c in change]]
    plain = doses.fillna(_NO_DOSE).sum(axis=1) + _NO_DOSE * change["mordant"].eq("none")
    most = change.groupby(["fibre", "dye", "exposure"])["amount"].transform("max")
    last = change["amount"].eq(most) | most.isna()
    told = [pd.DataFrame()]
    for (fibre, dye), part in change.groupby(["fibre", "dye"], sort=False):
        base = str(part.loc[plain[part.index].idxmin(), "variant"])
        found = _compare(part[last[part.index]], base, "variant", shared, 0.95)
        told.append(found.assign(fibre=fibre, dye=dye))
    return pd.concat([one for one in told if len(one)] or told[:1], ignore_index=True)


def _one_test(
    test: pd.DataFrame, reference: str, by: str, shared: pd.DataFrame | None, confidence: float
) -> list[dict]:
    groups = {str(name): part for name, part in test.groupby(by, sort=False)}
    if reference not in groups:
        return []
    names = list(groups)
    variant = np.array([names.index(str(name)) for name in test[by]])
    fitted = _fit(test, variant, _loadings(test, variant, shared))
    at = names.index(reference)
    base = groups.pop(reference)
    told = test.iloc[0][["exposure", "amount", "unit"]].to_dict()
    told["test"] = ", ".join(sorted(set(test["test"].astype(str)) - {""}))
    made = []
    for name, part in groups.items():
        row = {**told, "variant": name, "reference": reference}
        row |= _less(base, part, fitted, (at, names.index(name)), confidence)
        row |= {"loads": len(set(base["test"]) & set(part["test"]))}  # in which both were
        row |= {"left": _share(part), "reference_left": _share(base)}
        row |= {"_other_way": _read_otherwise(base) or _read_otherwise(part)}
        made.append(row | _cost(base, part))
    return made


@dataclass(frozen=True)
class _Fitted:
    """Changes of pots by variant and load, by least squares.

    Attributes
    ----------
    cells : BathMeans
        Baths of the variants.
    effect : ndarray (p,)
        Of g variants, then of the loads.
    inverse, seen : ndarray (p, p)
        Covariance of the effects, over that of a pot; what of them the pots can tell.
    scatter : float
        Variance of a pot's change.
    freedom : int
        Its degrees of freedom.
    loadings : ndarray (p, q)
        How far each of q errors that readings share moves the effects.
    shown : float
        Part of `scatter` that these explain.
    """

    cells: pots.BathMeans
    effect: np.ndarray
    inverse: np.ndarray
    seen: np.ndarray
    scatter: float
    freedom: int
    loadings: np.ndarray
    shown: float

    def less(self, base: int, part: int) -> tuple[float, float, float]:
        """How much less a variant changed, its variance by the pots, and what they don't show.

        NaN if no load had both.
        """
        apart = np.zeros(len(self.effect))
        apart[base], apart[part] = 1, -1
        if not np.allclose(apart @ self.seen, apart, atol=1e-6):
            return np.nan, np.nan, np.nan
        share = apart @ self.inverse @ apart
        known = ((apart @ self.loadings) ** 2).sum() - self.shown * share
        return float(apart @ self.effect), float(self.scatter * share), max(float(known), 0.0)


def _loadings(test: pd.DataFrame, variant: np.ndarray, shared: pd.DataFrame | None) -> np.ndarray:
    """How far each error that readings share moves each change, (n, q).

    What a camera gets wrong about a recipe is the same for all its pieces, but no other's.
    """
    if shared is None or shared.empty:
        return np.zeros((len(test), 0))
    before, after = (test[[f"{c}{end}" for c in table.LAB]] for end in ("_before", ""))
    slopes = distance_gradient(scales.grey_scale_difference, before.to_numpy(), after.to_numpy())
    found = []
    for i, end in enumerate(("before", "after")):
        names = test[end].astype(str).str.split(", ").reset_index(drop=True)
        rows = pd.DataFrame({"reading": names, "row": names.index, "many": names.str.len()})
        rows = rows.explode("reading").merge(shared, on="reading")
        moves = slopes[rows["row"].to_numpy(int), 3 * i : 3 * i + 3]
        size = (moves * rows[table.LAB].to_numpy(float)).sum(axis=1) / rows["many"].to_numpy(float)
        found.append(rows.assign(size=size))
    every = pd.concat(found, ignore_index=True)
    of_recipe = every.get("scope", pd.Series("", every.index)).eq("recipe")
    recipe = np.where(of_recipe, variant[every["row"].to_numpy(int)], -1)
    keys = pd.MultiIndex.from_arrays([every["source"], every["factor"], recipe])
    factor = pd.factorize(keys)[0] if len(keys) else np.empty(0, int)  # pandas 2 refuses none
    loadings = np.zeros((len(test), int(factor.max(initial=-1)) + 1))
    np.add.at(loadings, (every["row"].to_numpy(int), factor), every["size"].to_numpy(float))
    return loadings


def _fit(test: pd.DataFrame, variant: np.ndarray, loadings: np.ndarray) -> _Fitted:
    blank = pd.Series("", test.index)
    baths, series = (test.get(name, blank).astype(str) for name in ("baths", "series"))
    pot, found = pots.replicates(variant, baths, pd.factorize(series)[0])
    loads = pd.get_dummies(test["test"].astype(str), dtype=float).reset_index(drop=True)
    rows = loads.assign(_change=test["difference"].to_numpy(float))
    means = rows.groupby([variant, pot]).mean()
    moved = pd.DataFrame(loadings).groupby([variant, pot]).mean().to_numpy(float)
    X = np.eye(len(found.count))[means.index.get_level_values(0).to_numpy(int)]
    X, y = np.hstack([X, means[list(loads)].to_numpy()]), means["_change"].to_numpy()
    inverse = np.linalg.pinv(X.T @ X)
    effect = inverse @ X.T @ y
    freedom = len(y) - int(np.linalg.matrix_rank(X))
    scatter = float(((y - X @ effect) ** 2).sum()) / freedom if freedom else np.nan
    moves = inverse @ X.T @ moved
    shown = float(((moved - X @ moves) ** 2).sum()) / max(freedom, 1)
    return _Fitted(found, effect, inverse, inverse @ (X.T @ X), scatter, freedom, moves, shown)


def _less(
    base: pd.DataFrame, part: pd.DataFrame, fitted: _Fitted, at: tuple[int, int], confidence: float
) -> dict:
    means = [float(one["difference"].mean()) for one in (base, part)]
    less, variance, known = fitted.less(*at)
    df, basis = float(fitted.freedom), POTS
    if not np.isfinite(variance):  # by the readings' own noise
        basis, less, df = READINGS, means[0] - means[1], 1e9
        variance = float(sum((one["_u"] ** 2).sum() / len(one) ** 2 for one in (base, part)))
        known = 0.0
    by_load, loads = _between_loads(base, part)
    if by_load > variance:
        variance, df = by_load, float(loads - 1)
    if known > 0 and variance > 0:  # Welch and Satterthwaite: the known lends its certainty
        df *= (1 + known / variance) ** 2
    error = np.sqrt(variance + known)
    reach = special.stdtrit(df, (1 + confidence) / 2) * error
    chance = 2 * special.stdtr(df, -abs(less) / error) if error > 0 else np.nan
    said = scales.change_of(means)[1]
    told = pots.arms(fitted.cells, np.array([at]))
    row = {"pieces": min(one["swatch"].nunique() for one in (base, part))}
    row |= {"pots": int(told.pots.min()), "assumed": bool(told.assumed[0])}
    row |= {"change": means[1], "reference_change": means[0]}
    row |= {"grade": said[1], "reference_grade": said[0]}
    row |= {"less_change": less, "less_low": less - reach, "less_high": less + reach}
    return row | {"basis": basis, "_chance": chance}


def _between_loads(base: pd.DataFrame, part: pd.DataFrame) -> tuple[float, int]:
    """Variance of the mean difference by how the loads disagree on it, and their number."""
    means = [one.groupby("test")["difference"].mean() for one in (base, part)]
    apart = (means[0] - means[1]).dropna()
    return (float(apart.var() / len(apart)), len(apart)) if len(apart) > 1 else (0.0, len(apart))


def _read_otherwise(rows: pd.DataFrame) -> bool:
    """Whether some were read after the test in another way than before it."""
    flags = rows.get("flags", pd.Series("", rows.index)).astype(str)
    return bool(flags.str.contains("_changed").any())


def _share(rows: pd.DataFrame) -> float:
    """Share of the colour still there: by the plainly faded colour nearest, else by chroma."""
    if "tone_left" in rows:
        told = pd.to_numeric(rows["tone_left"], errors="coerce")
        if told.notna().any():
            return float(told.mean())
    chroma = [np.hypot(rows[f"a{end}"], rows[f"b{end}"]).mean() for end in ("", "_before")]
    return float(chroma[0] / max(chroma[1], 1e-6))


def _cost(base: pd.DataFrame, part: pd.DataFrame) -> dict:
    """How far the two lie apart before any test."""
    before = [f"{name}_before" for name in table.LAB]
    swatches = (one.drop_duplicates("swatch") for one in (base, part))
    first, second = (own[before].to_numpy(float).mean(axis=0) for own in swatches)
    far, way = float(convert.dE00(first, second)), compare.direction(first, second)[0]
    return {"hue_dE00": far, "hue_words": way}


def _judge(result: pd.DataFrame, confidence: float) -> pd.DataFrame:
    chance = result.pop("_chance").to_numpy(float)
    told = np.isfinite(chance)
    real = np.zeros(len(result), bool)
    real[told] = holm(chance[told]) < 1 - confidence
    rows = result.to_dict("records")
    both = zip(rows, told, strict=True)
    caveat = [_caveat(row) if known else NO_REPLICATES for row, known in both]
    lacking = np.isin(caveat, _LACKING)
    verdict = np.where(real, REAL, CHANCE).astype(object)
    verdict[~told | lacking] = CANNOT_TELL
    found = zip(rows, verdict, strict=True)
    holds = [_holds(row) if said == REAL else "" for row, said in found]
    return result.drop(columns="_other_way").assign(verdict=verdict, caveat=caveat, holds=holds)


def _caveat(row: dict) -> str:
    """What a verdict on recipes lacks or hangs on."""
    if row["_other_way"]:
        return OTHER_WAY
    if row["pieces"] < 2:
        return NO_REPLICATES
    if row["pots"] < 2:
        return ONE_POT
    if row["loads"] < 2:
        return ONE_LOAD
    return OWN_POTS if row["assumed"] else ""


def _holds(row: dict) -> str:
    """Better only with another grade, and with at least as much of the colour left."""
    if row["grade"] == row["reference_grade"]:
        return ""
    kept_more = row["left"] >= row["reference_left"] - _ALIKE
    if row["less_change"] > 0:
        return "better" if kept_more else "had_less"
    return "worse"
