"""Which mordant holds better, whether that is real, and what it costs in hue."""

import numpy as np
import pandas as pd
from scipy import special

from dyelab import compare, convert, table
from dyelab.compare.verdicts import CANNOT_TELL, CHANCE, NO_REPLICATES, ONE_POT, REAL, holm
from dyelab.errors import InputError, choose
from dyelab.grade import scales

SWATCHES, READINGS = "replicate swatches", "readings alone"


def holding(
    grades: pd.DataFrame, reference: str, *, by: str = "variant", confidence: float = 0.95
) -> pd.DataFrame:
    """Compare how far each variant changed with how far the reference did.

    Parameters
    ----------
    grades : DataFrame
        From `graded`, with the column `by`.
    reference : str
        A value of `by`, such as the alum variant.
    by : str
        Column that names the variant; its swatches are its replicates.
    confidence : float

    Returns
    -------
    DataFrame
        One row a variant, exposure and amount: `exposure, amount, unit, variant, reference,
        pieces, change, reference_change` (mean ΔE_F), `grade, reference_grade` (of the means),
        `less_change` (positive: holds better), `less_low, less_high`, `verdict` (``real``,
        ``chance``, ``cannot_tell``; Holm over the rows) with its `caveat`, `holds` (``better``,
        ``worse``, or blank where not real), `basis`, and the cost before any test: `hue_dE00`,
        `hue_words` (reference to variant).

    Raises
    ------
    InputError
        If the reference isn't there, or was tested with no other variant.

    Notes
    -----
    With replicates the scatter of their changes, pooled over the variants, makes the interval.
    Without them it rests on the readings: then it holds for these very pieces, and another
    swatch of the recipe may behave otherwise.
    """
    table.need(grades, [by, "exposure", "amount", "difference"], "comparing fastness")
    choose(str(reference), grades[by].astype(str).unique(), by, "among the tested")
    before = [f"{name}_before" for name in table.LAB]
    used = [by, "swatch", "exposure", "amount", "unit", "test", "difference", *before]
    rows = grades.loc[grades["kind"].eq("change"), used].assign(_u=_standard(grades))
    made = []
    for _, test in rows.groupby(["exposure", "amount", "unit", "test"], sort=False, dropna=False):
        made += _one_test(test, str(reference), by, confidence)
    if not made:
        raise InputError(
            f"fastness: {reference!r} was tested with no other {by} beside it. "
            "Test at least two variants by the same amount."
        )
    result = pd.DataFrame(made)
    return _judged(result, confidence)


def _standard(grades: pd.DataFrame) -> pd.Series:
    """Standard uncertainty of each difference, from its 95 % interval."""
    return (grades["difference_high"] - grades["difference_low"]) / (2 * 1.96)


def _one_test(test: pd.DataFrame, reference: str, by: str, confidence: float) -> list[dict]:
    groups = {str(name): part for name, part in test.groupby(by, sort=False)}
    if reference not in groups:
        return []
    scatter, freedom = _pooled(list(groups.values()))
    base = groups.pop(reference)
    return [
        {
            **test.iloc[0][["exposure", "amount", "unit", "test"]].to_dict(),
            "variant": name,
            "reference": reference,
            **_less(base, part, scatter, freedom, confidence),
            **_cost(base, part),
        }
        for name, part in groups.items()
    ]


def _pooled(groups: list[pd.DataFrame]) -> tuple[float, int]:
    """Variance of one swatch's change about its variant's, and its degrees of freedom."""
    freedom = sum(part["swatch"].nunique() - 1 for part in groups)
    if not freedom:
        return np.nan, 0
    means = [part.groupby("swatch")["difference"].mean() for part in groups]
    return float(sum(((one - one.mean()) ** 2).sum() for one in means)) / freedom, freedom


def _less(
    base: pd.DataFrame, part: pd.DataFrame, scatter: float, freedom: int, confidence: float
) -> dict:
    means = [float(one["difference"].mean()) for one in (base, part)]
    counts = [one["swatch"].nunique() for one in (base, part)]
    variance = scatter * sum(1 / count for count in counts) if freedom else _of_readings(base, part)
    less, error = means[0] - means[1], np.sqrt(variance)
    df = freedom if freedom else 1e9
    reach = special.stdtrit(df, (1 + confidence) / 2) * error
    chance = 2 * special.stdtr(df, -abs(less) / error) if error > 0 else np.nan
    said = scales.change_of(means)[1]
    return {
        "pieces": min(counts),
        "change": means[1],
        "reference_change": means[0],
        "grade": said[1],
        "reference_grade": said[0],
        "less_change": less,
        "less_low": less - reach,
        "less_high": less + reach,
        "basis": SWATCHES if freedom else READINGS,
        "_chance": chance,
    }


def _of_readings(base: pd.DataFrame, part: pd.DataFrame) -> float:
    return float(sum((one["_u"] ** 2).sum() / len(one) ** 2 for one in (base, part)))


def _cost(base: pd.DataFrame, part: pd.DataFrame) -> dict:
    """How far the two lie apart before any test."""
    first, second = (
        one.drop_duplicates("swatch")[[f"{name}_before" for name in table.LAB]]
        .to_numpy(float)
        .mean(axis=0)
        for one in (base, part)
    )
    return {
        "hue_dE00": float(convert.dE00(first, second)),
        "hue_words": compare.direction(first, second)[0],
    }


def _judged(result: pd.DataFrame, confidence: float) -> pd.DataFrame:
    chance = result.pop("_chance").to_numpy(float)
    single = (result["pieces"] < 2).to_numpy() & (result["basis"] == SWATCHES).to_numpy()
    told = np.isfinite(chance) & ~single  # one swatch borrows scatter, not certainty
    verdict = np.full(len(result), CANNOT_TELL, object)
    verdict[told] = np.where(holm(chance[told]) < 1 - confidence, REAL, CHANCE)
    better = np.where(result["less_change"] > 0, "better", "worse")
    caveat = np.where(told, "", np.where(single, ONE_POT, NO_REPLICATES))
    holds = np.where(verdict == REAL, better, "")
    return result.assign(verdict=verdict, caveat=caveat, holds=holds)
